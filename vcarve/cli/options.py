"""Options that several commands share."""

from __future__ import annotations

from collections.abc import Callable

import click

from vcarve.errors import InputError, Problem

WRITES = "mizo.writes"  # in a call's context where a file was asked for


def asked(ctx: click.Context, _: click.Parameter, path: str | None) -> str | None:
    """Note that a call is to write a file: only then is it news that nothing was written."""
    if path is not None:
        ctx.meta[WRITES] = True
    return path


def quantity(option: str, reader: Callable[[str], float], text: str | None) -> float | None:
    """Read an option's quantity; a wrong one is a problem that names the option."""
    from vcarve.quantity import QuantityError

    if text is None:
        return None
    try:
        return reader(text)
    except QuantityError as error:
        raise InputError(Problem(key=option, value=text, want=str(error))) from None


set_option = click.option(
    "--set",
    "sets",
    metavar="KEY=VALUE",
    multiple=True,
    help="Change a value of the job; KEY= takes the key out. May be repeated.",
)
