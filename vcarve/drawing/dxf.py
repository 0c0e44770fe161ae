"""DXF drawings: the flat lines, arcs and curves of the model space, in millimetres."""

from __future__ import annotations

import io
import logging
import math
import warnings
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from itertools import pairwise
from typing import Any

import numpy as np

from vcarve.drawing.sheet import MOST_STROKES, Sheet
from vcarve.errors import InputError, Problem
from vcarve.plane.arcs import Floats, Point
from vcarve.plane.fit import Arc, arc_lines, ellipse_arc, fit_arcs

# $INSUNITS codes of the DXF reference: millimetres per unit.
_UNIT_MM = {
    1: 25.4, 2: 304.8, 3: 1_609_344.0, 4: 1.0, 5: 10.0, 6: 1000.0, 7: 1_000_000.0, 8: 25.4e-6, 9: 0.0254, 10: 914.4,
    11: 1e-7, 12: 1e-6, 13: 0.001, 14: 100.0, 15: 10_000.0, 16: 100_000.0,
}  # fmt: skip
_UNREADABLE = "this is not a readable DXF drawing"
_DEEPEST_BLOCK = 20
_FLAT_MM = 1e-3  # heights below this are rounding
_WORDS = {
    "TEXT": "text", "MTEXT": "text", "ATTRIB": "text", "ATTDEF": "text", "HATCH": "hatches", "MPOLYGON": "hatches",
    "IMAGE": "pictures", "WIPEOUT": "pictures", "POINT": "points", "DIMENSION": "dimensions", "LEADER": "leaders",
    "MULTILEADER": "leaders", "3DFACE": "faces", "SOLID": "filled shapes", "TRACE": "filled shapes", "MESH": "meshes",
    "VIEWPORT": "viewports",
}  # fmt: skip


Drawn = tuple[list[Arc], bool]  # lines and arcs, and whether they stand for one smooth curve


def read_dxf(content: bytes, name: str) -> Sheet:
    """Return the lines of a DXF file's bytes; ``name`` is the file's name for messages.

    Raises ``InputError`` for what is no DXF, blocks that insert themselves or swell without end, and coordinates that
    cannot be a piece of wood.
    """
    sheet = Sheet(name=name)
    level = logging.root.manager.disable
    logging.disable(logging.CRITICAL)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            _read(sheet, content)
    finally:
        logging.disable(level)
    return sheet


def _read(sheet: Sheet, content: bytes) -> None:
    from ezdxf import recover

    with sheet.library(_UNREADABLE):
        document, _ = recover.read(io.BytesIO(content))
        units = int(document.header.get("$INSUNITS", 0) or 0)
        reader = _Reader(sheet, document, _UNIT_MM.get(units, 1.0))
        reader.page()
        reader.weigh()
        entities = list(document.modelspace())
    if units not in _UNIT_MM:
        sheet.cautions.append("The drawing does not say its unit; millimetres were assumed.")
    for entity in entities:
        reader.entity(entity, ())
    if reader.hidden:
        sheet.ignored["lines on layers switched off"] += reader.hidden


class _Reader:
    """Walks through a document's entities and adds what is flat and made of lines to the sheet."""

    def __init__(self, sheet: Sheet, document: Any, scale: float) -> None:
        self.sheet = sheet
        self.document = document
        self.scale = scale
        self.hidden = 0
        # Each reads what the library knows of an entity, and returns what draws it.
        self.draw: dict[str, Callable[[Any], Callable[[], Drawn] | None]] = {
            "LINE": self._line,
            "LWPOLYLINE": self._lwpolyline,
            "POLYLINE": self._polyline,
            "ARC": self._arc,
            "CIRCLE": self._arc,
            "ELLIPSE": self._ellipse,
            "SPLINE": self._spline,
            "HELIX": self._spline,
        }

    def page(self) -> None:
        """Take the drawing's limits as its page."""
        low, high = self.document.header.get("$LIMMIN"), self.document.header.get("$LIMMAX")
        if low is None or high is None:
            return
        corners = [float(v) * self.scale for v in (low[0], low[1], high[0], high[1])]
        if all(math.isfinite(v) for v in corners) and corners[2] > corners[0] and corners[3] > corners[1]:
            self.sheet.page_mm = (corners[0], corners[1], corners[2], corners[3])

    def weigh(self) -> None:
        """Refuse blocks that insert themselves, nest too deep, or would be drawn too often, before any is drawn."""
        known: dict[str, int] = {}

        def weight(entities: Any, inside: tuple[str, ...]) -> int:
            total = 0
            for entity in entities:
                total += 1
                if entity.dxftype() != "INSERT":
                    continue
                name = str(entity.dxf.get("name", "")).casefold()
                if name in inside or len(inside) > _DEEPEST_BLOCK:
                    want = "blocks are inserted in blocks without end; explode them in the drawing"
                    raise InputError(Problem(want=want, file=self.sheet.name, value=name))
                block = self.document.blocks.get(name)
                if name not in known:
                    known[name] = 0 if block is None else weight(block, (*inside, name))
                total += known[name] * max(int(entity.mcount), 1)
            return total

        count = weight(self.document.modelspace(), ())
        if count > MOST_STROKES:
            want = f"with all its blocks the drawing has {count:,} entities; draw less at once"
            raise InputError(Problem(want=want, file=self.sheet.name))

    def entity(self, entity: Any, above: tuple[str, ...]) -> None:
        """Add one entity; ``above`` are the layers of the block references it comes from."""
        with self.sheet.library(_UNREADABLE):
            kind = entity.dxftype()
            if kind not in self.draw and kind != "INSERT":
                self.sheet.ignored[_WORDS.get(kind, "other entities")] += 1
                return
            names = self._names(entity, above)
            shown = kind == "INSERT" or self._visible(names[-2])
            if kind != "INSERT" and shown:
                self._flatten(entity, names)
            elif kind == "INSERT" and self._is_outside(entity):
                what = f"the drawing {entity.dxf.get('name', '')} is referred to and not read; bind it into this file"
                self.sheet.flatten(what, _place(entity, names))
        if not shown:
            self.hidden += 1
        elif kind == "INSERT":
            for part in self._parts(entity):
                self.entity(part, (names[-2],))
        elif (drawn := self._drawn(kind, entity)) is None:
            self.sheet.ignored["lines that do not lie flat"] += 1
        else:
            self.sheet.add(drawn[0], names, curve=drawn[1])

    def _flatten(self, entity: Any, names: tuple[str, ...]) -> None:
        """Note the dashes and the heights of an entity: neither is cut."""
        style = str(entity.dxf.get("linetype", "BYLAYER")).upper()
        if style == "BYLAYER" and self.document.layers.has_entry(names[-2]):
            style = str(self.document.layers.get(names[-2]).dxf.get("linetype", "CONTINUOUS")).upper()
        if style not in ("CONTINUOUS", "BYLAYER", "BYBLOCK"):
            what = f"dashes ({style}) are cut as one whole line; draw every dash as a line of its own if they are meant"
            self.sheet.flatten(what, _place(entity, names))
        if any(abs(height * self.scale) > _FLAT_MM for height in _heights(entity)):
            what = "heights are left out: the lines are cut as seen from above, at the depth of their layer"
            self.sheet.flatten(what, _place(entity, names))

    def _is_outside(self, insert: Any) -> bool:
        """Tell whether a block reference stands for another file (DXF reference, BLOCK, flags 4 and 8)."""
        block = self.document.blocks.get(str(insert.dxf.get("name", "")))
        return block is not None and bool(int(block.block.dxf.get("flags", 0)) & 12)

    def _drawn(self, kind: str, entity: Any) -> Drawn | None:
        with self._line_of(entity):
            draw = self.draw[kind](entity)
        return None if draw is None else draw()

    def _line_of(self, entity: Any) -> AbstractContextManager[None]:
        want = f"this {entity.dxftype()} cannot be read; draw it again"
        return self.sheet.library(want, value=f"#{entity.dxf.get('handle')}")

    def _parts(self, insert: Any) -> Iterator[Any]:
        """Yield what a block reference shows, one copy for each of its rows and columns."""
        want = "this block cannot be read; explode it in the drawing"
        with self.sheet.library(want, value=str(insert.dxf.get("name", ""))):
            copies = insert.multi_insert() if insert.mcount > 1 else (insert,)
            for copy in copies:
                yield from copy.virtual_entities()

    def _names(self, entity: Any, above: tuple[str, ...]) -> tuple[str, ...]:
        """Return the names the entity's layer may go by: the layer (inside a block, layer 0 is the block's), the colour."""
        from ezdxf.colors import aci2rgb

        layer = str(entity.dxf.get("layer", "0"))
        if layer == "0" and above:
            layer = above[0]
        colour = entity.rgb
        if colour is None:
            index = int(entity.dxf.get("color", 256))
            if not 1 <= index <= 255 and self.document.layers.has_entry(layer):
                table = self.document.layers.get(layer)
                colour, index = table.rgb, abs(int(table.dxf.get("color", 7)))
            if colour is None:
                # Colour 7 is black on paper and white on a dark screen.
                colour = (0, 0, 0) if index == 7 or not 1 <= index <= 255 else aci2rgb(index)
        return (layer, f"#{colour[0]:02x}{colour[1]:02x}{colour[2]:02x}")

    def _visible(self, layer: str) -> bool:
        if not self.document.layers.has_entry(layer):
            return True
        entry = self.document.layers.get(layer)
        return not (entry.is_off() or entry.is_frozen())

    def _flat(self, points: list[tuple[float, float]]) -> Floats:
        """Return points in millimetres, shape (n, 2), refusing what cannot be a piece of wood."""
        xy = np.array(points, dtype=float).reshape(-1, 2) * self.scale
        if len(xy):
            self.sheet.check_size(float(np.abs(xy).max()))
        return xy

    def _hand(self, entity: Any) -> float | None:
        """Return 1 where the entity's own plane is seen from above, -1 from below, None where it stands on edge."""
        normal = entity.dxf.get("extrusion", (0.0, 0.0, 1.0))
        x, y, z = (float(v) for v in normal)
        if math.hypot(x, y) > 1e-6 * abs(z):
            return None
        return math.copysign(1.0, z)

    def _line(self, entity: Any) -> Callable[[], Drawn]:
        ends = [_xy(entity.dxf.start), _xy(entity.dxf.end)]

        def draw() -> Drawn:
            a, b = self._flat(ends)
            return [(_point(a), _point(b), 0.0)], False

        return draw

    def _lwpolyline(self, entity: Any) -> Callable[[], Drawn] | None:
        points = [(float(x), float(y), float(b)) for x, y, b in entity.get_points("xyb")]
        return self._run(entity, points, bool(entity.closed))

    def _polyline(self, entity: Any) -> Callable[[], Drawn] | None:
        if not (entity.is_2d_polyline or entity.is_3d_polyline):
            return None
        points = []
        for vertex in entity.vertices:
            if int(vertex.dxf.get("flags", 0)) & 16:  # a control point of the frame of a spline
                continue
            x, y, _ = vertex.dxf.location
            points.append((float(x), float(y), float(vertex.dxf.get("bulge", 0.0))))
        return self._run(entity, points, bool(entity.is_closed))

    def _run(
        self, entity: Any, points: list[tuple[float, float, float]], closed: bool
    ) -> Callable[[], Drawn] | None:
        hand = self._hand(entity)
        if hand is None:
            return None

        def draw() -> Drawn:
            xy = self._flat([(hand * x, y) for x, y, _ in points])
            corners = [_point(p) for p in xy]
            arcs: list[Arc] = []
            for i in range(len(corners) if closed else len(corners) - 1):
                start, end, bulge = corners[i], corners[(i + 1) % len(corners)], hand * points[i][2]
                self.sheet.check_size(abs(bulge))
                arcs.append((start, end, bulge))
            return arcs, False

        return draw

    def _arc(self, entity: Any) -> Callable[[], Drawn] | None:
        hand = self._hand(entity)
        if hand is None:
            return None
        x, y, _ = entity.dxf.center
        at, radius = (hand * float(x), float(y)), float(entity.dxf.radius) * self.scale
        first, sweep = 0.0, 2.0 * math.pi
        if entity.dxftype() == "ARC":
            first = math.radians(float(entity.dxf.start_angle))
            # Equal angles mean a whole circle.
            sweep = (math.radians(float(entity.dxf.end_angle)) - first) % (2.0 * math.pi) or 2.0 * math.pi

        def draw() -> Drawn:
            for size in (radius, first, sweep):
                self.sheet.check_size(abs(size))
            centre = _point(self._flat([at])[0])
            turn = (first, sweep) if hand > 0.0 else (math.pi - first, -sweep)
            return arc_lines(centre, radius, *turn) if radius > 0.0 else [], False

        return draw

    def _ellipse(self, entity: Any) -> Callable[[], Drawn] | None:
        hand = self._hand(entity)
        major = entity.dxf.major_axis
        if hand is None or abs(major[2]) > 1e-6 * math.hypot(major[0], major[1]):
            return None
        ratio = float(entity.dxf.ratio)
        first = float(entity.dxf.start_param)
        sweep = (float(entity.dxf.end_param) - first) % (2.0 * math.pi)
        axes = [_xy(entity.dxf.center), _xy(major), (-hand * ratio * major[1], hand * ratio * major[0])]

        def draw() -> Drawn:
            for size in (first, sweep):
                self.sheet.check_size(abs(size))
            centre, a, b = self._flat(axes)
            whole = sweep if sweep > 1e-9 else 2.0 * math.pi
            return ellipse_arc(_point(centre), _point(a), _point(b), first, whole), True

        return draw

    def _spline(self, entity: Any) -> Callable[[], Drawn]:
        spline = entity.construction_tool()
        control = np.array([tuple(p) for p in spline.control_points], dtype=float)
        scale, at = self.scale, spline.evaluator  # made anew, from all points, each time it is asked for
        degree = spline.order - 1
        knots = sorted({round(float(k), 12) for k in spline.knots()[degree : len(control) + 1]})

        def curve(t: Floats) -> Floats:
            with self._line_of(entity):
                return np.array([_xy(p) for p in at.points(t)], dtype=float).reshape(-1, 2) * scale

        def slope(t: Floats) -> Floats:
            with self._line_of(entity):
                return np.array([_xy(d[1]) for d in at.derivatives(t, 1)], dtype=float).reshape(-1, 2) * scale

        def draw() -> Drawn:
            self._flat([(float(p[0]), float(p[1])) for p in control])
            return [arc for low, high in pairwise(knots) for arc in fit_arcs(curve, slope, low, high)], True

        return draw


def _place(entity: Any, names: tuple[str, ...]) -> str:
    handle = entity.dxf.get("handle")  # what stands in a block has none
    return f"{entity.dxftype()} {f'#{handle}' if handle else f'on layer {names[-2]}'}"


def _heights(entity: Any) -> Iterator[float]:
    """Yield the heights of an entity's points, in the drawing's unit, and how far it is drawn out upwards."""
    for key in ("start", "end", "center", "elevation", "thickness"):
        value = entity.dxf.get(key) if entity.dxf.is_supported(key) else None
        if value is not None:
            yield float(value[2] if hasattr(value, "__len__") else value)
    if entity.dxftype() == "POLYLINE":
        yield from (float(vertex.dxf.location[2]) for vertex in entity.vertices)
    elif entity.dxftype() in ("SPLINE", "HELIX"):
        yield from (float(point[2]) for point in (*entity.control_points, *entity.fit_points))


def _xy(vector: Any) -> Point:
    """Return the first two coordinates of one of the library's vectors."""
    return float(vector[0]), float(vector[1])


def _point(pair: Floats) -> Point:
    return float(pair[0]), float(pair[1])
