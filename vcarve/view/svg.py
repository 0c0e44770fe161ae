"""Small helpers for drawings as SVG text: numbers, paths, and the frame every picture has in common.

Pictures are in millimetres and true to scale; Y points down in SVG, so every place is turned over once, here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

import numpy as np

from vcarve.plane.arcs import circles
from vcarve.plane.arrays import Floats
from vcarve.plane.region import Region
from vcarve.quantity import format_number


def num(value: float, decimals: int = 2) -> str:
    """Return a number for SVG: no trailing zeros, never ``-0``."""
    return format_number(value, decimals)


def drawn(template: str, *values: float | str, **named: float | str) -> str:
    """Fill a template of SVG with texts as they are and numbers as they are written there."""

    def written(value: float | str) -> str:
        return value if isinstance(value, str) else num(value)

    return template.format(*map(written, values), **{key: written(value) for key, value in named.items()})


def at(x_mm: float, y_mm: float, decimals: int = 2) -> str:
    """Return a place on the piece as SVG coordinates."""
    return f"{num(x_mm, decimals)} {num(-y_mm, decimals)}"


def bows(lines: Floats, decimals: int = 3, radius_decimals: int = 3) -> list[str]:
    """Return the path command along each curve (n, 5), see ``plane.arcs``, from its start on."""
    parts = []
    for (_, _, x, y, bulge), radius in zip(lines.tolist(), circles(lines)[1].tolist(), strict=True):
        size = num(radius, radius_decimals) if bulge else ""
        # Turned over, a counter-clockwise arc becomes SVG's sweep 0.
        bow = f"A{size} {size} 0 {int(abs(bulge) > 1.0)} {int(bulge < 0.0)} " if bulge else "L"
        parts.append(f"{bow}{at(x, y, decimals)}")
    return parts


def path(lines: Floats, decimals: int = 3, radius_decimals: int = 3) -> str:
    """Return path data of curves (n, 5); those that follow on are not lifted between."""
    starts, ends = lines[:, :2], np.roll(lines[:, 2:4], 1, axis=0)
    lifted = (starts != ends).any(axis=1)
    lifted[:1] = True
    commands = bows(lines, decimals, radius_decimals)
    return "".join(
        f"M{at(x, y, decimals)}{bow}" if up else bow
        for (x, y), up, bow in zip(starts.tolist(), lifted.tolist(), commands, strict=True)
    )


def ring_path(sides: Floats, decimals: int = 3, radius_decimals: int = 3) -> str:
    """Return path data of the sides (n, 5) of a ring; a straight last one is drawn by closing."""
    return path(sides if sides[-1, 4] else sides[:-1], decimals, radius_decimals) + "Z"


def region_path(region: Region) -> str:
    """Return path data of a region, to be filled by the even-odd rule."""
    return "".join(ring_path(ring.curves) for ring in region.rings)


def polygons_path(corners_mm: Floats) -> str:
    """Return path data of polygons, shape (n, corners, 2), with relative steps to keep it short."""
    # Steps between rounded corners, so that rounding does not add up.
    grid = np.round(corners_mm * (100.0, -100.0)).astype(np.int64)
    parts = []
    for (x, y), walk in zip(grid[:, 0].tolist(), np.diff(grid, axis=1).tolist(), strict=True):
        steps = [f"l{num(dx / 100)} {num(dy / 100)}" for dx, dy in walk if dx or dy]
        if len(steps) > 1:
            parts.append(f"M{num(x / 100)} {num(y / 100)}{''.join(steps)}z")
    return "".join(parts)


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
    # As an attribute it would lose against the style sheet.
    more += f' style="font-size:{num(size)}px"' if size else ""
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
