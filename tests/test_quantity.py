"""Quantities read from what people write, against exact fractions and the definitions of the units."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from functools import partial

import pytest

from vcarve.quantity import (
    ACCELERATION,
    ANGLE,
    FEED,
    INCH,
    LENGTH,
    MM,
    NUMBER,
    SHARE,
    SPEED,
    TIME,
    Kind,
    QuantityError,
    angle_deg,
    format_deg,
    format_duration,
    format_mm,
    format_rpm,
    length_mm,
    read,
    whole_number,
    wished_length_mm,
)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("1 1/4 in", 31.75),
        ("1-1/4 in", 31.75),
        ("1¼ in", 31.75),
        ("1 ¼in", 31.75),
        ('1/4"', 6.35),
        ("1⁄4 in", 6.35),
        ("0.25″", 6.35),
        ("1/8 in", 3.175),
        ("10 1/2 inches", 266.7),
        ("5 thou", 0.127),
        ("3.175 mm", 3.175),
        ("2 cm", 20.0),
        ("0.3 m", 300.0),
        ("50 µm", 0.05),
        ("12", 12.0),
        (".5", 0.5),
        ("5.", 5.0),
        ("2e1 mm", 20.0),
        ("−3 mm", -3.0),
        ("-1 1/2 mm", -1.5),
        ("+2 MM", 2.0),
        ("2\u202fmm", 2.0),
        (7, 7.0),
        (2.5, 2.5),
    ],
)
def test_lengths(text: str | float, mm: float) -> None:
    """A length is what its number and unit say; the inch is 25.4 mm exactly (1959 agreement)."""
    assert length_mm(text) == mm


@pytest.mark.parametrize(
    ("reader", "text", "value"),
    [
        (angle_deg, "90", 90.0),
        (angle_deg, "22 1/2°", 22.5),
        (angle_deg, "60 deg", 60.0),
        (partial(read, FEED), "600", 600.0),
        (partial(read, FEED), "10 mm/s", 600.0),
        (partial(read, FEED), "24 in / min", 609.6),
        (partial(read, FEED), "24 ipm", 609.6),
        (partial(read, FEED), "1.2 m/min", 1200.0),
        (partial(read, ACCELERATION), "200 mm/s²", 200.0),
        (partial(read, ACCELERATION), "200 mm/s^2", 200.0),
        (partial(read, ACCELERATION), "10 in/s2", 254.0),
        (partial(read, SPEED), "12000 rpm", 12000.0),
        (partial(read, SPEED), "12000 1/min", 12000.0),
        (partial(read, TIME), "500 ms", 0.5),
        (partial(read, TIME), "1/2 min", 30.0),
        (partial(read, SHARE), "30 %", 0.3),
        (partial(read, SHARE), "0.3", 0.3),
        (partial(read, NUMBER), "0.63", 0.63),
    ],
)
def test_other_kinds(reader: Callable[[str], float], text: str, value: float) -> None:
    """Every kind has its bare unit and its usual others."""
    assert reader(text) == value


def test_radians() -> None:
    """Pi radians are half a turn."""
    assert angle_deg(f"{math.pi!r} rad") == pytest.approx(180.0, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("2,5 mm", "numbers are written with a decimal point and no separators; did you mean '2.5 mm'?"),
        ("12,000 mm", "numbers are written with a decimal point and no separators; did you mean '12000 mm'?"),
        ("12 000", "numbers are written with a decimal point and no separators; did you mean '12000'?"),
        ("2 mmm", "unknown unit 'mmm'; did you mean 'mm'?"),
        ("600 rpm", f"'rpm' is a unit of spindle speed; {LENGTH.wanted()}"),
        ("1/8", "a fraction without a unit; write 1/8 in or 0.125 mm"),
        ("-1 1/2", "a fraction without a unit; write -1 1/2 in or -1.5 mm"),
        ("2¼", "a fraction without a unit; write 2¼ in or 2.25 mm"),
        ("1/0 in", f"a fraction cannot be divided by 0; {LENGTH.wanted()}"),
        ("1e400", f"the exponent is beyond reason; {LENGTH.wanted()}"),
        ("2000 m", f"far too large; {LENGTH.wanted()}"),
        ("1e-9", f"too small to mean anything; {LENGTH.wanted()}"),
        ("", f"no value given; {LENGTH.wanted()}"),
        ("  ", f"no value given; {LENGTH.wanted()}"),
        ("nan", LENGTH.wanted()),
        ("inf", LENGTH.wanted()),
        ("wide", LENGTH.wanted()),
        ("1:30", LENGTH.wanted()),
        ("--2", LENGTH.wanted()),
        ("٣ mm", LENGTH.wanted()),
        (float("nan"), f"not a finite number; {LENGTH.wanted()}"),
        (float("-inf"), f"not a finite number; {LENGTH.wanted()}"),
        pytest.param(10**400, f"far too large; {LENGTH.wanted()}", id="400 digits"),
        (True, LENGTH.wanted()),
        pytest.param("9" * 5000, f"too long to be a quantity; {LENGTH.wanted()}", id="5000 digits"),
    ],
)
def test_refusals_say_what_would_be_right(text: str | float, sentence: str) -> None:
    """A wrong length is answered with a whole sentence."""
    with pytest.raises(QuantityError, match=f"^{re.escape(sentence)}$"):
        length_mm(text)


@pytest.mark.parametrize("text", ["4.0", "four", "1e1", "", "4 mm", "1_0"])
def test_whole_numbers_are_plain(text: str) -> None:
    """Only plain digits make a whole number."""
    with pytest.raises(QuantityError, match="a whole number is wanted"):
        whole_number(text)


def test_a_wish_is_told_from_a_length() -> None:
    """'about' and '~' mark a wish."""
    assert wished_length_mm("about 22 mm") == (22.0, True)
    assert wished_length_mm("~1 in") == (25.4, True)
    assert wished_length_mm("About 3/4 in") == (19.05, True)
    assert wished_length_mm("22 mm") == (22.0, False)
    with pytest.raises(QuantityError):
        wished_length_mm("aboutish 22 mm")


def test_a_bare_fraction_is_asked_about_where_it_may_be_inches() -> None:
    """Feeds and accelerations are asked about as lengths are, by the reader and by the pattern; the rest has no inches."""
    for kind in (LENGTH, FEED, ACCELERATION):
        assert not re.search(kind.pattern, "1/2")
        assert re.search(kind.pattern, "1/2" + next(iter(kind.units)))
        with pytest.raises(QuantityError, match=r"a fraction without a unit; write 1/2 in.* or 0\.5 mm"):
            read(kind, "1/2")
    for kind in (ANGLE, SPEED, TIME):
        assert re.search(kind.pattern, "1/2")
        assert read(kind, "1/2") == 0.5


@pytest.mark.parametrize("kind", [LENGTH, ANGLE, FEED, ACCELERATION, SPEED, TIME])
def test_examples_in_the_sentences_are_right(kind: Kind) -> None:
    """Whatever a refusal offers as an example is read, and fits the pattern of the JSON Schema."""
    for example in re.split(r", | or ", kind.examples):
        assert read(kind, example) > 0
        assert re.search(kind.pattern, example)


def test_every_unit_is_read_and_fits_the_pattern() -> None:
    """The table of units, the reader and the pattern agree."""
    for kind in (LENGTH, ANGLE, FEED, ACCELERATION, SPEED, TIME):
        for unit, size in kind.units.items():
            assert read(kind, f"3 {unit}") == float(3 * size)
            assert re.search(kind.pattern, f"3 {unit}")


def test_read_outs_show_units_and_no_negative_zero() -> None:
    """Read-outs are plain numbers with their unit."""
    assert format_mm(4.0, trim=False) == "4.000 mm"
    assert format_mm(12.5) == "12.5 mm"
    assert format_mm(-0.0001) == "0 mm"
    assert format_mm(100.0, 0) == "100 mm"
    assert format_deg(22.5) == "22.5°"
    assert MM.feed(609.6) == "609.6 mm/min"
    assert format_rpm(12000.0) == "12000 rpm"


def test_inches_are_written_a_decimal_finer() -> None:
    """Figures in inches: 25.4 mm each, one decimal more than in millimetres, feeds by the minute, volumes in cubic inches."""
    assert INCH.length(3.175) == "0.125 in"
    assert INCH.length(0.8) == "0.0315 in"
    assert INCH.length(25.4, 1, trim=False) == "1.00 in"
    assert INCH.feed(609.6) == "24 in/min"
    assert INCH.volume(16387.064) == "1.000 in³"


def test_small_lengths_do_not_read_as_nothing() -> None:
    """Less than the last decimal is said to be less."""
    assert MM.small(0.0004) == "less than 0.001 mm"
    assert INCH.small(0.00127) == "less than 0.0001 in"
    assert MM.small(0.0123) == "0.012 mm"


def test_large_speeds_are_written_out() -> None:
    """A million and more has all its digits, and one that is barely too fast does not look like its limit."""
    assert format_rpm(1e6) == "1000000 rpm"
    assert format_rpm(100000.4) == "100000.4 rpm"
    assert MM.feed(1234567.25, 3) == "1234567.25 mm/min"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.0, "0.0 s"), (9.94, "9.9 s"), (9.96, "10 s"), (59.7, "1 min 00 s"), (185.0, "3 min 05 s"),
     (3599.6, "1 h 00 min"), (7620.0, "2 h 07 min")],
)  # fmt: skip
def test_durations(seconds: float, text: str) -> None:
    """A duration never shows sixty seconds or sixty minutes."""
    assert format_duration(seconds) == text
