"""What a table of widths says of the bit: against a worked example, exact tables and simulated coupons."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vcarve.coupon.fit import Fit, fit_widths
from vcarve.coupon.table import Widths
from vcarve.errors import InputError
from vcarve.groove.width import VBit, uncertainty_mm, width_mm
from vcarve.job.bench import Bit
from vcarve.job.document import document_of, parse_document
from vcarve.job.record import record_from
from vcarve.quantity import MM
from vcarve.view.fit import bit_line

BIT = {"angle": 60, "diameter": 6, "shank": 6, "tip": 0.2}
DEPTHS = (0.6, 1.0, 1.4, 1.8, 2.2, 2.2, 1.8, 1.4, 1.0, 0.6)


def table(grooves: Any, **keys: Any) -> Widths:
    """Return a table of grooves: depths and their widths."""
    rows = [
        {"depth": float(depth), "widths": [float(w) for w in np.ravel(widths)]} for depth, widths in grooves
    ]
    return record_from(document_of({"bit": BIT, "grooves": rows, **keys}), Widths)


def fitted(grooves: Any, **keys: Any) -> Fit:
    """Return the fit of such a table."""
    return fit_widths(table(grooves, **keys))


def test_a_worked_example() -> None:
    """Readings of a bit sold as 60 degrees: figures worked out apart; 200,000 draws gave 0.2347 for the angle's."""
    depths, widths = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0), (0.76, 1.32, 1.90, 2.44, 3.02, 3.56)
    found = fitted(zip(depths, widths, strict=True))

    assert found.angle_deg == pytest.approx(58.5973, abs=5e-5)
    assert found.u_angle_deg == pytest.approx(0.2353, abs=5e-5)
    assert found.angle_ends_deg == pytest.approx((58.5973 - 0.653, 58.5973 + 0.653), abs=3e-3)
    assert found.tip_mm == pytest.approx((0.202667, 0.010517), abs=1e-6)
    assert found.line.at(0.8) == pytest.approx((1.1005, 0.0069), abs=5e-5)
    assert found.deeper_mm is None
    assert found.outliers == ()


@given(st.floats(20.0, 120.0), st.floats(0.0, 0.4), st.floats(-0.2, 0.2))
def test_exact_widths_give_the_bit_back(angle: float, tip: float, deeper: float) -> None:
    """Widths without error give the angle; with the tip the zero, with the zero the tip, and without either their sum."""
    tip, deeper = round(tip, 4), round(deeper, 4)
    bit = VBit(angle_deg=angle, tip_mm=tip)
    grooves = [(d, width_mm(bit, d + deeper)) for d in (0.3, 0.6, 0.9)]
    sold = {**BIT, "angle": angle, "diameter": 100}
    sure = {"length": tip, "uncertainty": 0.02}, {"length": deeper, "uncertainty": 0.02}
    neither, by_tip, by_zero = (
        fitted(grooves, bit=sold, **keys) for keys in ({}, {"tip": sure[0]}, {"deeper": sure[1]})
    )
    slope = 2.0 * math.tan(math.radians(angle / 2.0))

    assert neither.angle_deg == pytest.approx(angle, abs=1e-6)
    assert neither.tip_mm[0] == pytest.approx(tip + slope * deeper, abs=1e-6)
    assert by_tip.deeper_mm is not None
    assert by_tip.deeper_mm[0] == pytest.approx(deeper, abs=1e-6)
    assert by_tip.deeper_mm[1] >= 0.02 / slope
    assert by_zero.tip_mm[0] == pytest.approx(tip, abs=1e-6)
    assert by_zero.tip_mm[1] >= 0.02 * slope


@pytest.mark.parametrize("wide", [6, 1.5])
def test_a_rounded_tip_gives_its_radius_back(wide: float) -> None:
    """Below its ball a rounded tip cuts as a cone; the radius follows from where the cone's own line begins, of any bit."""
    bit = VBit(angle_deg=58.0, tip_radius_mm=0.25)
    grooves = [(d, width_mm(bit, d)) for d in (0.3, 0.5, 0.7)]
    found = fitted(grooves, bit={"angle": 60, "diameter": wide, "shank": 6, "tip-radius": 0.3})

    assert found.bit == pytest.approx(
        {"angle": 58.0, "diameter": wide, "shank": 6, "tip-radius": 0.25, "flutes": 2}
    )


def test_a_zero_that_was_too_high_leaves_no_tip_of_less_than_nothing() -> None:
    """Narrower than a sharp tip makes them: the job's bit is sharp, and the line still says what was measured."""
    found = fitted([(d, 1.1 * (d - 0.1)) for d in (0.5, 1.0, 1.5)])

    assert found.tip_mm[0] == pytest.approx(-0.11)
    assert found.bit["tip"] == 0.0


@given(st.floats(-0.2, 0.0), st.floats(0.0, 2.8))
def test_a_tip_that_cannot_be_less_than_none_is_the_less_certain(start: float, depth: float) -> None:
    """Where a job's tip is none and the line's start is less, the job's interval still holds all of the fitted line's."""
    off = np.array([0.02, -0.03, 0.01, 0.02, -0.02, 0.0, 0.01, -0.01, 0.02, -0.02])
    found = fitted(zip(DEPTHS, start + 1.1 * np.array(DEPTHS) + off, strict=True))
    bit = VBit(angle_deg=found.angle_deg, tip_mm=found.bit["tip"], uncertainty=found.spread)
    at, u_mm = found.line.at(depth)

    assert uncertainty_mm(bit, depth) >= abs(width_mm(bit, depth) - at) + found.line.factor * u_mm - 1e-4


@pytest.mark.parametrize("known", ["tip", "deeper"])
def test_a_rounded_tip_is_measured_by_its_radius(known: str) -> None:
    """The radius from the loupe tells the zero of a rounded tip, and a touched zero its radius."""
    bit = VBit(angle_deg=58.0, tip_radius_mm=0.25)
    grooves = [(d, width_mm(bit, d + 0.05)) for d in (0.3, 0.5, 0.7)]
    sold = {"angle": 60, "diameter": 6, "shank": 6, "tip-radius": 0.3}
    found = fitted(grooves, bit=sold, **{known: {"length": {"tip": 0.25, "deeper": 0.05}[known]}})

    assert found.bit["tip-radius"] == pytest.approx(0.25)
    assert found.deeper_mm is not None
    assert found.deeper_mm[0] == pytest.approx(0.05, abs=1e-6)


def test_a_groove_counts_by_the_mean_of_its_places() -> None:
    """Three places of one groove are no three grooves: what they share is not thereby better known."""
    off = np.array([0.02, -0.03, 0.01, 0.02, -0.02, 0.0, 0.01, -0.01, 0.02, -0.02])
    widths = 1.1 * np.array(DEPTHS) + off
    once = fitted(zip(DEPTHS, widths, strict=True))
    thrice = fitted((d, (w, w, w)) for d, w in zip(DEPTHS, widths, strict=True))

    assert thrice.u_angle_deg == pytest.approx(once.u_angle_deg)


@pytest.mark.slow
@pytest.mark.parametrize("whole", [False, True])
def test_an_outlier_of_a_place_or_of_a_groove_is_named(whole: bool) -> None:
    """In 95 of 100 coupons a place, or a groove, that is off by 0.3 mm is named as it is, and nothing else."""
    chance = np.random.default_rng(15)
    named, rounds = 0, 300
    for _ in range(rounds):
        widths = (
            0.1
            + 1.15 * np.array(DEPTHS)[:, None]
            + chance.normal(0.0, 0.02, (10, 1))
            + chance.normal(0.0, 0.015, (10, 3))
        )
        groove, place = int(chance.integers(10)), int(chance.integers(3))
        widths[groove, slice(None) if whole else place] += 0.3
        found = fitted(zip(DEPTHS, widths, strict=True))
        places = [(one.groove, one.place) for one in found.outliers]
        named += {one for one, _ in places} == {groove} if whole else places == [(groove, place)]

    assert named / rounds >= 0.95


def test_an_outlier_is_named_and_stays_in() -> None:
    """The answer counts every width; what it would be without the one that is named is told beside it."""
    widths = 1.1 * np.array(DEPTHS) + 0.004 * np.array([1, -1, 1, -1, 1, -1, 1, -1, 1, -1])
    widths[1] += 0.3
    found = fitted(zip(DEPTHS, widths, strict=True))
    (one,) = found.outliers

    assert (one.groove, round(one.off_mm, 2)) == (1, 0.3)
    assert found.line.slope == pytest.approx(np.polyfit(DEPTHS, widths, 1)[0])
    assert found.others.slope == pytest.approx(1.1, abs=0.01)


@given(st.floats(0.0, 2.6), st.sampled_from(["neither", "tip", "deeper"]))
def test_a_job_knows_its_widths_as_well_as_the_fit_does(depth: float, known: str) -> None:
    """What the fit says of the bit gives a job, at every depth, the interval that the fitted line itself has."""
    off = np.array([0.02, -0.03, 0.01, 0.02, -0.02, 0.0, 0.01, -0.01, 0.02, -0.02])
    rows = zip(DEPTHS, 0.3 + 1.1 * np.array(DEPTHS) + off, strict=True)
    sure = {"length": 0.1, "uncertainty": 0.01}
    found = fitted(rows, **({} if known == "neither" else {known: sure}))
    bit = VBit(angle_deg=found.angle_deg, tip_mm=found.tip_mm[0], uncertainty=found.spread)
    line = found.line
    # With the tip measured only the slope is the line's; with the zero touched, depths count from it.
    u_mm = {
        "neither": line.at(depth)[1],
        "tip": math.hypot(0.01, line.u_slope * depth),
        "deeper": math.hypot(line.at(depth - 0.1)[1], line.slope * 0.01),
    }[known]

    assert uncertainty_mm(bit, depth) == pytest.approx(line.factor * u_mm, rel=1e-9)


def test_the_line_for_the_job_keeps_what_was_found() -> None:
    """Read from its line as it is printed, a bit known from a narrow range of depths is as well known there as the fit says."""
    depths = (1.9, 2.0, 2.1, 2.1, 2.0, 1.9)
    off = 0.004 * np.array([1, -1, 1, -1, 1, -1])
    found = fitted(zip(depths, 0.2 + 1.1 * np.array(depths) + off, strict=True))
    printed = parse_document(bit_line(found.bit, MM, found.spread).encode()).tree["bit"]
    bit = record_from(document_of(printed), Bit)

    for depth in (0.5, 1.9, 2.0, 2.1):
        at, u_mm = found.line.at(depth)
        assert width_mm(bit, depth) == pytest.approx(at, abs=5e-4)
        assert uncertainty_mm(bit, depth) == pytest.approx(found.line.factor * u_mm, rel=0.05)


GOOD = [(0.5, 0.6), (1.0, 1.2), (1.5, 1.8)]
SIX = list(zip((0.5, 1.0, 1.5, 2.0, 2.5, 3.0), (0.76, 1.32, 1.90, 2.44, 3.02, 3.56), strict=True))
FEW = "grooves: widths of 3 grooves or more are wanted, at two depths or more"
LENGTH = "a length is wanted, such as 12 mm, 2.5 cm, 1/4 in or 1 1/4 in"
OPEN = "Widths known to ± {} mm each leave the angle open; measure them again, or more grooves of more different depths."
WIDE = "from the bit's diameter on, 6 mm, widths tell no angle; write decimals with a point, or leave it out"


@pytest.mark.parametrize(
    ("grooves", "keys", "said"),
    [
        (GOOD[:2], {}, FEW),
        ([(1.0, 1.0)] * 3, {}, FEW),
        ([*GOOD[:2], (2.0, [])], {}, FEW),
        (
            [*GOOD, (5.5, 5.0)],
            {},
            "grooves.3.depth: '5.5': the bit's cone cuts from 0 mm to 5.023 mm; there alone widths tell its angle",
        ),
        ([*GOOD, (-1.0, 1.0)], {}, "grooves.3.depth: '-1.0': must be more than 0 mm"),
        ([*GOOD, (1.0, -1.0)], {}, "grooves.3.widths.0: '-1.0': must be more than 0 mm"),
        ([*GOOD, (1.0, math.nan)], {}, f"grooves.3.widths.0: 'NaN': {LENGTH}"),
        (
            [(0.0197, 0.0299), (0.0394, 0.052), (0.0591, 0.0748)],
            {"units": "inch"},
            "grooves: 0.0591 mm at most are too shallow to tell an angle; write inches with their unit, such as 0.05 in",
        ),
        ([*GOOD, (2.0, 23.1)], {}, f"grooves.3.widths.0: '23.1': {WIDE}"),
        ([*GOOD, (2.0, 5.9)], {}, f"grooves.3.widths.0: '5.9': {WIDE}"),
        (
            [*GOOD, (2.0, [1.0, 3.0, 1.0, 4.0])],  # 1,3 and 1,4 with commas
            {},
            "grooves.3.widths: places of one groove that differ by whole millimetres; write decimals with a point",
        ),
        (
            GOOD,
            {"tip": {"length": 0.1}, "deeper": {"length": 0}},
            "deeper: give 'tip' or 'deeper', not both: the one is worked out from the other",
        ),
        (GOOD, {"tip": {"length": -0.1}}, "tip.length: '-0.1': must be from 0 mm to less than the bit's diameter, 6 mm"),
        (GOOD, {"tip": {"length": 6}}, "tip.length: '6': must be from 0 mm to less than the bit's diameter, 6 mm"),
        (
            GOOD,
            {"deeper": {"length": -0.5}},
            "deeper.length: '-0.5': so much less deep, the groove of 0.5 mm would not have been cut",
        ),
        (
            GOOD,
            {"bit": "v61"},
            "bit: 'v61': unknown bit; did you mean one of v60-3.175, v60-6.35, v60-12.7, v60-ball25?",
        ),
        (GOOD, {"read-to": 0}, "read-to: '0': must be more than 0 mm"),
        (GOOD, {"uncertainty": 0}, "uncertainty: '0': must be more than 0 mm"),
        (
            GOOD,
            {"calliper": 0.02},
            "calliper: '0.02': unknown key; known here: title, bit, units, read-to, uncertainty, tip, deeper, grooves",
        ),
        (
            [(0.5, 1.8), (1.0, 1.2), (1.5, 0.6)],
            {},
            "These are not the widths of a V-bit: they grow by -1.200 mm for each millimetre of depth. "
            "Are depths and widths in their places?",
        ),
        (
            [(0.5, 0.0236), (1.0, 0.0472), (1.5, 0.0709)],
            {},
            "These are not the widths of a V-bit: they grow by 0.047 mm for each millimetre of depth. "
            "Are they inches? Write them with their unit, such as 0.05 in.",
        ),
        (
            [(0.5, 0.8), (1.0, 1.9), (1.5, 1.9)],
            {},
            OPEN.format(0.449),
        ),
        (
            [*SIX[:5], (3.0, 0.356)],
            {},
            f"{OPEN.format(1.112)}\n"
            "groove 6, 3 mm deep: place 1, 0.356 mm, is 3.224 mm narrower than the others say. Measure it again, or take it out.",
        ),
    ],
)  # fmt: skip
def test_wrong_tables(grooves: Any, keys: dict[str, Any], said: str) -> None:
    """Each slip in a table is answered with its key, its value and what would be right."""
    with pytest.raises(InputError) as error:
        fitted(grooves, **keys)

    assert str(error.value) == said
