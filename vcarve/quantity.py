"""Lengths, angles, feeds, accelerations, spindle speeds and times, read from what people write.

A quantity is a number and, where wanted, a unit: ``3.175 mm``, ``1/8 in``, ``1 1/4 in``, ``1-1/4"``,
``1¼ in``, ``600``, ``24 in/min``.  A number without a unit is in the unit used inside: millimetres, degrees,
mm/min, mm/s², rev/min, seconds.  A fraction without one is asked about where it may be inches.  Numbers are held as
exact fractions until the last step, so every value is rounded once.

The inch is 25.4 mm exactly (international yard and pound agreement, 1959).
"""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

LARGEST = 1_000_000  # in the inside unit: a kilometre of wood, a million revolutions
SMALLEST = Fraction(1, 1_000_000)  # a nanometre, the step of the grid that lines are laid on
LONGEST_TEXT = 60
LARGEST_EXPONENT = 12
MM_PER_INCH = Fraction(127, 5)

_VULGAR = "½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅐⅛⅜⅝⅞⅑⅒"
_SIGNS = str.maketrans(
    {"−": "-", "⁄": "/", "\u00a0": " ", "\u2009": " ", "\u202f": " ", "″": '"', "”": '"', "“": '"'}
)
_FRACTION = (
    r"[0-9]+(?:\s+|-)[0-9]+\s*/\s*[0-9]+"
    r"|[0-9]+\s*/\s*[0-9]+"
    rf"|[0-9]*\s*[{_VULGAR}]"
)
_DECIMAL = r"(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_NUMBER = rf"[+-]?\s*(?:{_FRACTION}|{_DECIMAL})"
_BARE_FRACTION = re.compile(rf"[+-]?\s*(?:{_FRACTION})")
_QUANTITY = re.compile(rf"(?P<number>{_NUMBER})\s*(?P<unit>.*)")
_MIXED = re.compile(r"(?:([0-9]+)(?:\s+|-))?([0-9]+\s*/\s*[0-9]+)")
_ABOUT = re.compile(r"(?:about\b|~)\s*", re.IGNORECASE)


class QuantityError(ValueError):
    """What was written is not the quantity wanted; the message says what would be right."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of quantity: its name in a sentence, examples, and its units with their exact size.

    ``fraction_units`` are those that a bare fraction may be in: the unit of inches, the unit used inside.
    """

    noun: str  # "a length"
    examples: str
    units: Mapping[str, Fraction]  # folded unit -> how many of the inside unit
    fraction_units: tuple[str, str] | None = None

    def wanted(self) -> str:
        """Say what is wanted, as a sentence."""
        return f"{self.noun} is wanted, such as {self.examples}"

    @property
    def pattern(self) -> str:
        """A regular expression (in the part ECMA 262 shares) for texts of this kind, units in lower case."""
        units = "|".join(re.escape(unit) for unit in sorted(self.units, key=lambda unit: (-len(unit), unit)))
        units = units.replace("/", r"\s*/\s*")
        fraction, sign = _FRACTION.replace("/", "[/⁄]"), r"[+\-−]?\s*"
        if self.fraction_units is None:
            return rf"^\s*{sign}(?:{fraction}|{_DECIMAL})\s*(?:{units})?\s*$"
        return rf"^\s*{sign}(?:(?:{fraction})\s*(?:{units})|{_DECIMAL}\s*(?:{units})?)\s*$"


def _units(sizes: Mapping[str, Fraction | int]) -> dict[str, Fraction]:
    return {unit: Fraction(size) for names, size in sizes.items() for unit in names.split()}


_LENGTHS = _units(
    {
        "um μm micron microns": Fraction(1, 1000),
        "mm millimetre millimetres millimeter millimeters": 1,
        "cm centimetre centimetres centimeter centimeters": 10,
        "m metre metres meter meters": 1000,
        "in inch inches in. \" ''": MM_PER_INCH,
        "thou": MM_PER_INCH / 1000,
    }
)
_ANGLES = _units({"deg degree degrees °": 1, "rad radian radians": Fraction(180 / math.pi)})
_TIMES = _units(
    {"s sec second seconds": 1, "min minute minutes": 60, "h hour hours": 3600, "ms": Fraction(1, 1000)}
)
_PATHS = {unit: _LENGTHS[unit] for unit in ("mm", "cm", "m", "in", "inch", '"')}
_FEEDS = _units({"ipm": MM_PER_INCH, "ips": MM_PER_INCH * 60}) | {
    f"{path}/{per}": size * 60 / _TIMES[per]
    for path, size in _PATHS.items()
    for per in ("s", "sec", "min", "minute")
}
_ACCELERATIONS = {
    f"{path}/{per}": size
    for path, size in _PATHS.items()
    for per in ("s2", "s²", "s^2", "sec2", "sec²", "s/s")
}

LENGTH = Kind("a length", "12 mm, 2.5 cm, 1/4 in or 1 1/4 in", _LENGTHS, ("in", "mm"))
ANGLE = Kind("an angle", "60 deg, 22.5° or 90", _ANGLES)
FEED = Kind("a feed", "600 mm/min, 10 mm/s or 24 in/min", _FEEDS, ("in/min", "mm/min"))
ACCELERATION = Kind("an acceleration", "200 mm/s², 200 mm/s2 or 8 in/s2", _ACCELERATIONS, ("in/s²", "mm/s²"))
SPEED = Kind("a spindle speed", "12000 rpm or 12000", _units({"rpm 1/min /min rev/min r/min": 1}))
TIME = Kind("a time", "3 s, 500 ms or 0.5 min", _TIMES)
SHARE = Kind("a share", "0.3 or 30 %", _units({"% percent": Fraction(1, 100)}))
NUMBER = Kind("a number without a unit", "2 or 0.5", _units({}))
_KINDS = (LENGTH, ANGLE, FEED, ACCELERATION, SPEED, TIME)


def _exact(number: str, kind: Kind) -> Fraction:
    """Return the number's exact value; ``number`` has already been matched."""
    sign = -1 if number.startswith("-") else 1
    body = number.lstrip("+-").strip()
    try:
        if mixed := _MIXED.fullmatch(body):
            return sign * (int(mixed[1] or 0) + Fraction("".join(mixed[2].split())))
    except ZeroDivisionError:
        raise QuantityError(f"a fraction cannot be divided by 0; {kind.wanted()}") from None
    if body[-1] in _VULGAR:
        part = Fraction(unicodedata.numeric(body[-1])).limit_denominator(10)
        return sign * (int(body[:-1].strip() or "0") + part)
    exponent = re.search(r"[eE]([+-]?[0-9]+)$", body)
    if exponent and abs(int(exponent[1])) > LARGEST_EXPONENT:
        raise QuantityError(f"the exponent is beyond reason; {kind.wanted()}")
    return sign * Fraction(body)


def _bounded(value: Fraction | float, kind: Kind) -> float:
    magnitude = abs(Fraction(value))
    if magnitude > LARGEST:
        raise QuantityError(f"far too large; {kind.wanted()}")
    if 0 < magnitude < SMALLEST:
        raise QuantityError(f"too small to mean anything; {kind.wanted()}")
    return float(value)


def _refuse_separators(text: str, kind: Kind) -> None:
    """Raise where there are decimal commas or digit separators, with what may be meant."""
    if re.search(r"[0-9][,_'’][0-9]", text) or re.search(r"[0-9] [0-9]{3}(?![0-9/])", text):
        grouped = re.fullmatch(r"(-?[0-9]{1,3}(?:[ ,_'’][0-9]{3})+)(\.[0-9]+)?(\s*[^0-9].*)?", text)
        plain = re.sub(r"([0-9])[ ,_'’](?=[0-9]{3})", r"\1", text) if grouped else text.replace(",", ".", 1)
        puzzling = not _QUANTITY.fullmatch(plain) or re.search(r"[0-9.][ ,_'’][0-9]|\..*\.", plain)
        hint = kind.wanted() if puzzling else f"did you mean {plain!r}?"
        raise QuantityError(f"numbers are written with a decimal point and no separators; {hint}")


def _unit_size(written: str, kind: Kind) -> Fraction:
    folded = re.sub(r"\s*/\s*", "/", written.casefold())
    if not folded:
        return Fraction(1)
    if folded in kind.units:
        return kind.units[folded]
    if not (folded[0].isalpha() or folded[0] in "/\"'°%"):
        raise QuantityError(kind.wanted())
    for other in _KINDS:
        if folded in other.units:
            raise QuantityError(f"{written!r} is a unit of {other.noun.split(' ', 1)[1]}; {kind.wanted()}")
    near = difflib.get_close_matches(folded, kind.units, n=1, cutoff=0.5)
    hint = f"did you mean {near[0]!r}?" if near else kind.wanted()
    raise QuantityError(f"unknown unit {written!r}; {hint}")


def read(kind: Kind, written: str | float) -> float:
    """Read one quantity of ``kind`` from text, or take a plain number as being in the inside unit.

    Raises ``QuantityError`` with a sentence saying what would be right.
    """
    if isinstance(written, bool):
        raise QuantityError(kind.wanted())
    if isinstance(written, int | float):
        if isinstance(written, float) and not math.isfinite(written):
            raise QuantityError(f"not a finite number; {kind.wanted()}")
        return _bounded(written, kind)
    text = written.translate(_SIGNS).strip()
    if not text:
        raise QuantityError(f"no value given; {kind.wanted()}")
    if len(text) > LONGEST_TEXT:
        raise QuantityError(f"too long to be a quantity; {kind.wanted()}")
    _refuse_separators(text, kind)
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise QuantityError(kind.wanted())
    size = _unit_size(match["unit"].strip(), kind)
    value = _exact(match["number"], kind)
    bare = not match["unit"] and _BARE_FRACTION.fullmatch(match["number"].strip())
    if bare and kind.fraction_units is not None:
        inch, inside = kind.fraction_units
        raise QuantityError(
            f"a fraction without a unit; write {text} {inch} or {format_number(float(value), 6)} {inside}"
        )
    return _bounded(value * size, kind)


def length_mm(written: str | float) -> float:
    """Return a length in millimetres; a bare number is in millimetres."""
    return read(LENGTH, written)


def duration_s(written: str) -> float:
    """Return a time in seconds, written as :func:`format_duration` writes it: parts, each with its unit, such as 3 min 05 s."""
    parts = re.findall(r"[^a-z]+[a-z]+", text := written.strip().casefold())
    if "".join(parts) != text or not text:
        raise QuantityError("a time is wanted, each number with its unit, such as 7 min or 3 min 05 s")
    return sum(read(TIME, part) for part in parts)


def unit_of(written: str) -> str:
    """Return the unit of a quantity as it is written; empty where there is none."""
    match = _QUANTITY.fullmatch(written.translate(_SIGNS).strip())
    return "" if match is None else match["unit"].strip()


def in_inches(written: str) -> bool:
    """Tell whether a length that can be read is written in inches."""
    return LENGTH.units.get(unit_of(written).casefold()) == MM_PER_INCH


def angle_deg(written: str | float) -> float:
    """Return an angle in degrees; a bare number is in degrees."""
    return read(ANGLE, written)


def whole_number(written: str | int) -> int:
    """Return a whole number such as ``4``; nothing else, not even ``4.0``."""
    if isinstance(written, int) and not isinstance(written, bool):
        return written
    text = written.translate(_SIGNS).strip() if isinstance(written, str) else ""
    if not re.fullmatch(r"[+-]?[0-9]{1,9}", text):
        raise QuantityError("a whole number is wanted, such as 4")
    return int(text)


def wished_length_mm(written: str | float) -> tuple[float, bool]:
    """Return a length in millimetres, and whether it is only a wish: ``about 22 mm`` or ``~22 mm``."""
    if isinstance(written, str) and (about := _ABOUT.match(written.strip())):
        return length_mm(written.strip()[about.end() :]), True
    return length_mm(written), False


def format_number(value: float, decimals: int = 3, *, trim: bool = True) -> str:
    """Return a decimal number, never ``-0``; ``trim`` drops zeros at the end."""
    text = f"{value:.{decimals}f}"
    if trim and "." in text:
        text = text.rstrip("0").rstrip(".")
    return text[1:] if re.fullmatch(r"-0(\.0*)?", text) else text


def counted(number: int, one: str, many: str = "") -> str:
    """Return a number with its word, such as ``1 lift`` or ``65 lifts``."""
    return f"{number} {one if number == 1 else many or one + 's'}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """How lengths, feeds and volumes are written for people: in millimetres, or in inches with a decimal more."""

    unit: str
    unit_mm: float
    finer: int  # decimals more than in millimetres
    volume_unit: str
    volume_mm3: float

    def number(self, value_mm: float, decimals: int = 3, *, trim: bool = True) -> str:
        """Return a length without its unit; ``decimals`` are those of millimetres."""
        return format_number(value_mm / self.unit_mm, decimals + self.finer, trim=trim)

    def length(self, value_mm: float, decimals: int = 3, *, trim: bool = True) -> str:
        """Return a length such as ``12.5 mm`` or ``0.4921 in``."""
        return f"{self.number(value_mm, decimals, trim=trim)} {self.unit}"

    def known(self, value_mm: float, off_mm: float) -> str:
        """Return a length with how far it may be off, such as ``2.31 ± 0.04 mm``; finer where it is known more finely."""
        decimals = 2 if off_mm >= 0.0355 else 3
        number, off = (self.number(one, decimals, trim=False) for one in (value_mm, off_mm))
        return f"{number} ± {off} {self.unit}"

    def at_least(self, value_mm: float, decimals: int = 2) -> str:
        """Return a length rounded up, for the least that is possible."""
        digit_mm = self.unit_mm / 10.0 ** (decimals + self.finer)
        return self.length(math.ceil(value_mm / digit_mm - 1e-9) * digit_mm, decimals)

    def small(self, value_mm: float, decimals: int = 3) -> str:
        """Return a length, or ``less than 0.001 mm`` where its decimals would leave nothing of it."""
        digit_mm = self.unit_mm / 10.0 ** (decimals + self.finer)
        less = "less than " if value_mm < digit_mm else ""
        return less + self.length(max(value_mm, digit_mm), decimals)

    def size(self, *sides_mm: float) -> str:
        """Return the measures of a piece such as ``4 × 3 × 0.5 in``."""
        return f"{' × '.join(self.number(side) for side in sides_mm)} {self.unit}"

    def way(self, value_mm: float) -> str:
        """How long a way is that the bit goes, such as ``2892.0 mm``: more decimals than a mill could tell say nothing."""
        return self.length(value_mm, 1, trim=False)

    def feed(self, value_mm_min: float, decimals: int = 1) -> str:
        """Return a feed such as ``600 mm/min`` or ``23.62 in/min``; a limit and what goes beyond it need more decimals."""
        return f"{self.length(value_mm_min, decimals)}/min"

    def volume(self, value_mm3: float) -> str:
        """Return a volume such as ``3.21 cm³`` or ``0.196 in³``."""
        return f"{format_number(value_mm3 / self.volume_mm3, 2 + self.finer, trim=False)} {self.volume_unit}"


MM = Figures(unit="mm", unit_mm=1.0, finer=0, volume_unit="cm³", volume_mm3=1000.0)
INCH = Figures(unit="in", unit_mm=25.4, finer=1, volume_unit="in³", volume_mm3=25.4**3)
FIGURES = MappingProxyType({"mm": MM, "inch": INCH})
format_mm = MM.length  # where no job says otherwise


def format_deg(value_deg: float, decimals: int = 2, *, trim: bool = True) -> str:
    """Return an angle such as ``22.5°``."""
    return f"{format_number(value_deg, decimals, trim=trim)}°"


def format_rpm(value_rpm: float) -> str:
    """Return a spindle speed such as ``12000 rpm``."""
    return f"{format_number(value_rpm)} rpm"


def format_duration(value_s: float) -> str:
    """Return a running time such as ``4.2 s``, ``3 min 05 s`` or ``2 h 07 min``."""
    if round(value_s, 1) < 10.0:
        return f"{format_number(value_s, 1, trim=False)} s"
    seconds = round(value_s)
    if seconds < 60:
        return f"{seconds} s"
    if seconds < 3600:
        return f"{seconds // 60} min {seconds % 60:02d} s"
    minutes = round(value_s / 60.0)
    return f"{minutes // 60} h {minutes % 60:02d} min"
