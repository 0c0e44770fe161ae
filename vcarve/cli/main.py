"""The command group.  Commands are imported only when they are called, so that each starts as fast as it can."""

from __future__ import annotations

import contextlib
import errno
import importlib
import io
import os
import sys
from collections.abc import Iterator, Sequence
from typing import Any, NoReturn

import click

from vcarve import __version__
from vcarve.cli.options import asked
from vcarve.cli.terminal import echo, told
from vcarve.errors import (
    EXIT_INTERNAL,
    InputError,
    InternalError,
    MizoError,
    Problem,
    RefusedError,
    grouped,
)

# Command -> (module, attribute, one line for the list).
COMMANDS = {
    "bench": ("vcarve.cli.bench", "bench", "Try a job out on a page in the browser, and take all away."),
    "program": ("vcarve.cli.program", "program", "Make the program of a job, checked and dry-run."),
    "panel": (
        "vcarve.cli.panel",
        "panel",
        "A panel of tiles: all programs, cutting list, picture and sheet.",
    ),
    "dry-run": ("vcarve.cli.dry_run", "dry_run", "Read a program back: check it, time it, show it."),
    "resume": ("vcarve.cli.resume", "resume", "After a break: the rest of a program as one of its own."),
    "trace": ("vcarve.cli.trace", "trace", "Before the first cut: round piece, cuts and clamps in the air."),
    "probe": ("vcarve.cli.probe", "probe", "Touch the piece's top on a grid, for a board that is not flat."),
    "speeds": ("vcarve.cli.speeds", "speeds", "A job's feed, spindle speed and step beside what is usual."),
    "width": ("vcarve.cli.width", "width", "How wide a bit cuts at a depth, and the other way round."),
    "coupon": (
        "vcarve.cli.coupon",
        "coupon",
        "Grooves to cut in an off-cut and measure: how the bit really cuts.",
    ),
    "fit": ("vcarve.cli.coupon", "fit", "The bit's true angle and tip, from the widths of a coupon."),
    "lines": ("vcarve.cli.program", "lines", "A job's lines, grooves and land as an SVG or DXF drawing."),
    "picture": ("vcarve.cli.picture", "picture", "The finished piece from an angle, with light and shadow."),
    "solid": ("vcarve.cli.solid", "solid", "The carved piece as a closed solid, in 3MF or STL."),
    "patterns": ("vcarve.cli.lists", "patterns", "The patterns there are; their files and pictures."),
    "machines": ("vcarve.cli.lists", "machines", "The machines there are; their files."),
    "bits": ("vcarve.cli.lists", "bits", "The bits there are."),
    "woods": ("vcarve.cli.lists", "woods", "The woods there are."),
    "new": ("vcarve.cli.lists", "new", "A commented job, machine or pattern file to start from."),
    "schema": ("vcarve.cli.lists", "schema", "JSON Schema of job, machine and pattern files."),
    "completion": ("vcarve.cli.lists", "completion", "Completion of commands for the shell."),
}


MOST_PROBLEMS = 100  # told one by one
NO_MEMORY = "the memory does not suffice for this; fewer lines (a larger pitch) or a coarser --step need less"
_FULL = (errno.ENOSPC, errno.EIO)  # of what standard output leads to
EXIT_UNREAD = 141  # what shells give a command whose output nobody reads any more


class Group(click.Group):
    """Lists commands without importing them, and turns our errors into messages and exit codes."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands' names in the order of use."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command."""
        if cmd_name not in COMMANDS:
            return None
        module, name, _ = COMMANDS[cmd_name]
        command = getattr(importlib.import_module(module), name)
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the command that was typed; a name that is not there gets the nearest one named."""
        name = args[0]
        if name not in COMMANDS and not name.startswith("-"):
            import difflib

            near = difflib.get_close_matches(name, COMMANDS, n=1)
            hint = f" Did you mean {near[0]!r}?" if near else " 'mizo --help' lists them."
            ctx.fail(f"There is no command {name!r}.{hint}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, sentence) for name, (_, _, sentence) in COMMANDS.items()])

    def make_context(self, *args: Any, **extra: Any) -> click.Context:
        """Read the words of a call; help and version are printed by this."""
        with heard():
            return super().make_context(*args, **extra)

    def invoke(self, ctx: click.Context) -> object:
        """Run a command; problems and findings go to standard error, all of them, and set the exit code."""
        with heard():
            try:
                return super().invoke(ctx)
            except (click.ClickException, click.exceptions.Exit, click.Abort):
                raise
            except (InputError, RefusedError, MemoryError) as error:
                said = InputError(NO_MEMORY) if isinstance(error, MemoryError) else error
                # A dry run reads, whatever else it is asked for.
                fail(said, writes=bool(asked()) and ctx.invoked_subcommand != "dry-run")
            except Exception as error:
                if isinstance(error, OSError) and (_unread(error) or error.errno in _FULL):
                    raise
                report(error)


def _unread(error: OSError) -> bool:
    # Windows says of a pipe that was closed at its other end that the argument is invalid.
    return error.errno == errno.EPIPE or (sys.platform == "win32" and error.errno == errno.EINVAL)


@contextlib.contextmanager
def heard() -> Iterator[None]:
    """End with the shell's own exit code where nobody reads what is said: that is no refusal; say where it has no room."""
    try:
        yield
    except OSError as error:
        full = error.errno in _FULL
        if not full and not _unread(error):
            raise
        # Nothing more may be written there, not even by Python's own tidying up.
        with contextlib.suppress(OSError):
            nowhere = os.open(os.devnull, os.O_WRONLY)
            for stream in filter(None, (sys.stdout, None if full else sys.stderr)):
                os.dup2(nowhere, stream.fileno())
        if full:
            want = f"standard output cannot be written: {(error.strerror or '').lower()}"
            fail(InputError(Problem(want=want)), writes=False)
        raise click.exceptions.Exit(EXIT_UNREAD) from None


def report(error: Exception) -> NoReturn:
    """Tell of a fault of our own: keep what is needed to mend it in a file, and say which, and what else to keep."""
    import platform
    import tempfile
    import traceback

    sentence = str(error) if isinstance(error, InternalError) else f"{type(error).__name__}: {error}"
    system = f"{platform.python_implementation()} {platform.python_version()}, {platform.platform()}"
    lines = [f"mizo {__version__}, {system}", " ".join(sys.argv), "", *traceback.format_exception(error)]
    echo(f"{click.style('INTERNAL ERROR', fg='red', bold=True)}  {sentence}", err=True)
    echo("The fault is in Mizo, not in what you wrote. Cut nothing that came of this call.", err=True)
    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="mizo-", suffix=".txt", delete=False, encoding="utf-8", errors="backslashreplace"
        ) as kept:
            kept.write("\n".join(lines))
        echo(f"Please keep {kept.name} (it says where it failed), the files you gave and those", err=True)
        echo("they name, and report the fault with them.", err=True)
    except OSError:
        echo("\n".join(lines), err=True)
    raise click.exceptions.Exit(EXIT_INTERNAL)


def fail(
    error: MizoError, *, writes: bool = True, written: Sequence[str] = (), drawn: bool = True
) -> NoReturn:
    """Print an error and leave with its exit code; ``writes`` says that the command would have written files.

    ``drawn`` says that the command has options to see what is wrong;
    ``written`` are the paths of what was written all the same, to see by it what is wrong.
    """
    if isinstance(error, InputError):
        for problem in error.problems[:MOST_PROBLEMS]:
            echo(f"{click.style('wrong', fg='red', bold=True)}  {problem}", err=True)
        if len(error.problems) > MOST_PROBLEMS:
            echo(f"... and {len(error.problems) - MOST_PROBLEMS} more", err=True)
        count = f"{len(error.problems)} problems" if len(error.problems) > 1 else ""
        nothing = "nothing was written" if writes else ""
        last = "; ".join(part for part in (count, nothing) if part)
        if last:
            echo(f"{last[0].upper()}{last[1:]}.", err=True)
    elif isinstance(error, RefusedError):
        for group in grouped(error.findings):
            echo(told(group), err=True)
        files = " and ".join(path for path in written if path != "-")
        if written:
            see = f" See {files}, marked 'must not be cut'." if files else ""
            echo(f"No program was written.{see}", err=True)
        else:
            shown = any(one.at_mm for one in error.findings)
            see = " Add --picture plan.svg or --page run.html to see where." if shown and drawn else ""
            if last := f"{'Nothing was written.' if writes else ''}{see}".strip():
                echo(last, err=True)
    raise click.exceptions.Exit(error.exit_code)


@click.group(
    cls=Group,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="To begin in the browser: mizo bench\n\n"
    "Example: mizo new trivet.yaml, then mizo program trivet.yaml -o trivet.nc\n\n"
    "Exit codes: 0 done, 1 must not be cut, 2 something given is wrong, 70 a fault of Mizo's own, 130 or 143 stopped, "
    "141 nobody reads the output any more.",
)
@click.version_option(__version__, prog_name="mizo")
@click.pass_context
def cli(ctx: click.Context) -> None:
    """Engrave geometric lattice patterns into wood with a V-bit: from a few numbers to a checked program."""
    if os.environ.get("NO_COLOR"):
        ctx.color = False


def main() -> None:
    """Run the command line."""
    if not sys.warnoptions:
        import warnings

        warnings.simplefilter("ignore")  # a library's notes to programmers are nothing for a maker
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a pattern's kanji shows question marks instead.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        with heard():  # why a call is none is said after its context is gone
            cli(prog_name="mizo")
    except click.exceptions.Exit as end:
        sys.exit(end.exit_code)
