"""T-joins with very many members of T: tile by tile.

Sparse blossom is quick until thousands of members find themselves in one web of equal prices.  A member left over where
all others are matched then searches the whole web for another such, and the time grows with the square of what it meets.
So the search is kept within tiles of some thousand members, twice over:

the bound   every edge across a seam becomes two ties to the hub, one from each of its ends, which share its price.  Any
            T-join, so cut up, is one of the graph so changed, at the same weight; hence the least weight there is never
            more than the true least.  Members meet half-way, but a member reaches a node outside T alone: hence the
            shares.
the join    every edge across the seams of other tiles is left as it is, in the join or not, and the rest is solved
            anew.  The first such pass makes a join out of the cut-up one, since the ties of its seams are left out; the
            next keeps whichever is cheaper.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from vcarve.plan.matching import NOISE, Marks, cheapest, match
from vcarve.plane.arrays import Bools, Floats, Ints, connected

BOUND_TILE = 2_000  # members of T in a tile
JOIN_TILES = (1_000, 700)  # the same in each pass; without ties at the seams the search is wider
JOIN_NOISE = 1e-3  # more than usual, since no bound is taken from a mended join


def tiled(a: Ints, b: Ints, price: Floats, marked: Marks, hub: int, place: Floats) -> tuple[Ints, float]:
    """Return indices of the edges in a cheap T-join, and a lower bound of the least weight; arguments as for ``match``.

    ``place`` (N, 2) is where each node lies, in any unit.
    """
    tile = tiles(place, marked, BOUND_TILE, shifted=False)
    flags, bound = _cut_up(a, b, price, marked, hub, tile)
    best = np.inf
    for index, most in enumerate(JOIN_TILES):
        tile = tiles(place, marked, most, shifted=index % 2 == 0)
        mended = _mend(a, b, price, marked, hub, tile, flags)
        weight = float(price[mended].sum())
        if weight < best:
            flags, best = mended, weight
    return np.flatnonzero(flags), bound


def tiles(place: Floats, marked: Marks, most: int, *, shifted: bool) -> Ints:
    """Return the tile of each node: columns, and rows within them, with about ``most`` members of T each.

    ``shifted`` moves the seams by half a tile.
    """
    member = marked == 1
    number = max(1, round(float(np.sqrt(member.sum() / most))))
    share = (np.arange(number + 1) - 0.5 * shifted) / number
    share = share[(share > 0.0) & (share < 1.0)]

    def rank(all_of: Floats, members: Floats) -> Ints:
        if not len(members):
            return np.zeros(len(all_of), np.int64)
        borders = np.sort(members)[(share * len(members)).astype(np.int64)]
        return np.searchsorted(borders, all_of, side="right").astype(np.int64)

    column = rank(place[:, 0], place[member, 0])
    result = column * (number + 1)
    by_column = np.argsort(column, kind="stable")
    ends = np.searchsorted(column[by_column], np.arange(number + 2))
    for low, high in pairwise(ends.tolist()):
        mine = by_column[low:high]
        result[mine] += rank(place[mine, 1], place[mine[member[mine]], 1])
    return result


def _crosses(a: Ints, b: Ints, tile: Ints, hub: int) -> Bools:
    return np.asarray((tile[a] != tile[b]) & (a != hub) & (b != hub))


def _cut_up(a: Ints, b: Ints, price: Floats, marked: Marks, hub: int, tile: Ints) -> tuple[Bools, float]:
    """Return the edges inside tiles in the cheapest cut-up join, shape (E,), and its weight."""
    cross = _crosses(a, b, tile, hub)
    inside, over = np.flatnonzero(~cross), np.flatnonzero(cross)
    here, there = marked[a[over]], marked[b[over]]
    share = np.where(here == there, 0.5, here.astype(float))
    hubs = np.full(2 * len(over), hub)
    node, other = np.concatenate([a[inside], a[over], b[over]]), np.concatenate([b[inside], hubs])
    cost = np.concatenate([price[inside], share * price[over], (1.0 - share) * price[over]])
    stands_for = np.concatenate([inside, np.full(2 * len(over), -1)])
    kept = cheapest(node, other, cost, len(marked))
    chosen, weight = match(node[kept], other[kept], cost[kept], marked, hub, NOISE, tile)
    edge = stands_for[kept[chosen]]
    flags = np.zeros(len(a), bool)
    flags[edge[edge >= 0]] = True
    return flags, weight


def _mend(a: Ints, b: Ints, price: Floats, marked: Marks, hub: int, tile: Ints, flags: Bools) -> Bools:
    """Return the cheapest T-join that has the same edges across seams as ``flags``, shape (E,).

    If ``flags`` is no join yet, a part of a tile that nothing ties to the hub may be left with an odd number of members;
    seams beside it are opened.
    """
    cross = _crosses(a, b, tile, hub)
    while True:
        fixed = flags & cross
        ends = np.bincount(np.concatenate([a[fixed], b[fixed]]), minlength=len(marked))
        lacking = (marked + ends) % 2
        inside = np.flatnonzero(~cross)
        part = connected(len(marked), a[inside], b[inside])[1]
        odd = np.bincount(part, weights=lacking) % 2 == 1
        odd[part[hub]] = False
        if not odd.any():
            break
        cross = cross & ~odd[part[a]] & ~odd[part[b]]
    over = inside[(a[inside] != hub) & (b[inside] != hub)]
    opened = connected(int(tile.max()) + 1, tile[a[over]], tile[b[over]])[1]
    chosen, _ = match(
        a[inside], b[inside], price[inside], lacking.astype(np.uint8), hub, JOIN_NOISE, opened[tile]
    )
    fixed[inside[chosen]] = True
    return fixed
