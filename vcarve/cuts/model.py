"""The cuts record: arrays only, read-only, whole nanometres.

Glossary
place    a point on or below the piece's top: x, y and depth; each place is there once
spot     a point in plan view; the places of a spot lie below one another
bulge    tan(sweep / 4) of an arc in plan view from tail to head; 0 is a straight line, positive turns counter-clockwise
level    how many cuts of the same line must come before a cut
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.plane.arcs import size, stretches
from vcarve.plane.arrays import NM_PER_MM, Floats, Ints, ReadOnly


@dataclass(frozen=True, slots=True, kw_only=True)
class Cuts(ReadOnly):
    """What is to be cut.  Coordinates as in the network, depth counted downwards from the piece's top.

    Shapes: N places, E edges.  Depth is linear along an edge.  An edge with ``after`` lies in plan view where that other
    edge does, runs the same way, and is nowhere less deep.
    """

    place_nm: Ints  # (N, 3)
    tail: Ints  # (E,) places
    head: Ints  # (E,)
    bulge: Floats  # (E,)
    feature: Ints  # (E,) what the line is
    after: Ints  # (E,) the edge that must be cut before this one, or -1

    @property
    def depth_mm(self) -> Floats:
        """Depth of each place, shape (N,)."""
        return self.place_nm[:, 2] / NM_PER_MM

    @property
    def spot(self) -> Ints:
        """The spot of each place, numbered in the order of their first places, shape (N,)."""
        xy = self.place_nm[:, :2]
        order = np.lexsort((xy[:, 1], xy[:, 0]))  # stable: of one spot the first place leads
        new = np.ones(len(order), bool)
        new[1:] = (np.diff(xy[order], axis=0) != 0).any(axis=1)
        first = np.empty(len(order), np.int64)
        first[order] = order[np.flatnonzero(new)][np.cumsum(new) - 1]
        return np.unique(first, return_inverse=True)[1].astype(np.int64)

    @property
    def chord_mm(self) -> Floats:
        """From tail to head of each edge in millimetres, shape (E, 3)."""
        return (self.place_nm[self.head] - self.place_nm[self.tail]) / NM_PER_MM

    @property
    def length_mm(self) -> Floats:
        """Length along each edge in plan view, shape (E,)."""
        return size(self.chord_mm) * stretches(self.bulge)

    @property
    def level(self) -> Ints:
        """How many edges must be cut before each one, shape (E,)."""
        behind = self.after
        count = (behind >= 0).astype(np.int64)
        while (behind >= 0).any():  # each look reaches twice as far back
            count = count + np.where(behind >= 0, count[behind], 0)
            behind = np.where(behind >= 0, behind[behind], -1)
        return count


@dataclass(frozen=True, slots=True, kw_only=True)
class Rings(ReadOnly):
    """The outlines of cells, as cutting every cell on its own would walk them; ring r is ``half_edge[start[r]:start[r + 1]]``.

    Half-edge ``2 e`` runs tail to head of edge e of the cuts, ``2 e + 1`` back; R rings, H half-edges.
    """

    half_edge: Ints  # (H,)
    start: Ints  # (R + 1,)
