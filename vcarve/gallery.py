"""Patterns shown by themselves: one picture, the facts of one, or all of them on a page."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence

import numpy as np

from vcarve.network.build import build
from vcarve.network.model import Network
from vcarve.pattern.inspect import inspect
from vcarve.pattern.model import LEAF, Pattern
from vcarve.plane.arcs import chords
from vcarve.plane.region import rectangle
from vcarve.quantity import format_mm
from vcarve.view import look
from vcarve.view.gallery import angle_words, gallery_html, item, vertex_figures
from vcarve.view.pattern import GROUND_SHARE, LEAF_SHARE, pattern_svg

SIDE_MM = 100.0
CELLS_SHOWN = 20.0  # unit cells on a picture, about
PNG_PX = 1200


def patch(pattern: Pattern) -> tuple[Network, float]:
    """Return a square decimetre of the pattern, and the pitch at which it shows a fair number of cells."""
    pitch = SIDE_MM / math.sqrt(CELLS_SHOWN * pattern.cell_area)
    return build(pattern, region=rectangle(SIDE_MM, SIDE_MM), pitch_mm=pitch, edge="plain"), pitch


def pattern_picture(pattern: Pattern, ending: str) -> str | bytes:
    """Return a picture of the pattern as it is written to files with this ending, ``.svg`` or ``.png``."""
    network, pitch = patch(pattern)
    if ending == ".png":
        return _png(network)
    title = f"{pattern.name} ({pattern.english})"
    return pattern_svg(network, title=title, description=f"{title}, pitch {format_mm(round(pitch, 2))}")


def gallery_page(patterns: Sequence[Pattern]) -> str:
    """Return the page of all the patterns given."""
    return gallery_html([item(pattern, patch(pattern)[0]) for pattern in patterns])


def pattern_facts(pattern: Pattern) -> list[tuple[str, str]]:
    """Return what its file does not say of a pattern as (label, text) lines."""
    angles, odd = vertex_figures(pattern)
    length = sum(line.length for line in pattern.lines)
    rows = [
        ("angles", angle_words(angles)),
        ("odd", f"{odd} vertices per unit cell where an odd number of lines meet"),
        ("cut", f"{length / pattern.cell_area:.4g} x 10 000 / pitch mm of lines per square decimetre"),
    ]
    rows.extend(("caution", finding.sentence) for finding in inspect(pattern))
    return [(label, text) for label, text in rows if text]


def _png(network: Network) -> bytes:
    """Draw a network's lines with twofold oversampling."""
    from PIL import Image, ImageDraw

    size = 2 * PNG_PX
    pad = GROUND_SHARE * size
    scale = (size - 2.0 * pad) / SIDE_MM
    theme = look.LIGHT
    image = Image.new("RGB", (size, size), theme.raised)
    draw = ImageDraw.Draw(image)
    for leaf_turn in (True, False):
        share = LEAF_SHARE if leaf_turn else GROUND_SHARE
        width = max(round(share * size), 1)
        colour = theme.leaf_line if leaf_turn else theme.ground_line
        for edge in np.flatnonzero(network.cut & ((network.feature == LEAF) == leaf_turn)).tolist():
            curve = network.curves(np.array([edge]))
            along = np.vstack([chords(curve, 0.01)[0], curve[:, 2:4]])
            points = [
                (pad + (x + SIDE_MM / 2.0) * scale, size - pad - (y + SIDE_MM / 2.0) * scale)
                for x, y in along.tolist()
            ]
            draw.line(points, fill=colour, width=width, joint="curve")
            for x, y in (points[0], points[-1]):
                draw.ellipse((x - width / 2, y - width / 2, x + width / 2, y + width / 2), fill=colour)
    out = io.BytesIO()
    image.resize((PNG_PX, PNG_PX), Image.Resampling.LANCZOS).save(out, format="PNG")
    return out.getvalue()
