"""Moves made by hand, shared by the tests and benches of what carves, times and measures them."""

from __future__ import annotations

import math
from functools import partial
from typing import Any

import numpy as np
from scipy import ndimage

from vcarve.dryrun.carve import Surface
from vcarve.program.grammar import AXES
from vcarve.program.moves import Motion, Moves, Plane
from vcarve.program.reader import read_program

read_all = partial(read_program, strict=False)  # tells faults beside the moves, and never raises


def moves_of(start_mm: Any, end_mm: Any, **columns: Any) -> Moves:
    """Return moves from starts to ends (n, 3): straight feeds at 300 mm/min and 10000 rpm, where no column says otherwise.

    A column is given for each move, or as one value for all of them.
    """
    start, end = (np.array(ends, dtype=float).reshape(-1, 3) for ends in (start_mm, end_mm))
    n = len(start)
    usual: dict[str, tuple[tuple[int, ...], Any, Any]] = {
        "motion": ((n,), np.int8, Motion.FEED),
        "line": ((n,), np.int32, np.arange(1, n + 1)),
        "centre_mm": ((n, 3), np.float64, math.nan),
        "sweep_rad": ((n,), np.float64, 0.0),
        "plane": ((n,), np.int8, Plane.XY),
        "feed_mm_min": ((n,), np.float64, 300.0),
        "rpm": ((n,), np.float64, 10000.0),
        "machine": ((n,), np.bool_, False),
        "lost": ((n + 1, 3), np.bool_, False),
    }
    filled: dict[str, Any] = {
        name: np.broadcast_to(np.asarray(columns.pop(name, value)), shape).astype(kind)
        for name, (shape, kind, value) in usual.items()
    }
    return Moves(start_mm=start, end_mm=end, **filled, **{"axes": AXES, "events": (), "lines": n, **columns})


def height_at(surface: Surface, x_mm: Any, y_mm: Any) -> Any:
    """Return the surface's heights at places on it, bilinear between the centres of its pixels."""
    x, y = np.broadcast_arrays(np.atleast_1d(x_mm).astype(float), np.atleast_1d(y_mm).astype(float))
    at = [(y - surface.y0_mm) / surface.step_mm, (x - surface.x0_mm) / surface.step_mm]
    return ndimage.map_coordinates(surface.height_mm, at, order=1, mode="nearest").squeeze()[()]
