"""Every check of a program's moves, each with a stable code, a sentence and the line at fault (``codes`` lists them).

The checks know the text's moves, the machine, and, where there is a job, its piece, bit, clamps and lines; they know nothing of
how the program was planned or written.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from vcarve.dryrun.known import place_findings
from vcarve.dryrun.lines import line_findings
from vcarve.dryrun.outside import outside_findings
from vcarve.dryrun.piece import (
    clamp_findings,
    depth_findings,
    piece_findings,
    rapid_findings,
    surface_findings,
    upright_findings,
)
from vcarve.dryrun.safety import (
    habit_findings,
    job_speed_findings,
    mode_findings,
    speed_findings,
    travel_findings,
)
from vcarve.dryrun.spindle import spindle_findings
from vcarve.dryrun.track import last_decimal_mm, track
from vcarve.errors import Finding
from vcarve.groove.model import Grooves
from vcarve.job.bench import Machine
from vcarve.job.records import Job
from vcarve.network.model import Network
from vcarve.program.reader import Reading

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placing:
    """Where the piece lies in work coordinates: those of its centre, and of its top."""

    x_mm: float
    y_mm: float
    top_mm: float

    def on_piece(self, work_mm: Floats) -> Floats:
        """Return places (n, 3) in piece coordinates: origin at the piece's centre, Z 0 at its top."""
        return np.asarray(work_mm - np.array([self.x_mm, self.y_mm, self.top_mm]))


def placing_of(job: Job) -> Placing:
    """Return where the job's zero puts the piece."""
    side_x = {"left": 0.5, "right": -0.5}.get(job.zero.xy.rpartition("-")[2], 0.0)
    side_y = {"front": 0.5, "back": -0.5}.get(job.zero.xy.partition("-")[0], 0.0)
    return Placing(
        x_mm=side_x * job.piece.width_mm,
        y_mm=side_y * job.piece.height_mm,
        top_mm=job.piece.thickness_mm if job.zero.z == "bed" else 0.0,
    )


def waiting_mm(machine: Machine, job: Job | None) -> tuple[float, float, float]:
    """Return where the bit is taken to wait before the program, in work coordinates: above the zero, at the safe height."""
    return 0.0, 0.0, (0.0 if job is None else placing_of(job).top_mm) + machine.safe_height_mm


def check(
    reading: Reading,
    *,
    machine: Machine,
    job: Job | None = None,
    network: Network | None = None,
    grooves: Grooves | None = None,
    outline: shapely.Polygon | None = None,
) -> tuple[Finding, ...]:
    """Return every finding of a program read without fault, in the order of its lines.

    Without a job the surface is taken to be at Z0.  ``outline`` is the piece's, in piece coordinates; without it the piece
    fills its width and height.
    """
    placing = Placing(x_mm=0.0, y_mm=0.0, top_mm=0.0) if job is None else placing_of(job)
    figures = (job or machine).figures
    seen = track(reading.moves, (-placing.x_mm, -placing.y_mm, -placing.top_mm), machine, figures)
    found = [
        *mode_findings(seen, machine.dialect),
        *place_findings(seen),
        *spindle_findings(seen, machine),
        *speed_findings(seen, machine),
        *travel_findings(seen, machine),
        *rapid_findings(seen, job),
        *habit_findings(seen),
    ]
    if job is None:
        found.extend(surface_findings(seen))
    else:
        found.extend(job_speed_findings(seen, job))
        found.extend(depth_findings(seen, job))
        found.extend(piece_findings(seen, job, outline))
        found.extend(clamp_findings(seen, job))
        if network is not None and grooves is not None:
            found.extend(upright_findings(seen))
            tolerance = place_tolerance_mm(machine)
            found.extend(line_findings(seen, network, grooves, job, tolerance))
    found.extend(outside_findings(seen, machine.dialect, found))
    return tuple(sorted(found, key=lambda finding: (finding.line or 0, finding.code)))


def place_tolerance_mm(machine: Machine) -> float:
    """Return how far a place in the text may be from the true one: rounding on both axes, and an arc's chords.

    Chords are rounded twice: the ends of the arc that they follow, and their own.
    """
    rounding = 0.75 * last_decimal_mm(machine)
    if machine.arcs:
        return rounding + 1e-6
    return 2.0 * rounding + 1.1 * machine.arc_tolerance_mm + 1e-6
