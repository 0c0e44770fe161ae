"""Arcs of moves, in any plane: their radii, boxes and chords.

Written here anew, from centre and sweep as the reader believes them: the dry run judges the arcs that the writer worked out.
"""

from __future__ import annotations

import numpy as np

from vcarve.dryrun.setup import UNKNOWN, Setup
from vcarve.plane.arcs import curves
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


def split(moves: Moves, which: Ints, count: Ints, start: Floats | None = None) -> tuple[Ints, Floats, Floats]:
    """Cut moves (n,) into ``count`` (n,) even pieces: the move of each (B,), starts (B, 3) and ends (B, 3).

    Pieces of an arc are chords of equal angle, along which the third axis moves evenly; the last piece ends on the programmed
    point.  ``start`` (n, 3) is where they start if it is not as the moves say.
    """
    end = moves.end_mm[which]
    start = moves.start_mm[which] if start is None else start
    if count.max(initial=1) == 1:
        return which, start, end
    row = np.repeat(np.arange(len(which)), count)
    last = np.cumsum(count) - 1
    inner = np.delete(np.arange(len(row)), last)
    tail, head = start[row], end[row]
    mine = row[inner]
    share = (inner - (last - count + 1)[mine] + 1) / count[mine]
    head[inner] = start[mine] + share[:, None] * (end - start)[mine]
    bent = np.flatnonzero(moves.sweep_rad[which[mine]])
    mine, share, at = mine[bent], share[bent], inner[bent]
    if len(bent):
        move = which[mine]
        axes, centre = axes_of(moves, move), moves.centre_mm[move]
        ax, ay = np.take_along_axis(start[mine] - centre, axes[:, :2], 1).T
        cx, cy = np.take_along_axis(centre, axes[:, :2], 1).T
        cos, sin = np.cos(moves.sweep_rad[move] * share), np.sin(moves.sweep_rad[move] * share)
        spot = np.column_stack([cx + ax * cos - ay * sin, cy + ax * sin + ay * cos])
        head[at[:, None], axes[:, :2]] = spot
    tail[inner + 1] = head[inner]
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
    if len(bent):
        low[bent], high[bent] = _round_arcs(moves, bent, setup)
    return low, high


def _round_arcs(moves: Moves, which: Ints, setup: Setup) -> tuple[Floats, Floats]:
    """Return the lower and upper corners (n, 3) of boxes round arcs.

    Along each axis an arc swings about its centre by ``a cos t + b sin t``: highest where t is the angle of (a, b).
    """
    places = np.stack([moves.start_mm[which], moves.end_mm[which], moves.centre_mm[which]])
    u, v, normal = axes_of(moves, which).T
    row, sweep = np.arange(len(which)), moves.sweep_rad[which]
    rise = places[1, row, normal] - places[0, row, normal]
    places[2, row, normal] = places[0, row, normal]
    # A quarter of a turn on, and how far a helix goes on.
    ahead, drift = places[2].copy(), np.zeros_like(places[2])
    arm = places[0] - places[2]
    ahead[row, u] -= np.sign(sweep) * arm[row, v]
    ahead[row, v] += np.sign(sweep) * arm[row, u]
    drift[row, normal] = rise
    start, end, centre, ahead, drift = setup.on_piece(np.stack([*places, ahead, places[0] + drift]))
    ahead, arm, drift = ahead - centre, start - centre, drift - start
    low, high = np.minimum(start, end), np.maximum(start, end)
    radius = np.hypot(arm, ahead)
    for sign, corner, best in ((1.0, high, np.maximum), (-1.0, low, np.minimum)):
        passed = np.mod(np.arctan2(sign * ahead, sign * arm), 2.0 * np.pi) <= np.abs(sweep)[:, None]
        reach = centre + sign * (radius + np.maximum(sign * drift, 0.0))
        best(corner, reach, out=corner, where=passed & (radius > 1e-9))
    return low, high
