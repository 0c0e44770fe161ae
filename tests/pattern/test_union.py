"""Lines united modulo the lattice."""

import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from drawn_lines import Line, rows
from vcarve.pattern import unit
from vcarve.pattern.symmetry import Lattice, rotation
from vcarve.pattern.unit import covers_itself
from vcarve.plane.arcs import mapped
from vcarve.plane.fit import arc_lines

UNIT = Lattice((1.0, 0.0), (0.0, 1.0))
WIDE = Lattice((10.0, 0.0), (0.0, 10.0))


def united(lines, lattice):
    """Return lines united."""
    curves, feature = unit.united(*rows(lines), lattice)
    return [
        Line(start=(a, b), end=(c, d), bulge=bulge, feature=kind)
        for (a, b, c, d, bulge), kind in zip(curves.tolist(), feature.tolist(), strict=True)
    ]


def total_length(lines):
    """Return the length of all lines."""
    return math.fsum(one.length for one in lines)


def line(*ends, feature=0):
    """Return the straight line between two points."""
    return Line(start=ends[0], end=ends[1], feature=feature)


def arcs(centre, radius, first_deg, last_deg):
    """Return the arc between two directions, counter-clockwise, in halves of a circle at most."""
    found = arc_lines(centre, radius, math.radians(first_deg), math.radians(last_deg - first_deg))
    return [Line(start=(a, b), end=(c, d), bulge=bulge) for a, b, c, d, bulge in found.tolist()]


def test_halves_become_one():
    """Two halves that only meet each other become one line."""
    made = united([line((1, 1), (2, 1)), line((3, 1), (2, 1))], WIDE)

    assert [one.length for one in made] == pytest.approx([2.0])


def test_a_bend_and_a_third_line_keep_pieces_apart():
    """Pieces stay apart where they bend, and where another line ends between them."""
    assert len(united([line((1, 1), (2, 1)), line((2, 1), (2, 2))], WIDE)) == 2
    assert len(united([line((1, 1), (2, 1)), line((2, 1), (3, 1)), line((2, 1), (2, 2))], WIDE)) == 3


def test_overlaps_are_cut_once():
    """Partly overlapping lines leave their union: five long, not seven."""
    made = united([line((0, 0), (4, 0)), line((2, 0), (5, 0))], WIDE)

    assert total_length(made) == pytest.approx(5.0)
    assert len(made) == 1


def test_a_line_longer_than_the_repeat_covers_itself():
    """A line along a lattice vector that is longer than it is one repeat long; the endless line is the same."""
    made = united([line((0, 0.25), (2.5, 0.25))], UNIT)

    assert total_length(made) == pytest.approx(1.0)


def test_overlap_in_a_direction_without_repeats():
    """Lines whose slope is no ratio of whole steps unite as well."""
    x, y = math.cos(math.radians(22.5)), math.sin(math.radians(22.5))
    made = united([line((0, 0), (0.6 * x, 0.6 * y)), line((0.3 * x + 1, 0.3 * y - 2), (x + 1, y - 2))], UNIT)

    assert total_length(made) == pytest.approx(1.0)
    assert len(made) == 1


def test_ground_wins():
    """Where ground and leaf cover each other, the line is ground."""
    made = united([line((0, 0), (2, 0), feature=1), line((1, 0), (3, 0), feature=0)], WIDE)

    assert sorted((one.feature, round(one.length, 9)) for one in made) == [(0, 2.0), (1, 1.0)]


def test_different_lines_between_the_same_places_stay():
    """Two lines that start and end at the same places, but go another way round the lattice, are two lines."""
    made = united([line((0, 0), (1, 1)), line((0, 0), (1, -1)), line((0, 0), (1, 0))], UNIT)

    assert len(made) == 3
    assert len(united([line((0, 0), (1, 0)), Line(start=(0, 0), end=(1, 0), bulge=0.3)], UNIT)) == 2


def test_circle_is_two_halves():
    """A full circle, written whole or in overlapping parts, is two half circles of the right length."""
    whole = arcs((3.0, 3.0), 2.0, 0.0, 360.0)
    parts = [
        *arcs((3.0, 3.0), 2.0, 10.0, 200.0),
        *arcs((3.0, 3.0), 2.0, 150.0, 300.0),
        *arcs((13.0, 3.0), 2.0, 290.0, 380.0),
    ]
    for drawn in (whole, parts):
        made = united(drawn, WIDE)
        assert total_length(made) == pytest.approx(4.0 * math.pi, rel=1e-12)
        assert max(abs(arc.bulge) for arc in made) <= 1.0
    assert len(united(whole, WIDE)) == 2


def test_touching_arcs_are_not_one():
    """Arcs of opposite curve that meet smoothly stay two."""
    made = united([*arcs((0, 0), 1, 0, 90), *arcs((0, 2), 1, 180, 270)], WIDE)

    assert len(made) == 2


def test_image_that_is_not_the_pattern():
    """A quarter turn carries a square's sides onto themselves, but not a rectangle's; features count."""
    square = united([line((0, 0), (1, 0)), line((0, 0), (0, 1))], UNIT)
    stripes = united([line((0, 0), (1, 0))], UNIT)
    mixed = united([line((0, 0), (1, 0)), line((0, 0), (0, 1), feature=1)], UNIT)
    turn = rotation(90.0)[:2]

    def covers(lines):
        curves, feature = rows(lines)
        return covers_itself(curves, feature, mapped(curves, turn), UNIT)

    assert covers(square)
    assert not covers(stripes)
    assert not covers(mixed)


_WHOLE = st.integers(0, 4)
_LINES = st.lists(
    st.tuples(_WHOLE, _WHOLE, _WHOLE, _WHOLE).filter(lambda e: e[:2] != e[2:]), min_size=1, max_size=8
)


@settings(deadline=None, derandomize=True, max_examples=150)
@given(_LINES)
def test_same_length_as_an_independent_union(ends):
    """On a cell too wide for repeats to meet, the length of the union is the length shapely gives."""
    lines = [line((a, b), (c, d)) for a, b, c, d in ends]
    made = united(lines, WIDE)
    wanted = shapely.unary_union([shapely.LineString([one.start, one.end]) for one in lines]).length

    assert total_length(made) == pytest.approx(wanted, rel=1e-9)


@settings(deadline=None, derandomize=True, max_examples=100)
@given(_LINES, st.lists(st.tuples(st.integers(-3, 3), st.integers(-3, 3)), min_size=8, max_size=8))
def test_shifts_do_not_matter(ends, shifts):
    """Shifting any of the lines by the lattice changes neither length nor number of the united lines."""
    cell = Lattice((3.0, 0.0), (1.0, 4.0))
    lines = [line((a, b), (c, d)) for a, b, c, d in ends]
    moved = [
        line(tuple(one.start + way), tuple(one.end + way))
        for one, way in zip(lines, shifts[: len(lines)] @ cell.basis, strict=True)
    ]
    here, there = united(lines, cell), united(moved, cell)

    assert total_length(there) == pytest.approx(total_length(here), rel=1e-9)
    assert len(there) == len(here)
