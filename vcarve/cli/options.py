"""Options that several commands share, and what they make of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

import click

from vcarve.cli.terminal import echo
from vcarve.errors import InputError, Problem

if TYPE_CHECKING:
    from vcarve.files import Output
    from vcarve.job.panel import Panel
    from vcarve.job.records import Job

_Taking = TypeVar("_Taking", bound=Callable[..., Any] | click.Command)
_WRITES = "mizo.writes"  # in a call's context: what is asked for, as (what, path)


def asked() -> list[tuple[str, str]]:
    """Return the files that this call is to write, as ``files.claim`` takes them."""
    found: list[tuple[str, str]] = click.get_current_context().meta.setdefault(_WRITES, [])
    return found


def written(
    what: str, names: str, metavar: str, help: str, *, required: bool = False
) -> Callable[[_Taking], _Taking]:
    """Make an option, by its names, for a file that becomes ``what``; see ``files.ENDINGS``."""
    return click.option(
        *names.split(), metavar=metavar, help=help, required=required, callback=partial(noted, what)
    )


def noted(what: str, _: click.Context, __: click.Parameter, path: str | None) -> str | None:
    """Note that a call is to write ``what`` at a path."""
    if path is not None:
        asked().append((what, path))
    return path


def say(text: str) -> None:
    """Print lines on standard output, or beside it where it belongs to a file that goes there."""
    echo(text, err=any(path == "-" for _, path in asked()))


def say_written(outputs: Sequence[Output]) -> None:
    """Name the files that were written."""
    for path, _ in outputs:
        if path != "-":
            say(f"wrote {path}")


def opened(job: str, sets: tuple[str, ...]) -> Job:
    """Read the job that a call names, with what it sets; a file of another kind is told as such."""
    from vcarve.cli.files import taken_as
    from vcarve.job.records import load_job

    with taken_as("job", job):
        return load_job(job, sets)


def opened_either(job: str, sets: tuple[str, ...]) -> Job | Panel:
    """Read the job or the panel that a call names, likewise."""
    from vcarve.cli.files import taken_as
    from vcarve.files import kind_of
    from vcarve.job.panel import load_either

    with taken_as("panel" if kind_of(job) == "panel" else "job", job):
        return load_either(job, sets)


def quantity(option: str, reader: Callable[[str], float], text: str | None) -> float | None:
    """Read an option's quantity; a wrong one is a problem that names the option."""
    from vcarve.quantity import QuantityError

    try:
        return None if text is None else reader(text)
    except QuantityError as error:
        raise InputError(Problem(key=option, value=text, want=str(error))) from None


json_option = click.option("--json", "json_", is_flag=True, help="Print JSON instead of words.")
force_option = click.option("--force", is_flag=True, help="Write over a file that is there already.")
job_argument = click.argument("job", metavar="JOB.yaml")
set_option = click.option(
    "--set",
    "sets",
    metavar="KEY=VALUE",
    multiple=True,
    help="Change a value of the job; KEY= takes the key out. May be repeated.",
)
