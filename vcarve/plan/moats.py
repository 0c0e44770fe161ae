"""A stronger bound for many components: moats around clusters of them, raised step by step.

The T-join alone lets the bit visit two loops that lie close together and never leave them.  Every cluster S of
components (but not all) must be crossed by at least two lifts, the first approach and the last retract included.  With
a price y_S >= 0 for each crossing,

    time >= 2 sum y_S + the least T-join with lifts made cheaper by the y_S of every cluster they cross

(Lagrangian relaxation; Held and Karp, "The traveling-salesman problem and minimum spanning trees", 1970-71; the picture
of moats: Juenger and Pulleyblank, 1993).  Repeating the T-join with prices moved towards what is violated raises it.

A moat goes round every small component with odd nodes (one without has to be entered and left anyhow) and round clusters
of components, never round a large component with odd nodes.  Lifts may pass through any vertex of a component with a
moat, so none is missed.  No price falls below zero, so a move used twice may still be dropped from a T-join: moats
round single components take at most half of a lift's fixed time, those round clusters at most half of the gap.  Where
there is a large odd component, leading a lift through its vertices without odd node must still cost no less than the
direct lift; then the moats round a component add up to no more than a quarter of the cheapest lift.

Clusters are those of single linkage at a few distances: within a cluster no gap is wider than h, beyond it every gap is.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import minimum_spanning_tree

from vcarve.plan.linkage import discounts
from vcarve.plan.pairing import Pairing, Task, small_components
from vcarve.plan.tjoin import FROM_START, LIFT, TO_END
from vcarve.plane.arrays import Bools, Floats, Ints, connected

HEIGHTS = 8
MOST = 1000  # components up to which clusters have moats whose prices are sought step by step
ROUNDS = 24
WORK = 700_000  # edges of the graph times rounds, at most
LEAST = 4  # fewer rounds raise nothing worth having: few components on a large web
KEPT = 3  # of the pairings met, the last so many are handed on


def raise_bound(task: Task, plain: Pairing, upper_s: float) -> tuple[float, list[Pairing]]:
    """Return a T-join bound (seconds, as ``Pairing.cost_s``) no lower than the plain one, and pairings met on the way.

    ``upper_s`` is the cost of some plan in the same terms; it only sizes the steps.
    """
    count = len(task.even)
    best, met = plain.cost_s, [plain]
    if count > MOST or not task.loops:
        off, moats = discounts(task)
        low, high = task.whole
        easy = task.graph.contracted(low, high, task.graph.seconds - off)
        return max(best, easy.solve()[1] + task.give_s + moats), met
    rounds = min(WORK // len(task.graph.kind), ROUNDS)
    clusters = _clusters(task) if rounds >= LEAST else []
    if not clusters:
        return best, met
    graph = task.graph
    lift = np.flatnonzero(graph.kind == LIFT)
    tie = np.flatnonzero((graph.kind == FROM_START) | (graph.kind == TO_END))
    at, to = task.component[graph.ref[lift]], task.component[graph.ref2[lift]]
    hold = task.component[graph.ref[tie]]
    prices = [cap.copy() for _, cap in clusters]
    strength = 1.0
    for _ in range(rounds):
        discount = np.zeros(len(graph.kind))
        for (label, _), price in zip(clusters, prices, strict=True):
            discount[lift] += np.where(label[at] != label[to], price[label[at]] + price[label[to]], 0.0)
            discount[tie] += price[label[hold]]
        chosen, cost = graph.solve(discount)
        value = cost + task.give_s + 2.0 * float(sum(p.sum() for p in prices))
        if value > best + 1e-9:
            best = value
            met = [plain, *met[1:][-KEPT + 1 :], task.read(chosen, cost)]
        else:
            strength *= 0.7
        flags = np.zeros(len(graph.kind), bool)
        flags[chosen] = True
        lacks = []
        for (label, cap), price in zip(clusters, prices, strict=True):
            cross = np.zeros(len(price))
            out = flags[lift] & (label[at] != label[to])
            np.add.at(cross, label[at[out]], 1.0)
            np.add.at(cross, label[to[out]], 1.0)
            np.add.at(cross, label[hold[flags[tie]]], 1.0)
            lacks.append(np.where(cap > 0.0, 2.0 - cross, 0.0))
        norm = float(sum((g**2).sum() for g in lacks))
        if norm == 0.0:
            break
        step = strength * max(upper_s - value, 1e-6) / norm
        prices = [
            np.clip(price + step * lack, 0.0, cap)
            for (_, cap), price, lack in zip(clusters, prices, lacks, strict=True)
        ]
    return best, met


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
    found = np.unique(least.data.round(6))
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
        members: Bools = np.bincount(label, minlength=size) > 1
        large = np.bincount(label, weights=giant, minlength=size) > 0
        cap[~members | large] = 0.0
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
