"""Lattices and plane symmetry: what carries a pattern onto itself.

An isometry is a rotation about a point, a mirror in a line, or a glide (a mirror followed by a shift along it).  The
operations of a pattern file are closed under composition modulo the lattice: at most twelve isometries remain for
a lattice without smaller repeats (International Tables for Crystallography, plane groups, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vcarve.pattern.model import Line, Point
from vcarve.plane.arcs import size
from vcarve.plane.arrays import Floats

LatticeKind = Literal["square", "triangular", "rhombic", "rectangular", "oblique"]

TOLERANCE = 1.0e-9  # of the unit cell: closer than this is the same place
_MOST_OPERATIONS = 96

# Per plane group: order of its highest rotation, whether it has mirrors or glides, lattices it can live on.
_ANY: tuple[LatticeKind, ...] = ("square", "triangular", "rhombic", "rectangular", "oblique")
_UPRIGHT: tuple[LatticeKind, ...] = ("square", "rectangular")
_CENTRED: tuple[LatticeKind, ...] = ("square", "triangular", "rhombic")
GROUPS: dict[str, tuple[int, bool, tuple[LatticeKind, ...]]] = {
    "p1": (1, False, _ANY),
    "p2": (2, False, _ANY),
    "pm": (1, True, _UPRIGHT),
    "pg": (1, True, _UPRIGHT),
    "cm": (1, True, _CENTRED),
    "pmm": (2, True, _UPRIGHT),
    "pmg": (2, True, _UPRIGHT),
    "pgg": (2, True, _UPRIGHT),
    "cmm": (2, True, _CENTRED),
    "p4": (4, False, ("square",)),
    "p4m": (4, True, ("square",)),
    "p4g": (4, True, ("square",)),
    "p3": (3, False, ("triangular",)),
    "p3m1": (3, True, ("triangular",)),
    "p31m": (3, True, ("triangular",)),
    "p6": (6, False, ("triangular",)),
    "p6m": (6, True, ("triangular",)),
}


# What each lattice also is: a square one is a special rectangular one, and so on.
ALSO: dict[LatticeKind, tuple[LatticeKind, ...]] = {
    "square": ("square", "rectangular", "rhombic", "oblique"),
    "triangular": ("triangular", "rhombic", "oblique"),
    "rhombic": ("rhombic", "oblique"),
    "rectangular": ("rectangular", "oblique"),
    "oblique": ("oblique",),
}


class SymmetryError(ValueError):
    """A symmetry the lattice cannot have."""


@dataclass(frozen=True, slots=True)
class Isometry:
    """The map (x, y) -> (a x + b y + x0, c x + d y + y0), with a rotation or a reflection for its matrix."""

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 1.0
    x0: float = 0.0
    y0: float = 0.0

    def __call__(self, point: Point) -> Point:
        """Return the image of a point."""
        x, y = point
        return (self.a * x + self.b * y + self.x0, self.c * x + self.d * y + self.y0)

    def image(self, line: Line) -> Line:
        """Return the image of a line; a map that flips hands turns an arc the other way."""
        bulge = -line.bulge if self.flips else line.bulge
        return Line(start=self(line.start), end=self(line.end), bulge=bulge, feature=line.feature)

    @property
    def flips(self) -> bool:
        """Whether it turns left hands into right ones."""
        return self.a * self.d - self.b * self.c < 0.0

    def after(self, first: Isometry) -> Isometry:
        """Return the map that does ``first`` and then this one."""
        x0, y0 = self((first.x0, first.y0))
        return Isometry(
            self.a * first.a + self.b * first.c,
            self.a * first.b + self.b * first.d,
            self.c * first.a + self.d * first.c,
            self.c * first.b + self.d * first.d,
            x0,
            y0,
        )

    @property
    def turn_deg(self) -> float:
        """Angle of a rotation, 0 to 360 degrees; of a mirror, twice the angle of its line."""
        return math.degrees(math.atan2(self.c, self.a)) % 360.0


def rotation(angle_deg: float, about: Point = (0.0, 0.0)) -> Isometry:
    """Return the rotation by ``angle_deg`` counter-clockwise about a point.

    Those by multiples of 60 and 90 degrees have exact zeros and halves.
    """
    cosine, sine = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    if abs(2.0 * cosine - round(2.0 * cosine)) < 1e-12:
        cosine = round(2.0 * cosine) / 2.0
        sine = math.copysign(math.sqrt(1.0 - cosine * cosine), sine)
    return _about(Isometry(cosine, -sine, sine, cosine), about)


def mirror(first: Point, second: Point) -> Isometry:
    """Return the mirror in the line through two points."""
    dx, dy = second[0] - first[0], second[1] - first[1]
    square = dx * dx + dy * dy
    if square == 0.0:
        raise SymmetryError("a mirror needs two different points on its line")
    cosine, sine = (dx * dx - dy * dy) / square, 2.0 * dx * dy / square
    return _about(Isometry(cosine, sine, sine, -cosine), first)


def glide(first: Point, second: Point) -> Isometry:
    """Return the mirror in the line through two points, followed by the shift from the first to the second."""
    flip = mirror(first, second)
    dx, dy = second[0] - first[0], second[1] - first[1]
    return Isometry(flip.a, flip.b, flip.c, flip.d, flip.x0 + dx, flip.y0 + dy)


def _about(linear: Isometry, centre: Point) -> Isometry:
    x, y = linear(centre)
    return Isometry(linear.a, linear.b, linear.c, linear.d, centre[0] - x, centre[1] - y)


@dataclass(frozen=True, slots=True)
class Lattice:
    """The shifts i a1 + j a2 for all whole i and j."""

    a1: Point
    a2: Point

    @property
    def area(self) -> float:
        """Area of the unit cell, signed: positive where a2 lies to the left of a1."""
        return self.a1[0] * self.a2[1] - self.a1[1] * self.a2[0]

    @property
    def size(self) -> float:
        """A length that stands for the unit cell: the root of its area."""
        return math.sqrt(abs(self.area))

    @property
    def basis(self) -> Floats:
        """Both vectors as rows, (2, 2)."""
        return np.array([self.a1, self.a2], dtype=float)

    def coordinates(self, point: Point) -> Point:
        """Return (u, v) with point = u a1 + v a2."""
        x, y = point
        area = self.area
        return ((x * self.a2[1] - y * self.a2[0]) / area, (y * self.a1[0] - x * self.a1[1]) / area)

    def point(self, u: float, v: float) -> Point:
        """Return u a1 + v a2."""
        return (u * self.a1[0] + v * self.a2[0], u * self.a1[1] + v * self.a2[1])

    def reduced(self) -> Lattice:
        """Return the same lattice by its shortest vectors, |a1| <= |a2|, 60 to 90 degrees apart (Gauss)."""
        short, long = sorted((self.a1, self.a2), key=lambda vector: math.hypot(*vector))
        while True:
            square = short[0] ** 2 + short[1] ** 2
            steps = round((short[0] * long[0] + short[1] * long[1]) / square)
            long = (long[0] - steps * short[0], long[1] - steps * short[1])
            if math.hypot(*long) >= math.hypot(*short) * (1.0 - TOLERANCE):
                break
            short, long = long, short
        if short[0] * long[0] + short[1] * long[1] < 0.0:
            long = (-long[0], -long[1])
        return Lattice(short, long)

    @property
    def kind(self) -> LatticeKind:
        """Which of the five plane lattices this is."""
        least = self.reduced()
        (x1, y1), (x2, y2) = least.a1, least.a2
        square = x1 * x1 + y1 * y1
        dot = (x1 * x2 + y1 * y2) / square
        equal = abs(math.hypot(x2, y2) / math.sqrt(square) - 1.0) < TOLERANCE
        upright, slanted = abs(dot) < TOLERANCE, abs(dot - 0.5) < TOLERANCE
        if upright:
            return "square" if equal else "rectangular"
        if equal and slanted:
            return "triangular"
        return "rhombic" if equal or slanted else "oblique"

    def carried_by(self, operation: Isometry) -> bool:
        """Return whether the operation carries the lattice onto itself."""
        for x, y in (self.a1, self.a2):
            image = (operation.a * x + operation.b * y, operation.c * x + operation.d * y)
            if any(abs(part - round(part)) > TOLERANCE for part in self.coordinates(image)):
                return False
        return True

    def apart(self, ways: Floats) -> Floats:
        """Return how far places are from each other, whose differences (..., 2) are given, but for shifts of the lattice."""
        steps = ways @ np.linalg.inv(self.basis)
        return size((steps - np.rint(steps)) @ self.basis)

    def same(self, first: Point, second: Point) -> bool:
        """Return whether two points differ by a shift of the lattice."""
        parts = self.coordinates((second[0] - first[0], second[1] - first[1]))
        return all(abs(part - round(part)) < TOLERANCE for part in parts)


def closure(operations: tuple[Isometry, ...], lattice: Lattice) -> tuple[Isometry, ...]:
    """Return every isometry the operations generate, one for each class modulo the lattice, identity first.

    Raises ``SymmetryError`` when an operation does not carry the lattice onto itself, or when together they would
    repeat the pattern far more finely than the lattice says.
    """
    for operation in operations:
        if not lattice.carried_by(operation):
            raise SymmetryError("the lattice cannot have this symmetry")
    found = [Isometry()]
    waiting = [Isometry()]
    while waiting:
        last = waiting.pop()
        for operation in operations:
            step = operation.after(last)
            if any(_same(step, other, lattice) for other in found):
                continue
            found.append(step)
            waiting.append(step)
            if len(found) > _MOST_OPERATIONS:
                raise SymmetryError(
                    "these symmetries together repeat the pattern more finely than the lattice; "
                    "check their centres and mirror lines"
                )
    return tuple(found)


def _same(first: Isometry, second: Isometry, lattice: Lattice) -> bool:
    turned = (
        abs(first.a - second.a) + abs(first.b - second.b) + abs(first.c - second.c) + abs(first.d - second.d)
    )
    if turned > TOLERANCE:
        return False
    return lattice.same((first.x0, first.y0), (second.x0, second.y0))


def group_problem(group: str, lattice: Lattice, operations: tuple[Isometry, ...]) -> str | None:
    """Return what is wrong with a declared plane group, as a sentence, or ``None``.

    ``operations`` are all isometries the file's operations generate (see ``closure``).
    """
    if group not in GROUPS:
        return f"there is no plane group of this name; the groups are {', '.join(GROUPS)}"
    order, flips, kinds = GROUPS[group]
    if lattice.kind not in kinds:
        return f"the group {group} needs a {' or '.join(kinds)} lattice; this one is {lattice.kind}"
    turns = [op.turn_deg for op in operations if not op.flips]
    if any(abs(turn * order / 360.0 - round(turn * order / 360.0)) > 1e-6 for turn in turns):
        return f"the operations turn the pattern by a step that {group} does not have"
    if not flips and any(op.flips for op in operations):
        return f"the operations mirror the pattern, but {group} has no mirrors"
    return None
