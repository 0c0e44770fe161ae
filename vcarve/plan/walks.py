"""Closed walks over cuts, recuts and lifts, each once: all made one by exchanges, those that lose least.

Glossary
link        a lift, or link 0: the way from the last vertex of a program back to its first
group       what cutting, recuts and links hold together: a component of their multigraph
end         end 2 i is the tail of its edge i, end 2 i + 1 the head; to leave from an end is the step of that number
transition  two ends at one vertex that follow each other
trail       what comes of following transitions until they are back where they began

Between groups (``join``): exchanging the ends of two links of different groups makes one group of two and changes the rapids
only; with a link from a vertex to itself, one lift more (as in the patching of assignment tours: Karp, "A patching algorithm
for the nonsymmetric traveling-salesman problem", 1979).

Within a group (``euler_walks``): exchanging partners between two transitions at a vertex makes corners quicker, as long as some
exchange gains; and where two trails meet, it makes one of both, whichever of the two ways it is done (Kotzig's transformations
of Euler trails, 1968).

Either way, rounds of a cheapest forest over groups or trails end with one of all that there can be.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import minimum_spanning_tree
from scipy.spatial import cKDTree

from vcarve.plan.web import Rates, Start, Web, corner_loss_s
from vcarve.plane.arcs import ranges
from vcarve.plane.arrays import Bools, Floats, Ints, connected

LIFT = -1  # in place of a number
NEIGHBOURS = 10  # ends of links that are looked at for one of another group, at first
EMPTY_S = 1000.0  # of a lift followed by a lift, which cuts nothing: only where nothing else is left
LEAST_S = 1e-9  # exchanges that gain less are not made


@dataclass(frozen=True, eq=False)
class Walk:
    """Steps (T,), and the vertex before the first and after each (T + 1,).

    A step is twice the number of what is walked, one more where that is from head to tail; of a lift it is negative.
    """

    step: Ints
    at: Ints

    @classmethod
    def of(cls, parts: list[Walk]) -> Walk:
        """Return one walk of parts, each of which begins where the one before it ends."""
        at = np.concatenate([parts[0].at[:1], *(each.at[1:] for each in parts)])
        return cls(np.concatenate([each.step for each in parts]), at)

    def begun_at(self, vertex: int) -> Walk:
        """Return a closed walk begun at another of its vertices."""
        turn = int(np.flatnonzero(self.at[:-1] == vertex)[0])
        return Walk.of([self.part(turn), self.part(0, turn)])

    def back(self) -> Walk:
        """Return the same walk from its last vertex to its first."""
        return Walk(self.step[::-1] ^ 1, self.at[::-1])

    def part(self, low: int, high: int | None = None) -> Walk:
        """Return the steps from one place to another."""
        high = len(self.step) if high is None else high
        return Walk(self.step[low:high], self.at[low : high + 1])

    def passes(self) -> list[Walk]:
        """Return the walks between lifts; some may have no step."""
        lifts = np.flatnonzero(self.step < 0).tolist()
        return [self.part(low + 1, high) for low, high in pairwise([-1, *lifts, len(self.step)])]


def join(web: Web, rates: Rates, links: Ints, start_mm: Start) -> Ints:
    """Return links (J, 2) changed so that everything is one tour; link 0 is (last vertex, first vertex)."""
    size = len(web.xy_mm)
    xy = np.concatenate([web.xy_mm, [start_mm, start_mm]])
    waiting, nowhere = size, size + 1  # where the bit waits at first, and where it goes at the end
    links = np.concatenate([[[links[0, 0], nowhere], [waiting, links[0, 1]]], links[1:]])
    near = NEIGHBOURS

    def fly(a: Ints, b: Ints) -> Floats:
        away = xy[a] - xy[b]
        return np.where((a == nowhere) | (b == nowhere), 0.0, rates.rapid_s(away[:, 0], away[:, 1]))

    while True:
        tied = np.concatenate([[[waiting, nowhere]], np.column_stack([web.u, web.v]), links])
        count, group = connected(size + 2, *tied.T)
        if count == 1:
            break
        many = links.size
        bare = np.flatnonzero(~np.isin(group, group[links[:, 0]]))
        ends = np.append(links, np.repeat(bare, 2))  # end e is tied to end e ^ 1
        e = np.append(np.arange(many), np.arange(many, len(ends), 2))
        scaled = xy[ends] / rates.rapid[:2]
        near = min(near, many)
        found = cKDTree(scaled[:many]).query(scaled[e], k=near, p=np.inf)[1]
        e, f = np.repeat(e, near), np.asarray(found, np.int64).ravel()
        apart = group[ends[e]] != group[ends[f]]
        e, f = e[apart], f[apart]
        # ends e and f meet in a new link, and so do the ends that they were tied to
        p, q, r, s = ends[e], ends[f], ends[e ^ 1], ends[f ^ 1]
        lift_s = np.where(e < many, 0.0, rates.lift_s(web.top_depth_mm[np.where(e < many, 0, p)]))
        extra = fly(p, q) + fly(r, s) - fly(p, r) - fly(q, s) + lift_s
        # of a group without a lift only one vertex gets one; all else then joins it by exchanges, which cost none
        slot = np.where(e < many, e >> 1, many + group[p])
        took = forest(group[p], group[q], extra, slot, f >> 1)
        if not len(took):
            near *= 3
            continue
        tied = ends.reshape(-1, 2)
        tied[e[took] >> 1] = np.column_stack([r, s])[took]
        tied[f[took] >> 1] = np.column_stack([p, q])[took]
        links = tied[np.append(np.arange(many // 2), e[took][e[took] >= many] >> 1)]
    last, first = (links[(links == one).any(axis=1)].sum() - one for one in (nowhere, waiting))
    return np.concatenate([[[last, first]], links[(links < size).all(axis=1)]])


def euler_walks(
    web: Web, rates: Rates, edge: Ints, node: Ints, number: Ints, links: Ints
) -> tuple[Walk, list[Walk]]:
    """Walk every edge (K,) between its nodes (K, 2) and every link (J, 2) between its vertices once; each has a ``number`` (K,).

    Return the walk of the group with the links, opened at link 0, from its second vertex to its first; and of every other group
    a closed walk.  Without links the first is closed as well.
    """
    count = len(edge)
    vertex = np.append(web.node_vertex[node], links)
    ends = Ends(
        vertex=vertex,
        away=np.concatenate([web.away[:, edge].swapaxes(0, 1).reshape(-1, 2), np.zeros((links.size, 2))]),
        speed=np.append(np.repeat(web.speed[edge], 2), np.ones(links.size)),
        depth_mm=np.append(web.depth_mm[node], np.zeros(links.size)),
        lift=np.arange(len(vertex)) >= 2 * count,
    )
    partner = transitions(ends, rates)
    trail = _merge(ends, partner, rates)
    opening = 2 * count if len(links) else 0
    first = 2 * np.unique(trail[::2], return_index=True)[1]
    follow, numbers = partner.tolist(), np.append(number, np.full(len(links), LIFT))
    walks = []
    for begin in (opening, *first[trail[first] != trail[opening]].tolist()):
        here, path = begin, [begin]
        while (here := follow[here ^ 1]) != begin:
            path.append(here)
        left = np.array(path)
        walks.append(Walk(2 * numbers[left >> 1] + (left & 1), np.append(vertex[begin], vertex[left ^ 1])))
    main, *loose = walks
    return main.part(1) if len(links) else main, loose


@dataclass(frozen=True, slots=True)
class Ends:
    """Edge i of a multigraph has the ends 2 i (tail) and 2 i + 1 (head); shapes: H ends.  An end of a lift has no direction."""

    vertex: Ints  # (H,)
    away: Floats  # (H, 2)
    speed: Floats  # (H,)
    depth_mm: Floats  # (H,)
    lift: Bools  # (H,)

    def loss_s(self, i: Ints, j: Ints, rates: Rates) -> Floats:
        """Return the seconds lost where end i leads on to end j."""
        corner = corner_loss_s(self.away[i], self.away[j], self.speed[i], self.speed[j], rates)
        in_place = rates.in_place_s(np.abs(self.depth_mm[i] - self.depth_mm[j])) / 2.0
        either, both = self.lift[i] | self.lift[j], self.lift[i] & self.lift[j]
        result: Floats = np.where(both, EMPTY_S, np.where(either, 0.0, corner + in_place))
        return result


def transitions(ends: Ends, rates: Rates) -> Ints:
    """Return the partner of every end, shape (H,): at each vertex taken alone no exchange loses less.

    At first all go as straight on as can be: each end leads on to the opposite one in the order of their directions.
    """
    angle: Floats = np.arctan2(ends.away[:, 1], ends.away[:, 0]).round(6)
    order = np.lexsort((ends.depth_mm, angle, ends.lift, ends.vertex))
    vertex, every = ends.vertex[order], np.arange(len(order))
    start = np.searchsorted(vertex, vertex)
    degree = np.searchsorted(vertex, vertex, side="right") - start
    partner = np.empty(len(order), np.int64)
    partner[order] = order[start + (every - start + degree // 2) % degree]
    changed = every
    while len(changed):
        mine = np.zeros(int(vertex.max()) + 1, bool)
        mine[ends.vertex[changed]] = True
        a, b, x, y, extra = _exchanges(ends, partner, every, rates, mine[ends.vertex])
        best = np.argsort(extra, kind="stable")
        best = best[extra[best] < -LEAST_S]
        best = best[first_uses(a[best], np.minimum(x, y)[best])]
        changed = a[best]
        _exchange(partner, a[best], b[best], x[best], y[best])
    return partner


def _merge(ends: Ends, partner: Ints, rates: Rates) -> Ints:
    """Make one trail of all that meet; return the trail of every end."""
    every = np.arange(len(partner))
    while True:
        _, trail = connected(len(partner), np.append(every, every[::2]), np.append(partner, every[1::2]))
        a, b, x, y, extra = _exchanges(ends, partner, trail, rates)
        if not len(a):
            return trail
        took = forest(trail[a], trail[x], extra, a, np.minimum(x, y))
        _exchange(partner, a[took], b[took], x[took], y[took])


def _exchanges(
    ends: Ends, partner: Ints, label: Ints, rates: Rates, mine: Bools | None = None
) -> tuple[Ints, Ints, Ints, Ints, Floats]:
    """Return for every two transitions of different labels at one vertex the better exchange, and the seconds more it loses.

    Transitions ab and cd become ax and by, where (x, y) is (c, d) or (d, c), whichever loses less.  With ``mine`` (H,) of some
    ends alone, and only where something can be gained.
    """
    lead = np.arange(len(partner)) < partner
    one = np.flatnonzero(lead if mine is None else lead & mine)
    one = one[np.argsort(ends.vertex[one], kind="stable")]
    nth, stop = np.arange(len(one)), np.searchsorted(ends.vertex[one], ends.vertex[one], side="right")
    a, c = one[np.repeat(nth, stop - nth - 1)], one[ranges(nth + 1, stop)]
    lost = np.zeros(len(partner))
    lost[one] = ends.loss_s(one, partner[one], rates)
    apart = label[a] != label[c]
    if mine is not None:
        apart &= lost[a] + lost[c] > LEAST_S
    a, c = a[apart], c[apart]
    b, d = partner[a], partner[c]
    straight = ends.loss_s(a, c, rates) + ends.loss_s(b, d, rates)
    crossed = ends.loss_s(a, d, rates) + ends.loss_s(b, c, rates)
    cross = crossed < straight
    extra = np.where(cross, crossed, straight) - (lost[a] + lost[c])
    return a, b, np.where(cross, d, c), np.where(cross, c, d), extra


def _exchange(partner: Ints, a: Ints, b: Ints, x: Ints, y: Ints) -> None:
    partner[a], partner[x] = x, a
    partner[b], partner[y] = y, b


def forest(a: Ints, b: Ints, extra: Floats, one: Ints, other: Ints) -> Ints:
    """Return which offers to take: of a cheapest forest over groups ``a``, ``b`` those whose slots no cheaper one uses.

    Each offer uses the slots ``one`` and ``other``.  The cheapest is always taken, so that rounds come to an end.  Equal offers
    go by their order.
    """
    low, high = np.minimum(a, b), np.maximum(a, b)
    order = np.argsort(extra, kind="stable")
    size = int(high.max(initial=0)) + 1
    order = order[np.sort(np.unique((low * size + high)[order], return_index=True)[1])]
    rank = coo_array((np.arange(len(order)) + 1.0, (low[order], high[order])), shape=(size, size))
    tree = order[np.sort(minimum_spanning_tree(rank.tocsr()).data).astype(np.int64) - 1]
    return tree[first_uses(one[tree], other[tree])]


def first_uses(one: Ints, other: Ints) -> Bools:
    """Return which of some rows are the first to use each of their two slots."""
    _, first, of = np.unique(np.column_stack([one, other]), return_index=True, return_inverse=True)
    return np.asarray((first[of].reshape(-1, 2) // 2 == np.arange(len(one))[:, None]).all(axis=1))
