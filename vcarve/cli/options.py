"""Options that several commands share."""

from __future__ import annotations

import click

WRITES = "mizo.writes"  # in a call's context where a file was asked for


def asked(ctx: click.Context, _: click.Parameter, path: str | None) -> str | None:
    """Note that a call is to write a file: only then is it news that nothing was written."""
    if path is not None:
        ctx.meta[WRITES] = True
    return path


set_option = click.option(
    "--set",
    "sets",
    metavar="KEY=VALUE",
    multiple=True,
    help="Change a value of the job; KEY= takes the key out. May be repeated.",
)
