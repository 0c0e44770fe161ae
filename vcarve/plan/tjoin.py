"""Minimum-weight T-joins: gather edges once, solve for several weights."""

from __future__ import annotations

import numpy as np

from vcarve.plan.matching import NOISE, Marks, cheapest, match
from vcarve.plan.seams import tiled
from vcarve.plane.arrays import Floats, Ints

EXACT = 300  # so few members of T are matched without noise
WHOLE = 4_000  # more are matched tile by tile
RECUT, IN_PLACE, LIFT, FROM_START, TO_END, FAR_START = range(6)


class Gathered:
    """Edges between matching nodes: seconds, kind, and two numbers that say what an edge stands for."""

    def __init__(self) -> None:
        self._parts: list[tuple[Ints, Ints, Floats, Ints, Ints, Ints]] = []

    def add(self, a: Ints, b: Ints, seconds: Floats, kind: int, ref: Ints, ref2: Ints) -> None:
        """Add edges of one kind, all columns of one length."""
        kinds = np.full(len(a), kind, np.int64)
        self._parts.append((a, b, seconds, kinds, ref, ref2))

    def graph(self, marked: Marks, hub: int, place: Floats) -> Graph:
        """Return the graph ready to be solved; ``marked``, ``hub`` and ``place`` as for ``Graph``."""
        a, b, s, kind, ref, ref2 = (np.concatenate([p[k] for p in self._parts]) for k in range(6))
        return Graph(a, b, s, kind, ref, ref2, marked, hub, place)


class Graph:
    """A graph with its set T.  Columns have one entry per edge; of several between two nodes the cheapest stays.

    ``marked`` has 1 for members of T; whether ``hub`` is one follows from the rest.  ``place`` (N, 2) is where each node
    lies.
    """

    def __init__(
        self,
        a: Ints,
        b: Ints,
        seconds: Floats,
        kind: Ints,
        ref: Ints,
        ref2: Ints,
        marked: Marks,
        hub: int,
        place: Floats,
    ) -> None:
        keep = cheapest(a, b, seconds, len(marked))
        self.a, self.b, self.seconds = a[keep], b[keep], seconds[keep]
        self.kind, self.ref, self.ref2 = kind[keep], ref[keep], ref2[keep]
        self._hub, self._place, self._marked = hub, place, marked.copy()
        self._marked[hub] = 0

    @property
    def terminals(self) -> int:
        """How many members T has."""
        return int(self._marked.sum())

    def solve(self, discount: Floats | None = None) -> tuple[Ints, float]:
        """Return indices of the edges in the cheapest T-join, and a lower bound of its weight in seconds.

        Beyond ``WHOLE`` members of T the join is a cheap one, and the bound is a little lower still.
        ``discount`` (seconds per edge) is taken off the weights first.
        """
        price = self.seconds if discount is None else self.seconds - discount
        if self.terminals > WHOLE:
            return tiled(self.a, self.b, price, self._marked, self._hub, self._place)
        noise = NOISE if self.terminals > EXACT else 0.0
        return match(self.a, self.b, price, self._marked, self._hub, noise)
