"""A region of the plane bounded by lines and arcs: a piece's outline, or the field inside its margin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, slots=True, kw_only=True)
class Ring:
    """A closed run of lines and arcs.

    ``xy_mm`` (n, 2) are its corners, ``bulge`` (n,) belongs to the side from corner ``i`` to corner ``i + 1`` (the last side
    returns to corner 0); see ``pattern.model.Line`` for the bulge.
    """

    xy_mm: npt.NDArray[np.float64]
    bulge: npt.NDArray[np.float64]

    def __post_init__(self) -> None:
        self.xy_mm.setflags(write=False)
        self.bulge.setflags(write=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """An outer ring, counter-clockwise, and the rings of its holes, clockwise.  Origin at the piece's centre."""

    outer: Ring
    holes: tuple[Ring, ...] = ()

    @property
    def rings(self) -> tuple[Ring, ...]:
        """The outer ring, then the holes."""
        return (self.outer, *self.holes)


def rectangle(width_mm: float, height_mm: float) -> Region:
    """Return the rectangle of this size about the origin."""
    x, y = width_mm / 2.0, height_mm / 2.0
    corners = np.array([(-x, -y), (x, -y), (x, y), (-x, y)])
    return Region(outer=Ring(xy_mm=corners, bulge=np.zeros(4)))
