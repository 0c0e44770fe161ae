"""The plane group of a pattern's lines, found from the lines alone.

Every symmetry of the pattern carries its lattice onto itself, and every crossing, end and arc centre onto another of
its kind.  That leaves few candidates; each is tried on the whole line work.  Moves are counted along the shortest vectors of
the lattice here, see ``pattern.symmetry``.
"""

from __future__ import annotations

from itertools import product

import numpy as np

from vcarve.pattern.model import Pattern
from vcarve.pattern.symmetry import TOLERANCE, Lattice, flips
from vcarve.pattern.unit import covers_itself
from vcarve.plane.arcs import circles, directions, lengths, mapped, sweeps
from vcarve.plane.arrays import Bools, Floats

_SAME = 1e-6  # of a length: two features of one kind
_MATRICES = np.array(list(product((-1.0, 0.0, 1.0), repeat=4))).reshape(-1, 2, 2)


def symmetries(pattern: Pattern) -> Floats:
    """Return every move (n, 3, 2), one for each class modulo the lattice, that carries the lines onto themselves.

    Ground lines go to ground lines and leaf lines to leaf lines.  None where the lines have no crossing, end or
    centre to go by (parallel lines only).
    """
    lattice = pattern.cell.reduced()
    kinds = _features(pattern, lattice)
    found = [np.zeros((0, 3, 2))]
    rarest = min(kinds, key=len, default=np.zeros((0, 2)))
    # A matrix carries the lattice onto itself where it keeps the lengths of its vectors and the angle between them; along the
    # shortest ones none has larger numbers.
    inner = lattice.basis @ lattice.basis.T
    off = np.abs(_MATRICES @ inner @ _MATRICES.transpose(0, 2, 1) - inner).max(axis=(1, 2))
    for matrix in _MATRICES[off <= TOLERANCE * inner.max()]:
        turn = lattice.inverse @ matrix @ lattice.basis
        for shift in rarest - rarest[:1] @ turn:
            images = (_same(kind @ turn + shift, kind, lattice) for kind in kinds)
            if not all(image.any(axis=1).all() for image in images):
                continue
            if covers_itself(pattern.curves, pattern.feature, mapped(pattern.curves, turn, shift), lattice):
                found.append(np.vstack([matrix, shift @ lattice.inverse])[None])
    return np.concatenate(found)


def repeats_sooner(found: Floats) -> bool:
    """Return whether one of the symmetries is a plain shift that the lattice does not have."""
    shift = found[(found[:, :2] == np.eye(2)).all(axis=(1, 2)), 2]
    return bool((np.abs(shift - np.rint(shift)) > _SAME).any())


def group_name(found: Floats) -> str:
    """Return the short international symbol for all symmetries of a pattern whose lattice is as fine as can be.

    The rules are those of the International Tables for Crystallography (from memory): order of the highest rotation,
    then which of the reflections are true mirrors and how their axes lie to the shortest lattice vectors.
    """
    matrix, shift = found[flips(found), :2], found[flips(found), 2]
    order = len(found) - len(matrix)
    if not len(matrix):
        return f"p{order}"
    # A true mirror, with a shift of the lattice perhaps, is nothing where it is done twice.
    steps = np.array(list(product(range(-2, 3), repeat=2)))
    twice = ((shift - np.rint(shift))[:, None] + steps) @ (matrix + np.eye(2))
    true = (np.abs(twice) < _SAME).all(axis=2).any(axis=1)
    short = np.array([(1, 0), (0, 1), (1, -1)])[: 3 if order == 3 else 2]
    along = (short @ matrix == short).all(axis=2).any(axis=1)
    if order == 6:
        return "p6m"
    if order == 4:
        return "p4m" if (true & along).any() else "p4g"
    if order == 3:
        return "p31m" if along.any() else "p3m1"
    # Along the sides of an upright cell a mirror changes signs alone.
    centred = bool(((matrix[0] - np.eye(2)) % 2).any())
    if order == 1:
        return "cm" if centred else "pm" if true[0] else "pg"
    return "cmm" if centred else ("pgg", "pmg", "pmm")[int(true.sum())]


def _features(pattern: Pattern, lattice: Lattice) -> list[Floats]:
    """Return points (n, 2) that a symmetry must carry onto each other, kind by kind, each once modulo the lattice.

    Where just one line goes on as it was is none: it could lie anywhere on that line.
    """
    unit = pattern.unit_network
    curve, many = unit.curves(pattern.cell), len(unit.uv)
    at = np.concatenate([unit.tail, unit.head])
    bend = sweeps(curve) / lengths(curve) * lattice.size
    leaving = [np.vstack([directions(curve, 0.0), -directions(curve, 1.0)]), np.concatenate([bend, -bend])]
    off = [np.abs(np.bincount(at, weights=part, minlength=many)) for part in np.column_stack(leaving).T]
    degree = np.bincount(at, minlength=many)
    leaves = np.bincount(at, weights=np.tile(unit.feature, 2), minlength=many)
    met = (degree != 2) | (leaves == 1) | (np.max(off, axis=0) > _SAME)
    centre, radius = circles(curve[curve[:, 4] != 0.0])
    spot = np.vstack([(unit.uv @ pattern.cell.basis)[met], centre])
    kind = np.vstack(
        [
            np.column_stack([degree, leaves])[met],
            np.column_stack([np.full(len(radius), -1.0), np.rint(radius / lattice.size / _SAME)]),
        ]
    )
    kinds = [spot[(kind == one).all(axis=1)] for one in np.unique(kind, axis=0)]
    return [points[np.unique(_same(points, points, lattice).argmax(axis=1))] for points in kinds]


def _same(points: Floats, others: Floats, lattice: Lattice) -> Bools:
    """Tell which of other points (m, 2) each point (n, 2) is, but for a shift of the lattice, shape (n, m)."""
    return np.asarray(lattice.apart(points[:, None] - others) < _SAME * lattice.size)
