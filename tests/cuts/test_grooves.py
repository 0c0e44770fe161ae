"""Grooves as cuts: places in whole nanometres, levels one after the other, slopes split where they pass a level."""

import numpy as np
import pytest

from small_network import build, cuts_of, small_network
from vcarve.cuts.grooves import groove_cuts, most_cuts
from vcarve.pattern.model import pattern
from vcarve.plane.region import rectangle


def test_a_place_is_a_vertex_at_a_depth():
    """Two lines that meet at two depths have two places at their vertex, one spot; each place is there once."""
    network = small_network([(0, 0), (10, 0), (20, 0)], [(0, 1), (1, 2)])

    cuts = cuts_of(network, np.array([2.0, 1.2]))

    assert cuts.place_nm.tolist() == [
        [0, 0, 2_000_000],
        [10_000_000, 0, 1_200_000],
        [10_000_000, 0, 2_000_000],
        [20_000_000, 0, 1_200_000],
    ]
    assert cuts.spot.tolist() == [0, 1, 1, 2]
    assert (cuts.tail.tolist(), cuts.head.tolist(), cuts.after.tolist()) == ([0, 1], [2, 3], [-1, -1])


def test_levels_come_one_after_the_other():
    """Of 3 mm in three levels each cut is after the one above it; a line of 1.5 mm is done in the second."""
    network = small_network([(0, 0), (10, 0), (20, 0)], [(0, 1), (1, 2)])

    cuts = cuts_of(network, np.array([3.0, 1.5]), 1.0)

    assert cuts.level.tolist() == [0, 0, 1, 1, 2]
    assert cuts.after.tolist() == [-1, -1, 0, 1, 2]
    assert cuts.depth_mm[cuts.tail].tolist() == [1.0, 1.0, 2.0, 1.5, 3.0]


@pytest.mark.parametrize("bulge", [0.0, 0.4, -1.0])
def test_a_slope_is_split_where_it_passes_a_level(bulge):
    """From the surface to 2 mm in levels of 1: above 1 mm one cut along the slope, below it one level and one on."""
    network = small_network([(0, 0), (12, 0)], [(0, 1)], [bulge])

    cuts = cuts_of(network, np.array([[0.0], [2.0]]), 1.0)

    ends = np.stack([cuts.depth_mm[cuts.tail], cuts.depth_mm[cuts.head]], axis=1)
    assert ends.tolist() == [[0.0, 1.0], [1.0, 1.0], [1.0, 2.0]]
    assert cuts.after.tolist() == [-1, -1, 1]
    assert cuts.length_mm.tolist() == pytest.approx([float(network.length_mm[0]) / 2.0] * 3, abs=1e-5)


def test_a_short_slope_goes_down_whole_in_every_level():
    """Parts of a tenth of a millimetre would be lost in rounding: each level is a steeper slope from the same place."""
    cuts = cuts_of(small_network([(0, 0), (0.4, 0)], [(0, 1)]), np.array([[0.0], [2.0]]), 0.5)

    assert cuts.depth_mm[cuts.tail].tolist() == [0.0] * 4
    assert cuts.depth_mm[cuts.head].tolist() == [0.5, 1.0, 1.5, 2.0]
    assert cuts.after.tolist() == [-1, 0, 1, 2]


def test_the_parts_of_a_slope_do_not_grow_with_its_levels():
    """However many levels a slope of 4 mm has, it is split in parts of about half a millimetre, finished one after another."""
    network = small_network([(0, 0), (4, 0)], [(0, 1)])

    for levels in (40, 80, 160):
        cuts = cuts_of(network, np.array([[0.0], [2.4]]), 2.4 / levels)
        last = np.setdiff1d(np.arange(len(cuts.after)), cuts.after)
        places = cuts.place_nm[np.append(cuts.tail[last], cuts.head[last])] / 1e6
        counted, parts = most_cuts(np.array([[0.0], [2.4]]), network.length_mm, 2.4 / levels)

        assert len(cuts.after) <= 9 * levels
        assert (int(cuts.level.max()) + 1, len(last), int(parts[0])) == (levels, 9, 9)
        assert places[:, 2] == pytest.approx(0.6 * places[:, 0], abs=2e-6)
        assert np.diff(np.unique(places[:, 0])).min() > 0.39
        assert float(counted[0]) == pytest.approx(len(cuts.after), rel=0.15)


def test_no_slope_is_split_for_a_shaving():
    """A slope that ends a hair below a level is cut with it, as a level line is."""
    network = small_network([(0, 0), (10, 0), (20, 0)], [(0, 1), (1, 2)])

    cuts = cuts_of(network, np.array([[0.0, 2.0], [1.015, 2.0]]), 1.02)

    assert cuts.level.tolist() == [0, 0, 1]
    assert cuts.depth_mm[cuts.head].tolist() == [1.015, 1.0, 2.0]


@pytest.mark.parametrize("step_mm", [9.0, 0.7])
def test_rings_walk_round_every_cell(step_mm):
    """Each ring of the cuts is closed and as long as that of its cell, whose lines are cut in several parts and levels."""
    network = build(pattern("izutsu-tsunagi"), region=rectangle(60.0, 60.0), pitch_mm=20.0)
    depth = np.full((2, len(network.tail)), 2.0)
    depth[0, ::3] = 0.5

    cuts, rings = groove_cuts(network, depth, step_mm)

    edge, back = rings.half_edge // 2, rings.half_edge % 2
    begin = cuts.spot[np.where(back == 0, cuts.tail[edge], cuts.head[edge])]
    end = cuts.spot[np.where(back == 0, cuts.head[edge], cuts.tail[edge])]
    ring = np.repeat(np.arange(len(rings.start) - 1), np.diff(rings.start))
    after = np.where(np.append(np.diff(ring) == 0, False), np.roll(begin, -1), begin[rings.start[ring]])
    long = np.add.reduceat(cuts.length_mm[edge], rings.start[:-1])
    mine = np.add.reduceat(network.length_mm[network.ring_half_edge // 2], network.ring_start[:-1])

    assert network.cut.all()
    assert np.array_equal(end, after)
    assert long == pytest.approx(mine, abs=1e-4)
