"""The pattern record: the lines of one unit cell, and the lattice that repeats them.

Coordinates are in the pattern file's own unit (the piece's pitch is that unit's length in millimetres).
"""

from __future__ import annotations

from dataclasses import dataclass

from vcarve.pattern.symmetry import Lattice, LatticeKind
from vcarve.plane.arcs import Point
from vcarve.plane.arrays import Floats, Ints, ReadOnly

KINDS = ("ground", "leaf")  # what a pattern's lines are for
GROUND, LEAF = range(2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pattern(ReadOnly):
    """One pattern of the catalogue, or of the user's own file.

    ``curves`` (n, 5), see ``plane.arcs``, are the lines of one unit cell, ``feature`` (n,) tells which are GROUND and which LEAF:
    every line of the endless pattern is one of them moved by ``i a1 + j a2``.  They may cross and touch; none is doubled.
    """

    key: str
    name: str  # romanised Japanese
    kanji: str
    english: str
    family: str
    lattice: LatticeKind
    group: str  # plane symmetry group, short international symbol
    unit: str  # what the file's unit is, in words
    a1: Point
    a2: Point
    curves: Floats
    feature: Ints
    pitch_mm: tuple[float, float]  # sensible smallest and largest pitch
    note: str  # how it is constructed
    choice: str = ""  # what in it is our own choice
    corner: Point = (0.0, 0.0)  # what to lay on the front left corner of a piece that whole repeats fill

    @property
    def cell(self) -> Lattice:
        """The lattice of its unit cells."""
        return Lattice(self.a1, self.a2)
