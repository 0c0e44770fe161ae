"""Findings as lines for the terminal."""

from __future__ import annotations

import click

from vcarve.errors import Alike


def told(group: Alike) -> str:
    """Return findings of one sentence as a line: what they mean for cutting, where, and how many."""
    colour = "red" if group.first.severity == "refuse" else "yellow"
    return f"{click.style(group.word, fg=colour, bold=True)}  {group}"
