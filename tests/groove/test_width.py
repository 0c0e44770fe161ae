"""Width and depth of a V-groove against published tables and closed forms."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vcarve.errors import InputError
from vcarve.groove.width import (
    VBit,
    angle_sensitivity,
    ball_mm,
    deepest_mm,
    depth_mm,
    sensitivity,
    table,
    width_mm,
)

# Engineers Edge, "Countersink and Spot Drill Depth Formula and Calculator": depth = factor * diameter for a
# sharp point.
COUNTERSINK = {82: 0.5752, 90: 0.5000, 100: 0.4195, 118: 0.3004, 120: 0.2887, 135: 0.2071, 142: 0.1722}


@pytest.mark.parametrize(("angle", "factor"), COUNTERSINK.items())
def test_depth_agrees_with_published_countersink_factors(angle: int, factor: float) -> None:
    """The depth for a width of 1 is the countersink factor printed for that angle."""
    assert depth_mm(VBit(angle_deg=angle), 1.0) == pytest.approx(factor, abs=6e-5)


def test_depth_agrees_with_published_60_degree_factor() -> None:
    """The same table prints 60 degrees with three digits only."""
    assert depth_mm(VBit(angle_deg=60), 1.0) == pytest.approx(0.866, abs=0.0005)


@pytest.mark.parametrize("angle", COUNTERSINK)
@pytest.mark.parametrize(("diameter", "tip"), [(6.0, 0.2), (9.5, 1.0), (3.175, 0.1)])
def test_depth_with_flat_tip_is_the_truncated_point_rule(angle: int, diameter: float, tip: float) -> None:
    """The same page gives (D - T)/2 * cot(alpha/2) for a point cut off at a small diameter T."""
    rule = (diameter - tip) / 2.0 / math.tan(math.radians(angle / 2.0))

    assert depth_mm(VBit(angle_deg=angle, tip_mm=tip), diameter) == pytest.approx(rule, rel=1e-12)


# ISO 15065 countersinks for 90 degree screws, from memory: hole, countersink, depth.
@pytest.mark.parametrize(
    ("hole", "sink", "depth"),
    [
        (3.4, 6.5, 1.55),
        (4.5, 9.6, 2.55),
        (5.5, 10.65, 2.58),
        (6.6, 12.85, 3.13),
        (9, 17.55, 4.28),
        (11, 20.3, 4.65),
    ],
)
def test_depth_agrees_with_90_degree_countersinks(hole: float, sink: float, depth: float) -> None:
    """A 90 degree countersink over a hole is a bit with a flat as wide as the hole."""
    assert depth_mm(VBit(angle_deg=90, tip_mm=hole), sink) == pytest.approx(depth, abs=0.0051)


# Half-angle tangents in surds: tan 15, tan 22.5, tan 30, tan 45, tan 60 degrees.
SURDS = {
    30: 2.0 - math.sqrt(3.0),
    45: math.sqrt(2.0) - 1.0,
    60: 1.0 / math.sqrt(3.0),
    90: 1.0,
    120: math.sqrt(3.0),
}


@pytest.mark.parametrize(("angle", "tangent"), SURDS.items())
@pytest.mark.parametrize("depth", [0.5, 1.0, 2.0, 3.0])
def test_width_in_surds(angle: int, tangent: float, depth: float) -> None:
    """Angles whose half has a tangent in surds give exactly twice the depth times that tangent."""
    bit = VBit(angle_deg=angle)

    assert width_mm(bit, depth) == pytest.approx(2.0 * depth * tangent, rel=1e-12)
    assert sensitivity(bit, depth) == pytest.approx(2.0 * tangent, rel=1e-12)


@pytest.mark.parametrize(("angle", "tangent"), SURDS.items())
@pytest.mark.parametrize("diameter", [3.175, 6.35, 12.7])
def test_deepest_cut_in_surds(angle: int, tangent: float, diameter: float) -> None:
    """The deepest cut of a sharp bit is its radius over the tangent of half its angle."""
    bit = VBit(angle_deg=angle, diameter_mm=diameter)

    assert deepest_mm(bit) == pytest.approx(diameter / 2.0 / tangent, rel=1e-12)


@pytest.mark.parametrize("angle", [20, 60, 90, 120, 150])
def test_rounded_tip_meets_the_cone_smoothly(angle: int) -> None:
    """Where ball and cone touch, both the width and its slope agree from either side."""
    bit = VBit(angle_deg=angle, tip_radius_mm=0.5)
    meet = ball_mm(bit)
    half = math.radians(angle / 2.0)

    assert width_mm(bit, meet) == pytest.approx(2.0 * 0.5 * math.cos(half), rel=1e-9)
    assert width_mm(bit, meet - 1e-9) == pytest.approx(width_mm(bit, meet + 1e-9), abs=1e-7)
    assert sensitivity(bit, meet - 1e-9) == pytest.approx(2.0 * math.tan(half), rel=1e-6)


def test_rounded_tip_as_a_ball_is_a_circles_chord() -> None:
    """Above the tangent depth the width is the chord of the tip's circle (Pythagoras)."""
    bit = VBit(angle_deg=60, tip_radius_mm=1.0)
    chord = 2.0 * math.sqrt(1.0 - (1.0 - 0.3) ** 2)

    assert width_mm(bit, 0.3) == pytest.approx(chord, rel=1e-12)


def test_rounded_tip_below_the_ball_is_the_cone_round_it() -> None:
    """Below, the cone's sharp apex would lie r/sin h - r under the ball's lowest point."""
    bit = VBit(angle_deg=60, tip_radius_mm=1.0)
    apex = 1.0 / math.sin(math.radians(30.0)) - 1.0

    assert width_mm(bit, 2.0) == pytest.approx(2.0 * (2.0 + apex) * math.tan(math.radians(30.0)), rel=1e-12)


def test_beyond_the_cone_the_walls_are_upright() -> None:
    """Deeper than the cone the groove stays as wide as the bit and height errors no longer matter."""
    bit = VBit(angle_deg=90, diameter_mm=6.0)

    assert deepest_mm(bit) == pytest.approx(3.0)
    assert width_mm(bit, 3.0) == pytest.approx(6.0)
    assert width_mm(bit, 5.0) == 6.0
    assert sensitivity(bit, 2.9) == pytest.approx(2.0)
    assert sensitivity(bit, 3.1) == 0.0
    assert angle_sensitivity(bit, 3.1) == 0.0


def test_angle_sensitivity_of_a_right_angle() -> None:
    """At 90 degrees one degree changes the width by twice the depth per radian: d / cos^2 45."""
    assert angle_sensitivity(VBit(angle_deg=90), 1.0) == pytest.approx(2.0 * math.pi / 180.0, rel=1e-12)


@pytest.mark.parametrize("bit", [VBit(angle_deg=75, tip_mm=0.2), VBit(angle_deg=75, tip_radius_mm=0.4)])
@pytest.mark.parametrize("depth", [0.05, 0.5, 2.0])
def test_sensitivities_are_the_slopes_of_the_width(bit: VBit, depth: float) -> None:
    """Both sensitivities are what central differences of the width measure."""
    e = 1e-5
    by_depth = (width_mm(bit, depth + e) - width_mm(bit, depth - e)) / (2.0 * e)
    other = [
        VBit(angle_deg=bit.angle_deg + s, tip_mm=bit.tip_mm, tip_radius_mm=bit.tip_radius_mm) for s in (e, -e)
    ]
    by_angle = (width_mm(other[0], depth) - width_mm(other[1], depth)) / (2.0 * e)

    assert sensitivity(bit, depth) == pytest.approx(by_depth, rel=1e-6)
    assert angle_sensitivity(bit, depth) == pytest.approx(by_angle, rel=1e-6, abs=1e-9)


def test_table_ends_at_the_deepest_cut() -> None:
    """The table climbs in depth, is short, and its last row is the whole cone."""
    rows = table(VBit(angle_deg=90, diameter_mm=6.35))

    assert [row[0] for row in rows] == sorted(row[0] for row in rows)
    assert 3 <= len(rows) <= 13
    assert rows[-1] == (pytest.approx(3.175), pytest.approx(6.35))


@pytest.mark.parametrize(
    ("bit", "depth", "width", "sentence"),
    [
        (VBit(angle_deg=90, tip_mm=0.5), None, 0.4, "narrower than the bit's flat tip, 0.5 mm"),
        (VBit(angle_deg=90, diameter_mm=6.35), None, 7.0, "wider than the bit's diameter, 6.35 mm"),
        (VBit(angle_deg=90), None, 0.0, "must be more than 0 mm"),
        (VBit(angle_deg=90), -1.0, None, "above the surface"),
        (VBit(angle_deg=180), 1.0, None, "between 0 and 180 degrees"),
        (VBit(angle_deg=90), math.nan, None, "must be 0 mm or more"),
        (VBit(angle_deg=90, tip_mm=0.1, tip_radius_mm=0.1), 1.0, None, "flat or rounded, not both"),
        (VBit(angle_deg=90, diameter_mm=3.0, tip_mm=3.0), 1.0, None, "narrower than the bit's diameter"),
        (VBit(angle_deg=90, diameter_mm=3.0, tip_radius_mm=2.5), 1.0, None, "leaves no cone"),
        (VBit(angle_deg=90, diameter_mm=0.0), 1.0, None, "more than 0 mm"),
    ],
)
def test_impossible_questions_are_answered_in_sentences(
    bit: VBit, depth: float | None, width: float | None, sentence: str
) -> None:
    """Every question without an answer says why and what would be right."""
    ask, value = (depth_mm, width) if depth is None else (width_mm, depth)
    assert value is not None

    with pytest.raises(InputError, match=sentence):
        ask(bit, value)


@st.composite
def bits(draw: st.DrawFn) -> VBit:
    """Draw sharp, flat and rounded bits whose tip leaves a cone."""
    angle = draw(st.floats(10.0, 160.0))
    diameter = draw(st.floats(1.0, 20.0))
    share = draw(st.floats(0.0, 0.8))
    if draw(st.booleans()):
        return VBit(angle_deg=angle, diameter_mm=diameter, tip_mm=share * diameter)
    radius = share * diameter / 2.0 / math.cos(math.radians(angle) / 2.0)
    return VBit(angle_deg=angle, diameter_mm=diameter, tip_radius_mm=radius)


@settings(deadline=None, derandomize=True, max_examples=200)
@given(bits(), st.floats(0.001, 1.0))
def test_depth_undoes_width(bit: VBit, share: float) -> None:
    """For every depth on the cone, the depth of its width is that depth."""
    depth = share * deepest_mm(bit)

    assert depth_mm(bit, width_mm(bit, depth)) == pytest.approx(depth, rel=1e-6, abs=1e-9)


@settings(deadline=None, derandomize=True, max_examples=200)
@given(bits(), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_deeper_is_never_narrower(bit: VBit, one: float, other: float) -> None:
    """Width grows with depth and stays between the tip's flat and the diameter."""
    shallow, deep = sorted((one * 30.0, other * 30.0))

    assert bit.tip_mm <= width_mm(bit, shallow) <= width_mm(bit, deep) + 1e-12 <= bit.diameter_mm + 2e-12
