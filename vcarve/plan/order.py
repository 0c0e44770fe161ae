"""Shorter rapids: the order, the direction and the entry of passes, improved by local exchanges.

2-opt turns a run of passes round, or-opt moves up to three passes elsewhere, either way round; closed passes are entered
where the lifts before and after are shortest.  Only near neighbours are tried, and runs longer than ``LONGEST`` are not
turned round, so the work grows about in step with the passes (Bentley, "Fast algorithms for geometric traveling salesman
problems", 1992).  The number of lifts never changes.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from vcarve.plan.costs import Rates
from vcarve.plan.timing import ends_of
from vcarve.plan.tour import Tour
from vcarve.plan.web import Web
from vcarve.plane.arrays import Floats, Ints

NEIGHBOURS = 10
LONGEST = 1000
SWEEPS = ((5_000, 8), (30_000, 3))  # passes up to which so many sweeps are made; one beyond
LARGEST = 64  # vertices of a closed pass that may be entered elsewhere while it is moved
LEAST = 1e-7


def improve(web: Web, rates: Rates, base: Tour, start_mm: tuple[float, float]) -> Tour:
    """Return the same passes with rapids that are no longer in total."""
    count = len(base.pass_start) - 1
    if count < 2:
        return base
    begin, end = ends_of(web, base)
    first, last = base.pass_start[:-1], base.pass_start[1:] - 1
    scale = np.array([1.0 / rates.rapid[0], 1.0 / rates.rapid[1]])
    xy = web.xy_mm * scale  # in seconds, so that a rapid is the larger of the two differences
    entry = begin[first].copy()
    leave = end[last].copy()
    closed = np.flatnonzero(entry == leave)
    route = _Route(xy[entry], xy[leave], np.asarray(start_mm) * scale)
    sweeps = next((n for limit, n in SWEEPS if count <= limit), 1)
    for sweep in range(sweeps):
        gained = route.sweep(two_opt=True)
        gained += route.sweep(two_opt=False) if sweeps > 1 else 0.0
        gained += _enter(route, closed, xy, begin, base.pass_start, entry)
        gained += 0.0 if sweeps == 1 else _resettle(route, closed, xy, begin, base.pass_start, entry)
        if gained < LEAST * (1 + sweep):
            break
    return _rebuild(base, route, begin, entry, closed)


def turned(web: Web, rates: Rates, base: Tour, start_mm: tuple[float, float]) -> Tour:
    """Return the same passes in the same order, each walked the way round that makes plunges and rapids quickest together.

    Where lines slope that matters: a pass that begins at the surface and ends deep saves the plunge.
    """
    first, last = base.pass_start[:-1], base.pass_start[1:] - 1
    depth, xy = web.cuts.depth_mm, web.xy_mm[web.spot]
    ends = np.stack([base.begin[first], base.end[last]])
    inside = np.ones(len(base.edge), bool)
    inside[first] = False
    later = np.flatnonzero(inside)
    which = np.repeat(np.arange(len(first)), np.diff(base.pass_start))
    deeper = depth[base.begin[later]] - depth[base.end[later - 1]]
    sunk, risen = (
        np.bincount(which[later], np.maximum(sign * deeper, 0.0), minlength=len(first))
        for sign in (1.0, -1.0)
    )
    high = rates.hop_mm + depth[ends]
    way = [
        rates.down_s(high[0] + sunk) + rates.up_s(high[1] + risen),
        rates.down_s(high[1] + risen) + rates.up_s(high[0] + sunk),
    ]
    spent, chosen = np.array([0.0, 0.0]), []
    here = np.array([start_mm, start_mm])
    for k in range(len(first)):
        begin = xy[ends[:, k]]
        leap = begin[None, :] - here[:, None]  # from each end of the pass before to each of this one
        total = spent[:, None] + rates.rapid_s(leap[..., 0], leap[..., 1]) + np.array([way[0][k], way[1][k]])
        chosen.append(total.argmin(axis=0))
        spent, here = total.min(axis=0), begin[::-1]
    back = np.zeros(len(first), bool)
    pick = int(spent.argmin())
    for k in range(len(first) - 1, -1, -1):
        back[k], pick = bool(pick), int(chosen[k][pick])
    flip = back[which]
    at = np.arange(len(flip))
    at = np.where(flip, first[which] + last[which] - at, at)
    return replace(
        base,
        edge=base.edge[at],
        back=np.where(flip, 1 - base.back[at], base.back[at]),
        begin=np.where(flip, base.end[at], base.begin[at]),
        end=np.where(flip, base.begin[at], base.end[at]),
    )


class _Route:
    """The passes in order; columns of plain floats, since single look-ups dominate."""

    def __init__(self, a: Floats, b: Floats, start: Floats) -> None:
        n = len(a)
        self.n = n
        # pass n is where the bit waits: never moved
        self.a = [*map(tuple, a.tolist()), tuple(start.tolist())]
        self.b = [*map(tuple, b.tolist()), tuple(start.tolist())]
        self.turned = [False] * (n + 1)
        self.order = [n, *range(n)]
        self.place = [*range(1, n + 1), 0]

    def sweep(self, *, two_opt: bool) -> float:
        """Make one round over all passes; return the seconds gained."""
        a = np.array(self.a)
        b = np.array(self.b)
        points = np.concatenate([a, b])
        near = min(NEIGHBOURS, len(points))
        _, found = cKDTree(points).query(points, k=near, p=np.inf)
        size = self.n + 1
        lists = np.asarray(found).reshape(len(points), near)
        lists = np.concatenate([lists[:size], lists[size:]], axis=1) % size
        gained = 0.0
        for index, row in enumerate(lists.tolist()):
            others = list(dict.fromkeys(row))
            if two_opt:
                gained += self._turn(index, others)
            elif index < self.n:
                gained += self._move(index, others)
        return gained

    def gap(self, p: int, q: int) -> float:
        """Return rapid from the pass at place p to the one at place q; nothing after the last."""
        if q > self.n:
            return 0.0
        x, y = self.b[self.order[p]], self.a[self.order[q]]
        return float(max(abs(x[0] - y[0]), abs(x[1] - y[1])))

    def _turn(self, index: int, others: list[int]) -> float:
        """Turn round the run between this pass and a near one, whichever comes first."""
        total = 0.0
        for other in others:
            i, j = self.place[index], self.place[other]
            if i == j:
                continue
            low, high = min(i, j), max(i, j)
            # the pass at ``low`` meets the one at ``high`` by their ends, or those after them by their beginnings
            for p, q in ((low, high), (low - 1, high - 1)):
                if p < 0 or q <= p or q - p > LONGEST:
                    continue
                before = self.gap(p, p + 1) + self.gap(q, q + 1)
                u, v = self.b[self.order[p]], self.b[self.order[q]]
                after = max(abs(u[0] - v[0]), abs(u[1] - v[1]))
                if q < self.n:
                    u, v = self.a[self.order[p + 1]], self.a[self.order[q + 1]]
                    after += max(abs(u[0] - v[0]), abs(u[1] - v[1]))
                if after < before - LEAST:
                    self._reverse(p + 1, q)
                    total += before - after
                    break
        return total

    def _reverse(self, p: int, q: int) -> None:
        run = self.order[p : q + 1][::-1]
        self.order[p : q + 1] = run
        for k, index in enumerate(run, p):
            self.place[index] = k
            self.a[index], self.b[index] = self.b[index], self.a[index]
            self.turned[index] = not self.turned[index]

    def _move(self, index: int, others: list[int]) -> float:
        """Move a run of up to three passes beginning here next to a near pass."""
        for length in (1, 2, 3):
            p = self.place[index]
            q = p + length - 1
            if p < 1 or q > self.n:
                return 0.0
            free = self.gap(p - 1, p) + self.gap(q, q + 1)
            if q < self.n:
                free -= self.gap(p - 1, q + 1)
            if free < LEAST:
                continue
            head, tail = self.a[self.order[p]], self.b[self.order[q]]
            for other in others:
                for k in (self.place[other], self.place[other] - 1):  # between k and k + 1
                    if k < 0 or p - 1 <= k <= q or abs(k - p) > LONGEST:
                        continue
                    u = self.b[self.order[k]]
                    straight = max(abs(u[0] - head[0]), abs(u[1] - head[1]))
                    turned = max(abs(u[0] - tail[0]), abs(u[1] - tail[1]))
                    if k < self.n:
                        v = self.a[self.order[k + 1]]
                        straight += max(abs(v[0] - tail[0]), abs(v[1] - tail[1])) - self.gap(k, k + 1)
                        turned += max(abs(v[0] - head[0]), abs(v[1] - head[1])) - self.gap(k, k + 1)
                    if min(straight, turned) < free - LEAST:
                        self.shift(p, q, k, turned < straight)
                        return float(free - min(straight, turned))
        return 0.0

    def shift(self, p: int, q: int, k: int, turn: bool) -> None:
        run = self.order[p : q + 1]
        if turn:
            run.reverse()
            for index in run:
                self.a[index], self.b[index] = self.b[index], self.a[index]
                self.turned[index] = not self.turned[index]
        if k > q:
            low, part = p, self.order[q + 1 : k + 1] + run
        else:
            low, part = k + 1, run + self.order[k + 1 : p]
        self.order[low : low + len(part)] = part
        for place, index in enumerate(part, low):
            self.place[index] = place


def _enter(route: _Route, closed: Ints, xy: Floats, begin: Ints, pass_start: Ints, entry: Ints) -> float:
    """Enter every closed pass at its vertex nearest to the passes before and after; seconds gained."""
    gained = 0.0
    for index in closed.tolist():
        place = route.place[index]
        choice = begin[pass_start[index] : pass_start[index + 1]]
        came = np.array(route.b[route.order[place - 1]])
        total = np.abs(xy[choice] - came).max(axis=1)
        if place < route.n:
            total = total + np.abs(xy[choice] - np.array(route.a[route.order[place + 1]])).max(axis=1)
        pick = int(np.argmin(total))
        now = total[np.flatnonzero(choice == entry[index])[0]]
        if total[pick] < now - LEAST:
            gained += float(now - total[pick])
            entry[index] = choice[pick]
            point = (float(xy[choice[pick], 0]), float(xy[choice[pick], 1]))
            route.a[index] = route.b[index] = point
    return gained


def _resettle(route: _Route, closed: Ints, xy: Floats, begin: Ints, pass_start: Ints, entry: Ints) -> float:
    """Move single closed passes next to any pass near one of their vertices, entered at whichever is best."""
    points = np.concatenate([np.array(route.a), np.array(route.b)])
    size = route.n + 1
    near = min(NEIGHBOURS, len(points))
    fits = np.diff(pass_start)[closed] <= LARGEST
    closed = closed[fits]
    if not len(closed):
        return 0.0
    stops = np.cumsum(np.diff(pass_start)[closed])
    every = np.concatenate(
        [np.zeros(0, np.int64), *(np.arange(pass_start[c], pass_start[c + 1]) for c in closed)]
    )
    found = (
        cKDTree(points).query(xy[begin[every.astype(np.int64)]], k=near, p=np.inf)[1].reshape(-1, near) % size
    )
    gained = 0.0
    for index, rows in zip(closed.tolist(), np.split(found, stops[:-1]), strict=True):
        p = route.place[index]
        free = route.gap(p - 1, p) + route.gap(p, p + 1)
        if free < LEAST:
            continue
        if p < route.n:
            free -= route.gap(p - 1, p + 1)
        choice = begin[pass_start[index] : pass_start[index + 1]]
        here = xy[choice]
        places = [route.place[other] for other in set(rows.ravel().tolist())]
        k = np.array(
            sorted(
                q
                for q in {*places, *(place - 1 for place in places)}
                if q >= 0 and q != p and q != p - 1 and abs(q - p) <= LONGEST
            ),
            np.int64,
        )
        if free < LEAST or not len(k):
            continue
        before = np.array([route.b[route.order[i]] for i in k.tolist()])
        after = np.array([route.a[route.order[min(i + 1, route.n)]] for i in k.tolist()])
        goes_on = k < route.n
        now = np.where(goes_on, np.abs(before - after).max(axis=1), 0.0)
        total = np.abs(here[None] - before[:, None]).max(axis=2)
        total += np.where(goes_on[:, None], np.abs(here[None] - after[:, None]).max(axis=2), 0.0)
        total -= now[:, None]
        best = int(np.argmin(total))
        row, column = divmod(best, len(choice))
        if total[row, column] < free - LEAST:
            gained += free - float(total[row, column])
            entry[index] = choice[column]
            point = (float(here[column, 0]), float(here[column, 1]))
            route.a[index] = route.b[index] = point
            route.shift(p, p, int(k[row]), False)
    return gained


def _rebuild(base: Tour, route: _Route, begin: Ints, entry: Ints, closed: Ints) -> Tour:
    loop = np.zeros(route.n, bool)
    loop[closed] = True
    steps: list[Ints] = []
    flips: list[Ints] = []
    for index in route.order[1:]:
        low, high = int(base.pass_start[index]), int(base.pass_start[index + 1])
        run = np.arange(low, high)
        if loop[index] and entry[index] != begin[low]:
            run = np.roll(run, -int(np.flatnonzero(begin[low:high] == entry[index])[0]))
        elif route.turned[index] and not loop[index]:
            run = run[::-1]
            flips.append(run)
        steps.append(run)
    turned = np.zeros(len(base.edge), bool)
    if flips:
        turned[np.concatenate(flips)] = True
    order = np.concatenate(steps)
    size = np.array([len(s) for s in steps])
    return replace(
        base,
        edge=base.edge[order],
        back=np.where(turned, 1 - base.back, base.back)[order],
        begin=np.where(turned, base.end, base.begin)[order],
        end=np.where(turned, base.begin, base.end)[order],
        pass_start=np.concatenate([[0], np.cumsum(size)]).astype(np.int64),
    )
