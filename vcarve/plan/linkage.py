"""A bound for thousands of components: moats from the gaps between them, at all distances at once.

With many components without odd nodes a matching with two odd nodes for each has too many ties to be solved quickly.
Instead every such component pays its own lift (a moat of half a lift round it, crossed at least twice) and moats round
the clusters of single linkage grow until they meet.  At every distance h at once, not only at a few: a cluster whose
gaps inside are at most g and outside at least h has a moat of (h - g) / 2.  Two numbers say all of it:

    twice the sum of the moats   the length of the least spanning tree of the gaps, and its longest edge once more
    what a lift crosses          h(i, j): the longest gap on the way from i to j in that tree, never more than their gap

so no discounted lift costs less than nothing.  The argument is that of ``vcarve.plan.moats``; that the lifts must hold
everything together, hence contain a spanning tree, is the plain case of it (Held and Karp, 1970-71).  Large components
with odd nodes have no moat and are no part of the tree.  Where there is one, the moats round a component stop at the
cheapest half of a lift: a lift to the large component pays for them, and one that is led through a vertex of it without
odd node still costs no less than the direct lift, since it pays two more halves.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import minimum_spanning_tree

from vcarve.plan.pairing import Task, small_components
from vcarve.plan.tjoin import FROM_START, LIFT, TO_END
from vcarve.plane.arrays import Bools, Floats, Ints

USUAL = 0.9  # share of the gaps in the tree that are no longer than the moats reach


def discounts(task: Task) -> tuple[Floats, float]:
    """Return what the moats take off every edge of the task's graph (seconds), and twice the sum of all moats."""
    graph, count = task.graph, len(task.even)
    lift = np.flatnonzero(graph.kind == LIFT)
    tie = np.flatnonzero((graph.kind == FROM_START) | (graph.kind == TO_END))
    v, w = graph.ref[lift], graph.ref2[lift]
    i, j = task.component[v], task.component[w]
    gap = np.maximum(graph.seconds[lift] - task.half[v] - task.half[w] - 2e-6, 0.0)
    giant = ~task.even & ~small_components(task.component, task.even)
    roof = min(task.reach_s, 2.0 * float(task.half.min())) if giant.any() else task.reach_s
    tree = _Tree(i, j, np.minimum(gap, roof), giant, roof)
    if giant.any() and tree.nodes > count + 1:
        # moats beyond what keeps the small ones apart would only make lifts from the large one too cheap
        roof = min(roof, float(np.quantile(tree.height[count : tree.nodes - 1], USUAL)))
        tree = _Tree(i, j, np.minimum(gap, roof), giant, roof)
    # a component without odd nodes has a moat of half a lift of its own, if it must come and go anyhow
    own = np.zeros(count)
    if not task.loops:
        own = np.full(count, np.inf)
        np.minimum.at(own, task.component, task.half)
        own[~task.even] = 0.0
    meet = tree.meet(i, j)
    reach = tree.reach()
    result = np.zeros(len(graph.kind))
    result[lift] = np.where(
        i != j, own[i] + own[j] + (np.minimum(meet, reach[i]) + np.minimum(meet, reach[j])) / 2.0, 0.0
    )
    hold = task.component[graph.ref[tie]]
    result[tie] = own[hold] + reach[hold] / 2.0
    return result, tree.total + 2.0 * float(own.sum())


class _Tree:
    """Single linkage: components merge where the gaps between them are least; giants stay alone."""

    def __init__(self, i: Ints, j: Ints, gap: Floats, giant: Bools, roof: float) -> None:
        count = len(giant)
        apart = (i != j) & ~giant[i] & ~giant[j]
        row, column = np.minimum(i, j)[apart], np.maximum(i, j)[apart]
        weight = gap[apart] + 1.0  # no weight may be zero in a sparse matrix
        order = np.lexsort((weight, column, row))
        row, column, weight = row[order], column[order], weight[order]
        first = np.concatenate([[True], (np.diff(row) != 0) | (np.diff(column) != 0)]) if len(row) else order
        row, column, weight = row[first], column[first], weight[first]
        least = minimum_spanning_tree(coo_matrix((weight, (row, column)), shape=(count, count))).tocoo()
        order = np.argsort(least.data, kind="stable")
        self.height = np.zeros(2 * count)
        self.parent = np.arange(2 * count)
        self.holds = np.concatenate([giant, np.zeros(count, bool)])
        self.giant, self.roof, self.size = giant, roof, count
        self._grow(
            least.row[order].tolist(),
            least.col[order].tolist(),
            np.maximum(least.data[order] - 1.0, 0.0).tolist(),
        )

    def _grow(self, a: list[int], b: list[int], height: list[float]) -> None:
        top = list(range(2 * self.size))  # union by path halving over the tree's own nodes

        def find(x: int) -> int:
            while top[x] != x:
                top[x] = top[top[x]]
                x = top[x]
            return x

        node, total = self.size, 0.0
        for x, y, h in zip(a, b, height, strict=True):
            x, y = find(x), find(y)
            if not (self.holds[x] and self.holds[y]):
                total += h
            top[x] = top[y] = node
            self.parent[x] = self.parent[y] = node
            self.height[node] = h
            self.holds[node] = self.holds[x] or self.holds[y]
            node += 1
        roots = np.flatnonzero(self.parent[:node] == np.arange(node))
        free = int((~self.holds[roots]).sum())
        if len(roots) > 1:  # further apart than the roof
            self.parent[roots], self.parent[node], self.height[node] = node, node, self.roof
            self.total = total + self.roof * free
            node += 1
        else:  # the last two clusters have the same moat
            self.total = total + float(self.height[node - 1]) * free * (node > self.size)
        self.nodes = node
        depth = [0] * node
        parent = self.parent.tolist()
        for x in range(node - 2, -1, -1):  # parents have larger numbers
            depth[x] = depth[parent[x]] + 1
        self.depth = np.array(depth, np.int64)
        self.jumps = [self.parent[:node]]
        while 1 << len(self.jumps) <= max(depth):
            self.jumps.append(self.jumps[-1][self.jumps[-1]])

    def meet(self, i: Ints, j: Ints) -> Floats:
        """Return the longest gap on the way between components."""
        swap = self.depth[i] < self.depth[j]
        x, y = np.where(swap, j, i), np.where(swap, i, j)
        for k, jump in reversed(list(enumerate(self.jumps))):
            x = np.where(self.depth[x] - self.depth[y] >= 1 << k, jump[x], x)
        for jump in reversed(self.jumps):
            apart = jump[x] != jump[y]
            x, y = np.where(apart, jump[x], x), np.where(apart, jump[y], y)
        x = np.where(x != y, self.parent[x], x)
        result: Floats = np.minimum(self.height[x], self.roof)
        return result

    def reach(self) -> Floats:
        """How far the moats round each component reach in all: to the giants, or until nothing is left outside."""
        if not self.giant.any():
            return np.full(self.size, min(float(self.height[self.nodes - 1]), self.roof))
        every: Ints = np.arange(self.size, dtype=np.int64)
        first = np.full(self.size, np.flatnonzero(self.giant)[0])
        return np.where(self.giant, 0.0, self.meet(every, first))
