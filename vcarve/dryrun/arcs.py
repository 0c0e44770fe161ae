"""Arcs of moves, in any plane: their radii, boxes and chords.

Written here anew, from centre and sweep as the reader believes them: the dry run judges the arcs that the writer worked out.
"""

from __future__ import annotations

import numpy as np

from vcarve.dryrun.setup import UNKNOWN, Setup
from vcarve.plane.arcs import curves, evenly, left
from vcarve.plane.arrays import Floats, Ints
from vcarve.program.grammar import PLANES
from vcarve.program.moves import Moves, Plane


def axes_of(moves: Moves, which: Ints) -> Ints:
    """Return the columns (n, 3) of each move's plane, the first turned to the second counter-clockwise, and of its normal."""
    columns = np.array([moves.columns("".join(PLANES[int(plane)])) for plane in Plane])
    return np.asarray(columns[moves.plane[which] - int(Plane.XY)])


def arms_mm(moves: Moves, which: Ints) -> tuple[Floats, Floats]:
    """Return start and end of arcs (n, 2) seen from their centres, in their planes."""
    axes = axes_of(moves, which)[:, :2]
    start, end, centre = (
        np.take_along_axis(place[which], axes, axis=1)
        for place in (moves.start_mm, moves.end_mm, moves.centre_mm)
    )
    return start - centre, end - centre


def planned_chords(moves: Moves, tolerance_mm: float) -> Ints:
    """Return how many straight blocks a controller plans each move in, shape (N,): one for each line, many for each arc.

    Arcs follow Grbl v1.1: ``floor(|angle r / 2| / sqrt(tol (2 r - tol)))`` chords of equal angle with their corners on the
    circle, at least one, also if the tolerance is too wide.
    """
    radius = moves.radius_mm
    room = tolerance_mm * (2.0 * radius - tolerance_mm)
    good = room > 0.0
    half = np.abs(0.5 * moves.sweep_rad * radius)
    count = np.divide(half, np.sqrt(np.where(good, room, 1.0)), out=np.zeros(len(room)), where=good)
    return np.maximum(np.floor(count), 1.0).astype(np.int64)


def chords_within(moves: Moves, which: Ints, sag_mm: float) -> Ints:
    """Return in how many chords (n,) moves stay within this distance of their paths; lines in one."""
    radius = np.maximum(moves.radius_mm[which], sag_mm)
    step = 2.0 * np.arccos(1.0 - sag_mm / radius)
    return np.maximum(np.ceil(np.abs(moves.sweep_rad[which]) / step), 1.0).astype(np.int64)


def on_way(moves: Moves, which: Ints, share: Floats, start: Floats) -> Floats:
    """Return the places (n, 3) of moves (n,) from their starts (n, 3) on at shares (n,) of their sweep or length."""
    place = start + share[:, None] * (moves.end_mm[which] - start)
    bent = np.flatnonzero((moves.sweep_rad[which] != 0.0) & (share > 0.0))
    axes, centre = axes_of(moves, which[bent])[:, :2], moves.centre_mm[which[bent]]
    arm, turn = np.take_along_axis(start[bent] - centre, axes, 1), moves.sweep_rad[which[bent]] * share[bent]
    spot = (
        np.take_along_axis(centre, axes, 1) + arm * np.cos(turn)[:, None] + left(arm) * np.sin(turn)[:, None]
    )
    place[bent[:, None], axes] = spot
    return place


def split(moves: Moves, which: Ints, count: Ints, start: Floats | None = None) -> tuple[Ints, Floats, Floats]:
    """Cut moves (n,) into ``count`` (n,) even pieces: the move of each (B,), starts (B, 3) and ends (B, 3).

    Pieces of an arc are chords of equal angle, along which the third axis moves evenly; the last piece ends on the programmed
    point.  ``start`` (n, 3) is where they start if it is not as the moves say.
    """
    start = moves.start_mm[which] if start is None else start
    if count.max(initial=1) == 1:
        return which, start, moves.end_mm[which]
    row, share = evenly(count)
    tail = on_way(moves, which[row], share, start[row])
    head = np.roll(tail, -1, axis=0)
    head[np.cumsum(count) - 1] = moves.end_mm[which]
    return which[row], tail, head


def laid(moves: Moves, which: Ints, count: Ints, setup: Setup) -> tuple[Ints, Floats, Floats]:
    """Cut moves (n,) into ``count`` (n,) even pieces of less than a turn, seen from above on the piece.

    Returns the move of each (B,), lines and arcs as curves (B, 5), see ``plane.arcs``, and their heights at both ends (B, 2).
    The bulge is that of arcs in the XY plane.
    """
    owner, tail, head = split(moves, which, count, moves.known_start_mm[which])
    a, b = setup.on_piece(tail), setup.on_piece(head)
    bulge = np.tan(np.repeat(moves.sweep_rad[which] / count, count) / 4.0)
    return owner, curves(a[:, :2], b[:, :2], bulge), np.column_stack([a[:, 2], b[:, 2]])


def room(moves: Moves, start: Floats, end: Floats, setup: Setup = UNKNOWN) -> tuple[Floats, Floats]:
    """Return the lower and upper corners (N, 3) of boxes round all moves between their ends (N, 3), arcs with what they bow out.

    The ends are on the piece as it is set up or, without a setup, in work coordinates.
    """
    low, high = np.minimum(start, end), np.maximum(start, end)
    bent = np.flatnonzero(moves.sweep_rad)
    begin, sweep = moves.start_mm[bent], np.abs(moves.sweep_rad[bent])[:, None]
    round_ = np.zeros(begin.shape, dtype=np.bool_)  # which axes an arc turns along
    np.put_along_axis(round_, axes_of(moves, bent)[:, :2], True, 1)
    # Along each axis of the piece the path is ``a cos t + b sin t + c t``: farthest where its derivative vanishes.
    quarter = on_way(moves, bent, 0.5 * np.pi / sweep[:, 0], begin)
    arms = (np.where(round_, place - moves.centre_mm[bent], 0.0) for place in (begin, quarter))
    drift = np.where(round_, 0.0, moves.end_mm[bent] - begin) / sweep
    a, b, c = setup.on_piece(np.stack([*arms, drift])) - setup.on_piece(np.zeros(3))
    lean = np.arcsin(np.clip(c / np.maximum(np.hypot(a, b), 1e-9), -1.0, 1.0))
    for turn in (np.arctan2(b, a) + lean, np.arctan2(b, a) + np.pi - lean):
        share = np.minimum(np.mod(turn, 2.0 * np.pi) / sweep, 1.0)
        for axis in range(3):
            spot = setup.on_piece(on_way(moves, bent, share[:, axis], begin))
            low[bent], high[bent] = np.minimum(low[bent], spot), np.maximum(high[bent], spot)
    return low, high
