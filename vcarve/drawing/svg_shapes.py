"""SVG paths and basic shapes as lines and arcs in millimetres, Y up."""

from __future__ import annotations

import math
import re
from itertools import pairwise
from typing import Any

import numpy as np

from vcarve.drawing.sheet import MOST_STROKES
from vcarve.drawing.svg_place import PX_MM, Place, Reader, layer_names, length_px
from vcarve.drawing.xml import Node
from vcarve.plane.arcs import Floats, Point
from vcarve.plane.fit import Arc, bezier, ellipse_arc, fit_arcs

MOST_CLOSINGS = 500  # in one path, without a move to a new place


def _out(place: Place, xy: Floats) -> Floats:
    """Return points (n, 2) of an element in millimetres, Y up."""
    if not len(xy):
        return xy
    with np.errstate(all="ignore"):
        mm = np.asarray((xy @ place.matrix[:, :2].T + place.matrix[:, 2]) * (PX_MM, -PX_MM))
    place.sheet.check_size(float(np.abs(mm).max()), place.line)
    return mm


def _point(pair: Floats) -> Point:
    return float(pair[0]), float(pair[1])


def _straight(place: Place, xy: list[Point]) -> list[Arc]:
    points = [_point(p) for p in _out(place, np.array(xy, dtype=float).reshape(-1, 2))]
    return [(a, b, 0.0) for a, b in pairwise(points)]


def _elliptic(
    place: Place, centre: Point, major: Point, minor: Point, first: float, sweep: float
) -> list[Arc]:
    c, a, b = np.array(centre), np.array(major), np.array(minor)
    ends = _out(place, np.array([c, c + a, c + b]))
    return ellipse_arc(_point(ends[0]), _point(ends[1] - ends[0]), _point(ends[2] - ends[0]), first, sweep)


def _circle(reader: Reader, node: Node, place: Place) -> None:
    wide, high = place.viewport
    x, y = length_px(reader, node, "cx", wide), length_px(reader, node, "cy", high)
    if node.tag == "circle":
        rx = ry = length_px(reader, node, "r", math.hypot(wide, high) / math.sqrt(2.0))
    else:
        rx = length_px(reader, node, "rx", wide, node.attributes.get("ry", "0"))
        ry = length_px(reader, node, "ry", high, node.attributes.get("rx", "0"))
    if rx > 0.0 and ry > 0.0:
        arcs = _elliptic(place, (x, y), (rx, 0.0), (0.0, ry), 0.0, 2.0 * math.pi)
        reader.sheet.add(arcs, layer_names(place), curve=True, line=node.line)


def _rect(reader: Reader, node: Node, place: Place) -> None:
    wide, high = place.viewport
    x, y = length_px(reader, node, "x", wide), length_px(reader, node, "y", high)
    w, h = length_px(reader, node, "width", wide), length_px(reader, node, "height", high)
    if w <= 0.0 or h <= 0.0:
        return
    rx = min(length_px(reader, node, "rx", wide, node.attributes.get("ry", "0")), w / 2.0)
    ry = min(length_px(reader, node, "ry", high, node.attributes.get("rx", "0")), h / 2.0)
    names = layer_names(place)
    if rx <= 0.0 or ry <= 0.0:
        corners = [(x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y)]
        reader.sheet.add(_straight(place, corners), names, line=node.line)
        return
    centres = [(x + w - rx, y + ry), (x + w - rx, y + h - ry), (x + rx, y + h - ry), (x + rx, y + ry)]
    turn = [(0.0, -1.0), (1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)]
    for i, (cx, cy) in enumerate(centres):
        (ux, uy), (vx, vy) = turn[i], turn[(i + 1) % 4]
        arcs = _elliptic(place, (cx, cy), (rx * ux, ry * uy), (rx * vx, ry * vy), 0.0, math.pi / 2.0)
        reader.sheet.add(arcs, names, curve=True, line=node.line)
        nx, ny = centres[(i + 1) % 4]
        side = _straight(place, [(cx + rx * vx, cy + ry * vy), (nx + rx * vx, ny + ry * vy)])
        reader.sheet.add(side, names, line=node.line)


def _line(reader: Reader, node: Node, place: Place) -> None:
    wide, high = place.viewport
    ends = [(length_px(reader, node, f"x{i}", wide), length_px(reader, node, f"y{i}", high)) for i in (1, 2)]
    reader.sheet.add(_straight(place, ends), layer_names(place), line=node.line)


def _poly(reader: Reader, node: Node, place: Place) -> None:
    text = node.attributes.get("points", "")
    try:
        numbers = [float(part) for part in re.split(r"[\s,]+", text.strip()) if part]
    except ValueError:
        raise reader.problem("points should be pairs of numbers", node, text[:60]) from None
    points = list(zip(numbers[0::2], numbers[1::2], strict=False))
    if node.tag == "polygon" and points:
        points.append(points[0])
    reader.sheet.add(_straight(place, points), layer_names(place), line=node.line)


def _path(reader: Reader, node: Node, place: Place) -> None:
    import svgelements

    text = node.attributes.get("d", "")
    if re.search(r"nan|inf", text, re.IGNORECASE):
        raise reader.problem("a coordinate is not a number; draw this line again", node, text[:60])
    # A closing looks back for the beginning of its part: many in one part would take the square of their number.
    closings = len(re.findall(r"[zZ](?=[\s,]*[^mM\s,])", text))
    if closings > MOST_CLOSINGS or len(re.findall("[a-df-zA-DF-Z]", text)) > MOST_STROKES:
        raise reader.problem("this path has too many commands; draw less at once", node, text[:60])
    names = layer_names(place)
    with reader.sheet.library("this path cannot be read", line=node.line, value=text[:60]):
        segments = [_numbers(segment, svgelements) for segment in svgelements.Path(text)]
    for segment in segments:
        if segment is not None:
            arcs, curve = _segment(place, *segment)
            reader.sheet.add(arcs, names, curve=curve, line=node.line)


def _numbers(segment: Any, kinds: Any) -> tuple[list[Point], tuple[float, float] | None] | None:
    """Return what the library knows of one path segment, if it draws a line.

    Points: its ends, with a curve's control points between them; of an arc start, end, centre and the ends of both radii,
    with the angle it begins at and its sweep besides.
    """
    if isinstance(segment, kinds.Move) or segment.start is None or segment.end is None:
        return None
    inner: list[Any] = []
    if isinstance(segment, kinds.QuadraticBezier):
        inner = [segment.control]
    elif isinstance(segment, kinds.CubicBezier):
        inner = [segment.control1, segment.control2]
    start, *control, end = [(float(p.x), float(p.y)) for p in (segment.start, *inner, segment.end)]
    if isinstance(segment, kinds.Arc) and segment.rx and segment.ry and start != end:
        more = [(float(p.x), float(p.y)) for p in (segment.center, segment.prx, segment.pry)]
        first, sweep = float(segment.get_start_t()), float(segment.sweep)
        if not math.isfinite(first + sweep):
            raise ValueError
        return [start, end, *more], (first, sweep)
    return [start, *control, end], None


def _segment(place: Place, points: list[Point], angles: tuple[float, float] | None) -> tuple[list[Arc], bool]:
    """Return one path segment as lines and arcs, and whether it was a curve."""
    if angles is not None:
        ends, ((x, y), major, minor) = points[:2], points[2:]
        arcs = _elliptic(place, (x, y), (major[0] - x, major[1] - y), (minor[0] - x, minor[1] - y), *angles)
        return _pinned(arcs, *(_point(p) for p in _out(place, np.array(ends)))), True
    if len(points) > 2:
        return fit_arcs(*bezier(_out(place, np.array(points))), 0.0, 1.0), True
    return _straight(place, points), False


def _pinned(arcs: list[Arc], start: Point, end: Point) -> list[Arc]:
    """Return the arcs with their outer ends at exactly these points."""
    if not arcs:
        return [(start, end, 0.0)]
    arcs[0] = (start, *arcs[0][1:])
    arcs[-1] = (arcs[-1][0], end, arcs[-1][2])
    return arcs


SHAPES = {
    "path": _path,
    "circle": _circle,
    "ellipse": _circle,
    "rect": _rect,
    "line": _line,
    "polyline": _poly,
    "polygon": _poly,
}
