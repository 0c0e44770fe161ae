"""What a maker should look at in a pattern that reads well but may not be what was meant."""

from __future__ import annotations

import numpy as np

from vcarve.errors import Finding
from vcarve.pattern.group import group_name, repeats_sooner, symmetries
from vcarve.pattern.model import Pattern
from vcarve.pattern.symmetry import Lattice
from vcarve.pattern.unit import TOLERANCE, copies, woven
from vcarve.plane.arcs import curves, distances
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
        findings.append(
            Finding(
                "gap",
                f"the line that ends at ({x:.6g}, {y:.6g}) stops {gap:.2g} of the unit short of another line "
                f"({small} to {large} {figures.unit} on the piece), so a cell stays open; let both meet in the same point, "
                "written exactly",
            )
        )
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
        sentence = (
            "the pattern repeats sooner than its lattice says; a smaller unit cell would draw the same lines"
        )
        return [Finding("repeat", sentence)]
    group = group_name(found)
    if group == pattern.group:
        return []
    sentence = f"the file says the symmetry group is {pattern.group}, but the lines have {group}"
    return [Finding("group", sentence)]
