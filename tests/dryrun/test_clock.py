"""The clock against worked values of the controllers' published planner rules.

Sources: Grbl v1.1 settings and documentation for the rules (default settings: 500 mm/min, 10 mm/s²,
junction deviation 0.010 mm, arc tolerance 0.002 mm); the times are worked out from those rules by hand.
"""

import math

import numpy as np
import pytest

from made_moves import moves_of
from vcarve.dryrun import clock
from vcarve.dryrun.track import planned_chords
from vcarve.job.bench import Machine
from vcarve.program.moves import Event, Motion, Plane

REL = 1e-3


def mill(rate=(500.0, 500.0, 500.0), acceleration=(10.0, 10.0, 10.0), **other):
    """Return a machine with the planner's default settings unless told otherwise."""
    axes = ("x", "y", "z")
    return Machine.model_validate(
        {
            "name": "test-mill",
            "title": "test mill",
            "travel": dict(zip(axes, (200.0, 200.0, 200.0), strict=True)),
            "rapid": dict(zip(axes, rate, strict=True)),
            "acceleration": dict(zip(axes, acceleration, strict=True)),
            "feed-max": dict(zip(axes, rate, strict=True)),
            "spindle": {"min": 1000, "max": 10000},
            "collets": [3.175],
            "dialect": "grbl-1.1",
            **other,
        }
    )


def path(*points, feed=500.0, start=(0.0, 0.0, 0.0), motion=Motion.FEED, events=()):
    """Return moves through points; a point may be (x, y, z) or (x, y, z, feed); feed None is a rapid."""
    rows, here = [], start
    for point in points:
        speed = point[3] if len(point) == 4 else feed
        kind = Motion.RAPID if speed is None else motion
        rows.append((kind, here, point[:3], math.nan if speed is None else speed))
        here = point[:3]
    return moves_of(
        [r[1] for r in rows],
        [r[2] for r in rows],
        motion=[r[0] for r in rows],
        feed_mm_min=[r[3] for r in rows],
        rpm=0.0,
        events=tuple(events),
    )


def arc(radius, sweep, *, plane=Plane.XY, rise=0.0, feed=500.0):
    """Return one arc about the origin of its plane, starting on the plane's first axis."""
    first, second, normal = {Plane.XY: (0, 1, 2), Plane.XZ: (2, 0, 1), Plane.YZ: (1, 2, 0)}[plane]
    start, end, centre = np.zeros(3), np.zeros(3), np.zeros(3)
    start[first] = radius
    end[first], end[second] = radius * math.cos(sweep), radius * math.sin(sweep)
    end[normal] = rise
    return moves_of(
        start,
        end,
        motion=Motion.ARC_CCW if sweep > 0 else Motion.ARC_CW,
        centre_mm=centre,
        sweep_rad=sweep,
        plane=plane,
        feed_mm_min=feed,
        rpm=0.0,
    )


@pytest.mark.parametrize(
    ("moves", "seconds"),
    [
        pytest.param(path((10, 0, 0)), 2.0333, id="one line of 10 mm at F500"),
        pytest.param(path((5, 0, 0)), 1.4142, id="one line of 5 mm never reaches F500"),
        pytest.param(path((10, 10, 0, None)), 2.0333, id="diagonal rapid uses both axes"),
        pytest.param(path((10, 0, 0), (20, 0, 0)), 3.2333, id="two collinear lines of 10 mm"),
        pytest.param(path((10, 0, 0), (0, 0, 0)), 4.0667, id="out and back"),
        pytest.param(path((10, 0, 0), (10, 10, 0)), 3.9539, id="a right-angled corner"),
        pytest.param(
            path((20, 0, 0), (20, 20, 0), (0, 20, 0), (0, 0, 0), feed=400.0),
            14.3314,
            id="a 20 mm square at F400",
        ),
        pytest.param(
            path((10, 0, 0, 300), (10, 0, -1, 100), (20, 0, -1, 300)), 5.5603, id="across, down, across"
        ),
    ],
)
def test_worked_times(moves, seconds):
    """Paths at default settings take the times worked out from the Grbl v1.1 planner rules."""
    times = clock.run(moves, mill())

    assert seconds == pytest.approx(times.total_s, rel=REL)


def test_unequal_axes():
    """A line over X and Y with unlike axes runs at the slower axis' share: 375 mm/min, 6.25 mm/s², 1.7889
    s.
    """
    moves = path((3, 4, 0), feed=1000.0)
    long = path((300, 400, 0), feed=1000.0)
    machine = mill(rate=(500.0, 300.0, 500.0), acceleration=(10.0, 5.0, 10.0))

    assert clock.run(moves, machine).total_s == pytest.approx(1.7889, rel=REL)
    assert clock.run(long, machine).total_s == pytest.approx(500.0 / 6.25 + 6.25 / 6.25, rel=1e-5)


def test_slow_feeds_are_run_as_they_are_down_to_one_millimetre_a_minute():
    """0.1 mm at F2 takes 3 s; at F0.5 it takes 6 s, since the planner runs nothing slower than 1 mm/min."""
    for feed, seconds in ((2.0, 3.0), (0.5, 6.0)):
        times = clock.run(path((0.1, 0, 0), feed=feed), mill())

        assert times.total_s == pytest.approx(seconds, abs=0.02)


def test_no_cut_is_faster_than_the_largest_cutting_feed():
    """A feed of 500 mm/min on an axis that cuts at 200 runs at 200, and a rapid at the axis' own 500."""
    machine = mill(**{"feed-max": {"x": 200.0, "y": 500.0, "z": 500.0}})

    for feed, speed in ((500.0, 200.0), (None, 500.0)):
        times = clock.run(path((50, 0, 0), feed=feed), machine)

        assert times.total_s == pytest.approx(50.0 / (speed / 60.0) + speed / 60.0 / 10.0, rel=1e-6)


def test_only_straight_down_is_a_plunge():
    """Going up at feed is cutting time, as going down on a slope is; straight down is a plunge."""
    times = clock.run(path((0, 0, -1), (0, 0, 0), (10, 0, -1)), mill())

    assert times.plunge_s == pytest.approx(times.move_s[0])
    assert times.cut_s == pytest.approx(times.move_s[1] + times.move_s[2])


def test_diagonal_rapid_limits():
    """A rapid at 45 degrees runs at 707.107 mm/min with 14.1421 mm/s²."""
    times = clock.run(path((100, 100, 0, None)), mill())

    assert times.total_s == pytest.approx(
        math.hypot(100.0, 100.0) * 60.0 / 707.107 + 707.107 / 60.0 / 14.1421, rel=1e-5
    )


@pytest.mark.parametrize(
    ("turn_deg", "speed_mm_min"),
    [
        (5, 615.01),
        (10, 307.58),
        (30, 102.79),
        (45, 68.77),
        (60, 51.84),
        (90, 35.06),
        (120, 20.39),
        (135, 15.54),
        (150, 11.41),
        (170, 5.87),
        (180, 0.0),
    ],
)
def test_corner_speeds(turn_deg, speed_mm_min):
    """The speed through a corner in XY by its turn is the published rule's, with a first leg along X."""
    turn = math.radians(turn_deg)
    unit = np.array([(1.0, 0.0, 0.0), (math.cos(turn), math.sin(turn), 0.0)])
    speed = clock.corner_speeds(unit, np.full(3, 10.0), 0.01)[1]

    assert speed * 60.0 == pytest.approx(speed_mm_min, rel=REL, abs=0.006)
    # Up from rest and down to that speed, 100 mm at 10 mm/s² in all.
    moves = path((100, 0, 0), tuple(100.0 * (unit[0] + unit[1])), feed=5000.0)
    first_s = clock.run(moves, mill(rate=(5000.0, 5000.0, 5000.0))).move_s[0]
    assert first_s == pytest.approx((2.0 * math.sqrt(1000.0 + speed**2 / 2.0) - speed) / 10.0, rel=1e-9)


@pytest.mark.parametrize(
    ("radius", "angle_deg", "count"),
    [
        (0.5, 360, 35),
        (1, 360, 49),
        (2.5, 360, 78),
        (5, 360, 111),
        (10, 360, 157),
        (50, 360, 351),
        (5, 90, 27),
        (2.5, 270, 58),
        (0.0005, 360, 1),
    ],
)
def test_arc_chords(radius, angle_deg, count):
    """An arc becomes as many chords as the Grbl v1.1 rule says at its default tolerance; at least one."""
    assert planned_chords(arc(radius, math.radians(angle_deg)), 0.002)[0] == count


@pytest.mark.parametrize("plane", list(Plane))
def test_full_circle_time(plane):
    """A full circle is as many equal chords whose corners never slow a slow feed: one trapezoid over their
    length.
    """
    radius, feed_mm_s, acceleration = 10.0, 5.0, 100.0
    length = 157 * 2 * radius * math.sin(math.pi / 157)
    machine = mill(acceleration=(acceleration,) * 3, rate=(3000.0,) * 3)

    times = clock.run(arc(radius, 2 * math.pi, plane=plane, feed=feed_mm_s * 60), machine)

    # The first and last chord lie along one axis up to a degree, so that axis' acceleration holds there.
    assert times.total_s == pytest.approx(length / feed_mm_s + feed_mm_s / acceleration, rel=REL)


def test_helix_in_any_plane():
    """A helix's chords rise evenly: its time at a slow feed is its length over the feed."""
    length = math.hypot(2 * math.pi * 10.0, 30.0)
    for plane in Plane:
        times = clock.run(
            arc(10.0, 2 * math.pi, plane=plane, rise=30.0, feed=60.0), mill(acceleration=(500.0,) * 3)
        )

        assert times.total_s == pytest.approx(length, rel=REL)


@pytest.mark.parametrize("down", [1.0, -1.0])
def test_a_slope_is_as_quick_as_its_axes_allow(down):
    """6 mm along and 2 mm down: Z at 100 mm/min allows 316.2, X at 10 mm/s² allows 10.54, and 6.325 mm take 1.2 + 0.5 s."""
    machine = mill(rate=(500.0, 500.0, 100.0), acceleration=(10.0, 10.0, 4.0))
    times = clock.run(path((6, 0, -2 * down)), machine)

    assert times.total_s == pytest.approx(1.7, rel=1e-6)


def test_the_corner_into_a_slope():
    """Turning down by atan(1/3) asks Z, the slowest, for most of the change: sqrt(4.052 * 0.01 * 76.46) = 1.760 mm/s."""
    machine = mill(acceleration=(10.0, 10.0, 4.0))
    times = clock.run(path((30, 0, 0), (36, 0, -2)), machine)

    # 30 mm up to 8.333 mm/s at 10 mm/s² and down to the corner's speed.
    ramps = (2.0 * 8.3333 - 1.760) / 10.0 + (30.0 - (2.0 * 8.3333**2 - 1.760**2) / 20.0) / 8.3333
    assert times.move_s[0] == pytest.approx(ramps, rel=1e-5)


@pytest.mark.parametrize(
    ("z_mm_min", "seconds"), [(20.0, 6.0), (500.0, math.hypot(5.0 * math.pi, 2.0) / 500.0 * 60.0)]
)
def test_a_helix_waits_for_z(z_mm_min, seconds):
    """A quarter of 10 mm that falls by 2 mm takes the 6 s that Z needs at 20 mm/min, or its length at its feed."""
    machine = mill(rate=(500.0, 500.0, z_mm_min), acceleration=(1e5, 1e5, 1e5))
    times = clock.run(arc(10.0, math.pi / 2.0, rise=-2.0), machine)

    assert times.total_s == pytest.approx(seconds, rel=REL)


@pytest.mark.parametrize(
    ("programmed", "taken"), [(0.12, 0.15), (0.15, 0.15), (3.0, 3.0), (0.0, 0.0), (0.001, 0.05)]
)
def test_dwell_in_steps(programmed, taken):
    """Grbl v1.1 dwells in whole steps of 50 ms, rounded up, other controllers as long as the program says."""
    moves = path((10, 0, 0), events=[Event(kind="dwell", line=2, before=1, value=programmed)])
    other = mill().model_copy(update={"dialect": "linuxcnc"})

    assert clock.run(moves, mill()).dwell_s == pytest.approx(taken)
    assert clock.run(moves, other).dwell_s == programmed


def test_stops():
    """A dwell makes the machine come to rest, and delays what follows."""
    dwell = Event(kind="dwell", line=2, before=1, value=0.12)
    moves = path((10, 0, 0), (20, 0, 0), events=[dwell])

    times = clock.run(moves, mill())

    assert times.total_s == pytest.approx(2 * 2.0333 + 0.15, rel=REL)
    assert times.start_s[1] == pytest.approx(2.0333 + 0.15, rel=REL)
    assert times.dwell_s == pytest.approx(0.15)


@pytest.mark.parametrize(
    ("kinds", "stops"),
    [
        ([("spindle-cw", 0, 0), ("spindle-cw", 1, 0)], 1),
        ([("spindle-cw", 0, 0), ("spindle-stop", 1, 0)], 2),
        ([("speed", 0, 8000), ("spindle-cw", 0, 0), ("speed", 1, 8000)], 1),
        ([("speed", 0, 8000), ("spindle-cw", 0, 0), ("speed", 1, 9000)], 2),
        ([("speed", 1, 9000)], 1),
        ([("flood", 1, 0)], 2),
        ([("coolant-off", 1, 0)], 1),
        ([("system", 1, 2)], 2),
        ([("shift", 1, 0)], 2),
        ([("units", 1, 21)], 1),
        ([("pause", 1, 0), ("end", 2, 0)], 2),
    ],
)
def test_what_stops_the_machine(kinds, stops):
    """Spindle, speed and coolant stop the path only if they change something (Grbl v1.1); the end always
    does.
    """
    events = [Event(kind=kind, line=1, before=before, value=value) for kind, before, value in kinds]

    times = clock.run(path((10, 0, 0), (20, 0, 0), events=events), mill())

    assert times.total_s == pytest.approx({1: 3.2333, 2: 4.0667}[stops], rel=REL)


def test_a_stop_before_an_empty_move_still_stops():
    """A stop counts although the move after it goes nowhere."""
    moves = path(
        (10, 0, 0), (10, 0, 0), (20, 0, 0), events=[Event(kind="dwell", line=2, before=1, value=1.0)]
    )

    times = clock.run(moves, mill())

    assert times.move_s == pytest.approx([2.0333, 0.0, 2.0333], rel=REL)


def test_shares_of_the_time():
    """Rapids, plunges, cuts and dwells add up to the whole, each where it belongs."""
    moves = path((10, 0, 5, None), (10, 0, -1, 100), (30, 0, -1, 300), (30, 0, 5, None))

    times = clock.run(moves, mill())

    assert times.rapid_s == pytest.approx(times.move_s[0] + times.move_s[3])
    assert times.plunge_s == pytest.approx(times.move_s[1])
    assert times.cut_s == pytest.approx(times.move_s[2])
    assert times.total_s == pytest.approx(times.start_s[3] + times.move_s[3])


def test_no_moves():
    """A program without motion takes no time but its dwells."""
    times = clock.run(path(events=[Event(kind="dwell", line=1, before=0, value=2.0)]), mill())

    assert times.total_s == 2.0


SQUARE = ((20, 0, 0), (20, 20, 0), (0, 20, 0), (0, 0, 0))
LINE = ((20, 0, 0), (40, 0, 0), (60, 0, 0), (80, 0, 0))


@pytest.mark.parametrize(
    ("points", "stops", "seconds"), [(SQUARE, (), 8.1413), (SQUARE, (1, 2, 3), 8.2), (LINE, (), 8.05)]
)
def test_whole_square(points, stops, seconds):
    """A closed 20 mm square at 10 mm/s and 200 mm/s²: with corners at 2.1974 mm/s, with full stops, and as one straight line.

    Across a right angle both axes brake, √2 as hard as one: the deviation is as much smaller than the table's 0.01 mm.
    """
    machine = mill((600.0,) * 3, (200.0,) * 3, **{"junction-deviation": 0.01 / math.sqrt(2.0)})
    events = [Event(kind="dwell", line=i + 1, before=i, value=0.0) for i in stops]

    times = clock.run(path(*points, feed=600.0, events=events), machine)

    assert times.move_s.sum() == pytest.approx(seconds, rel=1e-4)


def test_braking_reaches_back_over_short_blocks():
    """A stop after many short blocks limits all of them: v² = 2 a s at distance s before the stop."""
    moves = path(*[(i / 100, 0, 0) for i in range(1, 101)], feed=3000.0)

    times = clock.run(moves, mill((3000.0,) * 3))

    left = 0.01 * np.arange(99, -1, -1)
    reached = np.sqrt(2 * 10.0 * np.minimum(left, 1.0 - left))
    mean = (reached + np.concatenate([[0.0], reached[:-1]])) / 2.0
    np.testing.assert_allclose(times.move_s, 0.01 / mean, rtol=1e-9)


@pytest.mark.parametrize("acceleration", [0.1, 10.0, 1000.0])
def test_parts_do_not_show(monkeypatch, acceleration):
    """Planning a long program in small parts gives the same speeds as in one, however far braking reaches."""
    rng = np.random.default_rng(3)
    moves = path(*rng.uniform(-3, 3, (200, 3)).round(2).tolist(), feed=400.0)
    straight = path(*[(i / 10, 0, 0) for i in range(1, 200)], feed=400.0)
    machine = mill(acceleration=(acceleration,) * 3)
    whole = [clock.run(m, machine) for m in (moves, straight)]
    monkeypatch.setattr(clock, "CHUNK_BLOCKS", 7)

    parts = [clock.run(m, machine) for m in (moves, straight)]

    for one, other in zip(whole, parts, strict=True):
        np.testing.assert_allclose(one.move_s, other.move_s, rtol=1e-12)
