"""The pattern file: a lattice, the symmetries that carry the pattern onto itself, and a few lines that generate it.

Coordinates are numbers or exact expressions (see ``pattern.expression``) in the file's own unit, which the piece's
pitch then makes so many millimetres long.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import AliasChoices, BeforeValidator, Field, WithJsonSchema

from vcarve.job.fields import PositiveMm, Reads, Text, spelled, text, whole
from vcarve.job.record import Broken, Record
from vcarve.pattern.expression import HELP, LONGEST, evaluate
from vcarve.pattern.symmetry import GROUPS, LatticeKind

_NUMBER_SCHEMA: dict[str, object] = {"anyOf": [{"type": "number"}, {"type": "string", "maxLength": LONGEST}]}
_POINT_SCHEMA: dict[str, object] = {"type": "array", "items": _NUMBER_SCHEMA, "minItems": 2, "maxItems": 2}
_LINE_SCHEMA: dict[str, object] = {"type": "array", "items": _POINT_SCHEMA, "minItems": 2, "maxItems": 2}
NEAREST = 1e-100  # of two points on a line: nearer ones have no direction that could be worked out
_AXES = {"x-axis": ((0.0, 0.0), (1.0, 0.0)), "y-axis": ((0.0, 0.0), (0.0, 1.0))}


def _line_of_mirror(value: object) -> object:
    if isinstance(value, list | tuple):
        return value
    if isinstance(value, str) and value in _AXES:
        return _AXES[value]
    raise ValueError("write x-axis, y-axis, or two points on the mirror's line: [[0, 0], [1, 1]]")


Number = Annotated[float, Reads(evaluate, HELP, _NUMBER_SCHEMA)]
PlanePoint = tuple[Number, Number]
MirrorLine = Annotated[
    tuple[PlanePoint, PlanePoint],
    BeforeValidator(_line_of_mirror),
    WithJsonSchema({"anyOf": [{"enum": list(_AXES)}, _LINE_SCHEMA]}),
]
Words = Annotated[str, text(2000, least=1, joined=True)]
Remark = Annotated[str, text(2000, joined=True)]
Phrase = Annotated[str, text(joined=True)]
Key = Annotated[
    str,
    spelled(
        r"^[a-z0-9]+(-[a-z0-9]+)*$", "write lower-case letters, digits and hyphens, such as own-leaf", most=60
    ),
]
# An unknown one is answered by ``group_problem``.
GroupName = Annotated[Text, WithJsonSchema({"enum": list(GROUPS)})]


class LatticeEntry(Record):
    """Two vectors whose whole multiples repeat the pattern."""

    kind: LatticeKind = Field(description="the lattice's shape")
    a1: PlanePoint = Field(description="the first step, as [x, y]; numbers or expressions such as sqrt(3)/2")
    a2: PlanePoint = Field(description="the second step")


class Operation(Record):
    """One symmetry: a rotation about a point, a mirror in a line, or a glide."""

    rotate: Annotated[int, whole(2, 6)] | None = Field(
        None, description="a turn: so many of them make a full one"
    )
    about: PlanePoint | None = Field(None, description="the turn's centre; left out, [0, 0]")
    mirror: MirrorLine | None = Field(None, description="a mirror: x-axis, y-axis, or two points on its line")
    glide: tuple[PlanePoint, PlanePoint] | None = Field(
        None, description="a mirror in the line of two points, with a shift from the first to the second"
    )

    def _broken(self) -> Iterator[Broken]:
        if sum(kind is not None for kind in (self.rotate, self.mirror, self.glide)) != 1:
            yield Broken("", "give exactly one of rotate, mirror and glide")
            return
        line = self.mirror or self.glide
        if line is not None and math.dist(*line) < NEAREST:
            yield Broken("", "a mirror needs two different points on its line")
        if self.rotate == 5:
            yield Broken("rotate", "no lattice has a 5-fold centre; 2, 3, 4 and 6 are possible")
        if self.about is not None and self.rotate is None:
            yield Broken("about", "about belongs to rotate: it is the centre of the turn")


class LineEntry(Record):
    """A segment (from, to), a run of segments (path) or an arc (centre, radius, from-deg, to-deg)."""

    role: Literal["ground", "leaf"] = Field(
        "ground", description="ground: the base grid, leaf: the infill; each can have its own depth"
    )
    at: Literal["plane", "lattice"] = Field(
        "plane", description="plane: coordinates are x and y; lattice: they count along a1 and a2"
    )
    start: PlanePoint | None = Field(None, alias="from", description="where a straight line begins")
    end: PlanePoint | None = Field(None, alias="to", description="where it ends")
    path: tuple[PlanePoint, ...] | None = Field(
        None, max_length=1000, description="a run of straight lines through these points"
    )
    centre: PlanePoint | None = Field(
        None, validation_alias=AliasChoices("centre", "center"), description="an arc's centre"
    )
    radius: Number | None = Field(None, description="an arc's radius")
    from_deg: Number | None = Field(
        None, alias="from-deg", description="where an arc begins, in degrees counter-clockwise from the right"
    )
    to_deg: Number | None = Field(None, alias="to-deg", description="where it ends")

    def _broken(self) -> Iterator[Broken]:
        segment = self.start is not None, self.end is not None
        path = (self.path is not None,)
        arc = tuple(part is not None for part in (self.centre, self.radius, self.from_deg, self.to_deg))
        forms = [form for form in (segment, path, arc) if any(form)]
        if len(forms) != 1 or not all(forms[0]):
            yield Broken(
                "",
                "give from and to for a straight line, path for a run of them, "
                "or centre, radius, from-deg and to-deg for an arc",
            )
            return
        if self.path is not None and len(self.path) < 2:
            yield Broken("path", "a path needs at least two points")
        if self.radius is not None and self.radius <= 0.0:
            yield Broken("radius", "the radius of an arc must be more than 0")
        if self.from_deg is not None and self.to_deg is not None:
            turn = self.to_deg - self.from_deg
            if not 0.0 < turn <= 360.0 + 1e-9:
                want = "an arc runs counter-clockwise: to-deg must be above from-deg, by 360 at most"
                yield Broken("to-deg", want)


class PatternFile(Record):
    """A pattern as written."""

    key: Key = Field(description="short name: lower-case letters, digits and hyphens")
    name: Words = Field(description="the pattern's name")
    kanji: Phrase = Field("", description="its name in Japanese script")
    english: Phrase = Field("", description="what the name means")
    family: Phrase = Field("own", description="what the gallery sorts by")
    lattice: LatticeEntry = Field(description="two steps whose whole multiples repeat the cell")
    group: GroupName = Field(description="the plane symmetry group that lattice, operations and lines make")
    unit: Words = Field(
        description="what the file's unit of length is, in words; the job's pitch makes it so many millimetres long"
    )
    corner: PlanePoint = Field(
        (0.0, 0.0), description="what to lay on the corner of a piece that whole repeats fill"
    )
    pitch_range_mm: tuple[PositiveMm, PositiveMm] = Field(
        description="smallest and largest pitch that look well"
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

    def _broken(self) -> Iterator[Broken]:
        if self.pitch_range_mm[0] > self.pitch_range_mm[1]:
            yield Broken("pitch-range", "the pitch range must rise: smallest pitch first")
