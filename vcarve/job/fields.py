"""The types of the records' fields: each reads what a person writes and describes itself in a JSON Schema.

Every type takes a number in the inside unit or a text with a unit (see ``vcarve.quantity``).  A wrong value
raises pydantic's custom error ``quantity``, whose message is the sentence shown to the user.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, PlainSerializer, WithJsonSchema
from pydantic_core import PydanticCustomError

from vcarve import quantity
from vcarve.quantity import Kind, QuantityError, format_number

LONGEST_LINE = 200
TEXT_WANTED = "a single text is wanted"


class Blank:
    """The type of ``BLANK``."""

    def __repr__(self) -> str:
        return "BLANK"


BLANK = Blank()  # a key written without a value; sections take it as empty, single values refuse it


def wrong(sentence: str) -> PydanticCustomError:
    """Build the error every field raises; braces in ``sentence`` are kept as they are."""
    return PydanticCustomError("quantity", "{sentence}", {"sentence": sentence})


def _reading(read: Callable[[Any], Any], wanted: str) -> BeforeValidator:
    def validate(value: Any) -> Any:
        if value is BLANK:
            raise wrong(f"no value given; {wanted}")
        if not isinstance(value, str | int | float):
            raise wrong(wanted)
        try:
            return read(value)
        except QuantityError as error:
            raise wrong(str(error)) from None

    return BeforeValidator(validate)


def _within(
    least: float | None, most: float | None, unit: str, *, above: bool = False, why: str = ""
) -> AfterValidator:
    def text(bound: float) -> str:
        return f"{format_number(bound, 6)} {unit}".strip()

    def validate(value: float) -> float:
        if least is not None and (value <= least if above else value < least):
            raise wrong(f"must be {'more than' if above else 'at least'} {text(least)}{why}")
        if most is not None and value > most:
            raise wrong(f"must be at most {text(most)}")
        return value

    return AfterValidator(validate)


def _schema(
    kind: Kind, unit: str, least: float | None = None, most: float | None = None, *, above: bool = False
) -> WithJsonSchema:
    bounds: dict[str, Any] = {"type": "number"}
    if least is not None:
        bounds["exclusiveMinimum" if above else "minimum"] = least
    if most is not None:
        bounds["maximum"] = most
    described = f"{kind.noun.split(' ', 1)[1]}; a bare number is in {unit}; for example {kind.examples}"
    return WithJsonSchema(
        {"anyOf": [bounds, {"type": "string", "pattern": kind.pattern}], "description": described}
    )


_LENGTH = _reading(quantity.length_mm, quantity.LENGTH.wanted())
LengthMm = Annotated[float, _LENGTH, _schema(quantity.LENGTH, "mm")]
NotNegativeMm = Annotated[float, _LENGTH, _within(0, None, "mm"), _schema(quantity.LENGTH, "mm", 0)]
PositiveMm = Annotated[
    float, _LENGTH, _within(0, None, "mm", above=True), _schema(quantity.LENGTH, "mm", 0, above=True)
]
# Ten times the coarsest last decimal: no rounding brings a rapid down to the piece.
RAPID_LEAST_MM = 0.1
RapidMm = Annotated[
    float,
    _LENGTH,
    _within(RAPID_LEAST_MM, None, "mm", why=": nearer to the wood a rapid would touch it"),
    _schema(quantity.LENGTH, "mm", RAPID_LEAST_MM),
]

_ANGLE = _reading(quantity.angle_deg, quantity.ANGLE.wanted())
AngleDeg = Annotated[
    float, _ANGLE, _within(-360, 360, "degrees"), _schema(quantity.ANGLE, "degrees", -360, 360)
]
BitAngleDeg = Annotated[float, _ANGLE, _within(5, 170, "degrees"), _schema(quantity.ANGLE, "degrees", 5, 170)]

LEAST_FEED_MM_MIN = 1.0  # Grbl 1.1 (grbl/config.h, MINIMUM_FEED_RATE)
FeedMmMin = Annotated[
    float,
    _reading(quantity.feed_mm_min, quantity.FEED.wanted()),
    _within(LEAST_FEED_MM_MIN, None, "mm/min", why=": a controller goes no slower"),
    _schema(quantity.FEED, "mm/min", LEAST_FEED_MM_MIN),
]
AccelerationMmS2 = Annotated[
    float,
    _reading(quantity.acceleration_mm_s2, quantity.ACCELERATION.wanted()),
    _within(0, None, "mm/s²", above=True),
    _schema(quantity.ACCELERATION, "mm/s²", 0, above=True),
]
SpeedRpm = Annotated[
    float,
    _reading(quantity.speed_rpm, quantity.SPEED.wanted()),
    _within(0, None, "rpm"),
    _schema(quantity.SPEED, "revolutions per minute", 0),
]
SecondsS = Annotated[
    float,
    _reading(quantity.seconds_s, quantity.TIME.wanted()),
    _within(0, 600, "s"),
    _schema(quantity.TIME, "seconds", 0, 600),
]
Factor = Annotated[
    float,
    _reading(quantity.share, quantity.SHARE.wanted()),
    _within(0, 1, "", above=True),
    _schema(quantity.SHARE, "parts of one", 0, 1, above=True),
]
PositiveNumber = Annotated[
    float,
    _reading(quantity.number, quantity.NUMBER.wanted()),
    _within(0, None, "", above=True),
    _schema(quantity.NUMBER, "no unit", 0, above=True),
]


def whole(least: int, most: int) -> Any:
    """A whole number from ``least`` to ``most``, used as ``Annotated[int, *whole(1, 8)]``."""
    return (
        _reading(quantity.whole_number, "a whole number is wanted, such as 4"),
        _within(least, most, ""),
        WithJsonSchema(
            {
                "anyOf": [
                    {"type": "integer", "minimum": least, "maximum": most},
                    {"type": "string", "pattern": r"^\s*[+-]?[0-9]{1,9}\s*$"},
                ],
                "description": f"a whole number from {least} to {most}",
            }
        ),
    )


def _flag(value: Any) -> bool:
    if isinstance(value, bool):
        return value
    if isinstance(value, str) and value.strip() in ("true", "false"):
        return value.strip() == "true"
    meant = {"yes": "true", "on": "true", "no": "false", "off": "false"}
    near = meant.get(str(value).strip().lower(), str(value).strip().lower())
    hint = f"; did you mean {near}?" if near in ("true", "false") else ""
    raise QuantityError(f"true or false is wanted{hint}")


Flag = Annotated[bool, _reading(_flag, "true or false is wanted"), WithJsonSchema({"type": "boolean"})]


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise QuantityError(TEXT_WANTED)
    spaced = "".join(" " if unicodedata.category(char) == "Zs" else char for char in value)
    stripped = spaced.strip()
    if len(stripped) > LONGEST_LINE:
        raise QuantityError(f"too long; at most {LONGEST_LINE} characters are taken")
    if not stripped.isprintable():
        raise QuantityError("line breaks and other control characters are not taken; write one plain line")
    return stripped


Text = Annotated[
    str,
    _reading(_text, TEXT_WANTED),
    WithJsonSchema({"type": "string", "maxLength": LONGEST_LINE}),
]


_COLOUR_PATTERN = "^#[0-9a-fA-F]{6}$"


def _colour(value: Any) -> str:
    if not isinstance(value, str) or not re.fullmatch(_COLOUR_PATTERN, value):
        raise QuantityError(COLOUR_WANTED)
    return value.lower()


COLOUR_WANTED = 'a colour is wanted: "#" and six digits from 0 to f, such as "#d9bf94", in quotes'
Colour = Annotated[
    str,
    _reading(_colour, COLOUR_WANTED),
    WithJsonSchema({"type": "string", "pattern": _COLOUR_PATTERN}),
]


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
    if value is BLANK:
        raise wrong(f"no value given; {quantity.LENGTH.wanted()}, or about 22 mm")
    if not isinstance(value, str | int | float):
        raise wrong(f"{quantity.LENGTH.wanted()}, or about 22 mm")
    try:
        mm, about = quantity.wished_length_mm(value)
    except QuantityError as error:
        raise wrong(str(error)) from None
    if mm <= 0:
        raise wrong("must be more than 0 mm")
    return Pitch(mm, about)


_PITCH_PATTERN = quantity.LENGTH.pattern.replace(r"^\s*", r"^\s*(?:about\s+|~\s*)?", 1)
PitchMm = Annotated[
    Pitch,
    BeforeValidator(_pitch),
    PlainSerializer(str, return_type=str),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "number", "exclusiveMinimum": 0},
                {"type": "string", "pattern": _PITCH_PATTERN},
            ],
            "description": "length of the pattern's unit; a bare number is in mm; 'about 22 mm' takes the "
            "nearest pitch that fits the piece",
        }
    ),
]
