"""At every vertex, which edge end leads on to which: the pairing of ends with the least time lost at corners.

Glossary
end         edge i of a multigraph has the ends 2 i (tail) and 2 i + 1 (head)
transition  two ends at one vertex that follow each other

Vertices with up to eight ends try every pairing at once.  Larger ones are solved once per kind (same directions, speeds
and depths): ends that go straight through are paired first, which is never worse when the loss grows with the turn and
obeys the triangle inequality; the rest greedily, then improved by exchanging partners until nothing gains.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from vcarve.plan.costs import Rates, corner_loss_s
from vcarve.plane.arrays import Bools, Floats, Ints

EMPTY_S = 1000.0  # a lift followed by a lift cuts nothing
CHUNK = 20_000


@dataclass(frozen=True, slots=True)
class Ends:
    """Shapes: H ends.  An end of a lift has no direction."""

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


@cache
def matchings(size: int) -> Ints:
    """Return every perfect pairing of ``size`` things, shape (pairings, size / 2, 2)."""

    def grow(left: tuple[int, ...]) -> list[list[tuple[int, int]]]:
        if not left:
            return [[]]
        return [
            [(left[0], left[k]), *rest]
            for k in range(1, len(left))
            for rest in grow(left[1:k] + left[k + 1 :])
        ]

    return np.array(grow(tuple(range(size))), np.int64)


def transitions(ends: Ends, rates: Rates) -> Ints:
    """Return the partner of every end, shape (H,), with the least loss at each vertex taken alone."""
    partner = np.empty(len(ends.vertex), np.int64)
    angle: Floats = np.arctan2(ends.away[:, 1], ends.away[:, 0]).round(6)
    order = np.lexsort((ends.depth_mm, angle, ends.lift, ends.vertex))
    start = np.flatnonzero(np.concatenate([[True], np.diff(ends.vertex[order]) > 0]))
    degree = np.diff(np.append(start, len(order)))
    for size in np.unique(degree).tolist():
        rows = order[start[degree == size][:, None] + np.arange(size)]
        if size == 2:
            partner[rows[:, 0]], partner[rows[:, 1]] = rows[:, 1], rows[:, 0]
        elif size <= 8:
            for at in range(0, len(rows), CHUNK):
                _try_all(rows[at : at + CHUNK], ends, rates, partner)
        else:
            _by_kind(rows, angle, ends, rates, partner)
    return partner


def _table(rows: Ints, ends: Ends, rates: Rates) -> Floats:
    size = rows.shape[1]
    i, j = np.triu_indices(size, 1)
    table = np.zeros((len(rows), size, size))
    loss = ends.loss_s(rows[:, i].ravel(), rows[:, j].ravel(), rates).reshape(len(rows), -1)
    table[:, i, j] = loss
    table[:, j, i] = loss
    return table


def _try_all(rows: Ints, ends: Ends, rates: Rates, partner: Ints) -> None:
    table = _table(rows, ends, rates)
    every = matchings(rows.shape[1])
    total = np.zeros((len(rows), len(every)))
    for k in range(every.shape[1]):
        total += table[:, every[:, k, 0], every[:, k, 1]]
    best = every[np.argmin(np.round(total, 9), axis=1)]
    here = np.arange(len(rows))
    for k in range(every.shape[1]):
        a, b = rows[here, best[:, k, 0]], rows[here, best[:, k, 1]]
        partner[a], partner[b] = b, a


def _by_kind(rows: Ints, angle: Floats, ends: Ends, rates: Rates, partner: Ints) -> None:
    sign = np.concatenate(
        [angle[rows], ends.speed[rows].round(6), ends.depth_mm[rows], ends.lift[rows].astype(float)], axis=1
    )
    _, kind_row, kind = np.unique(sign, axis=0, return_index=True, return_inverse=True)
    kind = kind.ravel()
    by_kind = np.argsort(kind, kind="stable")
    bounds = np.searchsorted(kind[by_kind], np.arange(len(kind_row) + 1))
    for k, row in enumerate(kind_row.tolist()):
        pairs = _one(_table(rows[row : row + 1], ends, rates)[0])
        mine = rows[by_kind[bounds[k] : bounds[k + 1]]]
        for a, b in pairs:
            partner[mine[:, a]], partner[mine[:, b]] = mine[:, b], mine[:, a]


def _one(table: Floats) -> list[tuple[int, int]]:
    """Return a pairing of least loss for one vertex."""
    size = len(table)
    i, j = np.triu_indices(size, 1)
    free = set(range(size))
    pairs: list[tuple[int, int]] = []
    for k in np.argsort(table[i, j], kind="stable").tolist():
        a, b = int(i[k]), int(j[k])
        if a in free and b in free:
            pairs.append((a, b))
            free -= {a, b}
    better = True
    while better:
        better = False
        for x in range(len(pairs)):
            for y in range(x + 1, len(pairs)):
                (a, b), (c, d) = pairs[x], pairs[y]
                now = table[a, b] + table[c, d]
                for p, q in (((a, c), (b, d)), ((a, d), (b, c))):
                    if table[p] + table[q] < now - 1e-9:
                        pairs[x], pairs[y], better = p, q, True
                        now = table[p] + table[q]
    return pairs
