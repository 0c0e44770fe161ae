"""Which stretches of the network's lines the program's moves cover, and which moves lie beside them.

Every feed move along the piece is laid on the edges it covers.  Most moves are one edge from end to end and are found by
their two vertices; what is left (chords of arcs, moves over several edges, programs written elsewhere) is compared by
geometry.  Only the moves and the network are known here, not how the moves came about.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import cKDTree

from vcarve.dryrun.track import Track
from vcarve.network.model import Network
from vcarve.plane.arcs import boxes, curves, distances, evenly, lengths, parts, points, shares
from vcarve.plane.region import upright

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

PAIRS = 1 << 18  # pairs of a move and an edge compared together
TOUCH = 4.0  # stretches of so few tolerances are neighbours that meet at a vertex, not a cut along the edge
FEW = 64  # more stretches of one edge than this are compared one after the other
QUARTER = 0.5 * np.pi * (1.0 + 1e-9)  # longer arcs are compared in parts


@dataclass(frozen=True, slots=True, kw_only=True)
class Covered:
    """Stretches of edges covered by moves, one row per stretch.

    ``edge`` and ``move`` (n,) say which; ``low`` and ``high`` (n,) where on the edge, from 0 at its tail to 1 at its head,
    evenly along it; ``shallow_mm`` and ``deep_mm`` (n,) how deep there.  ``stray`` are the moves of which some part
    lies on no edge.
    """

    edge: Ints
    move: Ints
    low: Floats
    high: Floats
    shallow_mm: Floats
    deep_mm: Floats
    stray: Ints


def covered(seen: Track, which: Ints, network: Network, tolerance_mm: float) -> Covered:
    """Lay moves on the network's edges to cut; ``which`` (n,) numbers the moves, whose arcs must lie in the XY plane."""
    start, end, sweep = seen.start_mm[which], seen.end_mm[which], seen.moves.sweep_rad[which]
    edge, direct = _by_vertices(start, end, sweep, network, tolerance_mm)
    hit = np.flatnonzero(direct)
    rest = np.flatnonzero(~direct)
    centre = seen.setup.on_piece(seen.moves.centre_mm[which[rest]])[:, :2]
    ways = _ways(start[rest], end[rest], sweep[rest], centre)
    found = _by_geometry(ways, len(rest), network, tolerance_mm)
    deep, shallow = -np.minimum(start, end)[:, 2], -np.maximum(start, end)[:, 2]
    return Covered(
        edge=np.concatenate([edge[hit], found.edge]),
        move=np.concatenate([which[hit], which[rest[found.owner]]]),
        low=np.concatenate([np.zeros(len(hit)), found.low]),
        high=np.concatenate([np.ones(len(hit)), found.high]),
        shallow_mm=np.concatenate([shallow[hit], -np.maximum(found.z_low, found.z_high)]),
        deep_mm=np.concatenate([deep[hit], -np.minimum(found.z_low, found.z_high)]),
        stray=which[rest[found.stray]],
    )


def _by_vertices(
    start: Floats, end: Floats, sweep: Floats, network: Network, tolerance_mm: float
) -> tuple[Ints, Bools]:
    """Return for each move the edge with the same two ends and the same bend, and whether there is one."""
    count = len(start)
    edge = np.full(count, -1, dtype=np.int64)
    cut = np.flatnonzero(network.cut)
    if count == 0 or len(cut) == 0:
        return edge, edge >= 0
    bulge = np.where(np.abs(sweep) < 1.9 * np.pi, np.tan(np.clip(sweep, -6.0, 6.0) / 4.0), np.nan)
    used = np.unique(np.concatenate([network.tail[cut], network.head[cut]]))
    tree = cKDTree(network.xy_mm[used], balanced_tree=False, compact_nodes=False)
    both = np.vstack([start[:, :2], end[:, :2]])
    places, back = _distinct(both)
    away, nearest = tree.query(places, distance_upper_bound=tolerance_mm)
    vertex = np.where(np.isfinite(away), used[np.minimum(nearest, len(used) - 1)], -1)[back]
    a, b = vertex[:count], vertex[count:]
    turned = a > b
    low, high = np.where(turned, b, a), np.where(turned, a, b)
    bend = np.where(turned, -bulge, bulge)
    tail, head = network.tail[cut], network.head[cut]
    backward = tail > head
    edge_bend = np.where(backward, -network.bulge[cut], network.bulge[cut])
    size = len(network.x_nm)
    key = np.where(backward, head, tail) * size + np.where(backward, tail, head)
    order = np.argsort(key, kind="stable")
    key = key[order]
    wanted = low * size + high
    first = np.searchsorted(key, wanted, side="left")
    last = np.searchsorted(key, wanted, side="right")
    chord = np.hypot(*(end - start)[:, :2].T)
    possible = (a >= 0) & (b >= 0) & (low != high)
    for k in range(int((last - first)[possible].max(initial=0))):
        candidate = order[np.minimum(first + k, len(order) - 1)]
        fits = (
            possible
            & (edge < 0)
            & (first + k < last)
            & (np.abs(edge_bend[candidate] - bend) * chord <= 2.0 * tolerance_mm)
        )
        edge[fits] = cut[candidate[fits]]
    return edge, edge >= 0


def _distinct(places: Floats) -> tuple[Floats, Ints]:
    """Return each place once, and for every place which of them it is: a bit ends where it next begins."""
    key = np.ascontiguousarray(np.round(places, 7)).view([("x", float), ("y", float)]).ravel()
    _, first, back = np.unique(key, return_index=True, return_inverse=True)
    return places[first], back.ravel()


@dataclass(frozen=True, slots=True)
class _Ways:
    """Moves, or parts of arcs of at most a quarter turn: owner (n,), curve (n, 5) in plan view, Z at its ends (n, 2)."""

    owner: Ints
    curve: Floats
    z: Floats


def _ways(start: Floats, end: Floats, sweep: Floats, centre: Floats) -> _Ways:
    count = np.maximum(np.ceil(np.abs(sweep) / QUARTER), 1.0).astype(np.int64)
    owner, tail = evenly(count)
    head = tail + 1.0 / count[owner]
    a, b = start[owner].copy(), end[owner].copy()
    several = np.flatnonzero(count[owner] > 1)
    mine = owner[several]
    arm = start[mine, :2] - centre[mine]
    radius, begin = np.hypot(*arm.T), np.arctan2(arm[:, 1], arm[:, 0])
    for places, at in ((a, tail[several]), (b, head[several])):
        angle = begin + at * sweep[mine]
        places[several, 0] = centre[mine, 0] + radius * np.cos(angle)
        places[several, 1] = centre[mine, 1] + radius * np.sin(angle)
        places[several, 2] = start[mine, 2] + at * (end - start)[mine, 2]
    bulge = np.tan(sweep[owner] / count[owner] / 4.0)
    return _Ways(owner, curves(a[:, :2], b[:, :2], bulge), np.column_stack([a[:, 2], b[:, 2]]))


@dataclass(frozen=True, slots=True)
class _Stretches:
    """Pairs of a part and an edge (n,), where on the edge (n,), Z there (n,), and the most they are apart (n,)."""

    part: Ints
    edge: Ints
    low: Floats
    high: Floats
    z_low: Floats
    z_high: Floats
    off: Floats

    def take(self, rows: Ints) -> _Stretches:
        return _Stretches(*(getattr(self, field.name)[rows] for field in fields(self)))


@dataclass(frozen=True, slots=True)
class _Found:
    """Stretches: owner, edge, low, high, Z at low and at high (n,); the owners that stray."""

    owner: Ints
    edge: Ints
    low: Floats
    high: Floats
    z_low: Floats
    z_high: Floats
    stray: Ints


def _by_geometry(ways: _Ways, count: int, network: Network, tolerance_mm: float) -> _Found:
    """Compare parts of moves with edges."""
    none, nothing = np.zeros(0, dtype=np.int64), np.zeros(0)
    cut = np.flatnonzero(network.cut)
    if count == 0 or len(cut) == 0:
        return _Found(none, none, nothing, nothing, nothing, nothing, np.arange(count))
    edges, edge_length = network.curves(cut), network.length_mm[cut]
    length = lengths(ways.curve)
    several = [
        _stretches(ways, part, edges, edge, edge_length, tolerance_mm)
        for part, edge in _near(ways.curve, length, edges, edge_length, tolerance_mm)
    ]
    all_ = _Stretches(
        *(np.concatenate([getattr(one, field.name) for one in several]) for field in fields(_Stretches))
    )
    gain = (all_.high - all_.low) * edge_length[all_.edge]
    kept = _one_edge_each(all_.part, gain, all_.off, length, TOUCH * tolerance_mm)
    all_, gain = all_.take(kept), gain[kept]
    owner = ways.owner[all_.part]
    along = np.bincount(owner, weights=gain, minlength=count)
    whole = np.bincount(ways.owner, weights=length, minlength=count)
    stray = np.flatnonzero(along < whole - 2.0 * TOUCH * tolerance_mm - 1e-3 * tolerance_mm * whole)
    return _Found(owner, cut[all_.edge], all_.low, all_.high, all_.z_low, all_.z_high, stray)


def _stretches(
    ways: _Ways, part: Ints, edges: Floats, edge: Ints, edge_length: Floats, tolerance_mm: float
) -> _Stretches:
    """Return the pairs that cover something: the ends and the middle of the stretch lie on the part."""
    first, last = (shares(end[part], edges[edge]) for end in (ways.curve[:, :2], ways.curve[:, 2:4]))
    low, high = np.clip(np.minimum(first, last), 0.0, 1.0), np.clip(np.maximum(first, last), 0.0, 1.0)
    good = np.flatnonzero((high - low) * edge_length[edge] > TOUCH * tolerance_mm)
    part, edge, low, high = part[good], edge[good], low[good], high[good]
    way, line, (z, z_end) = ways.curve[part], edges[edge], ways.z[part].T

    def height(share: Floats) -> Floats:
        along = np.clip(shares(points(line, share), way), 0.0, 1.0)
        return np.asarray(z + along * (z_end - z))

    off = np.zeros(len(good))
    for share in (low, high, 0.5 * (low + high)):
        off = np.maximum(off, distances(points(line, share), way))
    # The radius of a rounded arc is less sure than its ends.
    near = np.flatnonzero(off <= np.where(way[:, 4] == 0.0, 1.0, 2.0) * tolerance_mm)
    return _Stretches(part, edge, low, high, height(low), height(high), off).take(near)


def _near(
    ways: Floats, length: Floats, edges: Floats, edge_length: Floats, tolerance_mm: float
) -> list[tuple[Ints, Ints]]:
    """Return pairs (part, edge) whose boxes meet, in handy portions; at least one, which may be empty.

    Long moves are looked up piece by piece: the box of a long diagonal would hold half of the network.
    """
    tree = shapely.STRtree(upright(boxes(edges), tolerance_mm))
    usual = 4.0 * float(np.median(edge_length))
    across = np.hypot(*np.ptp(edges[:, :4].reshape(-1, 2), axis=0))
    # A move may lead kilometres away; no more pieces are wanted of it than of one across the network and back.
    pieces = np.clip(np.ceil(length / usual), 1.0, np.ceil(2.0 * across / usual) + 1.0)
    count = np.where(ways[:, 4] == 0.0, pieces, 1.0).astype(np.int64)
    owner, share = evenly(count)
    pieces_of = parts(ways[owner], share, share + 1.0 / count[owner])
    found, hit = tree.query(upright(boxes(pieces_of), tolerance_mm))
    # A long edge may be met by several pieces of one move.
    key = np.sort(owner[found] * np.int64(len(edges)) + hit)
    key = key[np.diff(key, prepend=-1) != 0]
    part, edge = key // len(edges), key % len(edges)
    return [
        (part[begin : begin + PAIRS], edge[begin : begin + PAIRS])
        for begin in range(0, max(len(part), 1), PAIRS)
    ]


def _one_edge_each(part: Ints, gain: Floats, off: Floats, length: Floats, slack: float) -> Ints:
    """Return the stretches to keep: where lines come so near each other that a part would cover more than its own length
    (at cusps), those that fit it best."""
    keep = np.ones(len(part), dtype=np.bool_)
    total = np.bincount(part, weights=gain, minlength=len(length))
    crowded = np.flatnonzero((total > length + slack)[part])
    order = crowded[np.lexsort((off[crowded], part[crowded]))]
    taken: dict[int, float] = {}
    for row in order.tolist():
        p = int(part[row])
        sofar = taken.get(p, 0.0)
        if sofar + gain[row] > length[p] + slack:
            keep[row] = False
        else:
            taken[p] = sofar + float(gain[row])
    return np.flatnonzero(keep)


def union(edge: Ints, low: Floats, high: Floats, count: int) -> Floats:
    """Return how much of each of ``count`` edges the stretches cover together, 0 to 1."""
    total = np.zeros(count)
    total[edge[(low == 0.0) & (high == 1.0)]] = 1.0
    part = np.flatnonzero(total[edge] < 1.0)
    part = part[np.lexsort((low[part], edge[part]))]
    # Every edge has a span of its own on one long line, so one running maximum serves all of them.
    base = 2.0 * edge[part]
    reach = np.maximum.accumulate(base + high[part])
    before = np.concatenate([[-1.0], reach[:-1]])
    gain = np.maximum(base + high[part] - np.maximum(base + low[part], before), 0.0)
    return total + np.bincount(edge[part], weights=gain, minlength=count)


def again(
    edge: Ints, move: Ints, low: Floats, high: Floats, shallow_mm: Floats, deep_mm: Floats, slack_mm: float
) -> Floats:
    """Return for each stretch the share of its edge (n,) that moves before had cut as deep or deeper already."""
    share = np.zeros(len(edge))
    runs = np.bincount(edge, minlength=1)
    rows = np.flatnonzero(runs[edge] > 1)
    rows = rows[np.lexsort((move[rows], edge[rows]))]
    many = runs[edge[rows]] > FEW
    if many.any():
        busy = rows[many]
        begins = np.flatnonzero(np.diff(edge[busy], prepend=-1))
        for mine in np.split(busy, begins[1:]):
            share[mine] = _again_one(low[mine], high[mine], shallow_mm[mine], deep_mm[mine], slack_mm)
    rows = rows[~many]
    e, lo, hi, was, now = edge[rows], low[rows], high[rows], shallow_mm[rows], deep_mm[rows]
    nth = np.arange(len(e)) - np.searchsorted(e, e)
    lag = 1
    late = np.flatnonzero(nth >= lag)
    while len(late):
        early = late - lag
        both = np.minimum(hi[late], hi[early]) - np.maximum(lo[late], lo[early])
        deep = was[early] >= now[late] - slack_mm
        share[rows[late]] += np.where(deep, np.maximum(both, 0.0), 0.0)
        lag += 1
        late = late[nth[late] >= lag]
    return np.minimum(share, high - low)


def _again_one(low: Floats, high: Floats, shallow_mm: Floats, deep_mm: Floats, slack_mm: float) -> Floats:
    """The same for the many stretches (n,) of one edge in order, kept as the depth reached between all their ends.

    Ends are rounded to a hundred-thousandth of the edge, so that the work stays bounded for any program.
    """
    first, last = np.round(low, 5), np.round(high, 5)
    marks = np.unique(np.concatenate([first, last]))
    width = np.diff(marks)
    reached = np.full(len(width), -np.inf)
    share = np.zeros(len(low))
    begin, stop = np.searchsorted(marks, first).tolist(), np.searchsorted(marks, last).tolist()
    for k, (i, j) in enumerate(zip(begin, stop, strict=True)):
        before = reached[i:j]
        share[k] = width[i:j][before >= deep_mm[k] - slack_mm].sum()
        np.maximum(before, shallow_mm[k], out=before)
    return share
