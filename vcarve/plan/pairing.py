"""Which odd vertices to join by a lift and which by a recut: a minimum-weight T-join.

Every node (vertex at a depth) with an odd number of edge ends must be joined to another.  A T-join is the cheapest
set of extra moves that makes all of them even; PyMatching's sparse blossom finds it (Higgott and Gidney, "Sparse
Blossom", 2023; T-joins by matching: Edmonds and Johnson, "Matching, Euler tours and the Chinese postman", 1973).

The graph
    node - node       a recut along an edge as it is cut, or level at a lesser depth both ends have (``recut`` only)
    node - node       a move in place between two depths of a vertex, at half of a round trip
    site - site       a lift: the two lift halves plus the rapid
    start, end        two more odd vertices, tied to sites by a lift half (and the rapid from where the bit waits)

A component without odd nodes is a site as a whole, with two odd nodes of its own, since the bit must come and go; its
distance to anything is that of its nearest vertex.

Not every pair of sites has a lift of its own: pairs further apart than ``reach_s`` go through the end's node, which
prices them at exactly ``reach_s``, so no lift is ever overpriced and the result remains a lower bound.  The end's own
tie carries half of ``reach_s`` too much, which is taken off again (see ``vcarve.plan.bound``).  On large webs start and
end are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from vcarve.plan.costs import Rates
from vcarve.plan.loose import nearest_pairs, settle
from vcarve.plan.tjoin import FAR_START, FROM_START, IN_PLACE, LIFT, RECUT, TO_END, Gathered, Graph
from vcarve.plan.web import Web
from vcarve.plane.arcs import ranges
from vcarve.plane.arrays import Bools, Floats, Ints, connected

SMALL = 64  # vertices of an odd component that lifts may pass through anywhere
FEW = 6_000  # vertices of a web in which every odd component is taken for small
CLOSED = 600  # sites beyond which start and end are left out
ALL_PAIRS = 700  # so few points get a lift between every two


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairing:
    """Shapes: K recuts, J lifts."""

    recut_edge: Ints  # (K,) index into the web's edges
    recut_node: Ints  # (K, 2) at its tail and head
    lift: Ints  # (J, 2) vertices
    start: int  # vertex where the bit first plunges
    end: int  # vertex where it leaves
    cost_s: float  # the T-join's weight, never more than the true least
    component: Ints  # (V,)
    even: Bools  # (components,) without any odd node
    far: int  # pairs that went through the end's node


def components(web: Web) -> tuple[int, Ints]:
    """How many components the edges make, and the component of each vertex, shape (V,)."""
    return connected(len(web.xy_mm), web.u, web.v)


def small_components(component: Ints, even: Bools) -> Bools:
    """Return which components have odd nodes and may be passed through at any vertex."""
    most = SMALL if len(component) > FEW else FEW
    return np.asarray(~even & (np.bincount(component, minlength=len(even)) <= most))


def odd_nodes(web: Web) -> Bools:
    """Return which nodes have an odd number of edge ends, shape (N,)."""
    ends = np.bincount(np.concatenate([web.tail, web.head]), minlength=len(web.place))
    return np.asarray(ends % 2 == 1)


def pair(web: Web, rates: Rates, *, recut: bool, start_mm: tuple[float, float]) -> Pairing:
    """Return the cheapest set of recuts and lifts after which every node is even."""
    return solved(web, rates, recut=recut, start_mm=start_mm)[1]


def solved(web: Web, rates: Rates, *, recut: bool, start_mm: tuple[float, float]) -> tuple[Task, Pairing]:
    """Return the pairing as a T-join, and what it comes to; posed with a wider reach if lifts were found wanting."""
    for scale in (1.0, 2.5):
        task = pose(web, rates, recut=recut, start_mm=start_mm, scale=scale)
        result = task.read(*task.graph.solve())
        if result.far == 0 or task.closed:
            break
    return task, result


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """A pairing posed as a T-join; ``half`` is the lift half at each vertex, ``approach`` the rapid from the start."""

    web: Web
    rates: Rates
    start_mm: tuple[float, float]
    graph: Graph
    reach_s: float
    give_s: float  # what the weight of a T-join lacks to bound the extra moves of any program
    half: Floats  # (V,)
    approach: Floats  # (V,)
    best: int  # the vertex nearest to the start
    component: Ints  # (V,)
    even: Bools  # (components,)
    whole: tuple[int, int]  # matching nodes that stand for whole odd components
    closed: bool  # start and end were left out: the T-join is of a program that flies back to where it began

    def read(self, chosen: Ints, cost_s: float) -> Pairing:
        """Return the pairing that a T-join (indices of the graph's edges) and its weight stand for."""
        kind, ref, ref2 = self.graph.kind[chosen], self.graph.ref[chosen], self.graph.ref2[chosen]
        ref, ref2 = self._at_one_vertex(self.graph.a[chosen], self.graph.b[chosen], kind, ref, ref2)
        # An edge is travelled once in a level: two recuts of it at two depths are replaced by moves in place at both ends.
        recuts = np.flatnonzero(kind == RECUT)
        _, first, count = np.unique(ref[recuts], return_index=True, return_counts=True)
        recuts = recuts[np.sort(first[count % 2 == 1])]
        way = np.column_stack([self.graph.a[chosen], self.graph.b[chosen]])[recuts]
        against = self.web.node_vertex[way[:, 0]] != self.web.u[ref[recuts]]
        way[against] = way[against, ::-1]
        lifts = np.column_stack([ref, ref2])[kind == LIFT]
        starts, ends = ref[kind == FROM_START], ref[kind == TO_END]
        if self.closed:
            begin, finish, lifts, far = self._opened(lifts, ends)
        else:
            begin, finish, extra, far = _open(starts, ends, self.approach, self.best, self.web.xy_mm)
            lifts = np.concatenate([lifts, extra]).astype(np.int64)
        begin, finish, lifts = settle(
            self.web, self.rates, self.component, self.even, begin, finish, lifts, self.start_mm
        )
        return Pairing(
            recut_edge=ref[recuts],
            recut_node=way,
            lift=lifts,
            start=begin,
            end=finish,
            cost_s=cost_s + self.give_s,
            component=self.component,
            even=self.even,
            far=far,
        )

    def _opened(self, lifts: Ints, tied: Ints) -> tuple[int, int, Ints, int]:
        """Return first and last vertex, and the lifts without the one whose leaving out saves most."""
        scaled = self.web.xy_mm / np.array([self.rates.rapid[0], self.rates.rapid[1]])
        far = nearest_pairs(scaled, tied)
        lifts = np.concatenate([lifts, far]).astype(np.int64)
        if not len(lifts):
            return self.best, self.best, lifts, 0
        leap = self.web.xy_mm[lifts[:, 0]] - self.web.xy_mm[lifts[:, 1]]
        extra = self.approach[lifts] - self.rates.rapid_s(leap[:, 0], leap[:, 1])[:, None]
        index, side = divmod(int(np.argmin(extra)), 2)
        begin, finish = int(lifts[index, side]), int(lifts[index, 1 - side])
        return begin, finish, np.delete(lifts, index, axis=0), len(far)

    def _at_one_vertex(self, a: Ints, b: Ints, kind: Ints, ref: Ints, ref2: Ints) -> tuple[Ints, Ints]:
        """Let lifts that pass through a whole odd component arrive and leave at the same vertex."""
        low, high = self.whole
        ref, ref2 = ref.copy(), ref2.copy()
        place: dict[int, int] = {}
        for node, at, kinds in ((a, ref, (LIFT,)), (b, ref2, (LIFT, FROM_START, TO_END))):
            for i in np.flatnonzero(np.isin(kind, kinds) & (node >= low) & (node < high)).tolist():
                at[i] = place.setdefault(int(node[i]), int(at[i]))
        tied = (kind == FROM_START) | (kind == TO_END)
        ref[tied] = ref2[tied]
        return ref, ref2


def _points(web: Web, component: Ints, odd: Bools, even: Bools) -> tuple[Ints, Ints, Ints, Ints]:
    """Return the vertices lifts may use, the group of each, and per group its first matching node and how many it has.

    A group is one vertex with an odd node or on a slope, a whole even component (two matching nodes), or a whole small odd
    component (one node outside T: the bit may pass through at any of its vertices).
    """
    nodes, count = len(web.node_vertex), len(even)
    # Half-way up a slope a lift may begin as well: rising along the line first can be cheaper than lifting below it.
    slope = web.slopes & ~even[component[web.u]]
    single = np.unique(np.concatenate([web.node_vertex[odd], web.u[slope], web.v[slope]]))
    small = small_components(component, even) & (count > 1)
    loops = int(even.sum())
    whole = np.concatenate([np.flatnonzero(even), np.flatnonzero(small)])
    number = np.full(count, -1, np.int64)
    number[whole] = np.arange(len(whole))
    loose = np.flatnonzero(number[component] >= 0)
    vertex = np.concatenate([single, loose])
    group = np.concatenate([np.arange(len(single)), len(single) + number[component[loose]]]).astype(np.int64)
    size = np.ones(len(single) + len(whole), np.int64)
    size[len(single) : len(single) + loops] = 2
    first = np.concatenate(
        [web.first_node[single], nodes + np.cumsum(size[len(single) :]) - size[len(single) :]]
    )
    return vertex, group, first.astype(np.int64), size


def pose(web: Web, rates: Rates, *, recut: bool, start_mm: tuple[float, float], scale: float = 1.0) -> Task:
    """Gather the graph; ``scale`` widens how far lifts reach."""
    count, component = components(web)
    odd = odd_nodes(web)
    even = np.ones(count, bool)
    even[component[web.node_vertex[odd]]] = False
    nodes = len(web.node_vertex)
    vertex, group, first, pairs_of = _points(web, component, odd, even)
    loops = nodes + 2 * int(even.sum())
    hub = max(loops, int((first + pairs_of).max()) if len(first) else 0)
    start = hub + 1
    graph = Gathered()
    if recut:
        _add_recuts(graph, web, rates, ~even[component[web.u]])
    lower = np.flatnonzero(
        (web.node_vertex[1:] == web.node_vertex[:-1]) & ~even[component[web.node_vertex[1:]]]
    )
    step = web.depth_mm[lower + 1] - web.depth_mm[lower]
    lean = 0.5 / rates.plunge - 0.5 / rates.rapid[2] if web.slopes.any() else 0.0
    graph.add(lower, lower + 1, rates.in_place_s(step) / 2.0 - lean * step, IN_PLACE, lower, lower)
    half = _lift_ends_s(web, rates, odd, lean)
    reach = _add_lifts(graph, web, rates, component, vertex, group, first, pairs_of, half, scale)
    closed = len(first) > CLOSED and len(vertex) > ALL_PAIRS
    # the end, and the start
    away = web.xy_mm - np.asarray(start_mm)
    approach = rates.rapid_s(away[:, 0], away[:, 1])
    best = int(np.argmin(approach + 2.0 * half))
    order = np.lexsort((approach[vertex] + half[vertex], group))
    lead = order[np.concatenate([[True], np.diff(group[order]) > 0])] if len(order) else order
    at_node, at_vertex = _both(first, pairs_of, vertex[lead])
    if not even[component[best]] and not (vertex == best).any() and (recut or len(lower)):
        at_node, at_vertex = np.append(at_node, web.first_node[best]), np.append(at_vertex, best)
    graph.add(
        np.full(len(at_node), hub), at_node, half[at_vertex] + reach / 2.0, TO_END, at_vertex, at_vertex
    )
    limit = float(approach.min() + 2.0 * half[best] + reach)
    near = np.asarray((approach[at_vertex] <= limit) & (not closed))
    graph.add(
        np.full(near.sum(), start),
        at_node[near],
        (approach + half)[at_vertex[near]],
        FROM_START,
        at_vertex[near],
        at_vertex[near],
    )
    if not near.all() and not closed:
        graph.add(
            np.array([start]),
            np.array([hub]),
            np.array([limit - reach / 2.0]),
            FAR_START,
            np.array([-1]),
            np.array([-1]),
        )
    marked = np.zeros(start + 1, np.uint8)
    marked[:nodes] = odd
    marked[nodes:loops] = 1
    marked[start] = not closed
    return Task(
        web=web,
        rates=rates,
        start_mm=start_mm,
        graph=graph.graph(marked, hub, _places(web, len(marked), vertex, group, first, pairs_of, start_mm)),
        reach_s=reach,
        give_s=float(approach.min()) - reach if closed else -reach / 2.0,
        half=half,
        approach=approach,
        best=best,
        component=component,
        even=even,
        whole=(loops, hub),
        closed=closed,
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


def _add_recuts(graph: Gathered, web: Web, rates: Rates, mine: Bools) -> None:
    """Add recuts along the edges as they are cut, and level ones at every lesser depth that both ends have."""
    edge = np.flatnonzero(mine)
    nodes = web.first_node[web.u[edge]], web.first_node[web.u[edge] + 1]
    at, low = np.repeat(edge, nodes[1] - nodes[0]), ranges(*nodes)
    depth, level = np.unique(web.depth_mm, return_inverse=True)
    key = web.node_vertex * len(depth) + level
    want = web.v[at] * len(depth) + level[low]
    high = np.minimum(np.searchsorted(key, want), len(key) - 1)
    most = np.minimum(web.depth_mm[web.tail], web.depth_mm[web.head])[at]
    kept = (key[high] == want) & (web.depth_mm[low] <= most) & (web.depth_mm[low] > 0.0)
    at, low, high = at[kept], low[kept], high[kept]
    order = np.lexsort((at, web.depth_mm[low]))
    slope = edge[web.slopes[edge]]
    at = np.concatenate([at[order], slope])
    low, high = np.concatenate([low[order], web.tail[slope]]), np.concatenate([high[order], web.head[slope]])
    graph.add(low, high, web.along_s(at, web.depth_mm[high] - web.depth_mm[low], rates), RECUT, at, at)


def _places(
    web: Web, size: int, vertex: Ints, group: Ints, first: Ints, pairs_of: Ints, start_mm: tuple[float, float]
) -> Floats:
    """Return where each matching node lies, start last, shape (N, 2) in mm: a whole component in the middle of its vertices."""
    at_group, of_group = _both(first, pairs_of, np.arange(len(first)))
    whole = at_group >= len(web.node_vertex)
    members = np.bincount(group)[of_group[whole]]
    place = np.zeros((size, 2))
    for k in (0, 1):
        place[at_group[whole], k] = np.bincount(group, web.xy_mm[vertex, k])[of_group[whole]] / members
    place[: len(web.node_vertex)] = web.xy_mm[web.node_vertex]
    place[-1] = start_mm
    return place


def _both(first: Ints, pairs_of: Ints, what: Ints) -> tuple[Ints, Ints]:
    """Return matching nodes of every group, with ``what`` repeated for those of even components."""
    double = pairs_of == 2
    return np.concatenate([first, first[double] + 1]), np.concatenate([what, what[double]])


def _add_lifts(
    graph: Gathered,
    web: Web,
    rates: Rates,
    component: Ints,
    vertex: Ints,
    group: Ints,
    first: Ints,
    pairs_of: Ints,
    half: Floats,
    scale: float,
) -> float:
    """Add a lift for every two groups within reach, at their nearest vertices; return the reach in seconds."""
    if len(first) < 2:
        return 0.0
    where = web.xy_mm[vertex] / np.array([rates.rapid[0], rates.rapid[1]])
    span = np.ptp(where, axis=0)
    if len(vertex) <= ALL_PAIRS:
        i, j = np.triu_indices(len(vertex), 1)
        reach = float(span.max()) * 1.000001
    else:
        wide = 3.0 if len(first) < 2_000 else 1.5
        reach = min(scale * wide * float(np.sqrt(max(span[0], span[1] / 100) * max(span[1], span[0] / 100) / len(first))),
                    float(span.max()) * 1.000001)  # fmt: skip
        i, j = cKDTree(where).query_pairs(reach, p=np.inf, output_type="ndarray").T.astype(np.int64)
    whole = first >= len(web.node_vertex)
    same = component[vertex[i]] == component[vertex[j]]
    apart = (group[i] != group[j]) & ~(same & (whole[group[i]] | whole[group[j]]))
    i, j = i[apart], j[apart]
    delta = web.xy_mm[vertex[i]] - web.xy_mm[vertex[j]]
    seconds = half[vertex[i]] + half[vertex[j]] + rates.rapid_s(delta[:, 0], delta[:, 1])
    if whole.any():
        swap = group[i] > group[j]
        i, j = np.where(swap, j, i), np.where(swap, i, j)
        order = np.lexsort((seconds, group[j], group[i]))
        gi, gj = group[i[order]], group[j[order]]
        order = (
            order[np.concatenate([[True], (np.diff(gi) != 0) | (np.diff(gj) != 0)])] if len(order) else order
        )
        i, j, seconds = i[order], j[order], seconds[order]
    for p in (0, 1):
        for q in (0, 1):
            keep = (pairs_of[group[i]] > p) & (pairs_of[group[j]] > q)
            if keep.any():
                graph.add(
                    first[group[i[keep]]] + p,
                    first[group[j[keep]]] + q,
                    seconds[keep],
                    LIFT,
                    vertex[i[keep]],
                    vertex[j[keep]],
                )
    return reach


def _open(starts: Ints, ends: Ints, approach: Floats, best: int, xy: Floats) -> tuple[int, int, Ints, int]:
    """Return first and last vertex, and the lifts between whatever else was tied to start or end."""
    if len(starts) == 0 and len(ends) == 0:
        return best, best, np.zeros((0, 2), np.int64), 0
    loose = list(starts) + list(ends)
    begin = int(min(starts if len(starts) else ends, key=lambda v: (approach[v], v)))
    loose.remove(begin)
    if not loose:
        return begin, begin, np.zeros((0, 2), np.int64), 0
    finish = int(max((v for v in ends if v in loose), key=lambda v: (approach[v], v), default=loose[-1]))
    loose.remove(finish)
    rest = nearest_pairs(xy, np.array(loose, np.int64))
    return begin, finish, rest, len(rest)
