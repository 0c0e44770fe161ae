"""``mizo coupon`` and ``mizo fit``: grooves to cut and measure, and what their widths say of the bit."""

from __future__ import annotations

import json

import click

from vcarve.cli.files import claim, taken_as
from vcarve.cli.options import (
    asked,
    force_option,
    job_argument,
    json_option,
    opened,
    say,
    say_written,
    set_option,
    written,
)
from vcarve.cli.terminal import told
from vcarve.errors import RefusedError, grouped
from vcarve.files import Output, write_whole


@click.command(
    "coupon",
    epilog="Example: mizo coupon tile.yaml -o coupon.nc --sheet coupon.html --table widths.yaml",
)
@job_argument
@written("a program", "-o --output", "FILE", "Where the program goes; - is standard output.")
@set_option
@written("a page", "--sheet", "FILE.html", "A sheet to print: the strip, its widths, a table to fill.")
@written("a YAML file", "--table", "FILE.yaml", "The table that the widths are written into, for 'mizo fit'.")
@click.option(
    "--size",
    metavar="SIZE",
    help="Of the strip at hand, such as 80 x 25 mm; left out, as large as is needed.",
)
@force_option
@json_option
def coupon(
    job: str,
    output: str | None,
    sets: tuple[str, ...],
    sheet: str | None,
    table: str | None,
    size: str | None,
    force: bool,
    json_: bool,
) -> None:
    """Make the program of a coupon: grooves at stepped depths in an off-cut, to be measured.

    Bit, wood, machine and speeds are the job's. Every depth is cut twice, so that a strip that lies aslant does not pass for
    another bit. Cut it, measure the grooves, write their widths into the table: 'mizo fit' then says how the bit cuts.
    """
    from vcarve.coupon.strip import lay_strip, read_size, strip_of
    from vcarve.pipeline import plan_program
    from vcarve.report import verdict
    from vcarve.view.coupon import coupon_rows, coupon_sheet, grooves, table_yaml

    loaded = opened(job, sets)
    claim(asked(), loaded.files, force=force)
    strip = strip_of(loaded, None if size is None else read_size("--size", size), "--size")
    made = plan_program(lay_strip(loaded, strip))
    outputs: list[Output] = []
    if not made.refused:
        texts = made.text, coupon_sheet(made, strip), table_yaml(made, strip)
        outputs = [
            (path, text) for path, text in zip((output, sheet, table), texts, strict=True) if path is not None
        ]
    write_whole(outputs)
    if json_:
        rows = [{"groove": number, "depth_mm": depth} for number, depth in grooves(strip)]
        facts = {"size_mm": [strip.width_mm, strip.height_mm], "grooves": rows, "time_s": made.times.total_s}
        say(json.dumps(facts | verdict(made.told, made.job)))
    if made.refused:
        from vcarve.cli.main import fail

        fail(RefusedError(made.told), writes=bool(asked()))
    if json_:
        return
    say(click.style(made.job.name, bold=True))
    for label, words in coupon_rows(made, strip):
        say(f"  {label:<10}{words}")
    for group in grouped(made.told):
        say(f"  {told(group)}")
    say_written(outputs)
    if not outputs:
        say("Nothing written; give -o FILE to write the program.")


@click.command("fit", epilog="Example: mizo fit widths.yaml --picture fit.svg")
@click.argument("widths", metavar="WIDTHS.yaml")
@written("a picture of the fit", "--picture", "FILE.svg", "Draw the fit, and how far each groove is off it.")
@json_option
def fit(widths: str, picture: str | None, json_: bool) -> None:
    """Work out the bit's true angle and tip from measured widths, each with its standard uncertainty.

    WIDTHS.yaml has depths and widths of a coupon's grooves ('mizo coupon --table' writes it, to be filled in; - is standard
    input). The last lines are the bit as a job names it. What widths alone cannot tell apart is said; widths that the others
    contradict are named, and stay in until you take them out.
    """
    from vcarve.coupon.fit import fit_widths
    from vcarve.coupon.table import load_widths
    from vcarve.view.fit import bit_line, fit_cautions, fit_json, fit_rows, fit_svg, holds

    claim(asked(), (widths,))
    with taken_as("widths", widths):
        found = fit_widths(load_widths(widths))
    outputs: list[Output] = [] if picture is None else [(picture, fit_svg(found))]
    write_whole(outputs)
    if json_:
        say(json.dumps(fit_json(found)))
        return
    say(click.style(found.table.title or "Coupon", bold=True))
    for label, words in fit_rows(found):
        say(f"  {label:<10}{words}")
    for words in fit_cautions(found):
        say(f"  {click.style('caution', fg='yellow', bold=True)}  {words}")
    say("In the job:")
    say(f"  {bit_line(found.bit, found.table.figures, found.spread)}")
    say(holds(found))
    say_written(outputs)
