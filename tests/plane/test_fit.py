"""Arcs from bulges, and arcs fitted to other curves."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vcarve.plane.arcs import turned
from vcarve.plane.fit import (
    CURVE_TOLERANCE_MM,
    arc_lines,
    bezier,
    ellipse_arc,
    fit_arcs,
    stray_from,
)

small = st.floats(-50.0, 50.0, allow_nan=False)


def test_a_circle_is_two_half_circles() -> None:
    """No arc turns more than half a circle, and the last one ends where the first began."""
    arcs = arc_lines((1.0, 2.0), 3.0, 0.3, 2.0 * math.pi)

    assert arcs[:, 4].tolist() == [1.0, 1.0]
    assert arcs[-1, 2:4].tolist() == arcs[0, :2].tolist()


@settings(deadline=None, derandomize=True, max_examples=40)
@given(st.lists(st.tuples(small, small), min_size=3, max_size=4))
def test_every_bezier_curve_is_followed_within_the_tolerance(control: list[tuple[float, float]]) -> None:
    """Law: no densely sampled point of the curve is farther from the arcs than the tolerance, and the arcs hang together."""
    curve, slope = bezier(np.array(control))
    arcs = fit_arcs(curve, slope, 0.0, 1.0)
    points = curve(np.linspace(0.0, 1.0, 1500))

    if not len(arcs):
        assert float(np.hypot(*(points - points[0]).T).max()) <= CURVE_TOLERANCE_MM
        return
    assert float(stray_from(points, arcs).max()) <= CURVE_TOLERANCE_MM
    assert (arcs[:-1, 2:4] == arcs[1:, :2]).all()
    assert arcs[0, :2] == pytest.approx(control[0])
    assert arcs[-1, 2:4] == pytest.approx(control[-1])


def test_a_smooth_curve_needs_few_arcs() -> None:
    """Arcs follow a round curve with far fewer pieces than chords of the same tolerance would need."""
    control = np.array([(0.0, 0.0), (0.0, 30.0), (40.0, 30.0), (40.0, 0.0)])
    curve, slope = bezier(control)
    arcs = fit_arcs(curve, slope, 0.0, 1.0)

    # A chord of sag s on radius r is sqrt(8 r s) long: about 0.6 mm here, so some 130 of them.
    assert len(arcs) < 65


def test_a_curve_walked_backwards_has_the_same_arcs() -> None:
    """From the last parameter to the first the pieces are the same, turned about."""
    curve, slope = bezier(np.array([(0.0, 0.0), (0.0, 30.0), (40.0, 30.0), (40.0, 0.0)]))
    there, back = fit_arcs(curve, slope, 0.0, 1.0), fit_arcs(curve, slope, 1.0, 0.0)

    assert back == pytest.approx(turned(there)[::-1], abs=1e-9)


def test_a_cusp_is_followed() -> None:
    """Where a curve stops and turns back its arcs do too."""
    control = np.array([(0.0, 0.0), (30.0, 20.0), (0.0, 20.0), (30.0, 0.0)])
    curve, slope = bezier(control)
    arcs = fit_arcs(curve, slope, 0.0, 1.0)

    assert float(stray_from(curve(np.linspace(0.0, 1.0, 5000)), arcs).max()) <= CURVE_TOLERANCE_MM


def test_an_ellipse_with_equal_half_diameters_is_a_circle() -> None:
    """Also when its axes are turned and mirrored: arcs of one radius, in the sense of the sweep."""
    arcs = ellipse_arc(np.zeros(2), np.array([3.0, 4.0]), np.array([4.0, -3.0]), 0.0, math.pi / 2.0)

    assert arcs == pytest.approx(np.array([[3.0, 4.0, 4.0, -3.0, -math.tan(math.pi / 8.0)]]))
