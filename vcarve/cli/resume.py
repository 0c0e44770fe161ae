"""``mizo resume``: after a break, the rest of a program as a program of its own."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vcarve.cli.dry_run import machine_for, program_bytes
from vcarve.cli.files import claim, taken_as
from vcarve.cli.options import asked, json_option, quantity, say, say_written, written
from vcarve.cli.terminal import typed
from vcarve.errors import InputError
from vcarve.files import write_whole

if TYPE_CHECKING:
    from vcarve.run import DryRun


@click.command("resume", epilog="Example: mizo resume trivet.nc --pass 12 -o rest.nc")
@click.argument("file", metavar="FILE.nc")
@click.option("--pass", "pass_", metavar="N", help="Go on with this pass, counted from 1 as in the dry run.")
@click.option("--line", metavar="N", help="Go on with the pass that this line of the program belongs to.")
@click.option(
    "--after", metavar="TIME", help="Go on with the pass under way so long after the start, such as 7 min."
)
@written("a program", "-o --output", "REST.nc", "Where the rest goes; - is standard output.")
@click.option(
    "--machine",
    metavar="NAME",
    help="The machine.  [default: the one the program's header names, or rs274-mill]",
)
@json_option
def resume(
    file: str,
    pass_: str | None,
    line: str | None,
    after: str | None,
    output: str | None,
    machine: str | None,
    json_: bool,
) -> None:
    """Make the rest of a program, to go on with after a break.

    It begins behind the last lift before the pass, the line or the time that is named: sets every mode anew, goes up to the
    program's greatest height, starts the spindle, and follows the program's own lines from there. Nothing is taken from the
    program but its text; where that leaves a doubt, it is refused. FILE.nc may be - for standard input.

    Set the zero again before you run it: a new bit is another length.
    """
    from vcarve.proofing import check_program
    from vcarve.quantity import TIME, counted, format_duration, read, whole_number
    from vcarve.resume import at_line, at_pass, at_time, rest_of

    points: dict[str, tuple[str | None, Callable[[str], float], Callable[[DryRun, Any], int]]] = {
        "--pass": (pass_, whole_number, at_pass),
        "--line": (line, whole_number, at_line),
        "--after": (after, partial(read, TIME), at_time),
    }
    named = [option for option, (text, _, _) in points.items() if text is not None]
    if len(named) != 1:
        raise InputError("Give one of --pass, --line and --after: where the program stopped.")
    text, reader, find = points[named[0]]
    value = quantity(named[0], reader, text)
    with taken_as("program", file):
        data = program_bytes(file)
    taken = machine_for(machine, data, file)
    claim(asked(), (file, taken.file))
    name = "standard input" if file == "-" else file
    with taken_as("program", file):
        run = check_program(data, file=name, machine=taken.machine, assumed=taken.assumed)
    rest = rest_of(run, find(run, value), text=data, name=Path(name).name, assumed=taken.assumed)
    outputs = [] if output is None else [(output, rest.text)]
    write_whole(outputs)
    figures, times = taken.machine.figures, rest.run.times
    if json_:
        found = {
            "machine": taken.machine.name,
            "pass": rest.first,
            "passes": rest.passes,
            "line": rest.line,
            "height_mm": rest.height_mm,
            "place_mm": rest.place_mm,
            "time_s": times.total_s,
            "program_lines": rest.run.reading.moves.lines,
        }
        say(json.dumps(found))
        return
    x, y, z = map(figures.number, rest.place_mm)
    left = rest.passes - rest.first + 1
    say(click.style(f"the rest of {name}", bold=True))
    for label, sentence in (
        ("machine", taken.how),
        ("from", f"pass {rest.first} of {rest.passes}, line {rest.line}"),
        ("left", f"{counted(left, 'pass', 'passes')}, {format_duration(times.total_s)}"),
        ("begins", f"up to Z {figures.length(rest.height_mm)}, across to X {x}, Y {y}, down to Z {z}"),
        ("first", "find what broke off, set Z0 again with the new bit, and see that X0 and Y0 still hold"),
    ):
        say(f"  {label:<9}{sentence}")
    say_written(outputs)
    if output is None:
        say("Nothing written; give -o REST.nc to write the rest.")
    elif output != "-" and file != "-":
        words = ["mizo", "dry-run", output, "--job", "JOB.yaml", "--cut-before", file]
        say(f"Look at it before cutting: {typed(words)}")
