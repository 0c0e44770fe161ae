"""Which lines go straight on as one run, and where the bit's round shows."""

from __future__ import annotations

import math

import numpy as np

from small_network import network_of_lines, small_network
from vcarve.solid.runs import Runs, runs_of


def runs(network, depth=1.0) -> Runs:
    """Return the runs of a network, all of one depth or of depths (2, E)."""
    return runs_of(network, np.broadcast_to(np.asarray(depth, float), (2, len(network.tail))).copy())


def test_a_crossing_is_two_runs() -> None:
    """Four lines from one vertex are two runs through it, round at their four far ends."""
    found = runs(network_of_lines([((-9, 0), (0, 0)), ((0, 0), (8, 0)), ((0, 0), (0, 7)), ((0, -6), (0, 0))]))

    assert sorted(len(run) for run in found.level) == [3, 3]
    assert all(run.shape == (3, 2) and (run[1] == 0.0).all() for run in found.level)
    assert sorted(map(tuple, found.at_mm.tolist())) == [(-9.0, 0.0), (0.0, -6.0), (0.0, 7.0), (8.0, 0.0)]
    np.testing.assert_allclose(found.sweep_rad, math.pi)


def test_a_run_ends_where_the_depth_does() -> None:
    """Of a straight line whose halves are cut to two depths, the deeper one is round where they meet."""
    found = runs(network_of_lines([((-9, 0), (0, 0)), ((0, 0), (8, 0))]), [[1.0, 2.0], [1.0, 2.0]])
    rounds = dict(zip(map(tuple, found.at_mm.tolist()), found.deep_mm.tolist(), strict=True))

    assert len(found.level) == 2
    assert rounds == {(-9.0, 0.0): 1.0, (0.0, 0.0): 2.0, (8.0, 0.0): 2.0}


def test_only_the_outside_of_a_corner_is_round() -> None:
    """A right angle leaves a quarter of a turn to the bit; three lines all round leave nothing."""
    corner = runs(network_of_lines([((0, 0), (9, 0)), ((0, 0), (0, 9))]))
    (row,) = np.flatnonzero((corner.at_mm == 0.0).all(axis=1))
    star = [(9 * math.cos(turn), 9 * math.sin(turn)) for turn in (0.0, 2.0, 4.0)]
    three = runs(network_of_lines([((0, 0), place) for place in star]))

    assert (corner.first_rad[row] % math.tau, corner.sweep_rad[row]) == (math.pi, math.pi / 2.0)
    assert len(three.at_mm) == 3
    assert not (three.at_mm == 0.0).all(axis=1).any()


def test_a_circle_of_many_chords_is_no_straight_run() -> None:
    """Bends too slight to be told one by one are not taken for a straight line where they add up."""
    many, radius = 40_000, 2000.0
    turn = np.linspace(0.0, math.pi, many + 1)
    places = np.round(radius * np.column_stack([np.cos(turn), np.sin(turn)]), 6)
    found = runs(small_network(places.tolist(), [(k, k + 1) for k in range(many)]))
    straight = runs(small_network((places * (1.0, 0.0)).tolist(), [(k, k + 1) for k in range(many)]))

    assert len(found.level) > many // 2
    assert [len(run) for run in straight.level] == [many + 1]


def test_slopes_are_round_by_themselves() -> None:
    """A line that rises is a slope, and where it is as deep as the level one beside it no further round is needed."""
    found = runs(network_of_lines([((-9, 0), (0, 0)), ((0, 0), (8, 0))]), [[1.0, 1.0], [1.0, 0.0]])

    assert len(found.level) == len(found.slope) == 1
    assert found.slope_mm.T.tolist() == [[1.0, 0.0]]
    assert found.at_mm.tolist() == [[-9.0, 0.0]]
