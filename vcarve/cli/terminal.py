"""The one way to the terminal: nothing that came out of a file is ever obeyed by it."""

from __future__ import annotations

import re

import click

from vcarve.errors import printable

# What click.style writes: colours and weights.
_STYLES = re.compile(r"(\x1b\[[0-9;]*m)")


def echo(text: str = "", *, err: bool = False) -> None:
    """Print lines, on standard error with ``err``; all but line breaks and our own colours is spelled out."""
    lines = ("".join(_shown(part) for part in _STYLES.split(line)) for line in text.split("\n"))
    click.echo("\n".join(lines), err=err)


def _shown(part: str) -> str:
    return part if _STYLES.fullmatch(part) else printable(part)
