"""Isometries, lattices and what they generate."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vcarve.pattern.symmetry import (
    MOST_MOVES,
    Lattice,
    closure,
    flips,
    glide,
    group_problem,
    mirror,
    rotation,
)

SQUARE = Lattice((1.0, 0.0), (0.0, 1.0))
TRIANGULAR = Lattice((1.0, 0.0), (0.5, math.sqrt(3) / 2))
RECTANGULAR = Lattice((2.0, 0.0), (0.0, 1.0))
RHOMBIC = Lattice((2.0, 1.0), (2.0, -1.0))
OBLIQUE = Lattice((1.0, 0.0), (0.3, 1.1))
ORIGIN = (0.0, 0.0)
X = mirror(ORIGIN, (1.0, 0.0))


def closed(operations, lattice):
    """Return all that moves of the plane generate, counted along the lattice."""
    return closure([lattice.counted(operation) for operation in operations])


def at(move, place):
    """Return where a move takes a place."""
    return tuple(place @ move[:2] + move[2])


@pytest.mark.parametrize(
    ("lattice", "kind"),
    [
        (SQUARE, "square"),
        (Lattice((1.0, 0.0), (7.0, 1.0)), "square"),
        (Lattice((1.0, 1.0), (1.0, -1.0)), "square"),
        (TRIANGULAR, "triangular"),
        (Lattice((math.sqrt(3), 0.0), (math.sqrt(3) / 2, 1.5)), "triangular"),
        (Lattice((math.sqrt(3) / 2, 0.5), (math.sqrt(3) / 2, -0.5)), "triangular"),
        (RECTANGULAR, "rectangular"),
        (RHOMBIC, "rhombic"),
        (Lattice((1.0, 0.0), (0.5, 1.0)), "rhombic"),
        (OBLIQUE, "oblique"),
    ],
)
def test_lattice_kind(lattice, kind):
    """The kind of a lattice does not depend on the vectors it is written with."""
    assert lattice.kind == kind


@pytest.mark.parametrize(
    ("operations", "lattice", "count"),
    [
        ((), OBLIQUE, 1),
        ((rotation(180.0),), OBLIQUE, 2),
        ((X,), RECTANGULAR, 2),
        ((rotation(180.0), X), RECTANGULAR, 4),
        ((rotation(90.0),), SQUARE, 4),
        ((rotation(90.0), X), SQUARE, 8),
        ((rotation(90.0), mirror((0.5, 0.0), (0.0, 0.5))), SQUARE, 8),
        ((rotation(120.0),), TRIANGULAR, 3),
        ((rotation(60.0), X), TRIANGULAR, 12),
        ((glide(ORIGIN, (1.0, 0.0)),), RECTANGULAR, 2),
    ],
)
def test_orders_of_the_plane_groups(operations, lattice, count):
    """The operations generate as many classes as the plane group has general positions (International Tables)."""
    assert len(closed(operations, lattice)) == count


@pytest.mark.parametrize(
    ("operation", "lattice"),
    [
        (rotation(60.0), SQUARE),
        (rotation(120.0), SQUARE),
        (rotation(90.0), TRIANGULAR),
        (rotation(90.0), RECTANGULAR),
        (X, OBLIQUE),
        (mirror(ORIGIN, (1.0, 1.0)), RECTANGULAR),
        (mirror(ORIGIN, (1.0, 0.2)), SQUARE),
    ],
)
def test_lattice_cannot_have_it(operation, lattice):
    """A symmetry that does not carry the lattice onto itself is refused."""
    assert lattice.counted(operation) is None


def test_runaway_operations_end():
    """Two centres that no lattice point explains would repeat the pattern without end."""
    assert len(closed((rotation(180.0), rotation(180.0, (0.0123, 0.0))), SQUARE)) > MOST_MOVES


@pytest.mark.parametrize(
    ("group", "lattice", "operations", "want"),
    [
        ("p6m", SQUARE, (), "needs a triangular lattice; this one is square"),
        ("p4m", TRIANGULAR, (), "needs a square lattice"),
        ("pgg", RHOMBIC, (), "needs a square or rectangular lattice"),
        ("p2", SQUARE, (rotation(90.0),), "turn the pattern by a step that p2 does not have"),
        ("p4", SQUARE, (X,), "p4 has no mirrors"),
    ],
)
def test_group_that_cannot_be(group, lattice, operations, want):
    """A declared group that lattice or operations contradict is answered with the reason."""
    assert want in str(group_problem(group, lattice.kind, closed(operations, lattice)))


def test_group_that_can_be():
    """A square lattice may carry a group of fewer symmetries."""
    assert group_problem("p4m", "square", closed((rotation(90.0), X), SQUARE)) is None
    assert group_problem("pmm", "square", closed((rotation(180.0), X), SQUARE)) is None


_COORDINATE = st.floats(-5, 5, allow_nan=False)
_POINT = st.tuples(_COORDINATE, _COORDINATE)
_MOVE = st.one_of(
    st.builds(rotation, st.sampled_from([60.0, 90.0, 120.0, 180.0, 45.0, 17.3]), _POINT),
    st.tuples(_POINT, _POINT).filter(lambda ends: math.dist(*ends) > 0.1).map(lambda ends: mirror(*ends)),
    st.tuples(_POINT, _POINT).filter(lambda ends: math.dist(*ends) > 0.1).map(lambda ends: glide(*ends)),
)


@settings(deadline=None, derandomize=True, max_examples=150)
@given(_MOVE, _MOVE, _POINT, _POINT)
def test_moves_keep_distances(first, second, p, q):
    """Distances are kept, by one after the other too, and hands are flipped by either or by neither."""
    there, then = at(second, at(first, p)), at(second, at(first, q))

    assert math.dist(there, then) == pytest.approx(math.dist(p, q), abs=1e-9)
    both = np.vstack([first[:2] @ second[:2], at(second, first[2])])
    assert at(both, p) == pytest.approx(there, abs=1e-9)
    assert flips(both) == (flips(first) != flips(second))


@pytest.mark.parametrize("lattice", [TRIANGULAR, RHOMBIC, OBLIQUE])
def test_a_move_is_counted_along_the_lattice_and_back(lattice):
    """Counted along the lattice the matrix is of whole numbers, and the move of the plane comes back."""
    turn = rotation(180.0, (0.3, -0.2))
    counted = lattice.counted(turn)

    assert counted[:2].tolist() == [[-1.0, 0.0], [0.0, -1.0]]
    assert lattice.plane(counted) == pytest.approx(turn, abs=1e-12)


@settings(deadline=None, derandomize=True, max_examples=150)
@given(_POINT, _POINT)
def test_mirror_fixes_its_line_and_undoes_itself(p, q):
    """Points of its line stay; a mirror done twice, and a glide's square less its shift twice, is nothing."""
    if math.dist(p, q) < 0.1:
        return
    flip = mirror(p, q)

    assert at(flip, p) == pytest.approx(p, abs=1e-9)
    assert at(flip, q) == pytest.approx(q, abs=1e-9)
    assert at(flip, at(flip, (1.0, 2.0))) == pytest.approx((1.0, 2.0), abs=1e-9)
    assert at(glide(p, q), p) == pytest.approx(q, abs=1e-9)
