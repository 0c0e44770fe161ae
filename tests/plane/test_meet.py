"""Where lines and arcs meet, against shapely's intersections of fine chords, and where they touch, run together or miss."""

from __future__ import annotations

import math
from itertools import combinations
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from vcarve.plane import arcs
from vcarve.plane.meet import clusters, meetings

TOLERANCE = 1e-6
COORDINATES = st.floats(-10.0, 10.0)
BULGES = st.one_of(st.just(0.0), st.floats(0.01, 4.0), st.floats(-4.0, -0.01))
CURVES = st.builds(
    lambda x, y, long, way, bulge: (x, y, x + long * math.cos(way), y + long * math.sin(way), bulge),
    COORDINATES,
    COORDINATES,
    st.floats(0.5, 20.0),
    st.floats(0.0, 2.0 * math.pi),
    BULGES,
)


def met(
    first: tuple[float, ...], second: tuple[float, ...], reach: float | None = None
) -> list[tuple[float, ...]]:
    """Return every meeting of two curves as (x, y, share of the first, share of the second), rounded."""
    found = meetings(np.array([first]), np.array([second]), TOLERANCE, reach)
    rows = np.column_stack([found.place, found.first, found.second])
    return [tuple(float(v) for v in np.round(row, 6)) for row in rows]


def test_a_cross() -> None:
    """Two lines cross half-way."""
    assert met((-1, 0, 1, 0, 0), (0, -1, 0, 1, 0)) == [(0.0, 0.0, 0.5, 0.5)]


def test_an_end_on_a_line_is_one_meeting() -> None:
    """A line that ends on another meets it once, at its end's own share."""
    assert met((-1, 0, 1, 0, 0), (0, 0, 0, 1, 0)) == [(0.0, 0.0, 0.5, 0.0)]


def test_lines_that_run_together_meet_at_each_others_ends() -> None:
    """What two lines share begins and ends at an end of one of them."""
    assert met((0, 0, 4, 0, 0), (1, 0, 6, 0, 0)) == [(1.0, 0.0, 0.25, 0.0), (4.0, 0.0, 1.0, 0.6)]


def test_a_line_through_a_circle() -> None:
    """The diameter of a half circle meets it at both ends; a line across meets it twice; one that touches once."""
    half = (1, 0, -1, 0, 1.0)

    assert met(half, (-2, 0.5, 2, 0.5, 0))[0][:2] == (round(-math.sqrt(0.75), 6), 0.5)
    assert len(met(half, (-2, 0.5, 2, 0.5, 0))) == 2
    assert met(half, (-2, 1, 2, 1, 0)) == [(0.0, 1.0, 0.5, 0.5)]
    assert met(half, (-2, 1.1, 2, 1.1, 0)) == []
    assert met(half, (-2, -0.5, 2, -0.5, 0)) == []


def test_circles_that_touch_from_within_and_without() -> None:
    """Circles that touch have one place, on the line through their centres; equal ones meet at each other's ends."""
    big, outside, inside = (2, 0, -2, 0, 1.0), (0, 2, 0, 4, 1.0), (0, 0, 0, 2, 1.0)

    assert met(big, outside) == [(0.0, 2.0, 0.5, 0.0)]
    assert met(big, inside) == [(0.0, 2.0, 0.5, 1.0)]
    assert met(big, (0, 2, 0, -2, 1.0)) == [(0.0, 2.0, 0.5, 0.0), (-2.0, 0.0, 1.0, 0.5)]


def test_reach_takes_ends_that_all_but_touch() -> None:
    """With a reach an end that close to the other curve lies on it; without it does not."""
    short = (0, 0.001, 0, 1, 0)

    assert met((-1, 0, 1, 0, 0), short) == []
    assert met((-1, 0, 1, 0, 0), short, 0.002) == [(0.0, 0.001, 0.5, 0.0)]


@pytest.mark.slow
@settings(deadline=None, max_examples=200)
@given(first=CURVES, second=CURVES)
def test_crossings_are_those_of_fine_chords(first: tuple[float, ...], second: tuple[float, ...]) -> None:
    """Law: wherever chords of two curves cross clearly there is a meeting, every meeting lies on both, and order is all one."""
    rows = np.array([first, second], dtype=float)
    found = meetings(rows[:1], rows[1:], TOLERANCE)
    share = np.linspace(0.0, 1.0, 1501)
    chains = [shapely.LineString(arcs.points(rows[k], share)) for k in (0, 1)]
    common = shapely.intersection(chains[0], chains[1])
    crossings = [part for part in shapely.get_parts(common) if part.geom_type == "Point"]

    for place, s, t in zip(found.place, found.first, found.second, strict=True):
        assert math.dist(place, arcs.points(rows[0], s)) <= 2 * TOLERANCE
        assert math.dist(place, arcs.points(rows[1], t)) <= 2 * TOLERANCE
    for crossing in crossings:
        gaps = [math.dist(place, (crossing.x, crossing.y)) for place in found.place]
        assert min(gaps, default=9.0) < 0.05 or _grazing(chains, crossing)
    turned = meetings(rows[1:], rows[:1], TOLERANCE)
    for these, those in ((turned, found), (found, turned)):
        for place in these.place:
            assert np.hypot(*(those.place - place).T).min(initial=9.0) <= 1e-3
    # Which of places about a tolerance apart count as one may hang on the order.
    if all(math.dist(a, b) > 10 * TOLERANCE for a, b in combinations(found.place, 2)):
        assert len(turned.place) == len(found.place)


def _grazing(chains: list[shapely.LineString], place: shapely.Point) -> bool:
    """Return whether two chains run so nearly alike at a place that chords may cross where the curves do not."""
    at = [
        chain.line_interpolate_point(chain.project(place) + step)
        for chain in chains
        for step in (-0.02, 0.02)
    ]
    u = np.subtract(at[1].coords[0], at[0].coords[0])
    v = np.subtract(at[3].coords[0], at[2].coords[0])
    return abs(u[0] * v[1] - u[1] * v[0]) < 0.05 * np.hypot(*u) * np.hypot(*v)


@settings(deadline=None, derandomize=True, max_examples=100)
@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 40)), min_size=1, max_size=40))
def test_clusters_are_the_parts_of_shapelys_union(spots: list[tuple[int, int]]) -> None:
    """Places within 1.5 of each other are of one cluster: discs half as wide, grown together, are its parts."""
    place = np.array(spots, dtype=float)
    first, cluster = clusters(place, 1.5)
    parts: Any = shapely.get_parts(
        shapely.unary_union(shapely.buffer(shapely.points(place), 0.76, quad_segs=32))
    )
    inside = shapely.intersects(parts[:, None], shapely.points(place)).argmax(axis=0)

    assert len(first) == len(parts)
    assert (first[cluster] == [np.flatnonzero(inside == part)[0] for part in inside]).all()
    assert (np.diff(first) > 0).all()


def test_on_a_torus_clusters_reach_over_its_seam() -> None:
    """Places at both ends of the box are one; without a box they are two."""
    place = np.array([(0.01, 0.5), (0.5, 0.5), (0.99, 0.5)])

    assert clusters(place, 0.05, np.ones(2))[1].tolist() == [0, 1, 0]
    assert clusters(place, 0.05)[1].tolist() == [0, 1, 2]
