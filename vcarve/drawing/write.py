"""Lines and closed shapes as drawings for other programs, SVG or DXF, true to scale in millimetres.

Layers are groups in SVG.  The same page gives the same bytes.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np

from vcarve.plane.arcs import Floats, circles
from vcarve.view import look

# The nearest of DXF's numbered colours to those of the look.
_NUMBERS = {"ground": 5, "leaf": 4, "frame": 7, "outline": 8, "groove": 1, "land": 9}
_OTHER = 5
_SIGNS = r"[<>/\\\":;?*|=`\x00-\x1f]"  # DXF reference: none of these in the name of a layer


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What is drawn: lines and closed shapes by layer, and the page itself (left, front, right, back).

    Lines, and the sides of a shape, are rows (n, 5) as in ``plane.arcs``.
    """

    lines: dict[str, Floats]
    shapes: dict[str, list[Floats]]
    box: tuple[float, float, float, float]


def svg_text(page: Page) -> str:
    """Return an SVG file in millimetres whose user units are the piece's coordinates, Y mirrored.  Arcs are arcs."""
    left, front, right, back = page.box
    width, height = _number(right - left), _number(back - front)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="{_number(left)} {_number(-back)} {width} {height}" fill="none" stroke-width="0.1">',
    ]
    drawn = {name: [[side] for side in _with_radii(rows)] for name, rows in page.lines.items()}
    shapes = {name: [_with_radii(rows) for rows in each] for name, each in page.shapes.items()}
    for runs, closed in ((drawn, False), (shapes, True)):
        for name, each in runs.items():
            colour = look.DRAWN.get(name, look.DRAWN_OTHER)
            lines.append(f'<g id="{escape(name)}" stroke="{colour}">')
            lines += [f'<path d="{_path(run, closed)}"/>' for run in each]
            lines.append("</g>")
    return "\n".join([*lines, "</svg>", ""])


def dxf_text(page: Page) -> str:
    """Return a DXF file (release 2000, ASCII, millimetres) in the piece's coordinates; the drawing's limits are the page.

    Lines are LINE and ARC entities, shapes closed polylines with bulges.
    """
    import ezdxf
    from ezdxf.math import bulge_to_arc

    options: Any = ezdxf.options  # type: ignore[attr-defined]
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # no dates, and no numbers drawn by chance
    try:
        document = ezdxf.new("R2000", units=4)  # type: ignore[attr-defined]
        left, front, right, back = page.box
        space = document.modelspace()
        space.reset_limits((left, front), (right, back))
        space.reset_extents((left, front, 0.0), (right, back, 0.0))
        names = _layer_names([*page.lines, *page.shapes])
        for name, entry in names.items():
            document.layers.add(entry, color=_NUMBERS.get(name, _OTHER))
        for name, rows in page.lines.items():
            on = {"layer": names[name]}
            for x0, y0, x1, y1, bulge in rows.tolist():
                if bulge == 0.0:
                    space.add_line((x0, y0), (x1, y1), dxfattribs=on)
                    continue
                centre, first, last, radius = bulge_to_arc((x0, y0), (x1, y1), bulge)
                space.add_arc(centre, radius, math.degrees(first), math.degrees(last), dxfattribs=on)
        for name, drawn in page.shapes.items():
            for run in drawn:
                sides = run[:, [0, 1, 4]].tolist()
                space.add_lwpolyline(sides, format="xyb", close=True, dxfattribs={"layer": names[name]})
        text = io.StringIO()
        document.write(text)
    finally:
        options.write_fixed_meta_data_for_testing = before
    return text.getvalue().encode("ascii", errors="dxfreplace").decode("ascii")


def _number(value: float) -> str:
    """Return millimetres to the nanometre, without idle digits."""
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _with_radii(rows: Floats) -> list[list[float]]:
    """Return rows with the radius of each behind it."""
    return np.column_stack([rows, circles(rows)[1]]).tolist()  # type: ignore[no-any-return]


def _path(run: list[list[float]], closed: bool) -> str:
    """Return the data of a path.  SVG has Y downwards: what turns left here turns left there too, which SVG writes as
    sweep flag 0."""
    parts = [f"M{_number(run[0][0])} {_number(-run[0][1])}"]
    for _, _, x, y, bulge, radius in run:
        if bulge == 0.0:
            parts.append(f"L{_number(x)} {_number(-y)}")
            continue
        size = f"{radius:.12f}".rstrip("0").rstrip(".")  # more than the last nanometre hangs on it
        flags = f"{int(abs(bulge) > 1.0)} {int(bulge < 0.0)}"
        parts.append(f"A{size} {size} 0 {flags} {_number(x)} {_number(-y)}")
    if closed and run[-1][4] == 0.0:
        parts.pop()  # a straight last side is drawn by closing
    return "".join(parts) + ("Z" if closed else "")


def _layer_names(names: Iterable[str]) -> dict[str, str]:
    """Return names of layers that DXF takes, each only once, however its letters are written."""
    result: dict[str, str] = {}
    for name in names:
        plain = re.sub(_SIGNS, "_", name)[:200] or "_"
        entry, number = plain, 1
        while entry.casefold() in {other.casefold() for other in result.values()}:
            number += 1
            entry = f"{plain}_{number}"
        result.setdefault(name, entry)
    return result
