"""``mizo probe``: touch the piece's top here and there, to tell how far from flat it is."""

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

NEXT = {
    "linuxcnc": "LinuxCNC writes {file} beside the program; copy it beside the job",
    "grbl-1.1": "save all that the sender shows of the run as {file} beside the job",
    "rs274ngc": "write down X, Y and height of each touch, counted from the first, as {file} beside the job",
}


@click.command("probe", epilog="Example: mizo probe trivet.yaml -o probe.nc --spacing 15mm")
@job_argument
@written(
    "a program", "-o --output", "PROBE.nc", "Where the program goes; - is standard output.", required=True
)
@click.option(
    "--spacing",
    metavar="LENGTH",
    help="How far apart places are at most.  [default: 12 mm, or what a large piece takes]",
)
@click.option(
    "--inset", metavar="LENGTH", help="How far inside the piece's outline they lie.  [default: 3 mm]"
)
@click.option(
    "--clear", metavar="LENGTH", help="How high the bit goes across.  [default: 2 mm, or above the clamps]"
)
@click.option(
    "--limit", metavar="LENGTH", help="How far below the top a probe goes at most.  [default: 2 mm]"
)
@set_option
@json_option
def probe(
    job: str,
    output: str,
    spacing: str | None,
    inset: str | None,
    clear: str | None,
    limit: str | None,
    sets: tuple[str, ...],
    json_: bool,
) -> None:
    """Make a program that touches the piece's top on a grid (G38.2), for a board that is not flat.

    The spindle stays off. The first touch is at X0 Y0, where Z0 is set: the bit's point has to meet the piece, or foil or a plate
    on it, there. What the controller tells of the touches goes into a file that the job names: surface: heights.txt. A probe
    that touches nothing down to the limit is an error at the controller, and the run ends. JOB.yaml may be - for standard input.
    """
    from vcarve.layout.stages import lay_out
    from vcarve.pipeline import probe_program
    from vcarve.program.probing import FILE
    from vcarve.quantity import format_duration, length_mm

    asked_mm = {
        key: quantity(f"--{key}", length_mm, text)
        for key, text in (("spacing", spacing), ("inset", inset), ("clear", clear), ("limit", limit))
    }
    # The top may be of any height as yet.
    loaded = opened(job, (*sets, "surface="))
    claim(asked(), loaded.files)
    text, run, places = probe_program(lay_out(loaded), **asked_mm)
    outputs = [(output, text)]
    write_whole(outputs)
    time_s = run.times.total_s
    if json_:
        say(
            json.dumps(
                {"places_mm": places.tolist(), "time_s": time_s, "program_lines": run.reading.moves.lines}
            )
        )
        return
    for group in grouped(run.findings):
        say(f"  {told(group)}")
    say(f"{len(places)} places after X0 Y0, {format_duration(time_s)} at most, spindle off")
    say(f"afterwards {NEXT[run.machine.dialect].format(file=FILE)}, and write into the job: surface: {FILE}")
    if loaded.zero.z == "bed":
        say(
            "Z0 is on the bed: piece.thickness has to be how high the top stands at X0 Y0, where heights count from"
        )
    say_written(outputs)
