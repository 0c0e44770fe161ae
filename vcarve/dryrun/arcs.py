"""Moves cut into the straight blocks a controller plans with: one per line, many per arc.

Arcs follow Grbl v1.1: ``floor(|angle r / 2| / sqrt(tol (2 r - tol)))`` chords of equal angle with their
corners on the circle, the third axis moving evenly, the last chord ending on the programmed point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from vcarve.program.grammar import PLANES
from vcarve.program.moves import Moves

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocks:
    """Straight blocks in order; ``owner`` is the move each belongs to, ``delta_mm`` its way."""

    owner: Ints  # (B,)
    delta_mm: Floats  # (B, 3)


def chords(sweep_rad: Floats, radius_mm: Floats, tolerance_mm: float) -> Ints:
    """How many blocks each arc becomes (at least one, also if the tolerance is too wide)."""
    room = tolerance_mm * (2.0 * radius_mm - tolerance_mm)
    good = room > 0.0
    count = np.zeros(len(radius_mm))
    np.divide(np.abs(0.5 * sweep_rad * radius_mm), np.sqrt(np.where(good, room, 1.0)), out=count, where=good)
    whole: Ints = np.maximum(np.floor(count), 1.0).astype(np.int64)
    return whole


def chord_counts(moves: Moves, tolerance_mm: float) -> Ints:
    """How many blocks each move becomes, shape (N,); straight moves are one."""
    count = np.ones(len(moves), dtype=np.int64)
    arcs = np.flatnonzero(moves.sweep_rad)
    if len(arcs):
        count[arcs] = chords(moves.sweep_rad[arcs], moves.radius_mm[arcs], tolerance_mm)
    return count


def split(moves: Moves, index: Ints, count: Ints) -> tuple[Ints, Floats, Floats]:
    """Cut the moves ``index`` into ``count`` pieces each: owner (B,), starts (B, 3) and ends (B, 3)."""
    start, end = moves.start_mm[index], moves.end_mm[index]
    if count.max(initial=1) == 1:
        return index, start, end
    row = np.repeat(np.arange(len(index)), count)
    first = np.cumsum(count) - count
    step = np.arange(len(row)) - first[row]
    tail, head = start[row], end[row]
    many = np.flatnonzero(count[row] > 1)
    owner = index[row]
    for plane, axes in PLANES.items():
        a, b, normal = moves.columns("".join(axes))
        mine = many[(moves.plane[owner[many]] == plane) & (moves.sweep_rad[owner[many]] != 0.0)]
        if not len(mine):
            continue
        move = owner[mine]
        centre = moves.centre_mm[move]
        arm_a = start[row[mine], a] - centre[:, a]
        arm_b = start[row[mine], b] - centre[:, b]
        share = (step[mine] + 1) / count[row[mine]]
        angle = moves.sweep_rad[move] * share
        cos, sin = np.cos(angle), np.sin(angle)
        low, high = start[row[mine], normal], end[row[mine], normal]
        inner = share < 1.0  # the last piece keeps the programmed end
        at = mine[inner]
        head[at, a] = (centre[:, a] + arm_a * cos - arm_b * sin)[inner]
        head[at, b] = (centre[:, b] + arm_a * sin + arm_b * cos)[inner]
        head[at, normal] = (low + (high - low) * share)[inner]
    later = np.flatnonzero(step > 0)
    tail[later] = head[later - 1]
    return owner, tail, head


def blocks(moves: Moves, index: Ints, count: Ints) -> Blocks:
    """The blocks of the moves ``index``; ``count`` says how many each becomes."""
    owner, tail, head = split(moves, index, count)
    return Blocks(owner=owner, delta_mm=head - tail)
