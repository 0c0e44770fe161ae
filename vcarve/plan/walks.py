"""Closed walks over edges and lifts: transitions of least corner loss, merged at the least extra loss, then walked.

The transitions of ``vcarve.plan.corners`` break the multigraph of cuts, recuts and lifts into closed trails.  Where two
trails meet at a vertex, exchanging partners between two of their transitions makes one trail of both, whichever of the
two ways it is done.  Rounds of a cheapest forest over the trails, touching no transition twice, end with a single trail
for all that hangs together (Kotzig's transformations of Euler trails, 1968).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from vcarve.plan.corners import Ends, transitions
from vcarve.plan.costs import Rates
from vcarve.plan.join import forest
from vcarve.plan.web import Web
from vcarve.plane.arrays import Floats, Ints, connected

LIFT = -1


@dataclass(eq=False)
class Walk:
    """Steps or lifts (T,), the vertex before the first and after each (T + 1,), and walks that begin between two of them.

    A step is ``2 * edge``, one more where it is walked from head to tail; ``LIFT`` is a lift.  A walk that hangs on another is
    closed, and begins where that one is at its place.
    """

    step: Ints
    at: Ints
    hung: list[tuple[int, Walk]] = field(default_factory=list)

    @classmethod
    def of(cls, passes: list[Walk]) -> Walk:
        """Return one walk of passes with a lift between every two."""
        lift = np.array([LIFT])
        steps = [part for each in passes for part in (each.step, lift)][:-1]
        return cls(np.concatenate(steps), np.concatenate([each.at for each in passes]))

    def begun_at(self, vertex: int) -> Walk:
        """Return a closed walk begun at another of its vertices."""
        turn = int(np.flatnonzero(self.at[:-1] == vertex)[0])
        at = np.roll(self.at[:-1], -turn)
        return Walk(np.roll(self.step, -turn), np.append(at, at[0]))

    def back(self) -> Walk:
        """Return the same walk from its last vertex to its first."""
        return Walk(self.step[::-1] ^ 1, self.at[::-1])

    def part(self, low: int, high: int | None = None) -> Walk:
        """Return the steps from one place to another."""
        high = len(self.step) if high is None else high
        return Walk(self.step[low:high], self.at[low : high + 1])

    def passes(self) -> list[Walk]:
        """Return the walks between lifts; some may have no step."""
        lifts = np.flatnonzero(self.step == LIFT)
        begin, end = np.append(0, lifts + 1), np.append(lifts, len(self.step))
        return [self.part(low, high) for low, high in zip(begin.tolist(), end.tolist(), strict=True)]

    def strung(self) -> Walk:
        """Return this walk with all that hangs on it, in one."""
        parts: list[Walk] = [self.part(0, 0)]
        pending = [(self, 0, self._in_order())]
        while pending:
            walk, done, hung = pending.pop()
            place, other = next(hung, (len(walk.step), None))
            parts.append(walk.part(done, place))
            if other is not None:
                pending += [(walk, place, hung), (other, 0, other._in_order())]
        return Walk(
            np.concatenate([each.step for each in parts]),
            np.concatenate([self.at[:1], *(each.at[1:] for each in parts)]),
        )

    def _in_order(self) -> Iterator[tuple[int, Walk]]:
        return iter(sorted(self.hung, key=lambda each: each[0]))


def rings(web: Web, rates: Rates, edge: Ints, node: Ints, links: Ints) -> list[Walk]:
    """Walk every edge (K,) between its nodes (K, 2) and every link (J, 2) between its vertices once; steps number the edges.

    Everything that hangs together is one closed walk.  The first begins after link 0 at its second vertex, and ends at its
    first; without links at any vertex.
    """
    count = len(edge)
    vertex = np.concatenate([web.node_vertex[node].ravel(), links.ravel()])
    away = np.concatenate([web.away[:, edge].swapaxes(0, 1).reshape(-1, 2), np.zeros((links.size, 2))])
    ends = Ends(
        vertex=vertex,
        away=away,
        speed=np.concatenate([np.repeat(web.speed[edge], 2), np.ones(links.size)]),
        depth_mm=np.concatenate([web.depth_mm[node.ravel()], np.zeros(links.size)]),
        lift=np.arange(len(vertex)) >= 2 * count,
    )
    partner = transitions(ends, rates)
    trail = _merge(ends, partner, rates)
    opening = 2 * count if len(links) else 0
    first = np.unique(trail[::2], return_index=True)[1] * 2
    begins = [opening, *first[trail[first] != trail[opening]].tolist()]
    follow = partner.tolist()
    walks = []
    for begin in begins:
        path = _walk(follow, begin)
        walks.append(
            Walk(np.where(path < 2 * count, path, LIFT), np.concatenate([vertex[path[:1]], vertex[path ^ 1]]))
        )
    if len(links):
        walks[0] = walks[0].part(1)
    return walks


def _merge(ends: Ends, partner: Ints, rates: Rates) -> Ints:
    """Make one trail of all that meet; return the trail of every end."""
    every = np.arange(len(partner))
    while True:
        _, trail = connected(
            len(partner), np.concatenate([every, every[::2]]), np.concatenate([partner, every[1::2]])
        )
        a, c = _meetings(ends, partner, trail)
        if not len(a):
            return trail
        b, d = partner[a], partner[c]
        old = ends.loss_s(a, b, rates) + ends.loss_s(c, d, rates)
        one: Floats = ends.loss_s(a, c, rates) + ends.loss_s(b, d, rates)
        two: Floats = ends.loss_s(a, d, rates) + ends.loss_s(b, c, rates)
        took = forest(trail[a], trail[c], np.minimum(one, two) - old, np.minimum(a, b), np.minimum(c, d))
        a, b, c, d = a[took], b[took], c[took], d[took]
        first = (one <= two)[took]
        x, y = np.where(first, c, d), np.where(first, d, c)
        partner[a], partner[x] = x, a
        partner[b], partner[y] = y, b


def _meetings(ends: Ends, partner: Ints, trail: Ints) -> tuple[Ints, Ints]:
    """Return pairs of transitions (by one end each) at one vertex on different trails."""
    one = np.flatnonzero(np.arange(len(partner)) < partner)
    one = one[np.lexsort((trail[one], ends.vertex[one]))]
    vertex = ends.vertex[one]
    start = np.flatnonzero(np.concatenate([[True], np.diff(vertex) > 0]))
    stop = np.append(start[1:], len(one))
    mixed = trail[one[start]] != trail[one[stop - 1]]
    start, size = start[mixed], (stop - start)[mixed]
    left: list[Ints] = []
    right: list[Ints] = []
    for n in np.unique(size).tolist():
        rows = one[start[size == n][:, None] + np.arange(n)]
        i, j = np.triu_indices(n, 1)
        a, c = rows[:, i].ravel(), rows[:, j].ravel()
        apart = trail[a] != trail[c]
        left.append(a[apart])
        right.append(c[apart])
    none = np.zeros(0, np.int64)
    return np.concatenate([none, *left]), np.concatenate([none, *right])


def _walk(follow: list[int], begin: int) -> Ints:
    """Return the ends of a trail in the order they are left from."""
    here, path = begin, []
    while True:
        path.append(here)
        here = follow[here ^ 1]
        if here == begin:
            return np.array(path, np.int64)
