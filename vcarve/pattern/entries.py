"""The sections of a pattern file: its lattice, the symmetries that carry it onto itself, and the few lines that generate it.

Coordinates are numbers in the file's own unit, or exact ones written as text: ``sqrt(3)/2``, ``(2-sqrt(3))/2``, ``acos(1/4)``.
Only numbers, ``+ - * /``, brackets, ``pi`` and a few functions are understood; nothing is ever executed.  Angles are
in degrees, both for ``sin cos tan`` and for what ``asin acos atan`` return.
"""

from __future__ import annotations

import ast
import math
import operator
from collections.abc import Callable, Iterator
from typing import Annotated, Literal

import numpy as np
from pydantic import AliasChoices, BeforeValidator, Field, WithJsonSchema

from vcarve.job.fields import Reads, whole
from vcarve.job.record import Broken, Record
from vcarve.pattern.symmetry import ALSO, Lattice, LatticeKind, glide, mirror, rotation
from vcarve.plane.arcs import curves, size
from vcarve.plane.arrays import Floats
from vcarve.plane.fit import arc_lines

LONGEST = 200  # characters
LARGEST = 1.0e6  # no coordinate of a unit cell is anywhere near this

_FUNCTIONS: dict[str, Callable[[float], float]] = {
    "sqrt": math.sqrt,
    "sin": lambda angle: math.sin(math.radians(angle)),
    "cos": lambda angle: math.cos(math.radians(angle)),
    "tan": lambda angle: math.tan(math.radians(angle)),
    "asin": lambda ratio: math.degrees(math.asin(ratio)),
    "acos": lambda ratio: math.degrees(math.acos(ratio)),
    "atan": lambda ratio: math.degrees(math.atan(ratio)),
}
_OPERATORS: dict[type[ast.AST], Callable[..., float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.USub: operator.neg,
    ast.UAdd: operator.pos,
}
HELP = "write a number or an expression of numbers, + - * /, pi and " + " ".join(_FUNCTIONS)
_NUMBER_SCHEMA: dict[str, object] = {"anyOf": [{"type": "number"}, {"type": "string", "maxLength": LONGEST}]}
_POINT_SCHEMA: dict[str, object] = {"type": "array", "items": _NUMBER_SCHEMA, "minItems": 2, "maxItems": 2}
_LINE_SCHEMA: dict[str, object] = {"type": "array", "items": _POINT_SCHEMA, "minItems": 2, "maxItems": 2}
_FLATTEST = 0.05  # area of the unit cell over the product of its sides
_MOST_SLENDER = 100.0  # longest over shortest side of the unit cell
NEAREST = 1e-100  # of two points on a line: nearer ones have no direction that could be worked out
_AXES = {"x-axis": ((0.0, 0.0), (1.0, 0.0)), "y-axis": ((0.0, 0.0), (0.0, 1.0))}


def evaluate(value: object) -> float:
    """Return the number that ``value`` (a number, or an expression as text) stands for.

    Raises ``ValueError`` with a sentence for the maker when the text is too long, uses anything beyond the
    arithmetic above, divides by zero, or gives a number that is not finite or beyond a million.
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError(HELP)
    try:
        number = _evaluate_text(value) if isinstance(value, str) else float(value)
    except OverflowError:
        number = LARGEST * 2.0
    if not math.isfinite(number):
        raise ValueError("this is not a finite number")
    if abs(number) > LARGEST:
        raise ValueError("the number is beyond a million, too large for a unit cell")
    return number


def _evaluate_text(text: str) -> float:
    if len(text) > LONGEST:
        raise ValueError(f"the expression is longer than {LONGEST} characters")
    try:
        tree = ast.parse(text.strip(), mode="eval")
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        raise ValueError(f"this cannot be read as an expression; {HELP}") from None
    try:
        return _walk(tree.body)
    except ZeroDivisionError:
        raise ValueError("the expression divides by zero") from None


def _walk(node: ast.expr) -> float:
    match node:
        case ast.Constant(value=int() | float() as number) if not isinstance(number, bool):
            return float(number)
        case ast.Name(id="pi"):
            return math.pi
        case ast.UnaryOp(op=op, operand=operand) if type(op) in _OPERATORS:
            return _OPERATORS[type(op)](_walk(operand))
        case ast.BinOp(left=left, op=op, right=right) if type(op) in _OPERATORS:
            return _OPERATORS[type(op)](_walk(left), _walk(right))
        case ast.Call(func=ast.Name(id=name), args=[argument], keywords=[]) if name in _FUNCTIONS:
            inner = _walk(argument)
            try:
                return _FUNCTIONS[name](inner)
            except ValueError:
                raise ValueError(f"{name} has no value at {inner:g}") from None
    raise ValueError(f"{ast.unparse(node)} is not understood here; {HELP}")


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


class LatticeEntry(Record):
    """Two vectors whose whole multiples repeat the pattern."""

    kind: LatticeKind = Field(description="the lattice's shape")
    a1: PlanePoint = Field(description="the first step, as [x, y]; numbers or expressions such as sqrt(3)/2")
    a2: PlanePoint = Field(description="the second step")

    @property
    def cell(self) -> Lattice:
        """The lattice that both steps make."""
        return Lattice(self.a1, self.a2)

    def _broken(self) -> Iterator[Broken]:
        short, long = sorted(size(self.cell.basis).tolist())
        if self.cell.area <= _FLATTEST * long * short:
            yield Broken("a2", "a1 and a2 must point in different directions; these span no unit cell")
        elif long > _MOST_SLENDER * short:
            want = f"one of a1 and a2 is {long / short:.3g} times as long as the other; up to {_MOST_SLENDER:g} times is taken"
            yield Broken("a2", want)
        elif self.kind not in ALSO[kind := self.cell.kind]:
            want = (
                f"a1 and a2 make a {kind} lattice; write that, or correct the vectors "
                "(exact expressions such as sqrt(3)/2, not rounded decimals)"
            )
            yield Broken("kind", want)


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

    @property
    def words(self) -> str:
        """What it is, in words."""
        if self.rotate is not None:
            return f"a {self.rotate}-fold centre"
        return "this glide" if self.mirror is None else "this mirror"

    @property
    def move(self) -> Floats:
        """The move (3, 2) of the plane that it stands for."""
        if self.rotate is not None:
            return rotation(360.0 / self.rotate, self.about or (0.0, 0.0))
        if self.glide is not None:
            return glide(*self.glide)
        assert self.mirror is not None  # exactly one of the three is there
        return mirror(*self.mirror)


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
            arc_keys = "centre, radius, from-deg and to-deg for an arc"
            yield Broken("", f"give from and to for a straight line, path for a run of them, or {arc_keys}")
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

    def curves(self, lattice: Lattice) -> Floats:
        """Return what the entry stands for (n, 5), see ``plane.arcs``."""
        given = (self.start, self.end, *(self.path or ()), self.centre)
        places = np.array([place for place in given if place is not None])
        if self.at == "lattice":
            places = places @ lattice.basis
        if self.radius is None or self.from_deg is None or self.to_deg is None:
            return curves(places[:-1], places[1:], np.zeros(len(places) - 1))
        first, sweep = math.radians(self.from_deg), math.radians(self.to_deg - self.from_deg)
        return arc_lines(places[0], self.radius, first, sweep)
