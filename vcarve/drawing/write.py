"""The network, the outlines of the grooves and the land as drawings for other programs, true to scale in millimetres.

Layers (groups in SVG): ``ground``, ``leaf``, ``frame`` and those of a drawing hold the lines the bit follows, ``outline``
the edges that are not cut, ``groove`` the edges of the grooves at the surface and ``land`` what is left between them.
The same network gives the same bytes.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from vcarve.groove.footprint import closed_cells, outer_rings
from vcarve.groove.model import Grooves
from vcarve.network.model import LAYER_ROLES, NM_PER_MM, Floats, Ints, Network, Role
from vcarve.plane.arcs import boxes, circles, turned
from vcarve.plane.refit import with_arcs
from vcarve.view import look

_NAMES = {int(Role.GROUND): "ground", int(Role.LEAF): "leaf", int(Role.FRAME): "frame"}
_FIRST_FRAME = 1000
# The nearest of DXF's numbered colours to those of the look.
_NUMBERS = {"ground": 5, "leaf": 4, "frame": 7, "outline": 8, "groove": 1, "land": 9}
_OTHER = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """What is drawn: edges (n, 5) and closed shapes by layer, as curves, and the page (left, front, right, back)."""

    edges: dict[str, Floats]
    shapes: dict[str, list[Floats]]
    box: tuple[float, float, float, float]


def lines_svg(
    network: Network,
    grooves: Grooves,
    *,
    layers: Sequence[str] = (),
    piece_mm: tuple[float, float] | None = None,
) -> str:
    """Return an SVG file in millimetres whose user units are the piece's coordinates, Y mirrored.

    ``layers`` are the names of a drawing's layers (role 8 and above); ``piece_mm`` is the page's size, by default the
    box round the network.  Arcs are arcs.
    """
    sheet = _sheet(network, grooves, layers, piece_mm)
    left, front, right, back = sheet.box
    width, height = _number(right - left), _number(back - front)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="{_number(left)} {_number(-back)} {width} {height}" fill="none" stroke-width="0.1">',
    ]
    for name, edges in sheet.edges.items():
        lines.append(_group(name))
        lines += [f'<path d="M{_number(x)} {_number(-y)}{_to(x, y, *to)}"/>' for x, y, *to in edges.tolist()]
        lines.append("</g>")
    for name, shapes in sheet.shapes.items():
        lines.append(_group(name))
        lines += [f'<path d="{_closed(shape)}"/>' for shape in shapes]
        lines.append("</g>")
    lines.append("</svg>")
    return "\n".join(lines) + "\n"


def lines_dxf(
    network: Network,
    grooves: Grooves,
    *,
    layers: Sequence[str] = (),
    piece_mm: tuple[float, float] | None = None,
) -> str:
    """Return a DXF file (release 12, ASCII, millimetres) in the piece's coordinates; the drawing's limits are the page.

    Edges are LINE and ARC entities, groove outlines and land closed polylines with bulges.  The arguments are those of
    ``lines_svg``.
    """
    sheet = _sheet(network, grooves, layers, piece_mm)
    names = _table_names([*sheet.edges, *sheet.shapes])
    left, front, right, back = sheet.box
    pairs: list[tuple[int, str]] = [(0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1009")]
    pairs += [(9, "$INSUNITS"), (70, "4")]
    corners = {"MIN": (left, front), "MAX": (right, back)}
    for variable, (x, y) in ((f"${what}{end}", corners[end]) for what in ("EXT", "LIM") for end in corners):
        pairs += [(9, variable), (10, _number(x)), (20, _number(y))]
    pairs += [(0, "ENDSEC"), (0, "SECTION"), (2, "TABLES"), (0, "TABLE"), (2, "LAYER"), (70, str(len(names)))]
    for name, entry in names.items():
        colour = _NUMBERS.get(name, _OTHER)
        pairs += [(0, "LAYER"), (2, entry), (70, "0"), (62, str(colour)), (6, "CONTINUOUS")]
    pairs += [(0, "ENDTAB"), (0, "ENDSEC"), (0, "SECTION"), (2, "ENTITIES")]
    for name, edges in sheet.edges.items():
        for edge in edges.tolist():
            pairs += _entity(names[name], *edge)
    for name, shapes in sheet.shapes.items():
        for shape in shapes:
            pairs += _polyline(names[name], shape)
    pairs += [(0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code:3d}\n{value}\n" for code, value in pairs)


def _sheet(
    network: Network, grooves: Grooves, layers: Sequence[str], piece_mm: tuple[float, float] | None
) -> _Sheet:
    chosen: dict[str, list[Ints]] = {}
    for role in np.unique(network.role[network.cut]).tolist():
        edges = np.flatnonzero(network.cut & (network.role == role))
        chosen.setdefault(_layer(role, layers), []).append(edges)
    if not network.cut.all():
        chosen.setdefault("outline", []).append(np.flatnonzero(~network.cut))
    # Cells of one shape share their land: its arcs are sought once.
    sides = [
        [
            with_arcs(ring / NM_PER_MM).curves
            for island in land
            for ring in (island.outer_nm, *island.holes_nm)
        ]
        for land in grooves.lands
    ]
    closed = closed_cells(network)
    groove = [with_arcs(ring / NM_PER_MM).curves for ring in outer_rings(network, grooves, closed)]
    land: list[Floats] = []
    corners = (grooves.corner_nm / NM_PER_MM).tolist()
    for (x, y), shape, round_it in zip(corners, grooves.shape.tolist(), closed.tolist(), strict=True):
        for ring in sides[shape]:
            land.append(ring + np.array([x, y, x, y, 0.0]))
            if round_it:
                # The land's outline is the grooves' own, walked the other way.
                groove.append(turned(land[-1])[::-1])
    shapes = {"groove": groove, "land": land}
    return _Sheet(
        edges={name: network.curves(np.concatenate(edges)) for name, edges in chosen.items()},
        shapes={name: found for name, found in shapes.items() if found},
        box=_box(network, piece_mm),
    )


def _layer(role: int, layers: Sequence[str]) -> str:
    if role in _NAMES:
        return _NAMES[role]
    if role >= _FIRST_FRAME:
        return f"frame-{role - _FIRST_FRAME + 1}"
    index = role - LAYER_ROLES
    return layers[index] if 0 <= index < len(layers) else f"layer-{index + 1}"


def _box(network: Network, piece_mm: tuple[float, float] | None) -> tuple[float, float, float, float]:
    """Return left, front, right and back of the page."""
    if piece_mm is not None:
        return (-piece_mm[0] / 2.0, -piece_mm[1] / 2.0, piece_mm[0] / 2.0, piece_mm[1] / 2.0)
    box = boxes(network.curves(np.arange(len(network.tail))))
    low, high = box[:, :2].min(axis=0), box[:, 2:].max(axis=0)
    # The page has a whole number of nanometres, like everything else.
    return (
        round(float(low[0]), 6),
        round(float(low[1]), 6),
        round(float(high[0]), 6),
        round(float(high[1]), 6),
    )


def _number(value: float) -> str:
    """Return millimetres to the nanometre, without idle digits."""
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _fine(value: float) -> str:
    """Return a figure that more than the last nanometre hangs on: a radius, an angle, a bulge."""
    return f"{value:.12f}".rstrip("0").rstrip(".")


def _to(x0: float, y0: float, x1: float, y1: float, bulge: float) -> str:
    """Return the path command from one point to the next.  SVG has Y downwards: what turns left here turns left there too,
    which SVG writes as sweep flag 0."""
    if bulge == 0.0:
        return f"L{_number(x1)} {_number(-y1)}"
    radius = _fine(float(circles(np.array([x0, y0, x1, y1, bulge]))[1]))
    large, sweep = int(abs(bulge) > 1.0), int(bulge < 0.0)
    return f"A{radius} {radius} 0 {large} {sweep} {_number(x1)} {_number(-y1)}"


def _closed(shape: Floats) -> str:
    parts = [f"M{_number(shape[0, 0])} {_number(-shape[0, 1])}", *(_to(*side) for side in shape.tolist())]
    # A straight last side is drawn by closing.
    if shape[-1, 4] == 0.0:
        parts.pop()
    return "".join(parts) + "Z"


def _group(name: str) -> str:
    return f'<g id="{escape(name)}" stroke="{look.DRAWN.get(name, look.DRAWN_OTHER)}">'


def _table_names(names: Iterable[str]) -> dict[str, str]:
    """Return layer names that release 12 takes: up to 31 letters, digits and ``$ _ -``, each only once."""
    result: dict[str, str] = {}
    for name in names:
        plain = re.sub(r"[^A-Za-z0-9$_-]", "_", name)[:28] or "_"
        entry, number = plain, 1
        while entry.lower() in {other.lower() for other in result.values()}:
            number += 1
            entry = f"{plain}_{number}"
        result.setdefault(name, entry)
    return result


def _entity(layer: str, x0: float, y0: float, x1: float, y1: float, bulge: float) -> list[tuple[int, str]]:
    if bulge == 0.0:
        ends = [(10, _number(x0)), (20, _number(y0)), (11, _number(x1)), (21, _number(y1))]
        return [(0, "LINE"), (8, layer), *ends]
    centre, size = circles(np.array([x0, y0, x1, y1, bulge]))
    (cx, cy), radius = centre.tolist(), float(size)
    # ARC always turns counter-clockwise.
    first, last = ((x0, y0), (x1, y1)) if bulge > 0.0 else ((x1, y1), (x0, y0))
    angles = [math.degrees(math.atan2(y - cy, x - cx)) % 360.0 for x, y in (first, last)]
    return [
        (0, "ARC"), (8, layer), (10, _fine(cx)), (20, _fine(cy)), (40, _fine(radius)),
        (50, _fine(angles[0])), (51, _fine(angles[1])),
    ]  # fmt: skip


def _polyline(layer: str, shape: Floats) -> list[tuple[int, str]]:
    pairs = [(0, "POLYLINE"), (8, layer), (66, "1"), (70, "1")]
    for x, y, _, _, bulge in shape.tolist():
        pairs += [(0, "VERTEX"), (8, layer), (10, _number(x)), (20, _number(y))]
        if bulge != 0.0:
            pairs.append((42, _fine(bulge)))
    return [*pairs, (0, "SEQEND"), (8, layer)]
