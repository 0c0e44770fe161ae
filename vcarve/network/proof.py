"""The network proves itself: Euler's formula, every side of every edge in one ring, areas that add up to the piece."""

from __future__ import annotations

import numpy as np

from vcarve.errors import InternalError
from vcarve.network.model import Graph
from vcarve.network.noding import SNAP_MM
from vcarve.plane.arcs import lengths
from vcarve.plane.arrays import Bools, Floats, Ints, connected
from vcarve.plane.region import Region, area_mm2, half_turns


def prove(
    graph: Graph, walk: Ints, starts: Ints, area: Floats, outer: Bools, void: Bools, region: Region
) -> None:
    """Check the finished graph and its rings.

    Raises InternalError if V − E + F ≠ 1 + parts (F counts the outer face; Euler, planar graphs), if a half-edge is in no
    ring or in two, or if the cells do not add up to the region's area.
    """
    vertices, edges = len(graph.xy), len(graph.tail)
    parts, _ = connected(vertices, graph.tail, graph.head)
    faces = int(np.count_nonzero(outer)) + 1
    if vertices - edges + faces != 1 + parts:
        raise InternalError(
            f"the lines do not form a plane network: {vertices} vertices, {edges} edges, {faces} faces, {parts} parts."
        )
    seen = np.bincount(walk, minlength=2 * edges)
    if len(seen) != 2 * edges or not (seen == 1).all():
        raise InternalError("a side of a line belongs to no cell, or to two.")
    if len(starts) - 1 != faces - 1 + parts:
        raise InternalError("the rings of the cells do not close.")
    # Every inner ring bounds nothing but a hole: all outer sides of parts but the one round the whole piece.
    sides = area[~outer]
    covered = float(area[outer & ~void].sum() + sides.sum() - sides.min(initial=0.0))
    wanted, lines = area_mm2(region), lengths(half_turns(region))
    # Sides of the outline shorter than ``SNAP_MM`` become a corner.
    give = SNAP_MM * float(lines.sum()) if lines.min() <= SNAP_MM else 0.0
    if abs(covered - wanted) > 1e-6 * max(wanted, 1.0) + give:
        raise InternalError(f"the cells cover {covered:.6f} mm² of a piece of {wanted:.6f} mm².")
