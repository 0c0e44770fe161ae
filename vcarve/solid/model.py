"""The record of a solid, which proves itself, and of several put together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.plane.arrays import Floats, Ints, ReadOnly


@dataclass(frozen=True, slots=True, kw_only=True)
class Solid(ReadOnly):
    """A solid's surface as triangles: corners (V, 3) in mm, and triangles (T, 3), counter-clockwise seen from outside."""

    corner_mm: Floats
    triangle: Ints

    @property
    def closed(self) -> bool:
        """Whether every side of a triangle is walked once there and once back: closed, and the same side out everywhere."""
        there, back = (
            np.concatenate([self.triangle[:, [k, j]] for k, j in pairs]) for pairs in (_SIDES, _BACK)
        )
        count = len(self.corner_mm)
        keys = np.sort(there @ (count, 1))
        apart = bool((np.diff(keys) > 0).all()) and bool((there[:, 0] != there[:, 1]).all())
        return len(keys) > 0 and apart and bool((keys == np.sort(back @ (count, 1))).all())

    @property
    def volume_mm3(self) -> float:
        """The volume inside: negative where the surface is turned inside out."""
        a, b, c = (self.corner_mm[self.triangle[:, k]] for k in range(3))
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)

    @property
    def size_mm(self) -> tuple[float, float, float]:
        """How large it is along X, Y and Z."""
        return tuple(np.ptp(self.corner_mm, axis=0).tolist())


_SIDES = ((0, 1), (1, 2), (2, 0))
_BACK = tuple((k, j) for j, k in _SIDES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A solid with a name and a colour (``#rrggbb``), turned about Z counter-clockwise and then set in its place."""

    name: str
    colour: str
    solid: Solid
    at_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    turn_deg: float = 0.0

    @property
    def matrix(self) -> Floats:
        """What turns and moves rows (x, y, z, 1), shape (4, 3)."""
        turn = np.radians(self.turn_deg)
        cos, sin = np.cos(turn), np.sin(turn)
        return np.array([(cos, sin, 0.0), (-sin, cos, 0.0), (0.0, 0.0, 1.0), self.at_mm])

    @property
    def corner_mm(self) -> Floats:
        """Its corners where it stands, shape (V, 3)."""
        return np.asarray(self.solid.corner_mm @ self.matrix[:3] + self.matrix[3])
