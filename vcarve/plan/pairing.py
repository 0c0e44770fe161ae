"""Which odd vertices to join by a lift and which by a recut: a minimum-weight T-join.

Every node (vertex at a depth) with an odd number of edge ends must be joined to another.  A T-join is the cheapest
set of extra moves that makes all of them even; PyMatching's sparse blossom finds it (Higgott and Gidney, "Sparse
Blossom", 2023; T-joins by matching: Edmonds and Johnson, "Matching, Euler tours and the Chinese postman", 1973).

The graph
    node - node       a recut along an edge as it is cut, or level at a lesser depth both ends have (``recut`` only)
    node - node       a move in place between two depths of a vertex, at half of a round trip
    site - site       a lift: the two lift halves plus the rapid
    start, end        two more odd nodes, tied to sites by a lift half (and the rapid from where the bit waits)

A site is where lifts begin and end: a vertex with an odd node, or a component as a whole, whose distance to anything is
that of its nearest vertex.  One without odd nodes has two of its own, since the bit must come and go; one with odd nodes
has one outside T, so that the bit may pass through at any of its vertices.

Not every pair of sites has a lift of its own: pairs further apart than ``reach_s`` go through the end's node, which
prices them at exactly ``reach_s``, so no lift is ever overpriced and the result remains a lower bound.  The end's own
tie carries half of ``reach_s`` too much, which is taken off again (see ``vcarve.plan.bound``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from vcarve.plan.tjoin import Graph, cheapest, parted
from vcarve.plan.web import Rates, Start, Web
from vcarve.plane.arcs import ranges
from vcarve.plane.arrays import Bools, Columns, Floats, Ints, connected

RECUT, IN_PLACE, LIFT, FROM_START, TO_END, FAR_START = range(6)
Rows = tuple[npt.ArrayLike, ...]  # columns of moves, or one value for all rows
NEAR = 1.5  # lifts reach so many times the usual distance of sites
FEW = 60.0  # or over the root of their number where that is more: among some dozens every two have a lift
MANY = 6_000  # vertices of a web in which a component with odd nodes is a site only if
LARGE = 64  # it has no more vertices than this: a node next to everything makes the search slow


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairing:
    """Shapes: K recuts, J lifts."""

    recut_edge: Ints  # (K,) index into the web's edges
    recut_node: Ints  # (K, 2) at its tail and head
    lift: Ints  # (J, 2) vertices
    start: int  # vertex where the bit first plunges
    end: int  # vertex where it leaves
    cost_s: float  # the T-join's weight, never more than the true least
    even: Bools  # (components,) without any odd node
    far: int  # pairs that went through the end's node


@dataclass(frozen=True, slots=True)
class Moves(Columns):
    """The moves that edges of the graph stand for, between nodes ``a`` and ``b``.

    ``at`` and ``to`` are the vertices of a lift or a tie at ``a`` and ``b``; of a recut both are its edge.
    """

    a: Ints
    b: Ints
    seconds: Floats
    kind: Ints
    at: Ints
    to: Ints


@dataclass(frozen=True, slots=True)
class Sites:
    """Shapes: S sites, W vertices of them.  Those that are whole components come last."""

    vertex: Ints  # (W,)
    of: Ints  # (W,) the site of each
    node: Ints  # (S, 2) the graph's nodes of each, -1 for none


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """A pairing posed as a T-join; ``half`` is the lift half at each vertex, ``approach`` the rapid from the start."""

    web: Web
    rates: Rates
    start_mm: Start
    moves: Moves
    graph: Graph
    reach_s: float
    half: Floats  # (V,)
    approach: Floats  # (V,)
    nearest: int  # the vertex at which a program begins and ends soonest
    component: Ints  # (V,)
    even: Bools  # (components,)
    large: Bools  # (components,) with odd nodes, and no site as a whole

    def read(self, chosen: Ints) -> Pairing:
        """Return the pairing that a T-join (indices of the graph's edges) stands for."""
        web, moves = self.web, self.moves.take(chosen)
        recuts, lifts, first, ties = (
            moves.take(moves.kind == kind) for kind in (RECUT, LIFT, FROM_START, TO_END)
        )
        # An edge is travelled once in a level: two recuts of it at two depths are replaced by moves in place at both ends.
        _, index, count = np.unique(recuts.at, return_index=True, return_counts=True)
        recuts = recuts.take(index[count % 2 == 1])
        way = np.column_stack([recuts.a, recuts.b])
        against = web.node_vertex[way[:, 0]] != web.u[recuts.at]
        way[against] = way[against, ::-1]
        # The program begins at the tie to its start, or at the nearest one, and ends at the farthest; what else was tied to
        # the end is too far apart for a lift of its own, and is paired off.
        ties = ties.take(np.argsort(self.approach[ties.to], kind="stable"))
        node, at = np.append(first.b, ties.b), np.append(first.to, ties.to)
        if not len(at):  # it comes back to where it began
            node, at = np.zeros(1, np.int64), np.array([self.nearest])
        far = 1 + nearest_pairs(web.xy_mm[at[1:-1]])
        node = np.concatenate([np.column_stack([lifts.a, lifts.b]), node[far], node[None, [0, -1]]]).ravel()
        at = np.concatenate([np.column_stack([lifts.at, lifts.to]), at[far], at[None, [0, -1]]]).ravel()
        *lift, (begin, finish) = self._settled(at, node >= len(web.node_vertex)).reshape(-1, 2)
        return Pairing(
            recut_edge=recuts.at,
            recut_node=way,
            lift=np.array(lift, np.int64).reshape(-1, 2),
            start=int(begin),
            end=int(finish),
            cost_s=float(moves.seconds.sum()) - self.reach_s / 2.0,
            even=self.even,
            far=len(far),
        )

    def _settled(self, at: Ints, free: Bools) -> Ints:
        """Return the ends of lifts (2 J,) and of the program, last, with those that are ``free`` at one vertex of each component:
        the one nearest to their partners."""
        if not free.any():
            return at
        xy, start, members = self.web.xy_mm, len(at) - 2, parted(self.component)
        ends = np.flatnonzero(free)
        groups = [ends[each] for each in parted(self.component[at[ends]])]
        for _ in range(2):
            for mine in groups:
                choice = members[self.component[at[mine[0]]]]
                ours = mine[mine <= start]  # the program's end is nowhere near anything
                partner = np.where((ours == start)[:, None], self.start_mm, xy[at[ours ^ 1]])
                leap = xy[choice][:, None] - partner
                total = self.rates.rapid_s(leap[..., 0], leap[..., 1]).sum(axis=1)
                at[mine] = choice[int(np.argmin(total))]
        return at


def nearest_pairs(where: Floats) -> Ints:
    """Pair an even number of places (n, 2) off, shape (n / 2, 2): mutually nearest ones first."""
    left = np.arange(len(where))
    pairs: list[Ints] = [np.zeros((0, 2), np.int64)]
    while len(left):
        found = np.asarray(cKDTree(where[left]).query(where[left], k=2, p=np.inf)[1], np.int64)
        mine = np.arange(len(left))
        other = np.where(found[:, 0] == mine, found[:, 1], found[:, 0])
        lead = np.flatnonzero((other[other] == mine) & (mine < other))
        if not len(lead):  # a ring of equal distances
            lead = np.zeros(1, np.int64)
        pairs.append(np.column_stack([left[lead], left[other[lead]]]))
        left = np.delete(left, np.concatenate([lead, other[lead]]))
    return np.concatenate(pairs)


def components(web: Web) -> tuple[int, Ints]:
    """How many components the edges make, and the component of each vertex, shape (V,)."""
    return connected(len(web.xy_mm), web.u, web.v)


def odd_nodes(web: Web) -> Bools:
    """Return which nodes have an odd number of edge ends, shape (N,)."""
    ends = np.bincount(np.concatenate([web.tail, web.head]), minlength=len(web.place))
    return np.asarray(ends % 2 == 1)


def pair(web: Web, rates: Rates, *, recut: bool, start_mm: Start) -> Pairing:
    """Return the cheapest set of recuts and lifts after which every node is even."""
    task = pose(web, rates, recut=recut, start_mm=start_mm)
    return task.read(task.graph.solve(task.moves.seconds)[0])


def pose(web: Web, rates: Rates, *, recut: bool, start_mm: Start) -> Task:
    """Return the pairing as a T-join."""
    count, component = components(web)
    odd, nodes = odd_nodes(web), len(web.node_vertex)
    even = np.ones(count, bool)
    even[component[web.node_vertex[odd]]] = False
    large = ~even & (np.bincount(component) > (LARGE if len(component) > MANY else MANY))
    lean = 0.5 / rates.plunge - 0.5 / rates.rapid[2] if web.slopes.any() else 0.0
    half = _lift_ends_s(web, rates, odd, lean)
    away = web.xy_mm - np.asarray(start_mm)
    approach = rates.rapid_s(away[:, 0], away[:, 1])
    nearest = int(np.argmin(approach + 2.0 * half))

    sites = _sites(web, component, odd, even, ~large if count > 1 else even)
    lifts, reach = _lifts(web, rates, component, sites, half)
    # one row for every node of a site: its nearest vertex, and where the site lies
    row, side = np.nonzero(sites.node >= 0)
    node = sites.node[row, side]
    order = np.lexsort(((approach + half)[sites.vertex], sites.of))
    near = sites.vertex[order[np.diff(sites.of[order], prepend=-1) > 0]][row]
    hub = nodes + 2 * count
    start = hub + 1
    place = np.zeros((start + 1, 2))
    place[:nodes], place[start] = web.xy_mm[web.node_vertex], start_mm
    for k in (0, 1):
        place[node, k] = (np.bincount(sites.of, web.xy_mm[sites.vertex, k]) / np.bincount(sites.of))[row]
    marked = np.zeros(start + 1, np.uint8)
    marked[:nodes], marked[sites.node[row[side == 1]]], marked[start] = odd, 1, 1

    lower = np.flatnonzero(np.diff(web.node_vertex, append=-1) == 0)
    lower = lower[~even[component[web.node_vertex[lower]]]]
    step = web.depth_mm[lower + 1] - web.depth_mm[lower]
    limit = float(approach[nearest] + 2.0 * half[nearest]) + reach
    soon = approach[near] <= limit
    parts: list[Rows] = [
        lifts,
        (lower, lower + 1, rates.in_place_s(step) / 2.0 - lean * step, IN_PLACE, -1, -1),
        (hub, node, half[near] + reach / 2.0, TO_END, near, near),
        (start, node[soon], (approach + half)[near[soon]], FROM_START, near[soon], near[soon]),
        ([start], hub, limit - reach / 2.0, FAR_START, -1, -1),  # see point 5 of the bound
    ]
    if recut:
        parts.append(_recuts(web, rates, ~even[component[web.u]]))
    rows = (np.broadcast_arrays(*part) for part in parts)
    moves = Moves(*(np.concatenate(column) for column in zip(*rows, strict=True)))
    moves = moves.take(cheapest(moves.a, moves.b, moves.seconds, start + 1))
    return Task(
        web=web,
        rates=rates,
        start_mm=start_mm,
        moves=moves,
        graph=Graph(a=moves.a, b=moves.b, marked=marked, hub=hub, place=place),
        reach_s=reach,
        half=half,
        approach=approach,
        nearest=nearest,
        component=component,
        even=even,
        large=large,
    )


def _lift_ends_s(web: Web, rates: Rates, odd: Bools, lean_s_mm: float) -> Floats:
    """Return the seconds a lift costs at each of its ends, beside its rapid, shape (V,); no less than nothing.

    A lift from depth a to depth b takes its two halves, and up to ``lean_s_mm`` more or less for each millimetre between a and b:
    going down is slower than going up.  Without slopes that comes out even over a program.
    """
    half = rates.lift_s(web.top_depth_mm) / 2.0
    if not lean_s_mm or not odd.any():
        return half
    usual = min(float(np.median(web.depth_mm[odd])), 2.0 * float(web.top_depth_mm.min()) + rates.hop_mm)
    return half - lean_s_mm * np.abs(web.top_depth_mm - usual)


def _sites(web: Web, component: Ints, odd: Bools, even: Bools, wanted: Bools) -> Sites:
    """Return the sites: vertices with an odd node or on a slope, and the components ``wanted`` as a whole."""
    # Half-way up a slope a lift may begin as well: rising along the line first can be cheaper than lifting below it.
    slope = web.slopes & ~even[component[web.u]]
    single = np.unique(np.concatenate([web.node_vertex[odd], web.u[slope], web.v[slope]]))
    whole = np.flatnonzero(wanted)
    number = np.cumsum(wanted) - 1
    inside = np.flatnonzero(wanted[component])
    own = len(web.node_vertex) + 2 * np.arange(len(whole))
    node = np.full((len(single) + len(whole), 2), -1)
    node[:, 0] = np.concatenate([web.first_node[single], own])
    node[len(single) :, 1] = np.where(even[whole], own + 1, -1)
    return Sites(
        vertex=np.concatenate([single, inside]),
        of=np.concatenate([np.arange(len(single)), len(single) + number[component[inside]]]),
        node=node,
    )


def _recuts(web: Web, rates: Rates, mine: Bools) -> Rows:
    """Return recuts along the edges as they are cut, and level ones at every lesser depth that both ends have."""
    edge = np.flatnonzero(mine)
    nodes = web.first_node[web.u[edge]], web.first_node[web.u[edge] + 1]
    at, low = np.repeat(edge, nodes[1] - nodes[0]), ranges(*nodes)
    depth, level = np.unique(web.depth_mm, return_inverse=True)
    key = web.node_vertex * len(depth) + level
    want = web.v[at] * len(depth) + level[low]
    high = np.minimum(np.searchsorted(key, want), len(key) - 1)
    most = np.minimum(web.depth_mm[web.tail], web.depth_mm[web.head])[at]
    kept = (key[high] == want) & (web.depth_mm[low] <= most) & (web.depth_mm[low] > 0.0)
    slope = edge[web.slopes[edge]]
    at = np.append(at[kept], slope)
    low, high = np.append(low[kept], web.tail[slope]), np.append(high[kept], web.head[slope])
    return low, high, web.along_s(at, web.depth_mm[high] - web.depth_mm[low], rates), RECUT, at, at


def _lifts(web: Web, rates: Rates, component: Ints, sites: Sites, half: Floats) -> tuple[Rows, float]:
    """Return a lift for every two sites within reach, at their nearest vertices, and the reach in seconds."""
    vertex, of, node = sites.vertex, sites.of, sites.node
    pairs, reach = np.zeros((0, 2), np.int64), 0.0
    if len(node) > 1:
        where = web.xy_mm[vertex] / np.array(rates.rapid[:2])
        span = np.ptp(where, axis=0)
        # the usual distance of sites, of which a row, being flat, has no area to tell
        spacing = float(np.sqrt(np.maximum(span, span[::-1] / 100.0).prod() / len(node)))
        few = FEW if component.any() else 2.5 * FEW  # one component is matched once, not round after round
        reach = min(max(NEAR, few / np.sqrt(len(node))) * spacing, float(span.max()) * 1.000001)
        pairs = cKDTree(where).query_pairs(reach, p=np.inf, output_type="ndarray").astype(np.int64)
    i, j = pairs.T
    whole = node[:, 0] >= len(web.node_vertex)
    apart = ~(whole[of[i]] | whole[of[j]]) | (component[vertex[i]] != component[vertex[j]])
    i, j = i[apart], j[apart]
    leap = web.xy_mm[vertex[i]] - web.xy_mm[vertex[j]]
    seconds = half[vertex[i]] + half[vertex[j]] + rates.rapid_s(leap[:, 0], leap[:, 1])
    kept = cheapest(of[i], of[j], seconds, len(node))
    i, j, seconds = i[kept], j[kept], seconds[kept]
    a, b = node[of[i]][:, [0, 0, 1, 1]], node[of[j]][:, [0, 1, 0, 1]]
    real = (a >= 0) & (b >= 0)
    row = np.nonzero(real)[0]
    return (a[real], b[real], seconds[row], LIFT, vertex[i[row]], vertex[j[row]]), reach
