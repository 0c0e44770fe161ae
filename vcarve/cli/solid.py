"""``mizo solid``: the piece with its grooves as a closed solid, to print or to look at."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import click

from vcarve.cli.files import claim, ending
from vcarve.cli.options import (
    asked,
    job_argument,
    json_option,
    opened_either,
    quantity,
    say,
    say_written,
    set_option,
    written,
)
from vcarve.cli.terminal import progress_bar, told
from vcarve.errors import InputError, Problem, RefusedError, grouped, refuses
from vcarve.files import write_whole

FLAT = "the top is flat here: 'surface' says how this board lies, not how the piece is to be"


def _between(
    option: str, reader: Callable[[str], float], text: str | None, least: float, most: float, wanted: str
) -> float | None:
    """Read an option's quantity that lies between two others."""
    value = quantity(option, reader, text)
    if value is not None and not least <= value <= most:
        raise InputError(Problem(key=option, value=text, want=f"{wanted} is wanted"))
    return value


@click.command("solid", epilog="Example: mizo solid trivet.yaml -o trivet.3mf --hollow-back 2mm --scale 0.5")
@job_argument
@written(
    "a solid",
    "-o --output",
    "FILE",
    "A .3mf file, in mm and in the wood's colour, or a .stl file.",
    required=True,
)
@set_option
@click.option("--hollow-back", metavar="LENGTH", help="Hollow out the back; floor and walls stay so thick.")
@click.option("--scale", metavar="SHARE", help="Make it larger or smaller, such as 0.5 or 200 %.")
@click.option("--tolerance", metavar="LENGTH", help="How far what is round may be off; left out, 0.02 mm.")
@json_option
def solid(
    job: str,
    output: str,
    sets: tuple[str, ...],
    hollow_back: str | None,
    scale: str | None,
    tolerance: str | None,
    json_: bool,
) -> None:
    """Make the carved piece as a closed solid, or a panel of pieces put together, to be printed or looked at.

    It is what the bit leaves, also where grooves cross, and stands on its back, its middle at X0 Y0. Walls along straight lines
    are exact. JOB.yaml may be a panel's file, or - for standard input.
    """
    import numpy as np

    from vcarve.job.panel import Panel
    from vcarve.job.records import Job
    from vcarve.layout.findings import job_findings
    from vcarve.layout.stages import lay_out
    from vcarve.panel.tiles import lay_panel
    from vcarve.quantity import SHARE, counted, format_number, length_mm, read
    from vcarve.report import verdict
    from vcarve.solid.assembly import panel_parts, piece_parts
    from vcarve.solid.files import solids_file
    from vcarve.solid.piece import TOLERANCE_MM
    from vcarve.view.panel import bars_of

    hollow_mm = _between(
        "--hollow-back", length_mm, hollow_back, 0.1, 100.0, "a length from 0.1 mm to 100 mm"
    )
    times = _between("--scale", partial(read, SHARE), scale, 0.01, 100.0, "a share from 0.01 to 100") or 1.0
    wanted = "a length from 0.0001 mm to 1 mm"
    tolerance_mm = _between("--tolerance", length_mm, tolerance, 1e-4, 1.0, wanted) or TOLERANCE_MM
    loaded = opened_either(job, sets)
    claim(asked(), loaded.files)
    with progress_bar() as bar:
        if isinstance(loaded, Panel):
            laid = lay_panel(loaded)
            layouts, put_together = laid.sorts, partial(panel_parts, laid, bars_of(laid))
        else:
            layouts = (lay_out(loaded),)
            put_together = partial(piece_parts, *layouts)
        findings = tuple(dict.fromkeys(one for layout in layouts for one in job_findings(layout)))
        if refuses(findings):
            # Where on the piece they are, no picture of this command's shows.
            raise RefusedError(replace(one, at_mm=None) for one in findings)
        parts = put_together(tolerance_mm=tolerance_mm, hollow_mm=hollow_mm, scale=times, progress=bar)
        bar("writing", 0.9)
        outputs = [(output, solids_file(parts, ending("a solid", output), loaded.name))]
    size = np.ptp(np.vstack([part.corner_mm for part in parts]), axis=0).tolist()
    volume, triangles = (
        sum(of(part.solid) for part in parts)
        for of in (lambda one: one.volume_mm3, lambda one: len(one.triangle))
    )
    write_whole(outputs)
    if json_:
        facts = {
            "size_mm": size,
            "volume_mm3": volume,
            "triangles": triangles,
            "closed": all(part.solid.closed for part in parts),
            "parts": len(parts),
            "tolerance_mm": tolerance_mm,
            "hollow_back_mm": hollow_mm,
            "scale": times,
        }
        say(json.dumps(facts | verdict(findings, None if isinstance(loaded, Panel) else loaded)))
        return
    figures = loaded.figures
    say(click.style(loaded.name, bold=True))
    rows = {
        "size": figures.size(*size) + (f", {format_number(times)} times its own" if times != 1.0 else ""),
        "volume": figures.volume(volume),
        "surface": f"{'' if len(parts) == 1 else f'{len(parts)} parts, each '}closed, {counted(triangles, 'triangle')}; "
        "what is round is off by "
        f"{figures.length(tolerance_mm * times, 4)} at most",
    }
    if hollow_mm is not None:
        rows["back"] = (
            f"hollowed out: {figures.length(hollow_mm * times)} stay under the deepest groove and as walls"
        )
    if isinstance(loaded, Job) and loaded.surface is not None:
        rows["top"] = FLAT
    for label, words in rows.items():
        say(f"  {label:<10}{words}")
    for group in grouped(findings):
        say(f"  {told(group)}")
    say_written(outputs)
