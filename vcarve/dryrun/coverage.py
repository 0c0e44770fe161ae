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

from vcarve.dryrun.track import Track, laid
from vcarve.network.model import Network
from vcarve.plane.arcs import boxes, evenly, lengths, nearest, parts, points, ranges, shares, size
from vcarve.plane.arrays import Columns, Floats, Ints
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


def vertices(network: Network, places: Floats, tolerance_mm: float) -> Ints:
    """Return the vertex of edges to cut nearest to each place (..., 2), or -1 where none is within the tolerance."""
    used = np.zeros(len(network.x_nm) + 1, dtype=np.bool_)
    used[network.tail[network.cut]] = used[network.head[network.cut]] = True
    known = np.flatnonzero(used)
    if not len(known) or not len(places):
        return np.full(places.shape[:-1], -1)
    # A bit ends where it next begins: each place is looked up once.  Complex numbers are sorted by both parts, and fast.
    _, first, back = np.unique(np.round(places, 7) @ (1.0, 1j), return_index=True, return_inverse=True)
    tree = cKDTree(network.xy_mm[known], balanced_tree=False, compact_nodes=False)
    _, at = tree.query(places.reshape(-1, 2)[first], distance_upper_bound=tolerance_mm)
    return np.append(known, -1)[at][back].reshape(places.shape[:-1])


def covered(seen: Track, which: Ints, ends: Ints, network: Network) -> tuple[Covered, Ints]:
    """Lay moves on the network's edges to cut, and return which of them stray from all of them in some part.

    ``which`` (n,) numbers the moves, whose arcs must lie in the XY plane, ``ends`` (n, 2) the vertices they begin and end at, if
    any.
    """
    cut = np.flatnonzero(network.cut)
    if len(which) == 0 or len(cut) == 0:
        nothing = np.zeros((0, 2))
        return Covered(cut[:0], which[:0], nothing, nothing, nothing[:, 0]), which
    even = seen.parts[which] == 1
    direct = _by_vertices(seen, which[even], ends[even], network, cut)
    rest = np.setdiff1d(which, direct.move, assume_unique=True)
    if not len(rest):
        return direct, rest
    found, stray = _by_geometry(seen, rest, network, cut)
    return joined([direct, found]), stray


def _by_vertices(seen: Track, which: Ints, ends: Ints, network: Network, cut: Ints) -> Covered:
    """Return the moves that have the two ends and the bend of one edge."""

    def key(tail: Ints, head: Ints, bulge: Floats) -> npt.NDArray[np.complex128]:
        # The same for both ways along an edge; complex numbers are sorted by both parts.
        low, high = np.minimum(tail, head), np.maximum(tail, head)
        return np.asarray(low * len(network.x_nm) + high + 1j * np.where(tail > head, -bulge, bulge))

    edges = key(network.tail[cut], network.head[cut], network.bulge[cut])
    order = np.argsort(edges)
    edges = edges[order]
    sweep = seen.moves.sweep_rad[which]
    moves = key(ends[:, 0], ends[:, 1], np.tan(sweep / 4.0))
    chord = size((seen.end_mm - seen.start_mm)[which, :2])
    slack = 2.0 * seen.tolerance_mm / np.maximum(chord, 1e-9)
    at = np.minimum(np.searchsorted(edges, moves - 1j * slack), len(edges) - 1)
    apart = edges[at] - moves
    # Two whole turns more end where the arc without them does, with the same bend.
    fits = (ends >= 0).all(axis=1) & (ends[:, 0] != ends[:, 1]) & (np.abs(sweep) < 2.0 * np.pi)
    hit = np.flatnonzero(fits & (apart.real == 0.0) & (np.abs(apart.imag) <= slack))
    edge, move = cut[order[at[hit]]], which[hit]
    depth = -np.column_stack([seen.start_mm[move, 2], seen.end_mm[move, 2]])
    against = ends[hit, 0] != network.tail[edge]
    depth[against] = depth[against, ::-1]
    return Covered(edge, move, np.tile([0.0, 1.0], (len(hit), 1)), depth, np.zeros(len(hit)))


def _by_geometry(seen: Track, which: Ints, network: Network, cut: Ints) -> tuple[Covered, Ints]:
    """Compare moves with edges part by part, and return which of them stray."""
    tolerance_mm = seen.tolerance_mm
    count = np.ceil(np.abs(seen.moves.sweep_rad[which]) / QUARTER).astype(np.int64)
    count = np.maximum(count, seen.parts[which])
    owner, ways, z = laid(seen.moves, which, count, seen.setup)
    edges = network.curves(cut)
    length = lengths(ways)
    found = joined(
        [_stretches(ways, -z, edges, *pair, tolerance_mm) for pair in _near(ways, edges, tolerance_mm)]
    )
    gain = found.share * lengths(edges)[found.edge]
    kept = _one_edge_each(found.move, gain, found.off, length, TOUCH * tolerance_mm)
    found, gain = found.take(kept), gain[kept]
    move, total = owner[found.move], len(seen.moves)
    along, whole = np.bincount(move, gain, total), np.bincount(owner, length, total)
    stray = along < whole - 2.0 * TOUCH * tolerance_mm - 1e-3 * tolerance_mm * whole
    return Covered(cut[found.edge], move, found.ends, found.depth_mm, found.off), which[stray[which]]


def _stretches(
    ways: Floats, depth_mm: Floats, edges: Floats, part: Ints, edge: Ints, tolerance_mm: float
) -> Covered:
    """Return the pairs that cover something, numbered by their ways: ends and middle of the stretch lie on the part."""
    both = np.column_stack([shares(ways[part, at : at + 2], edges[edge]) for at in (0, 2)])
    ends = np.sort(np.clip(both, 0.0, 1.0), axis=1)
    good = np.flatnonzero((ends[:, 1] - ends[:, 0]) * lengths(edges[edge]) > TOUCH * tolerance_mm)
    part, edge, ends = part[good], edge[good], ends[good]
    curve, depth = ways[part], depth_mm[part]
    place = points(edges[edge][:, None], np.column_stack([ends, ends.mean(axis=1)]))
    along, foot = nearest(place, curve[:, None])
    off = size(place - foot).max(axis=1, initial=0.0)
    found = Covered(edge, part, ends, depth[:, :1] + along[:, :2] * (depth[:, 1:] - depth[:, :1]), off)
    # The radius of a rounded arc is less sure than its ends.
    return found.take(off <= np.where(curve[:, 4] == 0.0, 1.0, 2.0) * tolerance_mm)


def _near(ways: Floats, edges: Floats, tolerance_mm: float) -> list[tuple[Ints, Ints]]:
    """Return pairs (part, edge) whose boxes meet, in handy portions; at least one, which may be empty.

    Long moves are looked up piece by piece: the box of a long diagonal would hold half of the network.
    """
    tree = shapely.STRtree(upright(boxes(edges), tolerance_mm))
    usual = 4.0 * float(np.median(lengths(edges)))
    across = float(size(np.ptp(edges[:, :4].reshape(-1, 2), axis=0)))
    # A move may lead kilometres away; no more pieces are wanted of it than of one across the network and back.
    pieces = np.clip(np.ceil(lengths(ways) / usual), 1.0, np.ceil(2.0 * across / usual) + 1.0)
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
    order = np.lexsort((off, part))
    part, gain = part[order], gain[order]
    total, first = np.cumsum(gain), np.searchsorted(part, part)
    return np.sort(order[total - (total - gain)[first] <= length[part] + slack])


def union(edge: Ints, ends: Floats, count: int) -> Floats:
    """Return how much of each of ``count`` edges the stretches cover together, 0 to 1."""
    total = np.zeros(count)
    total[edge[(ends == (0.0, 1.0)).all(axis=1)]] = 1.0
    part = total[edge] < 1.0
    # Every other edge has a span of its own on one long line, along which stretches begin and end.
    place = (2.0 * edge[part, None] + ends[part]).ravel()
    order = np.argsort(place, kind="stable")
    under = np.cumsum(np.where(order % 2, -1, 1)) > 0
    gain = np.where(under, np.diff(place[order], append=0.0), 0.0)
    return total + np.bincount(edge[part][order // 2], weights=gain, minlength=count)


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
