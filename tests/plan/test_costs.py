"""Costs of moves against closed forms and the planner rules' worked values."""

from dataclasses import replace

import numpy as np
import pytest

from vcarve.plan.costs import corner_loss_s, rates, work_zero_mm


@pytest.mark.parametrize(
    ("turn_deg", "speed_mm_min"), [(30, 102.79), (45, 68.77), (90, 35.06), (120, 20.39), (150, 11.41)]
)
def test_junction_speeds_are_those_of_the_planner_rule(job_of, turn_deg, speed_mm_min):
    """The loss (v - u)² / (a v) gives back the junction speeds worked out for 10 mm/s² and 0.01 mm."""
    v, turn = 500.0 / 60.0, np.radians(turn_deg)
    mine = replace(rates(job_of()), acceleration=(10.0, 10.0, 10.0), junction_deviation_mm=0.01)
    # the bisector lies along an axis-independent limit only if both axes share it: compare through the rule itself
    away_a, away_b = np.array([-1.0, 0.0]), np.array([np.cos(turn), np.sin(turn)])
    along = [10.0 / max(abs(w)) for w in (away_a, away_b)]
    u = speed_mm_min / 60.0
    expected = sum((v - u) ** 2 / (2.0 * a * v) for a in along)

    loss = float(corner_loss_s(away_a, away_b, np.array(v), np.array(v), mine))

    assert loss == pytest.approx(expected, rel=0.01)


def test_going_straight_on_loses_nothing_and_turning_back_most(job_of):
    """No loss without a corner; at a reversal the bit stops, which loses v / a."""
    mine = rates(job_of())
    east, west = np.array([1.0, 0.0]), np.array([-1.0, 0.0])
    v = np.array(10.0)

    assert float(corner_loss_s(west, east, v, v, mine)) == 0.0
    assert float(corner_loss_s(east, east, v, v, mine)) == pytest.approx(10.0 / 200.0)


def test_rapids_take_the_time_of_the_slower_axis(job_of):
    """Both axes arrive together, each at no more than its own rate; the triangle inequality follows."""
    mine = rates(job_of())
    d = np.random.default_rng(3).uniform(-50, 50, (200, 3, 2))
    leg = [mine.rapid_s(d[:, i, 0], d[:, i, 1]) for i in range(2)]
    both = mine.rapid_s(d[:, 0, 0] + d[:, 1, 0], d[:, 0, 1] + d[:, 1, 1])

    assert float(mine.rapid_s(np.array(30.0), np.array(-10.0))) == pytest.approx(30.0 / (2000.0 / 60.0))
    assert (both <= leg[0] + leg[1] + 1e-12).all()


def test_a_lift_is_retract_and_plunge_from_the_hop_height(job_of):
    """7 mm up at 1000 mm/min and 7 mm down at 200 mm/min; with accelerations each also ramps up and down once."""
    mine = rates(job_of(hop_mm=5.0))
    ticking = replace(mine, clock=True)
    up, down = 7.0 / (1000 / 60), 7.0 / (200 / 60)

    assert float(mine.lift_s(np.array(2.0))) == pytest.approx(up + down)
    assert float(ticking.lift_s(np.array(2.0))) == pytest.approx(up + 1000 / 60 / 100 + down + 200 / 60 / 100)


def test_the_bit_waits_at_the_work_origin(job_of):
    """Front left of a piece whose own origin is its centre."""
    assert work_zero_mm(job_of(80.0)) == (-40.0, -40.0)
