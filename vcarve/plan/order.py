"""Shorter rapids: the order, the direction and the entry of passes, improved by local exchanges.

2-opt turns a run of passes round, or-opt moves up to three passes elsewhere, either way round; closed passes are entered
where the lifts before and after are shortest.  Only near neighbours are tried, and runs longer than ``LONGEST`` are not
turned round, so the work grows about in step with the passes (Bentley, "Fast algorithms for geometric traveling salesman
problems", 1992).  The number of lifts never changes.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from vcarve.plan.costs import Rates
from vcarve.plan.walks import Walk
from vcarve.plan.web import Web
from vcarve.plane.arrays import Floats, Ints

NEIGHBOURS = 10
LONGEST = 1000
SWEEPS = ((5_000, 8), (30_000, 3))  # passes up to which so many sweeps are made; one beyond
LARGEST = 64  # vertices of a closed pass that may be entered elsewhere while it is moved
LEAST = 1e-7


def improve(web: Web, rates: Rates, passes: list[Walk], start_mm: tuple[float, float]) -> list[Walk]:
    """Return the same passes with rapids that are no longer in total."""
    if len(passes) < 2:
        return passes
    scale = np.array([1.0 / rates.rapid[0], 1.0 / rates.rapid[1]])
    xy = web.xy_mm * scale  # in seconds, so that a rapid is the larger of the two differences
    entry = np.array([each.at[0] for each in passes])
    leave = np.array([each.at[-1] for each in passes])
    doors = {k: passes[k].at[:-1] for k in np.flatnonzero(entry == leave).tolist()}
    route = _Route(xy[entry], xy[leave], np.asarray(start_mm) * scale)
    sweeps = next((n for limit, n in SWEEPS if len(passes) <= limit), 1)
    for sweep in range(sweeps):
        gained = route.sweep(two_opt=True)
        gained += route.sweep(two_opt=False) if sweeps > 1 else 0.0
        gained += _enter(route, doors, xy, entry)
        gained += 0.0 if sweeps == 1 else _resettle(route, doors, xy, entry)
        if gained < LEAST * (1 + sweep):
            break
    return [
        passes[k].begun_at(int(entry[k]))
        if k in doors
        else passes[k].back()
        if route.turned[k]
        else passes[k]
        for k in route.order[1:]
    ]


def turned(
    web: Web, rates: Rates, node: Ints, passes: list[Walk], start_mm: tuple[float, float]
) -> list[Walk]:
    """Return the same passes in the same order, each walked the way round that makes plunges and rapids quickest together.

    Where lines slope that matters: a pass that begins at the surface and ends deep saves the plunge.  ``node`` (K, 2) has the
    nodes between which steps run.
    """
    depth = web.depth_mm[node]
    spent, here, chosen = np.zeros(2), np.array([start_mm, start_mm]), []
    for each in passes:
        begin, end = depth[each.step >> 1, each.step & 1], depth[each.step >> 1, 1 - (each.step & 1)]
        sunk = np.maximum(begin[1:] - end[:-1], 0.0).sum()
        risen = np.maximum(end[:-1] - begin[1:], 0.0).sum()
        high = rates.hop_mm + begin[0], rates.hop_mm + end[-1]
        way = [
            float(rates.down_s(high[0] + sunk) + rates.up_s(high[1] + risen)),
            float(rates.down_s(high[1] + risen) + rates.up_s(high[0] + sunk)),
        ]
        doors = web.xy_mm[each.at[[0, -1]]]
        leap = doors[None, :] - here[:, None]  # from each end of the pass before to each of this one
        total = spent[:, None] + rates.rapid_s(leap[..., 0], leap[..., 1]) + np.array(way)
        chosen.append(total.argmin(axis=0))
        spent, here = total.min(axis=0), doors[::-1]
    result: list[Walk] = []
    pick = int(spent.argmin())
    for each, before in zip(reversed(passes), reversed(chosen), strict=True):
        result.append(each.back() if pick else each)
        pick = int(before[pick])
    return result[::-1]


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


def _enter(route: _Route, doors: dict[int, Ints], xy: Floats, entry: Ints) -> float:
    """Enter every closed pass at its vertex nearest to the passes before and after; seconds gained."""
    gained = 0.0
    for index, choice in doors.items():
        place = route.place[index]
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


def _resettle(route: _Route, doors: dict[int, Ints], xy: Floats, entry: Ints) -> float:
    """Move single closed passes next to any pass near one of their vertices, entered at whichever is best."""
    points = np.concatenate([np.array(route.a), np.array(route.b)])
    size = route.n + 1
    near = min(NEIGHBOURS, len(points))
    small = {index: choice for index, choice in doors.items() if len(choice) <= LARGEST}
    if not small:
        return 0.0
    found = (
        cKDTree(points).query(xy[np.concatenate([*small.values()])], k=near, p=np.inf)[1].reshape(-1, near)
    )
    stops = np.cumsum([len(choice) for choice in small.values()])
    gained = 0.0
    for (index, choice), rows in zip(small.items(), np.split(found % size, stops[:-1]), strict=True):
        p = route.place[index]
        free = route.gap(p - 1, p) + route.gap(p, p + 1)
        if free < LEAST:
            continue
        if p < route.n:
            free -= route.gap(p - 1, p + 1)
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
