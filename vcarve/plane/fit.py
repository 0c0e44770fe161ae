"""Curves turned into circular arcs: smooth ones by biarcs, and polygons whose corners were taken from arcs.

A biarc is two arcs with one tangent where they meet, and the curve's at both ends.

Lines and arcs are rows (n, 5), see ``plane.arcs``.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from vcarve.plane.arcs import TURN, Point, circles, cross, curves, distances, size
from vcarve.plane.arrays import Bools, Floats
from vcarve.plane.region import Ring

Curve = Callable[[Floats], Floats]  # parameters (n,) -> points (n, 2)

CURVE_TOLERANCE_MM = 0.002  # a fitted arc strays no farther from its curve
FOUND_MM = 2e-5
FLAT_MM = 0.001  # chords that stand farther off their circle were straight sides all along
_LARGEST_TURN = math.radians(40.0)  # from one chord of an arc to the next; larger is a corner
_FEWEST = 4  # points that make an arc
_SAMPLES = 12  # places per biarc at which the distance from the curve is measured
_DEEPEST = 24  # halvings; below this a stretch of curve is smaller than any bit can show


def arc_lines(centre: Floats | Point, radius: float, start_rad: float, sweep_rad: float) -> Floats:
    """Return an arc or a whole circle as arcs (n, 5) of at most half a turn each."""
    parts = max(1, math.ceil(abs(sweep_rad) / math.pi - 1e-9))
    angles = start_rad + sweep_rad * np.arange(parts + 1) / parts
    spots = np.column_stack([np.cos(angles), np.sin(angles)])
    spots[np.abs(spots) < 1e-15] = 0.0  # a quarter of a turn is one exactly
    points = radius * spots + centre
    if abs(abs(sweep_rad) - TURN) < 1e-12:
        points[-1] = points[0]
    bulge = math.tan(sweep_rad / parts / 4.0)
    exact = round(bulge, 12) if abs(abs(bulge) - 1.0) < 1e-12 else bulge
    return curves(points[:-1], points[1:], np.full(parts, exact))


def fit_arcs(
    curve: Curve, slope: Curve, first: float, last: float, tolerance_mm: float = CURVE_TOLERANCE_MM
) -> Floats:
    """Return lines and arcs (n, 5) that follow ``curve`` between two parameters within ``tolerance_mm``.

    ``slope`` is the curve's derivative.  Stretches are halved until the biarc over them is close enough at every sampled
    place; where the curve has no tangent (a cusp) the chord is used.  None where the curve is a point.
    """
    found = [np.zeros((0, 5))]
    hand = math.copysign(1.0, last - first)
    todo = [(first, last, 0)]
    while todo:
        low, high, depth = todo.pop()
        points = curve(np.linspace(low, high, _SAMPLES + 1))
        leave, arrive = _direction(slope, low, high, hand), _direction(slope, high, low, hand)
        pieces = _biarc(points[0], leave, points[-1], arrive)
        # A tenth is kept in hand for what lies between the sampled places.
        if pieces is not None and stray_from(points, pieces).max() <= 0.9 * tolerance_mm:
            found.append(pieces)
        elif depth >= _DEEPEST or size(points - points[0]).max() <= tolerance_mm:
            if (points[0] != points[-1]).any():
                found.append(np.array([[*points[0], *points[-1], 0.0]]))
        else:
            middle = (low + high) / 2.0
            todo += [(middle, high, depth + 1), (low, middle, depth + 1)]
    return np.vstack(found)


def bezier(control: Floats) -> tuple[Curve, Curve]:
    """Return a Bezier curve of any degree and its derivative; control points (n, 2), parameter 0 to 1."""

    def bernstein(points: Floats) -> Curve:
        degree = len(points) - 1
        power = np.arange(degree + 1)
        ways = np.array([math.comb(degree, k) for k in power])
        return lambda t: (
            points[0]
            + (ways * t[:, None] ** power * (1.0 - t[:, None]) ** (degree - power)) @ (points - points[0])
        )

    return bernstein(control), bernstein((len(control) - 1) * np.diff(control, axis=0))


def ellipse_arc(
    centre: Floats,
    major: Floats,
    minor: Floats,
    first_rad: float,
    sweep_rad: float,
    tolerance_mm: float = CURVE_TOLERANCE_MM,
) -> Floats:
    """Return the elliptical arc centre + major cos t + minor sin t as lines and arcs (n, 5).

    ``major`` and ``minor`` are any two conjugate half diameters, t runs from ``first_rad`` by ``sweep_rad``.
    """
    long, short = float(size(major)), float(size(minor))
    if abs(long - short) <= 1e-9 * long and abs(float(major @ minor)) <= 1e-9 * long * short:
        hand = math.copysign(1.0, cross(major, minor))
        start = math.atan2(major[1], major[0]) + hand * first_rad
        return arc_lines(centre, long, start, hand * sweep_rad)

    def curve(t: Floats) -> Floats:
        return np.asarray(centre + np.cos(t)[:, None] * major + np.sin(t)[:, None] * minor)

    def slope(t: Floats) -> Floats:
        return np.asarray(-np.sin(t)[:, None] * major + np.cos(t)[:, None] * minor)

    parts = max(1, math.ceil(abs(sweep_rad) / (math.pi / 2.0) - 1e-9))
    stops = [first_rad + sweep_rad * i / parts for i in range(parts + 1)]
    arcs = np.vstack([fit_arcs(curve, slope, stops[i], stops[i + 1], tolerance_mm) for i in range(parts)])
    if len(arcs) and abs(abs(sweep_rad) - TURN) < 1e-9:
        arcs[-1, 2:4] = arcs[0, :2]
    return arcs


def stray_from(points: Floats, arcs: Floats) -> Floats:
    """Return for each point (n, 2) the distance to the nearest of these lines and arcs (m, 5), shape (n,)."""
    return np.asarray(distances(points[:, None], arcs).min(axis=1))


def _direction(slope: Curve, at: float, towards: float, hand: float) -> Floats | None:
    """Return the unit tangent, looking a little inwards where it vanishes; ``hand`` is -1 where the parameter falls."""
    for share in (0.0, 1e-6, 1e-3):
        vector = hand * slope(np.array([at + share * (towards - at)]))[0]
        long = float(size(vector))
        if math.isfinite(long) and long > 1e-9:
            return np.asarray(vector / long)
    return None


def _biarc(start: Floats, leave: Floats | None, end: Floats, arrive: Floats | None) -> Floats | None:
    """Return two arcs tangent to both directions, with equal tangent lengths d.

    The joint lies halfway between start + d leave and end - d arrive where these are 2 d apart, so with v = end - start and
    t = leave + arrive: d² (t·t - 4) - 2 d v·t + v·v = 0.
    """
    if leave is None or arrive is None:
        return None
    way, both = end - start, leave + arrive
    square, along, bend = float(way @ way), float(way @ both), 4.0 - float(both @ both)
    # The stable form of the positive root of bend d² + 2 along d - square = 0.
    root = along + math.sqrt(along * along + bend * square)
    if square == 0.0 or root <= 0.0:
        return None
    d = square / root
    joint = (start + d * leave + end - d * arrive) / 2.0
    # The bulge of an arc is tan(half the angle between its chord and its tangent).
    tangent, chord = np.stack([leave, arrive]), np.stack([joint - start, end - joint])
    bulge = np.tan(np.arctan2(cross(tangent, chord), (tangent * chord).sum(axis=1)) / 2.0) * (1.0, -1.0)
    if np.abs(bulge).max() > 0.5:  # more than a third of a turn: halve first
        return None
    if np.abs(bulge).max() < 1e-9:
        return np.array([[*start, *end, 0.0]])
    return curves(np.stack([start, joint]), np.stack([joint, end]), bulge)


# --- arcs found again in polygons --------------------------------------------------------------------------------------


def with_arcs(ring_mm: Floats, tolerance_mm: float = FOUND_MM) -> Ring:
    """Return a closed polygon (n, 2) as a ring, runs of corners on one circle as arcs of at most half a turn.

    No corner of the polygon is farther than the tolerance from the arc that stands for it, no side farther than
    ``FLAT_MM``.
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
    return bulge if longest**2 / (8.0 * radius) <= FLAT_MM else None
