"""Fitting the pitch to the piece."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drawn_lines import pattern_of
from vcarve.errors import InputError
from vcarve.pattern.fit import NOTHING_MM, fit, rectangular_repeat
from vcarve.pattern.model import pattern, patterns

PATTERNS = {made.key: made for made in patterns()}


@pytest.mark.parametrize(
    ("key", "repeat"),
    [
        ("ichimatsu", (1.0, 1.0)),
        ("mitsukude", (1.0, math.sqrt(3))),
        ("kaku-asanoha", (2.0, 2.0)),
        ("kikko", (math.sqrt(3), 3.0)),
        ("bishamon-kikko", (3 * math.sqrt(3), 3.0)),
        ("hishi", (math.sqrt(3), 1.0)),
        ("hakkaku", (1 + math.sqrt(2), 1 + math.sqrt(2))),
        ("yabane", (2.0, 1.5)),
        ("seigaiha", (2.0, 1.0)),
        ("ajiro", (6.0, 2.0)),
    ],
)
def test_rectangular_repeat(key, repeat):
    """The smallest upright rectangle that repeats the pattern, worked out by hand from its lattice."""
    assert rectangular_repeat(PATTERNS[key].cell) == pytest.approx(repeat, rel=1e-12)


def test_square_hemp_leaf_on_a_tile():
    """Four stars across a 100 mm tile: half a star is 12.5 mm, the tile is filled both ways, a star at the corner."""
    made = fit(pattern("kaku-asanoha"), 100.0, 100.0, across=4)

    assert made.pitch_mm == pytest.approx(12.5)
    assert (made.across, made.along, made.left_over_mm) == (4, 4, 0.0)
    assert made.origin_mm == pytest.approx((-50.0, -50.0))
    assert (
        made.sentence
        == "Kaku-asanoha at a pitch of 12.500 mm: 4 repeats across and 4 along fill the piece exactly"
    )


def test_left_over_is_told_and_centred():
    """Triangles fill 100 mm across at 25 mm; along, two double rows leave 100 - 100 sqrt(3)/2 mm, half at each end."""
    made = fit(pattern("mitsukude"), 100.0, 100.0, across=4)
    left = 100.0 - 4 * 25.0 * math.sqrt(3) / 2

    assert made.along == pytest.approx(2.0)
    assert made.left_over_mm == pytest.approx(left)
    assert made.origin_mm == pytest.approx((-50.0, -50.0 + left / 2))
    assert "13.40 mm are left over, half at either end" in made.sentence


def test_half_repeats_along_where_rows_are_staggered():
    """Staggered rows begin anew at half the repeat: three rows of triangles count one and a half."""
    made = fit(pattern("mitsukude"), 40.0, 3 * 10 * math.sqrt(3) / 2, across=4)

    assert made.along == pytest.approx(1.5)
    assert made.left_over_mm == 0.0


@pytest.mark.parametrize(
    ("size", "wish", "pitch"),
    [
        ((100.0, 100.0), 22.0, 20.0),  # 5 across is nearest
        ((100.0, 100.0), 24.0, 25.0),
        ((100.0, 150.0), 22.0, 25.0),  # 20 is nearer, but only 25 fills the height too
        ((100.0, 101.0), 22.0, 20.0),  # nothing near fills both: the nearest
        ((100.0, 100.0), 500.0, 100.0),  # one repeat at least
    ],
)
def test_wished_pitch(size, wish, pitch):
    """The nearest pitch that fits is taken, or one near that fills the height as well."""
    made = fit(pattern("ichimatsu"), *size, about_mm=wish)

    assert made.pitch_mm == pytest.approx(pitch)


def test_corner_of_the_grid_lies_on_the_corner_of_the_piece():
    """Patterns drawn about the middle of their cell lay a joint, not a middle, on the corner."""
    made = fit(pattern("ichimatsu"), 90.0, 60.0, across=3)

    assert made.origin_mm == pytest.approx((-45.0 - 15.0, -30.0 - 15.0))


OBLIQUE = """\
key: own
name: Own
lattice: {kind: oblique, a1: [1, sqrt(2)/10], a2: [sqrt(2)/5, 1]}
group: p1
unit: side
pitch-range: [10 mm, 20 mm]
lines:
  - {from: [0, 0], to: [1, 1/2]}
"""


def test_no_repeat_across():
    """A lattice without a vector along the width cannot fit it, and that is said."""
    with pytest.raises(InputError, match="the lattice of own does not repeat along the width"):
        fit(pattern_of(OBLIQUE), 100.0, 100.0, across=2)


def test_no_repeat_along():
    """A lattice that repeats along the width only fits the width only."""
    made = pattern_of(OBLIQUE.replace("a1: [1, sqrt(2)/10]", "a1: [1, 0]"))

    assert rectangular_repeat(made.cell) == (1.0, None)
    assert "does not repeat along the height" in fit(made, 100.0, 100.0, across=5).sentence


@pytest.mark.parametrize("wanted", [{"across": 0}, {"across": 1001}, {"about_mm": 0.01}])
def test_wrong_wish(wanted):
    """None across, and more than a thousand, are refused."""
    with pytest.raises(InputError):
        fit(pattern("ichimatsu"), 100.0, 100.0, **wanted)


@pytest.mark.parametrize(
    ("wanted", "key", "want"),
    [
        ({"across": 1001}, "pattern.across", "write a whole number from 1 to 1000"),
        (
            {"about_mm": 0.01},
            "pattern.pitch",
            "more than 1000 repeats across; a pitch of about 0.1 mm or more is possible",
        ),
    ],
)
def test_too_many_repeats_are_said_of_the_key_that_asks_for_them(wanted, key, want):
    """A wish for too small a pitch is answered with the least one, not with a number that nobody wrote."""
    with pytest.raises(InputError) as caught:
        fit(pattern("ichimatsu"), 100.0, 100.0, **wanted)
    [problem] = caught.value.problems

    assert (problem.key, problem.want) == (key, want)


@pytest.mark.slow
@settings(deadline=None, derandomize=True, max_examples=200)
@given(
    st.sampled_from(sorted(PATTERNS)),
    st.floats(20, 600),
    st.floats(20, 600),
    st.integers(1, 40),
)
def test_whole_repeats_fill_the_width(key, width, height, across):
    """The width is whole repeats, each a shift of the lattice; rows and what is left over make up the height."""
    made = PATTERNS[key]
    found = fit(made, width, height, across=across)
    wide, high = rectangular_repeat(made.cell)
    assert wide is not None
    assert high is not None
    lattice = made.cell

    assert found.pitch_mm * wide * across == pytest.approx(width, rel=1e-12)
    assert lattice.apart(np.array([(wide, 0.0), (0.0, high)])).max() < 1e-9
    assert found.along * high * found.pitch_mm + found.left_over_mm == pytest.approx(height, abs=NOTHING_MM)
    assert 0.0 <= found.left_over_mm < high * found.pitch_mm
    assert 2 * found.along == pytest.approx(round(2 * found.along), abs=1e-9)
