"""Grooves as cuts: every line of a network at its depth, in levels where it is too deep for one.

A level is the same lines clipped to its depth.  A line that slopes is split where it passes a level's depth: above that
place it is finished, below it the next level goes on.  Parts are cut again in each level until they are finished, so there are
no more of them than the length has room for.
"""

from __future__ import annotations

import numpy as np

from vcarve.cuts.model import Cuts, Rings
from vcarve.network.model import Network, split
from vcarve.plane.arrays import NM_PER_MM, Floats, Ints

SHAVING_MM = 0.02  # near the rounding of depths; a level of its own for that would cut nothing
# The usual last decimal: a cut deeper than a step by no more is not told from one as deep.
ROUNDING_MM = 0.001
# Slopes are split in parts of about this length: much shorter ones would be lost in the last decimals.
SHORT_MM = 0.5


def level_depths(full_mm: Floats, step_mm: float) -> list[Floats]:
    """Return the depth of each line (L,) per level; one already at its full depth keeps that depth in later levels.

    The deepest line is reached in equal steps of at most ``step_mm``; shallower ones stop at their own depth, where a last
    shaving thinner than ``SHAVING_MM`` (or most of a step) comes off with the level before.  Where that would cut more than
    ``step_mm`` at once, the two share evenly what is left.
    """
    deepest = float(full_mm.max(initial=0.0))
    count = max(int(np.ceil(deepest / step_mm - 1e-9)), 1)
    reached = np.round(deepest * np.arange(1, count + 1) / count, 6)
    shaving = min(SHAVING_MM, 0.4 * deepest / count)
    levels: list[Floats] = []
    before = np.zeros(len(full_mm))
    for depth in reached.tolist():
        thin = (full_mm > depth) & (full_mm - depth < shaving)
        shared = np.where(full_mm - before <= step_mm + 1e-9, full_mm, np.round((before + full_mm) / 2.0, 6))
        before = np.where(thin, shared, np.minimum(full_mm, depth))
        levels.append(before)
    return levels


def groove_cuts(network: Network, depth_mm: Floats, step_mm: float) -> tuple[Cuts, Rings]:
    """Return the cuts of a network's lines with these depths (2, E) at their tails and heads, and the rings of its cells.

    Rings walk each line in its last level.  First come the cuts of the first level, in the order of the lines.
    """
    real = network.cut & ((network.tail != network.head) | (network.bulge != 0.0))
    full: Floats = np.where(real, np.round(depth_mm, 6), 0.0)
    levels = level_depths(full.max(axis=0), step_mm)
    network, part = split(network, *_passings(full, levels, network.length_mm))
    tail, head = full[:, part.owner]
    full = np.round([tail + share * (head - tail) for share in (part.start, part.stop)], 6)
    before = np.zeros_like(full)
    number = np.full(len(part.owner), -1, np.int64)  # the last cut of each edge
    rows, deep, after = [], [], []
    count = 0
    for each in levels:
        now = np.minimum(full, each[part.owner])
        mine = np.flatnonzero((now > before + 1e-9).any(axis=0))
        rows.append(mine)
        deep.append(np.rint(now[:, mine] * NM_PER_MM).astype(np.int64))
        after.append(number[mine])
        number[mine] = count + np.arange(len(mine))
        count += len(mine)
        before = now
    edge, deep_nm = np.concatenate(rows), np.concatenate(deep, axis=1)
    span = int(deep_nm.max(initial=0)) + 1
    key, place = np.unique(
        np.stack([network.tail[edge], network.head[edge]]) * span + deep_nm, return_inverse=True
    )
    place = place.reshape(deep_nm.shape).astype(np.int64)
    vertex = key // span
    cuts = Cuts(
        place_nm=np.column_stack([network.x_nm[vertex], network.y_nm[vertex], key % span]),
        tail=place[0],
        head=place[1],
        bulge=network.bulge[edge],
        feature=network.feature[edge],
        after=np.concatenate(after),
    )
    half = network.ring_half_edge
    kept = number[half >> 1] >= 0  # the other edges are not cut, and left out
    stop = np.concatenate([[0], np.cumsum(kept)])[network.ring_start]
    return cuts, Rings(half_edge=2 * number[half[kept] >> 1] + (half[kept] & 1), start=np.unique(stop))


def _passings(full: Floats, levels: list[Floats], length_mm: Floats) -> tuple[Ints, Floats]:
    """Return which edges pass the depth of one of their levels, and at which shares of their length."""
    slope = np.flatnonzero((full[0] != full[1]) & (length_mm > SHORT_MM))
    tail, head = full[:, slope]
    low, high = np.minimum(tail, head) + ROUNDING_MM, np.maximum(tail, head) - ROUNDING_MM
    level = np.array([each[slope] for each in levels])
    passed = (np.diff(level, axis=0, prepend=0.0) > 0.0) & (level > low) & (level < high)
    # Of more places than there is room for, evenly many are kept; between them a part goes down whole, more steeply each time.
    nth, count = passed.cumsum(axis=0), passed.sum(axis=0)
    parts = np.minimum(length_mm[slope] // SHORT_MM, count).astype(np.int64) + 1
    kept = passed & (nth * parts // (count + 1) > (nth - 1) * parts // (count + 1))
    which = np.nonzero(kept)[1]
    share = (level[kept] - tail[which]) / (head - tail)[which]
    return slope[which], share


def most_cuts(full_mm: Floats, length_mm: Floats, step_mm: float) -> tuple[Floats, Floats]:
    """Return about how many cuts lines (L,) with depths (2, L) at their ends become, and in how many parts, at most (L,)."""
    deep, flat = np.ceil(full_mm.max(axis=0) / step_mm), np.ceil(full_mm.min(axis=0) / step_mm)
    parts = 1.0 + np.where(full_mm[0] != full_mm[1], length_mm // SHORT_MM, 0.0)
    now = np.minimum(parts, 1.0 + deep - flat)
    # The shallowest part is cut in about as many levels as its end, each deeper one in so many more.
    return now * flat + (deep - flat) * (now + 1.0) / 2.0, parts
