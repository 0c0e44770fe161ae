"""Choosing the pitch so that whole repeats fill the piece.

The rectangular repeat is the smallest upright rectangle after which the pattern repeats both ways: 1 by sqrt(3) for the
triangular lattice with a side along X.  Where the lattice is centred, a row begins at half its height too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vcarve.errors import InputError, Problem
from vcarve.pattern.model import Pattern
from vcarve.pattern.symmetry import TOLERANCE, Lattice
from vcarve.plane.arrays import Floats
from vcarve.quantity import MM, Figures, counted

_MOST_STEPS = 60  # lattice vectors tried along each axis
NOTHING_MM = 2.0e-3  # a remainder below this is none: at either end the network takes it for the edge itself
_STRETCH = 0.15  # a pitch this far from the wish is taken when it alone fills the height too
MOST_ACROSS = 1000
STRAIGHT = np.eye(2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """A pitch that fills the width with whole repeats.

    ``across`` and ``along`` count rectangular repeats over width and height, ``along`` in halves where the lattice
    is centred.  ``left_over_mm`` of the height is not filled by whole rows; half of it lies at either end.
    ``origin_mm`` (2,) is where to lay the pattern's own origin, from the piece's centre.
    """

    pitch_mm: float
    across: int
    along: float
    left_over_mm: float
    origin_mm: Floats
    repeat: float  # width of a rectangular repeat and height of a row, in pattern units
    row: float | None
    sentence: str


def rectangular_repeat(lattice: Lattice) -> tuple[float | None, float | None]:
    """Return width and height of the smallest upright rectangle that repeats a lattice.

    Either is ``None`` where the lattice has no vector straight along it: whole repeats can then never fill it.
    """
    steps = np.mgrid[-_MOST_STEPS : _MOST_STEPS + 1, -_MOST_STEPS : _MOST_STEPS + 1].reshape(2, -1).T
    places = np.abs(steps[steps.any(axis=1)] @ lattice.reduced().basis)
    along = [places[places[:, 1 - axis] < 1e-9 * lattice.size, axis].tolist() for axis in (0, 1)]
    return min(along[0], default=None), min(along[1], default=None)


def fit(
    pattern: Pattern,
    width_mm: float,
    height_mm: float,
    *,
    across: int | None = None,
    about_mm: float | None = None,
    what: str = "the piece",
    lies: Floats = STRAIGHT,
    figures: Figures = MM,
) -> Fit:
    """Return the pitch that fits the piece, from the repeats wanted across the width or from a wished pitch.

    One of ``across`` and ``about_mm`` is given; ``what`` is to be filled, in words; the matrix ``lies`` (2, 2) mirrors and turns
    the pattern.  Among the pitches near a wish one that fills the height too is preferred.  Raises ``InputError`` where no pitch
    fits.
    """
    *steps, corner = (np.array([*pattern.cell.basis, pattern.corner]) @ lies).tolist()
    lattice = Lattice(*map(tuple, steps))
    width, height = rectangular_repeat(lattice)
    key = "pattern.across" if about_mm is None else "pattern.pitch"
    if width is None:
        turned = ", turned as it is," if lies[0, 1] else ""
        way = "give a pitch instead" if about_mm is None else "give the pitch without 'about'"
        want = f"the lattice of {pattern.key}{turned} does not repeat along the width, so whole repeats cannot fill it; {way}"
        raise InputError(Problem(key=key, want=want))
    row = height
    if height is not None and lattice.apart(np.array([width, height]) / 2.0) < TOLERANCE:
        row = height / 2.0  # shifted sideways by half a repeat
    if about_mm is not None:
        across = _nearest(width_mm / width, about_mm, height_mm, row)
    assert across is not None
    if not 1 <= across <= MOST_ACROSS:
        want = f"write a whole number from 1 to {MOST_ACROSS}"
        if about_mm is not None:
            least = figures.at_least(width_mm / width / MOST_ACROSS, 3)
            want = f"more than {MOST_ACROSS} repeats across; a pitch of about {least} or more is possible"
        raise InputError(Problem(key=key, want=want))
    pitch = width_mm / (across * width)
    rows, left = _rows(height_mm, pitch, row)
    along = rows if row is None or height is None else rows * row / height
    block = np.array([width_mm, rows * (row or 0.0) * pitch])
    sentence = f"{pattern.name} at a pitch of {figures.length(pitch, trim=False)}"
    if about_mm is not None and not math.isclose(pitch, about_mm):
        sentence += f" (wished: about {figures.length(about_mm)})"
    sentence += f": {counted(across, 'repeat')} across"
    if left == 0.0:
        sentence += f" and {along:g} along fill {what} exactly"
    elif row is None:
        sentence += " the width exactly; the lattice does not repeat along the height"
    else:
        rest = f"{figures.length(left, 2, trim=False)} are left over, half at either end"
        sentence += f" the width exactly; along the height {along:g} fit and {rest}"
    return Fit(
        pitch_mm=pitch,
        across=across,
        along=along,
        left_over_mm=left,
        origin_mm=-block / 2.0 - np.array(corner) * pitch,
        repeat=width,
        row=row,
        sentence=sentence,
    )


def _rows(height_mm: float, pitch: float, row: float | None) -> tuple[int, float]:
    """Return how many whole rows the height holds and what is left over."""
    if row is None:
        return 0, height_mm
    rows = math.floor((height_mm + NOTHING_MM) / (row * pitch))
    left = height_mm - rows * row * pitch
    return rows, 0.0 if abs(left) < NOTHING_MM else left


def _nearest(single: float, about_mm: float, height_mm: float, row: float | None) -> int:
    """Return the repeats across whose pitch, ``single / repeats``, is nearest the wish."""
    wish = single / about_mm
    choices = [count for count in (math.floor(wish), math.floor(wish) + 1) if count >= 1]
    best = min(choices, key=lambda count: abs(single / count - about_mm))
    low, high = math.ceil(wish / (1.0 + _STRETCH)), math.floor(wish / (1.0 - _STRETCH))
    counts = range(max(1, low), min(high, MOST_ACROSS) + 1)
    held = ((count, *_rows(height_mm, single / count, row)) for count in counts)
    both = [count for count, rows, left in held if rows > 0 and left == 0.0]
    return min(both, key=lambda count: abs(single / count - about_mm), default=best)
