"""Minimum-weight T-joins by sparse blossom: gather edges once, solve for several weights.

PyMatching takes whole weights; they are rounded down, so the weight found is never above the true least.

One node, the hub, may have an edge to any other.  It is PyMatching's boundary, whose number of ends is left open: in a
T-join the ends at one node follow from all the others.  As a node like any other it would, once reached, be next to
everything at once, and the search would take minutes.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pymatching
from scipy.sparse import csc_matrix

from vcarve.network.model import Floats, Ints

STEPS = 1 << 22  # the largest whole weight
RECUT, IN_PLACE, LIFT, FROM_START, TO_END, FAR_START = range(6)


class Gathered:
    """Edges between matching nodes: seconds, kind, and two numbers that say what an edge stands for."""

    def __init__(self) -> None:
        self._parts: list[tuple[Ints, Ints, Floats, Ints, Ints, Ints]] = []

    def add(self, a: Ints, b: Ints, seconds: Floats, kind: int, ref: Ints, ref2: Ints) -> None:
        """Add edges of one kind, all columns of one length."""
        kinds = np.full(len(a), kind, np.int64)
        self._parts.append((a, b, seconds, kinds, ref, ref2))

    def graph(self, terminal: npt.NDArray[np.uint8], hub: int) -> Graph:
        """The graph ready to be solved; of several edges between two nodes the cheapest stays.

        ``terminal`` has 1 for members of T; whether ``hub`` is one follows from the rest.
        """
        a, b, s, kind, ref, ref2 = (np.concatenate([p[k] for p in self._parts]) for k in range(6))
        size = len(terminal)
        key = np.minimum(a, b) * size + np.maximum(a, b)
        order = np.lexsort((s, key))
        keep = order[np.concatenate([[True], np.diff(key[order]) > 0])]
        keep = keep[a[keep] != b[keep]]
        return Graph(a[keep], b[keep], s[keep], kind[keep], ref[keep], ref2[keep], key[keep], terminal, hub)


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
        hub: int,
    ) -> None:
        self.a, self.b, self.seconds, self.kind, self.ref, self.ref2 = a, b, seconds, kind, ref, ref2
        self.hub, self._key, self._terminal = hub, key, terminal.copy()
        self._terminal[hub] = 0
        ends = np.column_stack([a, b])
        inner = ends != hub
        self._check = csc_matrix(
            (
                np.ones(inner.sum(), np.uint8),
                ends[inner],
                np.concatenate([[0], np.cumsum(inner.sum(axis=1))]),
            ),
            shape=(len(terminal), len(a)),
        )

    def contracted(self, low: int, high: int, price: Floats) -> Graph:
        """The graph at other prices with the nodes ``low`` to ``high``, none of them in T, made one with the hub."""
        hub = self.hub
        a, b = (np.where((x >= low) & (x < high), hub, x) for x in (self.a, self.b))
        result = Gathered()
        result.add(a, b, price, LIFT, self.ref, self.ref2)
        return result.graph(self._terminal, hub)

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
        whole = np.floor(price / unit)
        found = pymatching.Matching(self._check, weights=whole).decode_to_edges_array(self._terminal)
        found = np.where(found < 0, self.hub, found.astype(np.int64))
        used, times = np.unique(
            found.min(axis=1) * len(self._terminal) + found.max(axis=1), return_counts=True
        )
        chosen = np.searchsorted(self._key, used[times % 2 == 1])
        return chosen, float(whole[chosen].sum()) * unit
