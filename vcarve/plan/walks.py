"""Closed walks over edges and lifts: at every vertex the pairing of ends that loses least, then merged to one walk.

Glossary
end         one of the two ends of an edge of a multigraph of cuts, recuts and lifts
transition  two ends at one vertex that follow each other
trail       what comes of following transitions until they are back where they began

Exchanging partners between two transitions at a vertex does everything: it makes corners quicker, as long as some exchange
gains; and where two trails meet, it makes one of both, whichever of the two ways it is done (Kotzig's transformations of
Euler trails, 1968).  Rounds of a cheapest forest over the trails end with a single trail for all that hangs together.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import minimum_spanning_tree

from vcarve.plan.costs import Rates, corner_loss_s
from vcarve.plan.web import Web
from vcarve.plane.arcs import ranges
from vcarve.plane.arrays import Bools, Floats, Ints, connected

LIFT = -1  # in place of a number
EMPTY_S = 1000.0  # a lift followed by a lift cuts nothing
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


# Places of a walk in order, the closed walk that begins at each, and what hangs on that.
Hung = Iterator[tuple[int, Walk, "Hung"]]


def strung(walk: Walk, hung: Hung) -> Walk:
    """Return a walk with all that hangs on it, in one.  What hangs is asked for in the order in which it is walked."""
    parts, pending = [walk.part(0, 0)], [(walk, 0, hung)]
    while pending:
        on, done, hung = pending.pop()
        following = next(hung, None)
        if following is None:
            parts.append(on.part(done))
            continue
        place, other, its = following
        parts.append(on.part(done, place))
        pending += [(on, place, hung), (other, 0, its)]
    return Walk.of(parts)


def rings(web: Web, rates: Rates, edge: Ints, node: Ints, number: Ints, links: Ints) -> list[Walk]:
    """Walk every edge (K,) between its nodes (K, 2) and every link (J, 2) between its vertices once; each has a ``number`` (K,).

    Everything that hangs together is one closed walk.  The first begins after link 0 at its second vertex, and ends at its
    first; without links at any vertex.
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
    if len(links):
        walks[0] = walks[0].part(1)
    return walks


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

    After it ends a and x follow each other, and so do b and y; before it a and b did.  With ``mine`` (H,) of some ends alone,
    and only where something can be gained.
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

    Each offer uses the slots ``one`` and ``other``.  The cheapest offer is always taken.  Equal offers go by their order.
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
