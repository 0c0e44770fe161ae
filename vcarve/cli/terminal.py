"""The one way to the terminal: nothing that came out of a file is ever obeyed by it."""

from __future__ import annotations

import re
import shlex
import sys
import time
from collections.abc import Sequence
from types import TracebackType

import click

from vcarve.errors import Alike, printable

PATIENCE_S = 1.0  # before a progress bar is drawn
WIDTH = 28  # of the bar
# What click.style writes: colours and weights.
_STYLES = re.compile(r"(\x1b\[[0-9;]*m)")


def echo(text: str = "", *, err: bool = False) -> None:
    """Print lines, on standard error with ``err``; all but line breaks and our own colours is spelled out."""
    lines = ("".join(_shown(part) for part in _STYLES.split(line)) for line in text.split("\n"))
    click.echo("\n".join(lines), err=err)


def _shown(part: str) -> str:
    return part if _STYLES.fullmatch(part) else printable(part)


def told(group: Alike) -> str:
    """Return findings of one sentence as a line: what they mean for cutting, where, and how many."""
    colour = "red" if group.first.severity == "refuse" else "yellow"
    return f"{click.style(group.word, fg=colour, bold=True)}  {group}"


def typed(words: Sequence[str]) -> str:
    """Return a command's words as one line for the shell that is usual here."""
    if sys.platform == "win32":
        import subprocess  # slow to import, and only Windows needs it

        return subprocess.list2cmdline(words)
    return shlex.join(words)


class Bar:
    """A progress bar on standard error, for what takes over a second and only on a terminal.

    Call it with a stage and a share between 0 and 1; it draws itself once a second has passed.
    """

    def __init__(self) -> None:
        self.begun = time.monotonic()
        self.drawn = False
        self.wanted = sys.stderr.isatty()

    def __call__(self, stage: str, share: float) -> None:
        """Show how far the work is."""
        if not self.wanted or time.monotonic() - self.begun < PATIENCE_S:
            return
        full = round(WIDTH * min(max(share, 0.0), 1.0))
        bar = "█" * full + "░" * (WIDTH - full)
        click.echo(f"\r\033[K{bar} {share:4.0%}  {stage}", err=True, nl=False)
        self.drawn = True

    def __enter__(self) -> Bar:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.drawn:
            click.echo("\r\033[K", err=True, nl=False)
            self.drawn = False
