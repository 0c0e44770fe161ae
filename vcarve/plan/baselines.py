"""Simple plans to compare with: cell by cell, each edge once by nearest end, and fewest passes.

Each is what a person would do by hand or with less thought; the same clock times them all.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from vcarve.cuts.model import Rings
from vcarve.plan.costs import Rates
from vcarve.plan.join import join
from vcarve.plan.pairing import pair
from vcarve.plan.tour import Tour, tour
from vcarve.plan.web import Web
from vcarve.plane.arrays import Ints


def ordered(web: Web, edge: Ints, back: Ints, *, apart: Ints | None = None) -> Tour:
    """Return the edges of a web in this order, each at its depths; no lift where one begins where the last one ended.

    With ``apart`` (S,) there is a lift between edges for which it differs.
    """
    first = np.where(back == 0, web.u[edge], web.v[edge])
    last = np.where(back == 0, web.v[edge], web.u[edge])
    new = first[1:] != last[:-1]
    if apart is not None:
        new |= np.diff(apart) != 0
    tail, head = web.place[web.tail[edge]], web.place[web.head[edge]]
    return Tour(
        edge=web.edge[edge],
        back=back,
        begin=np.where(back == 0, tail, head),
        end=np.where(back == 0, head, tail),
        pass_start=np.concatenate([[0], np.flatnonzero(new) + 1, [len(edge)]]).astype(np.int64),
    )


def nearest_end(web: Web, start: tuple[float, float]) -> Tour:
    """Cut every edge once, always going on with the nearest end; no lift where the next edge begins where this one ended."""
    ends = np.concatenate([web.xy_mm[web.u], web.xy_mm[web.v]])
    n = len(web.u)
    left = np.ones(n, bool)
    order = np.empty(n, np.int64)
    back = np.zeros(n, np.int64)
    here = np.asarray(start, float)
    index = np.arange(2 * n)
    tree = cKDTree(ends)
    for place in range(n):
        near = 8
        while True:
            found = np.atleast_1d(tree.query(here, k=min(near, len(index)), p=2)[1])
            found = found[left[index[found] % n]]
            if len(found):
                break
            near *= 4
            if near > 2000:  # most of what is near has been visited: look at what is left only
                index = np.flatnonzero(np.concatenate([left, left]))
                tree, near = cKDTree(ends[index]), 8
        pick = int(index[found[0]])
        order[place], back[place] = pick % n, pick // n
        left[pick % n] = False
        here = ends[(pick + n) % (2 * n)]
    return ordered(web, order, back)


def fewest_passes(web: Web, rates: Rates, start: tuple[float, float]) -> Tour:
    """Return passes with no edge twice, the least lifts, then the shortest rapids."""
    found = pair(web, rates, recut=False, start_mm=start)
    links = join(web, rates, np.concatenate([[[found.end, found.start]], found.lift]), start)
    return tour(web, rates, found, links)


def cell_by_cell(web: Web, rings: Rings) -> Tour:
    """Cut the outline of every cell on its own, in the order of its ``rings``; then whatever belongs to no cell."""
    number = np.full(len(web.cuts.tail), -1, np.int64)
    number[web.edge] = np.arange(len(web.edge))
    edge, back = number[rings.half_edge // 2], rings.half_edge % 2
    ring = np.repeat(np.arange(len(rings.start) - 1), np.diff(rings.start))
    spare = np.setdiff1d(np.arange(len(web.edge)), edge)
    edge = np.concatenate([edge, spare])
    back = np.concatenate([back, np.zeros(len(spare), np.int64)])
    return ordered(web, edge, back, apart=np.concatenate([ring, len(rings.start) + np.arange(len(spare))]))
