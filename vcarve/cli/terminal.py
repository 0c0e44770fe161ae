"""The one way to the terminal: nothing that came out of a file is ever obeyed by it."""

from __future__ import annotations

import re
import shlex
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

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


@contextmanager
def progress_bar() -> Iterator[Callable[[str, float], None]]:
    """Yield what shows a stage and a share between 0 and 1 on standard error: on a terminal only, once a second has passed."""
    begun, wanted, drawn = time.monotonic(), bool(sys.stderr and sys.stderr.isatty()), False

    def show(stage: str, share: float) -> None:
        nonlocal drawn
        if wanted and time.monotonic() - begun >= PATIENCE_S:
            full = round(WIDTH * min(max(share, 0.0), 1.0))
            bar = "█" * full + "░" * (WIDTH - full)
            click.echo(f"\r\033[K{bar} {share:4.0%}  {stage}", err=True, nl=False)
            drawn = True

    try:
        yield show
    finally:
        if drawn:
            click.echo("\r\033[K", err=True, nl=False)
