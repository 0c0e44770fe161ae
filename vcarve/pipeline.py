"""One function per command: the rooms put together, no files and no printing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from vcarve.cuts.grooves import groove_cuts, most_cuts
from vcarve.cuts.model import Cuts
from vcarve.dryrun import clock
from vcarve.dryrun.check import check
from vcarve.dryrun.track import waiting_mm
from vcarve.errors import Finding, InputError, Problem, RefusedError
from vcarve.job.document import placed
from vcarve.job.records import Job
from vcarve.layout.findings import job_findings
from vcarve.layout.proposals import proposals
from vcarve.layout.stages import Layout, laid_out
from vcarve.plan.model import Plan
from vcarve.plan.planner import candidates
from vcarve.program.reader import read_program
from vcarve.program.writer import write
from vcarve.proofing import target_of
from vcarve.report import header
from vcarve.run import Made

CUTS_MOST = 1_000_000  # lines, or parts of lines that slope, times levels
TIE = 1e-9  # shares of a program's time that nobody could tell apart

Progress = Callable[[str, float], None]


def plan_program(given: Job | Layout, progress: Progress | None = None) -> Made:
    """Plan the order in which a job, laid out already or not, is cut, make its program, and dry-run the text.

    Whatever is found: what must not be cut can still be looked at.  ``plan`` has the order, its lengths in mm and its proof,
    ``times`` the running time in seconds.  ``progress`` is told each stage and the share of the whole that is done.  Raises
    InputError for what cannot be laid out or is too much.

    >>> made = vcarve.plan_program(vcarve.load_job("tile.yaml"))
    >>> made.refused, made.plan.passes, round(made.plan.cut_mm, 1), round(made.times.total_s / 60)
    (False, 36, 3330.4, 8)
    """
    tell = progress or (lambda stage, share: None)
    tell("laying out", 0.0)
    layout = laid_out(given)
    job = layout.job
    proposed = proposals(layout, lambda share: tell("trying other fits", 0.1 + 0.1 * share))
    known = job_findings(layout)
    tell("planning", 0.2)
    # Levels too thin to be told apart are without number; drawn as one, the job can be looked at.
    drawn = layout
    if any(finding.code == "step-too-small" for finding in known):
        groove = job.groove.model_copy(update={"step_mm": layout.deepest_mm})
        drawn = replace(layout, job=job.model_copy(update={"groove": groove}))
    with placed(job.document):
        _refuse_too_many_cuts(drawn)
    cuts, rings = groove_cuts(layout.network, layout.grooves.ends_depth_mm, drawn.job.step_mm)
    plans = candidates(cuts, job, rings, progress=lambda stage, share: tell(stage, 0.2 + 0.5 * share))
    tell("writing", 0.7)
    # The planner only estimates what accelerations cost; the clock of the dry run decides, and between ties fewer lifts.
    tried = [_written(layout, cuts, plan, known) for plan in plans]
    least = min(made.times.total_s for made in tried)
    made = min(
        (made for made in tried if made.times.total_s <= least * (1.0 + TIE)),
        key=lambda made: made.plan.lifts,
    )
    tell("dry run", 0.8)
    found = check(made.reading, job.machine, target_of(drawn))
    # What is refused of the whole job is true of each of its lines; what has a place is told of that place only.
    already = {one.code for one in known if one.severity == "refuse" and one.at_mm is None}
    findings = (*known, *(finding for finding in found if finding.code not in already))
    tell("done", 1.0)
    return replace(made, findings=findings, sentences=(*made.sentences, *proposed))


def write_program(made: Made) -> str:
    """Return the text of a program that may be cut: plain ASCII, the same for the same job.

    Raises RefusedError with every finding where it must not be cut.

    >>> vcarve.write_program(vcarve.plan_program(vcarve.load_job("tile.yaml"))).splitlines()[-2:]
    ['M5', 'M2']
    >>> vcarve.write_program(vcarve.plan_program(vcarve.load_job("tile.yaml", ["piece.thickness=0.5"])))
    Traceback (most recent call last):
    vcarve.errors.RefusedError: The groove is 0.8 mm deep in a piece 0.5 mm thick: it would go through. [through-the-piece]
    """
    if made.refused:
        raise RefusedError(made.told)
    return made.text


def _refuse_too_many_cuts(layout: Layout) -> None:
    """Count what the levels come to, before any is planned."""
    job, cut = layout.job, layout.network.cut
    deep = layout.grooves.depth_mm[cut]
    count, parts = most_cuts(layout.grooves.ends_depth_mm[:, cut], layout.network.length_mm[cut], job.step_mm)
    if count.sum() > CUTS_MOST:
        if len(deep) > CUTS_MOST:
            way = "in one level as well: draw fewer lines, or make the pitch larger"
        else:
            # Each part takes one cut more than its depth holds whole steps; at the full depth all lines take one.
            least = min(float((parts * deep).sum()) / max(CUTS_MOST - parts.sum(), 1), layout.deepest_mm)
            way = f"a step of {job.figures.at_least(least)} or more is possible"
        want = f"in levels of this depth the {len(deep):,} lines on the piece would be more than {CUTS_MOST:,} cuts; {way}"
        usual = None if job.groove.step_mm else job.figures.length(job.step_mm)
        raise InputError(Problem(key="groove.step", value=usual, want=want))


def _written(layout: Layout, cuts: Cuts, plan: Plan, known: tuple[Finding, ...]) -> Made:
    """Write a plan, and read and time its text; ``known`` is what there is to say of the job."""
    job = layout.job
    text = write(job, cuts, plan, header(layout, plan, known))
    reading = read_program(text, dialect=job.machine.dialect, start_mm=waiting_mm(job.machine, job))
    return Made(
        machine=job.machine,
        layout=layout,
        cuts=cuts,
        plan=plan,
        text=text,
        reading=reading,
        times=clock.run(reading.moves, job.machine),
        findings=known,
        sentences=layout.lines.sentences,
    )
