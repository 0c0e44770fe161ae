"""The one way to the terminal: nothing that came out of a file is ever obeyed by it."""

from __future__ import annotations

import re
import shlex
import sys
from collections.abc import Sequence

import click

from vcarve.errors import Alike, printable

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
