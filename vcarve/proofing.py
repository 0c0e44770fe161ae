"""The dry run of a program's text, with or without its job: read, judged, timed, carved and measured."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import NamedTuple, TypeVar

import numpy as np
import shapely

from vcarve.dryrun import clock
from vcarve.dryrun.before import cut_before, followed
from vcarve.dryrun.carve import MOST_PIXELS_ASKED, suitable_step_mm
from vcarve.dryrun.check import check, unsure
from vcarve.dryrun.measure import carved, measured, outline_carved, width_findings
from vcarve.dryrun.target import OutlineTarget, Target
from vcarve.dryrun.track import waiting_mm
from vcarve.errors import Finding, InputError, Problem
from vcarve.job.bench import Machine, file_of, is_file, load_machine, names
from vcarve.job.document import read_bytes
from vcarve.job.records import Job
from vcarve.layout.findings import job_findings
from vcarve.layout.stages import Layout, laid_out
from vcarve.plane.region import polygon
from vcarve.program.reader import Reading, read_program
from vcarve.quantity import format_mm
from vcarve.report import machine_in_header
from vcarve.run import DryRun

# Findings that rest on the machine's own figures.
OF_THE_MACHINE = {"feed-too-fast", "travel", "spindle-range", "spin-up"}
USUAL_MACHINE = "rs274-mill"  # where nobody names one
LARGEST_BYTES = 64 * 2**20  # a device or a pipe may have no end
HEADER_BYTES = 64 * 2**10  # the machine is named in so many first ones
NO_JOB = "Without its job (--job) the program's lines, depths, piece and clamps are not judged; the top is taken to be at Z0."


AnyRun = TypeVar("AnyRun", bound=DryRun)


def check_program(
    text: str | bytes,
    job: Job | Layout | None = None,
    *,
    machine: Machine | str | None = None,
    file: str | None = None,
    assumed: bool = False,
    rest_of: tuple[str, str | bytes] | None = None,
    cut_out: tuple[str, str | bytes] | None = None,
) -> DryRun:
    """Read a program as the mill would, judge and time it; with its job its lines, depths, piece and clamps as well.

    ``job`` may be laid out already.  Without one the program is judged for ``machine``, by name as in a job or a job's own; one
    that nobody names, or that is only ``assumed``, forbids nothing: what rests on its figures is a caution.  ``findings`` have
    a code, a sentence, the line, and the place in mm from the piece's centre; ``times`` are seconds.  ``rest_of`` names an
    earlier program, and is its text, where this one is its rest: what that had cut before the rest begins counts as cut.
    ``cut_out`` likewise is the program that cuts the job's piece out afterwards.  Raises
    InputError with every fault if a text cannot be read for the machine's controller, where it is no rest, and for an unknown
    machine.

    >>> made = vcarve.plan_program(vcarve.load_job("tile.yaml"))
    >>> run = vcarve.check_program(made.text, vcarve.load_job("tile.yaml", ["groove.depth=0.7"]))
    >>> run.refused, {finding.code for finding in run.findings}
    (True, {'wrong-depth'})
    """
    layout = None if job is None else laid_out(job)
    target = None if layout is None else target_of(layout)
    job = None if layout is None else layout.job
    assumed = assumed or (job is None and machine is None)
    if isinstance(machine, str):
        machine = load_machine(machine)
    machine = machine or load_machine(USUAL_MACHINE) if job is None else job.machine

    before = None
    if rest_of is not None:
        start = waiting_mm(machine, job)
        whole, rest = (
            read_program(one, dialect=machine.dialect, file=name, start_mm=start)
            for name, one in (rest_of, (file or "the program", text))
        )
        before = cut_before(whole.moves, rest.moves)
        if before is None:
            want = (
                "its last cuts are not those of the program that is to be its rest, from the same work zero"
            )
            raise InputError(Problem(file=rest_of[0], want=want))
        if doubts := unsure(whole, machine, target):
            of, want = partial(Problem, file=rest_of[0]), "So nobody can be sure of what it cut before."
            raise InputError([of(line=one.line, want=f"{one.sentence} {want}") for one in doubts])

    def read(*, block_delete: bool) -> tuple[Machine, Reading, tuple[Finding, ...]]:
        start = waiting_mm(machine, job)
        reading = read_program(
            text,
            dialect=machine.dialect,
            file=file or "the program",
            start_mm=start,
            block_delete=block_delete,
        )
        mill = _as_used(machine, reading) if assumed else machine
        findings = check(reading, mill, target, before)
        if assumed:
            resting = OF_THE_MACHINE if mill.spindle.programmed else OF_THE_MACHINE | {"spindle-off"}
            findings = tuple(replace(one, mild=True) if one.code in resting else one for one in findings)
        return mill, reading, findings

    mill, reading, findings = read(block_delete=True)
    if any(event.kind == "switched" for event in reading.moves.events):
        # The operator's switch decides what runs, and the text does not say how it stands.
        other = [one for one in read(block_delete=False)[2] if one not in findings]
        run = (replace(one, sentence=f"With the lines after / run: {one.sentence}") for one in other)
        findings = tuple(sorted((*findings, *run), key=lambda one: (one.line or 0, one.code)))
    times = clock.run(reading.moves, mill)
    if layout is not None and layout.job.cut_out and any(one.code == "other-job" for one in findings):
        round_it = check(reading, machine, outline_target_of(layout))
        if not any(one.code == "other-job" for one in round_it):
            hint = "It goes round the outline: give it as the job's cut-out, beside the program of its lines."
            findings = (Finding("other-job", hint), *(one for one in findings if one.code != "other-job"))
    known: tuple[Finding, ...] = (Finding("no-job", NO_JOB),)
    if layout is not None:
        known = job_findings(layout)
    proven = DryRun(
        reading=reading,
        times=times,
        machine=mill,
        findings=(*known, *findings),
        layout=layout,
        file=file,
        before=before,
    )
    if cut_out is None or layout is None:
        return proven
    name, data = cut_out
    out = read_program(data, dialect=machine.dialect, file=name, start_mm=waiting_mm(machine, job))
    found = check(out, machine, outline_target_of(layout))
    second = replace(
        proven, reading=out, times=clock.run(out.moves, machine), findings=found, file=name, before=None
    )
    return replace(proven, findings=(*proven.findings, *of_cut_out(found)), cut_out=second)


def target_of(layout: Layout) -> Target:
    """Return what a program for a job is judged by, of what was laid out for it."""
    return Target(layout.job, layout.network, layout.grooves, _stays(layout))


def outline_target_of(layout: Layout, neighbours: tuple[shapely.Polygon, ...] = ()) -> OutlineTarget:
    """Return what the program that cuts a job's piece out is judged by; ``neighbours`` are other pieces on the same board.

    Raises InputError for a job that cuts nothing out.
    """
    if layout.job.cut_out is None:
        raise InputError(Problem(key="cut-out", want="the job does not say how its piece is cut out"))
    return OutlineTarget(layout.job, layout.job.cut_out, _stays(layout), neighbours)


def _stays(layout: Layout) -> shapely.Polygon | shapely.MultiPolygon:
    """Return what is to stay of a board: the one piece, or all that are cut out of it."""
    pieces = [polygon(outline) for outline in layout.outlines]
    return pieces[0] if len(pieces) == 1 else shapely.MultiPolygon(pieces)


def of_cut_out(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings of a cut-out's program as they are told among those of the program before it."""
    where = ((one, "" if one.line is None else f", line {one.line}") for one in findings)
    return tuple(
        replace(one, line=None, sentence=f"In the cut-out{line}: {one.sentence}") for one, line in where
    )


def _as_used(machine: Machine, reading: Reading) -> Machine:
    """Return an assumed machine with a spindle that the program switches, where the program does."""
    switched = any(event.kind in ("spindle-cw", "spindle-ccw") for event in reading.moves.events)
    return machine.model_copy(update={"spindle": machine.spindle.model_copy(update={"programmed": switched})})


def fitting_step(job: Job, step_mm: float, *, key: str = "step_mm", value: str | None = None) -> None:
    """Raise ``InputError`` for a step of the carved surface that says nothing, or so fine that the piece would not fit memory."""
    wrong = partial(Problem, key=key, value=repr(step_mm) if value is None else value)
    if not 0.005 <= step_mm <= 2.0:
        raise InputError(wrong(want="give a grid between 0.005 mm and 2 mm"))
    size = job.piece.width_mm, job.piece.height_mm
    finest = suitable_step_mm(*size, finest_mm=step_mm, most_pixels=MOST_PIXELS_ASKED)
    if step_mm < finest - 1e-9:
        want = f"too fine for a piece of this size; {format_mm(finest)} is the finest that fits"
        raise InputError(wrong(want=want))


def carve_piece(run: AnyRun, *, step_mm: float | None = None, with_land: bool = False) -> AnyRun:
    """Return the dry run with its piece carved and measured, and with what that adds to the findings.

    ``surface`` has heights in mm, ``measured`` widths and depth, and ``with_land`` what is left between grooves.  Without a step
    the grid is the finest that fits memory, and grooves too narrow for it are measured on a finer one.  Without its job there
    is no piece to carve, and both stay ``None``.  Raises InputError for a step that cannot be.

    >>> run = vcarve.carve_piece(vcarve.plan_program(vcarve.load_job("tile.yaml")), step_mm=0.2)
    >>> run.surface.height_mm.shape, round(run.measured.deepest_mm, 3)
    ((450, 450), 0.8)
    """
    if run.layout is None:
        return run
    if step_mm is not None:
        fitting_step(run.layout.job, step_mm)
    target, moves = target_of(run.layout), run.reading.moves
    moves = moves if run.before is None else followed(run.before, moves)
    surface = carved(target, moves, step_mm)
    # Grooves are as wide as they are engraved: along the outline the end mill takes half of them away.
    facts = measured(target, moves, surface, with_land=with_land, finer=step_mm is None)
    found = [*run.findings, *width_findings(target, surface, facts, {one.code for one in run.findings})]
    found.sort(key=lambda one: one.line or 0)
    if run.cut_out is not None:
        out = outline_carved(outline_target_of(run.layout), run.cut_out.reading.moves, surface.step_mm)
        surface = replace(surface, height_mm=np.minimum(surface.height_mm, out.height_mm))
    return replace(run, findings=tuple(found), surface=surface, measured=facts)


def program_bytes(file: str) -> bytes:
    """Return what a program's file, or standard input, holds; raises InputError for what can be no program."""
    return plain_program(read_bytes(file, LARGEST_BYTES), file)


def plain_program(data: bytes, file: str) -> bytes:
    """Return the bytes of a program; raises InputError for what can be no program."""
    if len(data) > LARGEST_BYTES:
        most = f"programs of up to {LARGEST_BYTES // 2**20} MiB are taken"
        raise InputError(Problem(value=file, want=f"too large; {most}"))
    if not data.strip():
        raise InputError(Problem(value=file, want="the program is empty"))
    if b"\0" in data:
        line = data[: data.index(b"\0")].count(b"\n") + 1
        raise InputError(Problem(file=file, line=line, want="this is no text; give a program in RS-274"))
    return data


class Taken(NamedTuple):
    """The machine a program is judged for: how it was come by, its file, and whether nobody named it."""

    machine: Machine
    how: str = ""
    file: str | None = None
    assumed: bool = False


def machine_for(named: str | None, text: bytes, program: str) -> Taken:
    """Return the machine to judge a program for where there is no job."""
    if named is not None:
        return Taken(load_machine(named), f"{named}, as asked for", file_of("machine", named))
    name, dialect = machine_in_header(text[:HEADER_BYTES].decode("latin-1")) or (None, "")
    known = name in names("machine")
    beside = Path(program).parent / Path(name or "").name
    if name and (known or (is_file(name) and beside.is_file())):
        path = None if known else str(beside)
        return Taken(load_machine(path or name), f"{name}, which the program's header names", path)
    usual = load_machine(USUAL_MACHINE)
    if name is None:
        why = "since no header names one"
    else:
        usual = usual.model_copy(update={"dialect": dialect})
        why = f"with a controller for {dialect}, since the header's {name!r} is not here"
    how = f"{USUAL_MACHINE}, {why}; name yours with --machine, by its file's path if it is your own"
    return Taken(usual, how, assumed=True)
