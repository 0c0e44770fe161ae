"""``mizo picture``: the finished piece from an angle, as one would show it to a customer."""

from __future__ import annotations

import re
from collections.abc import Callable

import click

from vcarve.cli.files import claim
from vcarve.cli.options import (
    asked,
    job_argument,
    opened_either,
    quantity,
    say,
    say_written,
    set_option,
    written,
)
from vcarve.cli.terminal import progress_bar, told
from vcarve.errors import InputError, Problem, RefusedError, grouped
from vcarve.files import write_whole

LEAST_PX, MOST_PX = 200, 4000
FINEST_MM = 0.02
MOST_PIXELS = 9_000_000  # of the height map: what is finer is not seen


def _size(text: str | None) -> tuple[int, int | None]:
    """Read a picture's size in dots: its width, or both."""
    if text is None:
        return 1600, None
    found = re.fullmatch(r"\s*(\d{1,5})\s*(?:[x×]\s*(\d{1,5}))?\s*(?:px)?\s*", text, re.IGNORECASE)
    sides = [int(side) for side in found.groups() if side] if found else []
    if not sides or not all(LEAST_PX <= side <= MOST_PX for side in sides):
        want = f"give the width in dots, or width x height such as 1600x1200, {LEAST_PX} to {MOST_PX} each"
        raise InputError(Problem(key="--size", value=text, want=want))
    return sides[0], sides[1] if len(sides) > 1 else None


def _tell(bar: Callable[[str, float], None], index: int, count: int, stage: str, share: float) -> None:
    bar(stage, 0.4 * (index + share) / count)


@click.command(
    "picture", epilog='Example: mizo picture trivet.yaml -o trivet.png --rise "30 deg" --turn "20 deg"'
)
@job_argument
@written("a picture of the piece", "-o --output", "FILE.png", "Where the picture goes.", required=True)
@set_option
@click.option("--rise", metavar="ANGLE", help="How high the eye stands, 20 to 90 degrees; left out, 42.")
@click.option(
    "--turn", metavar="ANGLE", help="How far round from the front, to the right; left out, -24 degrees."
)
@click.option("--size", metavar="SIZE", help="In dots, such as 2400 or 1600x1200; left out, 1600 wide.")
def picture(
    job: str, output: str, sets: tuple[str, ...], rise: str | None, turn: str | None, size: str | None
) -> None:
    """Show the finished piece, or a panel, from an angle: carved as its program does it, in its wood, with light and shadow.

    It is how the piece could look, not how your board will: grain and light are made up. JOB.yaml may be - for standard input.
    """
    from functools import partial

    from vcarve.dryrun.carve import suitable_step_mm
    from vcarve.dryrun.measure import carved
    from vcarve.job.panel import Panel
    from vcarve.layout.stages import lay_out
    from vcarve.panel.tiles import LaidPanel, field_mm, lay_panel
    from vcarve.pipeline import plan_program
    from vcarve.proofing import target_of
    from vcarve.quantity import angle_deg
    from vcarve.view.panel_shot import Shown, shown
    from vcarve.view.shot import View, shot_png

    wide, high = _size(size)
    usual = View()
    rise_deg, turn_deg = (
        usual_deg if (given := quantity(option, angle_deg, text)) is None else given
        for option, text, usual_deg in (("--rise", rise, usual.rise_deg), ("--turn", turn, usual.turn_deg))
    )
    for option, text, value, (least, most) in (
        ("--rise", rise, rise_deg, (20.0, 90.0)),
        ("--turn", turn, turn_deg, (-360.0, 360.0)),
    ):
        if not least <= value <= most:
            want = f"an angle from {least:g} to {most:g} degrees is wanted"
            raise InputError(Problem(key=option, value=text, want=want))
    loaded = opened_either(job, sets)
    claim(asked(), loaded.files)
    with progress_bar() as bar:
        laid: LaidPanel | None = None
        if isinstance(loaded, Panel):
            laid = lay_panel(loaded)
            layouts = laid.sorts
        else:
            layouts = (lay_out(loaded),)
        every = []
        for index, layout in enumerate(layouts):
            begun = partial(_tell, bar, index, len(layouts))
            every.append(plan_program(layout, progress=begun))
        bar("carving", 0.4)
        piece = layouts[0].job.piece
        sides = (piece.width_mm, piece.height_mm) if laid is None else field_mm(laid.panel)
        finest = max(max(sides) / (1.2 * wide), FINEST_MM)
        step = suitable_step_mm(*sides, finest_mm=finest, most_pixels=MOST_PIXELS)
        surfaces = [carved(target_of(made.layout), made.reading.moves, step) for made in every]
        refused = any(made.refused for made in every)
        seen = Shown(surfaces[0], layouts[0].rings, piece.thickness_mm, piece.wood.tint)
        png = shot_png(
            *(seen if laid is None else shown(laid, surfaces, step)),
            View(rise_deg=rise_deg, turn_deg=turn_deg, width_px=wide, height_px=high),
            mark="Must not be cut" if refused else "",
            progress=lambda share: bar("looking at it", 0.5 + 0.5 * share),
        )
    told_of = tuple(dict.fromkeys(one for made in every for one in made.told))
    outputs = [(output, png)]
    write_whole(outputs)
    if refused:
        from vcarve.cli.main import fail

        fail(RefusedError(told_of), writes=True, written=[output])
    for group in grouped(told_of):
        say(f"  {told(group)}")
    say_written(outputs)
