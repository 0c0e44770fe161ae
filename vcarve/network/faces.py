"""Closed cells from edges: rings of half-edges by turning, holes by what holds them.

At every vertex the half-edges leaving it are sorted by angle; the ring on the left of a half-edge goes on with the one just
clockwise of its way back.  Rings that run counter-clockwise bound a cell; the others are the outer side of a connected part
of the network and make a hole in the cell round it (or lie in no cell at all).  The cells prove themselves: by Euler's formula,
by every side of every edge in one ring, and by areas that add up to the piece.
"""

from __future__ import annotations

import math

import numpy as np
import shapely

from vcarve.errors import InternalError
from vcarve.network.model import Graph, Network
from vcarve.network.noding import SNAP_MM
from vcarve.plane.arcs import (
    TURN,
    boxes,
    cross,
    curves,
    directions,
    lengths,
    ranges,
    segment_areas,
    size,
    sweeps,
)
from vcarve.plane.arrays import Bools, Floats, Ints, connected
from vcarve.plane.region import SAG_MM, Region, area_mm2, half_turns, polygons, upright

# Edges that leave a vertex closer together than this may touch there; see next_half_edge.
BUNDLE_RAD = 0.01


def _directions(graph: Graph) -> tuple[Floats, Floats]:
    """Return the direction in which each half-edge leaves its start (radians) and its curvature there, (2 E,) each."""
    curve = graph.curves()
    way = np.stack([directions(curve, 0.0), -directions(curve, 1.0)], axis=1)
    angle = np.arctan2(way[..., 1], way[..., 0])
    bend = 2.0 * np.sin(sweeps(curve) / 2.0) / size(curve[:, 2:4] - curve[:, :2])
    angle = np.where(angle > math.pi - BUNDLE_RAD, angle - TURN, angle)
    return angle.ravel(), np.column_stack([bend, -bend]).ravel()


def next_half_edge(graph: Graph) -> Ints:
    """Return for each half-edge the one that follows it round the cell on its left, shape (2 E,)."""
    start = np.column_stack([graph.tail, graph.head]).ravel()
    direction, curvature = _directions(graph)
    order = np.lexsort((direction, start))
    bundled = np.zeros(len(order), dtype=bool)
    bundled[1:] = (start[order][1:] == start[order][:-1]) & (np.diff(direction[order]) < BUNDLE_RAD)
    if bundled.any() and graph.bulge.any():
        # Lines that touch leave side by side: there the fan is taken a little way off, where they have parted.  Half of the
        # shortest edge in the bundle is before any of them can meet again; a chord turns by half of what its arc does.
        bundle = np.empty(len(order), dtype=np.int64)
        bundle[order] = np.cumsum(~bundled) - 1
        chord = size(graph.xy[graph.head] - graph.xy[graph.tail])
        shortest = np.full(int(bundle.max()) + 1, np.inf)
        np.minimum.at(shortest, bundle, np.repeat(chord, 2))
        order = np.lexsort((direction + 0.25 * shortest[bundle] * curvature, bundle))
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    degree = np.bincount(start, minlength=len(graph.xy))
    first = np.concatenate([[0], np.cumsum(degree)])[:-1]
    twin = np.arange(len(start)) ^ 1
    # Clockwise of the way back: the one before it in the sorted fan of its vertex, wrapping round.
    at = rank[twin]
    vertex = start[twin]
    before = np.where(at == first[vertex], first[vertex] + degree[vertex] - 1, at - 1)
    return np.asarray(order[before], dtype=np.int64)


def rings(graph: Graph) -> tuple[Ints, Ints]:
    """Return every ring as runs of half-edges: the half-edges in order, and the offsets of the rings."""
    following: list[int] = next_half_edge(graph).tolist()
    walk: list[int] = []
    starts = [0]
    for first in range(len(following)):
        at = first
        while (after := following[at]) >= 0:
            following[at] = -1  # walked
            walk.append(at)
            at = after
        if len(walk) > starts[-1]:
            starts.append(len(walk))
    return np.array(walk, dtype=np.int64), np.array(starts, dtype=np.int64)


def ring_areas(sides: Floats, starts: Ints) -> Floats:
    """Return the signed area of each ring of sides (H, 5), arcs included, in mm²; positive runs counter-clockwise."""
    ring = np.repeat(np.arange(len(starts) - 1), np.diff(starts))
    # Taken about the ring's own first corner, so that small far rings keep their digits.
    origin = sides[starts[:-1], :2][ring]
    about = curves(sides[:, :2] - origin, sides[:, 2:4] - origin, sides[:, 4])
    share = 0.5 * cross(about[:, :2], about[:, 2:4]) + segment_areas(about)
    return np.asarray(np.bincount(ring, weights=share, minlength=len(starts) - 1), dtype=float)


def cell_areas_mm2(network: Network) -> Floats:
    """Return the area of each cell, its holes taken off."""
    area = ring_areas(network.walked(network.ring_half_edge), network.ring_start)
    return np.asarray(np.add.reduceat(area, network.cell_ring_start[:-1]), dtype=float)


def owners(sides: Floats, starts: Ints, area: Floats, outer: Bools) -> Ints:
    """Return for each ring the outer ring of the cell it bounds: itself if it is outer, -1 if it lies in no cell.

    The outer side of a part lies in the smallest cell that holds one of its vertices: nothing of another part comes nearer to
    that than vertices are apart.
    """
    owner = np.where(outer, np.arange(len(outer)), -1)
    loose, round_it = np.flatnonzero(~outer), np.flatnonzero(outer)
    if len(loose) <= 1 or not len(round_it):
        return owner
    spots = sides[starts[loose], :2]
    low, high = np.split(boxes(sides), 2, axis=1)
    box = np.hstack([np.minimum.reduceat(low, starts[:-1]), np.maximum.reduceat(high, starts[:-1])])
    spot, hit = shapely.STRtree(upright(box[outer])).query(shapely.points(spots))
    kept, which = np.unique(round_it[hit], return_inverse=True)
    round_them = sides[ranges(starts[kept], starts[kept + 1])]
    ring = np.repeat(np.arange(len(kept)), np.diff(starts)[kept])
    cells = polygons(round_them, ring, np.arange(len(kept)), SAG_MM)
    shapely.prepare(cells)
    holds = shapely.contains_xy(cells[which], spots[spot, 0], spots[spot, 1])
    spot, ring = spot[holds], kept[which[holds]]
    order = np.lexsort((area[ring], spot))
    inner, first = np.unique(spot[order], return_index=True)
    owner[loose[inner]] = ring[order[first]]
    return owner


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
