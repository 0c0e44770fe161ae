"""``mizo panel``: from a panel file to a folder with the programs of its tiles, a cutting list, a picture and a sheet."""

from __future__ import annotations

import json
from pathlib import Path

import click

from vcarve.cli.options import force_option, json_option, noted, say, set_option
from vcarve.cli.terminal import echo, progress_bar, told
from vcarve.errors import RefusedError, grouped
from vcarve.files import claim_folder, write_folder


@click.command("panel", epilog="Example: mizo panel screen.yaml -o screen --set moisture.most='12 %'")
@click.argument("panel", metavar="PANEL.yaml")
@click.option(
    "-o",
    "--output",
    metavar="FOLDER",
    help="A folder for the programs, panel.svg and sheet.html; it is made, whole or not at all.",
    callback=lambda ctx, param, path: noted("a folder", ctx, param, path),
)
@set_option
@force_option
@json_option
def panel(panel: str, output: str | None, sets: tuple[str, ...], force: bool, json_: bool) -> None:
    """Make all programs of a panel: tiles of several woods, side by side in a frame.

    Tiles that are cut alike share a program; tiles cut out of boards have one for each board. With them come a cutting list, how
    the wood will move, a picture of the finished panel and a sheet. Without -o only the summary is printed.
    """
    from vcarve.cli.files import taken_as
    from vcarve.drawn import panel_files
    from vcarve.job.panel import load_panel
    from vcarve.pipeline import plan_panel
    from vcarve.report import panel_json
    from vcarve.view.panel import all_findings, panel_rows

    with taken_as("panel", panel):
        loaded = load_panel(panel, sets)
    if output is not None:
        claim_folder(output, force=force)
    with progress_bar() as bar:
        made = plan_panel(loaded, bar)
    files: dict[str, str | bytes] = {}
    others: list[str] = []
    if output is not None and not made.refused:
        files = panel_files(made)
        read = {name for layout in made.laid.sorts for name in layout.job.files}
        others = write_folder(output, files, read, force=force)
    if json_:
        say(json.dumps(panel_json(made)))
    found = tuple(all_findings(made))
    if made.refused:
        from vcarve.cli.main import fail

        fail(RefusedError(found), writes=output is not None, drawn=False)
    for name in others:
        left = f"{Path(str(output), name)} was there before and is no program of this panel: do not cut it."
        echo(f"  caution  {left}", err=True)
    if json_:
        return
    say(click.style(loaded.name, bold=True))
    rows = panel_rows(made)
    wide = max(len(label) for label, _ in rows) + 2
    for label, words in rows:
        say(f"  {label:<{wide}}{words}")
    for group in grouped(found):
        say(f"  {told(group)}")
    for name in files:
        say(f"wrote {Path(str(output), name)}")
    if not files:
        say("Nothing written; give -o FOLDER to write the programs.")
