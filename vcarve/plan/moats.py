"""A stronger bound for many components: moats around clusters of them, raised step by step.

The T-join alone lets the bit visit two loops that lie close together and never leave them.  Every cluster S of
components (but not all) must be crossed by at least two lifts, the first approach and the last retract included.  With
a price y_S >= 0 for each crossing,

    time >= 2 sum y_S + the least T-join with lifts made cheaper by the y_S of every cluster they cross

(Lagrangian relaxation; Held and Karp, "The traveling-salesman problem and minimum spanning trees", 1970-71; the picture
of moats: Juenger and Pulleyblank, 1993).  Repeating the T-join with prices moved towards what is violated raises it (and
keeping some of the way they moved before: Camerini, Fratta and Maffioli, 1975).

A moat goes round every small component with odd nodes (one without has to be entered and left anyhow) and round clusters
of components, never round a large component with odd nodes.  Lifts may pass through any vertex of a component with a
moat, so none is missed.  No price falls below zero, so a move used twice may still be dropped from a T-join: moats
round single components take at most half of a lift's fixed time, those round clusters at most half of the gap.  Where
there is a large odd component, leading a lift through its vertices without odd node must still cost no less than the
direct lift; then the moats round a component add up to no more than a quarter of the cheapest lift.

Clusters are those of single linkage at a few distances, from none on: within a cluster no gap is wider than h, beyond it
every gap is.
"""

from __future__ import annotations

from collections.abc import Callable
from operator import itemgetter

import numpy as np
from scipy.sparse import coo_matrix, vstack
from scipy.sparse.csgraph import minimum_spanning_tree

from vcarve.plan.pairing import Pairing, Task, small_components
from vcarve.plan.tjoin import FAR_START, FROM_START, LIFT, TO_END
from vcarve.plane.arrays import Floats, Ints, connected

HEIGHTS = 8
ROUNDS = 80
KEEP = 0.7  # how much of its last way a price keeps
WORK = 700_000  # edges of the graph times rounds, at most
LEAST = 4  # fewer rounds raise nothing worth having: few components on a large web
KEPT = 3  # of the pairings met, so many are handed on


def raise_bound(
    task: Task, plain: Pairing, joined_s: Callable[[Pairing], float]
) -> tuple[float, list[Pairing]]:
    """Return a T-join bound (seconds, as ``Pairing.cost_s``) no lower than the plain one, and the best pairings met on the way.

    ``joined_s`` returns the cost of a pairing once all is one tour, in the same terms.
    """
    best, met = plain.cost_s, [(joined_s(plain), plain)]
    graph = task.graph
    rounds = min(WORK // len(graph.kind), ROUNDS)
    clusters = _clusters(task) if rounds >= LEAST else []
    if not clusters:
        return best, [plain]
    first = np.flatnonzero((graph.kind == FROM_START) | (graph.kind == FAR_START))
    cap = np.concatenate([most[most > 0.0] for _, most in clusters])
    crossing = vstack([_crossing(task, *each) for each in clusters]).tocsc()
    strength, price, way = 1.0, cap, np.zeros(len(cap))
    for _ in range(rounds):
        discount: Floats = np.asarray(crossing.T @ price)
        # The first approach is made exactly once: what would make it cheaper than nothing is added, and taken off again.
        below = float((discount - graph.seconds)[first].max(initial=0.0))
        discount[first] -= below
        chosen, cost = graph.solve(discount)
        value = cost - below + task.give_s + 2.0 * float(price.sum())
        pairing = task.read(chosen, float(graph.seconds[chosen].sum()))
        met.append((joined_s(pairing), pairing))
        if value > best + 1e-9:
            best = value
        elif best == plain.cost_s:  # as high as that they are of no use
            price = price / 2.0
            continue
        else:
            strength *= 0.9
        lack = 2.0 - np.asarray(crossing[:, chosen].sum(axis=1)).ravel()
        if not lack.any():
            break
        upper = min(cost_s for cost_s, _ in met)
        way = lack + KEEP * way
        price = np.clip(price + strength * max(upper - value, 1e-6) / (lack @ lack) * way, 0.0, cap)
    return best, [pairing for _, pairing in sorted(met, key=itemgetter(0))[:KEPT]]


def _crossing(task: Task, label: Ints, cap: Floats) -> coo_matrix[np.float64]:
    """Return which clusters with a moat (rows) each edge of the graph leaves or enters (columns)."""
    graph, row = task.graph, np.cumsum(cap > 0.0) - 1
    lift = np.flatnonzero(graph.kind == LIFT)
    tie = np.flatnonzero((graph.kind == FROM_START) | (graph.kind == TO_END))
    at, to, hold = (label[task.component[ref]] for ref in (graph.ref[lift], graph.ref2[lift], graph.ref[tie]))
    apart = at != to
    cluster = np.concatenate([at[apart], to[apart], hold])
    edge = np.concatenate([lift[apart], lift[apart], tie])
    moat = cap[cluster] > 0.0
    one = np.ones(int(moat.sum()))
    return coo_matrix(
        (one, (row[cluster[moat]], edge[moat])), shape=(int((cap > 0.0).sum()), len(graph.kind))
    )


def _clusters(task: Task) -> list[tuple[Ints, Floats]]:
    """Return partitions of the components, each with the largest price per cluster (0: no moat)."""
    graph, count = task.graph, len(task.even)
    if count < 2:
        return []
    lift = np.flatnonzero(graph.kind == LIFT)
    at, to = task.component[graph.ref[lift]], task.component[graph.ref2[lift]]
    gap = graph.seconds[lift] - task.half[graph.ref[lift]] - task.half[graph.ref2[lift]]
    other = at != to
    at, to, gap = at[other], to[other], gap[other]
    if not len(at):
        return []
    least = minimum_spanning_tree(_sparse(at, to, gap, count))
    small = small_components(task.component, task.even)
    giant = ~task.even & ~small
    share = float(task.half.min())
    if giant.any():
        share /= 2.0
    found = np.unique(np.append(least.data.round(6), 0.0))
    if len(found) > HEIGHTS:
        found = found[np.unique(np.linspace(0, len(found) - 1, HEIGHTS).round().astype(int))]
    result: list[tuple[Ints, Floats]] = []
    alone = np.where(~task.even & small, share, 0.0)
    if alone.any():
        each: Ints = np.arange(count, dtype=np.int64)
        result.append((each, alone))
    room = share if giant.any() else np.inf
    used = alone * giant.any()
    for place, height in enumerate(found.tolist()):
        inside = gap <= height + 2e-6
        size, label = connected(count, at[inside], to[inside])
        if size == 1:
            break
        beyond = np.full(size, np.inf)
        away = label[at] != label[to]
        np.minimum.at(beyond, label[at[away]], gap[away])
        np.minimum.at(beyond, label[to[away]], gap[away])
        following = found[place + 1] if place + 1 < len(found) else np.inf
        cap = np.maximum(np.minimum(np.minimum(beyond, task.reach_s), following) - height - 2e-6, 0.0) / 2.0
        large = np.bincount(label, weights=giant, minlength=size) > 0
        cap[large] = 0.0
        left = np.full(size, np.inf)
        np.minimum.at(left, label, room - used)
        cap = np.minimum(cap, np.maximum(left, 0.0))
        used += cap[label]
        if cap.any():
            result.append((label, cap))
    return result


def _sparse(at: Ints, to: Ints, gap: Floats, count: int) -> coo_matrix[np.float64]:
    """Return the least gap of every two components, as a matrix (zero gaps made tiny, so that they are kept)."""
    low, high = np.minimum(at, to), np.maximum(at, to)
    order = np.lexsort((gap, low * count + high))
    key = (low * count + high)[order]
    keep = order[np.concatenate([[True], np.diff(key) > 0])]
    return coo_matrix((np.maximum(gap[keep], 1e-9), (low[keep], high[keep])), shape=(count, count))
