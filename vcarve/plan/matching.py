"""Minimum-weight matching of marked nodes along paths, by PyMatching's sparse blossom.

PyMatching takes whole weights; they are rounded down, so the weight found is never above the true least.

One node, the hub, may have an edge to any other.  It is PyMatching's boundary, whose number of ends is left open: in a
T-join the ends at one node follow from all the others.  As a node like any other it would, once reached, be next to
everything at once, and the search would take minutes.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pymatching
from scipy.sparse import csc_matrix

from vcarve.plane.arrays import Floats, Ints

Marks = npt.NDArray[np.uint8]  # one per node, 1 for a member of T
STEPS = 1 << 22  # the largest whole weight
NOISE = 1e-4  # usual share of a price; it lowers a bound by half as much


def cheapest(a: Ints, b: Ints, price: Floats, size: int) -> Ints:
    """Return indices of one edge for every two nodes joined, the cheapest, in the order ``match`` wants; none from a node to
    itself.  ``size`` is the number of nodes."""
    key = np.minimum(a, b) * size + np.maximum(a, b)
    order = np.lexsort((price, key))
    keep = order[np.concatenate([[True], np.diff(key[order]) > 0])] if len(order) else order
    return np.asarray(keep[a[keep] != b[keep]], np.int64)


def match(
    a: Ints, b: Ints, price: Floats, marked: Marks, hub: int, noise: float, part: Ints | None = None
) -> tuple[Ints, float]:
    """Return indices of the edges in the cheapest T-join, and a lower bound of its weight, in the unit of ``price``.

    No two edges may join the same nodes, and they are in the order of ``cheapest``.  ``marked`` is 0 at the hub.
    ``noise`` is the largest share taken off a price at random, since equal prices make the search slow.  Where no edge but
    to the hub leads from one ``part`` of the nodes (N,) to another, each is matched by itself, which takes less room.
    """
    size = len(marked)
    unit = max(float(np.abs(price).max(initial=0.0)), 1e-9) / STEPS
    if noise:
        price = price - np.abs(price) * noise * np.random.default_rng(20).random(len(price))
    whole = np.floor(price / unit)
    of = np.zeros(len(a), np.int64) if part is None else part[np.where(a == hub, b, a)]
    order = np.argsort(of, kind="stable")
    each = np.split(order, np.flatnonzero(np.diff(of[order])) + 1)
    found = np.concatenate([_matched(a[mine], b[mine], whole[mine], marked, hub) for mine in each])
    # a path may run over an edge that another one uses too: twice is not at all
    used, times = np.unique(found.min(axis=1) * size + found.max(axis=1), return_counts=True)
    chosen = np.searchsorted(np.minimum(a, b) * size + np.maximum(a, b), used[times % 2 == 1])
    return chosen.astype(np.int64), float(whole[chosen].sum()) * unit


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
