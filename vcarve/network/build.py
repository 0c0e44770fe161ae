"""Pattern or drawing to network: repeat, clip, find the cells, prove."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vcarve.errors import InputError
from vcarve.network.clip import clip, inside
from vcarve.network.faces import half_edge_ends, owners, ring_areas, rings
from vcarve.network.graph import Graph
from vcarve.network.model import NM_PER_MM, Bools, Floats, Ints, Network
from vcarve.network.noding import curve_boxes, near_pairs, node
from vcarve.network.proof import prove
from vcarve.network.repeat import Placing, repeat
from vcarve.network.unit import unit_network
from vcarve.pattern.model import Line, Pattern
from vcarve.pattern.region import Region


def build(
    pattern: Pattern,
    *,
    region: Region,
    pitch_mm: float,
    rotate_deg: float = 0.0,
    shift_mm: tuple[float, float] = (0.0, 0.0),
    mirror: bool = False,
    edge: str = "groove",
    frames: Sequence[tuple[Region, int]] = (),
) -> Network:
    """Return the network of a pattern on a region of the piece; a lattice point lies at the piece's centre plus the shift.

    ``frames`` are regions whose rings are cut as border lines, with their role.  Raises InternalError if the network does not
    prove itself.
    """
    placing = Placing(pitch_mm=pitch_mm, rotate_deg=rotate_deg, shift_mm=shift_mm, mirror=mirror)
    graph = repeat(pattern, unit_network(pattern), placing, _box(region))
    return finish(clip(graph, region, frames, edge=edge), region)


def build_lines(
    lines: Sequence[Line],
    *,
    region: Region,
    edge: str = "groove",
    frames: Sequence[tuple[Region, int]] = (),
) -> Network:
    """Return the network of lines given in millimetres on the piece, such as a drawing's.

    Crossings become vertices; what coincides is one edge.
    """
    if not lines:
        raise InputError("the drawing has no lines on the piece")
    curves = [(*line.start, *line.end, line.bulge) for line in lines]
    graph, _, _ = node(
        curves,
        np.array([line.role for line in lines], dtype=np.int64),
        np.ones(len(lines), dtype=bool),
        np.full(len(lines), -1, dtype=np.int64),
        near_pairs(curve_boxes(curves)),
    )
    return finish(clip(graph, region, frames, edge=edge), region)


def finish(graph: Graph, region: Region) -> Network:
    """Return the network of a noded graph: its cells found, its places rounded to nanometres, and proved."""
    walk, starts = rings(graph)
    area = ring_areas(graph, walk, starts)
    outer = area > 0.5e-9
    owner = owners(graph, walk, starts, outer)
    void = _voids(graph, walk, starts, outer, region)
    half_class, cell_rings = _cells(graph, walk, starts, outer & ~void, owner)
    order = [ring for group in cell_rings for ring in group]
    sizes = np.diff(starts)[order] if order else np.zeros(0, dtype=np.int64)
    ring_start = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    ring_half_edge = (
        np.concatenate([walk[starts[r] : starts[r + 1]] for r in order])
        if order
        else np.zeros(0, dtype=np.int64)
    )
    places = np.rint(graph.xy * NM_PER_MM).astype(np.int64)
    network = Network(
        x_nm=np.ascontiguousarray(places[:, 0]),
        y_nm=np.ascontiguousarray(places[:, 1]),
        tail=graph.tail.astype(np.int64),
        head=graph.head.astype(np.int64),
        bulge=graph.bulge.astype(float),
        role=graph.role.astype(np.int64),
        cut=graph.cut.astype(bool),
        edge_class=graph.edge_class.astype(np.int64),
        ring_half_edge=ring_half_edge.astype(np.int64),
        ring_start=ring_start,
        cell_ring_start=np.concatenate([[0], np.cumsum([len(g) for g in cell_rings])]).astype(np.int64),
        cell_class=half_class,
    )
    prove(graph, walk, starts, area, outer, void, region)
    return network


def _box(region: Region) -> tuple[float, float, float, float]:
    xy = region.outer.xy_mm
    ends = np.roll(xy, -1, axis=0)
    sag = 0.5 * np.abs(region.outer.bulge) * np.hypot(*(ends - xy).T)
    low = np.minimum(xy, ends) - sag[:, None]
    high = np.maximum(xy, ends) + sag[:, None]
    return float(low[:, 0].min()), float(low[:, 1].min()), float(high[:, 0].max()), float(high[:, 1].max())


def _voids(graph: Graph, walk: Ints, starts: Ints, outer: Bools, region: Region) -> Bools:
    """Tell which rings bound a hole of the region rather than a cell."""
    void = np.zeros(len(outer), dtype=bool)
    if not region.holes:
        return void
    start, end = half_edge_ends(graph)
    rim = ~graph.cut[walk // 2] | (graph.edge_class[walk // 2] < 0)
    ring = np.repeat(np.arange(len(outer)), np.diff(starts))
    for r in np.unique(ring[rim & outer[ring]]).tolist():
        members = walk[starts[r] : starts[r + 1]]
        point = _point_inside(graph, start[members], end[members], members)
        void[r] = not bool(inside(region, point[None, :])[0])
    return void


def _point_inside(graph: Graph, start: Ints, end: Ints, members: Ints) -> Floats:
    """Return a point just left of the middle of the ring's longest side."""
    a, b = graph.xy[start], graph.xy[end]
    chord = b - a
    longest = int(np.argmax(np.hypot(*chord.T)))
    bulge = graph.bulge[members[longest] // 2] * (1.0 if members[longest] % 2 == 0 else -1.0)
    right = np.array([chord[longest, 1], -chord[longest, 0]])
    middle = (a[longest] + b[longest]) / 2.0 + 0.5 * bulge * right
    return np.asarray(middle - right * (1e-3 / max(float(np.hypot(*right)), 1e-9)))


def _cells(graph: Graph, walk: Ints, starts: Ints, outer: Bools, owner: Ints) -> tuple[Ints, list[list[int]]]:
    """Return the class of each cell and the rings of each: its outer one first, then its holes in order."""
    klass = graph.edge_class[walk // 2]
    half = np.where(klass < 0, -1, 2 * klass + walk % 2)
    count = len(starts) - 1
    lowest = np.minimum.reduceat(half, starts[:-1]) if count else np.zeros(0, dtype=np.int64)
    holes: dict[int, list[int]] = {}
    for ring in np.flatnonzero((owner >= 0) & (owner != np.arange(count))).tolist():
        holes.setdefault(int(owner[ring]), []).append(ring)
    groups: list[list[int]] = []
    classes: list[int] = []
    for ring in np.flatnonzero(outer).tolist():
        group = [ring, *holes.get(ring, ())]
        groups.append(group)
        classes.append(int(lowest[ring]) if all(lowest[r] >= 0 for r in group) else -1)
    return np.array(classes, dtype=np.int64), groups
