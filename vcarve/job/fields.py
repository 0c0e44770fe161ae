"""The types of the records' fields: each reads what a person writes and describes itself in a JSON Schema.

Every type takes a number in the inside unit or a text with a unit (see ``vcarve.quantity``).  For a wrong value it raises
``ValueError`` with the sentence shown to the user.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Any

from pydantic import PlainSerializer
from pydantic_core import core_schema

from vcarve import quantity
from vcarve.quantity import Kind, QuantityError, format_number

LONGEST_LINE = 200
TEXT_WANTED = "a single text is wanted"
BLANK = object()  # a key written without a value; sections take it as empty, single values refuse it


@dataclass(frozen=True, slots=True, eq=False)
class Reads:
    """What a single value is read by; stands in an annotation, such as ``Annotated[float, Reads(...)]``.

    ``read`` takes a text or a number and raises ``ValueError`` with a sentence; ``wanted`` is the sentence for a value that
    is neither.  A ``description`` in ``schema`` stands beside the key's own.  ``unit`` is that of a bare number.
    """

    read: Callable[[Any], Any]
    wanted: str
    schema: dict[str, Any]
    unit: str = ""

    def validated(self, value: Any) -> Any:
        """Read a value as pydantic hands it over."""
        if value is BLANK:
            raise QuantityError(f"no value given; {self.wanted}")
        if not isinstance(value, str | int | float | Pitch | TabSize):
            raise QuantityError(self.wanted)
        return self.read(value)

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.validated)

    def __get_pydantic_json_schema__(self, core: Any, handler: Any) -> dict[str, Any]:
        return dict(self.schema)


def _number(
    read: Callable[[Any], Any],
    wanted: str,
    schema: dict[str, Any],
    unit: str = "",
    *,
    least: float | None = None,
    most: float | None = None,
    above: bool = False,
    why: str = "",
) -> Reads:
    """Read a number from ``least`` to ``most``, or ``above`` the least; ``why`` ends the sentence on one that is not."""

    def within(value: Any) -> Any:
        number = read(value)
        if least is not None and (number <= least if above else number < least):
            bound = f"{format_number(least, 6)} {unit}".strip()
            raise QuantityError(f"must be {'more than' if above else 'at least'} {bound}{why}")
        if most is not None and number > most:
            raise QuantityError(f"must be at most {format_number(most, 6)} {unit}".strip() + why)
        return number

    bounds = {"exclusiveMinimum" if above else "minimum": least, "maximum": most}
    schema["anyOf"][0] |= {word: bound for word, bound in bounds.items() if bound is not None}
    return Reads(within, wanted, schema, unit)


def _quantity(kind: Kind, unit: str, spelled: str = "", **bounds: Any) -> Reads:
    """Read a quantity in ``unit``, which is ``spelled`` where a sentence has room for it."""
    noun = kind.noun.split(" ", 1)[1]
    schema = {
        "anyOf": [{"type": "number"}, {"type": "string", "pattern": kind.pattern}],
        "description": f"{noun}; a bare number is in {spelled or unit}; for example {kind.examples}",
    }
    return _number(partial(quantity.read, kind), kind.wanted(), schema, unit, **bounds)


def whole(least: int, most: int) -> Reads:
    """Read a whole number from ``least`` to ``most``, used as ``Annotated[int, whole(1, 8)]``."""
    schema = {
        "anyOf": [{"type": "integer"}, {"type": "string", "pattern": r"^\s*[+-]?[0-9]{1,9}\s*$"}],
        "description": f"a whole number from {least} to {most}",
    }
    wanted = "a whole number is wanted, such as 4"
    return _number(quantity.whole_number, wanted, schema, least=least, most=most)


_length = partial(_quantity, quantity.LENGTH, "mm")
LengthMm = Annotated[float, _length()]
NotNegativeMm = Annotated[float, _length(least=0)]
PositiveMm = Annotated[float, _length(least=0, above=True)]
REACH_MM = 100_000.0  # no machine for which programs are made reaches farther
WithinReachMm = Annotated[float, _length(least=-REACH_MM, most=REACH_MM)]
TileMm = Annotated[float, _length(least=0, above=True, most=REACH_MM)]
GapMm = Annotated[float, _length(least=0, most=REACH_MM)]
TAPER_LEAST_MM = 0.01  # a shorter one would be a step
TaperMm = Annotated[float, _length(least=TAPER_LEAST_MM, why="; leave it out for none")]
# Finer chords are lost in rounding; the dry run bears with places as far off as chords may be.
ChordMm = Annotated[
    float, _length(least=0.0005, most=0.05, why=": finer chords are lost in rounding, coarser ones are seen")
]
# Ten times the coarsest last decimal: no rounding brings a rapid down to the piece.
RAPID_LEAST_MM = 0.1
RapidMm = Annotated[float, _length(least=RAPID_LEAST_MM, why=": nearer to the wood a rapid would touch it")]

_angle = partial(_quantity, quantity.ANGLE, "degrees")
AngleDeg = Annotated[float, _angle(least=-360, most=360)]
MOST_TURN_DEG = 45.0  # turned further, another edge lies in front
_STRAIGHTER = "; lay the piece straighter, or write pattern.rotate where only the pattern lies aslant"
MOST_SPREAD_DEG = 30.0
SpreadDeg = Annotated[float, _angle(least=0, most=MOST_SPREAD_DEG)]
TurnDeg = Annotated[float, _angle(least=-MOST_TURN_DEG, most=MOST_TURN_DEG, why=_STRAIGHTER)]
BLUNTEST_DEG, SHARPEST_DEG = 170.0, 5.0
BitAngleDeg = Annotated[float, _angle(least=SHARPEST_DEG, most=BLUNTEST_DEG)]

LEAST_FEED_MM_MIN = 1.0  # Grbl 1.1 (grbl/config.h, MINIMUM_FEED_RATE)
FeedMmMin = Annotated[
    float, _quantity(quantity.FEED, "mm/min", least=LEAST_FEED_MM_MIN, why=": a controller goes no slower")
]
AccelerationMmS2 = Annotated[float, _quantity(quantity.ACCELERATION, "mm/s²", least=0, above=True)]
SpeedRpm = Annotated[float, _quantity(quantity.SPEED, "rpm", "revolutions per minute", least=0)]
SecondsS = Annotated[float, _quantity(quantity.TIME, "s", "seconds", least=0, most=600)]
Factor = Annotated[float, _quantity(quantity.SHARE, "", "parts of one", least=0, most=1, above=True)]
_PERCENT = "; write percent with its sign, such as 10 %"
ShareInPercent = Annotated[
    float, _quantity(quantity.SHARE, "", "parts of one", least=0, most=1, above=True, why=_PERCENT)
]
Correlation = Annotated[float, _quantity(quantity.NUMBER, "", "no unit", least=-1, most=1)]
PositiveNumber = Annotated[float, _quantity(quantity.NUMBER, "", "no unit", least=0, above=True)]


def _flag(value: Any) -> bool:
    if isinstance(value, bool):
        return value
    if isinstance(value, str) and value.strip() in ("true", "false"):
        return value.strip() == "true"
    meant = {"yes": "true", "on": "true", "true": "true", "no": "false", "off": "false", "false": "false"}
    near = meant.get(str(value).strip().lower())
    hint = f"; did you mean {near}?" if near else ""
    raise QuantityError(f"true or false is wanted{hint}")


Flag = Annotated[bool, Reads(_flag, "true or false is wanted", {"type": "boolean"})]


def text(most: int = LONGEST_LINE, *, least: int = 0, joined: bool = False) -> Reads:
    """Read one line of up to ``most`` characters; ``joined``: it may be written in several lines, which become one."""

    def read(value: Any) -> str:
        if not isinstance(value, str):
            raise QuantityError(TEXT_WANTED)
        spaced = "".join(" " if unicodedata.category(char) == "Zs" else char for char in value)
        line = " ".join(spaced.split()) if joined else spaced.strip()
        if len(line) > most:
            raise QuantityError(f"too long; at most {most} characters are taken")
        if len(line) < least:
            raise QuantityError(TEXT_WANTED)
        if not line.isprintable():
            want = "line breaks and other control characters are not taken; write one plain line"
            raise QuantityError(want)
        return line

    bounds = {"minLength": least} if least else {}
    return Reads(read, TEXT_WANTED, {"type": "string", "maxLength": most} | bounds)


Text = Annotated[str, text()]


def spelled(pattern: str, wanted: str, most: int = LONGEST_LINE) -> Reads:
    """Read a word of up to ``most`` characters that a regular expression matches; its letters become small."""

    def read(value: Any) -> str:
        if not isinstance(value, str) or len(value) > most or not re.fullmatch(pattern, value):
            raise QuantityError(wanted)
        return value.lower()

    return Reads(read, wanted, {"type": "string", "maxLength": most, "pattern": pattern})


_COLOUR_WANTED = 'a colour is wanted: "#" and six digits from 0 to f, such as "#d9bf94", in quotes'
Colour = Annotated[str, spelled("^#[0-9a-fA-F]{6}$", _COLOUR_WANTED)]


@dataclass(frozen=True, slots=True)
class Pitch:
    """A pitch in millimetres; ``about`` asks for the nearest pitch that fits the piece."""

    mm: float
    about: bool = False

    def __str__(self) -> str:
        return f"{'about ' if self.about else ''}{self.mm!r} mm"


def _pitch(value: Any) -> Pitch:
    if isinstance(value, Pitch):
        return value
    mm, about = quantity.wished_length_mm(value)
    if mm <= 0.0:
        raise QuantityError("must be more than 0 mm")
    return Pitch(mm, about)


_PITCH_SCHEMA = {
    "anyOf": [
        {"type": "number", "exclusiveMinimum": 0},
        {"type": "string", "pattern": quantity.LENGTH.pattern.replace(r"^\s*", r"^\s*(?:about\s+|~\s*)?", 1)},
    ],
    "description": "length of the pattern's unit; a bare number is in mm; 'about 22 mm' takes the nearest pitch that fits "
    "the piece",
}
PitchMm = Annotated[
    Pitch,
    Reads(_pitch, f"{quantity.LENGTH.wanted()}, or about 22 mm", _PITCH_SCHEMA, "mm"),
    PlainSerializer(str),
]


@dataclass(frozen=True, slots=True)
class TabSize:
    """How wide a tab is where it is narrowest, and how high it stands above the bottom of the piece."""

    width_mm: float
    height_mm: float

    def __str__(self) -> str:
        return f"{self.width_mm!r} x {self.height_mm!r} mm"


_TAB_WANTED = "a width and a height are wanted, such as 5 x 1 mm"


def _tab(value: Any) -> TabSize:
    if isinstance(value, TabSize):
        return value
    wide, *high = re.split(r"\s*[x×]\s*", value.strip()) if isinstance(value, str) else [""]
    if len(high) != 1:
        raise QuantityError(_TAB_WANTED)
    if re.fullmatch(r"[-+\d\s./⁄,]+", wide):  # the unit stands behind both
        wide += f" {high[0].lstrip('-+0123456789./⁄, ')}"
    width_mm, height_mm = (quantity.length_mm(one) for one in (wide, high[0]))
    if min(width_mm, height_mm) <= 0.0:
        raise QuantityError(f"both must be more than 0 mm; {_TAB_WANTED}")
    return TabSize(width_mm, height_mm)


Tab = Annotated[
    TabSize,
    Reads(
        _tab,
        _TAB_WANTED,
        {"type": "string", "maxLength": 60, "description": "width x height, such as 5 x 1 mm"},
    ),
    PlainSerializer(str),
]
TurnMm = Annotated[float, _length(least=0.1, why=": an end mill that takes less only rubs")]
RampDeg = Annotated[float, _angle(least=0.5, most=45)]
