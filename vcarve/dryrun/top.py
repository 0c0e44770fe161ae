"""A piece's top that is not flat, as the dry run believes it: from the same points as the program's, worked out by itself.

On a grid, between four points: ``a + b u + c v + d u v`` with the shares u and v of the way from one to the next, also beyond the
outermost.  Through other points: ``sum c r² log r`` and a plane, the c such that their sum and their moments vanish (the
surface that bends least, a thin-plate spline).  Plain arithmetic: the dry run shares no formula with what planned the cut.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from vcarve.job.surface import Surface
from vcarve.plane.arrays import Floats, Ints

# So far a program may be off its depth, between one place and the next; twice that in width at 90°.
FOLLOW_MM = 0.005
MAP_MM = 0.5  # heights of many pixels lie straight between places so near to each other
CHUNK = 1 << 21  # distances worked out together


@dataclass(frozen=True, slots=True, eq=False)
class Top:
    """How high a top stands above that at the work zero; X and Y are work coordinates."""

    surface: Surface
    weights: Floats  # of the points' terms, and of 1, X and Y; of no use on a grid

    def rise_mm(self, xy_mm: Floats) -> Floats:
        """Return heights (...) at places (..., 2)."""
        place = np.reshape(xy_mm, (-1, 2))
        if (grid := self.surface.grid) is not None:
            (i, u), (j, v) = _between(grid.x_mm, place[:, 0]), _between(grid.y_mm, place[:, 1])
            front, back = (
                (1.0 - u) * grid.height_mm[k, i] + u * grid.height_mm[k, i + 1] for k in (j, j + 1)
            )
            height = front + v * (back - front)
        else:
            many = max(CHUNK // len(self.weights), 1)
            parts = (place[k : k + many] for k in range(0, len(place), many))
            terms = (_terms(part, self.surface.places_mm[:, :2]) @ self.weights for part in parts)
            height = np.concatenate([*terms, place[:0, 0]])
        return np.asarray(height.reshape(np.shape(xy_mm)[:-1]))

    @property
    def highest_mm(self) -> float:
        """The highest of the points, and at least the zero's."""
        return max(float(self.surface.places_mm[:, 2].max()), 0.0)


def _between(marks: Floats, at: Floats) -> tuple[Ints, Floats]:
    """Return after which mark places lie, and their share of the way to the next."""
    index = np.clip(np.searchsorted(marks, at, side="right") - 1, 0, len(marks) - 2)
    return index, (at - marks[index]) / (marks[index + 1] - marks[index])


def _terms(place: Floats, points: Floats) -> Floats:
    """Return the terms (n, k + 3) of places (n, 2), in units of the points' own spread, which changes no surface."""
    spread, middle = float(np.ptp(points, axis=0).max()), points.mean(axis=0)
    near = ((place[:, None] - points) ** 2).sum(axis=-1) / spread**2
    bent = 0.5 * near * np.log(np.where(near > 0.0, near, 1.0))
    return np.hstack([bent, np.ones((len(place), 1)), (place - middle) / spread])


@lru_cache(maxsize=8)
def top_of(surface: Surface) -> Top:
    """Return the top that goes through the points of a surface."""
    places, count = surface.places_mm, len(surface.places_mm)
    terms = _terms(places[:, :2], places[:, :2])
    both = np.zeros((count + 3, count + 3))
    both[:count], both[count:, :count] = terms, terms[:, count:].T
    return Top(surface, np.asarray(np.linalg.solve(both, np.append(places[:, 2], np.zeros(3)))))
