"""Laws every running time obeys, whatever the path."""

import math
from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from made_moves import moves_of
from vcarve.dryrun import clock
from vcarve.job.bench import Machine
from vcarve.program.moves import Motion

LAWS = settings(deadline=None, derandomize=True, max_examples=60)

lengths = st.integers(-2000, 2000).map(lambda n: n / 100)
places = st.tuples(lengths, lengths, lengths)
rates = st.integers(60, 6000).map(float)
accelerations = st.integers(5, 2000).map(float)
paths = st.lists(st.tuples(places, rates | st.just(math.nan)), min_size=1, max_size=25)


def mill(rate, acceleration, deviation=0.01):
    """Return a machine with the given limits for X, Y and Z."""
    return Machine.model_validate(
        {
            "name": "test-mill",
            "title": "test mill",
            "travel": {"x": 200.0, "y": 200.0, "z": 200.0},
            "rapid": dict(zip("xyz", rate, strict=True)),
            "acceleration": dict(zip("xyz", acceleration, strict=True)),
            "feed-max": dict(zip("xyz", rate, strict=True)),
            "junction-deviation": deviation,
            "spindle": {"min": 1000, "max": 10000},
            "collets": [3.175],
        }
    )


mills = st.builds(
    mill, st.tuples(rates, rates, rates), st.tuples(accelerations, accelerations, accelerations)
)


def moves_through(points, feeds):
    """Return straight moves through n + 1 points; a NaN feed is a rapid."""
    points, feeds = np.array(points, dtype=float), np.array(feeds, dtype=float)
    return moves_of(
        points[:-1],
        points[1:],
        motion=np.where(np.isnan(feeds), Motion.RAPID, Motion.FEED),
        feed_mm_min=feeds,
        rpm=0.0,
    )


def of(path):
    """Return points (from the origin) and feeds of a drawn path."""
    return [(0.0, 0.0, 0.0), *(place for place, _ in path)], [feed for _, feed in path]


@LAWS
@given(paths, mills)
def test_never_faster_than_the_rates(path, machine):
    """No move takes less than its length over its feed, nor less than any axis needs at its own rate."""
    moves = moves_through(*of(path))

    times = clock.run(moves, machine)

    rate = np.array([machine.rapid.x_mm_min, machine.rapid.y_mm_min, machine.rapid.z_mm_min]) / 60.0
    per_axis = (np.abs(moves.end_mm - moves.start_mm) / rate).max(axis=1)
    at_feed = np.nan_to_num(moves.length_mm / (moves.feed_mm_min / 60.0))
    least = np.maximum(per_axis, at_feed)
    assert (times.move_s >= least * (1 - 1e-12)).all()


@LAWS
@given(paths, mills, st.floats(0.05, 1.0))
def test_less_acceleration_never_saves_time(path, machine, share):
    """With every acceleration made smaller by the same share, no program runs faster."""
    moves = moves_through(*of(path))
    slower = machine.model_copy(
        update={
            "acceleration": type(machine.acceleration)(
                x_mm_s2=machine.acceleration.x_mm_s2 * share,
                y_mm_s2=machine.acceleration.y_mm_s2 * share,
                z_mm_s2=machine.acceleration.z_mm_s2 * share,
            )
        }
    )

    assert clock.run(moves, slower).total_s >= clock.run(moves, machine).total_s * (1 - 1e-12)


@LAWS
@given(paths, mills)
def test_halving_lines_changes_nothing(path, machine):
    """Every straight move given as two collinear halves takes the same time."""
    points, feeds = of(path)
    dense = [points[0]]
    for low, high in pairwise(points):
        dense += [tuple((a + b) / 2 for a, b in zip(low, high, strict=True)), high]
    twice = [feed for feed in feeds for _ in range(2)]

    whole = clock.run(moves_through(points, feeds), machine).total_s
    halves = clock.run(moves_through(dense, twice), machine).total_s

    assert abs(whole - halves) <= 1e-9 * max(whole, 1.0)


@LAWS
@given(paths, mills)
def test_the_way_back_takes_as_long(path, machine):
    """A path run backwards takes the same time."""
    points, feeds = of(path)

    there = clock.run(moves_through(points, feeds), machine).total_s
    back = clock.run(moves_through(points[::-1], feeds[::-1]), machine).total_s

    assert abs(there - back) <= 1e-9 * max(there, 1.0)


@LAWS
@given(paths, mills)
def test_from_rest_to_rest_no_axis_is_pushed_harder_than_it_bears(path, machine):
    """Over a distance d with acceleration a no axis comes from rest to rest in less than 2 sqrt(d / a)."""
    points, feeds = of(path)
    far = np.abs(np.array(points[-1]) - points[0])
    bears = machine.acceleration
    least = 2.0 * np.sqrt(far / (bears.x_mm_s2, bears.y_mm_s2, bears.z_mm_s2)).max()

    assert clock.run(moves_through(points, feeds), machine).total_s >= least * (1 - 1e-9)
