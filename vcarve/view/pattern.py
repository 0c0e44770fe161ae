"""One pattern as a picture: its lines and nothing else, ground lines heavier than leaf lines."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator

import numpy as np
import shapely

from vcarve.network.build import Placing, network_on, pattern_graph
from vcarve.network.model import Network
from vcarve.pattern.model import LEAF, Pattern
from vcarve.plane.arrays import Floats
from vcarve.plane.region import lines_along, rectangle
from vcarve.quantity import format_mm
from vcarve.view import look
from vcarve.view.svg import num, path, svg

GROUND_SHARE = 0.011  # stroke widths as shares of the picture's longer side
LEAF_SHARE = 0.0062
EDGE_SHARE = 0.003
SIDE_MM = 100.0
CELLS_SHOWN = 20.0  # unit cells on a picture, about
PNG_PX = 1200


def _colours(theme: look.Theme) -> str:
    """Return a theme's rules of a picture that stands alone."""
    return (
        f".paper{{fill:{theme.raised}}}.ground{{stroke:{theme.ground_line}}}.leaf{{stroke:{theme.leaf_line}}}"
        f".rim{{stroke:{theme.rule}}}"
    )


def patch(pattern: Pattern) -> tuple[Network, float]:
    """Return a square decimetre of the pattern, and the pitch at which it shows a fair number of cells."""
    field, pitch = rectangle(SIDE_MM, SIDE_MM), SIDE_MM / math.sqrt(CELLS_SHOWN * pattern.cell.area)
    return network_on(field, pattern_graph(pattern, Placing(pitch_mm=pitch), field), edge="plain"), pitch


def pattern_picture(pattern: Pattern, ending: str) -> str | bytes:
    """Return a picture of the pattern as it is written to files with this ending, ``.svg`` or ``.png``."""
    network, pitch = patch(pattern)
    if ending == ".png":
        return _png(network)
    title = f"{pattern.name} ({pattern.english})"
    return pattern_svg(network, title=title, description=f"{title}, pitch {format_mm(round(pitch, 2))}.")


def _layers(network: Network) -> Iterator[tuple[str, Floats, float]]:
    """Yield kinds of lines, undermost first, with their curves (n, 5) and the width of their strokes as a share."""
    leaf = network.feature == LEAF
    yield "rim", network.curves(np.flatnonzero(~network.cut)), EDGE_SHARE
    yield "leaf", network.curves(np.flatnonzero(leaf)), LEAF_SHARE
    yield "ground", network.curves(np.flatnonzero(network.cut & ~leaf)), GROUND_SHARE


def pattern_svg(network: Network, *, title: str, description: str = "", inline: bool = False) -> str:
    """Return the lines of a network as SVG text, true to scale.

    ``inline`` leaves size and colours to the page around it, by the classes ``paper``, ``ground``, ``leaf`` and ``rim``.
    """
    x, y = network.xy_mm.T
    low_x, high_x, low_y, high_y = float(x.min()), float(x.max()), float(y.min()), float(y.max())
    size = max(high_x - low_x, high_y - low_y)
    pad = size * GROUND_SHARE
    box = (low_x - pad, -high_y - pad, high_x - low_x + 2 * pad, high_y - low_y + 2 * pad)
    body = [
        f'<rect class="paper" x="{num(box[0])}" y="{num(box[1])}" width="{num(box[2])}" height="{num(box[3])}"/>'
    ]
    body += [
        f'<path class="{kind}" stroke-width="{num(size * share, 3)}" d="{path(lines)}"/>'
        for kind, lines, share in _layers(network)
        if len(lines)
    ]
    style = look.themed(_colours) + ".ground,.leaf,.rim{fill:none;stroke-linecap:round;stroke-linejoin:round}"
    return svg(box, title, description or title, style, body, inline=inline)


def _png(network: Network) -> bytes:
    """Draw the lines of a patch with twofold oversampling."""
    from PIL import Image, ImageDraw

    size = 2 * PNG_PX
    pad = GROUND_SHARE * size
    scale = (size - 2.0 * pad) / SIDE_MM
    colours = {"leaf": look.LIGHT.leaf_line, "ground": look.LIGHT.ground_line}
    image = Image.new("RGB", (size, size), look.LIGHT.raised)
    draw = ImageDraw.Draw(image)
    for kind, lines, share in _layers(network):
        width, colour = max(round(share * size), 1), colours.get(kind)
        for line in lines_along(lines, 0.01) if colour else ():
            x, y = pad + (shapely.get_coordinates(line).T + SIDE_MM / 2.0) * scale
            points = list(zip(x.tolist(), (size - y).tolist(), strict=True))
            draw.line(points, fill=colour, width=width, joint="curve")
            for x, y in (points[0], points[-1]):
                draw.ellipse((x - width / 2, y - width / 2, x + width / 2, y + width / 2), fill=colour)
    out = io.BytesIO()
    image.resize((PNG_PX, PNG_PX), Image.Resampling.LANCZOS).save(out, format="PNG")
    return out.getvalue()
