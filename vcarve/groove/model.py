"""The grooves record: what the bit leaves along every edge, and what it leaves standing between them.

Glossary
land     the flat surface a cell keeps between its grooves
island   one connected part of a cell's land; a cell breaks when it keeps several
weak     an island so small that it is likely to break out (see ``WEAK_MM`` and ``WEAK_SHARE``)
shape    cells that are translated copies of each other share one land, stored once
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from vcarve.plane.arrays import Floats, Ints, ReadOnly

# An island is weak when its largest circle is smaller than this, or than this share of the depth of the grooves
# round it: common practice, no source.
WEAK_MM = 0.5
WEAK_SHARE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Grooves(ReadOnly):
    """Depth and width at both ends of every edge, land of every cell.

    Shapes: E edges and C cells of the network, W weak islands.  Depth and width change evenly along an edge; most are the same
    at both ends.  Edges that are not cut have depth and width 0.
    ``land_mm`` is the diameter of the largest circle that fits on the cell's land and ``land_at_mm`` its centre (not a
    number where the land has vanished and ``land_mm`` is 0).  ``lands[shape[c]]`` are the islands of cell ``c``, polygons
    measured from ``corner_mm[c]``.
    """

    ends_depth_mm: Floats  # (2, E) at tails and at heads
    ends_half_mm: Floats  # (2, E) half of the width at the surface
    land_mm: Floats  # (C,)
    land_at_mm: Floats  # (C, 2)
    land_area_mm2: Floats  # (C,)
    islands: Ints  # (C,)
    shape: Ints  # (C,)
    corner_mm: Floats  # (C, 2)
    lands: npt.NDArray[np.object_]  # multipolygons of shapely, one for each shape
    weak_mm: Floats  # (W,) diameter of the island's largest circle
    weak_at_mm: Floats  # (W, 2) its centre

    @property
    def depth_mm(self) -> Floats:
        """Depth of each edge at its deeper end, shape (E,)."""
        return np.asarray(self.ends_depth_mm.max(axis=0))

    @property
    def half_width_mm(self) -> Floats:
        """Half of the width at the surface of each edge at its wider end, shape (E,)."""
        return np.asarray(self.ends_half_mm.max(axis=0))

    @property
    def vanished(self) -> int:
        """How many cells keep no land at all."""
        return int(np.count_nonzero(self.land_mm == 0.0))

    @property
    def broken(self) -> int:
        """How many cells keep land in several islands."""
        return int(np.count_nonzero(self.islands > 1))

    @property
    def weak(self) -> int:
        """How many islands are likely to break out."""
        return len(self.weak_mm)

    @property
    def narrowest_mm(self) -> float:
        """Narrowest land: the smallest ``land_mm`` of the cells that keep any; 0 if none does."""
        kept = self.land_mm[self.land_mm > 0.0]
        return float(kept.min()) if len(kept) else 0.0

    @property
    def narrowest_at_mm(self) -> tuple[float, float] | None:
        """Where on the piece the narrowest land is."""
        at = self.land_at_mm[self.land_mm == self.narrowest_mm]
        return (float(at[0, 0]), float(at[0, 1])) if self.narrowest_mm else None


def between(ends: Floats, edge: Ints, share: Floats) -> Floats:
    """Return depths or half widths at shares of the length of edges, of those at tails and at heads (2, E); shape as ``edge``."""
    result: Floats = ends[0, edge] + share * (ends[1, edge] - ends[0, edge])
    return result
