"""A top that is not flat: how high it stands at every place, and in how many parts lines must go to follow it.

Between the columns and rows of a whole grid the height is bilinear, beyond them it goes on as the nearest cell slopes; through
other places lies a thin-plate spline.  This is the writer's notion of it; the dry run has one of its own, worked out apart.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from vcarve.job.surface import Surface
from vcarve.plane.arcs import lengths, points
from vcarve.plane.arrays import Floats, Ints

Top = Callable[[Floats], Floats]  # heights (...) in mm above where Z0 was set, at X and Y (..., 2) in mm

FOLLOW_MM = 0.005  # lines keep so near to the depth they are to have below the top
LOOK_MM = 2.0  # the top is looked at every so often along a line


@lru_cache(maxsize=8)
def top_of(surface: Surface) -> Top:
    """Return the heights of a top that was probed or measured."""
    from scipy.interpolate import RBFInterpolator, RegularGridInterpolator

    between: Callable[[Floats], Floats]
    if (grid := surface.grid) is not None:
        axes = grid.x_mm, grid.y_mm
        between = RegularGridInterpolator(axes, grid.height_mm.T, bounds_error=False, fill_value=None)
    else:
        places = surface.places_mm
        between = RBFInterpolator(places[:, :2], places[:, 2], kernel="thin_plate_spline", degree=1)

    def height(xy_mm: Floats) -> Floats:
        flat = np.reshape(xy_mm, (-1, 2))
        return np.asarray(between(flat) if len(flat) else flat[:, 0]).reshape(xy_mm.shape[:-1])

    return height


def parts_along(top: Top, curve: Floats) -> Ints:
    """Return in how many even parts curves (n, 5), see ``plane.arcs``, keep within ``FOLLOW_MM`` of a top, going straight in
    height from end to end of each."""
    length = lengths(curve)
    looks = 4 * 2 ** np.ceil(np.log2(np.maximum(length / (4.0 * LOOK_MM), 1.0))).astype(np.int64)
    count = np.ones(len(curve), np.int64)
    for many in np.unique(looks).tolist():
        rows = np.flatnonzero(looks == many)
        height = top(points(curve[rows][:, None], np.linspace(0.0, 1.0, many + 1)))
        parts = 1
        while len(rows) and parts < many:
            each = many // parts
            ends = height[:, ::each]
            straight = ends[:, :-1, None] + np.diff(ends)[:, :, None] * (np.arange(each) / each)
            off = np.abs(height[:, :-1] - straight.reshape(len(rows), many)).max(axis=1) > FOLLOW_MM
            rows, height, parts = rows[off], height[off], 2 * parts
            count[rows] = parts
    return count
