"""Where a piece's top is touched to tell how far from flat it is: a grid within its outline, clear of the clamps."""

from __future__ import annotations

import math

import numpy as np
import shapely

from vcarve.errors import InputError, Problem
from vcarve.job.surface import LEAST_POINTS, MOST_POINTS
from vcarve.layout.stages import Layout
from vcarve.mount.flat import mount_of
from vcarve.plane.arrays import Floats
from vcarve.plane.region import polygon

# Between touches so far apart a board bowed by 0.3 mm over 100 mm is less than 0.005 mm off a straight line: 8 h p² / (8 L²).
APART_MM = 12.0
INSET_MM = 3.0  # from the piece's edge, which may be rounded over: common practice, no source
CLAMP_MM = 2.0  # between the bit and a clamp beside it


def probe_places(layout: Layout, apart_mm: float, inset_mm: float) -> Floats:
    """Return X and Y of the program (n, 2) in the order in which they are touched, to and fro.

    They lie along the machine's axes, evenly and no farther apart than asked, so far inside the outline, and clear of clamps by
    more than the bit's radius.  Raises InputError where that leaves too few, or too many.
    """
    job, mount = layout.job, mount_of(layout.job)
    wide = max(job.bit.diameter_mm, job.bit.shank_mm) / 2.0 + CLAMP_MM
    inner = shapely.buffer(polygon(layout.field.outline), -inset_mm)
    under = shapely.transform(inner, lambda xy: np.column_stack(mount.axes_mm(*xy.T)))
    if under.is_empty:
        raise _wrong("--inset", inset_mm, layout, "nothing is left of the piece so far inside its outline")
    left, front, right, back = under.bounds
    count = [math.ceil(round(side / apart_mm, 6)) + 1 for side in (right - left, back - front)]
    if math.prod(count) > MOST_POINTS:
        least = max(math.sqrt((right - left) * (back - front) / MOST_POINTS), apart_mm * 1.1)
        give = f"give about {layout.job.figures.at_least(least)} or more"
        way = f"that is {math.prod(count)} places, and up to {MOST_POINTS} are taken; {give}"
        raise _wrong("--spacing", apart_mm, layout, way)
    x, y = np.meshgrid(np.linspace(left, right, max(count[0], 2)), np.linspace(front, back, max(count[1], 2)))
    x[1::2] = x[1::2, ::-1]
    places = np.column_stack([x.ravel(), y.ravel()])
    on = np.column_stack(mount.piece_mm(*places.T))
    free = np.asarray(shapely.dwithin(shapely.points(places), under, 1e-6))
    for x0, y0, width, height in job.clamps_mm:
        clamp = shapely.box(x0, y0, x0 + width, y0 + height)
        free &= np.asarray(shapely.distance(shapely.points(on), clamp) > wide)
    if np.count_nonzero(free) < LEAST_POINTS:
        raise _wrong(
            "--spacing", apart_mm, layout, "fewer than three places are left on the piece; give less"
        )
    return places[free]


def _wrong(key: str, mm: float, layout: Layout, want: str) -> InputError:
    return InputError(Problem(key=key, value=layout.job.figures.length(mm), want=want))
