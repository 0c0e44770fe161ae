"""Loose ends of lines: where they rise, how far, and what is left as it was."""

import math

import numpy as np
import pytest

from small_network import build, network_of_lines, small_network
from vcarve.groove.taper import taper
from vcarve.network.model import Network
from vcarve.pattern.model import pattern
from vcarve.plane.region import rectangle

PIECE = rectangle(200.0, 200.0)


def shares_at(network: Network, share: np.ndarray) -> dict[tuple[float, float], set[float]]:
    """Return the shares of their depth that edges have at each vertex."""
    found: dict[tuple[float, float], set[float]] = {}
    for end, vertices in enumerate((network.tail, network.head)):
        for vertex, value in zip(vertices.tolist(), share[end].tolist(), strict=True):
            place = (round(network.x_nm[vertex] / 1e6, 3), round(network.y_nm[vertex] / 1e6, 3))
            found.setdefault(place, set()).add(round(value, 6))
    return found


def test_both_ends_of_a_line_rise():
    """A line of 20 mm with a taper of 6 mm is at its depth from 6 to 14 mm, and at the surface at its ends."""
    made, share, _ = taper(network_of_lines([((0, 0), (20, 0))]), 6.0, PIECE)

    assert shares_at(made, share) == {(0, 0): {0.0}, (6, 0): {1.0}, (14, 0): {1.0}, (20, 0): {0.0}}


def test_a_line_shorter_than_two_tapers_rises_from_its_middle():
    """The deepest place keeps its depth: 10 mm with a taper of 6 mm rise over 5 mm to either side."""
    made, share, _ = taper(network_of_lines([((0, 0), (10, 0))]), 6.0, PIECE)

    assert shares_at(made, share) == {(0, 0): {0.0}, (5, 0): {1.0}, (10, 0): {0.0}}
    assert len(made.tail) == 2


@pytest.mark.parametrize("long_mm", [0.0124, 0.0199, 0.02])
def test_a_crumb_of_a_line_keeps_its_depth(long_mm):
    """A line that cannot be split between two rises stays as deep as was asked for, and one a little longer still rises."""
    crumb, share, rises = taper(network_of_lines([((0, 0), (long_mm, 0))]), 6.0, PIECE)
    longer, rising, _ = taper(network_of_lines([((0, 0), (0.022, 0))]), 6.0, PIECE)

    assert share.tolist() == [[1.0], [1.0]]
    assert shares_at(longer, rising) == {(0, 0): {0.0}, (0.011, 0): {1.0}, (0.022, 0): {0.0}}
    assert (len(crumb.tail), len(rises.at_mm), len(rises.reach_mm)) == (1, 0, 0)


@pytest.mark.parametrize(("long_mm", "rise_mm"), [(0.008, 6.0), (4.0, 0.008)])
def test_what_is_too_short_to_rise_keeps_its_depth(long_mm, rise_mm):
    """A stub that hardly comes out of another line keeps its depth, and so does a longer one with hardly any rise."""
    lines = [((-10, 0), (0, 0)), ((0, 0), (10, 0)), ((0, 0), (0, long_mm))]
    lines += [((-10, 0), (-10, -9)), ((10, 0), (10, -9)), ((-10, -9), (10, -9))]
    stub, share, rises = taper(network_of_lines(lines), rise_mm, PIECE)

    assert share.tolist() == [[1.0] * 6] * 2
    assert (len(stub.tail), len(rises.at_mm), len(rises.reach_mm)) == (6, 0, 0)


def test_a_rise_stops_where_another_line_meets():
    """A stub of 4 mm at a crossing rises over its 4 mm; lines that end at others keep their depth."""
    lines = [((-10, 0), (0, 0)), ((0, 0), (10, 0)), ((0, 0), (0, 4)), ((10, 0), (10, -9)), ((10, 0), (10, 9))]
    lines += [((-10, 0), (-10, -9)), ((-10, 0), (-10, 9))]
    made, share, _ = taper(network_of_lines(lines), 6.0, PIECE)
    found = shares_at(made, share)

    assert (found[0, 4], found[0, 0], found[-10, 0]) == ({0.0}, {1.0}, {1.0})
    assert (found[10, 3], found[10, 9]) == ({1.0}, {0.0})


def test_a_rise_goes_on_round_corners_and_arcs():
    """Measured along the line: over the last edge of 2 mm, a quarter arc of 2 mm radius, and what is left of 10 mm."""
    quarter = 2.0 * math.pi / 2.0
    line = small_network(
        [(0, 0), (20, 0), (22, 2), (22, 4)], [(0, 1), (1, 2), (2, 3)], [0.0, math.tan(math.pi / 8), 0.0]
    )
    made, share, _ = taper(line, 10.0, PIECE)
    found = shares_at(made, share)

    assert found[22, 4] == {0.0}
    assert found[22, 2] == {0.2}
    assert found[20, 0] == {round((2.0 + quarter) / 10.0, 6)}
    assert found[round(20.0 - (10.0 - 2.0 - quarter), 3), 0] == {1.0}


def test_ends_at_the_edge_of_the_piece_run_off_it():
    """Ends on the piece's edge or beyond it keep their depth; ends within it rise."""
    lines = network_of_lines([((-105, 0), (0, 0)), ((0, 10), (100, 10))])
    found = shares_at(*taper(lines, 6.0, PIECE)[:2])

    assert (found[-105, 0], found[100, 10]) == ({1.0}, {1.0})
    assert (found[0, 0], found[0, 10]) == ({0.0}, {0.0})


@pytest.mark.parametrize("name", ["izutsu-tsunagi", "asanoha", "seigaiha"])
def test_cells_and_lengths_stay_what_they_were(name):
    """Splitting lines adds a vertex for each new edge and nothing else: every ring is closed and as long as before."""
    network = build(pattern(name), region=rectangle(80.0, 60.0), pitch_mm=14.0, edge="plain")
    made, share, _ = taper(network, 3.0, rectangle(90.0, 70.0))
    ends = np.stack([made.tail, made.head])[:, made.ring_half_edge >> 1]
    forward = made.ring_half_edge & 1 == 0
    begin, end = np.where(forward, ends, ends[::-1])
    starts = np.repeat(made.ring_start[:-1], np.diff(made.ring_start))
    following = np.where(
        np.isin(np.arange(1, len(end) + 1), made.ring_start), begin[starts], np.roll(begin, -1)
    )
    around = [
        np.add.reduceat(each.length_mm[each.ring_half_edge >> 1], each.ring_start[:-1])
        for each in (network, made)
    ]

    assert np.array_equal(end, following)
    assert len(made.tail) - len(network.tail) == len(made.x_nm) - len(network.x_nm) > 0
    assert made.cut_mm == pytest.approx(network.cut_mm, abs=1e-4)
    assert around[1] == pytest.approx(around[0], abs=1e-4)
    assert (share[:, ~made.cut] == 1.0).all()
