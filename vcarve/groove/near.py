"""Which grooves come near which cells: boxes first, then true distances, for all of them at once."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from vcarve.groove.stroke import points_along
from vcarve.network.model import NM_PER_MM, Bools, Floats, Ints, Network

# Arcs are cut into this many pieces to see how near a groove comes to a cell; the pieces' sag is allowed for.
PIECES = 8


def ranges(starts: Ints, ends: Ints) -> Ints:
    """Return the numbers of all half-open ranges, one range after the other."""
    sizes = ends - starts
    before = np.cumsum(sizes) - sizes
    numbers: Ints = np.arange(sizes.sum(), dtype=np.int64) + np.repeat(starts - before, sizes)
    return numbers


def boxes_round(network: Network, edges: Ints, grow_nm: Floats | float) -> Any:
    """Return a box round each edge (arcs: round their whole bulge), grown on all sides."""
    tail, head, bulge = network.tail[edges], network.head[edges], np.abs(network.bulge[edges])
    x0, y0, x1, y1 = network.x_nm[tail], network.y_nm[tail], network.x_nm[head], network.y_nm[head]
    # An arc stays within bulge * chord / 2 of its chord, or within its diameter if it is more than half a circle.
    grow = grow_nm + np.hypot(x1 - x0, y1 - y0) * bulge * np.maximum(bulge, 1.0)
    low_x, low_y = np.minimum(x0, x1) - grow, np.minimum(y0, y1) - grow
    return shapely.box(low_x, low_y, np.maximum(x0, x1) + grow, np.maximum(y0, y1) + grow)


def cell_boxes(network: Network, tail_of: Ints, edge: Ints, first: Ints, last: Ints) -> tuple[Any, Ints]:
    """Return a box round each cell's outer ring and its low corner; ``first``/``last`` bound the ring."""
    index = ranges(first, last)
    at = np.cumsum(last - first) - (last - first)
    x, y = network.x_nm[tail_of[index]], network.y_nm[tail_of[index]]
    low = np.column_stack([np.minimum.reduceat(x, at), np.minimum.reduceat(y, at)])
    high = np.column_stack([np.maximum.reduceat(x, at), np.maximum.reduceat(y, at)])
    bulging = network.chord_mm[edge[index]] * NM_PER_MM * np.abs(network.bulge[edge[index]])
    grow = np.maximum.reduceat(bulging * np.maximum(np.abs(network.bulge[edge[index]]), 1.0), at)
    boxes = shapely.box(low[:, 0] - grow, low[:, 1] - grow, high[:, 0] + grow, high[:, 1] + grow)
    return boxes, low


def others_near(
    network: Network,
    half: Floats,
    boxes: Any,
    asked: Ints,
    narrowest: Floats,
    edge: Ints,
    first: Ints,
    last: Ints,
) -> dict[int, list[int]]:
    """Return for each cell asked about the edges, not its own, that are wider than its narrowest and may reach in."""
    if len(asked) == 0:
        return {}
    wide = np.flatnonzero(half > float(narrowest[asked].min()))
    tree = shapely.STRtree(boxes_round(network, wide, half[wide] * NM_PER_MM))
    cells, hits = tree.query(boxes[asked])
    cells, hits = asked[cells], wide[hits]
    close = close_pairs(network, cells, hits, half[hits]) & (half[hits] > narrowest[cells])
    result: dict[int, list[int]] = {}
    for cell, other in zip(cells[close].tolist(), hits[close].tolist(), strict=True):
        result.setdefault(cell, []).append(other)
    for cell, reaching in result.items():
        mine = set(edge[first[cell] : last[cell]].tolist())
        result[cell] = sorted(set(reaching) - mine)
    return result


def close_pairs(network: Network, cells: Ints, edges: Ints, reach_mm: Floats) -> Bools:
    """Return for pairs of a cell and an edge whether the edge comes as near to the cell as ``reach_mm``, or a little less.

    A cell with holes counts as near to everything: what stands in a hole is not measured.
    """
    close = np.ones(len(cells), dtype=bool)
    pairs = np.flatnonzero(np.diff(network.cell_ring_start)[cells] == 1)
    if len(pairs) == 0:
        return close
    kinds, of_cell = np.unique(cells[pairs], return_inverse=True)
    ring = network.cell_ring_start[kinds]
    start, end = network.ring_start[ring], network.ring_start[ring + 1]
    walked = network.ring_half_edge[ranges(start, end)]
    outlines = _curves(network, walked, end - start, closed=True)
    others, of_edge = np.unique(edges[pairs], return_inverse=True)
    lines = _curves(network, 2 * others, np.ones(len(others), dtype=np.int64), closed=False)
    shapely.prepare(outlines)
    # The sagitta of an arc is chord * bulge / 2, that of its pieces smaller by their number squared at least.
    sagitta = network.chord_mm * np.abs(network.bulge) * np.maximum(np.abs(network.bulge), 1.0)
    at = np.cumsum(end - start) - (end - start)
    slack = np.maximum.reduceat(sagitta[walked >> 1], at)[of_cell] + sagitta[edges[pairs]]
    reach: Any = (reach_mm[pairs] + slack * 2.0 / PIECES**2) * NM_PER_MM + 2.0
    close[pairs] = shapely.dwithin(outlines[of_cell], lines[of_edge], reach)
    return close


def _curves(network: Network, half_edges: Ints, sizes: Ints, *, closed: bool) -> Any:
    """Return runs of half-edges as lines; ``sizes`` says how many half-edges each has."""
    points, count = points_along(network, half_edges, PIECES)
    run = np.repeat(np.arange(len(sizes)), sizes)
    owner = np.repeat(run, count)
    first = np.searchsorted(owner, np.arange(len(sizes)))
    if closed:
        ends = points[first]
    else:
        last = network.head[half_edges[np.cumsum(sizes) - 1] >> 1]
        ends = np.column_stack([network.x_nm[last], network.y_nm[last]]).astype(float)
    every = np.concatenate([points, ends])
    number = np.concatenate([owner, np.arange(len(sizes))])
    order = np.argsort(number, kind="stable")
    return shapely.linestrings(every[order], indices=number[order])
