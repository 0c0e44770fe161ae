"""Laws every carved surface obeys, whatever the moves and the bit."""

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from made_moves import moves_of
from vcarve.dryrun.carve import carve
from vcarve.job.bench import Bit

LAWS = settings(deadline=None, derandomize=True, max_examples=40)

wide = st.integers(-500, 500).map(lambda n: n / 100)
high = st.integers(-200, 50).map(lambda n: n / 100)
level = st.tuples(wide, wide, wide, wide, high).map(lambda v: (v[0], v[1], v[4], v[2], v[3], v[4], 0.0))
sloping = st.tuples(wide, wide, high, wide, wide, high, st.just(0.0))
bent = st.tuples(wide, wide, high, st.floats(0.1, 4.0), st.floats(0.0, 6.2), st.floats(-6.2, 6.2)).map(
    lambda v: (
        v[0] + v[3] * math.cos(v[4]),
        v[1] + v[3] * math.sin(v[4]),
        v[2],
        v[0] + v[3] * math.cos(v[4] + v[5]),
        v[1] + v[3] * math.sin(v[4] + v[5]),
        v[2],
        v[5],
        v[0],
        v[1],
    )
)
strokes = st.lists(level | sloping | bent, min_size=1, max_size=6)
bits = st.builds(
    lambda angle, diameter, tip: Bit.model_validate(
        {"angle": float(angle), "diameter": diameter, "shank": 3.175, **tip}
    ),
    st.sampled_from([30, 60, 90, 120]),
    st.sampled_from([2.0, 3.175, 6.35]),
    st.sampled_from([{}, {"tip": 0.3}, {"tip-radius": 0.25}]),
)


def moves_from(rows):
    """Return moves from tuples of start, end, sweep and the centre's X and Y."""
    table = np.array([(*row, math.nan, math.nan)[:9] for row in rows], dtype=float)
    return moves_of(table[:, :3], table[:, 3:6], centre_mm=table[:, [7, 8, 2]], sweep_rad=table[:, 6])


def back(row):
    """Return a move the other way round."""
    return (*row[3:6], *row[:3], -row[6], *row[7:])


def heights(rows, tool):
    """Return the carved map of a small piece."""
    surface = carve(moves_from(rows), tool, width_mm=12, height_mm=12, step_mm=0.16, dtype=np.float64)
    return surface.height_mm


def same(one, other):
    """Assert equal heights; an upright wall may fall on either side of a pixel that lies exactly on it."""
    return np.count_nonzero(np.abs(one - other) > 1e-9) <= 2


@LAWS
@given(strokes, bits)
def test_direction_does_not_matter(rows, tool):
    """Every move run the other way leaves the same surface."""
    assert same(heights(rows, tool), heights([back(row) for row in rows], tool))


@LAWS
@given(strokes, bits, st.randoms(use_true_random=False))
def test_order_does_not_matter(rows, tool, random):
    """The same moves in any order, some of them again, leave the same surface."""
    mixed = [*rows, rows[0]]
    random.shuffle(mixed)

    assert same(heights(rows, tool), heights(mixed, tool))


@LAWS
@given(strokes, strokes, bits)
def test_more_moves_never_raise_the_surface(rows, more, tool):
    """Wood only goes away, and two programs leave the lower of their surfaces."""
    both = heights([*rows, *more], tool)

    assert (both <= heights(rows, tool) + 1e-9).all()
    assert same(both, np.minimum(heights(rows, tool), heights(more, tool)))


@LAWS
@given(st.lists(level | sloping, min_size=1, max_size=5), bits, st.floats(0.1, 0.9))
def test_parting_a_line_changes_nothing(rows, tool, share):
    """A straight move given as two leaves the same surface."""
    parted = []
    for row in rows:
        middle = tuple(a + (b - a) * share for a, b in zip(row[:3], row[3:6], strict=True))
        parted += [(*row[:3], *middle, 0.0), (*middle, *row[3:6], 0.0)]

    assert same(heights(rows, tool), heights(parted, tool))


@LAWS
@given(strokes, bits)
def test_never_deeper_than_the_moves(rows, tool):
    """No wood is cut deeper than the lowest place of the path, nor above the top."""
    lowest = min(min(row[2], row[5]) for row in rows)
    surface = heights(rows, tool)

    assert surface.min() >= min(lowest, 0.0) - 1e-9
    assert surface.max() <= 0.0
