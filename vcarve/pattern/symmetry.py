"""Lattices and plane symmetry: what carries a pattern onto itself.

A move is a rotation about a point, a mirror in a line, or a glide (a mirror followed by a shift along it), as an array (3, 2)
whose last row is the shift: ``place @ move[:2] + move[2]``.  Counted along the vectors of the lattice that it carries onto
itself its matrix is of whole numbers.  The operations of a pattern file are closed under composition modulo the lattice: at
most twelve moves remain for a lattice without smaller repeats (International Tables for Crystallography, plane groups,
from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vcarve.plane.arcs import Point, size
from vcarve.plane.arrays import Bools, Floats

LatticeKind = Literal["square", "triangular", "rhombic", "rectangular", "oblique"]

TOLERANCE = 1.0e-9  # of the unit cell: closer than this is the same place
MOST_MOVES = 96
STAY = np.eye(3, 2)

# The plane groups by their short international symbols.
Group = Literal[
    "p1", "p2", "pm", "pg", "cm", "pmm", "pmg", "pgg", "cmm", "p4", "p4m", "p4g", "p3", "p3m1", "p31m", "p6", "p6m"
]  # fmt: skip
# By the trace of its matrix, how many times a rotation that carries a lattice onto itself makes a full turn.
_ORDER = {2: 1, -2: 2, -1: 3, 0: 4, 1: 6}

# What each lattice also is: a square one is a special rectangular one, and so on.
ALSO: dict[LatticeKind, tuple[LatticeKind, ...]] = {
    "square": ("square", "rectangular", "rhombic", "oblique"),
    "triangular": ("triangular", "rhombic", "oblique"),
    "rhombic": ("rhombic", "oblique"),
    "rectangular": ("rectangular", "oblique"),
    "oblique": ("oblique",),
}


def group_facts(group: Group) -> tuple[int, bool, LatticeKind]:
    """Return what a symbol says: the highest rotation's order, whether there are mirrors or glides, the plainest lattice.

    Beyond the first, letters stand for mirrors and glides, of which a group without a number has two where it has half turns.
    """
    order = int(group[1]) if group[1].isdecimal() else len(group) - 1
    mirrors = not {"m", "g"}.isdisjoint(group)
    upright: LatticeKind = "rhombic" if group[0] == "c" else "rectangular"
    plainest: dict[int, LatticeKind] = {3: "triangular", 4: "square", 6: "triangular"}
    return order, mirrors, plainest.get(order, upright if mirrors else "oblique")


def rotation(angle_deg: float, about: Point = (0.0, 0.0)) -> Floats:
    """Return the rotation by ``angle_deg`` counter-clockwise about a point."""
    cosine, sine = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return _about(np.array([[cosine, sine], [-sine, cosine]]), about)


def mirror(first: Point, second: Point) -> Floats:
    """Return the mirror in the line through two points."""
    dx, dy = second[0] - first[0], second[1] - first[1]
    square = dx * dx + dy * dy
    cosine, sine = (dx * dx - dy * dy) / square, 2.0 * dx * dy / square
    return _about(np.array([[cosine, sine], [sine, -cosine]]), first)


def glide(first: Point, second: Point) -> Floats:
    """Return the mirror in the line through two points, followed by the shift from the first to the second."""
    way = np.subtract(second, first)
    return mirror(first, second) + np.outer((0.0, 0.0, 1.0), way)


def _about(matrix: Floats, centre: Point) -> Floats:
    return np.vstack([matrix, centre - np.array(centre) @ matrix])


def flips(move: Floats) -> Bools:
    """Tell which moves (..., 3, 2) turn left hands into right ones."""
    return np.asarray(np.linalg.det(move[..., :2, :]) < 0.0)


@dataclass(frozen=True, slots=True)
class Lattice:
    """The shifts i a1 + j a2 for all whole i and j."""

    a1: Point
    a2: Point

    @property
    def area(self) -> float:
        """Area of the unit cell."""
        return abs(self.a1[0] * self.a2[1] - self.a1[1] * self.a2[0])

    @property
    def size(self) -> float:
        """A length that stands for the unit cell: the root of its area."""
        return math.sqrt(self.area)

    @property
    def basis(self) -> Floats:
        """Both vectors as rows, (2, 2): places counted along them, times this, are places of the plane."""
        return np.array([self.a1, self.a2], dtype=float)

    @property
    def inverse(self) -> Floats:
        """The matrix (2, 2) that leads back."""
        return np.asarray(np.linalg.inv(self.basis))

    def reduced(self) -> Lattice:
        """Return the same lattice by its shortest vectors, |a1| <= |a2|, 60 to 90 degrees apart (Gauss)."""
        short, long = sorted(self.basis, key=size)
        while True:
            long = long - np.rint(short @ long / (short @ short)) * short
            if size(long) >= size(short) * (1.0 - TOLERANCE):
                break
            short, long = long, short
        (x1, y1), (x2, y2) = short.tolist(), (long if short @ long >= 0.0 else -long).tolist()
        return Lattice((x1, y1), (x2, y2))

    @property
    def kind(self) -> LatticeKind:
        """Which of the five plane lattices this is."""
        least = self.reduced().basis
        (square, dot), (_, long) = least @ least.T
        equal = abs(math.sqrt(long / square) - 1.0) < TOLERANCE
        upright, slanted = abs(dot / square) < TOLERANCE, abs(dot / square - 0.5) < TOLERANCE
        if upright:
            return "square" if equal else "rectangular"
        if equal and slanted:
            return "triangular"
        return "rhombic" if equal or slanted else "oblique"

    def counted(self, move: Floats) -> Floats | None:
        """Return a move (3, 2) of the plane as counted along the lattice, ``None`` where it does not carry it onto itself."""
        matrix = self.basis @ move[:2] @ self.inverse
        whole = np.rint(matrix)
        fits = np.abs(matrix - whole).max() <= TOLERANCE
        return np.vstack([whole, move[2] @ self.inverse]) if fits else None

    def plane(self, move: Floats) -> Floats:
        """Return a move (3, 2) counted along the lattice as one of the plane."""
        return np.vstack([self.inverse @ move[:2], move[2:]]) @ self.basis

    def apart(self, ways: Floats) -> Floats:
        """Return how far places are from each other, whose differences (..., 2) are given, but for shifts of the lattice."""
        steps = ways @ self.inverse
        return size((steps - np.rint(steps)) @ self.basis)


def closure(moves: Sequence[Floats]) -> Floats:
    """Return every move (n, 3, 2) that moves counted along a lattice generate, one for each class modulo it, none first.

    More than ``MOST_MOVES`` repeat the pattern far more finely than the lattice; there are further ones then.
    """
    found, waiting = [STAY], [STAY]
    while waiting and len(found) <= MOST_MOVES:
        last = waiting.pop()
        for move in moves:
            step = np.vstack([last[:2] @ move[:2], last[2] @ move[:2] + move[2]])
            off = np.array(found) - step
            off[:, 2] -= np.rint(off[:, 2])
            if np.abs(off).max(axis=(1, 2)).min() > TOLERANCE:
                found.append(step)
                waiting.append(step)
    return np.array(found)


def group_problem(group: Group, kind: LatticeKind, moves: Floats) -> str | None:
    """Return what is wrong with a declared plane group on such a lattice, as a sentence, or ``None``.

    ``moves`` are all that the file's operations generate (see ``closure``).
    """
    order, mirrors, plainest = group_facts(group)
    if plainest not in ALSO[kind]:
        kinds = [one for one in ALSO if plainest in ALSO[one]]
        return f"the group {group} needs a {' or '.join(kinds)} lattice; this one is {kind}"
    flipped = flips(moves)
    if any(order % _ORDER[int(move[0, 0] + move[1, 1])] for move in moves[~flipped]):
        return f"the operations turn the pattern by a step that {group} does not have"
    if not mirrors and flipped.any():
        return f"the operations mirror the pattern, but {group} has no mirrors"
    return None
