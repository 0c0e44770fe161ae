"""``mizo fit``: what the widths of a coupon's grooves say of the bit."""

from __future__ import annotations

import json

import click

from vcarve.cli.files import claim, taken_as
from vcarve.cli.options import asked, json_option, say, say_written, written
from vcarve.files import Output, write_whole


@click.command("fit", epilog="Example: mizo fit widths.yaml --picture fit.svg")
@click.argument("widths", metavar="WIDTHS.yaml")
@written("a picture of the fit", "--picture", "FILE.svg", "Draw the fit, and how far each groove is off it.")
@json_option
def fit(widths: str, picture: str | None, json_: bool) -> None:
    """Work out the bit's true angle and tip from measured widths, each with its standard uncertainty.

    WIDTHS.yaml has depths and widths of a coupon's grooves. Printed is also the bit as a job names it. What widths alone cannot
    tell apart is said; widths that the others contradict are named, and stay in until you take them out.
    """
    from vcarve.coupon.fit import fit_widths
    from vcarve.coupon.table import load_widths
    from vcarve.view.fit import HOLDS, bit_line, fit_cautions, fit_json, fit_rows, fit_svg

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
    say(f"  {bit_line(found)}")
    say(HOLDS)
    say_written(outputs)
