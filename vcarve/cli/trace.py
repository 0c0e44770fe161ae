"""``mizo trace``: before the first cut, where the job will be cut, shown in the air."""

from __future__ import annotations

import json

import click

from vcarve.cli.files import claim
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
from vcarve.cli.terminal import told
from vcarve.errors import grouped
from vcarve.files import write_whole


@click.command("trace", epilog="Example: mizo trace trivet.yaml --height 10mm -o trace.nc")
@job_argument
@written("a program", "-o --output", "TRACE.nc", "Where the trace goes; - is standard output.", required=True)
@click.option(
    "--height", metavar="LENGTH", help="How high above the piece.  [default: the machine's safe height]"
)
@set_option
@json_option
def trace(job: str, output: str, height: str | None, sets: tuple[str, ...], json_: bool) -> None:
    """Show in the air where a job will be cut, before it is.

    The bit goes to the zero and pauses there, then slowly round the piece's outline, each clamp and all cuts, at one height and
    with the spindle off. It never comes down to the wood. JOB.yaml may be - for standard input.
    """
    from vcarve.layout.stages import lay_out
    from vcarve.pipeline import trace_program
    from vcarve.quantity import format_duration, length_mm

    height_mm = quantity("--height", length_mm, height)
    loaded = opened(job, sets)
    claim(asked(), loaded.files)
    text, run = trace_program(lay_out(loaded), height_mm)
    outputs = [(output, text)]
    write_whole(outputs)
    if json_:
        figures = {
            "time_s": run.times.total_s,
            "extents_mm": run.extents_mm,
            "program_lines": run.reading.moves.lines,
        }
        say(json.dumps(figures))
        return
    for group in grouped(run.findings):
        say(f"  {told(group)}")
    say(
        f"round piece, cuts and clamps in {format_duration(run.times.total_s)}, spindle off; it pauses at the zero"
    )
    say_written(outputs)
