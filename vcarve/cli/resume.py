"""``mizo resume``: after a break, the rest of a program as a program of its own."""

from __future__ import annotations

import json
from pathlib import Path

import click

from vcarve.cli.dry_run import faults_told
from vcarve.cli.files import claim, taken_as
from vcarve.cli.options import asked, json_option, say, say_written, written
from vcarve.cli.terminal import typed
from vcarve.errors import InputError
from vcarve.files import write_whole


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
    from vcarve.proofing import check_program, machine_for, program_bytes
    from vcarve.resume import broken_off, rest_of, rest_rows

    told = {"--pass": pass_, "--line": line, "--after": after}
    named = [(option, text) for option, text in told.items() if text is not None]
    if len(named) != 1:
        raise InputError("Give one of --pass, --line and --after: where the program stopped.")
    find = broken_off(*named[0])
    with taken_as("program", file):
        data = program_bytes(file)
    taken = machine_for(machine, data, file)
    claim(asked(), (file, taken.file))
    name = "standard input" if file == "-" else file
    with faults_told(file, taken.how):
        run = check_program(data, file=name, machine=taken.machine, assumed=taken.assumed)
    rest = rest_of(run, find(run), text=data, name=Path(name).name, assumed=taken.assumed)
    outputs = [] if output is None else [(output, rest.text)]
    write_whole(outputs)
    if json_:
        found = {
            "machine": taken.machine.name,
            "pass": rest.first,
            "passes": rest.passes,
            "line": rest.line,
            "height_mm": rest.height_mm,
            "place_mm": rest.place_mm,
            "time_s": rest.run.times.total_s,
            "program_lines": rest.run.reading.moves.lines,
        }
        say(json.dumps(found))
        return
    say(click.style(f"the rest of {name}", bold=True))
    for label, sentence in rest_rows(rest, taken.how):
        say(f"  {label:<9}{sentence}")
    say_written(outputs)
    if output is None:
        say("Nothing written; give -o REST.nc to write the rest.")
    elif output != "-" and file != "-":
        words = ["mizo", "dry-run", output, "--job", "JOB.yaml", "--cut-before", file]
        say(f"Look at it before cutting: {typed(words)}")
