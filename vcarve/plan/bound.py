"""The least possible time at constant rates, and why nothing can be quicker.

``vcarve.plan.pairing`` has the graph that is spoken of: its sites, its ties to start and end, and ``reach``.

Argument.  Any program that cuts every edge at its depth is a walk of the bit from where it waits to its last retract.
Take the multiset of moves of that walk; drop nothing but the order.

1.  Every edge is cut: the sum of the cutting times.
2.  The walk enters every node (a vertex at a depth) as often as it leaves it, so the moves other than one cutting of
    every edge form a T-join, T being the nodes with an odd number of edges, the start and the end (Euler; Edmonds and
    Johnson 1973).  Dropping pairs of equal moves leaves a T-join in which no move is used twice, and since no price is
    negative it costs no more.  Vertical moves balance between the hop height at the start and at the end, hence half
    of a round trip for each.
3.  A component without odd nodes is left as often as it is entered, at least once: it has two more members of T.
4.  A lift that ends at a vertex without odd node never helps: rapids are at least as fast as cutting and obey the
    triangle inequality, so lifting at the odd node itself is no slower than first following an edge from it.
5.  Pairs without a lift of their own are further apart than ``reach``; through the end's node they are priced at
    ``reach`` exactly (each tie carries half of it), less than they cost.  The end itself needs one tie, whose half
    of ``reach`` is subtracted again.  The edge from start to end costs ``limit - reach / 2``, where ``limit`` is ``reach`` more
    than to begin and to end at the nearest vertex.  With a tie it is a first approach to a vertex further away than ``limit``;
    alone, less that half of ``reach``, the program that ends where it began: neither costs less in truth.

So the weight of the least T-join, plus the cutting, plus the two moves between safe and hop height, is never more than
the time of any program.  No stretch factor of a sparse graph enters.  Weights are rounded down before they are matched.

6.  Among very many odd nodes the T-join is cut up along seams, which only lowers its weight (``vcarve.plan.tjoin``).
7.  Where lines slope, ups and downs need not balance.  A lift from depth a to depth b costs its halves, more or less ``lean``
    times b - a, so each end is priced ``lean`` times its distance from one usual depth less, a move in place as if it went up.

8.  The T-join alone lets the bit visit two loops that lie close together and never leave them.  Every cluster S of
    components (but not all) must be crossed by at least two lifts, the first approach and the last retract included.  With
    a price y_S >= 0 for each crossing,

        time >= 2 sum y_S + the least T-join with lifts made cheaper by the y_S of every cluster they cross

    (Lagrangian relaxation; Held and Karp, "The traveling-salesman problem and minimum spanning trees", 1970-71; the picture
    of moats: Juenger and Pulleyblank, 1993).  Repeating the T-join with prices moved towards what is violated raises it (and
    keeping some of the way they moved before: Camerini, Fratta and Maffioli, 1975).

    Lifts may pass through any vertex of a component with a moat, so none is missed.  No price may fall below zero, so that a
    move used twice may still be dropped (point 2).  Round a single component with odd nodes (one without has to be entered
    and left anyhow) a moat is at most the least lift half wide.  Round clusters, take distances
    0 = h_0 < h_1 < ... <= ``reach``, and for each k the clusters between which every gap is h_k or more, with moats of at most
    (h_k - h_(k-1)) / 2.  Components a gap g apart are in two clusters only where h_k <= g: their moats sum up to at most g, the
    rapid between them; all round one component to at most half of ``reach``, which its tie to the end carries.

    A large component with odd nodes is no site, and neither it nor a cluster that it is in has a moat.  Leading a lift through
    its vertices without odd node must still cost no less than the direct lift: so where there is one, the moats round any
    component add up to no more than a quarter of the cheapest lift.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from operator import itemgetter

import numpy as np
from scipy.sparse import coo_matrix, vstack
from scipy.sparse.csgraph import minimum_spanning_tree

from vcarve.plan.pairing import FAR_START, FROM_START, LIFT, TO_END, Pairing, Task, pose
from vcarve.plan.tjoin import cheapest
from vcarve.plan.walks import join
from vcarve.plan.web import Rates, Start, Web
from vcarve.plane.arrays import Bools, Floats, Ints, connected

HEIGHTS = 8
ROUNDS = 80
KEEP = 0.7  # how much of its last way a price keeps
WORK = 700_000  # edges of the graph times rounds, at most
LEAST = 4  # fewer rounds raise nothing worth having: few components on a large web
KEPT = 3  # of the pairings met, so many are handed on; with 1 seigaiha takes 0.17 % longer by the clock


def best_pairing(web: Web, rates: Rates, *, recut: bool, start_mm: Start) -> tuple[list[Pairing], float]:
    """Return pairings worth making a tour of, and the bound: the seconds below which no program for this web can get.

    Rapids slower than the cutting feed are taken to be as fast, which keeps point 4 true.
    """
    x, y, z = rates.rapid
    fast = replace(rates, rapid=(max(x, rates.cut), max(y, rates.cut), z))
    task = pose(web, fast, recut=recut, start_mm=start_mm)
    met, least = _raised(task)
    return met, float(web.cut_s.sum() + fast.fixed_s + least)


def _raised(task: Task) -> tuple[list[Pairing], float]:
    """Return the pairings met while moats are raised that are best once joined, and the seconds of lifts and recuts at least."""
    moves, solve = task.moves, task.graph.solve
    chosen, weight = solve(moves.seconds)
    plain, best = task.read(chosen), weight - task.reach_s / 2.0
    rounds = min(WORK // len(moves.kind), ROUNDS)
    moats = _moats(task) if rounds >= LEAST else []
    if not moats:
        return [plain], best
    unraised, met = best, [(_joined_s(task, plain), plain)]
    first = np.flatnonzero((moves.kind == FROM_START) | (moves.kind == FAR_START))
    crossing = vstack([_crossing(task, label) for label, _ in moats]).tocsc()
    cap = np.repeat([most for _, most in moats], [int(label.max()) + 1 for label, _ in moats])
    strength, price, way = 1.0, cap, np.zeros(len(cap))
    for _ in range(rounds):
        discount: Floats = np.asarray(crossing.T @ price)
        # The first approach is made exactly once: what would make it cheaper than nothing is added, and taken off again.
        negative = float((discount - moves.seconds)[first].max(initial=0.0))
        discount[first] -= negative
        chosen, weight = solve(moves.seconds - discount)
        value = weight - negative - task.reach_s / 2.0 + 2.0 * float(price.sum())
        pairing = task.read(chosen)
        met.append((_joined_s(task, pairing), pairing))
        if value > best + 1e-9:
            best = value
        elif best == unraised:  # prices as high as these are of no use
            price = price / 2.0
            continue
        else:
            strength *= 0.9
        lack = 2.0 - np.asarray(crossing[:, chosen].sum(axis=1)).ravel()
        if not lack.any():
            break
        upper = min(seconds for seconds, _ in met)
        way = lack + KEEP * way
        price = np.clip(price + strength * max(upper - value, 1e-6) / (lack @ lack) * way, 0.0, cap)
    return [pairing for _, pairing in sorted(met, key=itemgetter(0))[:KEPT]], best


def _joined_s(task: Task, pairing: Pairing) -> float:
    """Return the seconds of lifts and recuts once all is one tour."""
    links = np.concatenate([[[pairing.end, pairing.start]], pairing.lift])
    joined = join(task.web, task.rates, links, task.start_mm)
    return pairing.cost_s + _links_s(task, joined) - _links_s(task, links)


def _links_s(task: Task, links: Ints) -> float:
    """Return the seconds of the lifts, the first approach and the last retract; link 0 leads from the end to the start."""
    half, xy = task.rates.lift_s(task.web.top_depth_mm) / 2.0, task.web.xy_mm
    leap = xy[links[:, 0]] - xy[links[:, 1]]
    leap[0] = xy[links[0, 1]] - np.asarray(task.start_mm)
    return float(half[links].sum() + task.rates.rapid_s(leap[:, 0], leap[:, 1]).sum())


def _moats(task: Task) -> list[tuple[Ints, float]]:
    """Return partitions of the components, -1 for one without a moat, each with the largest price of a cluster."""
    count, moves = len(task.even), task.moves.take(task.moves.kind == LIFT)
    if count < 2 or not len(moves.a):
        return []
    at, to = task.component[moves.at], task.component[moves.to]
    gap = moves.seconds - task.half[moves.at] - task.half[moves.to]
    kept = cheapest(at, to, gap, count)
    at, to, gap = at[kept], to[kept], gap[kept]
    # the distances at which clusters meet, some of them where they are many
    meet = minimum_spanning_tree(coo_matrix((gap, (at, to)), shape=(count, count))).data
    meet = np.unique(meet.round(6)) - 1e-6
    if len(meet) > HEIGHTS:
        meet = meet[np.linspace(0, len(meet) - 1, HEIGHTS).round().astype(int)]
    single, top = float(task.half.min()), task.reach_s
    if task.large.any():
        # round any component at most a quarter of the cheapest lift, of which clusters take their share first
        top = min(top, single, float(meet.max(initial=0.0)))
        single = (single - top) / 2.0
    moats = [(_kept(np.arange(count), ~task.even & ~task.large), single)]
    for low, high in pairwise([0.0, *np.minimum(meet, top).tolist(), top]):
        near = gap < high
        size, label = connected(count, at[near], to[near])
        if size > 1 and high > low + 1e-5:
            small = np.bincount(label, weights=task.large) == 0
            moats.append((_kept(label, small[label]), (high - low) / 2.0))
    return [(label, most) for label, most in moats if label.max() >= 0]


def _kept(label: Ints, kept: Bools) -> Ints:
    """Return labels numbered anew, -1 for what is not kept."""
    result = np.full(len(label), -1)
    result[kept] = np.unique(label[kept], return_inverse=True)[1]
    return result


def _crossing(task: Task, label: Ints) -> coo_matrix[np.float64]:
    """Return which clusters (rows) each edge of the graph leaves or enters (columns)."""
    moves, of = task.moves, label[task.component]
    lift = np.flatnonzero(moves.kind == LIFT)
    lift = lift[of[moves.at[lift]] != of[moves.to[lift]]]
    tie = np.flatnonzero((moves.kind == FROM_START) | (moves.kind == TO_END))
    cluster = np.concatenate([of[moves.at[lift]], of[moves.to[lift]], of[moves.at[tie]]])
    edge = np.concatenate([lift, lift, tie])[cluster >= 0]
    cluster = cluster[cluster >= 0]
    return coo_matrix((np.ones(len(edge)), (cluster, edge)), shape=(int(label.max()) + 1, len(moves.kind)))
