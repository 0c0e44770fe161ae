"""Where the piece lies on the machine, as the dry run takes it from the job: the way back from the program's axes.

The writer has its own notion of the same (the mount), which this room never sees: a mistake in one of them is found.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from vcarve.job.bench import Machine
from vcarve.job.records import Job

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """How the piece is set up: where its centre and its top are in work coordinates."""

    x_mm: float = 0.0
    y_mm: float = 0.0
    top_mm: float = 0.0

    def on_piece(self, work_mm: Floats) -> Floats:
        """Return places (..., 3) in piece coordinates: origin at the piece's centre, Z 0 at its top."""
        return np.asarray(work_mm - np.array([self.x_mm, self.y_mm, self.top_mm]))


UNKNOWN = Setup()  # without a job: the top is taken to be at Z0


def setup_of(job: Job | None) -> Setup:
    """Return how the job's zero says that the piece is set up."""
    if job is None:
        return UNKNOWN
    side_x = {"left": 0.5, "right": -0.5}.get(job.zero.xy.rpartition("-")[2], 0.0)
    side_y = {"front": 0.5, "back": -0.5}.get(job.zero.xy.partition("-")[0], 0.0)
    return Setup(
        x_mm=side_x * job.piece.width_mm,
        y_mm=side_y * job.piece.height_mm,
        top_mm=job.piece.thickness_mm if job.zero.z == "bed" else 0.0,
    )


def waiting_mm(machine: Machine, job: Job | None) -> tuple[float, float, float]:
    """Return where the bit is taken to wait before the program, in work coordinates: above the zero, at the safe height."""
    return 0.0, 0.0, setup_of(job).top_mm + machine.safe_height_mm
