"""The lines of one unit cell, each once: doubled and overlapping pieces united, straight continuations joined.

Everything happens modulo the lattice: two lines that differ by a shift of the lattice are the same line.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from itertools import pairwise

from vcarve.pattern import lines as geometry
from vcarve.pattern.model import Line, Point
from vcarve.pattern.symmetry import TOLERANCE, Lattice

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
    return math.fsum(line.length for line in lines)


def covers_itself(lines: Sequence[Line], images: Iterable[Line], lattice: Lattice) -> bool:
    """Whether ``images`` lie on ``lines`` modulo the lattice, feature by feature: nothing new, nothing left over."""
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
            if _same(snapped, other, lattice) or _same(geometry.turned(snapped), other, lattice):
                if line.feature < other.feature:
                    known[index] = snapped
                break
        else:
            known.append(snapped)
    return [line for known in kept.values() for line in known]


def _same(line: Line, other: Line, lattice: Lattice) -> bool:
    """Whether two lines, walked from start to end, differ by no more than a shift of the lattice."""
    near = 1e-8 * lattice.size
    if not lattice.same(line.start, other.start) or abs(line.bulge - other.bulge) > 1e-8:
        return False
    dx = (line.end[0] - line.start[0]) - (other.end[0] - other.start[0])
    dy = (line.end[1] - line.start[1]) - (other.end[1] - other.start[1])
    return math.hypot(dx, dy) < near


def _cut_at_overlaps(lines: Sequence[Line], lattice: Lattice) -> list[Line]:
    """Cut every line at the ends of the lines that run along it, so that what is doubled is doubled whole."""
    alike: dict[tuple[int, int], list[Line]] = defaultdict(list)
    for line in lines:
        for key in _carrier_keys(line, lattice):
            alike[key].append(line)
    pieces: list[Line] = []
    near = 1e-8 * lattice.size
    for line in lines:
        cuts = {0.0, 1.0}
        for other in alike[_carrier_keys(line, lattice)[0]]:
            for dx, dy in _shifts_onto(line, other, lattice):
                ends = [geometry.share_of(line, (x + dx, y + dy)) for x, y in (other.start, other.end)]
                if other is line and dx == 0.0 and dy == 0.0:
                    continue
                if not _overlaps(line, other, (dx, dy), ends, near):
                    continue
                cuts.update(end for end in ends if near < end * line.length < line.length - near)
        marks = sorted(cuts)
        kept = [marks[0]]
        for mark in marks[1:]:
            if (mark - kept[-1]) * line.length > near:
                kept.append(mark)
        kept[-1] = 1.0
        pieces.extend(geometry.part(line, a, b) for a, b in pairwise(kept))
    return pieces


def _overlaps(line: Line, other: Line, shift: Point, ends: list[float], near: float) -> bool:
    """Whether the two, on one carrier, share more than a point."""
    if line.bulge == 0.0:
        low, high = max(0.0, min(ends)), min(1.0, max(ends))
        return (high - low) * line.length > near
    inside = any(near < end * line.length < line.length - near for end in ends)
    middle = geometry.point_at(other, 0.5)
    share = geometry.share_of(line, (middle[0] + shift[0], middle[1] + shift[1]))
    return inside or near < share * line.length < line.length - near


def _carrier_keys(line: Line, lattice: Lattice) -> tuple[tuple[int, int], ...]:
    """Return hash keys of the carrier: direction of a straight line, radius of an arc; two against rounding."""
    if line.bulge == 0.0:
        dx, dy = line.end[0] - line.start[0], line.end[1] - line.start[1]
        turns = math.atan2(dy, dx) / math.pi % 1.0 * _GRID
        low = math.floor(turns)
        return ((0, round(turns) % _GRID), (0, (low if round(turns) != low else low + 1) % _GRID))
    size = geometry.radius(line) / lattice.size * _GRID
    low = math.floor(size)
    return ((1, round(size)), (1, low if round(size) != low else low + 1))


def _shifts_onto(line: Line, other: Line, lattice: Lattice) -> list[Point]:
    """Return the lattice shifts that lay ``other`` on the carrier of ``line``, near it."""
    if line.bulge != 0.0:
        here, there = geometry.centre(line), geometry.centre(other)
        if not lattice.same(here, there) or abs(geometry.radius(line) - geometry.radius(other)) > (
            TOLERANCE * lattice.size
        ):
            return []
        u, v = lattice.coordinates((here[0] - there[0], here[1] - there[1]))
        return [lattice.point(round(u), round(v))]
    reach = (line.length + other.length) / 2.0 * 1.001
    here, there = geometry.point_at(line, 0.5), geometry.point_at(other, 0.5)
    u, v = lattice.coordinates((here[0] - there[0], here[1] - there[1]))
    area = abs(lattice.area)
    across_u, across_v = reach * math.hypot(*lattice.a2) / area, reach * math.hypot(*lattice.a1) / area
    ahead = geometry.direction_at(line, 0.5)
    onward = geometry.direction_at(other, 0.5)
    near = 1e-9 * lattice.size
    if abs(ahead[0] * onward[1] - ahead[1] * onward[0]) * max(line.length, other.length) > near:
        return []
    found = []
    for i in range(math.ceil(u - across_u), math.floor(u + across_u) + 1):
        for j in range(math.ceil(v - across_v), math.floor(v + across_v) + 1):
            dx, dy = lattice.point(i, j)
            x, y = there[0] + dx - here[0], there[1] + dy - here[1]
            if abs(ahead[0] * y - ahead[1] * x) <= near:
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
            first = geometry.turned(first)
        if places.number(second.start) != number:
            second = geometry.turned(second)
        second = geometry.shifted(second, first.end[0] - second.start[0], first.end[1] - second.start[1])
        one = geometry.joined(first, second)
        if one is None:
            continue
        line = Line(start=one.start, end=places.snapped(one.end), bulge=one.bulge, feature=one.feature)
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
    u, v = lattice.coordinates(geometry.point_at(line, 0.5))
    dx, dy = lattice.point(-math.floor(u + 1e-6), -math.floor(v + 1e-6))
    return geometry.shifted(line, dx + 0.0, dy + 0.0) if (dx, dy) != (0.0, 0.0) else line
