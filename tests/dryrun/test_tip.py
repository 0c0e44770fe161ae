"""The bit's profile against plane trigonometry and a published table."""

import math

import numpy as np
import pytest

from vcarve.dryrun.tip import Tip
from vcarve.groove.width import width_mm
from vcarve.job.bench import Bit, EndMill


def bit(angle=90.0, diameter=6.35, **tip):
    """Return a bit; ``tip`` may hold ``tip`` (flat) or ``tip-radius``."""
    return Bit.model_validate({"angle": angle, "diameter": diameter, "shank": 6.35, **tip})


def mill(diameter=3.175, length=12.7):
    """Return an end mill."""
    return EndMill(diameter_mm=diameter, shank_mm=6.35, cutting_length_mm=length)


SHAPES = [
    bit(),
    bit(60.0, 3.175),
    bit(30.0, 3.175, tip=0.2),
    bit(90.0, 6.35, **{"tip-radius": 0.5}),
    bit(120.0, 4.0, **{"tip-radius": 1.0}),
]


@pytest.mark.parametrize("shape", SHAPES)
def test_reach_is_half_the_width(shape):
    """The profile, written without the width formula, gives half its width at every depth."""
    depths = np.linspace(0.0, 4.0, 401)

    reach = Tip.of(shape).reach_mm(depths)

    np.testing.assert_allclose(2 * reach[1:], [width_mm(shape, d) for d in depths[1:]], atol=1e-12)


@pytest.mark.parametrize("shape", SHAPES)
def test_rise_undoes_reach(shape):
    """At the distance the bit reaches at a depth, its surface stands that much above its lowest point."""
    tip = Tip.of(shape)
    depths = np.linspace(0.01, tip.edge_mm, 50)

    np.testing.assert_allclose(tip.rise(tip.reach_mm(depths)), depths, atol=1e-12)


@pytest.mark.parametrize(
    ("angle", "factor"),
    [
        (60, 0.866),
        (82, 0.5752),
        (90, 0.5),
        (100, 0.4195),
        (118, 0.3004),
        (120, 0.2887),
        (135, 0.2071),
        (142, 0.1722),
    ],
)
def test_cone_height(angle, factor):
    """A sharp cone is as high as the depth factors published for countersinks and spot drills say."""
    assert Tip.of(bit(angle, 1.0)).edge_mm == pytest.approx(factor, abs=6e-5)


def test_rounded_tip_is_tangent():
    """Ball and cone meet with the same height and the same steepness, the cone's."""
    tip = Tip.of(bit(70.0, **{"tip-radius": 0.8}))
    near = np.array([tip.joint_mm - 1e-6, tip.joint_mm, tip.joint_mm + 1e-6])

    steps = np.diff(tip.rise(near)) / 1e-6

    assert steps == pytest.approx([1 / math.tan(math.radians(35))] * 2, rel=1e-4)


@pytest.mark.parametrize("shape", [*SHAPES, mill(2.0)])
@pytest.mark.parametrize("fall", [0.2, -0.7, 1.4, 30.0])
def test_nearest_is_the_least(shape, fall):
    """No place on an endless sloping path lets the bit cut a point deeper than the one in closed form."""
    tip = Tip.of(shape)
    for across in (0.0, 0.05, 0.3, 0.9):
        lag = float(tip.nearest(np.array(across), np.array(fall)))
        # Within the rim, which is the caller's to keep.
        most = min(math.sqrt(tip.rim_mm**2 - across**2), 1.2)
        places = np.linspace(-most, most, 200_001)
        rho = np.hypot(places, across)
        best = (-fall * places + tip.rise(rho)).min()
        lag = min(max(lag, -most), most)

        assert -fall * lag + float(tip.rise(np.array(math.hypot(lag, across)))) <= best + 1e-12


def test_an_end_mill_is_flat_and_upright():
    """It stands on all of its diameter, is as wide at every depth, and cuts as far up as its edges reach."""
    tip = Tip.of(mill(3.0, 10.0))

    assert tip.rise(np.array([0.0, 0.7, 1.5])).tolist() == [0.0, 0.0, 0.0]
    assert tip.reach_mm(np.array([0.0, 1e-6, 4.0, 30.0])).tolist() == [1.5] * 4
    assert tip.edge_mm == 10.0
