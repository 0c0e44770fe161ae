"""Block times and corner speeds against elementary kinematics.

Source: Open 3-D-printer motion documentation, kinematics, for the formulas; the tables are worked out from
them.
"""

import math

import numpy as np
import pytest

from vcarve.dryrun.clock import block_seconds, corner_speeds

REL = 1e-3


@pytest.mark.parametrize(
    ("length", "speed", "acceleration", "seconds"),
    [
        (100, 20, 200, 5.1),
        (10, 20, 200, 0.6),
        (2, 20, 200, 0.2),
        (1, 20, 200, 0.14142),
        (0.5, 10, 500, 0.07),
        (50, 10, 200, 5.05),
    ],
)
def test_rest_to_rest(length, speed, acceleration, seconds):
    """Moves from rest to rest take L/v + v/a, or 2 sqrt(L/a) where the speed is never reached."""
    one = [np.array([float(v)]) for v in (length, 0.0, 0.0, speed, acceleration)]

    assert block_seconds(*one)[0] == pytest.approx(seconds, rel=REL)


def test_moving_ends():
    """From v0 to v1 within one block: the times of the ramps and of the even part add up."""
    took = block_seconds(*(np.array([v]) for v in (10.0, 2.0, 4.0, 8.0, 20.0)))
    even = 10.0 - (64 - 4) / 40 - (64 - 16) / 40

    assert took[0] == pytest.approx(6 / 20 + 4 / 20 + even / 8)


CORNERS = [  # inside angle, speeds at (a 200, delta 0.01), (500, 0.01), (500, 0.02)
    (30, 0.8357, 1.3214, 1.8687),
    (60, 1.4142, 2.2361, 3.1623),
    (90, 2.1974, 3.4743, 4.9135),
    (120, 3.5956, 5.6851, 8.0400),
    (135, 4.9269, 7.7901, 11.0168),
    (150, 7.5296, 11.9054, 16.8368),
]


@pytest.mark.parametrize("row", CORNERS)
def test_corner_table(row):
    """Corner speeds agree with the table worked out from the circle that misses the corner by delta."""
    inside, *speeds = row
    cosine = -math.cos(math.radians(inside))

    settings = ((200.0, 0.01), (500.0, 0.01), (500.0, 0.02))
    for (acceleration, deviation), speed in zip(settings, speeds, strict=True):
        turn = np.array([(1.0, 0.0, 0.0), (cosine, math.sin(math.radians(inside)), 0.0)])
        # Of axes that bear as much, those across the corner bear more the less it lies along one of them.
        across = np.abs(turn[1] - turn[0]).max() / np.hypot(*(turn[1] - turn[0])[:2])
        found = corner_speeds(turn, np.full(3, acceleration * across), deviation)[1]
        assert found == pytest.approx(speed, rel=REL)


def test_corner_extremes():
    """Straight on has no limit, and turning back stops."""
    ways = np.array([(1.0, 0.0, 0.0), (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)])

    assert corner_speeds(ways, np.full(3, 200.0), 0.01).tolist() == [math.inf, math.inf, 0.0]
