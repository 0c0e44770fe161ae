"""Pattern or drawing to network: repeat, clip, find the cells, prove."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vcarve.errors import InputError, Problem
from vcarve.network.clip import clip
from vcarve.network.faces import owners, prove, ring_areas, rings
from vcarve.network.model import Graph, Network
from vcarve.network.noding import SNAP_MM, near_pairs, node
from vcarve.network.repeat import Placing, repeat
from vcarve.pattern.model import Pattern
from vcarve.pattern.unit import nearest_apart, unit_network
from vcarve.plane.arcs import boxes, halved, ranges
from vcarve.plane.arrays import NM_PER_MM, Bools, Floats, Ints, connected
from vcarve.plane.region import Region, area_mm2, bounds, half_turns

# Vertices nearer than this may snap together at the border and stay apart elsewhere.
LEAST_APART_MM = 4.0 * SNAP_MM
MOST_PAIRS = 250_000  # lines of a drawing that may meet; each crossing is a vertex with two more edges


def build(
    pattern: Pattern,
    *,
    region: Region,
    piece: Region | None = None,
    pitch_mm: float,
    rotate_deg: float = 0.0,
    shift_mm: tuple[float, float] = (0.0, 0.0),
    mirror: bool = False,
    edge: str = "groove",
    frames: Sequence[tuple[Region, int]] = (),
) -> Network:
    """Return the network of a pattern on a region of the piece; a lattice point lies at the piece's centre plus the shift.

    ``frames`` are regions whose rings are cut as border lines, with their feature.  Where lines run off the piece the region is
    larger than the ``piece``; what lies beyond its edge is no cell.  Raises InternalError if the network does not
    prove itself.
    """
    placing = Placing(pitch_mm=pitch_mm, rotate_deg=rotate_deg, shift_mm=shift_mm, mirror=mirror)
    unit = unit_network(pattern)
    apart = pitch_mm * nearest_apart(pattern, unit)
    if apart < LEAST_APART_MM:
        want = (
            f"at a pitch of {pitch_mm:g} mm places of {pattern.key} lie only {1000.0 * apart:.1f} µm apart, too close to be told "
            "apart; let its lines meet in one place, or make the pitch larger"
        )
        raise InputError(Problem(key="pattern.pitch", value=f"{pitch_mm:g} mm", want=want))
    graph = repeat(pattern, unit, placing, _box(region))
    return _framed(graph, region, frames, piece=piece, edge=edge)


def build_lines(
    curves: Floats,
    feature: Ints,
    *,
    region: Region,
    piece: Region | None = None,
    edge: str = "groove",
    frames: Sequence[tuple[Region, int]] = (),
) -> Network:
    """Return the network of lines (n, 5) given in millimetres on the piece, such as a drawing's, and their features (n,).

    Crossings become vertices; what coincides is one edge.
    """
    if not len(curves):
        raise InputError("the drawing has no lines on the piece")
    curves, source = halved(curves)
    graph = node(
        curves,
        feature[source],
        np.full(len(curves), -1, dtype=np.int64),
        near_pairs(boxes(curves), most=MOST_PAIRS),
    ).graph
    return _framed(graph, region, frames, piece=piece, edge=edge)


def _framed(
    graph: Graph,
    region: Region,
    frames: Sequence[tuple[Region, int]],
    *,
    piece: Region | None,
    edge: str,
) -> Network:
    """Return the network on the region, and the frames: those outside it stand alone and are the side of no cell."""
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


def _box(region: Region) -> tuple[float, float, float, float]:
    """Return a box that holds the region and whatever lies on its outline within ``SNAP_MM``."""
    left, front, right, back = bounds(region)
    grow = 2.0 * SNAP_MM
    return left - grow, front - grow, right + grow, back + grow


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
