"""Minimum-weight T-joins by sparse blossom: gather edges once, solve for several weights.

PyMatching takes whole weights; they are rounded down, so the weight found is never above the true least.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pymatching
from scipy.sparse import csc_matrix

from vcarve.network.model import Floats, Ints

EXACT = 300  # so few members of T are solved without the tie-breaking noise
NOISE = 1e-3
STEPS = 1 << 22  # the largest whole weight
BRANCH = 16
RECUT, IN_PLACE, LIFT, FROM_START, TO_END, TREE = range(6)


class Gathered:
    """Edges between matching nodes: seconds, kind, and two numbers that say what an edge stands for."""

    def __init__(self) -> None:
        self._parts: list[tuple[Ints, Ints, Floats, Ints, Ints, Ints]] = []

    def add(self, a: Ints, b: Ints, seconds: Floats, kind: int, ref: Ints, ref2: Ints) -> None:
        """Add edges of one kind, all columns of one length."""
        kinds = np.full(len(a), kind, np.int64)
        self._parts.append((a, b, seconds, kinds, ref, ref2))

    def add_hub(self, node: Ints, seconds: Floats, vertex: Ints, hub: int, free: int) -> int:
        """Tie ``hub`` to every node through a tree of free edges, since a matching node should have few neighbours.

        ``free`` is the first unused node number; returns the next one.
        """
        below, price, refs, kind = node, seconds, vertex, TO_END
        while len(below) > BRANCH:
            parents = free + np.arange(-(-len(below) // BRANCH))
            free += len(parents)
            self.add(parents[np.arange(len(below)) // BRANCH], below, price, kind, refs, refs)
            below, price, kind = parents, np.zeros(len(parents)), TREE
            refs = np.full(len(parents), -1)
        self.add(np.full(len(below), hub), below, price, kind, refs, refs)
        return free

    def graph(self, terminal: npt.NDArray[np.uint8]) -> Graph:
        """The graph ready to be solved; of several edges between two nodes the cheapest stays."""
        a, b, s, kind, ref, ref2 = (np.concatenate([p[k] for p in self._parts]) for k in range(6))
        size = len(terminal)
        key = np.minimum(a, b) * size + np.maximum(a, b)
        order = np.lexsort((s, key))
        keep = order[np.concatenate([[True], np.diff(key[order]) > 0])]
        keep = keep[a[keep] != b[keep]]
        return Graph(a[keep], b[keep], s[keep], kind[keep], ref[keep], ref2[keep], key[keep], terminal)


class Graph:
    """A graph with its set T.  Columns have one entry per edge, sorted by ``key``."""

    def __init__(
        self,
        a: Ints,
        b: Ints,
        seconds: Floats,
        kind: Ints,
        ref: Ints,
        ref2: Ints,
        key: Ints,
        terminal: npt.NDArray[np.uint8],
    ) -> None:
        self.a, self.b, self.seconds, self.kind, self.ref, self.ref2 = a, b, seconds, kind, ref, ref2
        self._key, self._terminal = key, terminal
        ends = np.column_stack([a, b])
        self._check = csc_matrix(
            (np.ones(ends.size, np.uint8), ends.ravel(), np.arange(0, ends.size + 1, 2)),
            shape=(len(terminal), len(a)),
        )

    def contracted(self, low: int, high: int, hub: int, price: Floats) -> Graph:
        """The graph at other prices with the nodes ``low`` to ``high``, none of them in T, made one with ``hub``."""
        a, b = (np.where((x >= low) & (x < high), hub, x) for x in (self.a, self.b))
        moved = ((a != self.a) | (b != self.b)) & (a != b)
        kept = (a != b) & ~moved
        result = Gathered()
        result.add(a[kept], b[kept], price[kept], LIFT, self.ref[kept], self.ref2[kept])
        end: Ints = np.where(a == hub, b, a)[moved]
        order = np.lexsort((price[moved], end))
        first = order[np.concatenate([[True], np.diff(end[order]) > 0])] if len(order) else order
        ref = self.ref[moved][first]
        size = result.add_hub(end[first], price[moved][first], ref, hub, len(self._terminal))
        terminal = np.zeros(size, np.uint8)
        terminal[: len(self._terminal)] = self._terminal
        return result.graph(terminal)

    @property
    def terminals(self) -> int:
        """How many members T has."""
        return int(self._terminal.sum())

    def solve(self, discount: Floats | None = None) -> tuple[Ints, float]:
        """Indices of the edges in the cheapest T-join, and a lower bound of its weight in seconds.

        ``discount`` (seconds per edge) is taken off the weights first.
        """
        price = self.seconds if discount is None else self.seconds - discount
        unit = max(float(np.abs(price).max()), 1e-9) / STEPS
        if self.terminals > EXACT:
            # equal weights make the search slow; the noise only ever lowers a weight
            price = price - np.abs(price) * NOISE * np.random.default_rng(20).random(len(price))
        whole = np.floor(price / unit)
        found = pymatching.Matching(self._check, weights=whole).decode_to_edges_array(self._terminal)
        found = found.astype(np.int64)
        used, times = np.unique(
            found.min(axis=1) * len(self._terminal) + found.max(axis=1), return_counts=True
        )
        chosen = np.searchsorted(self._key, used[times % 2 == 1])
        return chosen, float(whole[chosen].sum()) * unit
