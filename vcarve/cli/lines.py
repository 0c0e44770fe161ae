"""``mizo lines``: the network, the groove outlines and the land as a drawing for other programs."""

from __future__ import annotations

import click

from vcarve.cli.files import claim, ending, write_and_tell
from vcarve.cli.options import job_argument, opened, set_option, written


@click.command("lines", epilog="Example: mizo lines trivet.yaml -o trivet.dxf")
@job_argument
@written("-o", "--output", metavar="FILE", required=True, help="Where the drawing goes: .svg or .dxf.")
@set_option
def lines(job: str, output: str, sets: tuple[str, ...]) -> None:
    """Draw a job's lines, the outlines of its grooves and its land, true to scale in millimetres."""
    from vcarve.drawn import draw
    from vcarve.layout.stages import lay_out

    loaded = opened(job, sets)
    claim([("a drawing of the lines", output)], inputs=loaded.files)
    drawn = draw(lay_out(loaded), ending("a drawing of the lines", output))
    write_and_tell([(output, drawn)], loaded.files)
