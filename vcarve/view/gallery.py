"""All patterns on one page that needs no network: pictures, names and figures, filtered by family and lattice."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape

import numpy as np

from vcarve.pattern.inspect import inspect
from vcarve.pattern.model import Pattern
from vcarve.plane.arcs import curves, directions, lengths
from vcarve.quantity import MM, format_deg
from vcarve.view.facts import NBSP, length
from vcarve.view.look import palette_css
from vcarve.view.page import filled, part
from vcarve.view.pattern import patch, pattern_svg

MM2_PER_DM2 = 10_000.0
COMPARED_MM = 20.0  # the pitch at which the lengths to cut are given, so that patterns can be compared


def vertex_figures(pattern: Pattern) -> tuple[tuple[float, ...], int]:
    """Return the different angles (degrees) between neighbouring lines at a vertex, and the odd vertices per unit cell."""
    unit = pattern.unit_network
    chord = (unit.uv[unit.head] + unit.step - unit.uv[unit.tail]) @ pattern.cell.basis
    lines = curves(np.zeros_like(chord), chord, unit.bulge)
    out = np.concatenate([directions(lines, 0.0), -directions(lines, 1.0)])
    at = np.concatenate([unit.tail, unit.head])
    # Rounded, so that 359.9999 and 0 are one direction and angles come out even.
    way = np.round(np.degrees(np.arctan2(out[:, 1], out[:, 0])), 4) % 360.0
    order = np.lexsort((way, at))
    way, spokes = way[order], np.bincount(at)
    last = np.cumsum(spokes) - 1
    onward = np.roll(way, -1)
    onward[last] = way[last - spokes + 1] + 360.0
    gaps, beside = onward - way, np.repeat(spokes, spokes)
    # One line has no neighbour, and one that only passes through makes no angle.
    told = gaps[(beside > 2) | ((beside == 2) & (np.abs(gaps - 180.0) > 0.01))]
    return tuple(np.unique(np.round(told, 2)).tolist()), int(np.count_nonzero(spokes % 2))


def cut_length(pattern: Pattern) -> float:
    """Return the length of lines per area, both in the pattern's unit: over a pitch it is the length per area of the piece."""
    return float(lengths(pattern.curves).sum()) / pattern.cell.area


def pattern_facts(pattern: Pattern) -> list[tuple[str, str]]:
    """Return what its file does not say of a pattern as (label, text) lines."""
    angles, odd = vertex_figures(pattern)
    return [
        ("angles", angle_words(angles)),
        ("odd", f"{odd} vertices per unit cell where an odd number of lines meet"),
        ("cut", f"{cut_length(pattern):.4g} x 10 000 / pitch mm of lines per square decimetre"),
        *(("caution", finding.sentence) for finding in inspect(pattern)),
    ]


def _buttons(of: str, values: Iterable[str]) -> str:
    """Return one row of buttons, the first for all."""
    parts = [f'<button type="button" data-of="{of}" value="" aria-pressed="true">all</button>']
    parts += [
        f'<button type="button" data-of="{of}" value="{escape(v)}" aria-pressed="false">{escape(v)}</button>'
        for v in values
    ]
    return f"<fieldset><legend>{of}</legend>{''.join(parts)}</fieldset>"


def _card(shown: Pattern) -> str:
    """Return one pattern's card."""
    angles, odd = vertex_figures(shown)
    cut = length(math.floor(cut_length(shown) / COMPARED_MM * MM2_PER_DM2 + 0.5), MM)
    choice = f" Our choice: {escape(shown.choice)}" if shown.choice else ""
    title = f"{shown.name}, {shown.english}"
    return (
        f'<li data-family="{escape(shown.family)}" data-lattice="{escape(shown.lattice.kind)}">'
        f"{pattern_svg(patch(shown)[0], title=title, description=shown.note, inline=True)}"
        f'<h2>{escape(shown.name)} <span lang="ja">{escape(shown.kanji)}</span></h2>'
        f'<p class="english">{escape(shown.english)}<br><code>{escape(shown.key)}</code></p>'
        f"<dl><dt>angles</dt><dd>{angle_words(angles)}</dd><dt>ends of passes per repeat</dt><dd>{odd}</dd>"
        f"<dt>to cut per dm²</dt><dd>{cut}</dd>"
        f"<dt>usual pitch</dt><dd>{MM.number(shown.pitch_mm[0])}{NBSP}to{NBSP}{length(shown.pitch_mm[1], MM)}</dd>"
        f"<dt>lattice</dt><dd>{escape(shown.lattice.kind)}</dd></dl>"
        f'<p class="note">{escape(shown.note)}{choice}</p></li>'
    )


def angle_words(angles_deg: Sequence[float]) -> str:
    """Return angles in words.  Straight on and the outer side of a corner say nothing new; lines at 0° touch."""
    words = [format_deg(angle, 1) for angle in angles_deg if 0.05 <= angle < 179.95]
    if any(angle < 0.05 for angle in angles_deg):
        words.append("touching")
    return ", ".join(words) or "none"


def gallery_html(patterns: Sequence[Pattern]) -> str:
    """Return the page as HTML text: one file, no network, light and dark; the same patterns give the same text."""
    families, lattices = {one.family for one in patterns}, {str(one.lattice.kind) for one in patterns}
    slots = {
        "compared": length(COMPARED_MM, MM),
        "buttons": _buttons("family", sorted(families)) + _buttons("lattice", sorted(lattices)),
        "count": str(len(patterns)),
        "cards": "\n".join(map(_card, patterns)),
    }
    return filled("gallery", part("gallery.js"), slots, palette_css(switched=False))
