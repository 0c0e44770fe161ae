"""Options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

import click

from vcarve.errors import InputError, Problem

if TYPE_CHECKING:
    from vcarve.job.records import Job

WRITES = "mizo.writes"  # in a call's context where a file was asked for


def asked(ctx: click.Context, _: click.Parameter, path: str | None) -> str | None:
    """Note that a call is to write a file: only then is it news that nothing was written."""
    if path is not None:
        ctx.meta[WRITES] = True
    return path


def opened(job: str, sets: tuple[str, ...]) -> Job:
    """Read the job that a call names, with what it sets; a file of another kind is told as such."""
    from vcarve.cli.kinds import taken_as
    from vcarve.job.load import load_job

    with taken_as("job", job):
        return load_job(job, sets)


def quantity(option: str, reader: Callable[[str], float], text: str | None) -> float | None:
    """Read an option's quantity; a wrong one is a problem that names the option."""
    from vcarve.quantity import QuantityError

    if text is None:
        return None
    try:
        return reader(text)
    except QuantityError as error:
        raise InputError(Problem(key=option, value=text, want=str(error))) from None


written = partial(click.option, callback=asked)
json_option = click.option("--json", "json_", is_flag=True, help="Print JSON instead of words.")
job_argument = click.argument("job", metavar="JOB.yaml")
set_option = click.option(
    "--set",
    "sets",
    metavar="KEY=VALUE",
    multiple=True,
    help="Change a value of the job; KEY= takes the key out. May be repeated.",
)
