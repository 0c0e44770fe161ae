"""Every check of a program's moves, each with a stable code, a sentence and the line at fault (``codes`` lists them).

The checks know the text's moves, the machine, and, where there is a job, its piece, bit, clamps and lines; they know nothing of
how the program was planned or written.
"""

from __future__ import annotations

from vcarve.dryrun.lines import line_findings
from vcarve.dryrun.machine import (
    arc_findings,
    job_speed_findings,
    speed_findings,
    spindle_findings,
    travel_findings,
)
from vcarve.dryrun.piece import (
    clamp_findings,
    depth_findings,
    piece_findings,
    rapid_findings,
    surface_findings,
    upright_findings,
)
from vcarve.dryrun.track import Target, track
from vcarve.dryrun.words import (
    habit_findings,
    mode_findings,
    offset_findings,
    outside_findings,
    place_findings,
)
from vcarve.errors import Finding
from vcarve.job.bench import Machine
from vcarve.program.reader import Reading

OF_EVERY_PROGRAM = (
    mode_findings,
    offset_findings,
    place_findings,
    spindle_findings,
    speed_findings,
    travel_findings,
    rapid_findings,
    habit_findings,
    arc_findings,
)
BY_A_JOB = (
    job_speed_findings,
    depth_findings,
    piece_findings,
    clamp_findings,
    upright_findings,
    line_findings,
)


def check(reading: Reading, machine: Machine, target: Target | None = None) -> tuple[Finding, ...]:
    """Return every finding of a program read without fault, in the order of its lines.

    Without a target the surface is taken to be at Z0.
    """
    seen = track(reading.moves, machine, target)
    found = [one for find in OF_EVERY_PROGRAM for one in find(seen)]
    if target is None:
        found.extend(surface_findings(seen))
    else:
        found.extend(one for find in BY_A_JOB for one in find(seen, target))
    found.extend(outside_findings(seen, found))
    return tuple(sorted(found, key=lambda finding: (finding.line or 0, finding.code)))
