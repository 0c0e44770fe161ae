"""Where the piece lies on the machine, as the dry run takes it from the job: the way back from the program's axes.

The writer has its own notion of the same (the mount), which this room never sees: a mistake in one of them is found.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.job.bench import Axes, AxesAcceleration, AxesRate, Machine
from vcarve.job.records import Job
from vcarve.plane.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """How the piece is set up: where on it X and Y are zero, how high its top is, and how far it is turned there."""

    zero_mm: tuple[float, float] = (0.0, 0.0)
    top_mm: float = 0.0
    turn_deg: float = 0.0  # counter-clockwise from above

    def on_piece(self, work_mm: Floats) -> Floats:
        """Return places (..., 3) in piece coordinates: origin at the piece's centre, Z 0 at its top."""
        place = np.array(work_mm, dtype=float)
        if self.turn_deg:
            self._turn(place, -self.turn_deg)
        return np.asarray(place + np.array([*self.zero_mm, -self.top_mm]))

    def in_work(self, piece_mm: Floats) -> Floats:
        """Return places (..., 2) of the piece as they lie under the machine, X and Y in work coordinates."""
        place = np.asarray(piece_mm, dtype=float) - self.zero_mm
        self._turn(place, self.turn_deg)
        return place

    @staticmethod
    def _turn(place: Floats, turn_deg: float) -> None:
        seen = (place[..., 0] + 1j * place[..., 1]) * np.exp(1j * np.radians(turn_deg))
        place[..., 0], place[..., 1] = seen.real, seen.imag


UNKNOWN = Setup()  # without a job: the top is taken to be at Z0


def setup_of(job: Job | None) -> Setup:
    """Return how the job's zero says that the piece is set up."""
    if job is None:
        return UNKNOWN
    side_x = {"left": -0.5, "right": 0.5}.get(job.zero.xy.rpartition("-")[2], 0.0)
    side_y = {"front": -0.5, "back": 0.5}.get(job.zero.xy.partition("-")[0], 0.0)
    return Setup(
        zero_mm=(side_x * job.piece.width_mm, side_y * job.piece.height_mm),
        top_mm=job.piece.thickness_mm if job.zero.z == "bed" else 0.0,
        turn_deg=job.zero.turn_deg,
    )


def waiting_mm(machine: Machine, job: Job | None) -> tuple[float, float, float]:
    """Return where the bit is taken to wait before the program, in work coordinates: above the zero, at the safe height."""
    return 0.0, 0.0, setup_of(job).top_mm + machine.safe_height_mm


def per_axis(record: Axes | AxesRate | AxesAcceleration) -> Floats:
    """Return a machine's values for X, Y and Z."""
    return np.array([getattr(record, name) for name in type(record).model_fields], dtype=float)
