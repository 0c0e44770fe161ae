"""Lines and arcs against closed forms and shapely: whatever is asked of one is the same as of fine chords of it."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from vcarve.plane import arcs

COORDINATES = st.floats(-100.0, 100.0)
BULGES = st.one_of(st.just(0.0), st.floats(-5.0, 5.0).filter(lambda b: abs(b) > 1e-4))
SHARES = st.floats(0.0, 1.0)
FINE = 2000  # chords that stand for an arc where shapely judges


@st.composite
def curves(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A line or an arc of at least a tenth between its ends."""
    a = np.array([draw(COORDINATES), draw(COORDINATES)])
    b = np.array([draw(COORDINATES), draw(COORDINATES)])
    assume(math.dist(a, b) > 0.1)
    return a, b, np.array(draw(BULGES))


def fine(a: np.ndarray, b: np.ndarray, bulge: np.ndarray) -> shapely.LineString:
    """A line or arc as very many chords."""
    return shapely.LineString(arcs.points(a, b, bulge, np.linspace(0.0, 1.0, FINE + 1)))


def largest(a: np.ndarray, b: np.ndarray, bulge: np.ndarray) -> float:
    """The size of what is looked at: the chord, or the diameter."""
    return float(np.hypot(*(b - a))) if bulge == 0.0 else 2.0 * float(arcs.circles(a, b, bulge)[1])


def test_half_a_circle() -> None:
    """Closed form: from (1, 0) to (-1, 0) counter-clockwise, radius 1, by (0, 1), length pi, area pi / 2."""
    a, b, bulge = np.array([1.0, 0.0]), np.array([-1.0, 0.0]), np.array(1.0)

    assert arcs.lengths(a, b, bulge) == pytest.approx(math.pi)
    assert arcs.circles(a, b, bulge)[0] == pytest.approx([0.0, 0.0])
    assert arcs.circles(a, b, bulge)[1] == pytest.approx(1.0)
    assert arcs.points(a, b, bulge, 0.5) == pytest.approx([0.0, 1.0])
    assert arcs.directions(a, b, bulge, 0.0) == pytest.approx([0.0, 1.0])
    assert arcs.middles(a, b, bulge) == pytest.approx([0.0, 1.0])
    assert arcs.segment_areas(a, b, bulge) == pytest.approx(math.pi / 2.0)
    assert np.concatenate(arcs.boxes(a, b, bulge)) == pytest.approx([-1.0, 0.0, 1.0, 1.0])


def test_many_at_once_are_each_as_alone() -> None:
    """Rows of arrays are told apart: a line, a left and a right turn, more than half a circle."""
    a = np.array([[0.0, 0.0], [3.0, 1.0], [-2.0, 5.0], [1.0, 1.0]])
    b = np.array([[4.0, 0.0], [3.0, 4.0], [2.0, 5.0], [2.0, 1.0]])
    bulge = np.array([0.0, 0.3, -1.0, 2.5])
    share = np.array([0.25, 0.5, 0.75, 0.9])

    together = [
        arcs.lengths(a, b, bulge),
        arcs.points(a, b, bulge, share),
        arcs.directions(a, b, bulge, share),
        *arcs.boxes(a, b, bulge),
        arcs.segment_areas(a, b, bulge),
    ]
    for k in range(4):
        alone = [
            arcs.lengths(a[k], b[k], bulge[k]),
            arcs.points(a[k], b[k], bulge[k], share[k]),
            arcs.directions(a[k], b[k], bulge[k], share[k]),
            *arcs.boxes(a[k], b[k], bulge[k]),
            arcs.segment_areas(a[k], b[k], bulge[k]),
        ]
        for one, row in zip(alone, together, strict=True):
            assert one == pytest.approx(row[k])


@settings(deadline=None)
@given(curve=curves(), share=SHARES)
def test_a_place_is_as_far_along_as_its_share(
    curve: tuple[np.ndarray, np.ndarray, np.ndarray], share: float
) -> None:
    """Law: the part up to a share has that share of the length, ends at its place, and turns by its share of the angle."""
    a, b, bulge = curve
    place = arcs.points(a, b, bulge, share)
    part = arcs.bulge_between(bulge, 0.0, share)
    size = largest(a, b, bulge)

    assert arcs.lengths(a, place, part) == pytest.approx(
        share * arcs.lengths(a, b, bulge), rel=1e-6, abs=1e-6 * size
    )
    assert arcs.points(a, b, bulge, 0.0).tolist() == a.tolist()
    assert arcs.points(a, b, bulge, 1.0) == pytest.approx(b, abs=1e-12 * max(size, 100.0))
    assert arcs.shares(place, a, b, bulge) == pytest.approx(share, abs=1e-6)


@settings(deadline=None)
@given(curve=curves())
def test_measures_are_those_of_fine_chords(curve: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    """Law: length, box and area agree with shapely's of very many chords."""
    a, b, bulge = curve
    line, size = fine(a, b, bulge), largest(a, b, bulge)
    low, high = arcs.boxes(a, b, bulge)
    closed = shapely.Polygon(line.coords) if bulge != 0.0 else None

    assert arcs.lengths(a, b, bulge) == pytest.approx(line.length, rel=1e-5)
    assert (*low, *high) == pytest.approx(line.bounds, abs=1e-5 * size)
    if closed is not None:
        signed = closed.area * (1.0 if bulge > 0.0 else -1.0)
        assert arcs.segment_areas(a, b, bulge) == pytest.approx(signed, abs=1e-5 * size**2)


@settings(deadline=None)
@given(curve=curves(), x=COORDINATES, y=COORDINATES)
def test_the_nearest_place_is_shapelys(
    curve: tuple[np.ndarray, np.ndarray, np.ndarray], x: float, y: float
) -> None:
    """Law: no place of the line or arc is nearer than the one found, and it is on it."""
    a, b, bulge = curve
    place = np.array([x, y])
    line, size = fine(a, b, bulge), largest(a, b, bulge)

    away = arcs.distances(place, a, b, bulge)
    share, foot = arcs.nearest(place, a, b, bulge)

    assert away == pytest.approx(line.distance(shapely.Point(place)), abs=1e-5 * size)
    assert away == pytest.approx(math.dist(foot, place), abs=1e-9 * size)
    assert foot == pytest.approx(arcs.points(a, b, bulge, share))


@settings(deadline=None)
@given(curve=curves(), sag=st.floats(1e-3, 1.0))
def test_chords_stray_no_more_than_the_sag(
    curve: tuple[np.ndarray, np.ndarray, np.ndarray], sag: float
) -> None:
    """Law: no chord stands off its arc by more than the sag, and no fewer chords would do, down to quarter turns."""
    a, b, bulge = curve
    spots, count = arcs.chords(a[None], b[None], bulge[None], sag)
    ring = np.vstack([spots, b])
    middle = (ring[:-1] + ring[1:]) / 2.0

    stray = arcs.distances(middle, a, b, bulge)

    assert len(spots) == count[0]
    assert spots[0].tolist() == a.tolist()
    quarter = np.abs(arcs.sweeps(bulge)) / count[0] <= math.pi / 2.0 + 1e-9
    assert quarter
    assert (stray <= sag * (1.0 + 1e-6) + 1e-9).all()


@settings(deadline=None)
@given(curve=curves(), distance=st.floats(-3.0, 3.0), share=SHARES)
def test_a_moved_line_keeps_its_distance(
    curve: tuple[np.ndarray, np.ndarray, np.ndarray], distance: float, share: float
) -> None:
    """Law: every place of the offset lies that far to the left of the place with the same share."""
    a, b, bulge = curve
    if bulge != 0.0:
        assume(float(arcs.circles(a, b, bulge)[1]) > abs(distance) + 0.1)
    c, d = arcs.offsets(a, b, bulge, distance)

    here, there = arcs.points(a, b, bulge, share), arcs.points(c, d, bulge, share)
    aside = arcs.left(arcs.directions(a, b, bulge, share))

    assert there == pytest.approx(here + distance * aside, abs=1e-9 * max(largest(a, b, bulge), 100.0))
