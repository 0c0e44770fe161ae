"""Where a piece's top is touched to tell how far from flat it is: a grid within its outline, clear of the clamps."""

from __future__ import annotations

import math

import numpy as np
import shapely

from vcarve.errors import InputError, Problem
from vcarve.job.records import Job
from vcarve.job.surface import LEAST_POINTS, MOST_POINTS
from vcarve.layout.stages import Layout
from vcarve.mount.flat import mount_of
from vcarve.plane.arrays import Bools, Floats
from vcarve.plane.region import polygon

# Between touches so far apart a board bowed by 0.3 mm over 100 mm is less than 0.005 mm off a straight line: 8 h p² / (8 L²).
APART_MM = 12.0
INSET_MM = 3.0  # from the piece's edge, which may be rounded over: common practice, no source
CLAMP_MM = 2.0  # between the bit and a clamp beside it


def probe_places(layout: Layout, apart_mm: float, inset_mm: float) -> Floats:
    """Return X and Y of the program (n, 2) in the order in which they are touched, to and fro.

    They lie along the piece's own axes, evenly and no farther apart than asked, so far inside the outline, and clear of clamps
    by more than the bit's radius.  Raises InputError where that leaves too few, or too many, and where the first touch, at the
    work zero, would not be on the piece or would meet a clamp.
    """
    job, mount = layout.job, mount_of(layout.job)
    if not shapely.dwithin(polygon(layout.field.outline), shapely.Point(mount.zero_mm), 1e-6):
        want = "the first touch is at X0 Y0, and there the piece has no top; set the zero on it, such as at its centre"
        raise InputError(Problem(key="zero.xy", value=job.zero.model_dump()["xy"], want=want))
    if not _clear(job, np.array([mount.zero_mm]))[0]:
        want = "the first touch is at X0 Y0, and a clamp is in the bit's way there; move it, or set the zero elsewhere"
        raise InputError(Problem(key="clamps", want=want))
    inner = shapely.buffer(polygon(layout.field.outline), -inset_mm)
    if inner.is_empty:
        raise _wrong("--inset", inset_mm, layout, "nothing is left of the piece so far inside its outline")
    left, front, right, back = inner.bounds
    count = [math.ceil(round(side / apart_mm, 6)) + 1 for side in (right - left, back - front)]
    if math.prod(count) > MOST_POINTS:
        least = max(math.sqrt((right - left) * (back - front) / MOST_POINTS), apart_mm * 1.1)
        give = f"give about {layout.job.figures.at_least(least)} or more"
        way = f"that is {math.prod(count)} places, and up to {MOST_POINTS} are taken; {give}"
        raise _wrong("--spacing", apart_mm, layout, way)
    x, y = np.meshgrid(np.linspace(left, right, max(count[0], 2)), np.linspace(front, back, max(count[1], 2)))
    x[1::2] = x[1::2, ::-1]
    places = np.column_stack([x.ravel(), y.ravel()])
    free = np.asarray(shapely.dwithin(shapely.points(places), inner, 1e-6))
    free &= _clear(job, places)
    if np.count_nonzero(free) < LEAST_POINTS:
        raise _wrong(
            "--spacing", apart_mm, layout, "fewer than three places are left on the piece; give less"
        )
    return np.column_stack(mount.axes_mm(*places[free].T))


def _clear(job: Job, places: Floats) -> Bools:
    """Tell of places on the piece (n, 2) whether the bit comes down there clear of every clamp."""
    wide = max(job.bit.diameter_mm, job.bit.shank_mm) / 2.0 + CLAMP_MM
    clamps = [shapely.box(x, y, x + width, y + height) for x, y, width, height in job.clamps_mm]
    away = [shapely.distance(shapely.points(places), clamp) > wide for clamp in clamps]
    return np.asarray(np.all([np.ones(len(places), np.bool_), *away], axis=0))


def _wrong(key: str, mm: float, layout: Layout, want: str) -> InputError:
    return InputError(Problem(key=key, value=layout.job.figures.length(mm), want=want))
