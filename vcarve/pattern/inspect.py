"""What a maker should look at in a pattern that reads well but may not be what was meant."""

from __future__ import annotations

from itertools import product

import numpy as np
from scipy.spatial import cKDTree

from vcarve.errors import Finding
from vcarve.pattern.group import group_name, repeats_sooner, symmetries
from vcarve.pattern.model import Pattern
from vcarve.pattern.symmetry import Lattice
from vcarve.pattern.unit import TOLERANCE, UnitNetwork, copies, woven
from vcarve.plane.arcs import curves, distances, size
from vcarve.plane.arrays import Floats, Ints
from vcarve.quantity import MM, Figures

NEAR = 2.0e-3  # of the unit cell: ends this close were surely meant to meet (0.04 mm at 20 mm)
_MOST_SHOWN = 10
_MOST_LINES_GROUPED = 400  # beyond this the search for the group would take too long


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
    found = _apart(web, xy, lattice), _beside(curve, xy, lattice)
    ends, gaps = (np.concatenate(both) for both in zip(*found, strict=True))
    spots: list[
        tuple[Floats, float]
    ] = []  # one end for each, smallest gaps first: both sides of a gap were found
    for k in np.argsort(gaps, kind="stable").tolist():
        end = xy[ends[k]]
        if all(lattice.apart(spot - end) > 2.0 * NEAR * lattice.size for spot, _ in spots):
            spots.append((end, float(gaps[k])))
        if len(spots) > _MOST_SHOWN:
            break
    findings = []
    for (x, y), gap in spots[:_MOST_SHOWN]:
        small, large = (f"{gap * pitch / figures.unit_mm:.2g}" for pitch in pattern.pitch_mm)
        findings.append(
            Finding(
                "gap",
                f"the line that ends at ({x:.6g}, {y:.6g}) stops {gap:.2g} of the unit short of another line "
                f"({small} to {large} {figures.unit} on the piece), so a cell stays open; let both meet in the same point, "
                "written exactly",
            )
        )
    if len(spots) > _MOST_SHOWN:
        sentence = "more line ends nearly meet elsewhere"
        findings.append(Finding("gap", sentence))
    return findings


def _apart(web: UnitNetwork, xy: Floats, lattice: Lattice) -> tuple[Ints, Floats]:
    """Return ends with another end close by, and the distance: of both the one at which fewer lines meet, or the later one."""
    met = np.bincount(np.concatenate([web.tail, web.head]), minlength=len(xy))
    shifts = np.array(list(product((-1.0, 0.0, 1.0), repeat=2))) @ lattice.basis
    around = cKDTree((xy + shifts[:, None]).reshape(-1, 2))
    near = cKDTree(xy).sparse_distance_matrix(around, NEAR * lattice.size, output_type="coo_matrix")
    end, other = near.row, near.col % len(xy)
    found = other > end
    end, other = end[found], other[found]
    return np.where(met[end] < met[other], end, other), near.data[found]


def _beside(curve: Floats, xy: Floats, lattice: Lattice) -> tuple[Ints, Floats]:
    """Return ends close beside the inside of a line, and the distance."""
    near = NEAR * lattice.size
    ends, gaps = [np.zeros(0, dtype=np.int64)], [np.zeros(0)]
    spots = curves(xy, xy, np.zeros(len(xy)))
    for line, (end, moved) in zip(curve, copies(curve, spots, lattice, near), strict=True):
        spot = moved[:, :2]
        gap = distances(spot, line)
        clear = np.minimum(size(spot - line[:2]), size(spot - line[2:4])) > near
        found = clear & (gap > TOLERANCE * lattice.size) & (gap < near)
        ends.append(end[found])
        gaps.append(gap[found])
    return np.concatenate(ends), np.concatenate(gaps)


def _symmetry(pattern: Pattern) -> list[Finding]:
    if len(pattern.curves) > _MOST_LINES_GROUPED or not len(found := symmetries(pattern)):
        return []
    if repeats_sooner(found):
        sentence = (
            "the pattern repeats sooner than its lattice says; a smaller unit cell would draw the same lines"
        )
        return [Finding("repeat", sentence)]
    group = group_name(found)
    if group == pattern.group:
        return []
    sentence = f"the file says the symmetry group is {pattern.group}, but the lines have {group}"
    return [Finding("group", sentence)]
