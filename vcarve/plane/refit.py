"""Arcs found again in polygons whose corners were taken from arcs."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Side = tuple[float, float, float]  # where a side starts, and its bulge

TOLERANCE_MM = 2e-5
SAG_MM = 0.001  # chords that stand farther off their circle were straight sides all along
_LARGEST_TURN = math.radians(40.0)  # from one chord of an arc to the next; larger is a corner
_FEWEST = 4  # points that make an arc


def with_arcs(ring_mm: Floats, tolerance_mm: float = TOLERANCE_MM) -> list[Side]:
    """Return a closed polygon (n, 2) as sides (x, y, bulge), runs of corners on one circle as arcs of at most half a turn.

    No corner of the polygon is farther than the tolerance from the arc that stands for it, no side farther than
    ``SAG_MM``.  Bulge as in ``pattern.model``.
    """
    count = len(ring_mm)
    sides = np.roll(ring_mm, -1, axis=0) - ring_mm
    before = np.roll(sides, 1, axis=0)
    turn = np.arctan2(
        before[:, 0] * sides[:, 1] - before[:, 1] * sides[:, 0],
        before[:, 0] * sides[:, 0] + before[:, 1] * sides[:, 1],
    )
    smooth = np.abs(turn) <= _LARGEST_TURN
    if count < _FEWEST + 1 or not smooth.any():
        return [(float(x), float(y), 0.0) for x, y in ring_mm]
    # Begin at a corner or after the longest side, so that no arc runs over the seam.
    longest = int(np.argmax(np.hypot(sides[:, 0], sides[:, 1])))
    first = int(np.argmin(smooth)) if not smooth.all() else (longest + 1) % count
    order = (np.arange(count + 1) + first) % count
    xy, turn, smooth = ring_mm[order], turn[order], smooth[order]
    result: list[Side] = []
    at = 0
    while at < count:
        last, bulge = _longest(xy, turn, smooth, at, count, tolerance_mm)
        result.append((float(xy[at, 0]), float(xy[at, 1]), bulge))
        at = last
    return result


def _longest(
    xy: Floats, turn: Floats, smooth: npt.NDArray[np.bool_], at: int, end: int, tolerance: float
) -> tuple[int, float]:
    """Return the last point of the longest arc that starts at ``at``, and its bulge; else the next point and 0."""
    limit = at + 1
    total = 0.0
    while limit < end and smooth[limit] and turn[limit] * turn[at + 1] > 0.0 and total < math.pi:
        total += abs(float(turn[limit]))
        limit += 1
    low, bulge = at, 0.0
    size = min(_FEWEST - 1, limit - at)
    while at + size <= limit and size >= _FEWEST - 1:
        found = _arc(xy[at : at + size + 1], tolerance)
        if found is None:
            break
        low, bulge = at + size, found
        if low == limit:
            break
        size = min(2 * size, limit - at)
    if low == at:
        return at + 1, 0.0
    high = min(at + size, limit)  # the largest size tried; the answer lies from low to here
    while high - low > 1:
        middle = (low + high) // 2
        found = _arc(xy[at : middle + 1], tolerance)
        if found is None:
            high = middle
        else:
            low, bulge = middle, found
    return low, bulge


def _arc(points: Floats, tolerance: float) -> float | None:
    """Return the bulge of the arc from the first point to the last that passes all points, if there is one."""
    a, m, b = points[0], points[len(points) // 2], points[-1]
    chord = b - a
    size = float(np.hypot(*chord))
    if size <= tolerance:
        return None
    to_a, to_b = a - m, b - m
    # The angle seen from a point of the arc over the chord is half the rest of the circle (inscribed angle theorem).
    seen = math.atan2(float(to_a[0] * to_b[1] - to_a[1] * to_b[0]), float(to_a @ to_b))
    bulge = math.tan((math.pi - abs(seen)) / 2.0) * (1.0 if seen < 0.0 else -1.0)
    if bulge == 0.0 or abs(bulge) > 1.0 + 1e-4:
        return None
    off = (1.0 - bulge * bulge) / (4.0 * bulge)
    centre = (a + b) / 2.0 + np.array([-chord[1], chord[0]]) * off
    radius = (1.0 + bulge * bulge) / (4.0 * abs(bulge)) * size
    away = np.abs(np.hypot(*(points - centre).T) - radius)
    if float(away.max()) > tolerance:
        return None
    # Four corners can lie on one circle by chance; a chord of an arc hugs it all the way.
    longest = float(np.max(np.hypot(*np.diff(points, axis=0).T)))
    return bulge if longest**2 / (8.0 * radius) <= SAG_MM else None
