"""Loose loops: a first order of visits to thousands of them, and where each is entered and left.

Greedy edges (the cheapest links between near loops first) make pieces, the ends of pieces are linked the same way until
one is left, and dynamic programming along that order picks the vertex at which each loop is entered and left.
"""

from __future__ import annotations

import itertools

import numpy as np
from scipy.spatial import cKDTree

from vcarve.plan.costs import Rates
from vcarve.plan.web import Web
from vcarve.plane.arrays import Bools, Floats, Ints

ENTRIES = 24  # places a large loop may be entered at
NEAR = 6


def chain(scaled: Floats, component: Ints, even: Bools, lift: Ints, seconds: Floats) -> Ints:
    """Return lifts (loops, 2) that lead through every component of ``even`` and back to the first.

    ``scaled`` has a place per vertex in seconds of rapids; ``lift`` (n, 2) are near pairs of vertices with their time.
    """
    loops = np.flatnonzero(even)
    a, b = component[lift[:, 0]], component[lift[:, 1]]
    good = even[a] & even[b] & (a != b)
    number = np.cumsum(even) - 1
    size = np.maximum(np.bincount(component, minlength=len(even)), 1)
    middle = np.column_stack(
        [np.bincount(component, weights=scaled[:, k], minlength=len(even)) / size for k in (0, 1)]
    )
    order = visits(number[a[good]], number[b[good]], seconds[good], middle[loops])
    entry = entries(scaled, component, loops[order])
    return np.column_stack([entry, np.roll(entry, -1)])


def nearest_pairs(where: Floats, tied: Ints) -> Ints:
    """Pair an even number of vertices off, shape (n / 2, 2): mutually nearest ones first."""
    left = np.sort(tied)
    pairs: list[Ints] = [np.zeros((0, 2), np.int64)]
    while len(left):
        found = np.asarray(cKDTree(where[left]).query(where[left], k=2, p=np.inf)[1], np.int64)
        mine = np.arange(len(left))
        other = np.where(found[:, 0] == mine, found[:, 1], found[:, 0])
        lead = np.flatnonzero((other[other] == mine) & (mine < other))
        if not len(lead):  # a ring of equal distances
            lead = np.zeros(1, np.int64)
        pairs.append(np.column_stack([left[lead], left[other[lead]]]))
        left = np.delete(left, np.concatenate([lead, other[lead]]))
    return np.concatenate(pairs)


def visits(a: Ints, b: Ints, seconds: Floats, middle: Floats) -> Ints:
    """Return an order of ``len(middle)`` things: the cheapest links first, none twice at a third, no ring (greedy edges)."""
    count = len(middle)
    beside: list[list[int]] = [[] for _ in range(count)]
    top = list(range(count))

    def find(x: int) -> int:
        while top[x] != x:
            top[x] = top[top[x]]
            x = top[x]
        return x

    while True:
        order = np.lexsort((np.minimum(a, b), seconds.round(6)))
        joined = False
        for x, y in zip(a[order].tolist(), b[order].tolist(), strict=True):
            if len(beside[x]) > 1 or len(beside[y]) > 1:
                continue
            p, q = find(x), find(y)
            if p != q:
                top[p] = q
                beside[x].append(y)
                beside[y].append(x)
                joined = True
        ends = np.array([k for k in range(count) if len(beside[k]) < 2], np.int64)
        if len(ends) <= 2 and len({find(int(k)) for k in ends}) <= 1:
            break
        # the nearest ends of other pieces; more of them where every near one belongs to the same piece
        root = np.array([find(int(k)) for k in ends])
        near = min(NEAR if joined or not len(a) else 4 * NEAR, len(ends))
        near = len(ends) if len(ends) < 60 else near
        asked = cKDTree(middle[ends]).query(middle[ends], k=near, p=np.inf)
        distance, found = np.asarray(asked[0]), np.asarray(asked[1], np.int64)
        row = np.repeat(np.arange(len(ends)), near)
        column = found.ravel()
        apart = root[row] != root[column]
        a, b, seconds = ends[row[apart]], ends[column[apart]], distance.ravel()[apart]
        if not len(a):
            for x, y in zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True):
                if find(x) != find(y) and len(beside[x]) < 2 and len(beside[y]) < 2:
                    top[find(x)] = find(y)
                    beside[x].append(y)
                    beside[y].append(x)
    here, last, path = int(ends[0]) if len(ends) else 0, -1, []
    for _ in range(count):
        path.append(here)
        here, last = next((k for k in beside[here] if k != last), -1), here
    return np.array(path, np.int64)


def entries(scaled: Floats, component: Ints, order: Ints) -> Ints:
    """Return the vertex at which each component is entered and left, the best for this order (dynamic programming)."""
    member = np.argsort(component, kind="stable")
    offset = np.searchsorted(component[member], np.arange(int(component.max()) + 2))
    choices = []
    for c in order.tolist():
        mine = member[offset[c] : offset[c + 1]]
        choices.append(mine if len(mine) <= ENTRIES else mine[:: -(-len(mine) // ENTRIES)])
    spent: Floats = np.zeros(len(choices[0]))
    back: list[Ints] = []
    for before, here in itertools.pairwise(choices):
        leap = np.abs(scaled[before][:, None] - scaled[here][None]).max(axis=2) + spent[:, None]
        pick = leap.argmin(axis=0)
        back.append(pick)
        spent = leap[pick, np.arange(len(here))]
    at = int(spent.argmin())
    result = [int(choices[-1][at])]
    for mine, pick in zip(reversed(choices[:-1]), reversed(back), strict=True):
        at = int(pick[at])
        result.append(int(mine[at]))
    return np.array(result[::-1], np.int64)


def settle(
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
