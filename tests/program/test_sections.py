"""Sections of programs: each stands alone, so that a program can be begun at any pass and put together from several."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from small_job import changed, job_from
from vcarve.dryrun.check import check
from vcarve.dryrun.track import waiting_mm
from vcarve.errors import Finding
from vcarve.job.bench import names
from vcarve.job.records import Job
from vcarve.pipeline import plan_program
from vcarve.program.moves import Moves
from vcarve.program.reader import Reading, read_program
from vcarve.program.text import Move, Section, joined
from vcarve.program.writer import sections
from vcarve.proofing import target_of
from vcarve.run import Made


def small(machine: str, pattern: str, depth: str = "{depth: 0.6 mm}", zero: str = "{}") -> Job:
    """Return the job of a small piece."""
    text = f"""
piece: {{width: 30 mm, height: 24 mm, thickness: 8 mm, wood: maple-sugar}}
pattern: {pattern}
groove: {depth}
bit: {{angle: 60, diameter: 3.175, shank: 3.175}}
machine: {machine}
zero: {zero}
"""
    return job_from(text)


@cache
def made_of(machine: str, kind: str) -> tuple[Made, list[Section]]:
    """Return a small job's whole making, and its program in sections."""
    choices = {
        "lines": ("{name: asanoha, pitch: 12 mm}", "{depth: 0.6 mm}", "{}"),
        "arcs in levels": ("{name: seigaiha, pitch: 14 mm}", "{depth: 0.9 mm, step: 0.4 mm}", "{z: bed}"),
    }
    made = plan_program(small(machine, *choices[kind]))
    assert not made.refused
    return made, parts_of(made)


def parts_of(made: Made, first_pass: int = 0) -> list[Section]:
    """Return a program in sections, from a pass on."""
    return list(sections(made.job, made.cuts, made.plan, [("Mizo", "try")], first_pass))


def reading_of(text: str, job: Job) -> Reading:
    """Read a program as the dry run does."""
    return read_program(text, dialect=job.machine.dialect, start_mm=waiting_mm(job.machine, job))


def judged(reading: Reading, made: Made) -> tuple[Finding, ...]:
    """Return what is found of a program for what was made."""
    return check(reading, made.job.machine, target_of(made.layout))


def cuts(moves: Moves) -> list[list[float]]:
    """Return what is fed along in the program's order: kind, start, end, centre, feed."""
    rows = moves.motion != 0
    columns = (moves.start_mm, moves.end_mm, np.nan_to_num(moves.centre_mm))
    return np.column_stack(
        [moves.motion[rows], *(column[rows] for column in columns), moves.feed_mm_min[rows]]
    ).tolist()


@pytest.mark.slow
@pytest.mark.parametrize("machine", names("machine"))
@pytest.mark.parametrize("kind", ["lines", "arcs in levels"])
def test_a_program_begun_at_any_pass_cuts_exactly_the_rest(
    machine: str, kind: str, rs274: Callable[[str], Any]
) -> None:
    """Opening, operation, the passes from any on, closing: silent in the interpreter, safe, and the same cuts."""
    made, parts = made_of(machine, kind)
    whole = cuts(reading_of(joined(parts), made.job).moves)
    counts = []
    assert made.plan.passes > 2

    for first in range(made.plan.passes + 1):
        text = joined(parts_of(made, first))
        reading = reading_of(text, made.job)
        rest = cuts(reading.moves)
        counts.append(len(rest))

        # What was left out may have been the levels above those of a later pass.
        deep = {"step-too-deep"} if kind == "arcs in levels" else set()
        told = {one.code for one in judged(reading, made)}
        assert told <= ({"line-missed"} | deep if first else set())
        assert bool(told) == bool(first)
        assert rest == whole[len(whole) - len(rest) :]
        ran = rs274(text)
        assert (ran.accepted, ran.message) == (True, "")
    # Each pass leaves out at least one plunge and one cut, and after the last nothing is left.
    assert all(a - b >= 2 for a, b in pairwise(counts))
    assert counts[-1] == 0


@pytest.mark.slow
@pytest.mark.parametrize("machine", names("machine"))
def test_sections_of_several_jobs_make_one_program(machine: str, rs274: Callable[[str], Any]) -> None:
    """One opening, two operations with their passes, one closing: safe, and both are cut as they are alone."""
    made, lines = made_of(machine, "lines")
    other = plan_program(
        changed(made.job, "feed", spindle_rpm=0.9 * made.job.speeds.spindle_rpm, cut_mm_min=300.0)
    )
    again = parts_of(other)
    text = joined([*lines[:-1], *again[1:]])
    reading = reading_of(text, made.job)
    alone = [cuts(reading_of(joined(one), made.job).moves) for one in (lines, again)]

    assert cuts(reading.moves) == [*alone[0], *alone[1]]
    # The second cuts the lines of the first once more.
    assert {one.code for one in judged(reading, made) if one.severity == "refuse"} == {"cut-twice"}
    assert rs274(text).message == ""


def test_a_section_alone_says_all_its_words() -> None:
    """Where nothing is known of what went before, a pass begins with its motion, both axes, the height and the feed."""
    _, parts = made_of("small-desktop", "lines")
    lines = joined(parts[3:4]).splitlines()

    assert lines[0].startswith("(Pass 2 of")
    assert lines[1].startswith("G0 X")
    assert " Y" in lines[1]
    assert lines[2].startswith("Z")
    assert lines[3].startswith("G1 Z")
    assert " F" in lines[3]


def test_joining_leaves_out_words_in_force_and_nothing_else() -> None:
    """Motion, F and Z are written where they change; a move nowhere gets no line; lines of text stand as they are."""
    section = (
        "(note)",
        Move("G0", "X1 Y2"),
        Move("G0", z="5"),
        Move("G1", z="-1", feed="200"),
        Move("G0", z="-1"),
        Move("G1", "X3", z="-1", feed="200"),
        Move("G1", "X4", z="-0.5", feed="300"),
    )
    fresh = joined([section]).splitlines()
    again = joined([[Move("G1", "X0", z="4", feed="200"), Move("G0", z="5")], section]).splitlines()

    assert fresh == ["(note)", "G0 X1 Y2", "Z5", "G1 Z-1 F200", "X3", "X4 Z-0.5 F300"]
    assert again[2:] == ["(note)", "X1 Y2", "G1 Z-1", "X3", "X4 Z-0.5 F300"]
