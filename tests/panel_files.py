"""A panel's file for tests, and panels read from texts."""

from __future__ import annotations

from pathlib import Path

from vcarve.job.panel import Panel, load_panel

CHECKER = """\
title: Checker of hemp leaves
panel: {columns: 3, rows: 3, gap: 1.5 mm, frame: {width: 25 mm, thickness: 18 mm, rebate: 5 mm}}
tile: {width: 100 mm, height: 100 mm, thickness: 12 mm}
pattern: {name: kaku-asanoha, across: 2}
groove: {depth: 2 mm}
woods:
  - [maple-sugar, walnut-black, maple-sugar]
  - [walnut-black, maple-sugar, walnut-black]
  - [maple-sugar, walnut-black, maple-sugar]
bit: v90-6.35
machine: rs274-mill
"""


def panel_from(folder: Path, *sets: str, text: str = CHECKER) -> Panel:
    """Read a panel from a text that is written into a folder."""
    path = folder / "panel.yaml"
    path.write_text(text, encoding="utf-8")
    return load_panel(str(path), sets)
