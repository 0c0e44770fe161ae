"""Simple plans to compare with: cell by cell, and each edge once by nearest end.

Each is what a person would do by hand or with less thought; the same clock times them all.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from vcarve.cuts.model import Rings
from vcarve.plan.nest import Stacks
from vcarve.plan.tour import Tour
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


def cell_by_cell(web: Web, lines: Stacks, rings: Rings) -> list[Tour]:
    """Cut in each level the outline of every cell on its own, in the order of its ``rings``; then what belongs to no cell.

    ``rings`` walk each line by its last cut; what is at its full depth is walked there again.
    """
    line = np.empty(len(web.edge), np.int64)
    line[lines.last] = np.arange(len(lines.last))
    ring = np.repeat(np.arange(len(rings.start) - 1), np.diff(rings.start))
    spare = np.setdiff1d(np.arange(len(lines.last)), line[rings.half_edge // 2])
    mine = np.concatenate([line[rings.half_edge // 2], spare])
    back = np.concatenate([rings.half_edge % 2, np.zeros(len(spare), np.int64)])
    apart = np.concatenate([ring, len(rings.start) + np.arange(len(spare))])
    return [
        ordered(web, lines.cut[mine, np.minimum(level, lines.count[mine] - 1)], back, apart=apart)
        for level in range(lines.cut.shape[1])
    ]
