"""The plane group of a pattern's lines, found from the lines alone.

Every symmetry of the pattern carries its lattice onto itself, and every crossing, end and arc centre onto another of
its kind.  That leaves few candidates; each is tried on the whole line work.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from vcarve.pattern.model import Pattern, Point
from vcarve.pattern.symmetry import Isometry, Lattice, mirror, rotation
from vcarve.pattern.unit import covers_itself, unit_network
from vcarve.plane.arcs import circles, directions, lengths, sweeps
from vcarve.plane.arrays import Bools, Floats

_SAME = 1e-6  # of a length: two features of one kind


def symmetries(pattern: Pattern) -> tuple[Isometry, ...]:
    """Return every isometry, one for each class modulo the lattice, that carries the lines onto themselves.

    Ground lines go to ground lines and leaf lines to leaf lines.  Empty where the lines have no crossing, end or
    centre to go by (parallel lines only).
    """
    lattice = Lattice(pattern.a1, pattern.a2)
    kinds = _features(pattern, lattice)
    if not kinds:
        return ()
    found = []
    rarest = min(kinds, key=len)
    for linear in _linear_parts(lattice):
        turn = np.array([[linear.a, linear.c], [linear.b, linear.d]])
        for x0, y0 in (rarest - rarest[0] @ turn).tolist():
            images = (_same(kind @ turn + (x0, y0), kind, lattice) for kind in kinds)
            if not all(image.any(axis=1).all() for image in images):
                continue
            move = Isometry(linear.a, linear.b, linear.c, linear.d, x0, y0)
            if covers_itself(pattern.lines, map(move.image, pattern.lines), lattice):
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


def _features(pattern: Pattern, lattice: Lattice) -> list[Floats]:
    """Return points (n, 2) that a symmetry must carry onto each other, kind by kind, each once modulo the lattice.

    Where just one line goes on as it was is none: it could lie anywhere on that line.
    """
    unit = unit_network(pattern)
    curve, many = unit.curves(lattice), len(unit.uv)
    at = np.concatenate([unit.tail, unit.head])
    bend = sweeps(curve) / lengths(curve) * lattice.size
    leaving = [np.vstack([directions(curve, 0.0), -directions(curve, 1.0)]), np.concatenate([bend, -bend])]
    off = [np.abs(np.bincount(at, weights=part, minlength=many)) for part in np.column_stack(leaving).T]
    degree = np.bincount(at, minlength=many)
    leaves = np.bincount(at, weights=np.tile(unit.feature, 2), minlength=many)
    met = (degree != 2) | (leaves == 1) | (np.max(off, axis=0) > _SAME)
    centre, radius = circles(curve[curve[:, 4] != 0.0])
    spot = np.vstack([(unit.uv @ lattice.basis)[met], centre])
    kind = np.vstack(
        [
            np.column_stack([degree, leaves])[met],
            np.column_stack([np.full(len(radius), -1.0), np.rint(radius / lattice.size / _SAME)]),
        ]
    )
    kinds = [spot[(kind == one).all(axis=1)] for one in np.unique(kind, axis=0)]
    return [points[np.unique(_same(points, points, lattice).argmax(axis=1))] for points in kinds]


def _same(points: Floats, others: Floats, lattice: Lattice) -> Bools:
    """Tell which of other points (m, 2) each point (n, 2) is, but for a shift of the lattice, shape (n, m)."""
    return np.asarray(lattice.apart(points[:, None] - others) < _SAME * lattice.size)


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
