"""Small helpers for drawings as SVG text: numbers, paths, and the frame every picture has in common.

Pictures are in millimetres and true to scale; Y points down in SVG, so every place is turned over once, here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

import numpy as np

from vcarve.network.model import Floats, Ints, Network
from vcarve.plane.region import Region, Ring


def num(value: float, decimals: int = 2) -> str:
    """Return a number for SVG: no trailing zeros, never ``-0``."""
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def at(x_mm: float, y_mm: float, decimals: int = 2) -> str:
    """Return a place on the piece as SVG coordinates."""
    return f"{num(x_mm, decimals)} {num(-y_mm, decimals)}"


def _bow(x0: float, y0: float, x1: float, y1: float, bulge: float) -> str:
    """Return the path command that leads to (x1, y1) straight or by an arc; ``bulge`` as in ``pattern.model.Line``."""
    if bulge == 0.0:
        return f"L{at(x1, y1, 3)}"
    radius = float(np.hypot(x1 - x0, y1 - y0)) * (1.0 + bulge * bulge) / (4.0 * abs(bulge))
    # Turned over, a counter-clockwise arc becomes SVG's sweep 0.
    return f"A{num(radius, 3)} {num(radius, 3)} 0 {int(abs(bulge) > 1.0)} {int(bulge < 0.0)} {at(x1, y1, 3)}"


def lines_path(network: Network, edges: Ints) -> str:
    """Return path data of edges, each drawn from tail to head; edges that follow on are not lifted between."""
    xy = network.xy_mm
    parts: list[str] = []
    here = -1
    for edge in edges.tolist():
        tail, head = int(network.tail[edge]), int(network.head[edge])
        x0, y0 = xy[tail].tolist()
        x1, y1 = xy[head].tolist()
        if tail != here:
            parts.append(f"M{at(x0, y0, 3)}")
        parts.append(_bow(x0, y0, x1, y1, float(network.bulge[edge])))
        here = head
    return "".join(parts)


def ring_path(ring: Ring) -> str:
    """Return path data of a closed ring of lines and arcs."""
    points = [(float(x), float(y)) for x, y in ring.xy_mm]
    parts = [f"M{at(*points[0], 3)}"]
    for (x0, y0), (x1, y1), bulge in zip(points, [*points[1:], points[0]], ring.bulge.tolist(), strict=True):
        parts.append(_bow(x0, y0, x1, y1, bulge))
    return "".join(parts) + "Z"


def region_path(region: Region) -> str:
    """Return path data of a region, to be filled by the even-odd rule."""
    return "".join(ring_path(ring) for ring in region.rings)


def polygons_path(corners_mm: Floats) -> str:
    """Return path data of polygons, shape (n, corners, 2), with relative steps to keep it short."""
    # Steps between rounded corners, so that rounding does not add up.
    grid = np.round(corners_mm * (100.0, -100.0)).astype(np.int64)
    first = grid[:, 0]
    steps = np.diff(grid, axis=1)
    parts = []
    for (x, y), walk in zip(first.tolist(), steps.tolist(), strict=True):
        moves = "".join(f"l{_hundredths(dx)} {_hundredths(dy)}" for dx, dy in walk if dx or dy)
        if moves.count("l") > 1:
            parts.append(f"M{_hundredths(x)} {_hundredths(y)}{moves}z")
    return "".join(parts)


def _hundredths(value: int) -> str:
    """Return a hundredth's count as a decimal number."""
    return num(value / 100.0)


def text(
    x: float,
    y: float,
    words: str,
    kind: str = "",
    anchor: str = "start",
    turn: float | None = None,
    size: float = 0.0,
) -> str:
    """Return a line of text at SVG coordinates, escaped."""
    more = f' text-anchor="{anchor}"' if anchor != "start" else ""
    more += f' class="{kind}"' if kind else ""
    more += (
        f' style="font-size:{num(size)}px"' if size else ""
    )  # an attribute would lose against the style sheet
    more += f' transform="rotate({num(turn)} {num(x)} {num(y)})"' if turn is not None else ""
    return f'<text x="{num(x)}" y="{num(y)}"{more}>{escape(words)}</text>'


def svg(
    box: Sequence[float],
    title: str,
    description: str,
    style: str,
    body: Iterable[str],
    *,
    inline: bool = False,
) -> str:
    """Return a whole picture; ``box`` is x, y, width and height in mm.  ``inline`` leaves size and style to a page."""
    x, y, wide, tall = box
    size = "" if inline else f' width="{num(wide)}mm" height="{num(tall)}mm"'
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg"{size} viewBox="{num(x)} {num(y)} {num(wide)} {num(tall)}" role="img">'
        f"<title>{escape(title)}</title><desc>{escape(description)}</desc>"
    )
    sheet = "" if inline else f"<style>{style}</style>"
    return head + sheet + "\n" + "\n".join(part for part in body if part) + "\n</svg>\n"
