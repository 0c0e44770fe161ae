"""Every check of a program's moves, each with a stable code, a sentence and the line at fault (``codes`` lists them).

The checks know the text's moves, the machine, and, where there is a job, its piece, bit, clamps and lines; they know nothing of
how the program was planned or written.
"""

from __future__ import annotations

from dataclasses import replace

from vcarve.dryrun import limits, lines, outline, piece, words
from vcarve.dryrun.before import followed
from vcarve.dryrun.target import Aim, OutlineTarget, Target
from vcarve.dryrun.track import track
from vcarve.errors import Finding, InternalError
from vcarve.job.bench import Machine
from vcarve.program.moves import Moves
from vcarve.program.reader import Reading

OF_EVERY_PROGRAM = (
    words.mode_findings,
    words.offset_findings,
    words.place_findings,
    limits.spindle_findings,
    limits.speed_findings,
    limits.travel_findings,
    piece.rapid_findings,
    words.habit_findings,
    limits.arc_findings,
)
BY_A_JOB = (
    limits.job_speed_findings,
    piece.depth_findings,
    piece.clamp_findings,
    piece.upright_findings,
)
# What leaves nobody sure of what a program has cut.
UNSURE = frozenset(
    {
        "units-unset", "modes-unset", "start-unknown", "offset-changed", "place-unknown", "machine-coordinates", "probe",
        "tool-change", "spindle-off", "block-delete",
    }
)  # fmt: skip


def unsure(reading: Reading, machine: Machine, target: Target | None) -> list[Finding]:
    """Return the findings that leave nobody sure of what a program has cut before its rest is run."""
    seen = track(reading.moves, machine, target)
    finders = (
        words.mode_findings, words.offset_findings, words.place_findings, words.habit_findings, limits.spindle_findings
    )  # fmt: skip
    found = [one for find in finders for one in find(seen) if one.severity == "refuse"]
    return [one for one in (*found, *words.outside_findings(seen, found)) if one.code in UNSURE]


def check_in_air(reading: Reading, machine: Machine, target: Target, height_mm: float) -> tuple[Finding, ...]:
    """Return the findings of a program that is only to show its way, so high above the piece's top and no lower.

    Raises InternalError where a move comes lower, or where the spindle turns.
    """
    seen = track(reading.moves, machine, target)
    if reading.moves.rpm.any() or (seen.low_mm[:, 2] < height_mm - 1e-6).any():
        raise InternalError(f"a program that is to stay {height_mm!r} mm above the piece does not.")
    finders = [find for find in OF_EVERY_PROGRAM if find is not piece.rapid_findings]
    found = [one for find in finders for one in find(seen)]
    found.extend(piece.clamp_findings(seen, target))
    return tuple(sorted(found, key=lambda finding: (finding.line or 0, finding.code)))


def check(
    reading: Reading, machine: Machine, target: Aim | None = None, before: Moves | None = None
) -> tuple[Finding, ...]:
    """Return every finding of a program read without fault, in the order of its lines.

    Without a target the surface is taken to be at Z0.  The moves that another program has cut ``before`` count for the lines.
    """
    seen = track(reading.moves, machine, target)
    found = [one for find in OF_EVERY_PROGRAM for one in find(seen)]
    if target is None:
        found.extend(piece.surface_findings(seen))
    else:
        found.extend(one for find in BY_A_JOB for one in find(seen, target))
    if isinstance(target, OutlineTarget):
        found.extend(outline.outline_findings(seen, target))
    elif target is not None:
        found.extend(piece.piece_findings(seen, target))
        whole = seen if before is None else track(followed(before, reading.moves), machine, target)
        found.extend(replace(one, line=one.line or None) for one in lines.line_findings(whole, target))
    found.extend(words.outside_findings(seen, found))
    return tuple(sorted(found, key=lambda finding: (finding.line or 0, finding.code)))
