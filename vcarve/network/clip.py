"""What the piece does to the endless pattern: lines end at its outline, frames cross them, the outline closes cells.

Only edges that the outline or a frame comes near are noded; all others are kept or dropped whole.  Vertices within
``SNAP_MM`` of the outline move onto it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from vcarve.network.curve import Curve, centre_radius, halves
from vcarve.network.graph import Graph, edge_bounds
from vcarve.network.model import Bools, Floats, Ints, Role
from vcarve.network.noding import (
    FRAME,
    LINE,
    RIM,
    SNAP_MM,
    TOLERANCE_MM,
    curve_boxes,
    curve_list,
    merged,
    middle_points,
    near_pairs,
    node,
)
from vcarve.pattern.curves import chord_points
from vcarve.pattern.region import Region, Ring, chords

SAG_MM = 1e-4  # how far the straight copy of an arc may stand off it where only nearness is asked


def ring_curves(ring: Ring) -> list[Curve]:
    """Return the sides of a ring as curves that turn by half a circle at most."""
    ends = np.roll(ring.xy_mm, -1, axis=0)
    return [
        curve
        for a, b, bulge in zip(ring.xy_mm, ends, ring.bulge, strict=True)
        for curve in halves((float(a[0]), float(a[1]), float(b[0]), float(b[1]), float(bulge)))
    ]


def flattened(curve: Curve, sag_mm: float = SAG_MM) -> list[tuple[float, float]]:
    """Return points along a curve, without its last, whose chords stand off it by no more than ``sag_mm``."""
    x0, y0, x1, y1, bulge = curve
    return [(float(x), float(y)) for x, y in chord_points((x0, y0), (x1, y1), bulge, sag_mm)]


def region_polygon(region: Region, sag_mm: float = SAG_MM) -> shapely.Polygon:
    """Return the region as a polygon whose arcs are flattened within ``sag_mm``."""
    return shapely.Polygon(chords(region.outer, sag_mm), [chords(hole, sag_mm) for hole in region.holes])


def inside(region: Region, points: Floats) -> Bools:
    """Tell which points lie in the region; for points within ``SAG_MM`` of an arc the answer is exact as well."""
    polygon = region_polygon(region)
    shapely.prepare(polygon)
    result = np.asarray(shapely.contains_xy(polygon, points[:, 0], points[:, 1]), dtype=bool)
    arcs = [curve for ring in region.rings for curve in ring_curves(ring) if curve[4] != 0.0]
    if arcs:
        edge = shapely.boundary(polygon)
        near = np.flatnonzero(shapely.dwithin(shapely.points(points), edge, 2.0 * SAG_MM))
        for k in near:
            x, y = points[k]
            for curve in arcs:
                cx, cy, radius = centre_radius(curve)
                x0, y0, x1, y1, bulge = curve
                # The point is beyond this arc's chord, on its side: the circle decides.
                side = (x1 - x0) * (y - y0) - (y1 - y0) * (x - x0)
                if side * bulge > 0.0:
                    continue
                away = np.hypot(x - cx, y - cy) - radius
                if abs(away) < 2.0 * SAG_MM:
                    result[k] = (away < 0.0) == (bulge > 0.0)
                    break
    return result


def clip(
    graph: Graph,
    region: Region,
    frames: Sequence[tuple[Region, int]] = (),
    *,
    piece: Region | None = None,
    edge: str = "groove",
) -> Graph:
    """Return the part of the graph inside the region, the region's outline and the frames, all noded.

    ``frames`` are regions whose rings are lines to cut, with their role.  ``piece`` is the piece where the region is
    larger than that: its edge is an outline as well.  With ``edge="groove"`` lines on the outline are cut, with ``"plain"``
    they are left, but for frames; the outline itself is never cut.
    """
    outline = [curve for ring in region.rings for curve in ring_curves(ring)]
    border_rim = [1] * len(outline)
    if piece is not None:
        outline += [curve for ring in piece.rings for curve in ring_curves(ring)]
        border_rim += [2] * (len(outline) - len(border_rim))
    border: list[Curve] = list(outline)
    border_role = [int(Role.OUTLINE)] * len(outline)
    for frame, role in frames:
        rings = [curve for ring in frame.rings for curve in ring_curves(ring)]
        border.extend(rings)
        border_role.extend([role] * len(rings))
        border_rim.extend([0] * len(rings))
    framing = np.arange(len(border)) >= len(outline)

    near, inner = _sort_out(graph, region, border)
    # What the border touches is noded against it.
    crossing = curve_list(graph, near)
    count = len(crossing)
    border_boxes = curve_boxes(border)
    pairs = near_pairs(border_boxes) + count
    if count:
        across = near_pairs(curve_boxes(crossing), border_boxes)
        pairs = np.vstack([across + np.array([0, count]), pairs])
    shared = np.unique(np.concatenate([graph.tail[near], graph.head[near]]))
    noded = node(
        crossing + border,
        np.concatenate([graph.role[near], np.array(border_role, dtype=np.int64)]),
        np.concatenate([graph.cut[near], framing]),
        np.concatenate([graph.edge_class[near], np.full(len(border), -1)]),
        pairs,
        rank=np.concatenate([np.full(count, LINE), np.where(framing, FRAME, RIM)]),
        rim=np.concatenate([np.zeros(count, dtype=np.int64), np.array(border_rim, dtype=np.int64)]),
        fixed_xy=graph.xy[shared],
    )
    rim = noded.graph
    on_outline = rim.rim != 0
    within = inside(region, middle_points(rim)) | on_outline
    # Vertices of the rim come after those of the graph; where the core shares them it takes the new ones.
    number = np.arange(len(graph.xy))
    number[shared] = len(graph.xy) + noded.fixed
    xy = np.vstack([graph.xy, rim.xy])
    core = graph.take(inner).renumbered(xy, number)
    moved = np.zeros(len(xy), dtype=bool)
    moved[number[shared]] = np.hypot(*(xy[number[shared]] - graph.xy[shared]).T) > TOLERANCE_MM
    rim = rim.renumbered(xy, len(graph.xy) + np.arange(len(rim.xy)))
    own = ~noded.whole | (noded.source >= count) | on_outline
    framed = np.concatenate([np.zeros(count, dtype=bool), framing])[noded.source]
    left = on_outline & ~framed & (edge == "plain")
    rim = replace(
        rim,
        role=np.where(left, int(Role.OUTLINE), rim.role),
        cut=rim.cut & ~left,
        edge_class=np.where(own, -1, rim.edge_class),
    ).take(within)
    joined = core.join(rim)
    # An edge of the rim that has moved may have come to lie on one of the core's.
    rimmed = (joined.tail >= len(graph.xy)) & (joined.head >= len(graph.xy))
    close, _, _ = merged(joined.take(rimmed), np.where(joined.rim[rimmed] != 0, RIM, LINE))
    joined = joined.take(~rimmed).join(close)
    joined = joined.take(joined.tail != joined.head)
    # What has been moved is no longer the copy of its like.
    strained = moved[joined.tail] | moved[joined.head]
    joined = replace(joined, edge_class=np.where(strained, -1, joined.edge_class))
    if piece is not None and edge == "plain":
        joined = joined.take(~_left_behind(joined, piece))
    return joined.compact()


def _left_behind(graph: Graph, piece: Region) -> Bools:
    """Tell which edges beyond the piece go on from none on it: the ends of lines along its edge, which were left."""
    free = graph.rim == 0
    beyond = free & ~inside(piece, middle_points(graph))
    ends = (graph.tail[beyond], graph.head[beyond])
    size = len(graph.xy)
    links = coo_array((np.ones(len(ends[0])), ends), shape=(size, size))
    _, label = connected_components(links, directed=False)
    on_piece = free & ~beyond
    reached = np.zeros(size, dtype=bool)
    reached[label[graph.tail[on_piece]]] = True
    reached[label[graph.head[on_piece]]] = True
    return np.asarray(beyond & ~reached[label[graph.tail]], dtype=bool)


def _sort_out(graph: Graph, region: Region, border: list[Curve]) -> tuple[Ints, Ints]:
    """Return the edges that come near the border, and those wholly inside that do not."""
    boxes = edge_bounds(graph)
    lines = _border_lines(border)
    box = shapely.total_bounds(lines)
    # Far more than anything moves, so that what moves near the border cannot come upon an edge that is kept whole.
    grow = 25.0 * SNAP_MM + SAG_MM
    outside = (
        (boxes[:, 0] > box[2] + grow)
        | (boxes[:, 2] < box[0] - grow)
        | (boxes[:, 1] > box[3] + grow)
        | (boxes[:, 3] < box[1] - grow)
    )
    tree = shapely.STRtree(lines)
    candidates = np.flatnonzero(~outside)
    a, b = graph.xy[graph.tail[candidates]], graph.xy[graph.head[candidates]]
    chords = np.asarray(shapely.linestrings(np.stack([a, b], axis=1)), dtype=object)
    bent = np.flatnonzero(graph.bulge[candidates] != 0.0)
    if len(bent):
        # For arcs the box stands in: a few more are noded than need be.
        slim = boxes[candidates[bent]]
        chords[bent] = shapely.box(slim[:, 0], slim[:, 1], slim[:, 2], slim[:, 3])
    hit = np.unique(tree.query(chords, predicate="dwithin", distance=grow)[0])
    near = candidates[hit]
    free = np.ones(len(candidates), dtype=bool)
    free[hit] = False
    rest = candidates[free]
    keep = inside(region, graph.xy[graph.tail[rest]])
    return near.astype(np.int64), rest[keep].astype(np.int64)


def _border_lines(border: list[Curve]) -> np.ndarray:
    return np.array([shapely.LineString([*flattened(curve), curve[2:4]]) for curve in border], dtype=object)
