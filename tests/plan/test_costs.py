"""Costs of moves against closed forms and the planner rules' worked values."""

from dataclasses import replace

import numpy as np
import pytest

from small_network import cuts_of
from vcarve.cuts.grooves import level_depths
from vcarve.network.model import OUTLINE
from vcarve.plan.tour import Tour, clock
from vcarve.plan.web import corner_loss_s, leaving, rates, weave


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


def test_cuts_and_plunges_keep_to_the_machines_feeds(job_of):
    """A job's feed beyond the machine's is cut and plunged at the machine's own."""
    job = job_of(feed_max={"x": 2000, "y": 2000, "z": 150})

    assert rates(job).plunge == pytest.approx(150.0 / 60.0)
    assert rates(job_of()).plunge == pytest.approx(200.0 / 60.0)


def test_an_edge_is_cut_as_fast_as_both_axes_allow(lines, job_of):
    """With 300 mm/min along Y: 300 along Y, 500 at 3 : 4, the feed of 600 along X, and no bound on arcs but sqrt(X² + Y²)."""
    mine = replace(rates(job_of()), feed_max=(600.0 / 60.0, 300.0 / 60.0, 10.0))
    network = lines([(0, 0), (10, 0), (0, 10), (8, 6)], [(0, 1), (0, 2), (0, 3), (0, 2)])
    network = replace(network, bulge=np.array([0.0, 0.0, 0.0, 0.5]))

    speeds = weave(cuts_of(network), mine).speed * 60.0

    assert speeds.tolist() == pytest.approx([600.0, 300.0, 500.0, 600.0])
    slow = weave(cuts_of(network), replace(mine, feed_max=(300.0 / 60.0, 400.0 / 60.0, 10.0))).speed * 60.0
    assert slow.tolist() == pytest.approx([300.0, 400.0, 375.0, 500.0])


@pytest.mark.parametrize("bulge", [0.0, 0.3, -0.3, 1.0, -1.0])
def test_directions_leave_along_the_edge(lines, bulge):
    """An arc's ends leave square to the radii there; a positive bulge turns counter-clockwise from tail to head."""
    network = replace(lines([(1, 2), (9, 8)], [(0, 1)]), bulge=np.array([bulge]))
    tail, head = (each[0] for each in leaving(cuts_of(network)))
    chord = np.array([0.8, 0.6])

    if bulge == 0.0:
        assert tail.tolist() == pytest.approx(chord.tolist())
        assert head.tolist() == pytest.approx((-chord).tolist())
        return
    # The centre lies (1 - b²) / (4 b) of the chord to its left.
    centre = np.array([5.0, 5.0]) + 10.0 * (1 - bulge**2) / (4 * bulge) * np.array([-0.6, 0.8])
    for away, place, turn in ((tail, np.array([1.0, 2.0]), bulge), (head, np.array([9.0, 8.0]), -bulge)):
        arm = place - centre
        square = np.sign(turn) * np.array([-arm[1], arm[0]]) / np.hypot(*arm)
        assert away.tolist() == pytest.approx(square.tolist(), abs=1e-9)


def test_a_pass_speeds_up_and_slows_down_once(lines, job_of):
    """From rest to rest a line of length L takes L / v + v / a; what is in the air is timed likewise."""
    mine = replace(rates(job_of()), clock=True)
    web = weave(cuts_of(lines([(10, 0), (40, 0)], [(0, 1)]), np.array([2.0])), mine)
    one = Tour(
        edge=np.zeros(1, np.int64),
        back=np.zeros(1, np.int64),
        begin=np.zeros(1, np.int64),
        end=np.ones(1, np.int64),
        pass_start=np.array([0, 1]),
    )
    air = mine.fixed_s + float(mine.rapid_s(np.array(10.0), np.array(0.0)) + mine.lift_s(np.array(2.0)))

    assert clock(web, mine, one, (0.0, 0.0)) == pytest.approx(air + 30.0 / 10.0 + 10.0 / 200.0)


def test_only_what_is_to_be_cut_is_planned(lines, job_of):
    """Edges of the outline close cells and are never cut."""
    network = replace(lines([(0, 0), (9, 0), (9, 9)], [(0, 1), (1, 2)]), feature=np.array([0, OUTLINE]))

    assert weave(cuts_of(network, 2.0), rates(job_of())).edge.tolist() == [0]


def test_a_last_shaving_comes_off_with_the_level_before():
    """Of 2 mm in two levels, a line 1.015 mm deep is cut at once where the step allows it, else in two even cuts."""
    full = np.array([2.0, 1.015, 1.03])

    assert [level.tolist() for level in level_depths(full, 1.02)] == [
        pytest.approx([1.0, 1.015, 1.0]),
        pytest.approx([2.0, 1.015, 1.03]),
    ]
    assert [level.tolist() for level in level_depths(full, 1.0)] == [
        pytest.approx([1.0, 0.5075, 1.0]),
        pytest.approx([2.0, 1.015, 1.03]),
    ]
