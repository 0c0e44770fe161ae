"""Lines and arcs against closed forms and shapely: whatever is asked of one is the same as of fine chords of it."""

from __future__ import annotations

import math
from itertools import pairwise

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
def curves(draw: st.DrawFn) -> np.ndarray:
    """Return a line or an arc of at least a tenth between its ends."""
    a = np.array([draw(COORDINATES), draw(COORDINATES)])
    b = np.array([draw(COORDINATES), draw(COORDINATES)])
    assume(math.dist(a, b) > 0.1)
    return np.array([*a, *b, draw(BULGES)])


def fine(curve: np.ndarray) -> shapely.LineString:
    """Return a line or arc as very many chords."""
    return shapely.LineString(arcs.points(curve, np.linspace(0.0, 1.0, FINE + 1)))


def largest(curve: np.ndarray) -> float:
    """Return the size of what is looked at: the chord, or the diameter."""
    return (
        float(np.hypot(*(curve[2:4] - curve[:2]))) if curve[4] == 0.0 else 2.0 * float(arcs.circles(curve)[1])
    )


def test_half_a_circle() -> None:
    """Closed form: from (1, 0) to (-1, 0) counter-clockwise, radius 1, by (0, 1), length pi, area pi / 2."""
    curve = np.array([1.0, 0.0, -1.0, 0.0, 1.0])

    assert arcs.lengths(curve) == pytest.approx(math.pi)
    assert arcs.circles(curve)[0] == pytest.approx([0.0, 0.0])
    assert arcs.circles(curve)[1] == pytest.approx(1.0)
    assert arcs.points(curve, 0.5) == pytest.approx([0.0, 1.0])
    assert arcs.directions(curve, 0.0) == pytest.approx([0.0, 1.0])
    assert arcs.middles(curve) == pytest.approx([0.0, 1.0])
    assert arcs.segment_areas(curve) == pytest.approx(math.pi / 2.0)
    assert arcs.boxes(curve) == pytest.approx([-1.0, 0.0, 1.0, 1.0])


def test_many_at_once_are_each_as_alone() -> None:
    """Rows of arrays are told apart: a line, a left and a right turn, more than half a circle."""
    curve = np.array([[0, 0, 4, 0, 0], [3, 1, 3, 4, 0.3], [-2, 5, 2, 5, -1], [1, 1, 2, 1, 2.5]])
    share = np.array([0.25, 0.5, 0.75, 0.9])

    together = [
        arcs.lengths(curve),
        arcs.points(curve, share),
        arcs.directions(curve, share),
        arcs.boxes(curve),
        arcs.segment_areas(curve),
    ]
    for k in range(4):
        alone = [
            arcs.lengths(curve[k]),
            arcs.points(curve[k], share[k]),
            arcs.directions(curve[k], share[k]),
            arcs.boxes(curve[k]),
            arcs.segment_areas(curve[k]),
        ]
        for one, row in zip(alone, together, strict=True):
            assert one == pytest.approx(row[k])


@settings(deadline=None)
@given(curve=curves(), share=SHARES)
def test_a_place_is_as_far_along_as_its_share(curve: np.ndarray, share: float) -> None:
    """Law: the part up to a share has that share of the length, ends at its place, and turns by its share of the angle."""
    place = arcs.points(curve, share)
    part = arcs.parts(curve, 0.0, share)
    size = largest(curve)

    assert part[:4].tolist() == [*curve[:2].tolist(), *place.tolist()]
    assert arcs.lengths(part) == pytest.approx(share * arcs.lengths(curve), rel=1e-6, abs=1e-6 * size)
    assert arcs.points(curve, 0.0).tolist() == curve[:2].tolist()
    assert arcs.points(curve, 1.0).tolist() == curve[2:4].tolist()
    assert arcs.shares(place, curve) == pytest.approx(share, abs=1e-6)


@settings(deadline=None)
@given(curve=curves())
def test_measures_are_those_of_fine_chords(curve: np.ndarray) -> None:
    """Law: length, box and area agree with shapely's of very many chords."""
    line, size = fine(curve), largest(curve)
    closed = shapely.Polygon(line.coords) if curve[4] != 0.0 else None

    assert arcs.lengths(curve) == pytest.approx(line.length, rel=1e-5)
    assert arcs.boxes(curve) == pytest.approx(line.bounds, abs=1e-5 * size)
    if closed is not None:
        signed = closed.area * (1.0 if curve[4] > 0.0 else -1.0)
        assert arcs.segment_areas(curve) == pytest.approx(signed, abs=1e-5 * size**2)


@settings(deadline=None)
@given(curve=curves(), x=COORDINATES, y=COORDINATES)
def test_the_nearest_place_is_shapelys(curve: np.ndarray, x: float, y: float) -> None:
    """Law: no place of the line or arc is nearer than the one found, and it is on it."""
    place = np.array([x, y])
    line, size = fine(curve), largest(curve)

    away = arcs.distances(place, curve)
    share, foot = arcs.nearest(place, curve)

    assert away == pytest.approx(line.distance(shapely.Point(place)), abs=1e-5 * size)
    assert away == pytest.approx(math.dist(foot, place), abs=1e-9 * size)
    assert foot == pytest.approx(arcs.points(curve, share))


@settings(deadline=None)
@given(curve=curves(), sag=st.floats(1e-3, 1.0))
def test_chords_stray_no_more_than_the_sag(curve: np.ndarray, sag: float) -> None:
    """Law: no chord stands off its arc by more than the sag, and no fewer chords would do, down to quarter turns."""
    spots, count = arcs.chords(curve[None], sag)
    ring = np.vstack([spots, curve[2:4]])
    middle = (ring[:-1] + ring[1:]) / 2.0

    stray = arcs.distances(middle, curve)

    assert len(spots) == count[0]
    assert spots[0].tolist() == curve[:2].tolist()
    quarter = np.abs(arcs.sweeps(curve)) / count[0] <= math.pi / 2.0 + 1e-9
    assert quarter
    assert (stray <= sag * (1.0 + 1e-6) + 1e-9).all()


@settings(deadline=None)
@given(curve=curves(), distance=st.floats(-3.0, 3.0), share=SHARES)
def test_a_moved_line_keeps_its_distance(curve: np.ndarray, distance: float, share: float) -> None:
    """Law: every place of the offset lies that far to the left of the place with the same share."""
    if curve[4] != 0.0:
        assume(float(arcs.circles(curve)[1]) > abs(distance) + 0.1)
    moved = arcs.offsets(curve, distance)

    here, there = arcs.points(curve, share), arcs.points(moved, share)
    aside = arcs.left(arcs.directions(curve, share))

    assert there == pytest.approx(here + distance * aside, abs=1e-9 * max(largest(curve), 100.0))


@settings(deadline=None)
@given(curve=curves(), share=SHARES)
def test_a_line_walked_back_has_the_same_places(curve: np.ndarray, share: float) -> None:
    """Law: what is turned about runs through the same places from its other end, and is itself again when turned twice."""
    back = arcs.turned(curve)

    assert arcs.points(back, 1.0 - share) == pytest.approx(
        arcs.points(curve, share), abs=1e-9 * max(largest(curve), 100.0)
    )
    assert arcs.turned(back).tolist() == curve.tolist()


@settings(deadline=None)
@given(curve=curves())
def test_halves_turn_by_half_a_circle_at_most(curve: np.ndarray) -> None:
    """Law: halves run on from each other along the same arc; what turns by less stays whole."""
    rows, source = arcs.halved(curve[None])

    assert len(rows) == (2 if abs(curve[4]) > 1.0 + 1e-9 else 1)
    assert source.tolist() == [0] * len(rows)
    assert rows[0, :2].tolist() == curve[:2].tolist()
    assert rows[-1, 2:4].tolist() == curve[2:4].tolist()
    assert rows[1:, :2].tolist() == rows[:-1, 2:4].tolist()
    assert np.abs(rows[:, 4]).max() <= 1.0 + 1e-9
    assert arcs.lengths(rows).sum() == pytest.approx(arcs.lengths(curve))


@settings(deadline=None)
@given(curve=curves(), stops=st.lists(SHARES, max_size=5))
def test_pieces_follow_each_other_and_join_again(curve: np.ndarray, stops: list[float]) -> None:
    """Law: a curve cut at shares is as long as its pieces together, and two pieces of less than half a circle are one again."""
    pieces = arcs.cut(curve, np.array(stops), 1e-3)

    assert arcs.lengths(pieces).sum() == pytest.approx(arcs.lengths(curve), rel=1e-9)
    assert pieces[1:, :2].tolist() == pieces[:-1, 2:4].tolist()
    assert arcs.lengths(pieces).min() >= 1e-3 * arcs.lengths(curve) * (1.0 - 1e-6)
    for first, second in pairwise(pieces):
        bulge = arcs.joined(first, second, 1e-6)
        if float(np.abs(arcs.sweeps(np.stack([first, second]))).sum()) < math.pi - 1e-3:
            whole = arcs.curves(first[:2], second[2:4], np.array(bulge))
            assert arcs.points(whole, 0.5) == pytest.approx(
                arcs.nearest(arcs.points(whole, 0.5), curve)[1], abs=1e-6 * max(largest(curve), 1.0)
            )


@pytest.mark.parametrize(
    ("second", "bulge"),
    [
        ((1, 0, 3, 0, 0), 0.0),
        ((1, 0, 0, 0, 0), None),
        ((1, 0, 2, 1, 0), None),
        ((1, 0, 2, 0, 0.1), None),
    ],
)
def test_only_what_goes_straight_on_joins(second: tuple[float, ...], bulge: float | None) -> None:
    """A line goes on in a line ahead of it, not back along itself, round a corner or in an arc."""
    assert arcs.joined(np.array([0.0, 0.0, 1.0, 0.0, 0.0]), np.array(second, dtype=float), 1e-9) == bulge


def test_two_quarters_are_half_a_circle() -> None:
    """Two quarter turns about one centre make a half circle exactly; a third is too much, and one that turns back is none."""
    quarter = math.tan(math.pi / 8.0)
    first, second = np.array([1.0, 0.0, 0.0, 1.0, quarter]), np.array([0.0, 1.0, -1.0, 0.0, quarter])

    assert arcs.joined(first, second, 1e-9) == 1.0
    assert (
        arcs.joined(np.array([1.0, 0.0, -1.0, 0.0, 1.0]), np.array([-1.0, 0.0, 0.0, -1.0, quarter]), 1e-9)
        is None
    )
    assert arcs.joined(first, np.array([0.0, 1.0, -1.0, 2.0, -quarter]), 1e-9) is None


@pytest.mark.parametrize("flip", [1.0, -1.0])
def test_a_mapped_arc_runs_through_its_mapped_places(flip: float) -> None:
    """Turned by 30 degrees, doubled, mirrored or not, and shifted: each place of the arc lies where its own image does."""
    matrix = 2.0 * np.array([[math.cos(math.pi / 6), math.sin(math.pi / 6)], [-0.5, math.cos(math.pi / 6)]])
    matrix[0] *= flip
    arc, share = np.array([[1.0, 2.0, 4.0, -1.0, 0.6]]), np.linspace(0.0, 1.0, 9)
    rows = np.repeat(arc, 9, axis=0)

    there = arcs.points(arcs.mapped(rows, matrix, (3.0, 5.0)), share)
    assert there == pytest.approx(arcs.points(rows, share) @ matrix + (3.0, 5.0))
