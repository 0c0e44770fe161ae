"""What grooves cover at the surface: each on its own, and the outline of all of them.

A groove's footprint is its line widened by half of its width with round ends, because the bit is round.  Round a cell with
grooves on all sides the outline of all grooves is that of the cell's land, which is known already, kind by kind.  Only the
grooves beyond, at the border and along loose lines, have to be joined.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from vcarve.groove.model import Grooves
from vcarve.network.model import Network
from vcarve.plane.arcs import chord_counts, evenly, points
from vcarve.plane.arrays import Bools, Floats, Ints
from vcarve.plane.region import lines_along

SAG_MM = 4e-4  # how far chords may stand off arcs and round ends
QUARTER = 48  # chords for a quarter of a round end: so near up to 6 mm of width
# The library leaves out corners inside a bend that lie by up to a hundredth of the distance off, which only sides shorter than
# this share of it come near.
SHORT = 0.02


def covered(curve: Floats, half_mm: Floats, of: Ints) -> Any:
    """Return what the grooves of each owner cover, polygons of shapely; ``of`` (n,) numbers the owners, all of them, from 0.

    They lie along curves (n, 5), half as wide as ``half_mm`` (2, n) at start and end.
    """
    slim = half_mm[0] != half_mm[1]
    even = np.flatnonzero(~slim)
    # One by one: round a ring of lines that meets itself in the middle the library can leave a hole there.
    lines = lines_along(curve[even], SAG_MM)
    bands: Any = shapely.buffer(lines, half_mm[0, even], quad_segs=QUARTER)
    # What narrows is, chord by chord, all that lies between two circles.
    count = chord_counts(curve[slim], SAG_MM)
    line, share = evenly(count)
    ends = np.stack([share, share + 1.0 / count[line]], axis=1)
    first, last = half_mm[:, slim][:, line, None]
    radii = first + ends * (last - first)
    places: Any = shapely.points(points(curve[slim][line, None], ends))
    circles = np.where(radii > 0.0, shapely.buffer(places, radii, quad_segs=QUARTER), places)
    hulls = shapely.convex_hull(shapely.geometrycollections(circles))
    owner = np.concatenate([of[even], of[slim][line]])
    order = np.argsort(owner, kind="stable")
    every: Any = shapely.geometrycollections(np.concatenate([bands, hulls])[order], indices=owner[order])
    return shapely.union_all(every[:, None], axis=1)


def closed_cells(network: Network) -> Bools:
    """Return for each cell whether it has a groove along every side: the outlines of its land are those of the grooves."""
    closed: Bools = np.logical_and.reduceat(
        network.cut[network.ring_half_edge >> 1], network.ring_start[network.cell_ring_start[:-1]]
    )
    return closed


def outer_rings(network: Network, grooves: Grooves, closed: Bools) -> Any:
    """Return the part of the grooves' footprint whose outline lies in no closed cell, polygons of shapely."""
    inside = np.zeros(2 * len(network.tail), dtype=bool)
    sizes = np.diff(network.ring_start[network.cell_ring_start])
    inside[network.ring_half_edge[np.repeat(closed, sizes)]] = True
    whole, bounding = inside[0::2] & inside[1::2], inside[0::2] != inside[1::2]
    border, half = network.cut & ~whole, grooves.half_width_mm
    edges = np.flatnonzero(border)
    if not len(edges):
        return shapely.MultiPolygon()
    # Grooves within the closed cells may reach out over a narrower one at their border.
    wide = np.flatnonzero(network.cut & whole & (half > float(half[edges].min())))
    tree = shapely.STRtree(lines_along(network.curves(edges), SAG_MM))
    near = tree.query(lines_along(network.curves(wide), SAG_MM), predicate="dwithin", distance=half[wide])[0]
    edges = np.union1d(edges, wide[near])
    shapes = covered(network.curves(edges), grooves.ends_half_mm[:, edges], np.arange(len(edges)))
    # Every edge round the closed cells has one on one side only: what an odd number of them surrounds is all of these.
    sag = float(half[bounding].min(initial=4.0 * SAG_MM)) / 4.0
    middle = shapely.build_area(shapely.union_all(lines_along(network.curves(np.flatnonzero(bounding)), sag)))
    return shapely.union_all([*shapes, middle])
