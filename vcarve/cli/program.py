"""``mizo program`` and ``mizo lines``: from a job file to a program the mill accepts, and to a drawing for other programs."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vcarve.cli.files import claim, ending
from vcarve.cli.options import (
    asked,
    job_argument,
    json_option,
    opened,
    quantity,
    say,
    say_written,
    set_option,
    written,
)
from vcarve.cli.terminal import progress_bar, told, typed
from vcarve.errors import InputError, Problem, RefusedError, grouped
from vcarve.files import Output, write_whole

if TYPE_CHECKING:
    from vcarve.job.records import Job


@click.command(
    "program",
    epilog="Example: mizo program trivet.yaml -o trivet.nc --set groove.depth=1.5 --picture trivet.svg",
)
@job_argument
@written("a program", "-o --output", "FILE", "Where the program goes; - is standard output.")
@written(
    "a program",
    "--cut-out",
    "FILE",
    "Where the program that cuts the piece out goes.  [default: beside -o, named after it]",
)
@set_option
@written(
    "a picture of the plan", "--picture", "FILE.svg", "Draw the plan: grooves at true width, passes, rapids."
)
@written("a page", "--page", "FILE.html", "The dry run as a page that plays the program.")
@click.option(
    "--air",
    metavar="LENGTH",
    help="Write the whole program so high above the wood, spindle off: a rehearsal.",
)
@json_option
def program(
    job: str,
    output: str | None,
    cut_out: str | None,
    sets: tuple[str, ...],
    picture: str | None,
    page: str | None,
    air: str | None,
    json_: bool,
) -> None:
    """Make the RS-274 program of a job.

    The program is read back and dry-run before it is written; if a check fails, it is not, and picture and page show
    why. Without -o only the summary is printed. JOB.yaml may be - for standard input.

    Where the job has a cut-out, that is a second program, for another bit; both are written, or none.
    """
    from vcarve.drawn import draw
    from vcarve.pipeline import air_program, plan_program
    from vcarve.quantity import length_mm
    from vcarve.report import plan_sentence, program_json, program_rows

    air_mm = quantity("--air", length_mm, air)
    if air_mm is not None and air_mm <= 0.0:
        raise InputError(Problem(key="--air", value=air, want="give how high above the wood, more than 0 mm"))
    if air_mm is not None and page is not None:
        want = "a page shows the program that cuts; make it without --air"
        raise InputError(Problem(key="--page", value=page, want=want))
    loaded = opened(job, sets)
    cut_out = _cut_out_file(loaded, output, cut_out, in_air=air_mm is not None)
    claim(asked(), loaded.files)
    with progress_bar() as bar:
        made = plan_program(loaded, progress=bar)
    outputs: list[Output] = []
    high = None if air_mm is None or made.refused else air_program(made, air_mm)
    if output is not None and not made.refused:
        outputs.append((output, made.text if high is None else high[0]))
    if cut_out is not None and made.cut_out is not None and not made.refused:
        outputs.append((cut_out, made.cut_out.text))
    if picture is not None:
        outputs.append((picture, draw(made, ".svg")))
    if page is not None:
        outputs.append((page, draw(replace(made, file=None if output == "-" else output), ".html")))
    write_whole(outputs)
    if json_:
        say(json.dumps(program_json(made)))
    if made.refused:
        from vcarve.cli.main import fail

        fail(RefusedError(made.told), writes=output is not None, written=[path for path, _ in outputs])
    if json_:
        return
    say(click.style(made.job.name, bold=True))
    for label, text in program_rows(made):
        say(f"  {label:<10}{text}")
    for group in grouped(made.told):
        say(f"  {told(group)}")
    say(plan_sentence(made))
    if air_mm is not None and high is not None:
        top = made.figures.length(high[1].extents_mm["z"][1] - high[1].setup.top_mm)
        stays = f"{made.figures.length(air_mm)} or more above the wood, and rises to {top}"
        say(f"in the air: it stays {stays}; the spindle stays off. Not for cutting.")
    say_written(outputs)
    if not outputs:
        say("Nothing written; give -o FILE to write the program.")
    elif output not in (None, "-") and page is None and air is None and job != "-":
        words = ["mizo", "dry-run", str(output), "--job", job]
        words += ["--cut-out", cut_out] if cut_out is not None else []
        words += [word for one in sets for word in ("--set", one)]
        say(f"Look at it before cutting: {typed([*words, '--page', 'dry-run.html'])}")


def _cut_out_file(job: Job, output: str | None, named: str | None, *, in_air: bool) -> str | None:
    """Return where a job's second program goes: as named, or beside the first; ``None`` where none is written."""
    wrong = partial(Problem, key="--cut-out", value=named)
    if named is not None and (job.cut_out is None or in_air):
        lacks = "the job has no 'cut-out', which says how: its bit, tabs and steps"
        raise InputError(
            wrong(want="only the engraving goes in the air; leave this out" if in_air else lacks)
        )
    if job.cut_out is None or output is None or named is not None or in_air:
        return named
    target = Path(output)
    if output == "-" or (target.exists() and not target.is_file()):
        want = "the job is cut out by a second program: name its file, or take it out of the job with --set cut-out="
        raise InputError(wrong(want=want))
    beside = str(target.with_name(f"{target.stem}-cut-out{target.suffix}"))
    asked().append(("a program", beside))
    return beside


@click.command("lines", epilog="Example: mizo lines trivet.yaml -o trivet.dxf")
@job_argument
@written(
    "a drawing of the lines", "-o --output", "FILE", "A .svg file, or a .dxf of release 2000.", required=True
)
@set_option
def lines(job: str, output: str, sets: tuple[str, ...]) -> None:
    """Draw a job's lines, the outlines of its grooves and its land, true to scale in millimetres."""
    from vcarve.drawn import draw
    from vcarve.layout.stages import lay_out

    loaded = opened(job, sets)
    claim(asked(), loaded.files)
    outputs = [(output, draw(lay_out(loaded), ending("a drawing of the lines", output)))]
    write_whole(outputs)
    say_written(outputs)
