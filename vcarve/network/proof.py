"""The network proves itself: Euler's formula, every side of every edge in one ring, areas that add up to the piece."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from vcarve.errors import InternalError
from vcarve.network.graph import Graph
from vcarve.network.noding import SNAP_MM
from vcarve.plane.arcs import lengths
from vcarve.plane.arrays import Bools, Floats, Ints
from vcarve.plane.region import Region, area_mm2, half_turns


def prove(
    graph: Graph, walk: Ints, starts: Ints, area: Floats, outer: Bools, void: Bools, region: Region
) -> None:
    """Check the finished graph and its rings.

    Raises InternalError if V − E + F ≠ 1 + parts (F counts the outer face; Euler, planar graphs), if a half-edge is in no
    ring or in two, or if the cells do not add up to the region's area.
    """
    vertices, edges = len(graph.xy), len(graph.tail)
    links = coo_array((np.ones(edges), (graph.tail, graph.head)), shape=(vertices, vertices))
    parts, _ = connected_components(links, directed=False)
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
    # Every inner ring bounds nothing but a hole, so outer rings less the holes they own are the piece.
    loose = ~outer
    covered = float(area[outer & ~void].sum()) + _hole_area(area, loose)
    wanted = area_mm2(region)
    if abs(covered - wanted) > 1e-6 * max(wanted, 1.0) + _give(region):
        raise InternalError(f"the cells cover {covered:.6f} mm² of a piece of {wanted:.6f} mm².")


def _hole_area(area: Floats, loose: Bools) -> float:
    """Return the (negative) area of every hole: all outer sides of parts but the one round the whole piece."""
    sides = area[loose]
    return float(sides.sum() - sides.min()) if len(sides) else 0.0


def _give(region: Region) -> float:
    """Return by how much the area may change, in mm², because sides of the outline shorter than ``SNAP_MM`` become a corner."""
    sides = half_turns(region)
    size = lengths(sides)
    return SNAP_MM * float(size.sum()) if size.min() <= SNAP_MM else 0.0
