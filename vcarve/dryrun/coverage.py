"""Which stretches of the network's lines the program's moves cover, and which moves lie beside them.

Every feed move along the piece is laid on the edges it covers.  Most moves are one edge from end to end and are found by
their two vertices; what is left (chords of arcs, moves over several edges, programs written elsewhere) is compared by
geometry.  Only the moves and the network are known here, not how the moves came about.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import shapely
from scipy.spatial import cKDTree

from vcarve.dryrun.arcs import split
from vcarve.dryrun.columns import Columns
from vcarve.dryrun.track import Track
from vcarve.network.model import Network
from vcarve.plane.arcs import boxes, curves, evenly, lengths, nearest, parts, points, ranges, shares, size
from vcarve.plane.arrays import Floats, Ints
from vcarve.plane.region import upright

PAIRS = 1 << 18  # pairs of a move and an edge compared together
TOUCH = 4.0  # stretches of so few tolerances are neighbours that meet at a vertex, not a cut along the edge
QUARTER = 0.5 * np.pi * (1.0 + 1e-9)  # longer arcs are compared in parts
FEW = 64  # of more stretches of one edge the ends are told apart to ``DIGITS`` only, which bounds the work for any program
DIGITS = 5  # of a share of the edge


@dataclass(frozen=True, slots=True)
class Covered(Columns):
    """Stretches of edges covered by moves, one row per stretch.

    ``edge`` and ``move`` (n,) say which, ``ends`` (n, 2) from where to where on the edge, from 0 at its tail to 1 at its head,
    evenly along it, the lower first, and ``depth_mm`` (n, 2) how deep at both; ``off`` (n,) is the most the two are apart.
    """

    edge: Ints
    move: Ints
    ends: Floats
    depth_mm: Floats
    off: Floats

    @property
    def share(self) -> Floats:
        """How much of its edge each stretch is, shape (n,)."""
        return np.asarray(self.ends[:, 1] - self.ends[:, 0])


def joined(several: list[Covered]) -> Covered:
    """Return the stretches of all."""
    return Covered(*(np.concatenate([getattr(one, f.name) for one in several]) for f in fields(Covered)))


def covered(seen: Track, which: Ints, network: Network, tolerance_mm: float) -> tuple[Covered, Ints]:
    """Lay moves on the network's edges to cut, and return which of them stray from all of them in some part.

    ``which`` (n,) numbers the moves, whose arcs must lie in the XY plane.
    """
    cut = np.flatnonzero(network.cut)
    if len(which) == 0 or len(cut) == 0:
        nothing = np.zeros((0, 2))
        return Covered(cut[:0], which[:0], nothing, nothing, nothing[:, 0]), which
    direct = _by_vertices(seen, which, network, cut, tolerance_mm)
    rest = np.setdiff1d(which, direct.move, assume_unique=True)
    if not len(rest):
        return direct, rest
    found, stray = _by_geometry(seen, rest, network, cut, tolerance_mm)
    return joined([direct, found]), stray


def _by_vertices(seen: Track, which: Ints, network: Network, cut: Ints, tolerance_mm: float) -> Covered:
    """Return the moves that have the two ends and the bend of one edge."""
    start, end, sweep = seen.start_mm[which], seen.end_mm[which], seen.moves.sweep_rad[which]
    count = len(which)
    edge = np.full(count, -1, dtype=np.int64)
    bulge = np.where(np.abs(sweep) < 1.9 * np.pi, np.tan(np.clip(sweep, -6.0, 6.0) / 4.0), np.nan)
    used = np.unique(np.concatenate([network.tail[cut], network.head[cut]]))
    tree = cKDTree(network.xy_mm[used], balanced_tree=False, compact_nodes=False)
    places, back = _distinct(np.vstack([start[:, :2], end[:, :2]]))
    away, nearest = tree.query(places, distance_upper_bound=tolerance_mm)
    vertex = np.where(np.isfinite(away), used[np.minimum(nearest, len(used) - 1)], -1)[back]
    a, b = vertex[:count], vertex[count:]
    turned = a > b
    low, high = np.where(turned, b, a), np.where(turned, a, b)
    bend = np.where(turned, -bulge, bulge)
    tail, head = network.tail[cut], network.head[cut]
    backward = tail > head
    edge_bend = np.where(backward, -network.bulge[cut], network.bulge[cut])
    vertices = len(network.x_nm)
    key = np.where(backward, head, tail) * vertices + np.where(backward, tail, head)
    order = np.argsort(key, kind="stable")
    key = key[order]
    wanted = low * vertices + high
    first = np.searchsorted(key, wanted, side="left")
    last = np.searchsorted(key, wanted, side="right")
    chord = size((end - start)[:, :2])
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
    hit = np.flatnonzero(edge >= 0)
    depth = -np.column_stack([start[hit, 2], end[hit, 2]])
    against = a[hit] != network.tail[edge[hit]]
    depth[against] = depth[against, ::-1]
    ends = np.tile([0.0, 1.0], (len(hit), 1))
    return Covered(edge[hit], which[hit], ends, depth, np.zeros(len(hit)))


def _distinct(places: Floats) -> tuple[Floats, Ints]:
    """Return each place once, and for every place which of them it is: a bit ends where it next begins."""
    key = np.round(places, 7) @ (1.0, 1j)  # complex numbers are sorted by both parts, and fast
    _, first, back = np.unique(key, return_index=True, return_inverse=True)
    return places[first], back


@dataclass(frozen=True, slots=True)
class _Ways:
    """Moves, or parts of arcs of at most a quarter turn: the move (n,), curves (n, 5), depths at both ends (n, 2)."""

    move: Ints
    curve: Floats
    depth_mm: Floats


def _ways(seen: Track, which: Ints) -> _Ways:
    sweep = seen.moves.sweep_rad[which]
    count = np.maximum(np.ceil(np.abs(sweep) / QUARTER), 1.0).astype(np.int64)
    move, tail, head = split(seen.moves, which, count)
    a, b = seen.setup.on_piece(tail), seen.setup.on_piece(head)
    bulge = np.tan(np.repeat(sweep / count, count) / 4.0)
    return _Ways(move, curves(a[:, :2], b[:, :2], bulge), -np.column_stack([a[:, 2], b[:, 2]]))


def _by_geometry(
    seen: Track, which: Ints, network: Network, cut: Ints, tolerance_mm: float
) -> tuple[Covered, Ints]:
    """Compare moves with edges part by part, and return which of them stray."""
    ways, edges = _ways(seen, which), network.curves(cut)
    length, edge_length = lengths(ways.curve), lengths(edges)
    near = _near(ways.curve, length, edges, edge_length, tolerance_mm)
    found = joined([_stretches(ways, part, edges, edge, edge_length, tolerance_mm) for part, edge in near])
    gain = found.share * edge_length[found.edge]
    kept = _one_edge_each(found.move, gain, found.off, length, TOUCH * tolerance_mm)
    found, gain = found.take(kept), gain[kept]
    move, count = ways.move[found.move], len(seen.moves)
    along, whole = np.bincount(move, gain, count), np.bincount(ways.move, length, count)
    stray = along < whole - 2.0 * TOUCH * tolerance_mm - 1e-3 * tolerance_mm * whole
    return Covered(cut[found.edge], move, found.ends, found.depth_mm, found.off), which[stray[which]]


def _stretches(
    ways: _Ways, part: Ints, edges: Floats, edge: Ints, edge_length: Floats, tolerance_mm: float
) -> Covered:
    """Return the pairs that cover something, numbered by their ways: ends and middle of the stretch lie on the part."""
    both = np.column_stack([shares(ways.curve[part, at : at + 2], edges[edge]) for at in (0, 2)])
    ends = np.sort(np.clip(both, 0.0, 1.0), axis=1)
    good = np.flatnonzero((ends[:, 1] - ends[:, 0]) * edge_length[edge] > TOUCH * tolerance_mm)
    part, edge, ends = part[good], edge[good], ends[good]
    curve, depth = ways.curve[part], ways.depth_mm[part]
    place = points(edges[edge][:, None], np.column_stack([ends, ends.mean(axis=1)]))
    along, foot = nearest(place, curve[:, None])
    off = size(place - foot).max(axis=1, initial=0.0)
    found = Covered(edge, part, ends, depth[:, :1] + along[:, :2] * (depth[:, 1:] - depth[:, :1]), off)
    # The radius of a rounded arc is less sure than its ends.
    return found.take(off <= np.where(curve[:, 4] == 0.0, 1.0, 2.0) * tolerance_mm)


def _near(
    ways: Floats, length: Floats, edges: Floats, edge_length: Floats, tolerance_mm: float
) -> list[tuple[Ints, Ints]]:
    """Return pairs (part, edge) whose boxes meet, in handy portions; at least one, which may be empty.

    Long moves are looked up piece by piece: the box of a long diagonal would hold half of the network.
    """
    tree = shapely.STRtree(upright(boxes(edges), tolerance_mm))
    usual = 4.0 * float(np.median(edge_length))
    across = float(size(np.ptp(edges[:, :4].reshape(-1, 2), axis=0)))
    # A move may lead kilometres away; no more pieces are wanted of it than of one across the network and back.
    pieces = np.clip(np.ceil(length / usual), 1.0, np.ceil(2.0 * across / usual) + 1.0)
    count = np.where(ways[:, 4] == 0.0, pieces, 1.0).astype(np.int64)
    owner, begin = evenly(count)
    pieces_of = parts(ways[owner], begin, begin + 1.0 / count[owner])
    found, hit = tree.query(upright(boxes(pieces_of), tolerance_mm))
    # A long edge may be met by several pieces of one move.
    key = np.sort(owner[found] * np.int64(len(edges)) + hit)
    key = key[np.diff(key, prepend=-1) != 0]
    part, edge = key // len(edges), key % len(edges)
    return [(part[at : at + PAIRS], edge[at : at + PAIRS]) for at in range(0, max(len(part), 1), PAIRS)]


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


def union(edge: Ints, ends: Floats, count: int) -> Floats:
    """Return how much of each of ``count`` edges the stretches cover together, 0 to 1."""
    total = np.zeros(count)
    low, high = ends.T
    total[edge[(low == 0.0) & (high == 1.0)]] = 1.0
    part = np.flatnonzero(total[edge] < 1.0)
    part = part[np.lexsort((low[part], edge[part]))]
    # Every edge has a span of its own on one long line, so one running maximum serves all of them.
    base = 2.0 * edge[part]
    reach = np.maximum.accumulate(base + high[part])
    before = np.concatenate([[-1.0], reach[:-1]])
    gain = np.maximum(base + high[part] - np.maximum(base + low[part], before), 0.0)
    return total + np.bincount(edge[part], weights=gain, minlength=count)


def again(found: Covered, slack_mm: Floats, least: Floats) -> tuple[Floats, Floats]:
    """Return for each stretch the share of its edge (n,) that moves before had cut as deep or deeper all along, and by how
    much at most it is deeper than they had cut, in mm (n,).

    ``slack_mm`` (n,) is how much deeper a stretch may be and still count as one as deep; what is deeper along no more than the
    share ``least`` (n,) of its edge, between ends of moves that hardly differ, counts for nothing.
    """
    share = np.zeros(len(found.edge))
    deeper = np.where(found.share > least, found.depth_mm.max(axis=1, initial=0.0), 0.0)
    runs = np.bincount(found.edge, minlength=1)
    rows = np.flatnonzero(runs[found.edge] > 1)
    rows = rows[np.lexsort((found.move[rows], found.edge[rows]))]
    if not len(rows):
        return share, deeper
    deeper[rows] = 0.0
    # Every edge has a span of its own on one long line, parted at all ends of its stretches.
    edge, ends = found.edge[rows], found.ends[rows]
    ends = np.where((runs[edge] > FEW)[:, None], np.round(ends, DIGITS), ends)
    mark, at = np.unique(2.0 * edge[:, None] + ends, return_inverse=True)
    first, last = at.reshape(-1, 2).T
    reached = np.full((len(mark), 2), -np.inf)  # depth at the ends of the part that begins at each mark
    nth = np.arange(len(edge)) - np.searchsorted(edge, edge)
    order = np.argsort(nth, kind="stable")
    # In the first round the first stretch of every edge, in the second the second of those that have two, and so on.
    for mine in np.split(order, np.flatnonzero(np.diff(nth[order])) + 1):
        owner = np.repeat(mine, (last - first)[mine])
        here = ranges(first[mine], last[mine])
        both = mark[here[:, None] + [0, 1]] - 2.0 * edge[owner, None]
        (low, high), depth = ends[owner].T, found.depth_mm[rows[owner]]
        along = (both - low[:, None]) / (high - low)[:, None]
        now = depth[:, :1] + along * (depth[:, 1:] - depth[:, :1])
        old = (reached[here] >= now - slack_mm[rows[owner], None]).all(axis=1)
        part = both[:, 1] - both[:, 0]
        np.add.at(share, rows[owner[old]], part[old])
        more = (now - np.maximum(reached[here], 0.0)).max(axis=1, initial=0.0)
        np.maximum.at(deeper, rows[owner], np.where(part > least[rows[owner]], more, 0.0))
        reached[here] = np.maximum(reached[here], now)
    return np.minimum(share, found.share), deeper
