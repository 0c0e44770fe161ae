"""Stretches of edges: how much of an edge they cover together, and how much of each was covered before."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from vcarve.dryrun.coverage import again, union


def test_union_is_that_of_a_geometry_library() -> None:
    """The covered share of each edge is the length of shapely's union of its stretches."""
    rng = np.random.default_rng(5)
    edge = rng.integers(0, 30, 400)
    low = rng.uniform(0.0, 0.9, 400)
    high = np.minimum(low + rng.exponential(0.05, 400), 1.0)
    low[:5], high[:5] = 0.0, 1.0

    for e, share in enumerate(union(edge, low, high, 30)):
        lines = [
            shapely.LineString([(a, 0), (b, 0)]) for a, b in zip(low[edge == e], high[edge == e], strict=True)
        ]
        assert share == pytest.approx(shapely.union_all(lines).length, abs=1e-9)


@pytest.mark.parametrize("count", [5, 300])
def test_slopes_have_cut_no_deeper_than_their_shallow_ends(count: int) -> None:
    """However often an edge was walked between 0.5 and 1 mm deep, 1 mm is new to it and 0.5 mm is not."""
    low, high = np.zeros(count + 2), np.ones(count + 2)
    shallow = np.concatenate([np.full(count, 0.5), [1.0, 0.5]])
    deep = np.concatenate([np.full(count, 1.0), [1.0, 0.5]])
    share = again(np.zeros(count + 2, dtype=np.int64), np.arange(count + 2), low, high, shallow, deep, 1e-3)

    assert share.tolist() == [0.0] * (count + 1) + [1.0]


@pytest.mark.parametrize("count", [5, 300])
def test_a_second_walk_in_small_steps_is_all_again(count: int) -> None:
    """An edge walked in so many steps is new the first time, all again the second, and new again when walked deeper."""
    marks = np.linspace(0.0, 1.0, count + 1)
    low, high = np.tile(marks[:-1], 3), np.tile(marks[1:], 3)
    low, high = np.concatenate([low, [0.0]]), np.concatenate([high, [1.0]])
    depth = np.concatenate([np.full(2 * count, 1.0), np.full(count, 2.0), [1.5]])
    number = np.arange(3 * count + 1)
    share = again(np.zeros(3 * count + 1, dtype=np.int64), number, low, high, depth, depth, 1e-3)

    assert share[:count].sum() == 0.0
    assert share[count : 2 * count].sum() == pytest.approx(1.0, abs=1e-3)
    assert share[2 * count : 3 * count].sum() == 0.0
    assert share[-1] == pytest.approx(1.0, abs=1e-4)


def test_order_of_moves_decides_what_is_again() -> None:
    """Of two moves along one edge the later one goes again, however the stretches are listed, and edges do not mix."""
    edge = np.array([7, 3, 7])
    move = np.array([9, 1, 4])
    low, high = np.array([0.2, 0.0, 0.0]), np.array([1.0, 1.0, 0.5])
    depth = np.ones(3)

    assert again(edge, move, low, high, depth, depth, 1e-3) == pytest.approx([0.3, 0.0, 0.0])


def test_a_slope_counts_by_its_shallow_end_before_and_its_deep_end_after() -> None:
    """What was cut between 0.5 and 1 mm deep is new for a cut 0.8 mm deep, and old for one 0.5 mm deep."""
    edge, move = np.zeros(2, dtype=np.int64), np.arange(2)
    low, high = np.zeros(2), np.ones(2)

    for later, share in ((0.8, 0.0), (0.5, 1.0)):
        found = again(edge, move, low, high, np.array([0.5, later]), np.array([1.0, later]), 1e-3)
        assert found[1] == share
