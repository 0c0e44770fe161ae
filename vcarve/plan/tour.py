"""One tour through everything: transitions of least corner loss, merged at the least extra loss, then walked.

The transitions of ``vcarve.plan.corners`` break the multigraph of cuts, recuts and lifts into closed trails.  Where two
trails meet at a vertex, exchanging partners between two of their transitions makes one trail of both, whichever of the
two ways it is done.  Rounds of a cheapest forest over the trails, touching no transition twice, end with a single trail
(Kotzig's transformations of Euler trails, 1968).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.errors import InternalError
from vcarve.plan.corners import Ends, transitions
from vcarve.plan.costs import Rates
from vcarve.plan.join import forest
from vcarve.plan.pairing import Pairing
from vcarve.plan.web import Web
from vcarve.plane.arrays import Floats, Ints, connected


@dataclass(frozen=True, slots=True, kw_only=True)
class Tour:
    """A program's order.  Shapes: S steps, P passes."""

    edge: Ints  # (S,) index into the cuts' edges
    back: Ints  # (S,) 1 where the edge is walked from head to tail
    begin: Ints  # (S,) index into the cuts' places: those of the edge, or shallower ones where it is travel
    end: Ints  # (S,)
    pass_start: Ints  # (P + 1,)


def tour(web: Web, rates: Rates, found: Pairing, links: Ints) -> Tour:
    """Walk every edge, every recut and every lift once; link 0 leads from the last vertex back to the first."""
    edge = np.concatenate([np.arange(len(web.u)), found.recut_edge])
    node = np.concatenate([np.column_stack([web.tail, web.head]), found.recut_node]).ravel()
    steps = len(edge)
    vertex = np.concatenate([np.column_stack([web.u[edge], web.v[edge]]).ravel(), links.ravel()])
    away = np.concatenate(
        [np.stack([web.away[0, edge], web.away[1, edge]], 1).reshape(-1, 2), np.zeros((links.size, 2))]
    )
    ends = Ends(
        vertex=vertex,
        away=away,
        speed=np.concatenate([np.repeat(web.speed[edge], 2), np.ones(links.size)]),
        depth_mm=np.concatenate([web.depth_mm[node], np.zeros(links.size)]),
        lift=np.arange(len(vertex)) >= 2 * steps,
    )
    partner = transitions(ends, rates)
    _merge(ends, partner, rates)
    path = _walk(partner, 2 * steps + 1)
    body = path[1:] // 2  # path[0] is the opening
    lifted = body >= steps
    kept = ~lifted
    passes = np.concatenate([[0], np.cumsum(kept)[lifted], [kept.sum()]]).astype(np.int64)
    passes = passes[np.concatenate([[True], np.diff(passes) > 0])]
    end = path[1:][kept]
    return Tour(
        edge=web.edge[edge[end // 2]],
        back=end % 2,
        begin=web.place[node[end]],
        end=web.place[node[end ^ 1]],
        pass_start=passes,
    )


def trails(partner: Ints) -> tuple[int, Ints]:
    """How many closed trails there are, and the trail of every end."""
    every = np.arange(len(partner))
    row = np.concatenate([every, every[::2]])
    column = np.concatenate([partner, every[1::2]])
    return connected(len(partner), row, column)


def _merge(ends: Ends, partner: Ints, rates: Rates) -> None:
    while True:
        count, trail = trails(partner)
        if count == 1:
            return
        a, c = _meetings(ends, partner, trail)
        b, d = partner[a], partner[c]
        old = ends.loss_s(a, b, rates) + ends.loss_s(c, d, rates)
        one: Floats = ends.loss_s(a, c, rates) + ends.loss_s(b, d, rates)
        two: Floats = ends.loss_s(a, d, rates) + ends.loss_s(b, c, rates)
        took = forest(
            trail[a], trail[c], np.minimum(one, two) - old, [np.minimum(a, b), np.minimum(c, d)], len(partner)
        )
        if not took.any():
            raise InternalError("the plan fell apart into tours that never meet")
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


def _walk(partner: Ints, opening: int) -> Ints:
    """Return ends in the order they are left from; the first is the opening, left towards the program's first vertex.

    ``opening`` is the opening's far end (at the first vertex), so the walk begins by leaving its near end.
    """
    follow = partner.tolist()
    here = opening ^ 1
    path: list[int] = []
    while True:
        path.append(here)
        here = follow[here ^ 1]
        if here == opening ^ 1:
            return np.array(path, np.int64)
