"""What the piece does to the endless pattern: lines end at its outline, frames cross them, the outline closes cells.

Only edges that the outline or a frame comes near are noded; all others are kept or dropped whole.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from vcarve.network.curve import Curve, centre_radius
from vcarve.network.graph import Graph, edge_bounds
from vcarve.network.model import Bools, Floats, Ints, Role
from vcarve.network.noding import TOLERANCE_MM, curve_boxes, curve_list, middle_points, near_pairs, node
from vcarve.pattern.region import Region, Ring

SAG_MM = 1e-4  # how far the straight copy of an arc may stand off it where only nearness is asked


def ring_curves(ring: Ring) -> list[Curve]:
    """Return the sides of a ring as curves."""
    ends = np.roll(ring.xy_mm, -1, axis=0)
    return [
        (float(a[0]), float(a[1]), float(b[0]), float(b[1]), float(bulge))
        for a, b, bulge in zip(ring.xy_mm, ends, ring.bulge, strict=True)
    ]


def flattened(curve: Curve, sag_mm: float = SAG_MM) -> list[tuple[float, float]]:
    """Return points along a curve, without its last, whose chords stand off it by no more than ``sag_mm``."""
    x0, y0, _, _, bulge = curve
    if bulge == 0.0:
        return [(x0, y0)]
    cx, cy, radius = centre_radius(curve)
    sweep = 4.0 * np.arctan(bulge)
    step = 2.0 * np.arccos(max(1.0 - sag_mm / radius, 0.0))
    count = max(int(np.ceil(abs(sweep) / step)), 1)
    start = np.arctan2(y0 - cy, x0 - cx)
    angles = start + sweep * np.arange(count) / count
    return [(float(cx + radius * np.cos(a)), float(cy + radius * np.sin(a))) for a in angles]


def region_polygon(region: Region, sag_mm: float = SAG_MM) -> shapely.Polygon:
    """Return the region as a polygon whose arcs are flattened within ``sag_mm``."""
    rings = [[p for curve in ring_curves(ring) for p in flattened(curve, sag_mm)] for ring in region.rings]
    return shapely.Polygon(rings[0], rings[1:])


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
    graph: Graph, region: Region, frames: Sequence[tuple[Region, int]] = (), *, edge: str = "groove"
) -> Graph:
    """Return the part of the graph inside the region, the region's outline and the frames, all noded.

    ``frames`` are regions whose rings are lines to cut, with their role.  With ``edge="groove"`` lines on the outline are cut, with
    ``"plain"`` they are left; the outline itself is never cut.
    """
    outline = [curve for ring in region.rings for curve in ring_curves(ring)]
    border: list[Curve] = list(outline)
    border_role = [int(Role.OUTLINE)] * len(outline)
    border_cut = [False] * len(outline)
    for frame, role in frames:
        rings = [curve for ring in frame.rings for curve in ring_curves(ring)]
        border.extend(rings)
        border_role.extend([role] * len(rings))
        border_cut.extend([True] * len(rings))

    near, inner = _sort_out(graph, region, border)
    core = graph.take(inner)
    # What the border touches is noded against it; its ends keep their vertex numbers where they are shared.
    crossing = curve_list(graph, near)
    curves = crossing + border
    boxes, border_boxes = curve_boxes(crossing), curve_boxes(border)
    pairs = near_pairs(border_boxes)
    if len(crossing):
        across = near_pairs(boxes, border_boxes)
        across[:, 1] += len(crossing)
        pairs = np.vstack([across, pairs + len(crossing)])
    count = len(crossing)
    shared = np.unique(np.concatenate([graph.tail[near], graph.head[near]]))
    noded, source, whole = node(
        curves,
        np.concatenate([graph.role[near], np.array(border_role, dtype=np.int64)]),
        np.concatenate([graph.cut[near], np.array(border_cut, dtype=bool)]),
        np.concatenate([graph.edge_class[near], np.full(len(border), -1)]),
        pairs,
        fixed_xy=graph.xy[shared],
    )
    on_outline = _on(noded, outline)
    within = inside(region, middle_points(noded)) | on_outline
    roles, cut, klass = noded.role.copy(), noded.cut.copy(), noded.edge_class.copy()
    klass[(whole == 0) | (source >= count)] = -1
    klass[on_outline] = -1
    if edge == "plain":
        cut[on_outline] = False
        roles[on_outline] = int(Role.OUTLINE)
    fresh = len(noded.xy) - len(shared)
    number = np.concatenate([shared, len(graph.xy) + np.arange(fresh)])
    rim = Graph(
        xy=np.vstack([graph.xy, noded.xy[len(shared) :]]),
        tail=number[noded.tail],
        head=number[noded.head],
        bulge=noded.bulge,
        role=roles,
        cut=cut,
        edge_class=klass,
    ).take(within)
    return core.join(rim).compact()


def _sort_out(graph: Graph, region: Region, border: list[Curve]) -> tuple[Ints, Ints]:
    """Return the edges that come near the border, and those wholly inside that do not."""
    boxes = edge_bounds(graph)
    lines = _border_lines(border)
    box = shapely.total_bounds(lines)
    grow = 4.0 * TOLERANCE_MM + SAG_MM
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


def _on(graph: Graph, outline: list[Curve]) -> Bools:
    """Tell which edges lie on the outline: both ends and the middle of each do."""
    result = np.zeros(len(graph.tail), dtype=bool)
    if len(graph.tail) == 0:
        return result
    tree = shapely.STRtree(_border_lines(outline))
    middles = middle_points(graph)
    edges, sides = tree.query(shapely.points(middles), predicate="dwithin", distance=2.0 * SAG_MM)
    for e, s in zip(edges, sides, strict=True):
        if result[e]:
            continue
        spots = (graph.xy[graph.tail[e]], graph.xy[graph.head[e]], middles[e])
        result[e] = all(_at(outline[s], float(p[0]), float(p[1])) for p in spots)
    return result


def _at(curve: Curve, x: float, y: float) -> bool:
    x0, y0, x1, y1, bulge = curve
    if bulge == 0.0:
        span = np.hypot(x1 - x0, y1 - y0)
        return bool(abs((x1 - x0) * (y - y0) - (y1 - y0) * (x - x0)) <= 2.0 * TOLERANCE_MM * span)
    cx, cy, radius = centre_radius(curve)
    return bool(abs(np.hypot(x - cx, y - cy) - radius) <= 2.0 * TOLERANCE_MM)
