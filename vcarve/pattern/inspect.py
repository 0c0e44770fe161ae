"""What a maker should look at in a pattern that reads well but may not be what was meant; the plane group of its lines.

Every symmetry of the pattern carries its lattice onto itself, and every crossing, end and arc centre onto another of
its kind.  That leaves few candidates; each is tried on the whole line work.  Moves are counted along the shortest vectors of
the lattice here, see ``pattern.symmetry``.
"""

from __future__ import annotations

from itertools import product

import numpy as np

from vcarve.errors import Finding
from vcarve.pattern.model import Pattern
from vcarve.pattern.symmetry import TOLERANCE as EXACT
from vcarve.pattern.symmetry import Lattice, flips
from vcarve.pattern.unit import TOLERANCE, copies, covers_itself, woven
from vcarve.plane.arcs import circles, curves, directions, distances, lengths, mapped, sweeps
from vcarve.plane.arrays import Bools, Floats, Ints
from vcarve.quantity import MM, Figures

NEAR = 2.0e-3  # of the unit cell: ends this close were surely meant to meet (0.04 mm at 20 mm)
_MOST_SHOWN = 10
_MOST_LINES_GROUPED = 400  # beyond this the search for the group would take too long
_SAME = 1e-6  # of a length: two features of one kind
_MATRICES = np.array(list(product((-1.0, 0.0, 1.0), repeat=4))).reshape(-1, 2, 2)


def inspect(pattern: Pattern, figures: Figures = MM) -> tuple[Finding, ...]:
    """Return cautions about a pattern: ends that nearly meet, and a group or lattice that is not the lines' own.

    Codes: ``gap`` (the line ends close to another line or end without touching it), ``group`` (the lines have another
    symmetry than the file says), ``repeat`` (the pattern repeats sooner than its lattice).
    """
    return (*_gaps(pattern, figures), *_symmetry(pattern))


def _gaps(pattern: Pattern, figures: Figures) -> list[Finding]:
    lattice, curve = pattern.cell, pattern.curves
    web = woven(curve, np.zeros(len(curve), dtype=np.int64), lattice)
    xy = web.uv @ lattice.basis
    ends, gaps = _short_of_a_line(curve, xy, lattice)
    met = np.bincount(np.concatenate([web.tail, web.head]), minlength=len(xy))
    # One end for each gap, smallest gaps first: both sides of a gap were found.
    spots: list[tuple[Floats, float]] = []
    # Of both sides of a gap the one at which fewer lines meet, or the later one.
    for k in np.lexsort((-ends, met[ends], np.rint(gaps / lattice.size / TOLERANCE))).tolist():
        end = xy[ends[k]]
        if all(lattice.apart(spot - end) > 2.0 * NEAR * lattice.size for spot, _ in spots):
            spots.append((end, float(gaps[k])))
        if len(spots) > _MOST_SHOWN:
            break
    findings = []
    for (x, y), gap in spots[:_MOST_SHOWN]:
        small, large = (f"{gap * pitch / figures.unit_mm:.2g}" for pitch in pattern.pitch_mm)
        stops = f"the line that ends at ({x:.6g}, {y:.6g}) stops {gap:.2g} of the unit short of another line"
        apart = f"({small} to {large} {figures.unit} on the piece), so a cell stays open"
        cure = "let both meet in the same point, written exactly"
        findings.append(Finding("gap", f"{stops} {apart}; {cure}"))
    if len(spots) > _MOST_SHOWN:
        findings.append(Finding("gap", "more line ends nearly meet elsewhere"))
    return findings


def _short_of_a_line(curve: Floats, xy: Floats, lattice: Lattice) -> tuple[Ints, Floats]:
    """Return ends close to a line that they do not touch, and the distance."""
    near = NEAR * lattice.size
    ends, gaps = [np.zeros(0, dtype=np.int64)], [np.zeros(0)]
    spots = curves(xy, xy, np.zeros(len(xy)))
    for line, (end, moved) in zip(curve, copies(curve, spots, lattice, near), strict=True):
        gap = distances(moved[:, :2], line)
        found = (gap > TOLERANCE * lattice.size) & (gap < near)
        ends.append(end[found])
        gaps.append(gap[found])
    return np.concatenate(ends), np.concatenate(gaps)


def _symmetry(pattern: Pattern) -> list[Finding]:
    if len(pattern.curves) > _MOST_LINES_GROUPED or not len(found := symmetries(pattern)):
        return []
    if repeats_sooner(found):
        cure = "a smaller unit cell would draw the same lines"
        return [Finding("repeat", f"the pattern repeats sooner than its lattice says; {cure}")]
    group = group_name(found)
    if group == pattern.group:
        return []
    sentence = f"the file says the symmetry group is {pattern.group}, but the lines have {group}"
    return [Finding("group", sentence)]


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
    for matrix in _MATRICES[off <= EXACT * inner.max()]:
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
    round_ = np.column_stack([np.full(len(radius), -1.0), np.rint(radius / lattice.size / _SAME)])
    kind = np.vstack([np.column_stack([degree, leaves])[met], round_])
    kinds = [spot[(kind == one).all(axis=1)] for one in np.unique(kind, axis=0)]
    return [points[np.unique(_same(points, points, lattice).argmax(axis=1))] for points in kinds]


def _same(points: Floats, others: Floats, lattice: Lattice) -> Bools:
    """Tell which of other points (m, 2) each point (n, 2) is, but for a shift of the lattice, shape (n, m)."""
    return np.asarray(lattice.apart(points[:, None] - others) < _SAME * lattice.size)
