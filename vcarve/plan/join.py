"""Join tours that the pairing left apart: exchange the ends of two lifts, or lead a lift through a tour that has none.

Glossary
group   what cutting, recuts and lifts hold together; each group is a closed tour of its own
link    a lift, the first approach or the end of the program; a vertex without a lift is a link from itself to itself

Exchanging the ends of two links of different groups makes one tour of two and changes the rapids only; with a link from a
vertex to itself, one lift more.  Each round takes the cheapest exchanges that form a forest over the groups (as in the
patching of assignment tours: Karp, "A patching algorithm for the nonsymmetric traveling-salesman problem", 1979).
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from vcarve.plan.costs import Rates
from vcarve.plan.walks import forest
from vcarve.plan.web import Web
from vcarve.plane.arrays import Floats, Ints, connected

NEIGHBOURS = 10


def join(web: Web, rates: Rates, links: Ints, start_mm: tuple[float, float]) -> Ints:
    """Return links (J, 2) changed so that everything is one tour; link 0 is (last vertex, first vertex)."""
    size = len(web.xy_mm)
    xy = np.concatenate([web.xy_mm, [start_mm, start_mm]])
    waiting, nowhere = size, size + 1  # where the bit waits at first, and where it goes at the end
    links = np.concatenate([[[links[0, 0], nowhere], [waiting, links[0, 1]]], links[1:]])
    near = NEIGHBOURS

    def fly(a: Ints, b: Ints) -> Floats:
        away = xy[a] - xy[b]
        return np.where((a == nowhere) | (b == nowhere), 0.0, rates.rapid_s(away[:, 0], away[:, 1]))

    while True:
        tied = np.concatenate([[[waiting, nowhere]], np.column_stack([web.u, web.v]), links])
        count, group = connected(size + 2, *tied.T)
        if count == 1:
            break
        many = links.size
        bare = np.flatnonzero(~np.isin(group, group[links[:, 0]]))
        ends = np.append(links, np.repeat(bare, 2))  # end e is tied to end e ^ 1
        e = np.append(np.arange(many), np.arange(many, len(ends), 2))
        scaled = xy[ends] / rates.rapid[:2]
        near = min(near, many)
        found = cKDTree(scaled[:many]).query(scaled[e], k=near, p=np.inf)[1]
        e, f = np.repeat(e, near), np.asarray(found, np.int64).ravel()
        apart = group[ends[e]] != group[ends[f]]
        e, f = e[apart], f[apart]
        # ends e and f meet in a new link, and so do the ends that they were tied to
        p, q, r, s = ends[e], ends[f], ends[e ^ 1], ends[f ^ 1]
        lift_s = np.where(e < many, 0.0, rates.lift_s(web.top_depth_mm[np.where(e < many, 0, p)]))
        extra = fly(p, q) + fly(r, s) - fly(p, r) - fly(q, s) + lift_s
        # of a group without a lift only one vertex gets one; all else then joins it by exchanges, which cost none
        slot = np.where(e < many, e >> 1, many + group[p])
        took = forest(group[p], group[q], extra, slot, f >> 1)
        if not len(took):
            near *= 3
            continue
        tied = ends.reshape(-1, 2)
        tied[e[took] >> 1] = np.column_stack([r, s])[took]
        tied[f[took] >> 1] = np.column_stack([p, q])[took]
        links = tied[np.append(np.arange(many // 2), e[took][e[took] >= many] >> 1)]
    last, first = (links[(links == one).any(axis=1)].sum() - one for one in (nowhere, waiting))
    return np.concatenate([[[last, first]], links[(links < size).all(axis=1)]])
