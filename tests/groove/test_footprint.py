"""What grooves cover, against closed forms and against the union of circles along their lines."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from vcarve.groove.land import SAG_MM, covered
from vcarve.plane.arcs import lengths, points
from vcarve.plane.region import lines_along

ALL_ONE = np.zeros(1, dtype=np.int64)
SIDE = st.floats(-20.0, 20.0)
HALF = st.floats(0.0, 3.0)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(SIDE, SIDE, st.sampled_from([0.0, 0.2, -0.4, 1.0, -1.0, 2.5, -8.0]), st.floats(0.05, 3.0))
def test_a_stroke_is_a_band_with_round_ends(x: float, y: float, bulge: float, half_mm: float) -> None:
    """Pappus: a line, or an arc wider than the groove, takes its length times its width, and a disk at the ends."""
    curve = np.array([[0.0, 0.0, x, y, bulge]])
    length = float(lengths(curve)[0])
    sweep = 4.0 * math.atan(abs(bulge))
    apart = math.hypot(x, y) > 2.0 * half_mm or abs(bulge) <= 1.0
    if length < 0.01 or (sweep and length / sweep < half_mm) or not apart:
        return
    found = covered(curve, np.full((2, 1), half_mm), ALL_ONE)[0]
    room = 2.0 * SAG_MM * (2.0 * length + 2.0 * math.pi * half_mm)

    assert found.area == pytest.approx(2.0 * half_mm * length + math.pi * half_mm**2, abs=room)


@pytest.mark.slow
@settings(deadline=None, derandomize=True, max_examples=40)
@given(SIDE, SIDE, st.sampled_from([0.0, 0.2, -0.4, 1.0]), HALF, HALF)
def test_a_narrowing_stroke_is_all_that_is_near_its_line(
    x: float, y: float, bulge: float, one: float, other: float
) -> None:
    """A groove that narrows evenly is the union of circles along its line that grow evenly, to the sag of its chords."""
    if math.hypot(x, y) < 0.01:
        return
    curve = np.array([[0.0, 0.0, x, y, bulge]])
    found = covered(curve, np.array([[one], [other]]), ALL_ONE)[0]
    share = np.linspace(0.0, 1.0, 200)
    middles: Any = shapely.points(points(curve, share))
    circles = shapely.buffer(middles, one + share * (other - one), quad_segs=64)
    room = 2.0 * SAG_MM * (2.0 * float(lengths(curve)[0]) + 2.0 * math.pi * max(one, other))

    assert shapely.union_all(circles).difference(found).area <= room
    # Between circles only slivers are missing: each is within the hull of its neighbours.
    hulls = shapely.convex_hull(shapely.union(circles[1:], circles[:-1]))

    assert found.difference(shapely.union_all(hulls)).area <= room


def test_owners_have_what_their_own_lines_cover() -> None:
    """Lines of two owners, even and narrowing, are joined owner by owner."""
    curve = np.array([[0, 0, 4, 0, 0], [0, 5, 4, 5, 0], [4, 0, 4, 3, 0], [0, 9, 4, 9, 0]], dtype=float)
    half = np.array([[0.5, 0.5, 0.5, 0.5], [0.5, 0.5, 0.0, 0.5]])
    first, second = covered(curve, half, np.array([0, 1, 0, 1]))
    lines = lines_along(curve[[1, 3]], SAG_MM)
    hull = shapely.union(shapely.Point(4, 0).buffer(0.5, quad_segs=64), shapely.Point(4, 3)).convex_hull
    whole = shapely.union(shapely.LineString([(0, 0), (4, 0)]).buffer(0.5, quad_segs=64), hull)

    assert first.symmetric_difference(whole).area < 0.001
    assert (
        second.symmetric_difference(shapely.union_all(shapely.buffer(lines, 0.5, quad_segs=64))).area < 0.001
    )
    assert len(shapely.get_parts(second)) == 2


def test_grooves_round_a_place_that_all_of_them_take_leave_no_hole_there() -> None:
    """Four sides of a kite, 1.472 mm wide either way, take its middle, which is less than that from every side."""
    ends = np.array([(0.0, 14.682017), (-1.703487, 15.665526), (0.0, 22.023026), (1.703487, 15.665526)])
    sides = np.column_stack([ends, np.roll(ends, -1, axis=0), np.zeros(4)])
    taken = covered(sides, np.full((2, 4), 1.472), np.zeros(4, dtype=np.int64))[0]

    assert taken.covers(shapely.Point(0.0, 16.3556))
    assert not taken.interiors
