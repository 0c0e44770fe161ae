"""What a pairing leaves open: lifts between vertices that were only tied to the end, and where loops are entered and left."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from vcarve.plan.costs import Rates
from vcarve.plan.web import Web
from vcarve.plane.arrays import Bools, Floats, Ints


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
