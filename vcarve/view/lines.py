"""The lines on the piece, the outlines of their grooves and the land as drawings for other programs: SVG or DXF, in millimetres.

Layers, which are groups in SVG: ``ground``, ``leaf``, ``frame`` and those of a drawing hold the lines the bit follows,
``outline`` the edges that are not cut, ``groove`` the edges of the grooves at the surface and ``land`` what is left between
them.  The same page gives the same bytes.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np
import shapely

from vcarve.groove.land import closed_cells, outer_rings
from vcarve.groove.model import Grooves
from vcarve.network.model import Feature, Network
from vcarve.plane.arcs import curves, turned
from vcarve.plane.arrays import Floats, Ints
from vcarve.plane.fit import with_arcs
from vcarve.plane.region import rings_of
from vcarve.view import look
from vcarve.view.svg import at, bows, num, ring_path

SPECK_MM = 0.001  # corners that stand out less are left out
_SIGNS = r"[<>/\\\":;?*|=`\x00-\x1f]"  # DXF reference: none of these in the name of a layer


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What is drawn: lines and closed shapes by layer, and the page itself (left, front, right, back).

    Lines, and the sides of a shape, are rows (n, 5) as in ``plane.arcs``.
    """

    lines: dict[str, Floats]
    shapes: dict[str, list[Floats]]
    box: tuple[float, float, float, float]


def drawn_page(
    network: Network,
    grooves: Grooves,
    features: Sequence[Feature],
    piece_mm: tuple[float, float],
) -> Page:
    """Return the page of a network and its grooves, in millimetres from the piece's centre.

    ``features`` are what the network's lines are for; ``piece_mm`` is the page's size.
    """
    chosen: dict[str, list[Ints]] = {}
    for index in np.unique(network.feature[network.cut]).tolist():
        chosen.setdefault(features[index].key, []).append(np.flatnonzero(network.feature == index))
    if len(plain := np.flatnonzero(~network.cut)):
        chosen.setdefault("outline", []).append(plain)
    # Cells of one shape share their land: its arcs are sought once.
    sides = [[_sides(ring) for ring in rings_of(land)] for land in grooves.lands]
    closed = closed_cells(network)
    groove = [_sides(ring) for ring in rings_of(outer_rings(network, grooves, closed))]
    land: list[Floats] = []
    for (x, y), shape, round_it in zip(
        grooves.corner_mm.tolist(), grooves.shape.tolist(), closed.tolist(), strict=True
    ):
        for ring in sides[shape]:
            land.append(ring + np.array([x, y, x, y, 0.0]))
            if round_it:
                # The land's outline is the grooves' own, walked the other way.
                groove.append(turned(land[-1])[::-1])
    shapes = {"groove": groove, "land": land}
    return Page(
        lines={name: network.curves(np.concatenate(edges)) for name, edges in chosen.items()},
        shapes={name: found for name, found in shapes.items() if found},
        box=(-piece_mm[0] / 2.0, -piece_mm[1] / 2.0, piece_mm[0] / 2.0, piece_mm[1] / 2.0),
    )


def _sides(ring_mm: Floats) -> Floats:
    """Return the sides (n, 5) of an outline in mm: arcs found again, between them no corners that nobody could see.

    Where a groove narrows along an arc, its outline is that of many short hulls, with a speck wherever two meet.
    """
    sides = with_arcs(ring_mm).curves
    bent = sides[:, 4] != 0.0
    # An arc, or a run of straight sides.
    starts = np.flatnonzero(np.concatenate([[True], bent[1:] | bent[:-1]]))
    parts = []
    for run in np.split(sides, starts[1:]):
        if len(run) > 1:
            line = shapely.linestrings(np.vstack([run[:, :2], run[-1:, 2:4]]))
            xy = shapely.get_coordinates(shapely.simplify(line, SPECK_MM, preserve_topology=False))
            run = curves(xy[:-1], xy[1:], np.zeros(len(xy) - 1))
        parts.append(run)
    made = np.vstack(parts)
    return made if len(made) > 2 or bent.any() else sides  # a shape smaller than a speck stays one


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
        lines.append(f'<g id="{escape(name)}" stroke="{look.layer_colours(name)[0]}">')
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
            document.layers.add(entry, color=look.layer_colours(name)[1])
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
