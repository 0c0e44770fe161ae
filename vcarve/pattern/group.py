"""The plane group of a pattern's lines, found from the lines alone.

Every symmetry of the pattern carries its lattice onto itself, and every crossing, end and arc centre onto another of
its kind.  That leaves few candidates; each is tried on the whole line work.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from vcarve.pattern.model import Line, Pattern, Point, rows
from vcarve.pattern.symmetry import Isometry, Lattice, copies, mirror, rotation
from vcarve.pattern.union import Places, covers_itself
from vcarve.plane.arcs import circles, directions, lengths, sweeps
from vcarve.plane.meet import carriers_meet, share_on

_SAME = 1e-6  # of a length: two features of one kind


def symmetries(pattern: Pattern) -> tuple[Isometry, ...]:
    """Return every isometry, one for each class modulo the lattice, that carries the lines onto themselves.

    Ground lines go to ground lines and leaf lines to leaf lines.  Empty where the lines have no crossing, end or
    centre to go by (parallel lines only).
    """
    lattice = Lattice(pattern.a1, pattern.a2)
    kinds = _features(pattern.lines, lattice)
    if not kinds:
        return ()
    found = []
    rarest = min(kinds, key=lambda kind: len(kind.points)).points
    for linear in _linear_parts(lattice):
        start = linear(rarest[0])
        for goal in rarest:
            move = Isometry(linear.a, linear.b, linear.c, linear.d, goal[0] - start[0], goal[1] - start[1])
            if any(kind.find(move(point)) is None for kind in kinds for point in kind.points):
                continue
            images = [move.image(line) for line in pattern.lines]
            if covers_itself(pattern.lines, images, lattice):
                found.append(move)
    return tuple(found)


def repeats_sooner(found: Sequence[Isometry], lattice: Lattice) -> bool:
    """Return whether one of the symmetries is a plain shift that the lattice does not have."""
    return any(_is_shift(move) and not lattice.same((0.0, 0.0), (move.x0, move.y0)) for move in found)


def group_name(found: Sequence[Isometry], lattice: Lattice) -> str:
    """Return the short international symbol for all symmetries of a pattern whose lattice is as fine as can be.

    The rules are those of the International Tables for Crystallography (from memory): order of the highest rotation,
    then which of the reflections are true mirrors and how their axes lie to the shortest lattice vectors.
    """
    order = sum(1 for move in found if not move.flips)
    flips = [move for move in found if move.flips]
    if not flips:
        return f"p{order}"
    (x1, y1), (x2, y2) = lattice.reduced().a1, lattice.reduced().a2
    short = [(x1, y1), (x2, y2)] + ([(x1 - x2, y1 - y2)] if order == 3 else [])
    true = [_is_mirror(move, lattice) for move in flips]
    along = [_axis_is_along(move, short) for move in flips]
    if order == 6:
        return "p6m"
    if order == 4:
        return "p4m" if any(t and a for t, a in zip(true, along, strict=True)) else "p4g"
    if order == 3:
        return "p31m" if any(along) else "p3m1"
    centred = _is_centred(flips[0], lattice)
    if order == 1:
        return "cm" if centred else "pm" if true[0] else "pg"
    return "cmm" if centred else ("pgg", "pmg", "pmm")[sum(true)]


def _linear_parts(lattice: Lattice) -> list[Isometry]:
    """Return the rotations and mirrors through the origin that carry the lattice onto itself."""
    least = lattice.reduced()
    (x1, y1), (x2, y2) = least.a1, least.a2
    axes = [(x1, y1), (x2, y2), (x1 + x2, y1 + y2), (x1 - x2, y1 - y2)]
    axes += [(-y, x) for x, y in axes]
    candidates = [rotation(angle) for angle in (0, 60, 90, 120, 180, 240, 270, 300)]
    candidates += [mirror((0.0, 0.0), axis) for axis in axes]
    parts: list[Isometry] = []
    for part in candidates:
        new = all(abs(part.a - p.a) + abs(part.c - p.c) > _SAME or part.flips != p.flips for p in parts)
        if new and lattice.carried_by(part):
            parts.append(part)
    return parts


def _features(lines: Sequence[Line], lattice: Lattice) -> list[Places]:
    """Return points that a symmetry must carry onto each other, kind by kind, each once modulo the lattice."""
    kinds: dict[tuple[int, int], Places] = defaultdict(lambda: Places(lattice))
    curve = rows(lines)
    centre, radius = circles(curve[curve[:, 4] != 0.0])
    for (x, y), size in zip(centre.tolist(), radius.tolist(), strict=True):
        kinds[-1, round(size / lattice.size / _SAME)].number((x, y))
    for point, degree, leaves in _corners(lines, lattice):
        kinds[degree, leaves].number(point)
    if not kinds:  # endless straight lines only
        for point in _crossings(lines, lattice):
            kinds[0, 0].number(point)
    return list(kinds.values())


def _corners(lines: Sequence[Line], lattice: Lattice) -> list[tuple[Point, int, int]]:
    """Return the ends where lines stop, bend or meet, with how many meet there and how many of them are leaves.

    An end where just one line goes on as it was is none: it could lie anywhere on that line.
    """
    places = Places(lattice)
    ends: dict[int, list[tuple[Point, float, int]]] = defaultdict(list)
    curve = rows(lines)
    out, back = directions(curve, 0.0).tolist(), (-directions(curve, 1.0)).tolist()
    bends = (sweeps(curve) / lengths(curve)).tolist()
    for line, (x, y), (u, v), bend in zip(lines, out, back, bends, strict=True):
        ends[places.number(line.start)].append(((x, y), bend, line.feature))
        ends[places.number(line.end)].append(((u, v), -bend, line.feature))
    corners = []
    for number, meeting in ends.items():
        if len(meeting) == 2:
            (first, bent, feature), (second, onward, other) = meeting
            straight = math.dist(first, (-second[0], -second[1])) < _SAME
            if straight and abs(bent + onward) * lattice.size < _SAME and feature == other:
                continue
        corners.append((places.points[number], len(meeting), sum(feature for _, _, feature in meeting)))
    return corners


def _crossings(lines: Sequence[Line], lattice: Lattice) -> list[Point]:
    """Return where straight lines cross each other, modulo the lattice."""
    straight = rows(line for line in lines if line.bulge == 0.0)
    points: list[Point] = []
    for line, passing in zip(straight, copies(straight, lattice, _SAME), strict=True):
        other = np.broadcast_to(line, passing.shape)
        place = carriers_meet(other, passing, _SAME)[:, 0]
        on = ~np.isnan(share_on(other, place, _SAME)) & ~np.isnan(share_on(passing, place, _SAME))
        points.extend((x, y) for x, y in place[on].tolist())
    return points


def _is_shift(move: Isometry) -> bool:
    return abs(move.a - 1.0) < _SAME and abs(move.d - 1.0) < _SAME


def _axis(move: Isometry) -> Point:
    angle = math.radians(move.turn_deg / 2.0)
    return (math.cos(angle), math.sin(angle))


def _axis_is_along(move: Isometry, vectors: Sequence[Point]) -> bool:
    """Return whether the axis runs along one of the vectors."""
    x, y = _axis(move)
    return any(abs(x * v - y * u) < 1e-6 * math.hypot(u, v) for u, v in vectors)


def _steps_along(move: Isometry, lattice: Lattice) -> float:
    """Return the smallest positive step of the lattice's projection on the axis."""
    x, y = _axis(move)
    first = abs(lattice.a1[0] * x + lattice.a1[1] * y)
    second = abs(lattice.a2[0] * x + lattice.a2[1] * y)
    while second > 1e-6 * lattice.size:
        first, second = second, abs(first - round(first / second) * second)
    return first


def _is_mirror(move: Isometry, lattice: Lattice) -> bool:
    """Return whether a lattice shift turns this glide into a true mirror."""
    x, y = _axis(move)
    along = (move.x0 * x + move.y0 * y) / _steps_along(move, lattice)
    return abs(along - round(along)) < 1e-6


def _is_centred(move: Isometry, lattice: Lattice) -> bool:
    """Return whether the lattice's steps along the axis are half of its shortest vector along the axis."""
    x, y = _axis(move)
    step = _steps_along(move, lattice)
    return not lattice.same((0.0, 0.0), (step * x, step * y))
