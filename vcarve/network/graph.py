"""A planar graph while it is being built: floats in millimetres, no cells yet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.network.model import Bools, Floats, Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class Graph:
    """Vertices (V, 2) in mm and edges (E,) between them; columns as in ``network.model.Network``."""

    xy: Floats
    tail: Ints
    head: Ints
    bulge: Floats
    role: Ints
    cut: Bools
    edge_class: Ints

    def take(self, keep: Bools | Ints) -> Graph:
        """Return the graph with these edges only; vertices stay as they are."""
        return Graph(
            xy=self.xy,
            tail=self.tail[keep],
            head=self.head[keep],
            bulge=self.bulge[keep],
            role=self.role[keep],
            cut=self.cut[keep],
            edge_class=self.edge_class[keep],
        )

    def compact(self) -> Graph:
        """Return the graph without vertices that no edge touches; their order is kept."""
        used = np.zeros(len(self.xy), dtype=bool)
        used[self.tail] = True
        used[self.head] = True
        place = np.cumsum(used) - 1
        return Graph(
            xy=self.xy[used],
            tail=place[self.tail],
            head=place[self.head],
            bulge=self.bulge,
            role=self.role,
            cut=self.cut,
            edge_class=self.edge_class,
        )

    def join(self, other: Graph) -> Graph:
        """Return both graphs side by side, as long as ``other`` uses the same vertex numbers or later ones.

        ``other.xy`` must begin with this graph's vertices.
        """
        return Graph(
            xy=other.xy,
            tail=np.concatenate([self.tail, other.tail]),
            head=np.concatenate([self.head, other.head]),
            bulge=np.concatenate([self.bulge, other.bulge]),
            role=np.concatenate([self.role, other.role]),
            cut=np.concatenate([self.cut, other.cut]),
            edge_class=np.concatenate([self.edge_class, other.edge_class]),
        )


def edge_bounds(graph: Graph) -> Floats:
    """Return a box round each edge, shape (E, 4): x low, y low, x high, y high.

    An arc's box is that of its chord widened by its sagitta on every side, which always holds it (sweeps up to 180°).
    """
    a, b = graph.xy[graph.tail], graph.xy[graph.head]
    sag = 0.5 * np.abs(graph.bulge) * np.hypot(*(b - a).T)
    low = np.minimum(a, b) - sag[:, None]
    high = np.maximum(a, b) + sag[:, None]
    return np.hstack([low, high])
