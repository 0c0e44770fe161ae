"""The network record: arrays only, read-only, integer nanometres.

Glossary
half-edge   an edge walked in one direction; half-edge ``2 e`` runs tail to head of edge ``e``, ``2 e + 1`` back
ring        a closed run of half-edges with the cell on its left: counter-clockwise outside, clockwise round a hole
cell        its outer ring and the rings of its holes
bulge       tan(sweep / 4) of an arc from tail to head; 0 is a straight line, positive turns counter-clockwise
feature     what a line is for: a place in the table of whoever gave the lines (see ``Feature``), or ``OUTLINE``
class       cells or edges that are translated copies of each other share a class; -1 is a class of its own
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.plane.arcs import stretches, turned
from vcarve.plane.arrays import NM_PER_MM, Bools, Floats, Ints, ReadOnly

OUTLINE = -1  # what edges are for that only close cells


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """What some lines are for, and what is cut along them.

    ``key`` names them in files, where features of one key go together, and ``name`` in sentences.
    """

    key: str
    name: str
    depth_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Network(ReadOnly):
    """Vertices, unique edges and closed cells of every line on the piece.

    Coordinates have their origin at the piece's centre, X to the right, Y to the back.
    Shapes: V vertices, E edges, R rings, H half-edges in rings, C cells.
    Edges for ``OUTLINE`` belong to the piece's outline: they close cells but the bit never goes there.
    """

    x_nm: Ints  # (V,)
    y_nm: Ints  # (V,)
    tail: Ints  # (E,)
    head: Ints  # (E,)
    bulge: Floats  # (E,)
    feature: Ints  # (E,) an index, or OUTLINE
    edge_class: Ints  # (E,)
    ring_half_edge: Ints  # (H,)
    ring_start: Ints  # (R + 1,) offsets into ring_half_edge
    cell_ring_start: Ints  # (C + 1,) offsets into rings; the first ring of a cell is its outer one
    cell_class: Ints  # (C,)

    @property
    def cut(self) -> Bools:
        """Which edges the bit cuts, shape (E,)."""
        return np.asarray(self.feature != OUTLINE)

    @property
    def xy_mm(self) -> Floats:
        """Vertex places in millimetres, shape (V, 2)."""
        return np.column_stack([self.x_nm, self.y_nm]) / NM_PER_MM

    def curves(self, edges: Ints) -> Floats:
        """Return edges (n,) from tail to head as curves (n, 5), see ``plane.arcs``, in mm."""
        tail, head = self.tail[edges], self.head[edges]
        places = (
            np.column_stack([self.x_nm[tail], self.y_nm[tail], self.x_nm[head], self.y_nm[head]]) / NM_PER_MM
        )
        return np.column_stack([places, self.bulge[edges]])

    def walked(self, half_edges: Ints) -> Floats:
        """Return half-edges (n,) in the sense they are walked as curves (n, 5), in mm."""
        forward = self.curves(half_edges >> 1)
        return np.where((half_edges & 1).astype(bool)[:, None], turned(forward), forward)

    @property
    def chord_mm(self) -> Floats:
        """Straight distance between the ends of each edge, shape (E,)."""
        dx = (self.x_nm[self.head] - self.x_nm[self.tail]) / NM_PER_MM
        dy = (self.y_nm[self.head] - self.y_nm[self.tail]) / NM_PER_MM
        return np.hypot(dx, dy)

    @property
    def length_mm(self) -> Floats:
        """Length along each edge, shape (E,)."""
        return self.chord_mm * stretches(self.bulge)

    @property
    def edges(self) -> int:
        """How many edges the bit cuts."""
        return int(np.count_nonzero(self.cut))

    @property
    def vertices(self) -> int:
        """How many vertices have an edge to cut."""
        seen = np.zeros(len(self.x_nm), dtype=bool)
        seen[self.tail[self.cut]] = True
        seen[self.head[self.cut]] = True
        return int(np.count_nonzero(seen))

    @property
    def cells(self) -> int:
        """How many closed cells there are."""
        return len(self.cell_ring_start) - 1

    @property
    def cut_mm(self) -> float:
        """Total length of all edges to cut."""
        return float(self.length_mm[self.cut].sum())
