"""From a program's text to its time and its surface, without anything that planned it."""

import math

import numpy as np
import pytest

from made_moves import height_at
from vcarve.dryrun import clock
from vcarve.dryrun.carve import carve
from vcarve.dryrun.track import Setup
from vcarve.job.bench import Bit, Machine
from vcarve.program.reader import read_program

TEXT = """\
G17 G21 G90 G94
G0 Z5
M3 S10000
G4 P2
G0 X10 Y20
G1 Z-1 F60
G1 X30 F300
G3 X30 Y40 I0 J10
G1 X10
G0 Z5
M5
M2
"""


@pytest.fixture(name="moves")
def _moves():
    return read_program(TEXT).moves


def test_surface_of_a_text(moves):
    """A stadium-shaped groove: two straight lines of 20 mm, a half circle of radius 10 mm, and two half cones."""
    bit = Bit.model_validate({"angle": 90.0, "diameter": 6.35, "shank": 3.175})

    surface = carve(moves, bit, width_mm=60, height_mm=60, setup=Setup(zero_mm=(-30.0, -30.0)))

    expected = (40 + 10 * math.pi) * 1.0 + math.pi / 3
    assert surface.removed_mm3 == pytest.approx(expected, rel=2e-3)
    np.testing.assert_allclose(
        height_at(surface, [-10, 10, -10, 0], [-10, 0, 10, 0]), [-1, -1, -1, 0], atol=0.05
    )


def test_time_of_a_text(moves):
    """The time of the same text: each share from rest to rest where the path turns sharply, worked out by hand."""
    axes = {"x": 1200.0, "y": 1200.0, "z": 600.0}
    machine = Machine.model_validate(
        {
            "name": "test-mill",
            "title": "test mill",
            "travel": {"x": 200.0, "y": 200.0, "z": 60.0},
            "rapid": axes,
            "acceleration": {"x": 1e6, "y": 1e6, "z": 1e6},
            "feed-max": axes,
            "spindle": {"min": 1000, "max": 10000},
            "collets": [3.175],
        }
    )

    times = clock.run(moves, machine)

    # With nearly boundless acceleration every move takes its length over its rate.
    assert times.plunge_s == pytest.approx(6.0, rel=1e-3)
    assert times.cut_s == pytest.approx((40 + 10 * math.pi) / 5.0, rel=1e-3)
    assert times.rapid_s == pytest.approx(5 / 10 + 20 / 20 + 6 / 10, rel=1e-3)
    assert times.dwell_s == 2.0
    assert times.total_s == pytest.approx(times.start_s[-1] + times.move_s[-1])
