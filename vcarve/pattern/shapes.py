"""Plain outlines about the origin: rounded rectangles, circles, ellipses and regular polygons."""

from __future__ import annotations

import math

import numpy as np

from vcarve.plane.arcs import curves, size, turned
from vcarve.plane.fit import ellipse_arc
from vcarve.plane.region import Region, Ring, rectangle, ring_of

ELLIPSE_TOLERANCE_MM = 0.0005


def rounded_rectangle(width_mm: float, height_mm: float, radius_mm: float) -> Region:
    """Return a rectangle whose corners are quarter circles; the radius is at most half the shorter side."""
    if radius_mm == 0.0:
        return rectangle(width_mm, height_mm)
    # Each side, and a quarter circle about the corner after it of the rectangle that far inside.
    inner = rectangle(width_mm - 2.0 * radius_mm, height_mm - 2.0 * radius_mm).outer.xy_mm
    out = radius_mm * np.array([(0.0, -1.0), (1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)])
    corner = np.roll(inner, -1, axis=0)
    sides = curves(inner + out, corner + out, np.zeros(4))
    turns = curves(corner + out, corner + np.roll(out, -1, axis=0), np.full(4, math.tan(math.pi / 8.0)))
    both = np.stack([sides, turns], axis=1).reshape(-1, 5)
    # Where a straight side has no length left, its two corners are one.
    return Region(outer=ring_of(both[size(both[:, 2:4] - both[:, :2]) > 1e-9]))


def circle(diameter_mm: float) -> Region:
    """Return a circle as four quarter arcs."""
    return rounded_rectangle(diameter_mm, diameter_mm, diameter_mm / 2.0)


def ellipse(width_mm: float, height_mm: float) -> Region:
    """Return an ellipse as arcs that stray from it by at most ``ELLIPSE_TOLERANCE_MM``; one quarter, mirrored."""
    if width_mm == height_mm:
        return circle(width_mm)
    a, b = width_mm / 2.0, height_mm / 2.0
    major, minor = np.array([(a, 0.0), (0.0, b)])
    sides = ellipse_arc(np.zeros(2), major, minor, 0.0, math.pi / 2.0, ELLIPSE_TOLERANCE_MM)
    sides[0, :2], sides[-1, 2:4] = (a, 0.0), (0.0, b)
    half = np.vstack([sides, turned(sides * (-1.0, 1.0, -1.0, 1.0, -1.0))[::-1]])
    return Region(outer=ring_of(np.vstack([half, half * (-1.0, -1.0, -1.0, -1.0, 1.0)])))


def regular_polygon(sides: int, turn_deg: float) -> Region:
    """Return a regular polygon with its corners on a circle of 1 mm radius; without a turn one side lies flat at the front."""
    first = -math.pi / 2.0 + math.pi / sides + math.radians(turn_deg)
    angles = first + 2.0 * math.pi * np.arange(sides) / sides
    corners = np.column_stack([np.cos(angles), np.sin(angles)])
    return Region(outer=Ring(xy_mm=corners, bulge=np.zeros(sides)))
