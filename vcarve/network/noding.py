"""Noding: curves that cross, touch or overlap become unique edges that meet only at their ends.

Used for what the border clips, for frames and for drawings; the inside of a pattern never needs it.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from vcarve.network.curve import Curve, bounds, meetings, parameter, part_bulge
from vcarve.network.graph import Graph
from vcarve.network.model import Bools, Floats, Ints

TOLERANCE_MM = 1e-5  # 10 nm: points closer than this are one vertex


def near_pairs(boxes: Floats, others: Floats | None = None) -> Ints:
    """Return index pairs (n, 2) of boxes (x low, y low, x high, y high) that meet.

    With one set, each pair once and no box with itself.
    """
    grow = TOLERANCE_MM
    grown = shapely.box(boxes[:, 0] - grow, boxes[:, 1] - grow, boxes[:, 2] + grow, boxes[:, 3] + grow)
    tree = shapely.STRtree(grown)
    if others is None:
        a, b = tree.query(grown)
        keep = a < b
        return np.column_stack([a[keep], b[keep]]).astype(np.int64)
    probes = shapely.box(others[:, 0] - grow, others[:, 1] - grow, others[:, 2] + grow, others[:, 3] + grow)
    probe, hit = tree.query(probes)
    order = np.lexsort((probe, hit))
    return np.column_stack([hit[order], probe[order]]).astype(np.int64)


def curve_boxes(curves: list[Curve]) -> Floats:
    """Return the exact boxes of curves, shape (n, 4)."""
    return np.array([bounds(curve) for curve in curves]).reshape(-1, 4)


def node(
    curves: list[Curve],
    role: Ints,
    cut: Bools,
    edge_class: Ints,
    pairs: Ints,
    *,
    fixed_xy: Floats | None = None,
) -> tuple[Graph, Ints, Ints]:
    """Return the graph of these curves split where the given pairs of them meet.

    ``fixed_xy`` are vertices that come first, keep their numbers and take up every end close to them.
    Of edges that coincide one is kept: the one to cut before the one that is not, then the lowest role.
    Also returns for each edge the curve it comes from, and for each edge whether it covers the whole curve (1) or part (0).
    """
    stops: list[list[tuple[float, float, float]]] = [
        [(0.0, curve[0], curve[1]), (1.0, curve[2], curve[3])] for curve in curves
    ]
    straight = np.array([curve[4] == 0.0 for curve in curves], dtype=bool)
    plain = straight[pairs[:, 0]] & straight[pairs[:, 1]] if len(pairs) else np.zeros(0, dtype=bool)
    for a, b, stop in _line_meetings(curves, pairs[plain]):
        stops[a].append(stop)
        stops[b].append((math.nan, stop[1], stop[2]))
    for a, b in pairs[~plain]:
        for (x, y), ta, tb in meetings(curves[a], curves[b], TOLERANCE_MM):
            stops[a].append((ta, x, y))
            stops[b].append((tb, x, y))
    # One parameter per stop: those met from the other side get theirs from the point.
    points: list[tuple[float, float]] = []
    owner: list[int] = []
    place: list[float] = []
    for index, found in enumerate(stops):
        for t, x, y in found:
            at = parameter(curves[index], (x, y), TOLERANCE_MM) if math.isnan(t) else t
            if at is None:
                continue
            points.append((x, y))
            owner.append(index)
            place.append(at)
    fixed = np.empty((0, 2)) if fixed_xy is None else fixed_xy
    xy, label = _cluster(np.vstack([fixed, np.array(points).reshape(-1, 2)]), len(fixed))
    label = label[len(fixed) :]

    tails: list[int] = []
    heads: list[int] = []
    bulges: list[float] = []
    source: list[int] = []
    whole: list[int] = []
    order = np.lexsort((place, owner))
    previous = -1
    t_before, v_before = 0.0, -1
    for k in order:
        index, t, vertex = owner[k], place[k], int(label[k])
        if index != previous:
            previous, t_before, v_before = index, t, vertex
            continue
        if vertex == v_before and (curves[index][4] == 0.0 or t - t_before < 0.5):
            continue
        tails.append(v_before)
        heads.append(vertex)
        bulges.append(part_bulge(curves[index][4], t_before, t))
        source.append(index)
        whole.append(int(t_before == 0.0 and t == 1.0))
        t_before, v_before = t, vertex
    src = np.array(source, dtype=np.int64)
    graph = Graph(
        xy=xy,
        tail=np.array(tails, dtype=np.int64),
        head=np.array(heads, dtype=np.int64),
        bulge=np.array(bulges, dtype=float),
        role=role[src],
        cut=cut[src],
        edge_class=edge_class[src],
    )
    keep = _first_of_equals(graph)
    return graph.take(keep), src[keep], np.array(whole, dtype=np.int64)[keep]


def _line_meetings(curves: list[Curve], pairs: Ints) -> list[tuple[int, int, tuple[float, float, float]]]:
    """Return (a, b, (t on a, x, y)) for every place where two straight lines meet, found for all pairs at once."""
    if len(pairs) == 0:
        return []
    table = np.array([curve[:4] for curve in curves])
    a, b = table[pairs[:, 0]], table[pairs[:, 1]]
    ux, uy = a[:, 2] - a[:, 0], a[:, 3] - a[:, 1]
    vx, vy = b[:, 2] - b[:, 0], b[:, 3] - b[:, 1]
    lu, lv = np.hypot(ux, uy), np.hypot(vx, vy)
    cross = ux * vy - uy * vx
    slanted = np.abs(cross) > 1e-9 * lu * lv
    found: list[tuple[int, int, tuple[float, float, float]]] = []
    with np.errstate(divide="ignore", invalid="ignore"):
        wx, wy = b[:, 0] - a[:, 0], b[:, 1] - a[:, 1]
        t = (wx * vy - wy * vx) / cross
        s = (wx * uy - wy * ux) / cross
        inside = (
            slanted
            & (t * lu > TOLERANCE_MM)
            & ((1.0 - t) * lu > TOLERANCE_MM)
            & (s * lv > TOLERANCE_MM)
            & ((1.0 - s) * lv > TOLERANCE_MM)
        )
    for k in np.flatnonzero(inside):
        x, y = a[k, 0] + t[k] * ux[k], a[k, 1] + t[k] * uy[k]
        found.append((int(pairs[k, 0]), int(pairs[k, 1]), (float(t[k]), float(x), float(y))))
    # Crossings near an end, and lines that run along each other, are looked at one by one.
    margin = 4.0 * TOLERANCE_MM
    with np.errstate(invalid="ignore"):
        apart = slanted & (
            (t * lu < -margin) | ((t - 1.0) * lu > margin) | (s * lv < -margin) | ((s - 1.0) * lv > margin)
        )
        gap = np.abs(wx * uy - wy * ux) / np.where(lu > 0, lu, 1.0)
        apart |= ~slanted & (gap > margin) & (np.abs((wx + vx) * uy - (wy + vy) * ux) > margin * lu)
    rest = np.flatnonzero(~inside & ~apart)
    for k in rest:
        i, j = int(pairs[k, 0]), int(pairs[k, 1])
        for (x, y), ta, _ in meetings(curves[i], curves[j], TOLERANCE_MM):
            found.append((i, j, (ta, x, y)))
    return found


def _cluster(points: Floats, fixed: int) -> tuple[Floats, Ints]:
    """Return vertices and the vertex of each point; points within the tolerance are one; the first ``fixed`` keep their place."""
    n = len(points)
    pairs = cKDTree(points).query_pairs(TOLERANCE_MM, output_type="ndarray")
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    count, label = connected_components(links, directed=False)
    first = np.full(count, n)
    np.minimum.at(first, label, np.arange(n))
    rank = np.empty(count, dtype=np.int64)
    rank[np.argsort(first, kind="stable")] = np.arange(count)
    # Fixed vertices are distinct from each other, so they come first in their own order.
    return points[np.sort(first)], rank[label].astype(np.int64)


def _first_of_equals(graph: Graph) -> Ints:
    """Return the numbers of the edges to keep when of those with the same ends and bulge only one may stay."""
    turned = graph.tail > graph.head
    low, high = np.where(turned, graph.head, graph.tail), np.where(turned, graph.tail, graph.head)
    chord = np.hypot(*(graph.xy[graph.head] - graph.xy[graph.tail]).T)
    # Two arcs on the same ends are one if their middles lie within the tolerance (middle height = bulge * chord / 2).
    middle = np.rint(np.where(turned, -graph.bulge, graph.bulge) * chord / (8.0 * TOLERANCE_MM)).astype(
        np.int64
    )
    order = np.lexsort((graph.role, ~graph.cut, middle, high, low))
    same = (
        (low[order][1:] == low[order][:-1])
        & (high[order][1:] == high[order][:-1])
        & (middle[order][1:] == middle[order][:-1])
    )
    fresh = np.concatenate([[True], ~same]) if len(order) else np.zeros(0, dtype=bool)
    return np.sort(order[fresh])


def curve_list(graph: Graph, which: Ints) -> list[Curve]:
    """Return the given edges of a graph as curves."""
    rows = np.hstack([graph.xy[graph.tail[which]], graph.xy[graph.head[which]], graph.bulge[which, None]])
    return [(float(r[0]), float(r[1]), float(r[2]), float(r[3]), float(r[4])) for r in rows]


def middle_points(graph: Graph) -> Floats:
    """Return the point half-way along each edge, shape (E, 2)."""
    a, b = graph.xy[graph.tail], graph.xy[graph.head]
    chord = b - a
    # The middle of an arc stands off its chord by bulge * chord / 2, to the right of its direction.
    return (a + b) / 2.0 + 0.5 * graph.bulge[:, None] * np.column_stack([chord[:, 1], -chord[:, 0]])
