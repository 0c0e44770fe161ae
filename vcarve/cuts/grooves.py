"""Grooves as cuts: every line of a network at its depth, in levels where it is too deep for one.

A level is the same lines clipped to its depth.  A line that slopes is split where it passes a level's depth: above that
place it is finished, below it the next level goes on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.cuts.model import NM_PER_MM, Cuts, Floats, Ints, Rings
from vcarve.network.model import Network
from vcarve.plane.arcs import bulge_between, curves, points

SHAVING_MM = 0.02  # near the rounding of depths; a level of its own for that would cut nothing
# The usual last decimal: a cut deeper than a step by no more is not told from one as deep.
ROUNDING_MM = 0.001


def level_depths(full_mm: Floats, step_mm: float) -> list[Floats]:
    """Return the depth of each line (L,) per level; one already at its full depth keeps that depth in later levels.

    The deepest line is reached in equal steps of at most ``step_mm``; shallower ones stop at their own depth, where a last
    shaving thinner than ``SHAVING_MM`` (or most of a step) comes off with the level before.  Where that would cut more than
    ``step_mm`` (up to ``ROUNDING_MM``) at once, the two share evenly what is left.
    """
    deepest = float(full_mm.max(initial=0.0))
    count = max(int(np.ceil(deepest / step_mm - 1e-9)), 1)
    reached = np.round(deepest * np.arange(1, count + 1) / count, 6)
    shaving = min(SHAVING_MM, 0.4 * deepest / count)
    levels: list[Floats] = []
    before = np.zeros(len(full_mm))
    for depth in reached.tolist():
        thin = (full_mm > depth) & (full_mm - depth < shaving)
        shared = np.where(
            full_mm - before <= step_mm + ROUNDING_MM, full_mm, np.round((before + full_mm) / 2.0, 6)
        )
        before = np.where(thin, shared, np.minimum(full_mm, depth))
        levels.append(before)
    return levels


def groove_cuts(network: Network, depth_mm: Floats, step_mm: float) -> tuple[Cuts, Rings]:
    """Return the cuts of a network's lines with these depths (2, E) at their tails and heads, and the rings of its cells.

    Rings walk each line in its last level.
    """
    line = np.flatnonzero(network.cut & ((network.tail != network.head) | (network.bulge != 0.0)))
    ends_mm = np.round(depth_mm[:, line].astype(float), 6)
    levels = level_depths(ends_mm.max(axis=0), step_mm)
    part = _parted(network, line, ends_mm, levels)
    before = np.zeros((2, len(part.line)))
    number = np.full(len(part.line), -1, np.int64)  # the last cut of each part
    spot, deeps, rows, after = [], [], [], []
    count = 0
    for each in levels:
        now = np.minimum(part.depth_mm, each[part.line])
        mine = np.flatnonzero((now > before + 1e-9).any(axis=0))
        rows.append(mine)
        spot.append(part.spot[:, mine])
        deeps.append(now[:, mine])
        after.append(number[mine])
        number[mine] = count + np.arange(len(mine))
        count += len(mine)
        before = now
    row = np.concatenate(rows)
    spots, deep = (
        np.concatenate(spot, axis=1),
        np.rint(np.concatenate(deeps, axis=1) * NM_PER_MM).astype(np.int64),
    )
    span = int(deep.max(initial=0)) + 1
    key, place = np.unique(spots * span + deep, return_inverse=True)
    place = place.reshape(spots.shape).astype(np.int64)
    cuts = Cuts(
        place_nm=np.column_stack([part.xy_nm[key // span], key % span]),
        tail=place[0],
        head=place[1],
        bulge=part.bulge[row],
        feature=network.feature[line[part.line[row]]],
        after=np.concatenate(after),
    )
    return cuts, _rings(network, line, part, number)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Parts:
    """Lines split where they pass the depth of a level, in the order of the lines and along each."""

    line: Ints  # (P,)
    spot: Ints  # (2, P) of tail and head
    depth_mm: Floats  # (2, P)
    bulge: Floats  # (P,)
    xy_nm: Ints  # (spots, 2)


def _parted(network: Network, line: Ints, ends_mm: Floats, levels: list[Floats]) -> _Parts:
    tail_mm, head_mm = ends_mm
    xy = np.column_stack([network.x_nm, network.y_nm])
    tail, head, bulge = network.tail[line], network.head[line], network.bulge[line]
    slope = np.flatnonzero(tail_mm != head_mm)
    if not len(slope) or len(levels) == 1:
        return _Parts(
            line=np.arange(len(line)), spot=np.stack([tail, head]), depth_mm=ends_mm, bulge=bulge, xy_nm=xy
        )
    owner, share, depth = [], [], []
    before = np.zeros(len(slope))
    low, high = ends_mm[:, slope].min(axis=0) + ROUNDING_MM, ends_mm[:, slope].max(axis=0) - ROUNDING_MM
    for each in levels:
        mine = each[slope]
        inside = (mine > before) & (mine > low) & (mine < high)
        at = slope[inside]
        owner.append(at)
        share.append((mine[inside] - tail_mm[at]) / (head_mm[at] - tail_mm[at]))
        depth.append(mine[inside])
        before = mine
    of, t, d = np.concatenate(owner), np.concatenate(share), np.concatenate(depth)
    order = np.lexsort((t, of))
    of, t, d = of[order], t[order], d[order]
    # each line's parts end at its splits, and then at its head
    every = np.concatenate([of, np.arange(len(line))])
    upto = np.concatenate([t, np.ones(len(line))])
    order = np.lexsort((upto, every))
    every, upto = every[order], upto[order]
    stop_spot = np.concatenate([len(xy) + np.arange(len(of)), head])[order]
    stop_mm = np.concatenate([d, head_mm])[order]
    first = np.concatenate([[True], np.diff(every) > 0])
    start_spot = np.where(first, tail[every], np.roll(stop_spot, 1))
    start_mm = np.where(first, tail_mm[every], np.roll(stop_mm, 1))
    share_of = upto - np.where(first, 0.0, np.roll(upto, 1))
    return _Parts(
        line=every,
        spot=np.stack([start_spot, stop_spot]),
        depth_mm=np.stack([start_mm, stop_mm]),
        bulge=np.where(share_of == 1.0, bulge[every], bulge_between(bulge[every], 0.0, share_of)),
        xy_nm=np.concatenate(
            [xy, np.rint(points(curves(xy[tail[of]], xy[head[of]], bulge[of]), t)).astype(np.int64)]
        ),
    )


def _rings(network: Network, line: Ints, part: _Parts, last: Ints) -> Rings:
    """Return the rings of the cells as half-edges of the cuts; lines that are not cut are left out."""
    number = np.full(len(network.tail), -1, np.int64)
    number[line] = np.arange(len(line))
    half = network.ring_half_edge
    ring = np.repeat(np.arange(len(network.ring_start) - 1), np.diff(network.ring_start))
    kept = number[half // 2] >= 0
    mine, back, ring = number[half[kept] // 2], half[kept] % 2, ring[kept]
    first = np.searchsorted(part.line, np.arange(len(line) + 1))
    size = np.diff(first)[mine]
    step = np.arange(size.sum()) - np.repeat(np.cumsum(size) - size, size)
    mine, back, ring, size = (np.repeat(x, size) for x in (mine, back, ring, size))
    at = first[mine] + np.where(back == 0, step, size - 1 - step)
    new = np.flatnonzero(np.concatenate([[True], np.diff(ring) != 0])) if len(ring) else np.zeros(0, np.int64)
    return Rings(half_edge=2 * last[at] + back, start=np.append(new, len(ring)).astype(np.int64))
