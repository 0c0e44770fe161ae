"""The pattern file: a lattice, the symmetries that carry the pattern onto itself, and a few lines that generate it.

Coordinates are numbers or exact expressions (see ``pattern.expression``) in the file's own unit, which the piece's
pitch then makes so many millimetres long.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import (
    AfterValidator,
    AliasChoices,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    WithJsonSchema,
    model_validator,
)

from vcarve.job.fields import PositiveMm, whole
from vcarve.pattern.expression import LONGEST, evaluate
from vcarve.pattern.symmetry import GROUPS, LatticeKind

Number = Annotated[
    float,
    BeforeValidator(evaluate),
    WithJsonSchema({"anyOf": [{"type": "number"}, {"type": "string", "maxLength": LONGEST}]}),
]
PlanePoint = tuple[Number, Number]
OneLine = AfterValidator(lambda text: " ".join(text.split()))  # however many lines it was written in
Words = Annotated[str, Field(min_length=1, max_length=2000), OneLine]
GroupName = Annotated[
    str, WithJsonSchema({"enum": list(GROUPS)})
]  # an unknown one is answered by group_problem


_AXES = {"x-axis": ((0.0, 0.0), (1.0, 0.0)), "y-axis": ((0.0, 0.0), (0.0, 1.0))}


def _line_of_mirror(value: object) -> object:
    if isinstance(value, list | tuple):
        return value
    if isinstance(value, str) and value in _AXES:
        return _AXES[value]
    raise ValueError("write x-axis, y-axis, or two points on the mirror's line: [[0, 0], [1, 1]]")


_POINT_SCHEMA: dict[str, object] = {
    "type": "array",
    "items": {"anyOf": [{"type": "number"}, {"type": "string", "maxLength": LONGEST}]},
    "minItems": 2,
    "maxItems": 2,
}
_LINE_SCHEMA: dict[str, object] = {"type": "array", "items": _POINT_SCHEMA, "minItems": 2, "maxItems": 2}
MirrorLine = Annotated[
    tuple[PlanePoint, PlanePoint],
    BeforeValidator(_line_of_mirror),
    WithJsonSchema({"anyOf": [{"enum": list(_AXES)}, _LINE_SCHEMA]}),
]


class _Entry(BaseModel):
    """A frozen record; unknown keys are errors; fields are given by key or by field name."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class LatticeEntry(_Entry):
    """Two vectors whose whole multiples repeat the pattern."""

    kind: LatticeKind
    a1: PlanePoint
    a2: PlanePoint


class Operation(_Entry):
    """One symmetry: a rotation about a point, a mirror in a line, or a glide."""

    rotate: Annotated[int, *whole(2, 6)] | None = None  # so many turns make a full one
    about: PlanePoint | None = None
    mirror: MirrorLine | None = None  # x-axis, y-axis, or two points on its line
    glide: tuple[PlanePoint, PlanePoint] | None = None  # mirror in their line, shift from first to second

    @model_validator(mode="after")
    def _one_kind(self) -> Operation:
        if sum(kind is not None for kind in (self.rotate, self.mirror, self.glide)) != 1:
            raise ValueError("give exactly one of rotate, mirror and glide")
        if self.rotate == 5:
            raise ValueError("no lattice has a 5-fold centre; 2, 3, 4 and 6 are possible")
        if self.about is not None and self.rotate is None:
            raise ValueError("about belongs to rotate: it is the centre of the turn")
        return self


class LineEntry(_Entry):
    """A segment (from, to), a run of segments (path) or an arc (centre, radius, from-deg, to-deg)."""

    role: Literal["ground", "leaf"] = "ground"
    at: Literal["plane", "lattice"] = "plane"  # lattice: coordinates count along a1 and a2
    start: PlanePoint | None = Field(None, alias="from")
    end: PlanePoint | None = Field(None, alias="to")
    path: Annotated[tuple[PlanePoint, ...], Field(max_length=1000)] | None = None
    centre: PlanePoint | None = Field(None, validation_alias=AliasChoices("centre", "center"))
    radius: Number | None = None
    from_deg: Number | None = Field(None, alias="from-deg")
    to_deg: Number | None = Field(None, alias="to-deg")

    @model_validator(mode="after")
    def _one_form(self) -> LineEntry:
        segment = self.start is not None, self.end is not None
        path = (self.path is not None,)
        arc = tuple(part is not None for part in (self.centre, self.radius, self.from_deg, self.to_deg))
        forms = [form for form in (segment, path, arc) if any(form)]
        if len(forms) != 1 or not all(forms[0]):
            raise ValueError(
                "give from and to for a straight line, path for a run of them, "
                "or centre, radius, from-deg and to-deg for an arc"
            )
        if self.path is not None and len(self.path) < 2:
            raise ValueError("a path needs at least two points")
        if self.radius is not None and self.radius <= 0.0:
            raise ValueError("the radius of an arc must be more than 0")
        if self.from_deg is not None and self.to_deg is not None:
            turn = self.to_deg - self.from_deg
            if not 0.0 < turn <= 360.0 + 1e-9:
                raise ValueError(
                    "an arc runs counter-clockwise: to-deg must be above from-deg, by 360 at most"
                )
        return self


class PatternFile(_Entry):
    """A pattern as written."""

    key: Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)]
    name: Words
    kanji: Annotated[str, Field(max_length=100), OneLine] = ""
    english: Annotated[str, Field(max_length=200), OneLine] = ""
    family: Annotated[str, Field(max_length=60), OneLine] = "own"
    lattice: LatticeEntry
    group: GroupName
    unit: Words
    corner: PlanePoint = (0.0, 0.0)  # what to lay on the corner of a piece that whole repeats fill
    pitch_range_mm: tuple[PositiveMm, PositiveMm] = Field(alias="pitch-range")
    operations: Annotated[tuple[Operation, ...], Field(max_length=12)] = ()
    lines: Annotated[tuple[LineEntry, ...], Field(max_length=1000, json_schema_extra={"minItems": 1})]
    note: Annotated[str, Field(max_length=2000), OneLine] = ""
    choice: Annotated[str, Field(max_length=2000), OneLine] = ""

    @model_validator(mode="after")
    def _range_rises(self) -> PatternFile:
        if self.pitch_range_mm[0] > self.pitch_range_mm[1]:
            raise ValueError("the pitch range must rise: smallest pitch first")
        return self
