"""Small jobs that several tests share: the smallest one a plan can be made for, and one as people write it.

The first one's machine is that of the 100 mm hemp leaf example: cut 600, plunge 200 mm/min, rapids 2000 and 1000 mm/min,
200 and 100 mm/s².  Its spindle starts at once, so that a program's time is that of its moves.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, TypeVar

from vcarve.errors import RefusedError
from vcarve.job.bench import Bit, Machine, Wood
from vcarve.job.document import parse_document
from vcarve.job.record import record_from
from vcarve.job.records import Job
from vcarve.job.sections import Feed, Groove, PatternChoice, Piece, Plan
from vcarve.pipeline import plan_program
from vcarve.run import DryRun, Made


def own_pattern(
    lines: str = "{from: [0, 0], to: [1, 0]}, {from: [0, 0], to: [0, 1]}",
    *,
    name: str = "own",
    kind: str = "square",
    a2: str = "[0, 1]",
    more: str = "",
) -> str:
    """Write a pattern file of one's own, its lines in line 7."""
    return f"""\
key: own
name: {name}
lattice: {{kind: {kind}, a1: [1, 0], a2: {a2}}}
group: p1
unit: side
pitch-range: [10 mm, 20 mm]
lines: [{lines}]
{more}"""


def own_job(
    pattern: str = "{name: own.yaml, pitch: 10 mm}",
    *,
    wide_mm: float = 40,
    high_mm: float = 30,
    piece: str = "",
    machine: str = "small-desktop",
) -> str:
    """Write a job file; its pattern lies beside it; ``piece`` holds further keys of the piece, each after a comma."""
    return f"""\
piece: {{width: {wide_mm} mm, height: {high_mm} mm, thickness: 8 mm, wood: maple-sugar{piece}}}
pattern: {pattern}
groove: {{depth: 0.5 mm}}
bit: v60-3.175
machine: {machine}
"""


def job_from(text: str, *sets: str, folder: str = ".", **machine: Any) -> Job:
    """Make the job that a file with this text in a folder would be; further keywords replace fields of its machine."""
    job = record_from(parse_document(text.encode(), file="job.yaml", folder=folder, sets=sets), Job)
    return on_machine(job, **machine) if machine else job


def on_machine(job: Job, **fields: Any) -> Job:
    """Return the job on a machine with some of its fields replaced."""
    return changed(job, "machine", **fields)


AnyRun = TypeVar("AnyRun", bound=DryRun)


def with_job(run: AnyRun, **fields: Any) -> AnyRun:
    """Return a dry run as if it were of another job: with some fields replaced, laid out as it was."""
    assert run.layout is not None
    return replace(run, layout=replace(run.layout, job=run.layout.job.model_copy(update=fields)))


def small_job(
    size_mm: float = 100.0, *, hop_mm: float = 5.0, step_mm: float = 9.0, recut: str = "allow", **machine: Any
) -> Job:
    """Make a job for a square piece, 2 mm deep; further keywords replace keys of the machine."""
    wood = {
        "title": "w",
        "chip-low": 0.01,
        "chip-high": 0.02,
        "plunge-share": 0.3,
        "step": 2,
        "tint": "#aabbcc",
    }
    return Job(
        piece=Piece(
            width_mm=size_mm,
            height_mm=size_mm,
            thickness_mm=12,
            wood=Wood.model_validate({"name": "w"} | wood),
        ),
        pattern=PatternChoice(name="asanoha", across=2),
        groove=Groove(depth_mm=2, step_mm=step_mm),
        bit=Bit(angle_deg=90, diameter_mm=6, shank_mm=3),
        machine=Machine.model_validate(
            {
                "name": "m",
                "title": "m",
                "travel": {"x": 9000, "y": 9000, "z": 60},
                "rapid": {"x": 2000, "y": 2000, "z": 1000},
                "acceleration": {"x": 200, "y": 200, "z": 100},
                "feed-max": {"x": 2000, "y": 2000, "z": 1000},
                "spindle": {"min": 1000, "max": 20000, "spin-up": 0},
                "collets": [3.175],
            }
            | {key.replace("_", "-"): value for key, value in machine.items()}
        ),
        feed=Feed(cut_mm_min=600, plunge_mm_min=200, spindle_rpm=12000),
        plan=Plan(recut=recut, hop_mm=hop_mm),
    )


def changed(job: Job, section: str, **fields: Any) -> Job:
    """Return the job with some fields of one of its sections replaced."""
    return job.model_copy(update={section: getattr(job, section).model_copy(update=fields)})


def make_program(job: Job) -> Made:
    """Make a job's program; raises RefusedError with every finding if it must not be cut."""
    made = plan_program(job)
    if made.refused:
        raise RefusedError(made.told)
    return made
