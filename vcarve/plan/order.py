"""Shorter rapids: the order, the direction and the entry of passes, improved by one kind of move.

A move takes a run of passes out and puts it in between two others, or back in its place, either way round; a closed pass on
its own is entered at any of its vertices.  Runs of up to ``RUN`` passes go next to near ones (or-opt), runs as far as a
near pass are turned round in place (2-opt).  After the first round only passes beside what has moved are looked at again,
so the work grows about in step with their number (Bentley, "Fast algorithms for geometric traveling salesman problems",
1992).  The number of lifts never changes.

Glossary
door   a vertex by which a pass is entered or left: both ends of an open one, every vertex of a closed one
place  in the order: 0 is where the bit waits, n + 1 nowhere; gap k is between places k and k + 1
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from vcarve.plan.walks import Walk
from vcarve.plan.web import Rates, Start, Web
from vcarve.plane.arrays import Floats, Ints

NEIGHBOURS = 16  # doors; with 12 rapids of seven loose patterns are longer by 0.2 %, with 8 by more than 1 %
RUN = 3  # passes at most that are moved together
LEAST_S = 1e-7


def improve(
    web: Web, rates: Rates, node: Ints, passes: list[Walk], start_mm: Start, saved_s: Floats
) -> list[Walk]:
    """Return the same passes with rapids, plunges and retracts that take no longer in total.

    ``node`` (K, 2) has the nodes between which steps run, ``saved_s`` (V,) what entering at each vertex saves besides.  Where
    lines slope, a pass that begins at the surface and ends deep saves the plunge.
    """
    route = _Route(web, rates, node, passes, start_mm, saved_s)
    todo = list(range(len(passes)))
    while todo:
        todo = sorted(set().union(*map(route.better, todo)))
    return route.passes()


def _doors(web: Web, rates: Rates, node: Ints, walk: Walk) -> tuple[Ints, Floats]:
    """Return the doors of a pass, that where it begins first, and the seconds it goes down and up if entered by each."""
    row, side = walk.step >> 1, walk.step & 1
    begin, end = web.depth_mm[node[row, side]], web.depth_mm[node[row, 1 - side]]
    if walk.at[0] == walk.at[-1]:
        where = np.sort(np.unique(walk.at[:-1], return_index=True)[1])
        return walk.at[where], rates.lift_s(np.minimum(begin, np.roll(end, 1))[where])
    drop = begin[1:] - end[:-1]
    down = rates.hop_mm + begin[0] + np.maximum(drop, 0.0).sum()
    up = rates.hop_mm + end[-1] + np.maximum(-drop, 0.0).sum()
    return walk.at[[0, -1]], rates.down_s(np.array([down, up])) + rates.up_s(np.array([up, down]))


class _Route:
    """Passes in order: ``stop`` (n + 2, 2) has the doors by which the one at each place is entered and left."""

    def __init__(
        self, web: Web, rates: Rates, node: Ints, passes: list[Walk], start_mm: Start, saved_s: Floats
    ) -> None:
        n, self._passes = len(passes), passes
        doors, own = zip(*(_doors(web, rates, node, each) for each in passes), strict=True)
        size = [len(each) for each in doors]
        self._first = np.append(0, np.cumsum(size))  # door of each pass
        self._closed = np.array([each.at[0] == each.at[-1] for each in passes])
        self._vertex = np.concatenate(doors)
        self._own_s = np.append(np.concatenate(own) - saved_s[self._vertex], [0.0, 0.0])
        where, nowhere = len(self._vertex), len(self._vertex) + 1
        self._of = np.append(np.repeat(np.arange(n), size), [n, n + 1])  # pass of each door
        # in seconds, so that a rapid is the larger of the two differences
        xy = np.concatenate([web.xy_mm[self._vertex], [start_mm, (np.nan, np.nan)]]) / rates.rapid[:2]
        self._at = xy[:, 0] + 1j * xy[:, 1]
        found = cKDTree(xy[:nowhere]).query(xy[:where], k=min(NEIGHBOURS, nowhere), p=np.inf)[1]
        self._near = self._of[found]  # passes near each door, (W, NEIGHBOURS)
        begin, end = self._first[:-1], np.where(self._closed, self._first[:-1], self._first[1:] - 1)
        self._stop = np.concatenate([[[where, where]], np.column_stack([begin, end]), [[nowhere, nowhere]]])
        self._place = np.append(np.arange(1, n + 1), [0, n + 1])
        self._uneven = bool(web.slopes.any() or saved_s.any())
        self._turn_s = np.zeros(n + 2)  # what turning all passes up to each place would save besides rapids
        self._set(0, self._stop)

    def passes(self) -> list[Walk]:
        """Return them in their order, begun where they are entered."""
        result = []
        for door in self._stop[1:-1, 0].tolist():
            index, vertex = int(self._of[door]), int(self._vertex[door])
            each = self._passes[index]
            way = each if door == self._first[index] else each.back()
            result.append(each.begun_at(vertex) if self._closed[index] else way)
        return result

    def better(self, index: int) -> set[int]:
        """Make the best move of a pass; return the passes beside what has changed, none where nothing is to be gained."""
        moves = self._moves(index)
        p, q, k, head, tail = moves
        enter, leave = self._stop.T
        right = enter[np.where(k == p - 1, q, k) + 1]
        leap = self._at.take([leave[p - 1], leave[q], leave[k], leave[p - 1], leave[k], tail])
        leap -= self._at.take([enter[p], enter[q + 1], right, enter[q + 1], head, right])
        rapid = np.fmax(np.fmax(np.abs(leap.real), np.abs(leap.imag)), 0.0)  # none to or from nowhere
        saved = rapid[:3].sum(axis=0) - rapid[3:].sum(axis=0)
        turned = (head != enter[p]) * (self._turn_s[q] - self._turn_s[p - 1])
        saved += np.where(p == q, self._own_s[enter[p]] - self._own_s[head], turned)
        best = int(saved.argmax())
        return self._make(*moves[:, best].tolist()) if saved[best] > LEAST_S else set()

    def _moves(self, index: int) -> Ints:
        """Return moves to try (5, M): first and last place of the run, the gap it goes into, its first and last door there."""
        n, p, (enter, leave) = len(self._passes), int(self._place[index]), self._stop.T
        near = np.unique(np.append(self._place[self._near[self._stop[p]]], p))
        gap, low, high = np.unique([near - 1, near]), np.minimum(p, near), np.maximum(p, near)
        first = np.concatenate([np.full(RUN * len(gap), p), low, low + 1])
        last = np.concatenate([np.repeat(np.arange(p, p + RUN), len(gap)), high - 1, high])
        into = np.concatenate([*[gap] * RUN, low - 1, low])
        fits = (first > 0) & (first <= last) & (last <= n) & (into >= 0) & ((into < first) | (into > last))
        run = np.stack([first, last, into])[:, fits]
        head, tail = enter[run[0]], leave[run[1]]
        moves = [np.vstack([run, head, tail]), np.vstack([run, tail, head])]
        if self._closed[index]:
            doors = slice(*self._first[index : index + 2].tolist())
            near = self._place[self._near[doors]]
            gap = np.concatenate([near - 1, near], axis=1)
            row, column = np.nonzero((gap >= 0) & (gap != p))
            here, door = np.full(len(row), p), doors.start + row
            moves.append(np.stack([here, here, gap[row, column], door, door]))
        return np.concatenate(moves, axis=1)

    def _make(self, p: int, q: int, k: int, head: int, tail: int) -> set[int]:
        """Take the run from place p to q into gap k."""
        low, high = min(p, k + 1), max(q, k) + 1
        beside = self._of[self._stop[[p - 1, p, q, q + 1, k, k + 1], 0]]
        run = self._stop[p : q + 1]
        if p == q:
            run = np.array([[head, tail]])
        elif head != run[0, 0]:
            run = run[::-1, ::-1]
        parts = [self._stop[low:p], self._stop[q + 1 : high]]
        parts.insert(0 if k < p else 2, run)
        self._set(low, np.concatenate(parts))
        return set(beside[beside < len(self._passes)].tolist())

    def _set(self, low: int, part: Ints) -> None:
        self._stop[low : low + len(part)] = part
        self._place[self._of[part[:, 0]]] = np.arange(low, low + len(part))
        if self._uneven:
            self._turn_s = np.cumsum(self._own_s[self._stop] @ [1.0, -1.0])
