"""Regions grown or shrunk by a distance: the field inside a margin, a frame, the piece with lines running off it.

Each side is moved by the distance and the moved sides are cut or joined where they meet: exact for lines and arcs.  The
result is compared with the offset of a fine polygon; where moved sides have met others than their neighbours, that
polygon is taken instead.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vcarve.plane.arcs import Point
from vcarve.plane.fit import Arc, Floats, circular
from vcarve.plane.refit import with_arcs
from vcarve.plane.region import Region, Ring, area_mm2, chords, perimeter_mm, ring_area, ring_of

TOLERANCE_MM = 0.0005
_NM = 1_000_000


def inset(region: Region, distance_mm: float) -> tuple[Region, ...]:
    """Return what is left of a region ``distance_mm`` inside its boundary: no part, one or several, the largest first."""
    if distance_mm == 0.0:
        return (region,)
    fine = _fine(region, distance_mm)
    moved = [_moved(ring, distance_mm) for ring in region.rings]
    if len(fine) == 1 and moved[0] is not None and all(ring is not None for ring in moved):
        exact = Region(outer=moved[0], holes=tuple(ring for ring in moved[1:] if ring is not None))
        # Two offsets of one region within the tolerance of each other differ at most by a strip that wide.
        if _agree(exact, fine[0]):
            return (exact,)
    return fine


def _agree(exact: Region, fine: Region) -> bool:
    from shapely.geometry import Polygon

    if len(exact.rings) != len(fine.rings) or ring_area(exact.outer) <= 0.0:
        return False
    strip = 4.0 * TOLERANCE_MM * perimeter_mm(fine) + TOLERANCE_MM**2
    if abs(area_mm2(exact) - area_mm2(fine)) > strip:
        return False
    drawn = Polygon(chords(exact.outer), [chords(hole) for hole in exact.holes])
    if not drawn.is_valid:
        return False
    other = Polygon(chords(fine.outer), [chords(hole) for hole in fine.holes])
    return bool(drawn.symmetric_difference(other).area <= strip)


@dataclass(frozen=True, slots=True)
class _Side:
    """A side moved by the distance: a line through ``start`` and ``end``, or an arc of a circle."""

    start: Point
    end: Point
    hand: float  # 0 a line, 1 an arc counter-clockwise, -1 clockwise
    centre: Point = (0.0, 0.0)
    radius: float = 0.0

    def bulge(self, start: Point, end: Point) -> float:
        """Return the bulge of this side's part between two of its points."""
        if self.hand == 0.0:
            return 0.0
        a = math.atan2(start[1] - self.centre[1], start[0] - self.centre[0])
        b = math.atan2(end[1] - self.centre[1], end[0] - self.centre[0])
        sweep = (self.hand * (b - a)) % (2.0 * math.pi)
        return self.hand * math.tan(sweep / 4.0)


def _moved(ring: Ring, distance: float) -> Ring | None:
    """Return the ring moved to its left by the distance, or ``None`` where that has no simple answer."""
    ends = np.roll(ring.xy_mm, -1, axis=0)
    sides: list[tuple[_Side, Point]] = []  # each with the corner of the ring at its end
    for a, b, bulge in zip(ring.xy_mm.tolist(), ends.tolist(), ring.bulge.tolist(), strict=True):
        side = _move((a[0], a[1]), (b[0], b[1]), bulge, distance)
        if side is not None:
            sides.append((side, (b[0], b[1])))
    if not sides or (len(sides) == 1 and sides[0][0].hand == 0.0):
        return None
    joints: list[
        tuple[Point, Point]
    ] = []  # end of a side, start of the next: apart where an arc goes between
    for i, (side, corner) in enumerate(sides):
        joint = _meet(side, sides[(i + 1) % len(sides)][0], corner, distance)
        if joint is None:
            return None
        joints.append(joint)
    arcs: list[Arc] = []
    for i, (side, corner) in enumerate(sides):
        start, end = joints[i - 1][1], joints[i][0]
        if math.dist(start, end) > 1e-9:
            arcs.append((start, end, side.bulge(start, end)))
        if math.dist(*joints[i]) > 1e-9:
            hand = -math.copysign(1.0, distance)
            round_corner = _Side(*joints[i], hand, corner, abs(distance))
            arcs.append((*joints[i], round_corner.bulge(*joints[i])))
    arcs = [(start, arcs[(i + 1) % len(arcs)][0], bulge) for i, (start, _, bulge) in enumerate(arcs)]
    return ring_of(arcs) if len(arcs) >= 2 else None


def _move(start: Point, end: Point, bulge: float, distance: float) -> _Side | None:
    """Return a side moved to its left, or ``None`` for an arc that has shrunk away."""
    if bulge == 0.0:
        size = math.dist(start, end)
        nx, ny = -(end[1] - start[1]) / size * distance, (end[0] - start[0]) / size * distance
        return _Side((start[0] + nx, start[1] + ny), (end[0] + nx, end[1] + ny), 0.0)
    arc = circular(start, end, bulge)
    hand = math.copysign(1.0, bulge)
    radius = arc.radius - hand * distance
    if radius <= 1e-9:
        return None
    share = radius / arc.radius
    moved = [
        (arc.centre[0] + (p[0] - arc.centre[0]) * share, arc.centre[1] + (p[1] - arc.centre[1]) * share)
        for p in (start, end)
    ]
    return _Side(moved[0], moved[1], hand, arc.centre, radius)


def _meet(first: _Side, second: _Side, corner: Point, distance: float) -> tuple[Point, Point] | None:
    """Return where ``first`` is left and where ``second`` is entered."""
    if math.dist(first.end, second.start) <= 1e-7:
        return first.end, first.end
    ax, ay = first.end[0] - corner[0], first.end[1] - corner[1]
    bx, by = second.start[0] - corner[0], second.start[1] - corner[1]
    near = max(abs(math.hypot(ax, ay) - abs(distance)), abs(math.hypot(bx, by) - abs(distance))) <= 1e-7
    turn = (ax * by - ay * bx) * math.copysign(1.0, distance)
    if near and turn < 0.0:  # a corner that points towards the moved side: round
        return first.end, second.start
    places = _crossings(first, second)
    if not places:
        return None
    best = min(places, key=lambda p: math.dist(p, first.end) + math.dist(p, second.start))
    return best, best


def _crossings(first: _Side, second: _Side) -> list[Point]:
    """Return the points common to the whole lines or circles two sides lie on."""
    if first.hand == 0.0 and second.hand == 0.0:
        ux, uy = first.end[0] - first.start[0], first.end[1] - first.start[1]
        vx, vy = second.end[0] - second.start[0], second.end[1] - second.start[1]
        cross = ux * vy - uy * vx
        if abs(cross) <= 1e-12 * math.hypot(ux, uy) * math.hypot(vx, vy):
            return []
        t = ((second.start[0] - first.start[0]) * vy - (second.start[1] - first.start[1]) * vx) / cross
        return [(first.start[0] + t * ux, first.start[1] + t * uy)]
    if first.hand == 0.0:
        return _line_circle(first, second)
    if second.hand == 0.0:
        return _line_circle(second, first)
    dx, dy = second.centre[0] - first.centre[0], second.centre[1] - first.centre[1]
    apart = math.hypot(dx, dy)
    if apart <= 1e-12:
        return []
    along = (apart * apart + first.radius**2 - second.radius**2) / (2.0 * apart)
    square = first.radius**2 - along * along
    if square < 0.0:
        return []
    across = math.sqrt(square)
    px, py = first.centre[0] + along * dx / apart, first.centre[1] + along * dy / apart
    return [(px - s * across * dy / apart, py + s * across * dx / apart) for s in (1.0, -1.0)]


def _line_circle(line: _Side, arc: _Side) -> list[Point]:
    ux, uy = line.end[0] - line.start[0], line.end[1] - line.start[1]
    size = math.hypot(ux, uy)
    ux, uy = ux / size, uy / size
    wx, wy = arc.centre[0] - line.start[0], arc.centre[1] - line.start[1]
    along, away = ux * wx + uy * wy, ux * wy - uy * wx
    square = arc.radius**2 - away * away
    if square < 0.0:
        return []
    half = math.sqrt(square)
    return [(line.start[0] + s * ux, line.start[1] + s * uy) for s in (along - half, along + half)]


def _fine(region: Region, distance: float) -> tuple[Region, ...]:
    """Return the offset of the region by way of polygons on the nanometre grid, arcs within ``TOLERANCE_MM``."""
    import pyclipper

    offset = pyclipper.PyclipperOffset(2.0, TOLERANCE_MM * _NM)
    for ring in region.rings:
        path = np.round(chords(ring, TOLERANCE_MM) * _NM).astype(np.int64).tolist()
        offset.AddPath(path, pyclipper.JT_ROUND, pyclipper.ET_CLOSEDPOLYGON)
    tree = offset.Execute2(-distance * _NM)
    parts: list[Region] = []
    todo = list(tree.Childs)
    while todo:
        outer = todo.pop()
        holes = [_polygon(hole.Contour) for hole in outer.Childs]
        todo += [island for hole in outer.Childs for island in hole.Childs]
        edge = _polygon(outer.Contour)
        if edge is not None:
            parts.append(Region(outer=edge, holes=tuple(hole for hole in holes if hole is not None)))
    return tuple(sorted(parts, key=area_mm2, reverse=True))


def _polygon(contour: list[list[int]]) -> Ring | None:
    """Return a contour as a ring whose runs of corners on one circle are arcs again, or ``None`` for a speck."""
    xy: Floats = np.array(contour, dtype=float) / _NM
    sides = with_arcs(xy, TOLERANCE_MM / 10.0)
    ring = Ring(xy_mm=np.array([side[:2] for side in sides]), bulge=np.array([side[2] for side in sides]))
    return ring if len(contour) >= 3 and abs(ring_area(ring)) > TOLERANCE_MM**2 else None
