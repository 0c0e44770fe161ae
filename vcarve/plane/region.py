"""A region of the plane bounded by lines and arcs: a piece's outline, or the field inside its margin."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from vcarve.plane.arcs import (
    beside,
    boxes,
    chord_counts,
    chords,
    circles,
    cross,
    evenly,
    halved,
    lengths,
    points,
    segment_areas,
    size,
    turned,
)
from vcarve.plane.arrays import Bools, Floats, Ints, ReadOnly

SAG_MM = 1e-4  # how far the straight copy of an arc may stand off it where only nearness is asked


@dataclass(frozen=True, slots=True, kw_only=True)
class Ring(ReadOnly):
    """A closed run of lines and arcs.

    ``xy_mm`` (n, 2) are its corners, ``bulge`` (n,) belongs to the side from corner ``i`` to corner ``i + 1`` (the last side
    returns to corner 0); see ``plane.arcs`` for the bulge.
    """

    xy_mm: Floats
    bulge: Floats

    @property
    def curves(self) -> Floats:
        """The sides as curves (n, 5)."""
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


def bounds(region: Region) -> tuple[float, float, float, float]:
    """Return left, front, right and back of a region, in millimetres."""
    box = boxes(region.outer.curves)
    return (*box[:, :2].min(axis=0).tolist(), *box[:, 2:].max(axis=0).tolist())


def ring_area(ring: Ring) -> float:
    """Return the signed area of a ring in mm²: positive where it runs counter-clockwise."""
    sides = ring.curves
    return float(np.sum(cross(sides[:, :2], sides[:, 2:4])) / 2.0 + np.sum(segment_areas(sides)))


def area_mm2(region: Region) -> float:
    """Return the area of a region, its holes taken off."""
    return sum(ring_area(ring) for ring in region.rings)


def perimeter_mm(region: Region) -> float:
    """Return the length of a region's boundary, round its holes too."""
    return float(sum(lengths(ring.curves).sum() for ring in region.rings))


def half_turns(region: Region) -> Floats:
    """Return the sides of all rings as curves (n, 5) that turn by half a circle at most."""
    return halved(np.vstack([ring.curves for ring in region.rings]))[0]


def corners(ring: Ring, sag_mm: float = 0.0005) -> Floats:
    """Return a ring as corners (n, 2) of a polygon that strays from its arcs by at most ``sag_mm``."""
    return chords(ring.curves, sag_mm)[0]


def polygon(region: Region, sag_mm: float = SAG_MM) -> shapely.Polygon:
    """Return the region as a polygon whose arcs are flattened within ``sag_mm``."""
    return shapely.Polygon(corners(region.outer, sag_mm), [corners(hole, sag_mm) for hole in region.holes])


def polygons(sides: Floats, ring: Ints, of: Ints, sag_mm: float) -> npt.NDArray[np.object_]:
    """Return polygons of shapely (m,) from the sides (n, 5) of rings, whose arcs are flattened within ``sag_mm``.

    ``ring`` (n,) numbers the rings, ``of`` (r,) the polygons that they bound, each the outer one first; both begin at 0 and rise.
    """
    count = chord_counts(sides, sag_mm)
    count[np.bincount(ring)[ring] == 2] += 1  # two flat sides make a ring as well
    side, share = evenly(count)
    # A side walked out and back has the very same places both ways, or a slit would open between the two.
    x0, y0, x1, y1, _ = sides.T
    back = (x0 > x1) | ((x0 == x1) & (y0 > y1))
    nth = np.rint(share * count[side])
    share = np.where(back[side], count[side] - nth, nth) / count[side]
    one_way = np.where(back[:, None], turned(sides), sides)
    rings: Any = shapely.linearrings(points(one_way[side], share), indices=ring[side])
    return np.asarray(shapely.polygons(rings, indices=of), dtype=object)


def rings_of(shape: shapely.Geometry) -> list[Floats]:
    """Return the rings of polygons of shapely as corners (n, 2) on whole nanometres: counter-clockwise, holes clockwise."""
    parts = shapely.orient_polygons(shapely.get_parts(shape), exterior_cw=False)
    rings = [np.round(shapely.get_coordinates(ring)[:-1], 6) for ring in shapely.get_rings(parts)]
    apart = [ring[(ring != np.roll(ring, 1, axis=0)).any(axis=1)] for ring in rings]
    return [ring for ring in apart if len(ring) > 2]


def lines_along(curve: Floats, sag_mm: float) -> npt.NDArray[np.object_]:
    """Return curves (n, 5) as chains of chords that stray from their arcs by at most ``sag_mm``, lines of shapely (n,)."""
    spots, count = chords(curve, sag_mm)
    every = np.insert(spots, np.cumsum(count), curve[:, 2:4], axis=0)
    owner = np.repeat(np.arange(len(count)), count + 1)
    return np.asarray(shapely.linestrings(every, indices=owner), dtype=object)


def upright(box: Floats, grow: Floats | float = 0.0) -> npt.NDArray[np.object_]:
    """Return boxes (n, 4), as ``plane.arcs.boxes`` gives them, grown on all sides, as polygons of shapely (n,)."""
    low, high = box[:, :2].T - grow, box[:, 2:].T + grow
    return np.asarray(shapely.box(*low, *high), dtype=object)


def inside(region: Region, xy_mm: Floats) -> Bools:
    """Tell which places (n, 2) lie in the region, exactly also beside its arcs; on the boundary itself either may be told."""
    flat = polygon(region)
    shapely.prepare(flat)
    result = np.asarray(shapely.contains_xy(flat, xy_mm[:, 0], xy_mm[:, 1]), dtype=bool)
    sides = half_turns(region)
    sides = sides[sides[:, 4] != 0.0]
    if not len(sides):
        return result
    near = np.flatnonzero(shapely.dwithin(shapely.points(xy_mm), shapely.boundary(flat), 2.0 * SAG_MM))
    centre, radius = circles(sides)
    spot = xy_mm[near, None]
    away = size(spot - centre) - radius
    # Where a place is beyond an arc's chord, on its side, and near its circle, the circle decides.
    by_circle = (beside(spot, sides) * sides[:, 4] <= 0.0) & (np.abs(away) < 2.0 * SAG_MM)
    which = by_circle.argmax(axis=1)
    rows = np.flatnonzero(by_circle.any(axis=1))
    result[near[rows]] = (away[rows, which[rows]] < 0.0) == (sides[which[rows], 4] > 0.0)
    return result


def ring_of(sides: Floats) -> Ring:
    """Return the ring of curves (n, 5) that follow each other and close."""
    return Ring(xy_mm=sides[:, :2].copy(), bulge=sides[:, 4].copy())


def reversed_ring(ring: Ring) -> Ring:
    """Return the ring walked the other way, from the same corner."""
    return ring_of(turned(ring.curves)[::-1])
