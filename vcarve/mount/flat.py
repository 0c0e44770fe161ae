"""A flat piece on the table, straight or turned: its places become X, Y and Z of the program.

Piece coordinates have their origin at the piece's centre, X to the right, Y to the back, and depths count down from its top.
This is the writer's notion of where the work zero is; the dry run has one of its own, worked out apart from this.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vcarve.job.records import Job
from vcarve.plane.arrays import NM_PER_MM, Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class Mount:
    """How the piece lies under the machine; all in whole nanometres, as in the network."""

    zero_nm: tuple[int, int]  # the work zero on the piece
    top_nm: int  # Z of the piece's top
    turn_deg: float = 0.0  # of the piece about the work zero, counter-clockwise from above

    def axes_nm(self, x_nm: Ints, y_nm: Ints, depth_nm: Ints | int = 0) -> tuple[Ints, Ints, Ints]:
        """Return X, Y and Z of places on the piece, each of the arguments' shape; a negative depth is above the top."""
        x, y = x_nm - self.zero_nm[0], y_nm - self.zero_nm[1]
        if self.turn_deg:
            x, y = (np.rint(axis).astype(np.int64) for axis in self._turned(x, y))
        return x, y, np.broadcast_to(self.z_nm(depth_nm), x.shape)

    def z_nm(self, depth_nm: Ints | int) -> Ints | int:
        """Return Z at depths below the top, the same all over a flat piece."""
        return self.top_nm - depth_nm

    def axes_mm(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Return X and Y of one place on the piece, in millimetres, for sentences and figures."""
        zero_x, zero_y = self.zero_mm
        x, y = x_mm - zero_x, y_mm - zero_y
        return self._turned(x, y) if self.turn_deg else (x, y)

    def _turned(self, x: Any, y: Any) -> tuple[Any, Any]:
        """Return places turned about the work zero as the piece is."""
        turn = math.radians(self.turn_deg)
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
    return Mount(zero_nm=zero, top_nm=round(top * NM_PER_MM), turn_deg=job.zero.turn_deg)
