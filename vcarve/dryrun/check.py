"""Every check of a program's moves, each with a stable code, a sentence and the line at fault (``codes`` lists them).

The checks know the text's moves, the machine, and, where there is a job, its piece, bit, clamps and lines; they know nothing of
how the program was planned or written.
"""

from __future__ import annotations

import shapely

from vcarve.dryrun.lines import line_findings
from vcarve.dryrun.piece import (
    clamp_findings,
    depth_findings,
    piece_findings,
    rapid_findings,
    surface_findings,
    upright_findings,
)
from vcarve.dryrun.safety import arc_findings, job_speed_findings, speed_findings, travel_findings
from vcarve.dryrun.setup import setup_of
from vcarve.dryrun.spindle import spindle_findings
from vcarve.dryrun.track import track
from vcarve.dryrun.words import (
    habit_findings,
    mode_findings,
    offset_findings,
    outside_findings,
    place_findings,
)
from vcarve.errors import Finding
from vcarve.groove.model import Grooves
from vcarve.job.bench import Machine
from vcarve.job.records import Job
from vcarve.network.model import Network
from vcarve.program.reader import Reading


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
    seen = track(reading.moves, setup_of(job), machine, (job or machine).figures)
    found = [
        *mode_findings(seen, machine.dialect),
        *offset_findings(seen),
        *place_findings(seen),
        *spindle_findings(seen, machine),
        *speed_findings(seen, machine),
        *travel_findings(seen, machine),
        *rapid_findings(seen, job),
        *habit_findings(seen),
        *arc_findings(seen),
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
    rounding = 0.75 * machine.last_decimal_mm
    if machine.arcs:
        return rounding + 1e-6
    return 2.0 * rounding + 1.1 * machine.arc_tolerance_mm + 1e-6
