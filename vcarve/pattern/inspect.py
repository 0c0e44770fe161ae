"""What a maker should look at in a pattern that reads well but may not be what was meant."""

from __future__ import annotations

import math
from itertools import product

import numpy as np

from vcarve.errors import Finding
from vcarve.pattern.group import group_name, repeats_sooner, symmetries
from vcarve.pattern.model import Line, Pattern, Point
from vcarve.pattern.symmetry import TOLERANCE, Lattice
from vcarve.pattern.union import Places
from vcarve.plane.arcs import boxes, distances, size
from vcarve.quantity import MM, Figures

NEAR = 2.0e-3  # of the unit cell: ends this close were surely meant to meet (0.04 mm at 20 mm)
_MOST_SHOWN = 10
_MOST_LINES_GROUPED = 400  # beyond this the search for the group would take too long


def inspect(pattern: Pattern, figures: Figures = MM) -> tuple[Finding, ...]:
    """Return cautions about a pattern: ends that nearly meet, and a group or lattice that is not the lines' own.

    Codes: ``gap`` (the line ends close to another line or end without touching it), ``group`` (the lines have another
    symmetry than the file says), ``repeat`` (the pattern repeats sooner than its lattice).
    """
    return (*_gaps(pattern, figures), *_symmetry(pattern))


def _gaps(pattern: Pattern, figures: Figures) -> list[Finding]:
    lattice = Lattice(pattern.a1, pattern.a2)
    places = Places(lattice)
    at = [places.number(end) for line in pattern.lines for end in (line.start, line.end)]
    meeting = np.bincount(at, minlength=len(places.points)).tolist()
    homed = [_homed(point, lattice) for point in places.points]
    found = _ends_apart(homed, meeting, lattice) | _ends_beside(homed, pattern.lines, lattice)
    spots = _one_per_spot(found, lattice)
    findings = []
    for (x, y), gap in spots[:_MOST_SHOWN]:
        small, large = (f"{gap * pitch / figures.unit_mm:.2g}" for pitch in pattern.pitch_mm)
        findings.append(
            Finding(
                "gap",
                f"the line that ends at ({x:.6g}, {y:.6g}) stops {gap:.2g} of the unit short of another line "
                f"({small} to {large} {figures.unit} on the piece), so a cell stays open; let both meet in the same point, "
                "written exactly",
            )
        )
    if len(spots) > _MOST_SHOWN:
        sentence = "more line ends nearly meet elsewhere"
        findings.append(Finding("gap", sentence))
    return findings


def _one_per_spot(found: dict[Point, float], lattice: Lattice) -> list[tuple[Point, float]]:
    """Return one end and gap for each spot, smallest gaps first: both sides of a gap were found."""
    spots: list[tuple[Point, float]] = []
    near = 2.0 * NEAR * lattice.size
    for point, gap in sorted(found.items(), key=lambda item: item[1]):
        if len(spots) <= 10 * _MOST_SHOWN and all(_apart(point, other, lattice) > near for other, _ in spots):
            spots.append((point, gap))
    return spots


def _apart(point: Point, other: Point, lattice: Lattice) -> float:
    u, v = lattice.coordinates((point[0] - other[0], point[1] - other[1]))
    return math.hypot(*lattice.point(u - round(u), v - round(v)))


def _homed(point: Point, lattice: Lattice) -> Point:
    u, v = lattice.coordinates(point)
    return lattice.point(u - math.floor(u + TOLERANCE), v - math.floor(v + TOLERANCE))


def _ends_apart(points: list[Point], meeting: list[int], lattice: Lattice) -> dict[Point, float]:
    """Return ends with another end close by, and the distance: of both the one at which fewer lines meet, or the later one."""
    near = NEAR * lattice.size
    shifts = [lattice.point(i, j) for i, j in product((-1, 0, 1), repeat=2)]
    buckets: dict[tuple[int, int], list[tuple[int, Point]]] = {}
    for index, (x, y) in enumerate(points):
        for dx, dy in shifts:
            place = (x + dx, y + dy)
            buckets.setdefault((math.floor(place[0] / near), math.floor(place[1] / near)), []).append(
                (index, place)
            )
    found: dict[Point, float] = {}
    for index, (x, y) in enumerate(points):
        column, row = math.floor(x / near), math.floor(y / near)
        for i, j in product((-1, 0, 1), repeat=2):
            for other, place in buckets.get((column + i, row + j), ()):
                gap = math.dist((x, y), place)
                if other > index and TOLERANCE * lattice.size < gap < near:
                    loose = points[index if meeting[index] < meeting[other] else other]
                    found[loose] = min(gap, found.get(loose, math.inf))
    return found


def _ends_beside(points: list[Point], lines: tuple[Line, ...], lattice: Lattice) -> dict[Point, float]:
    """Return ends close beside the inside of a line, and the distance."""
    near = NEAR * lattice.size
    xy = np.array(points)
    found: dict[Point, float] = {}
    for line in lines:
        box = boxes(line.curve).tolist()
        corners = [lattice.coordinates(corner) for corner in product(box[0::2], box[1::2])]
        ranges = [
            range(
                math.ceil(-max(corner[axis] for corner in corners) - NEAR),
                math.floor(1.0 - min(corner[axis] for corner in corners) + NEAR) + 1,
            )
            for axis in (0, 1)
        ]
        for i, j in product(*ranges):
            moved = line.shifted(*lattice.point(i, j))
            gap = distances(xy, moved.curve)
            ends = np.minimum(size(xy - moved.start), size(xy - moved.end))
            for index in np.flatnonzero((gap > TOLERANCE * lattice.size) & (gap < near) & (ends > near)):
                point = points[index]
                found[point] = min(float(gap[index]), found.get(point, math.inf))
    return found


def _symmetry(pattern: Pattern) -> list[Finding]:
    if len(pattern.lines) > _MOST_LINES_GROUPED:
        return []
    lattice = Lattice(pattern.a1, pattern.a2)
    found = symmetries(pattern)
    if not found:
        return []
    if repeats_sooner(found, lattice):
        sentence = (
            "the pattern repeats sooner than its lattice says; a smaller unit cell would draw the same lines"
        )
        return [Finding("repeat", sentence)]
    group = group_name(found, lattice)
    if group == pattern.group:
        return []
    sentence = f"the file says the symmetry group is {pattern.group}, but the lines have {group}"
    return [Finding("group", sentence)]
