"""Laws of quantities."""

from __future__ import annotations

import re
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from vcarve.quantity import LENGTH, QuantityError, format_number, length_mm, wished_length_mm

LAWS = settings(deadline=None, derandomize=True, max_examples=200)
INCH = Fraction(254, 10)
wholes = st.integers(0, 999)
overs = st.integers(1, 64)
unders = st.sampled_from([2, 4, 8, 16, 32, 64, 3, 10])


@LAWS
@given(wholes, overs, unders, st.sampled_from([" ", "-", "  "]), st.sampled_from(["in", '"', "mm", "cm"]))
def test_mixed_fractions_are_exact(whole: int, over: int, under: int, gap: str, unit: str) -> None:
    """A mixed fraction of any unit is the nearest float to its exact value."""
    size = {"in": INCH, '"': INCH, "mm": Fraction(1), "cm": Fraction(10)}[unit]

    assert length_mm(f"{whole}{gap}{over}/{under} {unit}") == float((whole + Fraction(over, under)) * size)


@LAWS
@given(st.decimals(-9999, 9999, places=4))
def test_inches_are_25_4_mm_exactly(value: object) -> None:
    """Decimal inches are 25.4 mm each, rounded once."""
    if value and abs(Fraction(str(value))) * INCH < Fraction(1, 10**6):
        return

    assert length_mm(f"{value:f} in") == float(Fraction(str(value)) * INCH)


@LAWS
@given(st.floats(-1e6, 1e6).filter(lambda value: value == 0 or abs(value) >= 1e-6))
def test_what_is_written_is_read_back(value: float) -> None:
    """Reading inverts writing, for texts and for bare numbers."""
    assert length_mm(f"{value!r} mm") == value
    assert length_mm(value) == value


@LAWS
@given(st.integers(-(10**9), 10**9))
def test_read_outs_are_read_back(thousandths: int) -> None:
    """A read-out of three decimals gives the same three decimals again."""
    value = thousandths / 1000

    assert length_mm(format_number(value)) == value


@settings(LAWS, max_examples=500)
@given(st.text(alphabet='0123456789 ./-+,e"inmcµ¼½~about%:_', max_size=14))
def test_any_text_is_read_or_refused_with_a_sentence(text: str) -> None:
    """Nothing but QuantityError escapes, and what is read in lower case fits the schema's pattern."""
    refusal = ""
    try:
        wished_length_mm(text)
        length_mm(text)
    except QuantityError as error:
        refusal = str(error)

    assert len(refusal) > 10 or "µ" in text or re.search(LENGTH.pattern, text)
