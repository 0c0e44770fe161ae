"""Thin land at the piece's edge, on grids whose last line lies at a known distance from it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from drawn_lines import Line, rows
from small_network import build_lines
from vcarve.groove.land import edge_slivers, measure
from vcarve.groove.width import VBit
from vcarve.pattern.shapes import circle
from vcarve.plane.arrays import Floats
from vcarve.plane.region import Region, corners, rectangle

RIGHT_ANGLE = VBit(angle_deg=90.0)  # cuts twice as wide as deep
HALF = 30.0  # half the side of the piece


def slivers(lines: list[Line], depth_mm: float, piece: Region, edge: str = "groove") -> tuple[Floats, Floats]:
    """Return the slivers of lines of one depth on a piece."""
    network = build_lines(*rows(lines), region=piece, edge=edge)
    grooves = measure(network, RIGHT_ANGLE, {0: depth_mm})
    return edge_slivers(network, grooves, [corners(ring) for ring in piece.rings])


def grid(last_mm: float) -> list[Line]:
    """Return lines along Y from the middle to ``last_mm``, and three that cross them."""
    along = [Line(start=(x, -HALF), end=(x, HALF)) for x in np.linspace(0.0, last_mm, 4).tolist()]
    return [*along, *(Line(start=(-HALF, y), end=(HALF, y)) for y in (-10.0, 0.0, 10.0))]


SQUARE = rectangle(2 * HALF, 2 * HALF)


@pytest.mark.parametrize("strip_mm", [0.05, 0.3, 0.49])
def test_a_strip_along_the_edge_is_one_sliver_of_its_width(strip_mm: float) -> None:
    """Grooves 2 mm wide whose last line is 1 mm and a little from the edge: one strip, though lines cross it."""
    widths, places = slivers(grid(HALF - 1.0 - strip_mm), 1.0, SQUARE)

    assert widths == pytest.approx([strip_mm], abs=1e-6)
    assert places[0, 0] == pytest.approx(HALF - 1.0 - strip_mm, abs=1e-6)


@pytest.mark.parametrize("gap_mm", [0.0, 0.3, 1.0, 1.6, 8.0])
def test_no_sliver_on_the_edge_over_it_or_far_from_it(gap_mm: float) -> None:
    """A line on the edge, one whose groove reaches the edge, and one with wood enough beside it leave no strip."""
    assert len(slivers(grid(HALF - gap_mm), 1.0, SQUARE)[0]) == 0


def test_deep_grooves_need_more_wood_beside_them() -> None:
    """A strip of 0.9 mm is too thin beside a groove 2 mm deep (half of the depth), not beside one of 1 mm."""
    assert len(slivers(grid(HALF - 2.0 - 0.9), 2.0, SQUARE)[0]) == 1
    assert len(slivers(grid(HALF - 1.0 - 0.9), 1.0, SQUARE)[0]) == 0


@pytest.mark.parametrize(("angle_deg", "expected"), [(90.0, 0), (45.0, 0), (20.0, 0), (5.0, 1)])
def test_lines_that_meet_the_edge_count_only_when_nearly_along_it(angle_deg: float, expected: int) -> None:
    """Thin land of up to w beside a line at an angle a is w / sin a long: 4 w and more below 14.5 degrees."""
    a = math.radians(angle_deg)
    lines = [Line(start=(HALF, 0.0), end=(HALF - 20.0 * math.sin(a), 20.0 * math.cos(a)))]

    assert len(slivers(lines, 1.0, SQUARE)[0]) == expected


def test_land_between_two_grooves_is_no_edge() -> None:
    """With a groove on the edge itself, the land beside it lies between grooves and does not break off the piece."""
    edge = [Line(start=(HALF, -HALF), end=(HALF, HALF))]

    assert len(slivers([*grid(HALF - 2.3), *edge], 1.0, SQUARE)[0]) == 0


def test_a_groove_along_the_edge_ends_the_strip_before_it() -> None:
    """A strip 0.3 mm wide is one at the bare edge, and none where a narrow groove runs along the edge."""
    lines = [*grid(HALF - 1.3), Line(start=(HALF, -HALF), end=(HALF, HALF), feature=1)]
    network = build_lines(*rows(lines), region=SQUARE, edge="groove")
    grooves = measure(network, RIGHT_ANGLE, {0: 1.0, 1: 0.05})

    assert len(slivers(lines[:-1], 1.0, SQUARE)[0]) == 1
    assert len(edge_slivers(network, grooves, [corners(ring) for ring in SQUARE.rings])[0]) == 0


def test_short_lines_one_after_the_other_leave_a_strip() -> None:
    """Rungs from inside cut the last line into pieces of a millimetre: each counts, since all its length is too thin."""
    x = HALF - 0.2 - 0.3
    rungs = [Line(start=(x - 5.0, y), end=(x, y)) for y in np.arange(-10.0, 11.0).tolist()]
    widths, _ = slivers([Line(start=(x, -10.0), end=(x, 10.0)), *rungs], 0.2, SQUARE)

    assert widths == pytest.approx([0.3], abs=1e-6)


def test_a_strip_is_as_wide_as_its_thinnest_place() -> None:
    """Beside a line that leans, the strip runs from 0.4 mm down to 0.2 mm; it breaks where it is thinnest."""
    lines = [Line(start=(HALF - 1.4, -10.0), end=(HALF - 1.2, 10.0))]
    widths, places = slivers(lines, 1.0, SQUARE)

    assert widths == pytest.approx([0.2], abs=0.01)
    assert places[0, 1] == pytest.approx(10.0, abs=1.0)


@pytest.mark.parametrize("strips_mm", [(0.2, 0.4), (0.4, 0.2)])
def test_the_thinnest_of_several_strips_comes_first(strips_mm: tuple[float, float]) -> None:
    """Two lines at opposite sides of the piece leave a strip each, told by its width and whichever was drawn first."""
    ends = [(side * (HALF - 1.0 - strip), strip) for side, strip in zip((-1.0, 1.0), strips_mm, strict=True)]
    widths, places = slivers([Line(start=(x, -10.0), end=(x, 10.0)) for x, _ in ends], 1.0, SQUARE)

    assert widths == pytest.approx([0.2, 0.4], abs=1e-6)
    assert places[:, 0] == pytest.approx([x for x, _ in sorted(ends, key=lambda one: one[1])], abs=1e-6)


def test_arcs_along_a_round_outline() -> None:
    """A circle 0.3 mm inside a round piece's edge, less the groove, leaves a strip all round it: one sliver."""
    r = HALF - 1.0 - 0.3
    ring = [
        Line(start=(r, 0.0), end=(-r, 0.0), bulge=1.0),
        Line(start=(-r, 0.0), end=(r, 0.0), bulge=1.0),
    ]
    widths, _ = slivers(ring, 1.0, circle(2 * HALF))

    assert widths == pytest.approx([0.3], abs=0.002)
