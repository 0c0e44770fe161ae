"""Straight blocks at constant acceleration: how fast each may be entered and how long it takes.

Glossary
block     one straight piece of path; an arc is many blocks
nominal   the speed a block would run at if it were endless
corner    the junction of two blocks; its speed follows from a circle that misses the corner by the junction
deviation

Sources: Open 3-D-printer motion documentation, kinematics (``v1^2 = v0^2 + 2 a L``); Grbl v1.1 planner
rules for the limits along a direction and for the corner.  Speeds are mm/s, accelerations mm/s², lengths mm.
"""

from __future__ import annotations

import numpy as np

from vcarve.plane.arrays import Floats

STRAIGHT_ON = 0.999999  # cosine of the turn from which a corner counts as none
REVERSAL = -0.999999  # cosine of the turn from which a corner counts as turning back


def along(limits: Floats, unit: Floats) -> Floats:
    """Return largest rate or acceleration along directions when every axis has a limit of its own.

    ``limits`` has shape (3,) or (n, 3), ``unit`` (n, 3) unit vectors; the result has shape (n,), infinite
    for a zero vector.  Rule: the least ``limit / |component|`` (Grbl v1.1 planner).
    """
    share = np.abs(unit)
    ratio = np.full(share.shape, np.inf)
    np.divide(limits, share, out=ratio, where=share > 0.0)
    # Three columns at a time are several times faster than the least of each row.
    least: Floats = np.minimum(np.minimum(ratio[:, 0], ratio[:, 1]), ratio[:, 2])
    return least


def corner_factor(cosine: Floats) -> Floats:
    """Return ``s / (1 - s)`` of corners, where ``s`` is the sine of half the inside angle; shape as given.

    ``cosine`` is the cosine of the turn (1 straight on, -1 back).  Straight on gives infinity, a reversal 0.
    Multiplied by the junction deviation it is the radius of the circle that sets the corner's speed.
    """
    s = np.sqrt(np.clip(0.5 * (1.0 + cosine), 0.0, 1.0))
    with np.errstate(divide="ignore"):
        factor = s / (1.0 - s)
    result: Floats = np.where(cosine > STRAIGHT_ON, np.inf, np.where(cosine < REVERSAL, 0.0, factor))
    return result


def corner_speeds(unit: Floats, acceleration: Floats, deviation_mm: float) -> Floats:
    """Return corner speed between each block and the one before, shape (n,); the first is infinite.

    ``unit`` (n, 3) are the blocks' directions, ``acceleration`` (3,) the axes' accelerations: the
    acceleration of a corner is the one the axes allow along the change of direction.
    """
    speed = np.full(len(unit), np.inf)
    if len(unit) < 2:
        return speed
    turn = unit[1:] - unit[:-1]
    # 1 - |turn|²/2 is the cosine, and stays accurate for tiny turns.
    squared = np.einsum("ij,ij->i", turn, turn)
    cosine = 1.0 - 0.5 * squared
    bent = (cosine <= STRAIGHT_ON) & (cosine >= REVERSAL)
    normal = turn[bent] / np.sqrt(squared[bent])[:, None]
    inner = np.where(cosine > STRAIGHT_ON, np.inf, 0.0)
    inner[bent] = np.sqrt(along(acceleration, normal) * deviation_mm * corner_factor(cosine[bent]))
    speed[1:] = inner
    return speed


def backward(cap2: Floats, gain: Floats, exit2: float) -> list[float]:
    """Return the squared entry speeds from which every later block can still be braked; a list of n + 1 values.

    ``cap2`` (n,) are the squared entry limits, ``gain`` (n,) is ``2 a L``; ``exit2``, the last value of the
    result, is the squared speed at which the last block must end.
    """
    speed2 = exit2
    result = [exit2]
    for cap, more in zip(reversed(cap2.tolist()), reversed(gain.tolist()), strict=True):
        speed2 += more
        if speed2 > cap:
            speed2 = cap
        result.append(speed2)
    result.reverse()
    return result


def forward(entry2: list[float], gain: Floats, start2: float) -> Floats:
    """Return the squared speeds at the n + 1 block ends, reached from ``start2`` within ``entry2``."""
    speed2 = min(start2, entry2[0])
    result = [speed2]
    for cap, more in zip(entry2[1:], gain.tolist(), strict=True):
        speed2 += more
        if speed2 > cap:
            speed2 = cap
        result.append(speed2)
    return np.array(result, dtype=np.float64)


def block_times(
    length_mm: Floats, entry: Floats, exit_: Floats, nominal: Floats, acceleration: Floats
) -> tuple[Floats, Floats]:
    """Return the seconds and highest speed of blocks with given entry and exit speeds; arrays of shape (n,).

    Trapezoid if the nominal speed is reached, else triangle with ``vp = sqrt(a L + (v0² + v1²) / 2)``.
    The speeds must be feasible: ``|v1² - v0²| <= 2 a L`` and both at most nominal.
    """
    mean2 = 0.5 * (entry * entry + exit_ * exit_)
    peak = np.minimum(nominal, np.sqrt(acceleration * length_mm + mean2))
    peak = np.maximum(peak, np.maximum(entry, exit_))
    ramps = (peak * peak - mean2) / acceleration
    cruise = np.maximum(length_mm - ramps, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        seconds = (2.0 * peak - entry - exit_) / acceleration + np.where(cruise > 0.0, cruise / peak, 0.0)
    return seconds, peak


def entry_caps(nominal: Floats, corner: Floats) -> Floats:
    """Return entry limits of blocks: the corner's speed and both blocks' nominal speeds; first from rest."""
    cap = np.minimum(corner, nominal)
    cap[1:] = np.minimum(cap[1:], nominal[:-1])
    cap[:1] = 0.0
    return cap
