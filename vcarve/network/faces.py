"""Closed cells from edges: rings of half-edges by turning, holes by looking down.

At every vertex the half-edges leaving it are sorted by angle; the ring on the left of a half-edge goes on with the one just
clockwise of its way back.  Rings that run counter-clockwise bound a cell; the others are the outer side of a connected part
of the network and make a hole in the cell round it (or lie in no cell at all).
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from vcarve.network.graph import Graph
from vcarve.network.model import Bools, Floats, Ints, Network
from vcarve.plane.arcs import beside, boxes, circles, cross, curves, segment_areas
from vcarve.plane.region import upright

# Edges that leave a vertex closer together than this may touch there; see next_half_edge.
BUNDLE_RAD = 0.01


def half_edge_ends(graph: Graph) -> tuple[Ints, Ints]:
    """Return start and end vertex of each half-edge, shape (2 E,) each."""
    start = np.column_stack([graph.tail, graph.head]).ravel()
    end = np.column_stack([graph.head, graph.tail]).ravel()
    return start, end


def _directions(graph: Graph) -> tuple[Floats, Floats]:
    """Return the direction in which each half-edge leaves its start (radians) and its curvature there, (2 E,) each."""
    delta = graph.xy[graph.head] - graph.xy[graph.tail]
    chord = np.hypot(*delta.T)
    angle = np.arctan2(delta[:, 1], delta[:, 0])
    half = 2.0 * np.arctan(graph.bulge)
    curvature = 2.0 * np.sin(half) / chord
    forward = angle - half
    backward = angle + math.pi + half
    directions = np.column_stack([forward, backward]).ravel()
    directions = np.mod(directions + math.pi, 2.0 * math.pi) - math.pi
    directions = np.where(directions > math.pi - BUNDLE_RAD, directions - 2.0 * math.pi, directions)
    return directions, np.column_stack([curvature, -curvature]).ravel()


def next_half_edge(graph: Graph) -> Ints:
    """Return for each half-edge the one that follows it round the cell on its left, shape (2 E,)."""
    start, _ = half_edge_ends(graph)
    direction, curvature = _directions(graph)
    order = np.lexsort((direction, start))
    bundled = np.zeros(len(order), dtype=bool)
    bundled[1:] = (start[order][1:] == start[order][:-1]) & (np.diff(direction[order]) < BUNDLE_RAD)
    if bundled.any() and graph.bulge.any():
        # Lines that touch leave side by side: there the fan is taken a little way off, where they have parted.  Half of the
        # shortest edge in the bundle is before any of them can meet again; a chord turns by half of what its arc does.
        bundle = np.empty(len(order), dtype=np.int64)
        bundle[order] = np.cumsum(~bundled) - 1
        chord = np.hypot(*(graph.xy[graph.head] - graph.xy[graph.tail]).T)
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
    following = next_half_edge(graph)
    count = len(following)
    _, label = connected_components(
        coo_array((np.ones(count), (np.arange(count), following)), shape=(count, count)), directed=False
    )
    size = np.bincount(label) if count else np.zeros(0, dtype=np.int64)
    first = np.full(len(size), count)
    np.minimum.at(first, label, np.arange(count))
    # Walk all rings at once, one step at a time, dropping those that have come round: as many rounds as the longest ring
    # has edges, unless few long rings are left, which are then walked one by one.
    order = np.argsort(first, kind="stable")
    first, size = first[order], size[order]
    starts = np.concatenate([[0], np.cumsum(size)])
    walk = np.empty(count, dtype=np.int64)
    live = np.arange(len(size))
    at = first.copy()
    step = 0
    while len(live) > 64:
        walk[starts[live] + step] = at
        at = following[at]
        step += 1
        going = size[live] > step
        live, at = live[going], at[going]
    jump = following.tolist() if len(live) else []
    for ring, here in zip(live.tolist(), at.tolist(), strict=True):
        run = []
        spot = here
        for _ in range(int(size[ring]) - step):
            run.append(spot)
            spot = jump[spot]
        walk[starts[ring] + step : starts[ring + 1]] = run
    return walk, starts.astype(np.int64)


def ring_areas(graph: Graph, walk: Ints, starts: Ints) -> Floats:
    """Return the signed area of each ring, arcs included, in mm²; positive runs counter-clockwise."""
    start, end = half_edge_ends(graph)
    bulge = np.column_stack([graph.bulge, -graph.bulge]).ravel()
    ring = np.repeat(np.arange(len(starts) - 1), np.diff(starts))
    # Taken about the ring's own first corner, so that small far rings keep their digits.
    origin = graph.xy[start[walk[starts[:-1]]]][ring] if len(walk) else np.empty((0, 2))
    a, b = graph.xy[start[walk]] - origin, graph.xy[end[walk]] - origin
    share = 0.5 * cross(a, b) + segment_areas(curves(a, b, bulge[walk]))
    return np.asarray(np.bincount(ring, weights=share, minlength=len(starts) - 1), dtype=float)


def cell_areas_mm2(network: Network) -> Floats:
    """Return the area of each cell, its holes taken off."""
    graph = Graph(
        xy=network.xy_mm,
        tail=network.tail,
        head=network.head,
        bulge=network.bulge,
        feature=network.feature,
        edge_class=network.edge_class,
        rim=np.zeros_like(network.tail),
    )
    area = ring_areas(graph, network.ring_half_edge, network.ring_start)
    return np.asarray(np.add.reduceat(area, network.cell_ring_start[:-1]), dtype=float)


def owners(graph: Graph, walk: Ints, starts: Ints, outer: Bools) -> Ints:
    """Return for each ring the outer ring of the cell it bounds: itself if it is outer, -1 if it lies in no cell."""
    count = len(starts) - 1
    owner = np.where(outer, np.arange(count), -1)
    loose = np.flatnonzero(~outer)
    if len(loose) <= 1:
        return owner
    ring_of = np.empty(len(walk), dtype=np.int64)
    ring_of[walk] = np.repeat(np.arange(count), np.diff(starts))
    # Look down from just left of each part's leftmost place: nothing of the part itself can be in the way.
    left = _leftmost(graph)
    inner = ~outer[ring_of[walk]]
    members, ring = walk[inner], ring_of[walk[inner]]
    order = np.lexsort((left[members // 2, 1], left[members // 2, 0], ring))
    lead = np.concatenate([[True], ring[order][1:] != ring[order][:-1]])
    spots = left[members[order[lead]] // 2] - (1.3e-6, 0.0)
    below = _first_below(graph, spots)
    # What is seen below may be the outer side of another part, which lies further left: go on from there, all at once.
    onward = np.arange(count + 1)
    onward[loose] = np.where(below < 0, count, ring_of[below])
    for _ in range(int(count).bit_length() + 1):
        onward = onward[onward]
    found = onward[loose]
    owner[loose] = np.where((found < count) & outer[np.minimum(found, count - 1)], found, -1)
    return owner


def _leftmost(graph: Graph) -> Floats:
    """Return the leftmost point of each edge, (E, 2): an end, or where an arc turns back."""
    a, b = graph.xy[graph.tail], graph.xy[graph.head]
    point = np.where(((a[:, 0] < b[:, 0]) | ((a[:, 0] == b[:, 0]) & (a[:, 1] <= b[:, 1])))[:, None], a, b)
    bent = np.flatnonzero(graph.bulge != 0.0)
    centre, radius = circles(graph.curves(bent))
    turn = centre - np.column_stack([radius, np.zeros(len(bent))])
    on = _on_arc(graph, bent, turn)
    point[bent[on]] = turn[on]
    return point


def _on_arc(graph: Graph, edge: Ints, point: Floats) -> Bools:
    """Tell of points (n, 2) on the circles of arcs whether they are on the arcs: beyond the chord, on the bulging side."""
    return beside(point, graph.curves(edge)) * graph.bulge[edge] <= 0.0


def _first_below(graph: Graph, spots: Floats) -> Ints:
    """Return for each spot the half-edge straight below it whose left side faces up, or -1."""
    box = boxes(graph.curves())
    tree = shapely.STRtree(upright(box))
    found = np.full(len(spots), -1, dtype=np.int64)
    open_ = np.arange(len(spots))
    bottom = float(box[:, 1].min()) - 1.0
    typical = float(np.median(box[:, 3] - box[:, 1])) + 1e-3
    reach = 2.0 * typical
    while len(open_):
        low = np.maximum(spots[open_, 1] - reach, bottom)
        ends = np.stack([spots[open_], np.column_stack([spots[open_, 0], low])], axis=1)
        ray, edge = tree.query(shapely.linestrings(ends))
        if len(ray):
            x, y = spots[open_[ray], 0], spots[open_[ray], 1]
            level, faces_up = _height_at(graph, edge, x)
            valid = np.isfinite(level) & (level < y)
            ray, edge, level, faces_up = ray[valid], edge[valid], level[valid], faces_up[valid]
            order = np.lexsort((-level, ray))
            lead = (
                np.concatenate([[True], ray[order][1:] != ray[order][:-1]])
                if len(order)
                else np.zeros(0, bool)
            )
            best = order[lead]
            found[open_[ray[best]]] = 2 * edge[best] + np.where(faces_up[best], 0, 1)
        done = (found[open_] >= 0) | (low <= bottom)
        open_ = open_[~done]
        reach *= 8.0
    return found


def _height_at(graph: Graph, edge: Ints, x: Floats) -> tuple[Floats, Bools]:
    """Return the highest y of each edge at ``x`` (NaN if it is not there), and whether the edge then runs to the right.

    An arc may pass ``x`` twice; only the upper crossing is needed, as nothing of the same arc lies between it and a spot above.
    """
    a, b = graph.xy[graph.tail[edge]], graph.xy[graph.head[edge]]
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (x - a[:, 0]) / (b[:, 0] - a[:, 0])
        y = np.where((t >= 0.0) & (t <= 1.0), a[:, 1] + t * (b[:, 1] - a[:, 1]), np.nan)
    right = b[:, 0] > a[:, 0]
    bent = np.flatnonzero(graph.bulge[edge] != 0.0)
    if len(bent):
        arc = edge[bent]
        centre, radius = circles(graph.curves(arc))
        inner = radius**2 - (x[bent] - centre[:, 0]) ** 2
        rise = np.sqrt(np.maximum(inner, 0.0))
        y[bent] = np.nan
        for side in (-1.0, 1.0):
            level = centre[:, 1] + side * rise
            on = (inner > 0.0) & _on_arc(graph, arc, np.column_stack([x[bent], level]))
            y[bent[on]] = level[on]
            # Counter-clockwise arcs run to the left on their upper half.
            right[bent[on]] = (side > 0.0) != (graph.bulge[arc[on]] > 0.0)
    return y, right
