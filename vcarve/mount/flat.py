"""A piece on the table, straight or turned, flat or not: its places become X, Y and Z of the program.

Piece coordinates have their origin at the piece's centre, X to the right, Y to the back, and depths count down from its top.
This is the writer's notion of where the work zero is; the dry run has one of its own, worked out apart from this.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, TypeVar

import numpy as np

from vcarve.job.records import Job
from vcarve.job.surface import Surface
from vcarve.mount.warped import Top, parts_along, top_of
from vcarve.plane.arrays import NM_PER_MM, Floats, Ints

Mm = TypeVar("Mm", float, Floats)  # one place, or many
LOOKS = 65  # along each side of the piece, where the highest place of its top is looked for


@dataclass(frozen=True, slots=True, kw_only=True)
class Mount:
    """How the piece lies under the machine; all in whole nanometres, as in the network."""

    zero_nm: tuple[int, int]  # the work zero on the piece
    top_nm: int  # Z of the piece's top
    turn_deg: float = 0.0  # of the piece about the work zero, counter-clockwise from above
    top: Top | None = None  # how high the top stands above that at the zero; ``None`` for a flat piece
    highest_nm: int = 0  # of it on the piece

    def across_nm(self, x_nm: Ints, y_nm: Ints) -> tuple[Ints, Ints]:
        """Return X and Y of places on the piece, each of the arguments' shape."""
        x, y = x_nm - self.zero_nm[0], y_nm - self.zero_nm[1]
        if self.turn_deg:
            x, y = (np.rint(axis).astype(np.int64) for axis in self._turned(x, y))
        return x, y

    def axes_nm(self, x_nm: Ints, y_nm: Ints, depth_nm: Ints) -> tuple[Ints, Ints, Ints]:
        """Return X, Y and Z of places on the piece, each of the arguments' shape; a negative depth is above the top."""
        x, y = self.across_nm(x_nm, y_nm)
        z = self.top_nm - depth_nm
        if self.top is not None:
            z += np.rint(self.top(np.stack([x, y], axis=-1) / NM_PER_MM) * NM_PER_MM).astype(np.int64)
        return x, y, z

    def rise_mm(self, work_mm: Floats) -> Floats:
        """Return how high the top stands above that at the zero at X and Y of the program (..., 2)."""
        return np.zeros(work_mm.shape[:-1]) if self.top is None else self.top(work_mm)

    def parts(self, curve: Floats) -> Ints:
        """Return in how many even parts lines and arcs of the program (n, 5) in mm follow the top."""
        return np.ones(len(curve), np.int64) if self.top is None else parts_along(self.top, curve)

    def clear_nm(self, above_nm: int) -> int:
        """Return Z so high above the highest place of the top."""
        return self.top_nm + self.highest_nm + above_nm

    def axes_mm(self, x_mm: Mm, y_mm: Mm) -> tuple[Mm, Mm]:
        """Return X and Y of places on the piece, in millimetres, for sentences and figures."""
        zero_x, zero_y = self.zero_mm
        x, y = x_mm - zero_x, y_mm - zero_y
        return self._turned(x, y) if self.turn_deg else (x, y)

    def piece_mm(self, x_mm: Mm, y_mm: Mm) -> tuple[Mm, Mm]:
        """Return where on the piece X and Y of the program are: the way back from :meth:`axes_mm`."""
        x, y = self._turned(x_mm, y_mm, -1.0)
        return x + self.zero_mm[0], y + self.zero_mm[1]

    def _turned(self, x: Any, y: Any, way: float = 1.0) -> tuple[Any, Any]:
        """Return places turned about the work zero as the piece is, or back."""
        turn = way * math.radians(self.turn_deg)
        return x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn)

    @property
    def zero_mm(self) -> tuple[float, float]:
        """The work zero in piece coordinates."""
        return self.zero_nm[0] / NM_PER_MM, self.zero_nm[1] / NM_PER_MM


def mount_of(job: Job) -> Mount:
    """Return how the job's piece lies: its zero at a corner or the centre, on its top or the bed, its turn about that zero."""
    half_w, half_h = (round(side / 2.0 * NM_PER_MM) for side in (job.piece.width_mm, job.piece.height_mm))
    zero = {
        "front-left": (-half_w, -half_h),
        "front-right": (half_w, -half_h),
        "back-left": (-half_w, half_h),
        "back-right": (half_w, half_h),
        "centre": (0, 0),
    }[job.zero.xy]
    top = job.piece.thickness_mm if job.zero.z == "bed" else 0.0
    flat = Mount(zero_nm=zero, top_nm=round(top * NM_PER_MM), turn_deg=job.zero.turn_deg)
    return flat if job.surface is None else _warped(flat, job.surface, half_w, half_h)


@lru_cache(maxsize=8)
def _warped(flat: Mount, surface: Surface, half_w: int, half_h: int) -> Mount:
    """Return how a piece lies whose top is not flat; its highest place is looked for all over the piece."""
    top, across = top_of(surface), np.linspace(-1.0, 1.0, LOOKS)
    x, y = (ax.astype(np.int64) for ax in np.meshgrid(half_w * across, half_h * across))
    there = np.stack(flat.across_nm(x, y), axis=-1) / NM_PER_MM
    highest = max(float(top(there).max()), float(surface.places_mm[:, 2].max()), 0.0)
    return replace(flat, top=top, highest_nm=round(highest * NM_PER_MM))
