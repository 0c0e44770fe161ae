"""``mizo dry-run``: read a program back, check it, time it, carve it, show it."""

from __future__ import annotations

import contextlib
import json
from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from vcarve.cli.files import WrongKindError, claim, ending, taken_as
from vcarve.cli.options import asked, json_option, opened, quantity, say, set_option, written
from vcarve.cli.terminal import echo, progress_bar, told
from vcarve.errors import EXIT_REFUSED, InputError, Problem, grouped
from vcarve.files import Output, write_whole

if TYPE_CHECKING:
    from vcarve.errors import Finding
    from vcarve.job.records import Job
    from vcarve.run import DryRun

MOST_SHOWN = 5  # sentences of one code that are printed; --json has more
MOST_SAID = 20  # faults of a program that are listed one by one


@click.command("dry-run", epilog="Example: mizo dry-run trivet.nc --job trivet.yaml --page trivet.html")
@click.argument("file", metavar="FILE.nc")
@click.option(
    "--job", metavar="JOB.yaml", help="The job the program was made for: its lines, piece and clamps."
)
@set_option
@click.option(
    "--cut-before",
    metavar="FILE.nc",
    help="The program that FILE.nc is the rest of: what it cut before counts as cut (needs --job).",
)
@click.option(
    "--cut-out",
    metavar="FILE.nc",
    help="The program that cuts the piece out after FILE.nc: judged and carved as well (needs --job).",
)
@click.option(
    "--machine",
    metavar="NAME",
    help="The machine, where there is no job.  [default: the one the program's header names, or rs274-mill]",
)
@written("a page", "--page", "FILE.html", "A page that plays the program; prints as a bench sheet.")
@written(
    "a picture of the carved piece",
    "--picture",
    "FILE.png",
    "The carved piece, lit from the side (needs --job).",
)
@written(
    "the carved heights", "--heights", "FILE", "The carved surface: .png (16 bit) or .npy (needs --job)."
)
@click.option("--step", metavar="LENGTH", help="Grid of the carved surface.  [default: the finest that fits]")
@json_option
def dry_run(
    file: str,
    job: str | None,
    sets: tuple[str, ...],
    cut_before: str | None,
    cut_out: str | None,
    machine: str | None,
    page: str | None,
    picture: str | None,
    heights: str | None,
    step: str | None,
    json_: bool,
) -> None:
    """Read a program as the mill would, and check it before any wood is touched.

    FILE.nc may be - for standard input. Exit code 0: nothing forbids cutting, 1: it must not be cut, 2: something given is wrong.
    """
    from vcarve.drawn import draw
    from vcarve.proofing import Taken, carve_piece, check_program, machine_for, program_bytes
    from vcarve.report import dry_run_json

    if job is None:
        needing = {"--picture": picture, "--heights": heights, "--step": step, "--set": sets}
        needing |= {"--cut-before": cut_before, "--cut-out": cut_out}
        lone = [name for name, value in needing.items() if value]
        if lone:
            raise InputError(
                Problem(key=name, want="this needs --job: without it the piece is not known") for name in lone
            )
    elif machine is not None:
        raise InputError(
            Problem(key="--machine", value=machine, want="the job names its machine; leave this out")
        )
    if [file, job, cut_before, cut_out].count("-") > 1:
        raise InputError("only one file can come from standard input")
    loaded = None if job is None else opened(job, sets)
    with taken_as("program", file):
        text = program_bytes(file)
    taken = Taken(loaded.machine) if loaded is not None else machine_for(machine, text, file)
    claim(asked(), (file, taken.file) if loaded is None else (file, cut_before, cut_out, *loaded.files))
    earlier, after = (_named_program(one) for one in (cut_before, cut_out))
    grid = None if step is None or loaded is None else _grid_mm(step, loaded)
    with progress_bar() as bar:
        bar("reading", 0.1)
        with taken_as("program", cut_before or "-"), faults_told(file, taken.how):
            run = check_program(
                text,
                file="standard input" if file == "-" else file,
                machine=taken.machine,
                job=loaded,
                assumed=taken.assumed,
                rest_of=earlier,
                cut_out=after,
            )
        if loaded is not None:
            bar("carving", 0.5)
            run = carve_piece(run, step_mm=grid, with_land=json_)
    outputs: list[Output] = []
    if page is not None:
        outputs.append((page, draw(run, ".html")))
    if picture is not None:
        outputs.append((picture, draw(run, ".png")))
    if heights is not None and run.surface is not None:
        from vcarve.view.picture import heights_file

        outputs.append((heights, heights_file(run.surface, ending("the carved heights", heights))))
    write_whole(outputs)
    if json_:
        say(json.dumps(dry_run_json(run), allow_nan=False))
    else:
        say("\n".join(_lines(run, [path for path, _ in outputs if path != "-"], taken.how)))
    if run.refused:
        raise click.exceptions.Exit(EXIT_REFUSED)


@contextlib.contextmanager
def faults_told(file: str, how: str) -> Iterator[None]:
    """Tell the first faults of a program alone, and ``how`` its machine was come by; of another kind of file that it is one."""
    try:
        with taken_as("program", file):
            yield
    except WrongKindError:
        raise
    except InputError as error:
        if how:
            echo(f"Read for the machine {how}.", err=True)
        most, rest = error.problems[:MOST_SAID], len(error.problems) - MOST_SAID
        more = [Problem(want=f"and {rest} more; is this a program for this controller?")]
        raise InputError([*most, *(more if rest > 0 else [])]) from None


def _named_program(file: str | None) -> tuple[str, bytes] | None:
    """Return a program that an option names, and what it holds."""
    from vcarve.proofing import program_bytes

    if file is None:
        return None
    with taken_as("program", file):
        return file, program_bytes(file)


def _grid_mm(written: str, job: Job) -> float:
    """Read the grid of the carved surface."""
    from vcarve.proofing import fitting_step
    from vcarve.quantity import length_mm

    grid_mm = quantity("--step", length_mm, written) or 0.0
    fitting_step(job, grid_mm, key="--step", value=written)
    return grid_mm


def _lines(run: DryRun, written: list[str], how: str) -> list[str]:
    """Return what is said of a dry run; ``how`` says which machine was taken where no job does."""
    from vcarve.report import dry_run_rows

    rows = [("machine", how)] if how else []
    rows += [*dry_run_rows(run), *(("wrote", path) for path in written)]
    lines = [click.style("dry run", bold=True), *(f"  {label:<9}{text}" for label, text in rows)]
    lines.extend(_told(run.findings))
    if not run.findings:
        lines.append("  clean    every check passed")
    elif not run.refused:
        lines.append("  clean    no check forbids cutting")
    return lines


def _told(findings: tuple[Finding, ...]) -> list[str]:
    """Return a line for findings of one sentence, the first few of each code; another job's program comes first."""
    shown: Counter[str] = Counter()
    lines = []
    for group in sorted(grouped(findings), key=lambda one: one.first.code != "other-job"):
        shown[group.first.code] += 1
        if shown[group.first.code] <= MOST_SHOWN:
            lines.append(f"  {told(group)}")
    more = [code for code, count in shown.items() if count > MOST_SHOWN]
    if more:
        lines.append(f"  more of  {', '.join(more)}: --json and --page name more of them")
    return lines
