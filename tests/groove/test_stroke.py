"""Footprints drawn directly, against shapely's buffers."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from vcarve.groove.outline import SAG_NM, flatten
from vcarve.groove.stroke import points_along, stroke
from vcarve.network.build import build_lines
from vcarve.network.model import NM_PER_MM
from vcarve.pattern.model import Line
from vcarve.plane.region import rectangle


def filled(rings: list[np.ndarray]) -> shapely.Geometry:
    """Return what a ring encloses, laps counted once: the union of its triangles' overlaps by walking its crossings."""
    pieces = shapely.get_parts(shapely.polygonize([shapely.union_all(shapely.linearrings(list(rings)))]))
    kept = []
    for piece in pieces:
        x, y = shapely.get_coordinates(piece.representative_point())[0]
        turns = 0.0
        for ring in rings:
            angle = np.unwrap(np.arctan2(*(np.vstack([ring, ring[:1]]) - (x, y)).T[::-1]))
            turns += (angle[-1] - angle[0]) / (2.0 * math.pi)
        if round(turns) != 0:
            kept.append(piece)
    return shapely.union_all(kept)


SIDE = st.integers(-20_000_000, 20_000_000)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(SIDE, SIDE, st.sampled_from([0.0, 0.2, -0.4, 1.0, -1.0, 2.5, -8.0]), st.floats(50_000.0, 3_000_000.0))
def test_a_stroke_is_all_that_is_near_its_line(x: int, y: int, bulge: float, half_nm: float) -> None:
    """Lines, arcs, arcs tighter than the groove and arcs that nearly close: within the sag of shapely's buffer."""
    if math.hypot(x, y) < 10_000:
        return
    found = filled(stroke(x, y, bulge, half_nm, half_nm))
    line = shapely.LineString([*flatten(0, 0, x, y, bulge, 20.0), (x, y)])
    buffered = line.buffer(half_nm, quad_segs=256)
    room = 2.0 * SAG_NM * (2.0 * line.length + 2.0 * math.pi * half_nm)

    assert found.symmetric_difference(buffered).area <= room


HALF = st.floats(0.0, 3_000_000.0)


@settings(deadline=None, derandomize=True, max_examples=40)
@given(SIDE, SIDE, st.sampled_from([0.0, 0.2, -0.4, 1.0]), HALF, HALF)
def test_a_narrowing_stroke_is_all_that_is_near_its_line(
    x: int, y: int, bulge: float, one: float, other: float
) -> None:
    """A groove that narrows evenly is the union of circles along its line that grow evenly, to the sag of its chords."""
    if math.hypot(x, y) < 10_000:
        return
    found = shapely.union_all([shapely.Polygon(ring).buffer(0) for ring in stroke(x, y, bulge, one, other)])
    path = np.array([*flatten(0, 0, x, y, bulge, 20.0), (x, y)])
    line = shapely.LineString(path)
    share = np.linspace(0.0, 1.0, 200)
    circles = shapely.buffer(
        line.interpolate(share, normalized=True), one + share * (other - one), quad_segs=64
    )
    room = 2.0 * SAG_NM * (2.0 * line.length + 2.0 * math.pi * max(one, other))

    assert shapely.union_all(circles).difference(found).area <= room
    # Between circles only slivers are missing: each is within the hull of its neighbours.
    hulls = shapely.convex_hull(shapely.union(circles[1:], circles[:-1]))

    assert found.difference(shapely.union_all(hulls)).area <= room


def test_points_along_lie_on_the_arcs() -> None:
    """Points of an arc are as far from its centre as its ends, forwards and backwards; lines have their start alone."""
    lines = [Line(start=(-10.0, 0.0), end=(10.0, 0.0), bulge=0.5), Line(start=(-10.0, 0.0), end=(10.0, 0.0))]
    network = build_lines(lines, region=rectangle(60.0, 60.0), edge="plain")
    arc = int(np.flatnonzero(network.bulge)[0])
    radius = network.chord_mm[arc] * (1.0 + 0.5**2) / (4.0 * 0.5)
    forth, count = points_along(network, np.array([2 * arc]), 6)
    back, _ = points_along(network, np.array([2 * arc + 1]), 6)
    # An arc of bulge b over a chord c has its middle b c / 2 to the chord's right.
    middle = np.array([0.0, -0.5 * 20.0 / 2.0 * math.copysign(1.0, network.bulge[arc] * (forth[0, 0] * -1))])
    centre = middle - math.copysign(radius, middle[1]) * np.array([0.0, 1.0])

    assert count.tolist() == [6]
    assert np.hypot(*(forth / NM_PER_MM - centre).T) == pytest.approx(radius)
    assert np.hypot(*(back / NM_PER_MM - centre).T) == pytest.approx(radius)
    assert back[1:] == pytest.approx(forth[:0:-1], abs=1.0)
