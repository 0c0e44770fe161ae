"""Join tours that the pairing left apart: exchange the ends of two lifts, or lead a lift through a tour that has none.

Glossary
group   what cutting, recuts and lifts hold together; each group is a closed tour of its own
link    a lift, or the opening (index 0): the leap from the program's last vertex back to its first

Exchanging the ends of two links of different groups makes one tour of two and changes the rapids only.  Each round
takes the cheapest exchanges that form a forest over the groups (Kruskal, as in the patching of assignment tours: Karp,
"A patching algorithm for the nonsymmetric traveling-salesman problem", 1979) and touches no link twice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from vcarve.plan.costs import Rates
from vcarve.plan.web import Web
from vcarve.plane.arrays import Bools, Floats, Ints, connected

NEIGHBOURS = 10


@dataclass(frozen=True, slots=True)
class _Offer:
    """Candidate exchanges: link i with link j (or vertex ``at`` led into link i where j is -1), option, extra seconds."""

    i: Ints
    j: Ints
    at: Ints
    option: Ints
    extra: Floats
    group_a: Ints
    group_b: Ints


def join(web: Web, rates: Rates, links: Ints, start_mm: tuple[float, float]) -> Ints:
    """Return links (J, 2) changed so that everything is one tour; link 0 is (last vertex, first vertex)."""
    links = links.copy()
    size = len(web.xy_mm)
    near = NEIGHBOURS
    while True:
        row = np.concatenate([web.u, links[:, 0]])
        column = np.concatenate([web.v, links[:, 1]])
        count, group = connected(size, row, column)
        if count == 1:
            return links
        offers = _offers(web, rates, links, group, np.asarray(start_mm), near)
        # what has no link yet gets one; all else then joins it by exchanges, which cost no lift
        bare = np.where(offers.at >= 0, len(links) + offers.group_b, -1)
        took = forest(
            offers.group_a, offers.group_b, offers.extra, [offers.i, offers.j, bare], len(links) + count
        )
        if not took.any():
            near *= 3
            continue
        links = _take(links, offers, took)


def forest(a: Ints, b: Ints, extra: Floats, uses: list[Ints], slots: int) -> Bools:
    """Return which offers to take: a cheapest forest over groups ``a``, ``b`` in which no slot is used twice.

    Entries of ``uses`` below zero use nothing.  Deterministic: equal offers go by their order.
    """
    took = np.zeros(len(a), bool)
    if not len(a):
        return took
    order = np.argsort(extra, kind="stable")
    low, high = np.minimum(a, b)[order], np.maximum(a, b)[order]
    size = int(high.max()) + 1
    _, first = np.unique(low * size + high, return_index=True)
    order = order[np.sort(first)]
    parent = list(range(size))
    used = bytearray(slots)
    columns = [u[order].tolist() for u in uses]
    for place, (index, x, y) in enumerate(
        zip(order.tolist(), a[order].tolist(), b[order].tolist(), strict=True)
    ):
        while parent[x] != x:
            parent[x] = parent[parent[x]]
            x = parent[x]
        while parent[y] != y:
            parent[y] = parent[parent[y]]
            y = parent[y]
        if x == y:
            continue
        mine = [c[place] for c in columns if c[place] >= 0]
        if any(used[m] for m in mine):
            continue
        for m in mine:
            used[m] = 1
        parent[x] = y
        took[index] = True
    return took


def _offers(web: Web, rates: Rates, links: Ints, group: Ints, waiting: Floats, near: int) -> _Offer:
    xy = web.xy_mm

    def fly(p: Ints, q: Ints) -> Floats:
        d = xy[p] - xy[q]
        return rates.rapid_s(d[:, 0], d[:, 1])

    def price(link: Ints) -> Floats:
        away = xy[links[link, 1]] - waiting
        return np.where(link == 0, rates.rapid_s(away[:, 0], away[:, 1]), fly(links[link, 0], links[link, 1]))

    scaled = xy / np.array([rates.rapid[0], rates.rapid[1]])
    ends = links.ravel()  # end e belongs to link e // 2
    tree = cKDTree(scaled[ends])
    near = min(near, len(ends))
    linked = np.zeros(int(group.max()) + 1, bool)
    linked[group[ends]] = True
    parts: list[tuple[Ints, ...]] = []
    costs: list[Floats] = []
    _, found = tree.query(scaled[ends], k=near, p=np.inf)
    found = np.asarray(found, np.int64).reshape(len(ends), near)
    e = np.repeat(np.arange(len(ends)), near)
    f = found.ravel()
    keep = group[ends[e]] != group[ends[f]]
    e, f = e[keep], f[keep]
    swap = e // 2 > f // 2
    e, f = np.where(swap, f, e), np.where(swap, e, f)
    i, j = e // 2, f // 2
    old = price(i) + price(j)
    # ends e and f meet in a new lift; their partners make the other new link
    new = fly(ends[e], ends[f]) + fly(ends[e ^ 1], ends[f ^ 1])
    special = i == 0
    kept = xy[links[0, 1]][None, :] - waiting
    first = float(rates.rapid_s(kept[:, 0], kept[:, 1])[0])
    # the opening keeps its first vertex: only its last vertex (end 0) may meet f, and the end costs no rapid
    new = np.where(special, fly(ends[e], ends[f]) + first, new)
    good = ~special | (e == 0)
    parts.append((i[good], j[good], np.full(good.sum(), -1), ((e % 2) * 2 + f % 2)[good]))
    costs.append((new - old)[good])
    bare = np.flatnonzero(~linked[group])
    if len(bare):
        _, found = tree.query(scaled[bare], k=min(4, len(ends)), p=np.inf)
        nearest = np.asarray(found, np.int64).reshape(len(bare), -1)
        at, i = np.repeat(bare, nearest.shape[1]), nearest.ravel() // 2
        lift = rates.lift_s(web.top_depth_mm[at])
        extra = lift + fly(links[i, 0], at) + np.where(i == 0, 0.0, fly(at, links[i, 1]) - price(i))
        parts.append((i, np.full(len(i), -1), at, np.zeros(len(i), np.int64)))
        costs.append(extra)
    i, j, at, option = (np.concatenate([p[k] for p in parts]).astype(np.int64) for k in range(4))
    other = np.where(at >= 0, group[at], group[links[np.maximum(j, 0), 0]])
    return _Offer(i, j, at, option, np.concatenate(costs), group[links[i, 0]], other)


def _take(links: Ints, offers: _Offer, took: Bools) -> Ints:
    added: list[tuple[int, int]] = []
    for index in np.flatnonzero(took).tolist():
        i, j, at, option = (int(x[index]) for x in (offers.i, offers.j, offers.at, offers.option))
        p, q = int(links[i, 0]), int(links[i, 1])
        if at >= 0:
            links[i] = (at, q)  # for the opening: the program now ends here
            added.append((p, at))
            continue
        e, f = option // 2, option % 2
        meet = (int(links[i, e]), int(links[j, f]))
        rest = (int(links[j, 1 - f]), int(links[i, 1 - e]))
        links[i], links[j] = rest, meet
    return np.concatenate([links, np.array(added, np.int64).reshape(-1, 2)])
