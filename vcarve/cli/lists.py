"""``mizo patterns``, ``machines``, ``bits``, ``woods``: what there is; ``mizo new``, ``schema``, ``completion``."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from itertools import dropwhile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vcarve.cli.files import claim, ending, taken_as
from vcarve.cli.options import asked, force_option, json_option, noted, say, say_written, written
from vcarve.cli.terminal import echo, told, typed
from vcarve.errors import InputError, grouped
from vcarve.files import Output, write_whole

if TYPE_CHECKING:
    from vcarve.job.bench import Bit, Machine
    from vcarve.job.starters import Starter


def tell(
    found: Sequence[Any],
    outputs: Sequence[Output],
    json_: bool,
    columns: Mapping[str, Callable[[Any], str]],
) -> None:
    """Write the files that were asked for; say what there is as JSON or, where no file was asked for, as a table.

    Records give all their fields.  Columns are as wide as their widest entry, wide signs counting double.
    """
    import unicodedata

    def wide(text: str) -> int:
        return sum(2 if unicodedata.east_asian_width(sign) in "WF" else 1 for sign in text)

    write_whole(outputs)
    if json_:
        say(json.dumps([one if isinstance(one, dict) else one.model_dump(mode="json") for one in found]))
    elif outputs:
        say_written(outputs)
    else:
        rows = [[*columns], *([column(one) for column in columns.values()] for one in found)]
        widths = [max(wide(text) for text in column) for column in zip(*rows, strict=True)]
        for number, row in enumerate(rows):
            line = "  ".join(text + " " * (most - wide(text)) for text, most in zip(row, widths, strict=True))
            echo(click.style(line.rstrip(), bold=number == 0))


def _tell_right(name: str, named: str) -> None:
    """Say, beside what is printed, that a file of one's own was read without fault, and how a job names it."""
    echo(f"{name} is written right. In a job: {named}", err=True)


# Shells that write what is printed into a file in an encoding of their own would spoil it.
_copy = written("a YAML file", "-o --output", "FILE.yaml", "Write the named one's file here, to be edited.")


@click.command("machines", epilog="Example: mizo machines small-desktop -o mill.yaml")
@click.argument("name", required=False)
@_copy
@force_option
@json_option
def machines(name: str | None, output: str | None, force: bool, json_: bool) -> None:
    """List the machines a job can name, or print the file of one, to be copied and edited.

    NAME may be the path of a machine file of your own, which is checked.
    """
    from vcarve.job.bench import file_of, is_file, load_machine
    from vcarve.job.bench import machines as all_machines
    from vcarve.quantity import format_number, format_rpm

    if output is not None and name is None:
        raise InputError("-o needs the name of a machine")
    with taken_as("machine", name or "-"):
        path = None if name is None else file_of("machine", name)
        claim(asked(), (path,), force=force)
        found = all_machines() if name is None else (load_machine(name),)
    outputs = []
    if path is not None and (output is not None or not json_):
        outputs.append((output or "-", Path(path).read_text(encoding="utf-8")))

    def spindle(m: Machine) -> str:
        rates = f"{format_number(m.spindle.min_rpm)} to {format_rpm(m.spindle.max_rpm)}"
        return rates if m.spindle.programmed else "by hand"

    columns: dict[str, Callable[[Any], str]] = {
        "name": lambda m: m.name,
        "machine": lambda m: m.title,
        "travel X x Y x Z": lambda m: f"{m.travel.x_mm:g} x {m.travel.y_mm:g} x {m.travel.z_mm:g} mm",
        "collets": lambda m: ", ".join(f"{c:g}" for c in m.collets_mm) + " mm",
        "spindle": spindle,
        "controller": lambda m: m.dialect,
    }
    tell(found, outputs, json_, columns)
    if name is not None and is_file(name) and not json_:
        _tell_right(name, f"machine: {name}")


@click.command("bits", epilog="Example: mizo bits --json")
@json_option
def bits(json_: bool) -> None:
    """List the bits a job can name: V-bits, which engrave, and end mills, which cut a piece out of its board."""
    from vcarve.groove.width import deepest_mm
    from vcarve.job.bench import EndMill, end_mills
    from vcarve.job.bench import bits as all_bits
    from vcarve.quantity import format_mm

    def told(bit: Bit | EndMill) -> dict[str, Any]:
        mill = isinstance(bit, EndMill)
        deepest = bit.cutting_length_mm if isinstance(bit, EndMill) else deepest_mm(bit)
        return {"kind": "end mill" if mill else "V-bit", "deepest_mm": deepest} | bit.model_dump(mode="json")

    def tip(b: dict[str, Any]) -> str:
        return f"{format_mm(b['tip_radius_mm'])} round" if b.get("tip_radius_mm") else format_mm(b["tip_mm"])

    columns: dict[str, Callable[[Any], str]] = {
        "name": lambda b: b["name"],
        "kind": lambda b: b["kind"],
        "angle": lambda b: f"{b['angle_deg']:g}°" if "angle_deg" in b else "-",
        "diameter": lambda b: format_mm(b["diameter_mm"]),
        "tip": lambda b: tip(b) if "angle_deg" in b else "-",
        "shank": lambda b: format_mm(b["shank_mm"]),
        "flutes": lambda b: str(b["flutes"]),
        "deepest cut": lambda b: format_mm(round(b["deepest_mm"], 2)),
    }
    found = [*map(told, all_bits()), *map(told, end_mills())]
    tell(found, (), json_, columns)


@click.command("woods", epilog="Example: mizo woods --json")
@json_option
def woods(json_: bool) -> None:
    """List the woods a job can name, with what the tables say of them."""
    from vcarve.job.bench import woods as all_woods

    columns: dict[str, Callable[[Any], str]] = {
        "name": lambda w: w.name,
        "wood": lambda w: w.title,
        "hardness": lambda w: "-" if w.hardness_n is None else f"{w.hardness_n:g} N",
        "gravity": lambda w: "-" if w.gravity is None else f"{w.gravity:g}",
        "chip per tooth": lambda w: f"{w.chip_low_mm:g} to {w.chip_high_mm:g} mm",
        "depth per level": lambda w: f"{w.step_mm:g} mm",
    }
    tell(all_woods(), (), json_, columns)


@click.command("patterns", epilog="Example: mizo patterns kaku-asanoha --picture star.svg")
@click.argument("name", required=False)
@_copy
@force_option
@written("a picture of the pattern", "--picture", "FILE", "Draw the named pattern; .svg or .png.")
@written("a page", "--page", "FILE.html", "Draw all patterns on one page.")
@json_option
def patterns(
    name: str | None, output: str | None, force: bool, picture: str | None, page: str | None, json_: bool
) -> None:
    """List the patterns a job can name, or print the file of one, to be copied and edited.

    NAME may be the path of a pattern file of your own, which is checked.
    """
    from vcarve.job.bench import file_of, is_file
    from vcarve.pattern.model import pattern
    from vcarve.pattern.model import patterns as all_patterns

    if picture is not None and name is None:
        raise InputError("--picture needs the name of a pattern; all of them on one page: --page FILE.html")
    if output is not None and name is None:
        raise InputError("-o needs the name of a pattern")
    claim(asked(), (name,), force=force)
    outputs: list[Output] = []
    with taken_as("pattern", name or "-"):
        chosen = all_patterns() if name is None else (pattern(name),)
    if name is not None and (output is not None or not (picture or page or json_)):
        from vcarve.view.gallery import pattern_facts

        # What was said above the file that this one is a copy of may be true no more.
        said = ("# angles:", "# odd:", "# cut:", "# caution:")
        lines = Path(file_of("pattern", name)).read_text(encoding="utf-8").splitlines(keepends=True)
        head = (f"# {label}: {text}\n" for label, text in pattern_facts(chosen[0]))
        outputs.append(
            (output or "-", "".join([*head, *dropwhile(lambda line: line.startswith(said), lines)]))
        )
    if picture is not None:
        from vcarve.drawn import draw

        outputs.append((picture, draw(chosen[0], ending("a picture of the pattern", picture))))
    if page is not None:
        from vcarve.view.gallery import gallery_html

        outputs.append((page, gallery_html(chosen)))
    columns: dict[str, Callable[[Any], str]] = {
        "name": lambda p: p["key"],
        "": lambda p: p["kanji"],
        "meaning": lambda p: p["english"],
        "lattice": lambda p: p["lattice"],
        "symmetry": lambda p: p["group"],
        "pitch": lambda p: f"{p['pitch_mm'][0]:g} to {p['pitch_mm'][1]:g} mm",
    }
    drawn = {"corner", "operations", "lines"}  # not told, nor are the lattice's steps
    facts = [one.model_dump(exclude=drawn) | {"lattice": one.lattice.kind} for one in chosen]
    tell(facts, outputs, json_, columns)
    if name is not None and is_file(name) and not json_:
        from vcarve.pattern.inspect import inspect

        cautions = grouped(inspect(chosen[0]))
        for group in cautions:
            echo(told(group), err=True)
        if not cautions:
            _tell_right(name, f"pattern: {{name: {name}}}")


@click.command("new", epilog="Example: mizo new trivet.yaml")
@click.argument("file", metavar="FILE.yaml", default="-", callback=partial(noted, "a YAML file"))
@click.option("--machine", is_flag=True, help="A machine file instead, for a mill of your own.")
@click.option("--pattern", is_flag=True, help="A pattern file instead, for lines of your own.")
@click.option("--panel", is_flag=True, help="A panel file instead, for tiles side by side in a frame.")
@force_option
def new(file: str, machine: bool, pattern: bool, panel: bool, force: bool) -> None:
    """Write a commented job file to start from; without FILE it is printed."""
    from vcarve.job.starters import starter_text

    if machine + pattern + panel > 1:
        raise InputError("Give one of --machine, --pattern and --panel: they are files of their own.")
    claim(asked(), force=force)
    shown = Path("tile.yaml" if file == "-" else file)
    kind: Starter = "machine" if machine else "pattern" if pattern else "panel" if panel else "job"
    after = {
        "panel": ["panel", str(shown), "-o", str(shown.with_suffix(""))],
        "job": ["program", str(shown), "-o", str(shown.with_suffix(".nc"))],
        "machine": ["machines", str(shown)],
        "pattern": ["patterns", str(shown), "--picture", str(shown.with_suffix(".svg"))],
    }
    command = typed(["mizo", *after[kind]])
    title = shown.stem.replace("-", " ").replace("_", " ")
    outputs = [(file, starter_text(kind, title=title, command=command))]
    write_whole(outputs)
    say_written(outputs)
    if file != "-":
        echo(f"Edit it, then: {command}")


@click.command("schema", epilog="Example: mizo schema job > job.schema.json")
@click.argument("kind", type=click.Choice(["job", "machine", "pattern", "panel"]))
def schema(kind: str) -> None:
    """Print the JSON Schema of a kind of file, so that an editor completes and checks it."""
    from vcarve.job.bench import Machine
    from vcarve.job.panel import Panel
    from vcarve.job.record import Record, schema_of
    from vcarve.job.records import Job
    from vcarve.pattern.model import Pattern

    records: dict[str, type[Record]] = {"job": Job, "machine": Machine, "pattern": Pattern, "panel": Panel}
    echo(json.dumps(schema_of(records[kind], f"Mizo {kind} file"), indent=2))


@click.command("completion", epilog='Example: eval "$(mizo completion bash)"')
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> None:
    """Print what makes the shell complete mizo's commands and options; put it into the shell's start file."""
    from click.shell_completion import get_completion_class

    from vcarve.cli.main import cli

    found = get_completion_class(shell)
    assert found is not None
    echo(found(cli, {}, "mizo", "_MIZO_COMPLETE").source())
