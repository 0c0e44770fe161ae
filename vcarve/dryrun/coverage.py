"""Whether the program cuts the network's lines: each one, at its depth, no line twice and nothing beside them.

Every feed move along the piece is laid on the edges it covers.  Most moves are one edge from end to end and are found by
their two vertices; what is left (chords of arcs, moves over several edges, programs written elsewhere) is compared by
geometry.  Only the moves and the network are known here, not how the moves came about.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import cKDTree

from vcarve.network.model import Network
from vcarve.program.moves import Moves

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Covered:
    """Stretches of edges covered by moves, one row per stretch.

    ``edge`` and ``move`` (n,) say which; ``low`` and ``high`` (n,) where on the edge, from 0 at its tail to 1 at its head,
    evenly along it; ``depth_mm`` (n,) how deep.  ``stray`` are the moves of which some part lies on no edge.
    """

    edge: Ints
    move: Ints
    low: Floats
    high: Floats
    depth_mm: Floats
    stray: Ints


def covered(
    moves: Moves,
    which: Ints,
    start: Floats,
    end: Floats,
    network: Network,
    tolerance_mm: float,
) -> Covered:
    """Lay moves on the network's edges to cut.

    ``which`` (n,) numbers the moves, ``start`` and ``end`` (n, 3) are their ends in piece coordinates, Z below the top negative.
    """
    bulge = np.tan(moves.sweep_rad[which] / 4.0)
    depth = -np.maximum(start[:, 2], end[:, 2])
    edge, direct = _by_vertices(start, end, bulge, network, tolerance_mm)
    rest = np.flatnonzero(~direct)
    more = _by_geometry(start[rest], end[rest], bulge[rest], network, tolerance_mm)
    hit = np.flatnonzero(direct)
    return Covered(
        edge=np.concatenate([edge[hit], more[1]]),
        move=np.concatenate([which[hit], which[rest[more[0]]]]),
        low=np.concatenate([np.zeros(len(hit)), more[2]]),
        high=np.concatenate([np.ones(len(hit)), more[3]]),
        depth_mm=np.concatenate([depth[hit], depth[rest[more[0]]]]),
        stray=which[rest[more[4]]],
    )


def _by_vertices(
    start: Floats, end: Floats, bulge: Floats, network: Network, tolerance_mm: float
) -> tuple[Ints, npt.NDArray[np.bool_]]:
    """Return for each move the edge with the same two ends and the same bend, and whether there is one."""
    count = len(start)
    edge = np.full(count, -1, dtype=np.int64)
    cut = np.flatnonzero(network.cut)
    if count == 0 or len(cut) == 0:
        return edge, edge >= 0
    used = np.unique(np.concatenate([network.tail[cut], network.head[cut]]))
    tree = cKDTree(network.xy_mm[used])
    both = np.vstack([start[:, :2], end[:, :2]])
    away, nearest = tree.query(both, distance_upper_bound=tolerance_mm)
    known = np.isfinite(away)
    vertex = np.where(known, used[np.minimum(nearest, len(used) - 1)], -1)
    a, b = vertex[:count], vertex[count:]
    turned = a > b
    low, high = np.where(turned, b, a), np.where(turned, a, b)
    bend = np.where(turned, -bulge, bulge)
    backward = network.tail[cut] > network.head[cut]
    edge_low = np.where(backward, network.head[cut], network.tail[cut])
    edge_high = np.where(backward, network.tail[cut], network.head[cut])
    edge_bend = np.where(backward, -network.bulge[cut], network.bulge[cut])
    size = len(network.x_nm)
    key = edge_low * size + edge_high
    order = np.argsort(key, kind="stable")
    wanted = low * size + high
    first = np.searchsorted(key[order], wanted, side="left")
    last = np.searchsorted(key[order], wanted, side="right")
    chord = np.hypot(*(end - start)[:, :2].T)
    possible = known[:count] & known[count:] & (low != high)
    for k in range(int((last - first).max(initial=0))):
        at = np.minimum(first + k, len(order) - 1)
        candidate = order[at]
        fits = (
            possible
            & (edge < 0)
            & (first + k < last)
            & (np.abs(edge_bend[candidate] - bend) * chord <= 2.0 * tolerance_mm)
        )
        edge[fits] = cut[candidate[fits]]
    return edge, edge >= 0


def _by_geometry(
    start: Floats, end: Floats, bulge: Floats, network: Network, tolerance_mm: float
) -> tuple[Ints, Ints, Floats, Floats, Ints]:
    """Return (move, edge, low, high) for every stretch of an edge that a move covers, and the stray moves."""
    count = len(start)
    empty = np.zeros(0, dtype=np.int64)
    if count == 0:
        return empty, empty, np.zeros(0), np.zeros(0), empty
    cut = np.flatnonzero(network.cut)
    xy = network.xy_mm
    a, b = xy[network.tail[cut]], xy[network.head[cut]]
    tree = shapely.STRtree(_boxes(a, b, network.bulge[cut], tolerance_mm))
    move, hit = tree.query(_boxes(start[:, :2], end[:, :2], bulge, tolerance_mm))
    lengths = _lengths(start[:, :2], end[:, :2], bulge)
    edge_length = network.length_mm[cut]
    spots = _spots(start[:, :2], end[:, :2], bulge)
    t = np.stack(
        [_parameter(spot[move], a[hit], b[hit], network.bulge[cut][hit], tolerance_mm) for spot in spots]
    )
    low, high = np.clip(t.min(axis=0), 0.0, 1.0), np.clip(t.max(axis=0), 0.0, 1.0)
    along = np.abs(t[-1] - t[0]) * edge_length[hit]
    # Five even spots of the move are all on the edge's line or circle, and as far apart there as on the move (a chord is a
    # little shorter than its arc).
    near = np.abs(along - lengths[move]) <= 4.0 * tolerance_mm + 1e-3 * lengths[move]
    good = np.isfinite(along) & near & ((high - low) * edge_length[hit] > tolerance_mm)
    move, hit, low, high = move[good], hit[good], low[good], high[good]
    share = np.bincount(move, weights=(high - low) * edge_length[hit], minlength=count)
    stray = np.flatnonzero(share < lengths - 4.0 * tolerance_mm)
    return move.astype(np.int64), cut[hit].astype(np.int64), low, high, stray.astype(np.int64)


def _boxes(a: Floats, b: Floats, bulge: Floats, grow: float) -> npt.NDArray[np.object_]:
    sag = 0.5 * np.abs(bulge) * np.hypot(*(b - a).T) + grow
    low = np.minimum(a, b) - sag[:, None]
    high = np.maximum(a, b) + sag[:, None]
    return np.asarray(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]), dtype=object)


def _lengths(a: Floats, b: Floats, bulge: Floats) -> Floats:
    chord = np.hypot(*(b - a).T)
    half = 2.0 * np.arctan(np.abs(bulge))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(bulge == 0.0, chord, chord * half / np.sin(half)))


def _centres(a: Floats, b: Floats, bulge: Floats) -> tuple[Floats, Floats]:
    """Return centres (n, 2) and radii (n,) of arcs; straight lines give not-a-number."""
    with np.errstate(divide="ignore", invalid="ignore"):
        off = np.where(bulge == 0.0, np.nan, 0.5 / np.tan(2.0 * np.arctan(bulge)))
        delta = b - a
        centre = 0.5 * (a + b) + off[:, None] * np.column_stack([-delta[:, 1], delta[:, 0]])
    return centre, np.hypot(*(a - centre).T)


def _spots(a: Floats, b: Floats, bulge: Floats) -> list[Floats]:
    """Return five points at even distances along each move, ends included."""
    centre, radius = _centres(a, b, bulge)
    begin = np.arctan2(a[:, 1] - centre[:, 1], a[:, 0] - centre[:, 0])
    sweep = 4.0 * np.arctan(bulge)
    spots = []
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        angle = begin + share * sweep
        round_ = centre + radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
        spots.append(np.where((bulge == 0.0)[:, None], a + share * (b - a), round_))
    return spots


def _parameter(points: Floats, a: Floats, b: Floats, bulge: Floats, tolerance_mm: float) -> Floats:
    """Return where each point stands along its edge's whole line or circle (0 tail, 1 head), or NaN if it is off it."""
    delta = b - a
    span = np.hypot(*delta.T)
    rel = points - a
    away = np.abs(delta[:, 0] * rel[:, 1] - delta[:, 1] * rel[:, 0]) / span
    t = (rel * delta).sum(axis=1) / span**2
    straight = np.where(away <= tolerance_mm, t, np.nan)
    centre, radius = _centres(a, b, bulge)
    off = np.abs(np.hypot(*(points - centre).T) - radius)
    begin = np.arctan2(a[:, 1] - centre[:, 1], a[:, 0] - centre[:, 0])
    turn = np.arctan2(points[:, 1] - centre[:, 1], points[:, 0] - centre[:, 0]) - begin
    sweep = 4.0 * np.arctan(bulge)
    # Taken about the middle of the arc, so that both of its ends lie on the same side of the cut.
    with np.errstate(divide="ignore", invalid="ignore"):
        turned = np.mod(turn - 0.5 * sweep + np.pi, 2.0 * np.pi) - np.pi + 0.5 * sweep
        round_ = np.where(off <= tolerance_mm, turned / sweep, np.nan)
    return np.where(bulge == 0.0, straight, round_)
