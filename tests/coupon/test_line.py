"""The fit of a line: against certified values, published examples, closed forms and simulated coupons."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vcarve.coupon.line import fit_line, outliers
from vcarve.errors import InputError

# NIST Statistical Reference Datasets, linear regression, Norris (Norris, J., calibration of ozone monitors); data and certified
# values as packaged in scipy.stats.tests.test_stats (test_nist_norris); the residual standard deviation from memory.
NORRIS_X = [
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5, 11.6,
    556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
]  # fmt: skip
NORRIS_Y = [
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9, 10.8,
    557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
]  # fmt: skip


def test_certified_values_of_norris() -> None:
    """Both parameters, their standard deviations and the residual one have the certified digits."""
    line = fit_line(np.array(NORRIS_X), np.array(NORRIS_Y))

    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.start_mm == pytest.approx(-0.262323073774029, rel=1e-11)
    assert line.u_slope == pytest.approx(0.00042979684820, rel=1e-9)
    assert line.u_start_mm == pytest.approx(0.23281823430153, rel=1e-12)
    assert line.deviation_mm == pytest.approx(0.884796396144373, rel=1e-11)
    assert line.freedom == 34


def test_the_thermometer_of_the_gum() -> None:
    """The published example of the GUM (JCGM 100:2008, H.3) comes out with its uncertainties and correlation."""
    above = np.array([1.521, 2.012, 2.512, 3.003, 3.507, 3.999, 4.513, 5.002, 5.503, 6.010, 6.511])
    off = -np.array([171, 169, 166, 159, 164, 165, 156, 157, 159, 161, 160]) / 1000.0
    line = fit_line(above, off)
    value, uncertain = line.at(10.0)

    assert (round(line.start_mm, 4), round(line.u_start_mm, 4)) == (-0.1712, 0.0029)
    assert (round(line.slope, 5), round(line.u_slope, 5)) == (0.00218, 0.00067)
    assert round(line.together, 2) == -0.93
    assert (round(value, 4), round(uncertain, 4)) == (-0.1494, 0.0041)


_floats = st.floats(-5.0, 5.0, allow_subnormal=False)


@given(st.lists(st.tuples(_floats, _floats), min_size=3, max_size=20))
def test_the_line_is_that_of_a_general_library(points: list[tuple[float, float]]) -> None:
    """Whatever the points, parameters and covariance are those of numpy's least squares by the design's matrix."""
    depth, width = np.array(points).T
    if np.ptp(depth) < 0.1:
        return
    line, design = fit_line(depth, width), np.column_stack([np.ones_like(depth), depth])
    known, *_ = np.linalg.lstsq(design, width, rcond=None)
    left = width - design @ known
    covariance = np.linalg.inv(design.T @ design) * float(left @ left) / (len(depth) - 2)

    assert (line.start_mm, line.slope) == pytest.approx(tuple(known), rel=1e-6, abs=1e-9)
    assert line.u_start_mm**2 == pytest.approx(covariance[0, 0], rel=1e-6, abs=1e-12)
    assert line.u_slope**2 == pytest.approx(covariance[1, 1], rel=1e-6, abs=1e-12)
    assert line.together * line.u_start_mm * line.u_slope == pytest.approx(
        covariance[0, 1], rel=1e-6, abs=1e-12
    )


@given(st.floats(0.2, 4.0), st.floats(-0.5, 0.5), st.floats(0.1, 10.0))
def test_the_unit_of_lengths_is_nothing_to_the_angle(slope: float, start: float, scale: float) -> None:
    """Measured in another unit, slope and its uncertainty stay; start and scatter grow with the unit."""
    depth = np.array([0.5, 1.0, 1.5, 2.0, 2.5])
    width = start + slope * depth + np.array([0.01, -0.02, 0.0, 0.02, -0.01])
    one, other = fit_line(depth, width), fit_line(scale * depth, scale * width)

    assert (other.slope, other.u_slope) == pytest.approx((one.slope, one.u_slope))
    assert (other.start_mm, other.u_start_mm) == pytest.approx((scale * one.start_mm, scale * one.u_start_mm))
    assert other.together == pytest.approx(one.together)


def test_a_given_uncertainty_is_taken_until_the_scatter_contradicts_it() -> None:
    """A caliper's figure stands in for the scatter, but not one that is far too small for what was measured."""
    depth = np.array([0.5, 1.0, 1.5, 2.0, 2.5])
    width = depth + np.array([0.02, -0.03, 0.01, 0.03, -0.03])

    assert fit_line(depth, width, 0.03).deviation_mm == 0.03
    assert fit_line(depth, width, 0.03).factor == pytest.approx(1.96, abs=1e-3)
    doubted = fit_line(depth, width, 0.001)
    assert (doubted.deviation_mm, doubted.freedom) == (fit_line(depth, width).deviation_mm, 3)


def test_nothing_is_known_better_than_it_was_read() -> None:
    """Widths that lie on a line to the last digit keep the uncertainty of that digit: q over the root of 12."""
    depth = np.array([1.0, 2.0, 3.0, 4.0])

    assert fit_line(depth, depth, read_to_mm=0.02).deviation_mm == pytest.approx(0.0057735, abs=1e-6)


@pytest.mark.parametrize("depth", [[1.0, 2.0], [1.0, 1.0, 1.0]])
def test_too_little_for_a_line(depth: list[float]) -> None:
    """Two points, or points of one depth, are refused."""
    with pytest.raises(InputError, match="three points or more, at two depths or more"):
        fit_line(np.array(depth), np.array(depth))


DEPTHS = np.repeat([0.6, 1.0, 1.4, 1.8, 2.2], 2)


@pytest.mark.slow
@pytest.mark.parametrize(("given_mm", "step_mm"), [(None, 1e-6), (None, 0.02), (0.02, 0.01)])
def test_the_true_angle_lies_in_its_interval(given_mm: float | None, step_mm: float) -> None:
    """In 10,000 coupons read to a caliper's step the 95 % interval holds the true slope, and the true width, in 94 to 96 %."""
    chance = np.random.default_rng(13)
    slope, start, held, wide = 2.0 * np.tan(np.radians(29.3)), 0.12, 0, 0
    for _ in range(10_000):
        true = start + slope * DEPTHS + chance.normal(0.0, 0.02, len(DEPTHS))
        line = fit_line(DEPTHS, np.round(true / step_mm) * step_mm, given_mm, step_mm)
        held += abs(line.slope - slope) <= line.factor * line.u_slope
        at, off = line.at(0.8)
        wide += abs(at - start - 0.8 * slope) <= line.factor * off

    assert 0.94 <= held / 10_000 <= 0.96
    assert 0.94 <= wide / 10_000 <= 0.96


@pytest.mark.slow
@pytest.mark.parametrize("deviation", [0.01, 0.02, 0.03])
def test_outliers_are_named(deviation: float) -> None:
    """A groove that is off by 0.3 mm is named, and nothing else, in at least 95 of 100 coupons; none in good ones in 98."""
    chance = np.random.default_rng(14)
    named = wrongly = 0
    for _ in range(2_000):
        width = 0.1 + 1.15 * DEPTHS + chance.normal(0.0, deviation, len(DEPTHS))
        wrongly += bool(outliers(DEPTHS, width))
        which = int(chance.integers(len(DEPTHS)))
        width[which] += 0.3 * chance.choice([-1.0, 1.0])
        named += outliers(DEPTHS, width) == [which]

    assert named / 2_000 >= 0.95
    assert wrongly / 2_000 <= 0.02


def test_two_outliers_are_named_the_worst_first() -> None:
    """What is left once the worst is out is asked again."""
    depth = np.repeat([0.5, 1.0, 1.5, 2.0, 2.5], 3)
    width = depth + 0.01 * np.tile([1.0, -1.0, 0.5], 5)
    width[4] += 0.5
    width[10] -= 0.3

    assert outliers(depth, width) == [4, 10]
    assert outliers(depth, depth) == []
