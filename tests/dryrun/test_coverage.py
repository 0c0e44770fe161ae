"""Stretches of edges: how much of an edge they cover together, and how much of each was covered before."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely

from vcarve.dryrun.coverage import Covered, again, union
from vcarve.plane.arrays import Floats


def stretches(edge: Any, move: Any, ends: Any, depth_mm: Any) -> Covered:
    """Return stretches whose depths are given for both ends, or one for both."""
    ends = np.array(ends, dtype=float)
    depth = np.array(depth_mm, dtype=float)
    depth = np.repeat(depth[:, None], 2, axis=1) if depth.ndim == 1 else depth
    edges = np.broadcast_to(np.asarray(edge, dtype=np.int64), len(ends))
    return Covered(edges, np.asarray(move), ends, depth, np.zeros(len(ends)))


def walked_again(*stretch: Any) -> Floats:
    """Return the share of its edge that each stretch goes again along, a micrometre deeper or less."""
    found = stretches(*stretch)
    return again(found, np.full(len(found.edge), 1e-3), np.zeros(len(found.edge)))[0]


def test_union_is_that_of_a_geometry_library() -> None:
    """The covered share of each edge is the length of shapely's union of its stretches."""
    rng = np.random.default_rng(5)
    edge = rng.integers(0, 30, 400)
    low = rng.uniform(0.0, 0.9, 400)
    ends = np.column_stack([low, np.minimum(low + rng.exponential(0.05, 400), 1.0)])
    ends[:5] = 0.0, 1.0

    for e, share in enumerate(union(edge, ends, 30)):
        lines = [shapely.LineString([(a, 0), (b, 0)]) for a, b in ends[edge == e].tolist()]
        assert share == pytest.approx(shapely.union_all(lines).length, abs=1e-9)


@pytest.mark.parametrize("count", [5, 300])
def test_slopes_have_cut_no_deeper_than_they_were(count: int) -> None:
    """However often an edge was walked from 0.5 to 1 mm deep, 1 mm all along is new to it and 0.5 mm is not."""
    depth = [(0.5, 1.0)] * count + [(1.0, 1.0), (0.5, 0.5)]
    share = walked_again(0, np.arange(count + 2), [(0, 1)] * (count + 2), depth)

    assert share.tolist() == [0.0] + [1.0] * (count - 1) + [0.0, 1.0]


@pytest.mark.parametrize("count", [5, 300])
def test_a_second_walk_in_small_steps_is_all_again(count: int) -> None:
    """An edge walked in so many steps is new the first time, all again the second, and new again when walked deeper."""
    marks = np.linspace(0.0, 1.0, count + 1)
    steps = np.column_stack([marks[:-1], marks[1:]])
    ends = np.concatenate([steps, steps, steps, [(0.0, 1.0)]])
    depth = np.concatenate([np.full(2 * count, 1.0), np.full(count, 2.0), [1.5]])
    share = walked_again(0, np.arange(3 * count + 1), ends, depth)

    assert share[:count].sum() == 0.0
    assert share[count : 2 * count].sum() == pytest.approx(1.0, abs=1e-3)
    assert share[2 * count : 3 * count].sum() == 0.0
    assert share[-1] == pytest.approx(1.0, abs=1e-4)


def test_order_of_moves_decides_what_is_again() -> None:
    """Of two moves along one edge the later one goes again, however the stretches are listed, and edges do not mix."""
    share = walked_again([7, 3, 7], [9, 1, 4], [(0.2, 1.0), (0.0, 1.0), (0.0, 0.5)], [1, 1, 1])

    assert share == pytest.approx([0.3, 0.0, 0.0])


@pytest.mark.parametrize(
    ("later", "share"),
    [
        ((0.8, 0.8), 0.0),  # deeper than the slope where that is shallow
        ((0.5, 0.5), 1.0),
        ((0.5, 1.0), 1.0),  # the same slope
        ((1.0, 0.5), 0.0),  # the other way
        ((0.0, 1.0), 1.0),  # nowhere deeper
        ((0.0, 1.1), 0.0),
    ],
)
def test_a_slope_goes_again_where_it_is_nowhere_deeper(later: tuple[float, float], share: float) -> None:
    """After a cut from 0.5 to 1 mm deep, what is no deeper at either end is no deeper between them."""
    assert walked_again(0, [0, 1], [(0, 1), (0, 1)], [(0.5, 1.0), later])[1] == share


def test_a_part_of_a_slope_goes_again_over_the_whole() -> None:
    """Half-way along a slope from 0 to 2 mm it is 1 mm deep: a part from there on is as deep, or deeper by more."""
    for depth, share in (((1.0, 2.0), 0.5), ((1.1, 2.0), 0.0)):
        assert walked_again(0, [0, 1], [(0, 1), (0.5, 1)], [(0.0, 2.0), depth])[1] == share


def test_how_much_deeper_a_walk_is_than_those_before() -> None:
    """Place by place: 1 mm where nothing was cut, what is left below a slope, and nothing for a gap shorter than is told."""
    found = stretches(
        [4, 4, 4, 4, 9],
        np.arange(5),
        [(0, 0.5), (0.5, 1), (0, 1), (0.4, 0.6), (0, 1)],
        [(1, 1), (0.0, 0.8), (1, 1), (3, 3), (0.5, 2)],
    )
    gap = stretches(4, [0, 1, 2], [(0, 0.499), (0.5, 1), (0, 1)], [1, 1, 1.5])

    deeper = again(found, np.full(5, 1e-3), np.full(5, 0.01))[1]
    assert deeper == pytest.approx([1.0, 0.8, 1.0, 2.0, 2.0])
    assert again(gap, np.full(3, 1e-3), np.full(3, 0.01))[1] == pytest.approx([1.0, 1.0, 0.5])
    assert again(gap, np.full(3, 1e-3), np.full(3, 1e-4))[1] == pytest.approx([1.0, 1.0, 1.5])
