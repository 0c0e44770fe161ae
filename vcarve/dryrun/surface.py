"""The carved surface as a height map.

``height_mm[j, i]`` is the wood's height at the pixel's centre, ``x_mm[i]``, ``y_mm[j]`` in piece
coordinates: origin at the piece's centre, X to the right, Y to the back, so row 0 is the front edge.  0 is
the untouched top, what is cut is below 0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from vcarve.plane.arrays import Bools, Floats, ReadOnly

Heights = npt.NDArray[np.floating[Any]]

MOST_PIXELS = 40_000_000  # what a whole piece may take before a coarser step is chosen
MOST_PIXELS_ASKED = 100_000_000  # of a grid that is asked for: some 2 to 4 GB


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface(ReadOnly):
    """A height map (ny, nx), read-only; ``x0_mm``, ``y0_mm`` is the centre of pixel (0, 0)."""

    height_mm: Heights  # (ny, nx)
    step_mm: float
    x0_mm: float
    y0_mm: float

    @property
    def x_mm(self) -> Floats:
        """X of the pixel centres, shape (nx,)."""
        return self.x0_mm + self.step_mm * np.arange(self.height_mm.shape[1], dtype=np.float64)

    @property
    def y_mm(self) -> Floats:
        """Y of the pixel centres, shape (ny,)."""
        return self.y0_mm + self.step_mm * np.arange(self.height_mm.shape[0], dtype=np.float64)

    @property
    def removed_mm3(self) -> float:
        """Volume of the wood removed: every pixel stands for its square."""
        return -float(self.height_mm.sum(dtype=np.float64)) * self.step_mm**2

    @property
    def deepest_mm(self) -> float:
        """The deepest cut below the top, 0 or more."""
        return -float(self.height_mm.min(initial=0.0))

    def shows(self, place_mm: Floats) -> Bools:
        """Tell which of places (..., 2) are on the map."""
        at = (place_mm - [self.x0_mm, self.y0_mm]) / self.step_mm
        return np.asarray(((at >= -0.5) & (at <= np.array(self.height_mm.shape[::-1]) - 0.5)).all(axis=-1))

    def pixel(self, place_mm: Floats) -> tuple[Floats, Floats]:
        """Return height and centre of the pixel nearest to places (..., 2); the height is NaN off the map."""
        index = np.rint((place_mm - [self.x0_mm, self.y0_mm]) / self.step_mm).astype(np.int64)
        x, y = np.moveaxis(np.clip(index, 0, np.array(self.height_mm.shape[::-1]) - 1), -1, 0)
        height = np.where(self.shows(place_mm), self.height_mm[y, x].astype(np.float64), np.nan)
        return height, index * self.step_mm + [self.x0_mm, self.y0_mm]


def pixels(length_mm: float, step_mm: float) -> int:
    """How many pixels cover a length; the last half pixel may stand over the edge."""
    return max(math.ceil(length_mm / step_mm - 1e-6), 1)


def suitable_step_mm(
    width_mm: float, height_mm: float, *, finest_mm: float = 0.05, most_pixels: int = MOST_PIXELS
) -> float:
    """Return the finest step, doubled until the whole piece fits into ``most_pixels``."""
    step = finest_mm
    while pixels(width_mm, step) * pixels(height_mm, step) > most_pixels:
        step *= 2.0
    return step
