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

from vcarve.plane.arrays import Floats
from vcarve.view import look
from vcarve.view.svg import at, bows, num, ring_path

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
    width, height = num(right - left, 6), num(back - front, 6)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="{num(left, 6)} {num(-back, 6)} {width} {height}" fill="none" stroke-width="0.1">',
    ]
    drawn = {
        name: [
            f"M{at(x, y, 6)}{bow}"
            for (x, y), bow in zip(rows[:, :2].tolist(), bows(rows, 6, 12), strict=True)
        ]
        for name, rows in page.lines.items()
    }
    shapes = {name: [ring_path(sides, 6, 12) for sides in each] for name, each in page.shapes.items()}
    for name, paths in (*drawn.items(), *shapes.items()):
        lines.append(f'<g id="{escape(name)}" stroke="{look.drawn(name)[0]}">')
        lines += [f'<path d="{path}"/>' for path in paths]
        lines.append("</g>")
    return "\n".join([*lines, "</svg>", ""])


def dxf_text(page: Page) -> str:
    """Return a DXF file (release 2000, ASCII, millimetres) in the piece's coordinates; the drawing's limits are the page.

    Lines are LINE and ARC entities, shapes closed polylines with bulges.
    """
    import ezdxf
    from ezdxf.math import bulge_to_arc

    options: Any = ezdxf.options
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # no dates, and no numbers drawn by chance
    try:
        document = ezdxf.new("R2000", units=4)
        left, front, right, back = page.box
        space = document.modelspace()
        space.reset_limits((left, front), (right, back))
        space.reset_extents((left, front, 0.0), (right, back, 0.0))
        names = _layer_names([*page.lines, *page.shapes])
        for name, entry in names.items():
            document.layers.add(entry, color=look.drawn(name)[1])
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
