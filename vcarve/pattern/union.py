"""The lines of one unit cell, each once: doubled and overlapping pieces united, straight continuations joined.

Everything happens modulo the lattice: two lines that differ by a shift of the lattice are the same line.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from vcarve.pattern.model import Line, Point, rows
from vcarve.pattern.symmetry import TOLERANCE, Lattice
from vcarve.plane.arcs import Floats, circles, cut, directions, joined, lengths, middles, shares

_GRID = 1_000_000  # hash cells per lattice vector; wider than the tolerance by far


class Places:
    """Numbers points: those that differ by a lattice shift, or by less than the tolerance, share a number."""

    def __init__(self, lattice: Lattice) -> None:
        self.lattice = lattice
        self.points: list[Point] = []
        self._cells: dict[tuple[int, int], list[int]] = defaultdict(list)

    def number(self, point: Point) -> int:
        """Return the number of a point, a new one when it has not been seen."""
        known = self.find(point)
        if known is not None:
            return known
        self._cells[self._cell(point)].append(len(self.points))
        self.points.append(point)
        return len(self.points) - 1

    def find(self, point: Point) -> int | None:
        """Return the number of a point, ``None`` when it has not been seen."""
        column, row = self._cell(point)
        for i in (-1, 0, 1):
            for j in (-1, 0, 1):
                for number in self._cells.get(((column + i) % _GRID, (row + j) % _GRID), ()):
                    if self.lattice.same(point, self.points[number]):
                        return number
        return None

    def _cell(self, point: Point) -> tuple[int, int]:
        u, v = self.lattice.coordinates(point)
        return math.floor(u * _GRID) % _GRID, math.floor(v * _GRID) % _GRID

    def snapped(self, point: Point) -> Point:
        """Return the place's first-seen point, shifted by the lattice to where ``point`` is."""
        place = self.points[self.number(point)]
        u, v = self.lattice.coordinates((point[0] - place[0], point[1] - place[1]))
        dx, dy = self.lattice.point(round(u), round(v))
        return (place[0] + dx, place[1] + dy)


def united(lines: Iterable[Line], lattice: Lattice) -> tuple[Line, ...]:
    """Return the same line work modulo the lattice with nothing doubled, in few and long pieces.

    Where a ground line and a leaf line cover each other the ground line stays.  Pieces that continue each other
    are joined where nothing else ends; each line's middle is moved into the unit cell.
    """
    pieces = _once(lines, lattice)
    pieces = _once(_cut_at_overlaps(pieces, lattice), lattice)
    return tuple(_homed(line, lattice) for line in _joined(pieces, lattice))


def total_length(lines: Iterable[Line]) -> float:
    """Return the sum of the lines' lengths."""
    return math.fsum(lengths(rows(lines)))


def covers_itself(lines: Sequence[Line], images: Iterable[Line], lattice: Lattice) -> bool:
    """Return whether ``images`` lie on ``lines`` modulo the lattice, feature by feature: nothing new, nothing left over."""
    images = tuple(images)
    for feature in {line.feature for line in (*lines, *images)}:
        here = [line for line in lines if line.feature == feature]
        there = [line for line in images if line.feature == feature]
        length = total_length(here)
        together = total_length(united([*here, *there], lattice))
        if abs(total_length(there) - length) > 1e-9 * length or abs(together - length) > 1e-9 * length:
            return False
    return True


def _once(lines: Iterable[Line], lattice: Lattice) -> list[Line]:
    """Drop pieces that are the same modulo the lattice, and let ends that meet be the same numbers exactly."""
    places = Places(lattice)
    kept: dict[tuple[int, int], list[Line]] = defaultdict(list)
    for line in lines:
        first, last = places.number(line.start), places.number(line.end)
        snapped = Line(
            start=places.snapped(line.start),
            end=places.snapped(line.end),
            bulge=line.bulge,
            feature=line.feature,
        )
        known = kept[min(first, last), max(first, last)]
        for index, other in enumerate(known):
            if _same(snapped, other, lattice) or _same(snapped.turned, other, lattice):
                if line.feature < other.feature:
                    known[index] = snapped
                break
        else:
            known.append(snapped)
    return [line for known in kept.values() for line in known]


def _same(line: Line, other: Line, lattice: Lattice) -> bool:
    """Return whether two lines, walked from start to end, differ by no more than a shift of the lattice."""
    near = 1e-8 * lattice.size
    if not lattice.same(line.start, other.start) or abs(line.bulge - other.bulge) > 1e-8:
        return False
    dx = (line.end[0] - line.start[0]) - (other.end[0] - other.start[0])
    dy = (line.end[1] - line.start[1]) - (other.end[1] - other.start[1])
    return math.hypot(dx, dy) < near


@dataclass(frozen=True, slots=True)
class _Carrier:
    """What a line lies on: the centre and radius of an arc's circle, or the middle and direction of a straight line."""

    bent: bool
    place: Point
    radius: float
    ahead: Point
    length: float

    def keys(self, lattice: Lattice) -> tuple[tuple[bool, int], ...]:
        """Return hash keys of the carrier: direction of a straight line, radius of an arc; two against rounding."""
        if self.bent:
            measure, wrap = self.radius / lattice.size * _GRID, 0
        else:
            measure, wrap = math.atan2(self.ahead[1], self.ahead[0]) / math.pi % 1.0 * _GRID, _GRID
        nearest, low = round(measure), math.floor(measure)
        other = low if nearest != low else low + 1
        return tuple((self.bent, key % wrap if wrap else key) for key in (nearest, other))


def _carriers(curve: Floats) -> list[_Carrier]:
    bent = curve[:, 4] != 0.0
    centre, radius = circles(curve)
    place = np.where(bent[:, None], centre, middles(curve))
    columns = (bent, place, radius, directions(curve, 0.5), lengths(curve))
    return [
        _Carrier(b, (x, y), r, (u, v), s)
        for b, (x, y), r, (u, v), s in zip(*(c.tolist() for c in columns), strict=True)
    ]


def _cut_at_overlaps(lines: Sequence[Line], lattice: Lattice) -> list[Line]:
    """Cut every line at the ends of the lines that run along it, so that what is doubled is doubled whole."""
    curve = rows(lines)
    carriers = _carriers(curve)
    alike: dict[tuple[bool, int], list[int]] = defaultdict(list)
    for index, carrier in enumerate(carriers):
        for key in carrier.keys(lattice):
            alike[key].append(index)
    ends = [
        (index, x + dx, y + dy)
        for index, carrier in enumerate(carriers)
        for other in alike[carrier.keys(lattice)[0]]
        for dx, dy in _shifts_onto(carrier, carriers[other], lattice)
        for x, y in (lines[other].start, lines[other].end)
    ]
    which = np.array([index for index, _, _ in ends], dtype=np.int64)
    share = shares(np.array([spot for _, *spot in ends]), curve[which])
    near = 1e-8 * lattice.size / lengths(curve)
    inside = (near[which] < share) & (share < 1.0 - near[which])
    pieces: list[Line] = []
    for index, line in enumerate(lines):
        stops = share[inside & (which == index)]
        if not len(stops):
            pieces.append(line)
            continue
        for x0, y0, x1, y1, bulge in cut(curve[index], stops, float(near[index])).tolist():
            pieces.append(Line(start=(x0, y0), end=(x1, y1), bulge=bulge, feature=line.feature))
    return pieces


def _shifts_onto(line: _Carrier, other: _Carrier, lattice: Lattice) -> list[Point]:
    """Return the lattice shifts that lay ``other`` on the carrier of ``line``, near it."""
    (x, y), (there_x, there_y) = line.place, other.place
    u, v = lattice.coordinates((x - there_x, y - there_y))
    if line.bent:
        same = lattice.same(line.place, other.place)
        alike = abs(line.radius - other.radius) <= TOLERANCE * lattice.size
        return [lattice.point(round(u), round(v))] if same and alike else []
    reach = (line.length + other.length) / 2.0 * 1.001
    area = abs(lattice.area)
    across_u, across_v = reach * math.hypot(*lattice.a2) / area, reach * math.hypot(*lattice.a1) / area
    (ahead_x, ahead_y), (onward_x, onward_y) = line.ahead, other.ahead
    near = 1e-9 * lattice.size
    if abs(ahead_x * onward_y - ahead_y * onward_x) * max(line.length, other.length) > near:
        return []
    found = []
    for i in range(math.ceil(u - across_u), math.floor(u + across_u) + 1):
        for j in range(math.ceil(v - across_v), math.floor(v + across_v) + 1):
            dx, dy = lattice.point(i, j)
            if abs(ahead_x * (there_y + dy - y) - ahead_y * (there_x + dx - x)) <= near:
                found.append((dx, dy))
    return found


def _joined(lines: list[Line], lattice: Lattice) -> list[Line]:
    """Join pieces that continue each other at places where only those two end."""
    places = Places(lattice)
    pool: dict[int, Line] = dict(enumerate(lines))
    ends: dict[int, list[int]] = defaultdict(list)
    for index, line in pool.items():
        ends[places.number(line.start)].append(index)
        ends[places.number(line.end)].append(index)
    for number, indices in list(ends.items()):
        if len(indices) != 2 or indices[0] == indices[1]:
            continue
        first, second = (pool[index] for index in indices)
        if places.number(first.end) != number:
            first = first.turned
        if places.number(second.start) != number:
            second = second.turned
        second = second.shifted(first.end[0] - second.start[0], first.end[1] - second.start[1])
        bulge = joined(first.curve, second.curve, 1e-9) if first.feature == second.feature else None
        if bulge is None:
            continue
        line = Line(start=first.start, end=places.snapped(second.end), bulge=bulge, feature=first.feature)
        keep, gone = min(indices), max(indices)
        pool[keep] = line
        del pool[gone]
        far = ends[places.number(line.start)], ends[places.number(line.end)]
        for at in far:
            at[:] = [keep if index == gone else index for index in at]
        ends[number] = []
    return list(pool.values())


def _homed(line: Line, lattice: Lattice) -> Line:
    """Shift a line so that its middle lies in the unit cell."""
    x, y = middles(line.curve).tolist()
    u, v = lattice.coordinates((x, y))
    dx, dy = lattice.point(-math.floor(u + 1e-6), -math.floor(v + 1e-6))
    return line.shifted(dx + 0.0, dy + 0.0) if (dx, dy) != (0.0, 0.0) else line
