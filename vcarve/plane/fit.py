"""Smooth curves turned into circular arcs by biarcs: two arcs with one tangent where they meet, and the curve's at both ends.

Arcs are (start, end, bulge) here, see ``plane.arcs``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np

from vcarve.plane.arcs import TURN, Point, distances
from vcarve.plane.arrays import Floats

Curve = Callable[[Floats], Floats]  # parameters (n,) -> points (n, 2)
Arc = tuple[Point, Point, float]  # start, end, bulge

CURVE_TOLERANCE_MM = 0.002  # a fitted arc strays no farther from its curve
_SAMPLES = 12  # places per biarc at which the distance from the curve is measured
_DEEPEST = 24  # halvings; below this a stretch of curve is smaller than any bit can show


def arc_lines(centre: Point, radius: float, start_rad: float, sweep_rad: float) -> list[Arc]:
    """Return an arc or a whole circle as arcs of at most half a turn each."""
    parts = max(1, math.ceil(abs(sweep_rad) / math.pi - 1e-9))
    angles = start_rad + sweep_rad * np.arange(parts + 1) / parts
    spots = np.column_stack([np.cos(angles), np.sin(angles)])
    spots[np.abs(spots) < 1e-15] = 0.0  # a quarter of a turn is one exactly
    points = [_point(spot) for spot in radius * spots + centre]
    if abs(abs(sweep_rad) - TURN) < 1e-12:
        points[-1] = points[0]
    bulge = math.tan(sweep_rad / parts / 4.0)
    return [(*ends, round(bulge) if abs(abs(bulge) - 1.0) < 1e-12 else bulge) for ends in pairwise(points)]


def rows(arcs: Sequence[Arc]) -> Floats:
    """Return lines and arcs as curves (n, 5)."""
    return np.array([(*start, *end, bulge) for start, end, bulge in arcs])


def fit_arcs(
    curve: Curve, slope: Curve, first: float, last: float, tolerance_mm: float = CURVE_TOLERANCE_MM
) -> list[Arc]:
    """Return lines and arcs that follow ``curve`` between two parameters within ``tolerance_mm``.

    ``slope`` is the curve's derivative.  Stretches are halved until the biarc over them is close enough at every sampled
    place; where the curve has no tangent (a cusp) the chord is used.  An empty list where the curve is a point.
    """
    found: list[Arc] = []
    hand = math.copysign(1.0, last - first)
    todo = [(first, last, 0)]
    while todo:
        low, high, depth = todo.pop()
        points = curve(np.linspace(low, high, _SAMPLES + 1))
        start, end = _point(points[0]), _point(points[-1])
        size = float(np.max(np.hypot(*(points - points[0]).T)))
        if size == 0.0:
            continue
        leave, arrive = _direction(slope, low, high, hand), _direction(slope, high, low, hand)
        pieces = _biarc(start, leave, end, arrive)
        # A tenth is kept in hand for what lies between the sampled places.
        if pieces is not None and _stray(points, pieces) <= 0.9 * tolerance_mm:
            found.extend(pieces)
        elif depth >= _DEEPEST or (size <= tolerance_mm and start != end):
            found.append((start, end, 0.0))
        else:
            middle = (low + high) / 2.0
            todo += [(middle, high, depth + 1), (low, middle, depth + 1)]
    return found


def bezier(control: Floats) -> tuple[Curve, Curve]:
    """Return a Bezier curve of any degree and its derivative; control points (n, 2), parameter 0 to 1."""
    steps = (len(control) - 1) * np.diff(control, axis=0)
    return _casteljau(control), _casteljau(steps)


def ellipse_arc(
    centre: Point,
    major: Point,
    minor: Point,
    first_rad: float,
    sweep_rad: float,
    tolerance_mm: float = CURVE_TOLERANCE_MM,
) -> list[Arc]:
    """Return the elliptical arc centre + major cos t + minor sin t as lines and arcs.

    ``major`` and ``minor`` are any two conjugate half diameters, t runs from ``first_rad`` by ``sweep_rad``.
    """
    a, b, c = np.array(major), np.array(minor), np.array(centre)
    long, short = float(np.hypot(*a)), float(np.hypot(*b))
    if abs(long - short) <= 1e-9 * long and abs(float(a @ b)) <= 1e-9 * long * short:
        hand = math.copysign(1.0, float(a[0] * b[1] - a[1] * b[0]))
        start = math.atan2(a[1], a[0]) + hand * first_rad
        return arc_lines(centre, long, start, hand * sweep_rad)

    def curve(t: Floats) -> Floats:
        return np.asarray(c + np.cos(t)[:, None] * a + np.sin(t)[:, None] * b)

    def slope(t: Floats) -> Floats:
        return np.asarray(-np.sin(t)[:, None] * a + np.cos(t)[:, None] * b)

    parts = max(1, math.ceil(abs(sweep_rad) / (math.pi / 2.0) - 1e-9))
    stops = [first_rad + sweep_rad * i / parts for i in range(parts + 1)]
    arcs = [arc for i in range(parts) for arc in fit_arcs(curve, slope, stops[i], stops[i + 1], tolerance_mm)]
    if arcs and abs(abs(sweep_rad) - 2.0 * math.pi) < 1e-9:
        arcs[-1] = (arcs[-1][0], arcs[0][0], arcs[-1][2])
    return arcs


def stray_from(points: Floats, arcs: Sequence[Arc]) -> Floats:
    """Return for each point (n, 2) the distance to the nearest of these lines and arcs, shape (n,)."""
    return np.asarray(distances(points[:, None], rows(arcs)).min(axis=1))


def _point(pair: Floats) -> Point:
    return float(pair[0]), float(pair[1])


def _casteljau(control: Floats) -> Curve:
    def at(t: Floats) -> Floats:
        points = np.repeat(control[None, :, :], len(t), axis=0)
        share = t[:, None, None]
        while points.shape[1] > 1:
            points = points[:, :-1] + share * (points[:, 1:] - points[:, :-1])
        return np.asarray(points[:, 0])

    return at


def _direction(slope: Curve, at: float, towards: float, hand: float) -> Point | None:
    """Return the unit tangent, looking a little inwards where it vanishes; ``hand`` is -1 where the parameter falls."""
    for share in (0.0, 1e-6, 1e-3):
        vector = hand * slope(np.array([at + share * (towards - at)]))[0]
        size = float(np.hypot(*vector))
        if math.isfinite(size) and size > 1e-9:
            return float(vector[0]) / size, float(vector[1]) / size
    return None


def _biarc(start: Point, leave: Point | None, end: Point, arrive: Point | None) -> list[Arc] | None:
    """Return two arcs tangent to both directions, with equal tangent lengths d.

    The joint lies halfway between start + d leave and end - d arrive where these are 2 d apart, so with v = end - start and
    t = leave + arrive: d² (t·t - 4) - 2 d v·t + v·v = 0.
    """
    if leave is None or arrive is None:
        return None
    vx, vy = end[0] - start[0], end[1] - start[1]
    tx, ty = leave[0] + arrive[0], leave[1] + arrive[1]
    square, along, bend = vx * vx + vy * vy, vx * tx + vy * ty, 4.0 - tx * tx - ty * ty
    if square == 0.0:
        return None
    # The stable form of the positive root of bend d² + 2 along d - square = 0.
    root = along + math.sqrt(along * along + bend * square)
    if root <= 0.0:
        return None
    d = square / root
    joint = (
        (start[0] + d * leave[0] + end[0] - d * arrive[0]) / 2.0,
        (start[1] + d * leave[1] + end[1] - d * arrive[1]) / 2.0,
    )
    first = _tangent_bulge(leave, (joint[0] - start[0], joint[1] - start[1]))
    second = -_tangent_bulge(arrive, (end[0] - joint[0], end[1] - joint[1]))
    if max(abs(first), abs(second)) > 0.5:  # more than a third of a turn: halve first
        return None
    if abs(first) < 1e-9 and abs(second) < 1e-9:
        return [(start, end, 0.0)]
    return [(start, joint, first), (joint, end, second)]


def _tangent_bulge(tangent: Point, chord: Point) -> float:
    """Return the bulge of the arc over ``chord`` that starts along ``tangent``: tan(half the angle between them)."""
    cross = tangent[0] * chord[1] - tangent[1] * chord[0]
    dot = tangent[0] * chord[0] + tangent[1] * chord[1]
    return math.tan(math.atan2(cross, dot) / 2.0)


def _stray(points: Floats, arcs: Sequence[Arc]) -> float:
    return float(stray_from(points, arcs).max())
