"""A planar graph while it is being built: floats in millimetres, no cells yet."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vcarve.network.model import OUTLINE
from vcarve.plane.arcs import curves, turned
from vcarve.plane.arrays import Bools, Floats, Ints

ALL = slice(None)
OF_EDGES = ("tail", "head", "bulge", "feature", "edge_class", "rim")


@dataclass(frozen=True, slots=True, kw_only=True)
class Graph:
    """Vertices (V, 2) in mm and edges (E,) between them; columns as in ``network.model.Network``.

    ``rim`` (E,) tells edges on the region's outline: 1 where the region lies to the left, -1 where it lies to the right, else 0.
    Where lines run off the piece its own edge lies inside the region: there it is 2 or -2 in the same way.
    """

    xy: Floats
    tail: Ints
    head: Ints
    bulge: Floats
    feature: Ints
    edge_class: Ints
    rim: Ints

    @property
    def cut(self) -> Bools:
        """Which edges the bit cuts, shape (E,)."""
        return np.asarray(self.feature != OUTLINE)

    def curves(self, which: Ints | slice = ALL) -> Floats:
        """Return some or all edges as curves (n, 5)."""
        return curves(self.xy[self.tail[which]], self.xy[self.head[which]], self.bulge[which])

    def walked(self, half_edges: Ints) -> Floats:
        """Return half-edges (n,) in the sense they are walked as curves (n, 5)."""
        forward = self.curves(half_edges >> 1)
        return np.where((half_edges & 1).astype(bool)[:, None], turned(forward), forward)

    def take(self, keep: Bools | Ints) -> Graph:
        """Return the graph with these edges only; vertices stay as they are."""
        return replace(self, **{name: getattr(self, name)[keep] for name in OF_EDGES})

    def compact(self) -> Graph:
        """Return the graph without vertices that no edge touches; their order is kept."""
        used = np.zeros(len(self.xy), dtype=bool)
        used[self.tail] = True
        used[self.head] = True
        return self.renumbered(self.xy[used], np.cumsum(used) - 1)

    def renumbered(self, xy: Floats, number: Ints) -> Graph:
        """Return the graph on other vertices: ``number`` (V,) tells which each of its own becomes."""
        return replace(self, xy=xy, tail=number[self.tail], head=number[self.head])

    def join(self, other: Graph) -> Graph:
        """Return the edges of both graphs, which have the same vertices."""
        both = {name: np.concatenate([getattr(self, name), getattr(other, name)]) for name in OF_EDGES}
        return replace(self, **both)
