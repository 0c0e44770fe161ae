"""``mizo dry-run``: read a program back, check it, time it, carve it, show it."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vcarve.cli.files import write_whole
from vcarve.cli.progress import Bar
from vcarve.errors import EXIT_REFUSED, InputError, Problem

if TYPE_CHECKING:
    from vcarve.proofing import DryRun


@click.command("dry-run", epilog="Example: mizo dry-run trivet.nc --job trivet.yaml --page trivet.html")
@click.argument("file", metavar="FILE.nc")
@click.option(
    "--job", metavar="JOB.yaml", help="The job the program was made for: its lines, piece and clamps."
)
@click.option("--set", "sets", metavar="KEY=VALUE", multiple=True, help="Change a value of the job.")
@click.option(
    "--machine",
    metavar="NAME",
    default="rs274-mill",
    show_default=True,
    help="The machine, where there is no job.",
)
@click.option("--page", metavar="FILE.html", help="A page that plays the program; prints as a bench sheet.")
@click.option("--picture", metavar="FILE.png", help="The carved piece, lit from the side (needs --job).")
@click.option("--heights", metavar="FILE", help="The carved surface: .png (16 bit) or .npy (needs --job).")
@click.option("--step", metavar="LENGTH", help="Grid of the carved surface.  [default: the finest that fits]")
@click.option("--json", "as_json_", is_flag=True, help="Print the figures as one JSON object.")
def dry_run(
    file: str,
    job: str | None,
    sets: tuple[str, ...],
    machine: str,
    page: str | None,
    picture: str | None,
    heights: str | None,
    step: str | None,
    as_json_: bool,
) -> None:
    """Read a program as the mill would, and check it before any wood is touched.

    FILE.nc may be - for standard input. Exit code 0: clean, 1: findings, 2: cannot be read.
    """
    from vcarve.job.load import load_job, load_machine
    from vcarve.proofing import as_json, carved, measured, page_facts
    from vcarve.proofing import dry_run as run_dry

    if job is None and (picture or heights):
        raise InputError("--picture and --heights need --job: without it the piece is not known")
    if job is None and sets:
        raise InputError("--set changes the job; give --job as well")
    loaded = None if job is None else load_job(job, sets)
    text = _read(file)
    with Bar() as bar:
        bar("reading", 0.1)
        run = run_dry(
            text,
            file=file,
            machine=loaded.machine if loaded is not None else load_machine(machine, "."),
            job=loaded,
        )
        facts = surface = None
        if run.job is not None and run.layout is not None:
            bar("carving", 0.5)
            surface = carved(run.job, run.reading, _step(step))
            facts = measured(run.job, run.layout, run.reading, surface)
    outputs: list[tuple[str, str | bytes]] = []
    if page is not None:
        from vcarve.view.page import page_html

        outputs.append((page, page_html(page_facts(run))))
    if surface is not None and run.job is not None and run.layout is not None:
        if picture is not None:
            from vcarve.proofing import outline_rings
            from vcarve.view.picture import picture_png

            size = (run.job.piece.width_mm, run.job.piece.height_mm)
            rings = outline_rings(run.layout)
            outputs.append((picture, picture_png(surface, run.job.wood.tint, rings=rings, size_mm=size)))
        if heights is not None:
            from vcarve.view.heights import heights_file

            outputs.append((heights, heights_file(surface, heights)))
    write_whole(outputs)
    if as_json_:
        click.echo(json.dumps(as_json(run, facts), ensure_ascii=False))
    else:
        _tell(run, as_json(run, facts), [path for path, _ in outputs])
    if any(finding.severity == "refuse" for finding in run.findings):
        raise click.exceptions.Exit(EXIT_REFUSED)


def _read(file: str) -> bytes:
    if file == "-":
        return sys.stdin.buffer.read()
    try:
        return Path(file).read_bytes()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(Problem(value=file, want=f"the program cannot be read: {reason}")) from None


def _step(text: str | None) -> float | None:
    from vcarve.quantity import QuantityError, length_mm

    if text is None:
        return None
    try:
        value = length_mm(text)
    except QuantityError as error:
        raise InputError(Problem(key="--step", value=text, want=str(error))) from None
    if not 0.005 <= value <= 2.0:
        raise InputError(Problem(key="--step", value=text, want="give a grid between 0.005 mm and 2 mm"))
    return value


def _tell(run: DryRun, figures: dict[str, object], written: list[str]) -> None:
    """Print the figures as sentences."""
    from vcarve.quantity import format_duration, format_mm

    moves = run.reading.moves
    click.echo(click.style("dry run", bold=True))
    click.echo(f"  read     {moves.lines} lines, {len(moves)} moves, {run.passes} passes")
    times = run.times
    click.echo(
        f"  time     {format_duration(times.total_s)}: cutting {format_duration(times.cut_s)}, plunging "
        f"{format_duration(times.plunge_s)}, rapids {format_duration(times.rapid_s)}, waiting "
        f"{format_duration(times.dwell_s + times.stop_s)}; if the sender keeps up"
    )
    shown = figures.get("measured")
    if isinstance(shown, dict):
        click.echo(
            f"  carved   {shown['removed_mm3'] / 1000.0:.2f} cm³ removed, deepest {format_mm(shown['deepest_mm'])}; "
            f"width measured on {shown['edges']} edges, at most {format_mm(abs(shown['worst_width_error_mm']))} off"
        )
    for path in written:
        click.echo(f"  wrote    {path}")
    for finding in run.findings:
        word, colour = ("must not be cut", "red") if finding.severity == "refuse" else ("caution", "yellow")
        click.echo(f"  {click.style(word, fg=colour, bold=True)}  {finding}")
    if not run.findings:
        click.echo("  clean    every check passed")
