"""A pattern: what its file says, and the lines of one unit cell that follow from it; all that come with Mizo, and one's own.

Coordinates are in the pattern file's own unit, which the piece's pitch makes so many millimetres long.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import cache, cached_property
from typing import Annotated

import numpy as np
from pydantic import Field

from vcarve.job.bench import file_of, is_file, names
from vcarve.job.document import read_document
from vcarve.job.fields import PositiveMm, spelled, text
from vcarve.job.record import Broken, Record, record_from
from vcarve.pattern.entries import LatticeEntry, LineEntry, Operation, PlanePoint
from vcarve.pattern.symmetry import MOST_MOVES, Group, Lattice, closure, group_problem
from vcarve.pattern.unit import UnitNetwork, unit_network, united
from vcarve.plane.arcs import lengths, mapped, middles, size
from vcarve.plane.arrays import Floats, Ints

KINDS = ("ground", "leaf")  # what a pattern's lines are for
GROUND, LEAF = range(2)

_FAR = 3.0  # unit cells
_SHORTEST = 1e-6  # unit cells
# Pairs of a line and a copy of another one that may have to be held against each other.
MOST_MEETINGS = 20_000_000

Words = Annotated[str, text(2000, least=1, joined=True)]
Remark = Annotated[str, text(2000, joined=True)]
Phrase = Annotated[str, text(joined=True)]
_KEY_WANTED = "write lower-case letters, digits and hyphens, such as own-leaf"
Key = Annotated[str, spelled(r"^[a-z0-9]+(-[a-z0-9]+)*$", _KEY_WANTED, most=60)]


class Pattern(Record):
    """A pattern as its file says it, and the lines that follow from it."""

    key: Key = Field(description="short name: lower-case letters, digits and hyphens")
    name: Words = Field(description="the pattern's name")
    kanji: Phrase = Field("", description="its name in Japanese script")
    english: Phrase = Field("", description="what the name means")
    family: Phrase = Field("own", description="what the gallery sorts by")
    lattice: LatticeEntry = Field(description="two steps whose whole multiples repeat the cell")
    group: Group = Field(description="the plane symmetry group that lattice, operations and lines make")
    unit: Words = Field(
        description="what the file's unit of length is, in words; the job's pitch makes it so many millimetres long"
    )
    corner: PlanePoint = Field(
        (0.0, 0.0), description="what to lay on the corner of a piece that whole repeats fill"
    )
    pitch_mm: tuple[PositiveMm, PositiveMm] = Field(
        alias="pitch-range", description="smallest and largest pitch that look well"
    )
    operations: tuple[Operation, ...] = Field(
        (), max_length=12, description="the symmetries that carry the pattern onto itself"
    )
    lines: tuple[LineEntry, ...] = Field(
        min_length=1,
        max_length=1000,
        description="one line of each kind; operations and lattice make the others",
    )
    note: Remark = Field("", description="how the pattern is made")
    choice: Remark = Field("", description="what in it is a choice of your own")

    # A record is like no other: arrays, which are kept beside its fields, have no one answer to whether they are equal.
    __eq__, __hash__ = object.__eq__, object.__hash__

    def _broken(self) -> Iterator[Broken]:
        if self.pitch_mm[0] > self.pitch_mm[1]:
            yield Broken("pitch-range", "the pitch range must rise: smallest pitch first")
        kind = self.cell.kind
        stray = [i for i, each in enumerate(self.operations) if self.cell.counted(each.move) is None]
        for index in stray:
            want = (
                f"{self.operations[index].words} is a symmetry this {kind} lattice cannot have: "
                "it does not carry a1 and a2 to repeats of the lattice"
            )
            yield Broken(f"operations.{index}", want)
        if len(self.moves) > MOST_MOVES:
            want = "these symmetries together repeat the pattern more finely than the lattice; "
            yield Broken("operations", f"{want}check their centres and mirror lines")
        elif not stray and (fault := group_problem(self.group, kind, self.moves)):
            yield Broken("group", fault)
        else:
            yield from self._broken_lines()

    def _broken_lines(self) -> Iterator[Broken]:
        made = [entry.curves(self.cell) for entry in self.lines]
        far = False
        for index, curve in enumerate(made):
            spots = np.vstack([curve[:, :2], middles(curve), curve[:, 2:4]])
            x, y = spots[np.argmax(size(spots))].tolist()
            if (size(curve[:, 2:4] - curve[:, :2]) <= _SHORTEST * self.cell.size).any():
                want = "this line has no length: its two ends are the same point, or nearly so"
                yield Broken(f"lines.{index}", want)
            elif math.hypot(x, y) > _FAR * size(self.cell.basis).sum():
                far = True
                want = (
                    f"this line reaches ({x:g}, {y:g}), far outside the unit cell; draw it near the origin, where the lattice "
                    "repeats it"
                )
                yield Broken(f"lines.{index}", want)
        # Counted before they are made: what the lines of a unit cell would have to be held against.
        every, number = np.vstack(made), len(self.moves)
        longest = float(lengths(every).max()) / self.cell.area
        copies = math.prod(2.0 * longest * side + 3.0 for side in size(self.cell.basis).tolist())
        if not far and (len(every) * number) ** 2 * copies > MOST_MEETINGS:
            want = (
                f"{len(every):,} lines under {number} operations make {len(every) * number:,} lines in one unit cell, "
                f"the longest of which reaches over {copies:,.0f} cells: too many to find where they "
                "meet; draw fewer or shorter lines"
            )
            yield Broken("lines", want)

    @cached_property
    def cell(self) -> Lattice:
        """The lattice of its unit cells."""
        return self.lattice.cell

    @cached_property
    def moves(self) -> Floats:
        """All moves (n, 3, 2), counted along the lattice, that the operations generate."""
        counted = (self.cell.counted(one.move) for one in self.operations)
        return closure([move for move in counted if move is not None])

    @cached_property
    def _united(self) -> tuple[Floats, Ints]:
        made = [entry.curves(self.cell) for entry in self.lines]
        kinds = np.repeat([KINDS.index(entry.role) for entry in self.lines], [len(one) for one in made])
        images = [mapped(np.vstack(made), move[:2], move[2]) for move in map(self.cell.plane, self.moves)]
        curve, feature = united(np.vstack(images), np.tile(kinds, len(images)), self.cell)
        for array in (curve, feature):
            array.setflags(write=False)
        return curve, feature

    @property
    def curves(self) -> Floats:
        """The lines of one unit cell (n, 5), see ``plane.arcs``.

        Every line of the endless pattern is one of them moved by whole steps of the lattice.  They may cross and touch; none is
        doubled.
        """
        return self._united[0]

    @property
    def feature(self) -> Ints:
        """Which of the curves (n,) are GROUND and which LEAF."""
        return self._united[1]

    @cached_property
    def unit_network(self) -> UnitNetwork:
        """The network of one unit cell."""
        return unit_network(self.curves, self.feature, self.cell)


def pattern(name_or_path: str, folder: str = ".") -> Pattern:
    """Return a catalogued pattern by its key, or the one that the file at a path, looked up in ``folder``, describes.

    Raises ``InputError`` for a name that is not in the catalogue and for everything that is wrong in the file.
    """
    path = file_of("pattern", name_or_path, folder)
    return _read(path) if is_file(name_or_path) else _catalogued(path)


def patterns() -> tuple[Pattern, ...]:
    """Return every catalogued pattern, sorted by key; lines and lattice are in its unit, sensible lengths of which are in mm.

    >>> star = next(one for one in vcarve.patterns() if one.key == "asanoha")
    >>> star.english, star.pitch_mm
    ('hemp leaf', (14.0, 80.0))
    """
    return tuple(pattern(key) for key in names("pattern"))


def _read(path: str) -> Pattern:
    return record_from(read_document(path), Pattern)


_catalogued = cache(_read)
