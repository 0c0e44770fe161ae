"""Arcs found again in polygons whose corners were taken from arcs."""

from __future__ import annotations

import math

import numpy as np

from vcarve.plane.arcs import circles, cross, size
from vcarve.plane.arrays import Bools, Floats
from vcarve.plane.region import Ring

TOLERANCE_MM = 2e-5
SAG_MM = 0.001  # chords that stand farther off their circle were straight sides all along
_LARGEST_TURN = math.radians(40.0)  # from one chord of an arc to the next; larger is a corner
_FEWEST = 4  # points that make an arc


def with_arcs(ring_mm: Floats, tolerance_mm: float = TOLERANCE_MM) -> Ring:
    """Return a closed polygon (n, 2) as a ring, runs of corners on one circle as arcs of at most half a turn.

    No corner of the polygon is farther than the tolerance from the arc that stands for it, no side farther than
    ``SAG_MM``.
    """
    count = len(ring_mm)
    sides = np.roll(ring_mm, -1, axis=0) - ring_mm
    before = np.roll(sides, 1, axis=0)
    turn = np.arctan2(cross(before, sides), (before * sides).sum(axis=1))
    smooth = np.abs(turn) <= _LARGEST_TURN
    if count < _FEWEST + 1 or not smooth.any():
        return Ring(xy_mm=ring_mm, bulge=np.zeros(count))
    # Begin at a corner or after the longest side, so that no arc runs over the seam.
    longest = int(np.argmax(size(sides)))
    first = int(np.argmin(smooth)) if not smooth.all() else (longest + 1) % count
    order = (np.arange(count + 1) + first) % count
    xy, turn, smooth = ring_mm[order], turn[order], smooth[order]
    starts, bulges = [], []
    at = 0
    while at < count:
        starts.append(at)
        at, bulge = _longest(xy, turn, smooth, at, count, tolerance_mm)
        bulges.append(bulge)
    return Ring(xy_mm=xy[starts], bulge=np.array(bulges))


def _longest(
    xy: Floats, turn: Floats, smooth: Bools, at: int, end: int, tolerance: float
) -> tuple[int, float]:
    """Return the last point of the longest arc that starts at ``at``, and its bulge; else the next point and 0."""
    limit = at + 1
    total = 0.0
    while limit < end and smooth[limit] and turn[limit] * turn[at + 1] > 0.0 and total < math.pi:
        total += abs(float(turn[limit]))
        limit += 1
    # All of it as a rule; else halving finds how far one arc reaches.
    low, high, trial, bulge = at + _FEWEST - 2, limit, limit, 0.0
    while high > low:
        found = _arc(xy[at : trial + 1], tolerance)
        if found is None:
            high = trial - 1
        else:
            low, bulge = trial, found
        trial = (low + high + 1) // 2
    return (low, bulge) if bulge else (at + 1, 0.0)


def _arc(points: Floats, tolerance: float) -> float | None:
    """Return the bulge of the arc from the first point to the last that passes all points, if there is one."""
    a, b = points[0], points[-1]
    if math.dist(a, b) <= tolerance:
        return None
    to_a, to_b = a - points[len(points) // 2], b - points[len(points) // 2]
    # The angle seen from a point of the arc over the chord is half the rest of the circle (inscribed angle theorem).
    seen = math.atan2(cross(to_a, to_b), to_a @ to_b)
    bulge = math.tan((math.pi - abs(seen)) / 2.0) * (1.0 if seen < 0.0 else -1.0)
    if bulge == 0.0 or abs(bulge) > 1.0 + 1e-4:
        return None
    centre, radius = circles(np.array([*a, *b, bulge]))
    if np.abs(size(points - centre) - radius).max() > tolerance:
        return None
    # Four corners can lie on one circle by chance; a chord of an arc hugs it all the way.
    longest = float(size(np.diff(points, axis=0)).max())
    return bulge if longest**2 / (8.0 * radius) <= SAG_MM else None
