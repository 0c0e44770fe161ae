"""The outline of all grooves at the surface.

Round a cell with grooves on all sides it is the outline of the cell's land, which is known already, kind by kind.  Only
the grooves beyond, at the border and along loose lines, have to be joined.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely

from vcarve.groove.model import Grooves
from vcarve.groove.near import boxes_round
from vcarve.groove.outline import Path, Strokes, group, union
from vcarve.network.model import Network
from vcarve.plane.arrays import NM_PER_MM, Bools, Floats, Ints
from vcarve.plane.region import lines_along

TILE_EDGES = 30  # lines joined in one go


def closed_cells(network: Network) -> Bools:
    """Return for each cell whether it has a groove along every side: the outlines of its land are those of the grooves."""
    if network.cells == 0:
        return np.zeros(0, dtype=bool)
    closed: Bools = np.logical_and.reduceat(
        network.cut[network.ring_half_edge >> 1], network.ring_start[network.cell_ring_start[:-1]]
    )
    return closed


def outer_rings(network: Network, grooves: Grooves, closed: Bools) -> list[Ints]:
    """Return the rings of the grooves' outline that lie in no closed cell."""
    inside = np.zeros(2 * len(network.tail), dtype=bool)
    sizes = np.diff(network.ring_start[network.cell_ring_start])
    inside[network.ring_half_edge[np.repeat(closed, sizes)]] = True
    whole = inside[0::2] & inside[1::2]  # both sides lie in closed cells
    border = network.cut & ~whole
    edges = np.flatnonzero(border)
    if len(edges) == 0:
        return []
    edges = np.union1d(edges, _wider_near(network, grooves.half_width_mm, border, whole))
    strokes = Strokes(network, grooves.ends_half_mm)
    parts = [part for tile in _tiles(network, edges) for part in group(_joined(strokes, tile))]
    shapes = [shapely.Polygon(part[0], part[1:]) for part in parts]
    bounding = np.flatnonzero(inside[0::2] != inside[1::2])
    if len(bounding):
        shapes.append(_middle(network, bounding, grooves.half_width_mm[bounding]))
    return _rings(_united(shapes))


def _wider_near(network: Network, half: Floats, border: Bools, whole: Bools) -> Ints:
    """Return grooves within the closed cells that may reach out over a narrower one at their border."""
    wide = np.flatnonzero(network.cut & whole & (half > float(half[border].min())))
    if len(wide) == 0:
        return wide
    tree = shapely.STRtree(boxes_round(network, np.flatnonzero(border), 0.0))
    near: Ints = np.unique(tree.query(boxes_round(network, wide, half[wide]))[0])
    reaching: Ints = wide[near]
    return reaching


def _middle(network: Network, sides: Ints, half: Floats) -> Any:
    """Return the region of all closed cells from the edges that bound it, arcs as chords that stay under their grooves."""
    lines: Any = lines_along(network.curves(sides), float(half.min()) / 4.0)
    # Every such edge has a closed cell on one side only: what an odd number of them surrounds is the region.
    area = shapely.build_area(shapely.union_all(lines))
    return shapely.transform(area, lambda xy_mm: np.rint(xy_mm * NM_PER_MM))


def _united(shapes: list[Any]) -> Any:
    """Return the union of polygons, of which some may cross themselves: places are rounded to whole nanometres."""
    every = np.array(shapes, dtype=object)
    bad = ~shapely.is_valid(every)
    every[bad] = shapely.make_valid(every[bad], method="structure", keep_collapsed=False)
    return shapely.union_all(every)


def _rings(region: Any) -> list[Ints]:
    """Return the rings of a region, outer ones counter-clockwise."""
    polygons = shapely.orient_polygons(shapely.get_parts(region), exterior_cw=False)
    rings: list[Ints] = [
        np.rint(shapely.get_coordinates(ring)[:-1]).astype(np.int64)
        for polygon in polygons
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    apart: list[Ints] = [ring[(ring != np.roll(ring, 1, axis=0)).any(axis=1)] for ring in rings]
    return [ring for ring in apart if len(ring) > 2]


def _tiles(network: Network, edges: Ints) -> list[Ints]:
    """Return edges in groups of neighbours: sweeping over all lines at once takes the longer the wider the sweep."""
    if len(edges) <= TILE_EDGES:
        return [edges]
    middle = (network.xy_mm[network.tail[edges]] + network.xy_mm[network.head[edges]]) / 2.0
    low, high = middle.min(axis=0), middle.max(axis=0)
    side = math.sqrt(float(np.prod(np.maximum(high - low, 1e-3))) * TILE_EDGES / len(edges))
    column, row = ((middle - low) / side).astype(np.int64).T
    _, tile = np.unique(row * (column.max() + 1) + column, return_inverse=True)
    order = np.argsort(tile, kind="stable")
    return [edges[part] for part in np.split(order, np.flatnonzero(np.diff(tile[order])) + 1)]


def _joined(strokes: Strokes, edges: Ints) -> list[Path]:
    """Return the union of the footprints of some edges."""
    return union(strokes.around(edges.tolist(), 0, 0))
