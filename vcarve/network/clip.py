"""What the piece does to the endless pattern: lines end at its outline, frames cross them, the outline closes cells.

Only edges that the outline or a frame comes near are noded; all others are kept or dropped whole.  Vertices within
``SNAP_MM`` of the outline move onto it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from vcarve.network.model import OUTLINE, Graph
from vcarve.network.noding import (
    FRAME,
    LINE,
    RIM,
    SNAP_MM,
    TOLERANCE_MM,
    merged,
    near_pairs,
    node,
)
from vcarve.plane.arcs import boxes, middles, size
from vcarve.plane.arrays import Bools, Floats, Ints, connected
from vcarve.plane.region import SAG_MM, Region, half_turns, inside, lines_along, upright


def clip(
    graph: Graph,
    region: Region,
    frames: Sequence[tuple[Region, int]] = (),
    *,
    piece: Region | None = None,
    edge: str = "groove",
) -> Graph:
    """Return the part of the graph inside the region, the region's outline and the frames, all noded.

    ``frames`` are regions whose rings are lines to cut, with their feature.  ``piece`` is the piece where the region is
    larger than that: its edge is an outline as well.  With ``edge="groove"`` lines on the outline are cut, with ``"plain"``
    they are left, but for frames; the outline itself is never cut.
    """
    parts = [(region, OUTLINE, 1), *((frame, feature, 0) for frame, feature in frames)]
    if piece is not None:
        parts.insert(1, (piece, OUTLINE, 2))
    sides = [half_turns(part) for part, _, _ in parts]
    counts = [len(each) for each in sides]
    border = np.vstack(sides)
    border_feature, border_rim = (
        np.repeat([part[k] for part in parts], counts).astype(np.int64) for k in (1, 2)
    )
    framing = border_rim == 0

    near, inner = _sort_out(graph, region, border)
    # What the border touches is noded against it.
    crossing = graph.curves(near)
    count = len(crossing)
    border_boxes = boxes(border)
    pairs = near_pairs(border_boxes) + count
    if count:
        across = near_pairs(boxes(crossing), border_boxes)
        pairs = np.vstack([across + np.array([0, count]), pairs])
    shared = np.unique(np.concatenate([graph.tail[near], graph.head[near]]))
    noded = node(
        np.vstack([crossing, border]),
        np.concatenate([graph.feature[near], border_feature]),
        np.concatenate([graph.edge_class[near], np.full(len(border), -1)]),
        pairs,
        rank=np.concatenate([np.full(count, LINE), np.where(framing, FRAME, RIM)]),
        rim=np.concatenate([np.zeros(count, dtype=np.int64), border_rim]),
        fixed_xy=graph.xy[shared],
    )
    rim = noded.graph
    on_outline = rim.rim != 0
    within = inside(region, middles(rim.curves())) | on_outline
    # Vertices of the rim come after those of the graph; where the core shares them it takes the new ones.
    number = np.arange(len(graph.xy))
    number[shared] = len(graph.xy) + noded.fixed
    xy = np.vstack([graph.xy, rim.xy])
    core = graph.take(inner).renumbered(xy, number)
    moved = np.zeros(len(xy), dtype=bool)
    moved[number[shared]] = size(xy[number[shared]] - graph.xy[shared]) > TOLERANCE_MM
    rim = rim.renumbered(xy, len(graph.xy) + np.arange(len(rim.xy)))
    own = ~noded.whole | (noded.source >= count) | on_outline
    framed = np.concatenate([np.zeros(count, dtype=bool), framing])[noded.source]
    left = on_outline & ~framed & (edge == "plain")
    rim = replace(
        rim,
        feature=np.where(left, OUTLINE, rim.feature),
        edge_class=np.where(own, -1, rim.edge_class),
    ).take(within)
    joined = core.join(rim)
    # An edge of the rim that has moved may have come to lie on one of the core's.
    rimmed = (joined.tail >= len(graph.xy)) & (joined.head >= len(graph.xy))
    close, _, _ = merged(joined.take(rimmed), np.where(joined.rim[rimmed] != 0, RIM, LINE))
    joined = joined.take(~rimmed).join(close)
    joined = joined.take(joined.tail != joined.head)
    # What has been moved is no longer the copy of its like.
    strained = moved[joined.tail] | moved[joined.head]
    joined = replace(joined, edge_class=np.where(strained, -1, joined.edge_class))
    if piece is not None and edge == "plain":
        joined = joined.take(~_left_behind(joined, piece))
    return joined.compact()


def _left_behind(graph: Graph, piece: Region) -> Bools:
    """Tell which edges beyond the piece go on from none on it: the ends of lines along its edge, which were left."""
    free = graph.rim == 0
    beyond = free & ~inside(piece, middles(graph.curves()))
    _, label = connected(len(graph.xy), graph.tail[beyond], graph.head[beyond])
    on_piece = free & ~beyond
    reached = label[np.concatenate([graph.tail[on_piece], graph.head[on_piece]])]
    return np.asarray(beyond & ~np.isin(label[graph.tail], reached))


def _sort_out(graph: Graph, region: Region, border: Floats) -> tuple[Ints, Ints]:
    """Return the edges that come near the border, and those wholly inside that do not."""
    every = boxes(graph.curves())
    lines = lines_along(border, SAG_MM)
    box = shapely.total_bounds(lines)
    # Far more than anything moves, so that what moves near the border cannot come upon an edge that is kept whole.
    grow = 25.0 * SNAP_MM + SAG_MM
    within = (every[:, :2] <= box[2:] + grow) & (every[:, 2:] >= box[:2] - grow)
    candidates = np.flatnonzero(within.all(axis=1))
    straight = lines_along(graph.curves(candidates) * (1.0, 1.0, 1.0, 1.0, 0.0), SAG_MM)
    # For arcs the box stands in: a few more are noded than need be.
    bent = graph.bulge[candidates] != 0.0
    straight[bent] = upright(every[candidates[bent]])
    hit = np.unique(shapely.STRtree(lines).query(straight, predicate="dwithin", distance=grow)[0])
    rest = np.delete(candidates, hit)
    return candidates[hit], rest[inside(region, graph.xy[graph.tail[rest]])]
