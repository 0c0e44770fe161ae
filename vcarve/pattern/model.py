"""The pattern record: the lines of one unit cell, and the lattice that repeats them.

Coordinates are in the pattern file's own unit (the piece's pitch is that unit's length in millimetres).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vcarve.plane.arcs import Point as Point
from vcarve.plane.arcs import lengths
from vcarve.plane.arrays import Floats

KINDS = ("ground", "leaf")  # what a pattern's lines are for
GROUND, LEAF = range(2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A straight line or a circular arc, drawn from ``start`` to ``end``.

    ``bulge`` is tan(sweep / 4): 0 for a straight line, positive where the arc turns counter-clockwise, 1 for half a circle.
    """

    start: Point
    end: Point
    bulge: float = 0.0
    feature: int = 0  # GROUND or LEAF, or the index of a drawing's layer

    @property
    def length(self) -> float:
        """Length along the line or arc."""
        return float(lengths(self.curve))

    @property
    def curve(self) -> Floats:
        """The line as a curve (5,), see ``plane.arcs``."""
        return np.array([*self.start, *self.end, self.bulge])

    @property
    def turned(self) -> Line:
        """The same line walked the other way."""
        return Line(start=self.end, end=self.start, bulge=-self.bulge, feature=self.feature)

    def shifted(self, dx: float, dy: float) -> Line:
        """Return the line moved by (dx, dy)."""
        start, end = ((x + dx, y + dy) for x, y in (self.start, self.end))
        return Line(start=start, end=end, bulge=self.bulge, feature=self.feature)


def rows(lines: Iterable[Line]) -> Floats:
    """Return lines as curves (n, 5), see ``plane.arcs``."""
    return np.array([(*line.start, *line.end, line.bulge) for line in lines]).reshape(-1, 5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """One pattern of the catalogue, or of the user's own file.

    ``lines`` are the lines of one unit cell: every line of the endless pattern is one of them moved by
    ``i a1 + j a2``.  They may cross and touch; none is doubled.
    """

    key: str
    name: str  # romanised Japanese
    kanji: str
    english: str
    family: str
    lattice: Literal["square", "triangular", "rhombic", "rectangular", "oblique"]
    group: str  # plane symmetry group, short international symbol
    unit: str  # what the file's unit is, in words
    a1: Point
    a2: Point
    lines: tuple[Line, ...]
    pitch_mm: tuple[float, float]  # sensible smallest and largest pitch
    note: str  # how it is constructed
    choice: str = ""  # what in it is our own choice
    corner: Point = (0.0, 0.0)  # what to lay on the front left corner of a piece that whole repeats fill

    @property
    def cell_area(self) -> float:
        """Area of the unit cell."""
        return abs(self.a1[0] * self.a2[1] - self.a1[1] * self.a2[0])
