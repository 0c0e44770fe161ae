"""The ways of an end mill round a piece: how deep they go where, in how many turns, and where tabs stand."""

from __future__ import annotations

import numpy as np
import pytest

from vcarve.cuts.cut_out import outline_cuts, spread
from vcarve.job.bench import EndMill
from vcarve.job.fields import TabSize
from vcarve.job.sections import CutOut
from vcarve.pattern.shapes import circle
from vcarve.plane.region import Region, rectangle, reversed_ring

MILL = EndMill(diameter_mm=3.0, shank_mm=3.0, cutting_length_mm=12.0)


def asked(**keys: object) -> CutOut:
    """Return how a piece is to be cut out by the end mill."""
    return CutOut.model_validate(
        {"bit": MILL, "tabs": 0, "through": 0.5} | keys, by_alias=True, by_name=False
    )


def test_a_way_goes_down_evenly_and_once_round_at_the_bottom() -> None:
    """6.5 mm in steps of at most 2 mm are four turns, and one more: five times round, of which the last is level."""
    cuts, starts = outline_cuts([circle(40.0)], asked(), 6.0, 2.0)
    around = 2.0 * np.pi * 21.5
    depth, way = cuts.depth_mm, np.append(0.0, np.cumsum(cuts.length_mm))

    assert starts.tolist() == [0, len(cuts.tail)]
    assert way[-1] == pytest.approx(5.0 * around)
    evenly = np.minimum(way[:-1] / (4.0 * around), 1.0) * 6.5
    # At once 0.02 mm down, so that no side is only scratched.
    begins = np.minimum(way[:-1] * np.tan(np.radians(10)), 0.02)
    np.testing.assert_allclose(depth[cuts.tail], np.maximum(evenly, begins), atol=1e-5)
    assert (cuts.head[:-1] == cuts.tail[1:]).all()


def test_a_short_way_round_takes_more_turns() -> None:
    """In a hole hardly wider than the end mill the slope says how many: 0.5 mm of room fall 0.277 mm a turn at 10 degrees."""
    hole = reversed_ring(circle(3.5).outer)
    cuts, starts = outline_cuts([Region(outer=circle(40.0).outer, holes=(hole,))], asked(), 6.0, 2.0)
    inner = slice(*starts[:2])
    fall = np.diff(cuts.depth_mm[np.stack([cuts.tail, cuts.head])], axis=0)[0][inner]
    steep = fall[fall > 0.0] / cuts.length_mm[inner][fall > 0.0]

    assert len(starts) == 3
    assert cuts.length_mm[inner].sum() == pytest.approx(
        (np.ceil(6.5 / (np.pi * 0.5 * np.tan(np.radians(10)))) + 1) * np.pi * 0.5
    )
    assert (steep <= np.tan(np.radians(10)) + 1e-4).all()


def test_over_a_tab_the_way_is_no_deeper_than_its_top() -> None:
    """Level for the tab's width and the bit's, straight up before and down a ramp behind it, in every turn below its top."""
    cut_out = asked(tabs=2, tab=TabSize(4.0, 1.0), ramp=20)
    cuts, _ = outline_cuts([rectangle(40.0, 40.0)], cut_out, 6.0, 2.0)
    tail, head = cuts.depth_mm[cuts.tail], cuts.depth_mm[cuts.head]
    level = (np.abs(tail - 5.0) < 1e-6) & (np.abs(head - 5.0) < 1e-6)
    around = 4.0 * 40.0 + 3.0 * np.pi
    last = np.cumsum(cuts.length_mm) > cuts.length_mm.sum() - around + 1e-6

    assert cuts.length_mm[level & last].sum() == pytest.approx(2 * 7.0, abs=1e-5)
    assert ((tail[1:] - head[:-1]) < 1e-6).all()  # straight down nowhere
    assert (head - tail <= cuts.length_mm * np.tan(np.radians(20)) + 1e-5).all()
    assert tail.max() == pytest.approx(6.5)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 7])
def test_tabs_keep_away_from_corners(count: int) -> None:
    """On a 60 by 40 mm rectangle no tab 8 mm long lies over a corner, and all are as far apart."""
    sides = rectangle(60.0, 40.0).outer.curves
    at = spread(sides, count, 8.0) % 200.0
    corners = np.array([0.0, 60.0, 100.0, 160.0, 200.0])

    assert np.abs(at[:, None] - corners).min() > 4.0
    np.testing.assert_allclose(np.diff(np.append(np.sort(at), np.sort(at)[0] + 200.0)), 200.0 / count)
