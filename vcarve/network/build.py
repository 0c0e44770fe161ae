"""Pattern or drawing to network: repeat, clip, find the cells, prove."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vcarve.errors import InputError, Problem
from vcarve.network.clip import clip
from vcarve.network.faces import owners, prove, ring_areas, rings
from vcarve.network.model import Graph, Network
from vcarve.network.noding import SNAP_MM, near_pairs, node
from vcarve.pattern.model import Pattern
from vcarve.plane.arcs import boxes, halved, mapped, ranges
from vcarve.plane.arrays import NM_PER_MM, Bools, Floats, Ints, connected
from vcarve.plane.region import Region, area_mm2, bounds, half_turns

# Vertices nearer than this may snap together at the border and stay apart elsewhere.
LEAST_APART_MM = 4.0 * SNAP_MM
MOST_PAIRS = 250_000  # lines of a drawing that may meet; each crossing is a vertex with two more edges


@dataclass(frozen=True, slots=True, kw_only=True)
class Placing:
    """How a pattern lies on the piece: scaled by the pitch, mirrored left to right, turned, then shifted."""

    pitch_mm: float
    rotate_deg: float = 0.0
    shift_mm: tuple[float, float] = (0.0, 0.0)
    mirror: bool = False

    @property
    def matrix(self) -> Floats:
        """The 2 × 2 matrix that takes pattern units, as a row vector, to millimetres on the piece."""
        # Quarter turns are exact, so that a turned job has the very same numbers.
        quarter, rest = divmod(self.rotate_deg, 90.0)
        cos, sin = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)][int(quarter) % 4]
        if rest:
            cos, sin = math.cos(math.radians(self.rotate_deg)), math.sin(math.radians(self.rotate_deg))
        flip = -1.0 if self.mirror else 1.0
        return self.pitch_mm * np.array([[flip * cos, flip * sin], [-sin, cos]])


def pattern_graph(pattern: Pattern, placing: Placing, region: Region) -> Graph:
    """Return the graph of a pattern's lines over at least a region; a lattice point lies at the piece's centre plus the shift.

    Edges keep the number of their unit edge as ``edge_class``.  The unit cell's network is repeated by index: nothing is compared
    or noded, and edges that stick out are whole.  Raises InputError for a pitch at which places fall together.
    """
    unit = pattern.unit_network
    apart = placing.pitch_mm * unit.nearest_apart(pattern.cell)
    if apart < LEAST_APART_MM:
        pitch = f"{placing.pitch_mm:g} mm"
        want = (
            f"at a pitch of {pitch} places of {pattern.key} lie only {1000.0 * apart:.1f} µm apart, too close to be told "
            "apart; let its lines meet in one place, or make the pitch larger"
        )
        raise InputError(Problem(key="pattern.pitch", value=pitch, want=want))
    basis, shift = pattern.cell.basis @ placing.matrix, np.array(placing.shift_mm)
    curves = mapped(unit.curves(pattern.cell), placing.matrix)
    # How far a cell's edges reach from its lattice point.
    low, high = boxes(curves)[:, :2].min(axis=0), boxes(curves)[:, 2:].max(axis=0)
    left, front, right, back = np.array(bounds(region)) + 2.0 * SNAP_MM * np.array([-1.0, -1.0, 1.0, 1.0])
    near, far = np.array([left, front]) - high - shift, np.array([right, back]) - low - shift
    corners = np.array([(x, y) for x in (near[0], far[0]) for y in (near[1], far[1])]) @ np.linalg.inv(basis)
    first, last = np.floor(corners.min(axis=0)).astype(int), np.ceil(corners.max(axis=0)).astype(int) + 1
    cells = np.mgrid[first[0] : last[0], first[1] : last[1]].reshape(2, -1).T
    cells = cells[((cells @ basis >= near) & (cells @ basis <= far)).all(axis=1)]
    # Vertices are numbered by their cell, of as many as the farthest end of an edge asks for, and by their number in it.
    reach = np.abs(unit.step).max(axis=0)
    wide, base = last[1] - first[1] + 2 * reach[1], first - reach
    ends = cells[:, None, None] - base + np.stack([np.zeros_like(unit.step), unit.step])
    number = (ends[..., 0] * wide + ends[..., 1]) * len(unit.uv) + np.stack([unit.tail, unit.head])
    used, place = np.unique(number, return_inverse=True)
    tail, head = place.reshape(number.shape).swapaxes(0, 1).reshape(2, -1)
    cell, vertex = np.divmod(used, len(unit.uv))
    count = len(cells)
    return Graph(
        xy=(np.column_stack(np.divmod(cell, wide)) + base + unit.uv[vertex]) @ basis + shift,
        tail=tail,
        head=head,
        bulge=np.tile(curves[:, 4], count),
        feature=np.tile(unit.feature, count),
        edge_class=np.tile(np.arange(len(unit.tail)), count),
        rim=np.zeros(len(tail), dtype=np.int64),
    )


def drawn_graph(curves: Floats, feature: Ints) -> Graph:
    """Return the graph of lines (n, 5) given in millimetres on the piece, such as a drawing's, and their features (n,).

    Crossings become vertices; what coincides is one edge.
    """
    if not len(curves):
        raise InputError("the drawing has no lines on the piece")
    curves, source = halved(curves)
    pairs = near_pairs(boxes(curves), most=MOST_PAIRS)
    return node(curves, feature[source], np.full(len(curves), -1), pairs).graph


def network_on(
    region: Region,
    graph: Graph,
    *,
    piece: Region | None = None,
    edge: str = "groove",
    frames: Sequence[tuple[Region, int]] = (),
) -> Network:
    """Return the network of a graph's lines on a region of the piece, and of frames, whose rings are cut, with their feature.

    Where lines run off the piece the region is larger than the ``piece``; what lies beyond its edge is no cell.  Frames outside
    the region stand alone and are the side of no cell.  Raises InternalError if the network does not prove itself.
    """
    size = area_mm2(region)
    within = [frame for frame in frames if area_mm2(frame[0]) <= size]
    around = [frame for frame in frames if area_mm2(frame[0]) > size]
    network = finish(clip(graph, region, within, piece=piece, edge=edge), region)
    return _with_rings(network, around) if around else network


def _with_rings(network: Network, frames: Sequence[tuple[Region, int]]) -> Network:
    """Return the network with frames that meet none of its lines."""
    # Of frames at one and the same distance the last is cut.
    features = {tuple(side): feature for frame, feature in frames for side in half_turns(frame).tolist()}
    rows = np.array(list(features))
    new = np.rint(rows[:, :4].reshape(-1, 2) * NM_PER_MM).astype(np.int64)
    places, at = np.unique(new, axis=0, return_inverse=True)
    ends = at.reshape(-1, 2) + len(network.x_nm)
    count = len(rows)
    return replace(
        network,
        x_nm=np.concatenate([network.x_nm, places[:, 0]]),
        y_nm=np.concatenate([network.y_nm, places[:, 1]]),
        tail=np.concatenate([network.tail, ends[:, 0]]),
        head=np.concatenate([network.head, ends[:, 1]]),
        bulge=np.concatenate([network.bulge, rows[:, 4]]),
        feature=np.concatenate([network.feature, np.array(list(features.values()), dtype=np.int64)]),
        edge_class=np.concatenate([network.edge_class, np.full(count, -1, dtype=np.int64)]),
    )


def finish(graph: Graph, region: Region) -> Network:
    """Return the network of a noded graph: its cells found, its places rounded to nanometres, and proved."""
    walk, starts = rings(graph)
    sides = graph.walked(walk)
    area = ring_areas(sides, starts)
    outer = area > 0.5e-9
    owner = owners(sides, starts, area, outer)
    ring = np.repeat(np.arange(len(outer)), np.diff(starts))
    side = np.where(walk % 2 == 0, 1, -1) * graph.rim[walk // 2]
    # A ring with the outline's outer side on its left bounds a hole of the region rather than a cell.
    void = outer & np.isin(np.arange(len(outer)), ring[side == -1])
    beyond = _beyond(graph, walk, ring, side, owner)
    order, cell_ring_start, cell_class = _cells(graph, walk, starts, outer & ~void & ~beyond, owner)
    ring_start = np.concatenate([[0], np.cumsum(np.diff(starts)[order])])
    ring_half_edge = walk[ranges(starts[order], starts[order + 1])]
    prove(graph, walk, starts, area, outer, void, region)
    # What is neither cut nor the side of a cell has only closed the region.
    needed = graph.cut
    needed[ring_half_edge // 2] = True
    ring_half_edge = 2 * (np.cumsum(needed) - 1)[ring_half_edge // 2] + ring_half_edge % 2
    graph = graph.take(needed).compact()
    places = np.rint(graph.xy * NM_PER_MM).astype(np.int64)
    return Network(
        x_nm=np.ascontiguousarray(places[:, 0]),
        y_nm=np.ascontiguousarray(places[:, 1]),
        tail=graph.tail,
        head=graph.head,
        bulge=graph.bulge,
        feature=graph.feature,
        edge_class=graph.edge_class,
        ring_half_edge=ring_half_edge,
        ring_start=ring_start,
        cell_ring_start=cell_ring_start,
        cell_class=cell_class,
    )


def _beyond(graph: Graph, walk: Ints, ring: Ints, side: Ints, owner: Ints) -> Bools:
    """Tell which rings lie beyond the piece's own edge, where lines run off it: they can be reached without crossing it."""
    if not (side == -2).any():
        return np.zeros(len(owner), dtype=bool)
    of = np.empty_like(ring)
    of[walk] = ring
    open_edge, lies_in = np.flatnonzero(graph.rim == 0), np.flatnonzero(owner >= 0)
    left, right = np.append(of[2 * open_edge], lies_in), np.append(of[2 * open_edge + 1], owner[lies_in])
    _, label = connected(len(owner), left, right)
    return np.isin(label, label[ring[side == -2]])


def _cells(graph: Graph, walk: Ints, starts: Ints, outer: Bools, owner: Ints) -> tuple[Ints, Ints, Ints]:
    """Return the rings of all cells (each one's outer ring first, then its holes), their offsets and the cells' classes."""
    klass = graph.edge_class[walk // 2]
    half = np.where(klass < 0, -1, 2 * klass + walk % 2)
    lowest = np.minimum.reduceat(half, starts[:-1]) if len(starts) > 1 else np.zeros(0, dtype=np.int64)
    mine = np.flatnonzero((owner >= 0) & outer[owner])
    order = mine[np.lexsort((mine, owner[mine] != mine, owner[mine]))]
    begin = np.flatnonzero(owner[order] == order)
    offsets = np.append(begin, len(order)).astype(np.int64)
    if not len(begin):
        return order, offsets, np.zeros(0, dtype=np.int64)
    whole = np.minimum.reduceat(lowest[order], begin) >= 0
    return order, offsets, np.where(whole, lowest[order[begin]], -1)
