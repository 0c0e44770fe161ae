"""One pattern as a picture: its lines and nothing else, ground lines heavier than leaf lines."""

from __future__ import annotations

import numpy as np

from vcarve.network.model import Network
from vcarve.pattern.model import LEAF
from vcarve.view import look
from vcarve.view.svg import num, path, svg

GROUND_SHARE = 0.011  # stroke widths as shares of the picture's longer side
LEAF_SHARE = 0.0062
EDGE_SHARE = 0.003


def _colours(theme: look.Theme) -> str:
    """Return a theme's rules of a picture that stands alone."""
    return (
        f".paper{{fill:{theme.raised}}}.ground{{stroke:{theme.ground_line}}}.leaf{{stroke:{theme.leaf_line}}}"
        f".rim{{stroke:{theme.rule}}}"
    )


def pattern_svg(network: Network, *, title: str, description: str = "", inline: bool = False) -> str:
    """Return the lines of a network as SVG text, true to scale.

    ``inline`` leaves size and colours to the page around it, by the classes ``paper``, ``ground``, ``leaf`` and ``rim``.
    """
    x, y = network.xy_mm.T
    low_x, high_x, low_y, high_y = float(x.min()), float(x.max()), float(y.min()), float(y.max())
    size = max(high_x - low_x, high_y - low_y)
    pad = size * GROUND_SHARE
    box = (low_x - pad, -high_y - pad, high_x - low_x + 2 * pad, high_y - low_y + 2 * pad)
    leaf = network.feature == LEAF
    layers = (
        ("rim", ~network.cut, EDGE_SHARE),
        ("leaf", leaf, LEAF_SHARE),
        ("ground", network.cut & ~leaf, GROUND_SHARE),
    )
    body = [
        f'<rect class="paper" x="{num(box[0])}" y="{num(box[1])}" width="{num(box[2])}" height="{num(box[3])}"/>'
    ]
    for kind, chosen, share in layers:
        edges = np.flatnonzero(chosen)
        if len(edges):
            body.append(
                f'<path class="{kind}" stroke-width="{num(size * share, 3)}" d="{path(network.curves(edges))}"/>'
            )
    style = look.themed(_colours) + ".ground,.leaf,.rim{fill:none;stroke-linecap:round;stroke-linejoin:round}"
    return svg(box, title, description or title, style, body, inline=inline)
