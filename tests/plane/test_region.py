"""Regions: what lies in them, and their insets, against another library and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from vcarve.pattern.shapes import circle, ellipse, regular_polygon, rounded_rectangle
from vcarve.plane.inset import inset
from vcarve.plane.region import (
    Region,
    Ring,
    area_mm2,
    inside,
    polygon,
    rectangle,
)


def notched() -> Region:
    """Return an L with a round hole: corners that point inwards, and an arc with its middle in the air."""
    corners = np.array([(-30.0, -20.0), (30.0, -20.0), (30.0, 0.0), (0.0, 0.0), (0.0, 20.0), (-30.0, 20.0)])
    hole = Ring(
        xy_mm=np.array([(-20.0, -10.0), (-10.0, -10.0)]),
        bulge=np.array([-1.0, -1.0]),
    )
    return Region(outer=Ring(xy_mm=corners, bulge=np.zeros(6)), holes=(hole,))


@pytest.mark.parametrize(
    "region",
    [
        rectangle(60.0, 40.0),
        circle(50.0),
        ellipse(70.0, 40.0),
        rounded_rectangle(60.0, 40.0, 7.0),
        notched(),
    ],
)
def test_points_inside_are_those_another_library_finds(region: Region) -> None:
    """Random points agree with a fine polygon, but for a hair along the boundary."""
    points = np.random.default_rng(7).uniform(-40.0, 40.0, size=(4000, 2))
    fine = polygon(region, 1e-5)
    clear = shapely.distance(fine.boundary, shapely.points(points)) > 1e-4

    assert np.array_equal(
        inside(region, points)[clear], shapely.contains_xy(fine, points[:, 0], points[:, 1])[clear]
    )


def test_an_arc_of_more_than_half_a_turn_holds_its_points() -> None:
    """A keyhole's round part: three quarters of a circle and two straight sides to its middle."""
    ring = Ring(
        xy_mm=np.array([(10.0, 0.0), (0.0, -10.0), (0.0, 0.0)]),
        bulge=np.array([math.tan(math.radians(270.0) / 4.0), 0.0, 0.0]),
    )
    region = Region(outer=ring)

    assert area_mm2(region) == pytest.approx(0.75 * math.pi * 100.0)
    points = np.array([(5.0, 5.0), (-5.0, 5.0), (-5.0, -5.0), (5.0, -5.0), (9.0, 9.0), (-9.9, 0.1)])
    assert inside(region, points).tolist() == [True, True, True, False, False, True]


def test_a_rectangle_inset_is_the_smaller_rectangle() -> None:
    """Four exact corners, nothing more."""
    region = inset(rectangle(60.0, 40.0), 3.0)[0]

    assert np.allclose(region.outer.xy_mm, rectangle(54.0, 34.0).outer.xy_mm, atol=1e-12)
    assert not region.outer.bulge.any()


@pytest.mark.parametrize("distance", [0.5, 5.0, 24.0, -3.0])
def test_a_circle_inset_is_the_smaller_circle(distance: float) -> None:
    """The area is pi (r - d)², to the last digits: the arcs stay arcs."""
    region = inset(circle(50.0), distance)[0]

    assert area_mm2(region) == pytest.approx(math.pi * (25.0 - distance) ** 2, rel=1e-12)


def test_a_rounded_rectangle_keeps_its_corner_centres() -> None:
    """Inset by less than the radius the corners shrink; by more they are sharp."""
    small = inset(rounded_rectangle(60.0, 40.0, 7.0), 2.0)[0]
    sharp = inset(rounded_rectangle(60.0, 40.0, 7.0), 9.0)[0]

    assert area_mm2(small) == pytest.approx(56.0 * 36.0 - (4.0 - math.pi) * 25.0, rel=1e-12)
    assert area_mm2(sharp) == pytest.approx(42.0 * 22.0, rel=1e-12)
    assert len(sharp.outer.bulge) == 4


def test_a_hexagon_inset_shrinks_by_its_apothem() -> None:
    """A regular polygon inset stays regular: its scale is 1 - d / apothem."""
    unit = regular_polygon(6, 10.0)
    whole = Region(outer=Ring(xy_mm=unit.outer.xy_mm * 30.0, bulge=np.zeros(6)))
    apothem = 30.0 * math.cos(math.pi / 6.0)

    assert np.allclose(inset(whole, 4.0)[0].outer.xy_mm, whole.outer.xy_mm * (1.0 - 4.0 / apothem), atol=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("distance", [0.2, 1.5, 4.0, -0.5, -2.0])
@pytest.mark.parametrize(
    "region", [ellipse(70.0, 40.0), notched(), rounded_rectangle(60.0, 40.0, 20.0)], ids=["ellipse", "notched", "stadium"]
)  # fmt: skip
def test_an_inset_is_what_another_library_buffers(region: Region, distance: float) -> None:
    """Both boundaries stay within 2 µm of each other."""
    ours = polygon(inset(region, distance)[0], 1e-5)
    theirs = polygon(region, 1e-5).buffer(-distance, quad_segs=2000)

    assert ours.is_valid
    assert shapely.hausdorff_distance(ours.boundary, theirs.boundary) <= 0.002


def test_an_ellipse_inset_past_its_curvature_still_agrees() -> None:
    """Inset by more than the smallest radius of curvature (b²/a = 5.7 mm) the ends become corners."""
    region = ellipse(70.0, 20.0)
    ours = inset(region, 6.0)[0]
    theirs = polygon(region, 1e-5).buffer(-6.0, quad_segs=2000)

    assert shapely.hausdorff_distance(polygon(ours, 1e-5).boundary, theirs.boundary) <= 0.003
    # Its arcs are arcs again, not thousands of chords.
    assert np.count_nonzero(ours.outer.bulge) > len(ours.outer.bulge) / 2
    assert len(ours.outer.bulge) < 2 * len(region.outer.bulge)


def test_what_vanishes_or_falls_apart_has_no_part_or_several() -> None:
    """A distance that leaves nothing, and one that cuts a waist."""
    right = [(2, -10), (30, -10), (30, 10), (2, 10), (2, 1)]
    left = [(-2, 1), (-2, 10), (-30, 10), (-30, -10), (-2, -10), (-2, -1), (2, -1)]
    corners = [*right, *left]
    waist = Region(outer=Ring(xy_mm=np.array(corners, dtype=float), bulge=np.zeros(12)))

    assert inset(rectangle(60.0, 40.0), 20.001) == ()
    assert len(inset(waist, 2.0)) == 2
