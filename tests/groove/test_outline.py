"""Footprints drawn directly, against shapely's buffers."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from vcarve.groove.outline import SAG_NM, strokes
from vcarve.plane.region import lines_along


def filled(rings: list[np.ndarray]) -> Any:
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


@pytest.mark.slow
@settings(deadline=None, derandomize=True, max_examples=60)
@given(SIDE, SIDE, st.sampled_from([0.0, 0.2, -0.4, 1.0, -1.0, 2.5, -8.0]), st.floats(50_000.0, 3_000_000.0))
def test_a_stroke_is_all_that_is_near_its_line(x: int, y: int, bulge: float, half_nm: float) -> None:
    """Lines, arcs, arcs tighter than the groove and arcs that nearly close: within the sag of shapely's buffer."""
    if math.hypot(x, y) < 10_000:
        return
    curve = np.array([[0.0, 0.0, x, y, bulge]])
    found = filled(strokes(curve, np.array([[half_nm], [half_nm]]))[0])
    line = lines_along(curve, 20.0)[0]
    buffered = line.buffer(half_nm, quad_segs=256)
    room = 2.0 * SAG_NM * (2.0 * line.length + 2.0 * math.pi * half_nm)

    assert found.symmetric_difference(buffered).area <= room


HALF = st.integers(0, 3_000_000).map(float)


@pytest.mark.slow
@settings(deadline=None, derandomize=True, max_examples=40)
@given(SIDE, SIDE, st.sampled_from([0.0, 0.2, -0.4, 1.0]), HALF, HALF)
def test_a_narrowing_stroke_is_all_that_is_near_its_line(
    x: int, y: int, bulge: float, one: float, other: float
) -> None:
    """A groove that narrows evenly is the union of circles along its line that grow evenly, to the sag of its chords."""
    if math.hypot(x, y) < 10_000:
        return
    curve = np.array([[0.0, 0.0, x, y, bulge]])
    rings = strokes(curve, np.array([[one], [other]]))[0]
    found = shapely.union_all([shapely.Polygon(ring).buffer(0) for ring in rings])
    line = lines_along(curve, 20.0)[0]
    share = np.linspace(0.0, 1.0, 200)
    circles = shapely.buffer(
        line.interpolate(share, normalized=True), one + share * (other - one), quad_segs=64
    )
    room = 2.0 * SAG_NM * (2.0 * line.length + 2.0 * math.pi * max(one, other))

    assert shapely.union_all(circles).difference(found).area <= room
    # Between circles only slivers are missing: each is within the hull of its neighbours.
    hulls = shapely.convex_hull(shapely.union(circles[1:], circles[:-1]))

    assert found.difference(shapely.union_all(hulls)).area <= room
