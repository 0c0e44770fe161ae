"""What grooves cover at the surface, and what they leave: the land, each cell less the footprints of the grooves that reach it.

A groove's footprint is its line widened by half of its width with round ends, because the bit is round.

Why few grooves have to be looked at: a groove outside a cell reaches a point inside it only across the cell's boundary,
over an edge at least as near to that point as its own line.  If the edge crossed is as wide, the point is gone already.
So the cell is inset by the half-width of its narrowest own edge, and only wider edges, its own or others, and lines
inside the cell are taken away.

Slivers are land left so thin between a groove and the piece's own edge that it is likely to break out.  A groove that meets
the edge steeply also leaves thin land, but only at a point; one that runs along the edge leaves a strip.  A strip counts when
it is ``RUN`` times as long as it may be wide, or as long as the line itself.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import shapely

from vcarve.errors import InternalError
from vcarve.groove.circle import largest_circles
from vcarve.groove.model import WEAK_MM, WEAK_SHARE, Grooves, between
from vcarve.groove.width import Cone, cone_line_mm, width_mm
from vcarve.network.model import Network
from vcarve.plane.arcs import boxes, chord_counts, directions, evenly, lengths, points, ranges
from vcarve.plane.arrays import Bools, Floats, Ints, connected
from vcarve.plane.region import lines_along, polygons, upright

# Land whose largest circle is smaller than this is the rounding of the chords, not wood.
NOTHING_MM = 0.002
SAG_MM = 4e-4  # how far chords may stand off arcs and round ends
NARROWING = 48  # chords for a quarter of the circles between which a groove narrows: coarser ones leave specks along its sides
# The library leaves out corners inside a bend that lie by up to a hundredth of the distance off, which only sides shorter than
# this share of it come near.
SHORT = 0.02
RUN = 4.0  # lines that leave the edge at 14 degrees or more leave shorter strips: common practice, no source
SLIVER_SAG_MM = 0.001  # of the chords of arcs
SAMPLES = 64  # most along a line


def _edge_values(
    network: Network, bit: Cone, depths: Mapping[int, float], share: Floats | None
) -> tuple[Floats, Floats]:
    """Return depth and half-width at both ends of every edge, each (2, E); 0 where nothing is cut."""
    depth = np.zeros((2, len(network.tail)))
    half = np.zeros((2, len(network.tail)))
    for feature in np.unique(network.feature[network.cut]).tolist():
        if feature not in depths:
            raise InternalError(f"There is no depth for lines of feature {feature}.")
        chosen = network.cut & (network.feature == feature)
        depth[:, chosen] = depths[feature]
        half[:, chosen] = width_mm(bit, depths[feature]) / 2.0
    if share is not None:
        slope = np.flatnonzero(network.cut & (share != 1.0).any(axis=0))
        depth[:, slope] = np.round(depth[:, slope] * share[:, slope], 6)
        # Along a slope the cone's own line is even: what is left of a round tip's bulge is land that is not counted.
        start, more = cone_line_mm(bit)
        half[:, slope] = np.minimum(start + more * depth[:, slope], bit.diameter_mm) / 2.0
    return depth, half


def measure(network: Network, bit: Cone, depths: Mapping[int, float], share: Floats | None = None) -> Grooves:
    """Return the grooves that ``bit`` leaves at these depths (mm, by feature) and the land between them.

    ``share`` (2, E) is how much of its depth each edge has at its tail and at its head, all of it if not given.
    Each kind of cell is worked out once.  Circles and widths are right to a micrometre.
    Raises ``InputError`` for a bit that is none and ``InternalError`` where a feature to cut has no depth.
    """
    depth, ends = _edge_values(network, bit, depths, share)
    start, sides = network.cell_start, network.ring_half_edge >> 1
    across = np.where(_outermost(network), np.inf, ends.min(axis=0))
    narrowest = np.minimum.reduceat(across[sides], start[:-1])
    chosen, shape = _representatives(network, narrowest, float(ends.max(initial=0.0)))
    land = _lands(network.of_cells(chosen), ends, narrowest[chosen])
    corner = np.minimum.reduceat(network.walked(network.ring_half_edge)[:, :2], start[:-1])

    parts, kind = shapely.get_parts(land, return_index=True)
    # A circle of the size that counts as nothing has this area at least.
    solid = shapely.area(parts) > NOTHING_MM**2 / 2.0
    parts, kind = _moved(parts[solid], -corner[chosen][kind[solid]]), kind[solid]
    size, centre = largest_circles(parts)
    wood = size >= NOTHING_MM
    parts, kind, size, centre = parts[wood], kind[wood], size[wood], centre[wood]

    many = np.bincount(kind, minlength=len(chosen))
    most, at = np.zeros(len(chosen)), np.full((len(chosen), 2), np.nan)
    order = np.lexsort((-size, kind))
    first = order[np.cumsum(many)[many > 0] - many[many > 0]]
    most[many > 0], at[many > 0] = size[first], centre[first]
    # Of every cell all islands, to see which of them are likely to break out.
    begin = (np.cumsum(many) - many)[shape]
    island, cell = ranges(begin, begin + many[shape]), np.repeat(np.arange(network.cells), many[shape])
    deepest = np.maximum.reduceat(depth.max(axis=0)[sides], start[:-1])
    weak = size[island] < np.maximum(WEAK_MM, WEAK_SHARE * deepest[cell])
    lands: Any = np.full(len(chosen), shapely.MultiPolygon(), dtype=object)
    return Grooves(
        ends_depth_mm=depth,
        ends_half_mm=ends,
        land_mm=most[shape],
        land_at_mm=at[shape] + corner,
        land_area_mm2=np.bincount(kind, shapely.area(parts), len(chosen)).astype(float)[shape],
        islands=many[shape],
        shape=shape,
        corner_mm=corner,
        lands=shapely.multipolygons(parts, indices=kind, out=lands) if len(parts) else lands,
        weak_mm=size[island][weak],
        weak_at_mm=centre[island][weak] + corner[cell[weak]],
    )


def _outermost(network: Network) -> Bools:
    """Tell over which edges no groove reaches into a cell: they are not cut, and nothing that is lies beyond them."""
    plain, bent = np.flatnonzero(~network.cut), np.flatnonzero(network.cut & (network.bulge != 0.0))
    box = boxes(network.curves(bent))
    spots = np.vstack([network.xy_mm, box[:, :2], box[:, 2:], box[:, (0, 3)], box[:, (2, 1)]])
    within = shapely.buffer(shapely.convex_hull(shapely.multipoints(spots)), -0.1 * SAG_MM)
    result = np.zeros(len(network.tail), dtype=bool)
    result[plain] = ~shapely.intersects(within, lines_along(network.curves(plain), SAG_MM))
    return result


def _representatives(network: Network, narrowest: Floats, widest: float) -> tuple[Ints, Ints]:
    """Return the cells to look at, and for each cell which of them it is a copy of (an index into the first)."""
    alone = network.cell_class < 0
    # A copy keeps the land of its kind only where its surroundings are copies too.
    asked = np.flatnonzero((narrowest < widest) & ~alone)
    odd = lines_along(network.curves(np.flatnonzero(network.edge_class < 0)), SAG_MM)
    tree = shapely.STRtree(_outlines(network.of_cells(asked)))
    touched = tree.query(odd, predicate="dwithin", distance=widest)[1]
    alone[asked[touched]] = True
    further = network.cell_class.max(initial=-1) + 1 + np.arange(network.cells)
    key = np.where(alone, further, network.cell_class)
    _, first, shape = np.unique(key, return_index=True, return_inverse=True)
    return first.astype(np.int64), shape.astype(np.int64)


def _outlines(network: Network) -> Any:
    """Return all cells as polygons of shapely, with every line that hangs in them as a spike."""
    rings = np.diff(network.ring_start), np.diff(network.cell_ring_start)
    ring, of = (np.repeat(np.arange(len(sizes)), sizes) for sizes in rings)
    return polygons(network.walked(network.ring_half_edge), ring, of, SAG_MM)


def _lands(network: Network, ends: Floats, narrowest: Floats) -> Any:
    """Return the land of all cells as (multi)polygons of shapely; grooves reach in over no edge narrower than ``narrowest``."""
    half, edges = ends.max(axis=0), len(network.tail)
    shapes = _outlines(network)
    # Half-edges by cell and edge: the lines that hang in a cell are there twice.
    key, met = np.unique(network.cell_of * edges + (network.ring_half_edge >> 1), return_counts=True)
    cell, edge = np.divmod(key, edges)
    own = np.full(network.cells, np.inf)
    np.minimum.at(own, cell[met == 1], half[edge[met == 1]])
    own[cell[lengths(network.curves(edge)) < SHORT * own[cell]]] = 0.0
    bad = ~shapely.is_valid(shapes)
    shapes[bad] = shapely.make_valid(shapes[bad], method="structure", keep_collapsed=False)
    land: Any = shapely.buffer(shapes, -own, quad_segs=_quarter(own))
    # Where nothing is left, sides that have passed each other can seem to enclose a little: it lies too near to them.
    parts, of = shapely.get_parts(land, return_index=True)
    far = shapely.distance(shapely.point_on_surface(parts), shapely.boundary(shapes)[of])
    sound = far >= own[of] - 3.0 * SAG_MM
    for kind in np.unique(of[~sound]).tolist():
        land[kind] = shapely.MultiPolygon(parts[sound & (of == kind)].tolist())
    mine = (half[edge] > 0.0) & ((met == 2) | (half[edge] > own[cell]))

    open_to = np.flatnonzero(narrowest < half.max(initial=0.0))
    wide = np.flatnonzero(half > float(narrowest[open_to].min(initial=np.inf)))
    lines = lines_along(network.curves(wide), SAG_MM)
    line, which = shapely.STRtree(shapes[open_to]).query(lines, predicate="dwithin", distance=half[wide])
    others = open_to[which] * edges + wide[line]
    others = np.setdiff1d(others[half[wide[line]] > narrowest[open_to[which]]], key)
    # Most others only touch a corner that the cell's own grooves have taken already: those are told apart first.
    for one, by in ((cell[mine], edge[mine]), np.divmod(others, edges)):
        shapely.prepare(land)
        reached = shapely.dwithin(land[one], lines_along(network.curves(by), SAG_MM), half[by] - 2.0 * SAG_MM)
        which, of = np.unique(one[reached], return_inverse=True)
        taken = covered(network.curves(by[reached]), ends[:, by[reached]], of)
        land[which] = shapely.difference(land[which], taken)
    return land


def _moved(shapes: Any, by: Floats) -> Any:
    """Return shapes (n,) moved by vectors (n, 2)."""
    spots, of = shapely.get_coordinates(shapes, return_index=True)
    return shapely.set_coordinates(shapes.copy(), spots + by[of])


# --- footprints --------------------------------------------------------------------------------------------------------


def _quarter(radius_mm: Floats) -> int:
    """Return into how many chords a quarter circle is parted, so that the largest of these stays within half of ``SAG_MM``.

    The other half is left for the chords of the line, whose joints are rounded too.
    """
    largest = float(radius_mm[np.isfinite(radius_mm)].max(initial=SAG_MM))
    return math.ceil(math.pi / 4.0 / math.acos(1.0 - SAG_MM / 2.0 / largest))


def covered(curve: Floats, half_mm: Floats, of: Ints) -> Any:
    """Return what the grooves of each owner cover, polygons of shapely; ``of`` (n,) numbers the owners, all of them, from 0.

    They lie along curves (n, 5), half as wide as ``half_mm`` (2, n) at start and end.
    """
    slim = half_mm[0] != half_mm[1]
    even = np.flatnonzero(~slim)
    # One by one: round a ring of lines that meets itself in the middle the library can leave a hole there.
    lines = lines_along(curve[even], SAG_MM)
    bands: Any = shapely.buffer(lines, half_mm[0, even], quad_segs=_quarter(half_mm))
    # What narrows is, chord by chord, all that lies between two circles.
    line, ends, radii = narrowing(curve[slim], half_mm[:, slim], SAG_MM)
    places: Any = shapely.points(ends)
    circles = np.where(radii > 0.0, shapely.buffer(places, radii, quad_segs=NARROWING), places)
    hulls = shapely.convex_hull(shapely.geometrycollections(circles.T))
    owner = np.concatenate([of[even], of[slim][line]])
    order = np.argsort(owner, kind="stable")
    every: Any = shapely.geometrycollections(np.concatenate([bands, hulls])[order], indices=owner[order])
    return shapely.union_all(every[:, None], axis=1)


def narrowing(curve: Floats, half_mm: Floats, sag_mm: float) -> tuple[Ints, Floats, Floats]:
    """Return the chords of grooves that are ``half_mm`` (2, n) to either side at both ends of curves (n, 5).

    Gives the curve of each chord (m,), its ends (2, m, 2) and the half-widths there (2, m).
    """
    count = chord_counts(curve, sag_mm)
    owner, share = evenly(count)
    shares = np.stack([share, share + 1.0 / count[owner]])
    first, last = half_mm[:, owner]
    return owner, points(curve[owner], shares), first + shares * (last - first)


def closed_cells(network: Network) -> Bools:
    """Return for each cell whether it has a groove along every side: the outlines of its land are those of the grooves."""
    cut = network.cut[network.ring_half_edge >> 1]
    return np.asarray(np.logical_and.reduceat(cut, network.cell_start[:-1]))


def outer_rings(network: Network, grooves: Grooves, closed: Bools) -> Any:
    """Return the part of the grooves' footprint whose outline lies in no closed cell, polygons of shapely.

    Round a closed cell it is the outline of the cell's land, which is known already: only grooves at the border and along loose
    lines have to be joined.
    """
    inside = np.zeros(2 * len(network.tail), dtype=bool)
    inside[network.ring_half_edge[closed[network.cell_of]]] = True
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


# --- slivers -----------------------------------------------------------------------------------------------------------


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
    reach = grooves.half_width_mm + limit + SLIVER_SAG_MM
    edges = edges[np.unique(tree.query(upright(boxes(network.curves(edges)), reach[edges]))[0])]
    lines = lines_along(network.curves(edges), SLIVER_SAG_MM)
    edges = edges[np.unique(tree.query(lines, predicate="dwithin", distance=reach[edges])[0])]
    curves, length = network.curves(edges), network.length_mm[edges]
    many = np.clip(np.ceil(4.0 * length / limit[edges]), 4, SAMPLES).astype(np.int64)
    owner, share = evenly(many)
    share = share + 0.5 / many[owner]
    places, along = points(curves[owner], share), directions(curves[owner], share)
    spots: Any = shapely.points(places)
    place, gap = tree.query_nearest(spots, return_distance=True, all_matches=False)
    width = gap - between(grooves.ends_half_mm, edges[owner], share)
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
    lines: Any = lines_along(network.curves(edges), SLIVER_SAG_MM)
    reach = grooves.half_width_mm[edges]
    spot: Any = shapely.points(end)
    other, point = shapely.STRtree(spot).query(lines, predicate="dwithin", distance=reach)
    bare[point[other != owner[point]]] = False
    return bare
