"""Which odd vertices to join by a lift and which by a recut: a minimum-weight T-join, solved exactly.

Every node (vertex at a depth) with an odd number of edge ends must be joined to another.  A T-join is the cheapest
set of extra moves that makes all of them even; PyMatching's sparse blossom finds it (Higgott and Gidney, "Sparse
Blossom", 2023; T-joins by matching: Edmonds and Johnson, "Matching, Euler tours and the Chinese postman", 1973).

The graph
    node - node       a recut along an edge, at a depth both ends have, priced at cutting time (``recut`` only)
    node - node       a move in place between two depths of a vertex, at half of a round trip
    site - site       a lift: the two lift halves plus the rapid
    start, end        two more odd vertices, tied to sites by a lift half (and the rapid from where the bit waits)

A component without odd nodes is a site as a whole, with two odd nodes of its own, since the bit must come and go; its
distance to anything is that of its nearest vertex.

Not every pair of sites has a lift of its own: pairs further apart than ``reach_s`` go through the end's node, which
prices them at exactly ``reach_s``, so no lift is ever overpriced and the result remains a lower bound.  The end's own
tie carries half of ``reach_s`` too much, which is taken off again (see ``vcarve.plan.bound``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pymatching
from scipy.sparse import coo_matrix, csc_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from vcarve.network.model import Bools, Floats, Ints
from vcarve.plan.costs import Rates
from vcarve.plan.web import Web

ALL_PAIRS = 700  # so few points get a lift between every two
EXACT = 1500  # so few odd nodes are solved without the tie-breaking noise
NOISE = 1e-3
STEPS = 1 << 22  # weights are whole numbers up to this, rounded down
BRANCH = 16
RECUT, IN_PLACE, LIFT, FROM_START, TO_END, TREE = range(6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairing:
    """Shapes: K recuts, J lifts."""

    recut_edge: Ints  # (K,) index into the web's edges
    recut_level: Ints  # (K,)
    lift: Ints  # (J, 2) vertices
    start: int  # vertex where the bit first plunges
    end: int  # vertex where it leaves
    cost_s: float  # the T-join's weight, never more than the true least
    component: Ints  # (V,)
    even: Bools  # (components,) without any odd node
    far: int  # pairs that went through the end's node


@dataclass(slots=True)
class _Graph:
    """Edges as they are gathered: node pairs, seconds, kind, and two numbers that say what an edge stands for."""

    a: list[Ints]
    b: list[Ints]
    s: list[Floats]
    kind: list[Ints]
    ref: list[Ints]
    ref2: list[Ints]

    def add(self, a: Ints, b: Ints, s: Floats, kind: int, ref: Ints, ref2: Ints) -> None:
        self.a.append(np.asarray(a, np.int64))
        self.b.append(np.asarray(b, np.int64))
        self.s.append(np.asarray(s, float))
        self.kind.append(np.full(len(self.a[-1]), kind, np.int64))
        self.ref.append(np.asarray(ref, np.int64))
        self.ref2.append(np.asarray(ref2, np.int64))


def components(web: Web) -> tuple[int, Ints]:
    """How many components the edges make, and the component of each vertex, shape (V,)."""
    size = len(web.xy_mm)
    links = coo_matrix((np.ones(len(web.u), np.int8), (web.u, web.v)), shape=(size, size))
    count, label = connected_components(links, directed=False)
    return int(count), label.astype(np.int64)


def odd_nodes(web: Web) -> Bools:
    """Which nodes have an odd number of edge ends, shape (N,)."""
    ends = np.concatenate([web.node(web.u, web.level), web.node(web.v, web.level)])
    return np.asarray(np.bincount(ends, minlength=len(web.node_vertex)) % 2 == 1)


def pair(web: Web, rates: Rates, *, recut: bool, start_mm: tuple[float, float]) -> Pairing:
    """The cheapest set of recuts and lifts after which every node is even."""
    count, component = components(web)
    odd = odd_nodes(web)
    odd_component = np.zeros(count, bool)
    odd_component[component[web.node_vertex[odd]]] = True
    for scale in (1.0, 2.5):
        result = _solve(web, rates, recut, start_mm, component, odd, ~odd_component, scale)
        if result.far == 0 or len(result.lift) > 100_000:
            break
    return result


def _points(web: Web, component: Ints, odd: Bools, even: Bools) -> tuple[Ints, Ints, Ints]:
    """The vertices lifts may use, the group of each, and the first matching node of each group.

    A group is one vertex with an odd node, or a whole even component (two matching nodes).
    """
    nodes = len(web.node_vertex)
    single = np.unique(web.node_vertex[odd])
    loose = np.flatnonzero(even[component])
    kinds, group = np.unique(component[loose], return_inverse=True)
    vertex = np.concatenate([single, loose])
    groups = np.concatenate([np.arange(len(single)), len(single) + group]).astype(np.int64)
    first = np.concatenate([web.first_node[single], nodes + 2 * np.arange(len(kinds))]).astype(np.int64)
    return vertex, groups, first


def _solve(
    web: Web,
    rates: Rates,
    recut: bool,
    start_mm: tuple[float, float],
    component: Ints,
    odd: Bools,
    even: Bools,
    scale: float,
) -> Pairing:
    nodes = len(web.node_vertex)
    vertex, group, first = _points(web, component, odd, even)
    pairs_of = 1 + (first >= nodes)  # matching nodes per group
    hub, start = nodes + 2 * int(even.sum()), nodes + 2 * int(even.sum()) + 1
    graph = _Graph([], [], [], [], [], [])
    if recut:
        _add_recuts(graph, web, ~even[component[web.u]])
    lower = np.flatnonzero(
        (web.node_vertex[1:] == web.node_vertex[:-1]) & ~even[component[web.node_vertex[1:]]]
    )
    step = web.levels_mm[web.node_level[lower + 1]] - web.levels_mm[web.node_level[lower]]
    graph.add(lower, lower + 1, rates.in_place_s(step) / 2.0, IN_PLACE, lower, lower)
    half = rates.lift_s(web.top_depth_mm) / 2.0
    reach = _add_lifts(graph, web, rates, vertex, group, first, pairs_of, half, scale)
    # the end, and the start
    away = web.xy_mm - np.asarray(start_mm)
    approach = rates.rapid_s(away[:, 0], away[:, 1])
    best = int(np.argmin(approach + 2.0 * half))
    order = np.lexsort((approach[vertex] + half[vertex], group))
    lead = order[np.concatenate([[True], np.diff(group[order]) > 0])] if len(order) else order
    at_node, at_vertex = _both(first, pairs_of, vertex[lead])
    if not even[component[best]] and not (vertex == best).any() and recut:
        at_node, at_vertex = np.append(at_node, web.first_node[best]), np.append(at_vertex, best)
    size = _add_hub(graph, at_node, half[at_vertex] + reach / 2.0, at_vertex, hub, start + 1)
    limit = float(approach.min() + 2.0 * half[best] + reach)
    near = approach[at_vertex] <= limit
    graph.add(
        np.full(near.sum(), start),
        at_node[near],
        (approach + half)[at_vertex[near]],
        FROM_START,
        at_vertex[near],
        at_vertex[near],
    )
    if not near.all():
        graph.add(
            np.array([start]),
            np.array([hub]),
            np.array([limit - reach / 2.0]),
            TREE,
            np.array([-1]),
            np.array([-1]),
        )
    terminal = np.zeros(size, np.uint8)
    terminal[:nodes] = odd
    terminal[nodes : start + 1] = 1
    chosen, cost = _match(graph, terminal)
    kind, ref, ref2 = (np.concatenate(x)[chosen] for x in (graph.kind, graph.ref, graph.ref2))
    lifts = np.column_stack([ref, ref2])[kind == LIFT]
    begin, finish, extra, far = _open(ref[kind == FROM_START], ref[kind == TO_END], approach, best, web.xy_mm)
    lifts = np.concatenate([lifts, extra]).astype(np.int64)
    begin, finish, lifts = _settle(web, rates, component, even, begin, finish, lifts, start_mm)
    return Pairing(
        recut_edge=ref[kind == RECUT],
        recut_level=ref2[kind == RECUT],
        lift=lifts,
        start=begin,
        end=finish,
        cost_s=cost - reach / 2.0,
        component=component,
        even=even,
        far=far,
    )


def _add_recuts(graph: _Graph, web: Web, mine: Bools) -> None:
    for level in range(len(web.levels_mm)):
        edge = np.flatnonzero(mine & (web.level >= level))
        edge = edge[web.has_node(web.u[edge], np.full(len(edge), level))]
        edge = edge[web.has_node(web.v[edge], np.full(len(edge), level))]
        at = np.full(len(edge), level)
        graph.add(web.node(web.u[edge], at), web.node(web.v[edge], at), web.cut_s[edge], RECUT, edge, at)


def _both(first: Ints, pairs_of: Ints, what: Ints) -> tuple[Ints, Ints]:
    """Matching nodes of every group, with ``what`` repeated for those of even components."""
    double = pairs_of == 2
    return np.concatenate([first, first[double] + 1]), np.concatenate([what, what[double]])


def _add_lifts(
    graph: _Graph,
    web: Web,
    rates: Rates,
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
    apart = group[i] != group[j]
    i, j = i[apart], j[apart]
    delta = web.xy_mm[vertex[i]] - web.xy_mm[vertex[j]]
    seconds = half[vertex[i]] + half[vertex[j]] + rates.rapid_s(delta[:, 0], delta[:, 1])
    if (pairs_of == 2).any():
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


def _add_hub(graph: _Graph, node: Ints, seconds: Floats, vertex: Ints, hub: int, free: int) -> int:
    """Tie the end to every site through a tree of free edges, since a matching node should have few neighbours."""
    parents = -(-len(node) // BRANCH)
    if parents <= 1:
        graph.add(np.full(len(node), hub), node, seconds, TO_END, vertex, vertex)
        return free
    below = free + np.arange(parents)
    free += parents
    graph.add(below[np.arange(len(node)) // BRANCH], node, seconds, TO_END, vertex, vertex)
    while len(below) > 1:
        parents = -(-len(below) // BRANCH)
        above = free + np.arange(parents) if parents > 1 else np.array([hub])
        free += parents if parents > 1 else 0
        none = np.full(len(below), -1)
        graph.add(above[np.arange(len(below)) // BRANCH], below, np.zeros(len(below)), TREE, none, none)
        below = above
    return free


def _match(graph: _Graph, terminal: np.ndarray[tuple[int], np.dtype[np.uint8]]) -> tuple[Ints, float]:
    """Indices of the gathered edges in the cheapest T-join, and a lower bound of its weight in seconds."""
    a, b, s = (np.concatenate(x) for x in (graph.a, graph.b, graph.s))
    size = len(terminal)
    unit = max(float(s.max()), 1e-9) / STEPS
    price = s
    if terminal.sum() > EXACT:
        # equal weights make the search slow; the noise only ever lowers a weight
        price = s * (1.0 - NOISE * np.random.default_rng(20).random(len(s)))
    whole = np.floor(price / unit)
    key = np.minimum(a, b) * size + np.maximum(a, b)
    order = np.lexsort((whole, key))
    keep = order[np.concatenate([[True], np.diff(key[order]) > 0])]
    keep = keep[a[keep] != b[keep]]
    ends = np.column_stack([a[keep], b[keep]])
    check = csc_matrix(
        (np.ones(ends.size, np.uint8), ends.ravel(), np.arange(0, ends.size + 1, 2)), shape=(size, len(keep))
    )
    found = pymatching.Matching(check, weights=whole[keep]).decode_to_edges_array(terminal).astype(np.int64)
    used = found.min(axis=1) * size + found.max(axis=1)
    used, times = np.unique(used, return_counts=True)
    used = used[times % 2 == 1]
    chosen = keep[np.searchsorted(key[keep], used)]
    return chosen, float(whole[chosen].sum()) * unit


def _open(starts: Ints, ends: Ints, approach: Floats, best: int, xy: Floats) -> tuple[int, int, Ints, int]:
    """First and last vertex, and the lifts between whatever else was tied to start or end."""
    if len(starts) == 0 and len(ends) == 0:
        return best, best, np.zeros((0, 2), np.int64), 0
    loose = list(starts) + list(ends)
    begin = int(min(starts if len(starts) else ends, key=lambda v: (approach[v], v)))
    loose.remove(begin)
    if not loose:
        return begin, begin, np.zeros((0, 2), np.int64), 0
    finish = int(max((v for v in ends if v in loose), key=lambda v: (approach[v], v), default=loose[-1]))
    loose.remove(finish)
    rest: list[tuple[int, int]] = []
    loose.sort(key=lambda v: (xy[v, 0], xy[v, 1]))
    while len(loose) > 1:
        a = loose.pop()
        b = min(loose, key=lambda v: (max(abs(xy[v] - xy[a])), v))
        loose.remove(b)
        rest.append((int(a), int(b)))
    return begin, finish, np.array(rest, np.int64).reshape(-1, 2), len(rest)


def _settle(
    web: Web,
    rates: Rates,
    component: Ints,
    even: Bools,
    begin: int,
    finish: int,
    lifts: Ints,
    start_mm: tuple[float, float],
) -> tuple[int, int, Ints]:
    """Let every even component be entered and left at one vertex: the one nearest to both its partners."""
    if not even.any():
        return begin, finish, lifts
    ends = np.concatenate([lifts.ravel(), [begin, finish]])
    # the partner of each end; the start's partner is where the bit waits, the end has none
    partner = np.arange(len(ends)) ^ 1
    loose = np.flatnonzero(even[component[ends]])
    order = loose[np.argsort(component[ends[loose]], kind="stable")]
    member = np.argsort(component, kind="stable")
    offset = np.searchsorted(component[member], np.arange(len(even) + 1))
    cuts = np.flatnonzero(np.diff(component[ends[order]])) + 1
    xy, waiting = web.xy_mm, np.asarray(start_mm)
    for _ in range(2):
        for mine in np.split(order, cuts):
            if not len(mine):
                continue
            c = component[ends[mine[0]]]
            choice = member[offset[c] : offset[c + 1]]
            total = np.zeros(len(choice))
            for e in mine:
                if e == len(ends) - 1:
                    continue
                other = waiting if e == len(ends) - 2 else xy[ends[partner[e]]]
                total += rates.rapid_s(xy[choice, 0] - other[0], xy[choice, 1] - other[1])
            ends[mine] = choice[int(np.argmin(total))]
    return int(ends[-2]), int(ends[-1]), ends[:-2].reshape(-1, 2)
