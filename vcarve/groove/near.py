"""Which grooves come near which cells: boxes first, then true distances, for all of them at once."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from vcarve.network.model import Network
from vcarve.plane.arcs import boxes, ranges
from vcarve.plane.arrays import NM_PER_MM, Bools, Floats, Ints
from vcarve.plane.region import lines_along, upright

SAG_MM = 0.01  # of the chords by which it is seen how near a groove comes to a cell; allowed for


def boxes_round(network: Network, edges: Ints, grow_mm: Floats | float) -> Any:
    """Return a box round each edge, grown on all sides, in mm."""
    return upright(boxes(network.curves(edges)), grow_mm)


def cell_boxes(sides: Floats, first: Ints, last: Ints) -> tuple[Any, Ints]:
    """Return a box in mm round each cell's outer ring and its low corner in nanometres; ``first``/``last`` bound the ring."""
    sides = sides[ranges(first, last)]
    at = np.cumsum(last - first) - (last - first)
    box = boxes(sides)
    round_it = np.hstack([np.minimum.reduceat(box[:, :2], at), np.maximum.reduceat(box[:, 2:], at)])
    low = np.rint(np.minimum.reduceat(sides[:, :2], at) * NM_PER_MM).astype(np.int64)
    return upright(round_it), low


def others_near(
    network: Network,
    half: Floats,
    cells_round: Any,
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
    tree = shapely.STRtree(boxes_round(network, wide, half[wide]))
    cells, hits = tree.query(cells_round[asked])
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
    sides = lines_along(network.walked(network.ring_half_edge[ranges(start, end)]), SAG_MM)
    outlines: Any = shapely.multilinestrings(sides, indices=np.repeat(np.arange(len(kinds)), end - start))
    others, of_edge = np.unique(edges[pairs], return_inverse=True)
    lines: Any = lines_along(network.curves(others), SAG_MM)
    shapely.prepare(outlines)
    reach: Any = reach_mm[pairs] + 2.0 * SAG_MM
    close[pairs] = shapely.dwithin(outlines[of_cell], lines[of_edge], reach)
    return close
