"""A region of the plane bounded by lines and arcs: a piece's outline, or the field inside its margin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from vcarve.plane.fit import Arc, chord_points

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ring:
    """A closed run of lines and arcs.

    ``xy_mm`` (n, 2) are its corners, ``bulge`` (n,) belongs to the side from corner ``i`` to corner ``i + 1`` (the last side
    returns to corner 0); see ``pattern.model.Line`` for the bulge.
    """

    xy_mm: npt.NDArray[np.float64]
    bulge: npt.NDArray[np.float64]

    def __post_init__(self) -> None:
        self.xy_mm.setflags(write=False)
        self.bulge.setflags(write=False)

    @property
    def curves(self) -> Floats:
        """The sides as rows (x0, y0, x1, y1, bulge), shape (n, 5)."""
        return np.column_stack([self.xy_mm, np.roll(self.xy_mm, -1, axis=0), self.bulge])


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """An outer ring, counter-clockwise, and the rings of its holes, clockwise.  Origin at the piece's centre."""

    outer: Ring
    holes: tuple[Ring, ...] = ()

    @property
    def rings(self) -> tuple[Ring, ...]:
        """The outer ring, then the holes."""
        return (self.outer, *self.holes)


def rectangle(width_mm: float, height_mm: float) -> Region:
    """Return the rectangle of this size about the origin."""
    x, y = width_mm / 2.0, height_mm / 2.0
    corners = np.array([(-x, -y), (x, -y), (x, y), (-x, y)])
    return Region(outer=Ring(xy_mm=corners, bulge=np.zeros(4)))


def bounds_of(start: Floats, end: Floats, bulge: Floats) -> tuple[Floats, Floats]:
    """Return the lowest and the highest coordinates, each (2,), of lines and arcs given by their ends (n, 2)."""
    low, high = np.minimum(start, end).min(axis=0), np.maximum(start, end).max(axis=0)
    arcs = np.flatnonzero(bulge)
    if not len(arcs):
        return low, high
    centre, radius, first, sweep = _circles(start[arcs], end[arcs], bulge[arcs])
    for quarter in range(4):
        angle = quarter * np.pi / 2.0
        way = np.where(sweep > 0.0, angle - first, first - angle) % (2.0 * np.pi)
        hit = way < np.abs(sweep)
        if hit.any():
            places = centre[hit] + radius[hit][:, None] * (np.round(np.cos(angle)), np.round(np.sin(angle)))
            low, high = np.minimum(low, places.min(axis=0)), np.maximum(high, places.max(axis=0))
    return low, high


def bounds(region: Region) -> tuple[float, float, float, float]:
    """Return left, front, right and back of a region, in millimetres."""
    ring = region.outer
    low, high = bounds_of(ring.xy_mm, np.roll(ring.xy_mm, -1, axis=0), ring.bulge)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def ring_area(ring: Ring) -> float:
    """Return the signed area of a ring in mm²: positive where it runs counter-clockwise.

    The polygon of its corners (shoelace formula) plus a segment of the circle, r² (φ - sin φ) / 2, for every arc.
    """
    start, end = ring.xy_mm, np.roll(ring.xy_mm, -1, axis=0)
    area = float(np.sum(start[:, 0] * end[:, 1] - end[:, 0] * start[:, 1])) / 2.0
    arcs = np.flatnonzero(ring.bulge)
    if len(arcs):
        _, radius, _, sweep = _circles(start[arcs], end[arcs], ring.bulge[arcs])
        area += float(np.sum(radius**2 * (sweep - np.sin(sweep)))) / 2.0
    return area


def area_mm2(region: Region) -> float:
    """Return the area of a region, its holes taken off."""
    return sum(ring_area(ring) for ring in region.rings)


def perimeter_mm(region: Region) -> float:
    """Return the length of a region's boundary, round its holes too."""
    total = 0.0
    for ring in region.rings:
        chord = np.hypot(*(np.roll(ring.xy_mm, -1, axis=0) - ring.xy_mm).T)
        half = 2.0 * np.arctan(np.abs(ring.bulge))
        # np.sinc(x) is sin(pi x) / (pi x): 1 for a straight side.
        total += float(np.sum(chord / np.sinc(half / np.pi)))
    return total


def contains(region: Region, xy_mm: Floats) -> Bools:
    """Tell which points (n, 2) lie in the region and in none of its holes; on the boundary itself either may be told.

    Even-odd rule on the polygon of the corners; a point between an arc and its chord counts once more.
    """
    x, y = xy_mm[:, 0], xy_mm[:, 1]
    inside = np.zeros(len(xy_mm), dtype=np.bool_)
    for ring in region.rings:
        start, end = ring.xy_mm, np.roll(ring.xy_mm, -1, axis=0)
        for a, b, bulge in zip(start, end, ring.bulge, strict=True):
            dx, dy = b[0] - a[0], b[1] - a[1]
            side = dx * (y - a[1]) - dy * (x - a[0])  # positive to the left of the chord
            crosses = (a[1] > y) != (b[1] > y)
            inside ^= crosses & ((side > 0.0) == (dy > 0.0))
            if bulge != 0.0:
                centre, radius, _, _ = _circles(a[None], b[None], np.array([bulge]))
                disc = (x - centre[0, 0]) ** 2 + (y - centre[0, 1]) ** 2 < radius[0] ** 2
                # Points on the chord itself go where the even-odd rule has put them: as if a hair higher and to the right.
                on = np.sign(dx) if dy == 0.0 else -1.0
                beyond = np.where(side == 0.0, on, side) * bulge < 0.0
                inside ^= disc & beyond
    return inside


def chords(ring: Ring, sag_mm: float = 0.0005) -> Floats:
    """Return a ring as corners (n, 2) of a polygon that strays from its arcs by at most ``sag_mm``."""
    ends = np.roll(ring.xy_mm, -1, axis=0)
    return np.vstack(
        [
            chord_points((float(a[0]), float(a[1])), (float(b[0]), float(b[1])), float(bulge), sag_mm)
            for a, b, bulge in zip(ring.xy_mm, ends, ring.bulge, strict=True)
        ]
    )


def ring_of(arcs: Sequence[Arc]) -> Ring:
    """Return the ring of lines and arcs that follow each other and close."""
    return Ring(xy_mm=np.array([arc[0] for arc in arcs]), bulge=np.array([arc[2] for arc in arcs]))


def reversed_ring(ring: Ring) -> Ring:
    """Return the ring walked the other way."""
    return Ring(xy_mm=np.roll(ring.xy_mm[::-1], 1, axis=0).copy(), bulge=-ring.bulge[::-1])


def _circles(start: Floats, end: Floats, bulge: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return centre (n, 2), radius, first angle and signed sweep (n,) of arcs; see ``curves.circular``."""
    chord = end - start
    off = (1.0 - bulge**2) / (4.0 * bulge)
    centre = (start + end) / 2.0 + np.column_stack([-chord[:, 1] * off, chord[:, 0] * off])
    radius = (1.0 + bulge**2) / (4.0 * np.abs(bulge)) * np.hypot(chord[:, 0], chord[:, 1])
    first = np.arctan2(start[:, 1] - centre[:, 1], start[:, 0] - centre[:, 0])
    return centre, radius, first, 4.0 * np.arctan(bulge)
