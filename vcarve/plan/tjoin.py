"""Minimum-weight T-joins, by PyMatching's sparse blossom; tile by tile where T has very many members.

PyMatching takes whole weights; they are rounded down, so the weight found is never above the true least.

One node, the hub, may have an edge to any other.  It is PyMatching's boundary, whose number of ends is left open: in a
T-join the ends at one node follow from all the others.  As a node like any other it would, once reached, be next to
everything at once, and the search would take minutes.

Sparse blossom is quick until thousands of members find themselves in one web of equal prices.  A member left over where
all others are matched then searches the whole web for another such, and the time grows with the square of what it meets.
So prices are made a little unequal, and the search is kept within tiles of some thousand members, twice over:

the bound   every edge across a seam becomes two ties to the hub, one from each of its ends, which share its price.  Any
            T-join, so cut up, is one of the graph so changed, at the same weight; hence the least weight there is never
            more than the true least.  Members meet half-way, but a member reaches a node outside T alone: hence the
            shares.
the join    every edge across the seams of other tiles is left as it is, in the join or not, and the rest is solved
            anew.  The first such pass makes a join out of the cut-up one, since the ties of its seams are left out; the
            next keeps whichever is cheaper.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pymatching
from scipy.sparse import csc_matrix

from vcarve.plane.arrays import Bools, Floats, Ints, connected

Marks = npt.NDArray[np.uint8]  # one per node, 1 for a member of T
STEPS = 1 << 22  # the largest whole weight
NOISE = 1e-4  # largest share taken off a price at random; it lowers a bound by half as much
WHOLE = 4_000  # more members of T are matched tile by tile
BOUND_TILE = 2_000  # members of T in a tile
JOIN_TILE = 1_000  # the same for the join; without ties at the seams the search is wider


@dataclass(frozen=True, slots=True, kw_only=True)
class Graph:
    """Shapes: E edges, N nodes.  No two edges join the same nodes, and they are in the order of ``cheapest``."""

    a: Ints  # (E,)
    b: Ints  # (E,)
    marked: Marks  # (N,) whether the hub is a member follows from the rest: 0
    hub: int
    place: Floats  # (N, 2) where each node lies, in any unit

    def solve(self, price: Floats) -> tuple[Ints, float]:
        """Return indices of the edges in the cheapest T-join, and a lower bound of its weight, in the unit of ``price`` (E,).

        Beyond ``WHOLE`` members of T the join is a cheap one, and the bound is a little lower still.
        """
        if self.marked.sum() <= WHOLE:
            return match(self.a, self.b, price, self.marked, self.hub)
        flags, bound = self._cut_up(price, self._tiles(BOUND_TILE))
        first = self._mend(price, self._tiles(JOIN_TILE, shifted=True), flags)
        second = self._mend(price, self._tiles(JOIN_TILE), first)
        return np.flatnonzero(min(first, second, key=lambda each: float(price[each].sum()))), bound

    def _tiles(self, most: int, *, shifted: bool = False) -> Ints:
        """Return the tile of each node: columns, and rows within them, with about ``most`` members of T each.

        ``shifted`` moves the seams by half a tile.
        """
        number = max(1, round(float(np.sqrt(self.marked.sum() / most))))
        share = (np.arange(0 if shifted else 1, number) + 0.5 * shifted) / number

        def rank(all_of: Floats, member: Bools) -> Ints:
            borders = np.quantile(all_of[member], share) if member.any() else share[:0]
            return np.searchsorted(borders, all_of, side="right").astype(np.int64)

        member = self.marked == 1
        column = rank(self.place[:, 0], member)
        tile = column * (number + 1)
        for each in range(number + 1):
            mine = column == each
            tile[mine] += rank(self.place[mine, 1], member[mine])
        return tile

    def _crosses(self, tile: Ints) -> Bools:
        a, b = self.a, self.b
        return np.asarray((tile[a] != tile[b]) & (a != self.hub) & (b != self.hub))

    def _cut_up(self, price: Floats, tile: Ints) -> tuple[Bools, float]:
        """Return the edges inside tiles in the cheapest cut-up join, shape (E,), and its weight."""
        a, b, marked = self.a, self.b, self.marked
        cross = self._crosses(tile)
        inside, over = np.flatnonzero(~cross), np.flatnonzero(cross)
        here, there = marked[a[over]], marked[b[over]]
        share = np.where(here == there, 0.5, here.astype(float))
        node = np.concatenate([a[inside], a[over], b[over]])
        other = np.concatenate([b[inside], np.full(2 * len(over), self.hub)])
        cost = np.concatenate([price[inside], share * price[over], (1.0 - share) * price[over]])
        stands_for = np.concatenate([inside, np.full(2 * len(over), -1)])
        kept = cheapest(node, other, cost, len(marked))
        chosen, weight = match(node[kept], other[kept], cost[kept], marked, self.hub, tile)
        edge = stands_for[kept[chosen]]
        flags = np.zeros(len(a), bool)
        flags[edge[edge >= 0]] = True
        return flags, weight

    def _mend(self, price: Floats, tile: Ints, flags: Bools) -> Bools:
        """Return the cheapest T-join that has the same edges across seams as ``flags``, shape (E,).

        If ``flags`` is no join yet, a part of a tile that nothing ties to the hub may be left with an odd number of members;
        seams beside it are opened.
        """
        a, b, marked, hub = self.a, self.b, self.marked, self.hub
        cross = self._crosses(tile)
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
        chosen, _ = match(a[inside], b[inside], price[inside], lacking.astype(np.uint8), hub, opened[tile])
        fixed[inside[chosen]] = True
        return fixed


def cheapest(a: Ints, b: Ints, price: Floats, size: int) -> Ints:
    """Return indices of one edge for every two nodes joined, the cheapest, in the order ``match`` wants; none from a node to
    itself.  ``size`` is the number of nodes."""
    key = np.minimum(a, b) * size + np.maximum(a, b)
    order = np.lexsort((price, key))
    keep = order[np.diff(key[order], prepend=-1) > 0]
    return np.asarray(keep[a[keep] != b[keep]], np.int64)


def match(
    a: Ints, b: Ints, price: Floats, marked: Marks, hub: int, part: Ints | None = None
) -> tuple[Ints, float]:
    """Return indices of the edges in the cheapest T-join, and a lower bound of its weight; arguments as for ``Graph``.

    Where no edge but to the hub leads from one ``part`` of the nodes (N,) to another, each is matched by itself, which takes
    less room.
    """
    size = len(marked)
    unit = max(float(np.abs(price).max(initial=0.0)), 1e-9) / STEPS
    whole = np.floor((price - np.abs(price) * NOISE * np.random.default_rng(20).random(len(price))) / unit)
    of = np.zeros(len(a), np.int64) if part is None else part[np.where(a == hub, b, a)]
    found = np.concatenate([_matched(a[mine], b[mine], whole[mine], marked, hub) for mine in parted(of)])
    # a path may run over an edge that another one uses too: twice is not at all
    used, times = np.unique(found.min(axis=1) * size + found.max(axis=1), return_counts=True)
    chosen = np.searchsorted(np.minimum(a, b) * size + np.maximum(a, b), used[times % 2 == 1])
    return chosen.astype(np.int64), float(whole[chosen].sum()) * unit


def parted(label: Ints) -> list[Ints]:
    """Return the indices of equal labels together, labels ascending."""
    order = np.argsort(label, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(label[order])) + 1)


def _matched(a: Ints, b: Ints, whole: Floats, marked: Marks, hub: int) -> Ints:
    """Return the ends of the edges on the paths between matched nodes, shape (n, 2)."""
    ends = np.column_stack([a, b])
    inner = ends != hub
    node, row = np.unique(ends[inner], return_inverse=True)
    check = csc_matrix(
        (np.ones(len(row), np.uint8), row, np.concatenate([[0], np.cumsum(inner.sum(axis=1))])),
        shape=(len(node), len(a)),
    )
    found = pymatching.Matching(check, weights=whole).decode_to_edges_array(marked[node])
    return np.where(found < 0, hub, node[found])
