"""Slivers: land left so thin between a groove and the piece's own edge that it is likely to break out.

A groove that meets the edge steeply also leaves thin land, but only at a point; one that runs along the edge leaves a
strip.  A strip counts when it is ``RUN`` times as long as it may be wide, or as long as the line itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from vcarve.groove.model import WEAK_MM, WEAK_SHARE, Grooves
from vcarve.network.model import Network
from vcarve.plane.arcs import boxes, directions, evenly, points
from vcarve.plane.arrays import Bools, Floats, Ints, connected
from vcarve.plane.region import lines_along, upright

RUN = 4.0  # lines that leave the edge at 14 degrees or more leave shorter strips: common practice, no source
NOTHING_MM = 0.002  # thinner is rounding
SAG_MM = 0.001  # of the chords of arcs
SAMPLES = 64  # most along a line


def edge_slivers(network: Network, grooves: Grooves, outline_mm: Sequence[Floats]) -> tuple[Floats, Floats]:
    """Return the strips thinner than ``WEAK_MM``, or than ``WEAK_SHARE`` of the groove's depth, at the piece's edge.

    For each run of lines one, the thinnest first: its least width (S,) and where that is (S, 2), in mm.  ``outline_mm`` are the
    closed rings of the piece's outline, shape (n, 2), curves as chords.
    """
    limit = np.maximum(WEAK_MM, WEAK_SHARE * grooves.depth_mm)
    edges = np.flatnonzero(network.cut)
    if len(edges) == 0 or len(outline_mm) == 0:
        return np.zeros(0), np.zeros((0, 2))
    corners = np.concatenate([np.stack([p, np.roll(p, -1, axis=0)], axis=1) for p in outline_mm])
    sides: Any = shapely.linestrings(corners)
    tree = shapely.STRtree(sides)
    # Most lie so far inside that their boxes tell.
    reach = (grooves.half_width_mm + limit + SAG_MM)[edges]
    edges = edges[np.unique(tree.query(upright(boxes(network.curves(edges)), reach))[0])]
    reach = (grooves.half_width_mm + limit + SAG_MM)[edges]
    lines = lines_along(network.curves(edges), SAG_MM)
    edges = edges[np.unique(tree.query(lines, predicate="dwithin", distance=reach)[0])]
    curves, length = network.curves(edges), network.length_mm[edges]
    many = np.clip(np.ceil(4.0 * length / limit[edges]), 4, SAMPLES).astype(np.int64)
    owner, share = evenly(many)
    share = share + 0.5 / many[owner]
    places, along = points(curves[owner], share), directions(curves[owner], share)
    spots: Any = shapely.points(places)
    place, gap = tree.query_nearest(spots, return_distance=True, all_matches=False)
    width = gap - grooves.half_at_mm(edges[owner], share)
    thin = (width > NOTHING_MM) & (width < limit[edges][owner])
    found = np.flatnonzero(thin)
    if len(found):
        way = shapely.shortest_line(spots[found], sides[place[1][found]])
        aside = np.diff(shapely.get_coordinates(way).reshape(-1, 2, 2), axis=1)[:, 0]
        # At its end a line has the edge before it; a strip lies beside it.
        beside = np.abs((aside * along[found]).sum(axis=1)) < 0.5 * gap[found]
        thin[found] = beside & _bare(network, grooves, edges, owner[found], way)
    run = np.bincount(owner, weights=thin * (length / many)[owner], minlength=len(edges))
    strip = run >= np.minimum(RUN * limit[edges], 0.99 * length)
    chosen = np.flatnonzero(thin & strip[owner])
    if not len(chosen):
        return np.zeros(0), np.zeros((0, 2))
    # Lines that follow on one another are one strip.
    line = np.unique(edges[owner[chosen]])
    _, part = connected(len(network.x_nm), network.tail[line], network.head[line])
    chosen = chosen[np.argsort(width[chosen], kind="stable")]
    _, first = np.unique(part[network.tail[edges[owner[chosen]]]], return_index=True)
    chosen = chosen[np.sort(first)]
    return width[chosen], places[chosen]


def _bare(network: Network, grooves: Grooves, edges: Ints, owner: Ints, way: Any) -> Bools:
    """Return for the shortest ways from a line to the piece's edge whether they end on land, not in another groove."""
    bare = np.ones(len(way), dtype=bool)
    end = shapely.get_coordinates(shapely.line_interpolate_point(way, 0.999, normalized=True))
    lines: Any = lines_along(network.curves(edges), SAG_MM)
    reach = grooves.half_width_mm[edges]
    spot: Any = shapely.points(end)
    other, point = shapely.STRtree(spot).query(lines, predicate="dwithin", distance=reach)
    bare[point[other != owner[point]]] = False
    return bare
