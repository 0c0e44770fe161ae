"""Isometries, lattices and what they generate."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vcarve.pattern.symmetry import (
    Isometry,
    Lattice,
    SymmetryError,
    closure,
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
    assert len(closure(operations, lattice)) == count


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
    assert not lattice.carried_by(operation)
    with pytest.raises(SymmetryError, match="cannot have"):
        closure((operation,), lattice)


def test_runaway_operations_are_refused():
    """Two centres that no lattice point explains would repeat the pattern without end."""
    with pytest.raises(SymmetryError, match="more finely"):
        closure((rotation(180.0), rotation(180.0, (0.0123, 0.0))), SQUARE)


def test_mirror_needs_a_line():
    """A mirror through one point given twice is refused."""
    with pytest.raises(SymmetryError, match="two different points"):
        mirror((1.0, 1.0), (1.0, 1.0))


@pytest.mark.parametrize(
    ("group", "lattice", "operations", "want"),
    [
        ("p6m", SQUARE, (), "needs a triangular lattice; this one is square"),
        ("p4m", TRIANGULAR, (), "needs a square lattice"),
        ("pgg", RHOMBIC, (), "needs a square or rectangular lattice"),
        ("p7", SQUARE, (), "no plane group of this name"),
        ("p2", SQUARE, (rotation(90.0),), "turn the pattern by a step that p2 does not have"),
        ("p4", SQUARE, (X,), "p4 has no mirrors"),
    ],
)
def test_group_that_cannot_be(group, lattice, operations, want):
    """A declared group that lattice or operations contradict is answered with the reason."""
    assert want in str(group_problem(group, lattice, operations))


def test_group_that_can_be():
    """A square lattice may carry a group of fewer symmetries."""
    assert group_problem("p4m", SQUARE, (rotation(90.0), X)) is None
    assert group_problem("pmm", SQUARE, (rotation(180.0), X)) is None


_COORDINATE = st.floats(-5, 5, allow_nan=False)
_POINT = st.tuples(_COORDINATE, _COORDINATE)
_MOVE = st.one_of(
    st.builds(rotation, st.sampled_from([60.0, 90.0, 120.0, 180.0, 45.0, 17.3]), _POINT),
    st.tuples(_POINT, _POINT).filter(lambda ends: math.dist(*ends) > 0.1).map(lambda ends: mirror(*ends)),
    st.tuples(_POINT, _POINT).filter(lambda ends: math.dist(*ends) > 0.1).map(lambda ends: glide(*ends)),
)


@settings(deadline=None, derandomize=True, max_examples=150)
@given(_MOVE, _MOVE, _POINT, _POINT)
def test_isometries_keep_distances_and_compose(first: Isometry, second: Isometry, p, q):
    """Distances are kept, and doing one after the other is their product."""
    both = second.after(first)

    assert math.dist(both(p), both(q)) == pytest.approx(math.dist(p, q), abs=1e-9)
    assert both(p) == pytest.approx(second(first(p)), abs=1e-9)
    assert both.flips == (first.flips != second.flips)


@settings(deadline=None, derandomize=True, max_examples=150)
@given(_POINT, _POINT)
def test_mirror_fixes_its_line_and_undoes_itself(p, q):
    """Points of its line stay; a mirror done twice, and a glide's square less its shift twice, is nothing."""
    if math.dist(p, q) < 0.1:
        return
    flip = mirror(p, q)

    assert flip(p) == pytest.approx(p, abs=1e-9)
    assert flip(q) == pytest.approx(q, abs=1e-9)
    assert flip(flip((1.0, 2.0))) == pytest.approx((1.0, 2.0), abs=1e-9)
    assert glide(p, q)(p) == pytest.approx(q, abs=1e-9)
