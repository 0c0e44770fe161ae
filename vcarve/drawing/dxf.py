"""DXF drawings: the flat lines, arcs and curves of the model space, in millimetres."""

from __future__ import annotations

import io
import logging
import math
import warnings
from collections.abc import Iterator
from contextlib import AbstractContextManager
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from vcarve.drawing.sheet import MOST_LINES, Sheet
from vcarve.errors import InputError, Problem
from vcarve.plane.arcs import TURN, Point, curves
from vcarve.plane.arrays import Floats
from vcarve.plane.fit import ellipse_arc, fit_arcs

# $INSUNITS codes of the DXF reference: millimetres per unit.
_UNIT_MM = {
    1: 25.4, 2: 304.8, 3: 1_609_344.0, 4: 1.0, 5: 10.0, 6: 1000.0, 7: 1_000_000.0, 8: 25.4e-6, 9: 0.0254, 10: 914.4,
    11: 1e-7, 12: 1e-6, 13: 0.001, 14: 100.0, 15: 10_000.0, 16: 100_000.0,
}  # fmt: skip
_UNREADABLE = "this is not a readable DXF drawing"
_DRAWN = frozenset({"LINE", "LWPOLYLINE", "POLYLINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "HELIX"})
_DEEPEST_BLOCK = 20
_FLAT_MM = 1e-3  # heights below this are rounding
_WORDS = {
    "TEXT": "text", "MTEXT": "text", "ATTRIB": "text", "ATTDEF": "text", "HATCH": "hatches", "MPOLYGON": "hatches",
    "IMAGE": "pictures", "WIPEOUT": "pictures", "POINT": "points", "DIMENSION": "dimensions", "LEADER": "leaders",
    "MULTILEADER": "leaders", "3DFACE": "faces", "SOLID": "filled shapes", "TRACE": "filled shapes", "MESH": "meshes",
    "VIEWPORT": "viewports",
}  # fmt: skip


class _Round(NamedTuple):
    """The curve centre + major cos t + minor sin t, the three as (3, 2), for t from ``first_rad`` by ``sweep_rad``."""

    axes: Floats
    first_rad: float
    sweep_rad: float


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
        if count > MOST_LINES:
            want = f"with all its blocks the drawing has {count:,} entities; draw less at once"
            raise InputError(Problem(want=want, file=self.sheet.name))

    def entity(self, entity: Any, above: tuple[str, ...]) -> None:
        """Add one entity; ``above`` are the layers of the block references it comes from."""
        with self.sheet.library(_UNREADABLE):
            kind = entity.dxftype()
            if kind not in _DRAWN and kind != "INSERT":
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
            return
        if kind == "INSERT":
            for part in self._parts(entity):
                self.entity(part, (names[-2],))
            return
        with self._line_of(entity):
            known = _known(entity)
        if known is None:
            self.sheet.ignored["lines that do not lie flat"] += 1
        elif isinstance(known, np.ndarray):
            xy = known[:, :2] * self.scale
            self.sheet.add(curves(xy[:-1], xy[1:], known[:-1, 2]), names)
        elif isinstance(known, _Round):
            self.sheet.check_size(float(np.abs(known[1:]).max()))
            centre, major, minor = self._flat(known.axes)
            if major.any():
                arcs = ellipse_arc(centre, major, minor, known.first_rad, known.sweep_rad)
                self.sheet.add(arcs, names, curve=True)
        else:
            self.sheet.add(self._curve(entity, known), names, curve=True)

    def _flatten(self, entity: Any, names: tuple[str, ...]) -> None:
        """Note the dashes and the heights of an entity: neither is cut."""
        style = str(entity.dxf.get("linetype", "BYLAYER")).upper()
        if style == "BYLAYER" and (table := self._layer(names[-2])) is not None:
            style = str(table.dxf.get("linetype", "CONTINUOUS")).upper()
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
            if not 1 <= index <= 255 and (table := self._layer(layer)) is not None:
                colour, index = table.rgb, abs(int(table.dxf.get("color", 7)))
            if colour is None:
                # Colour 7 is black on paper and white on a dark screen.
                colour = (0, 0, 0) if index == 7 or not 1 <= index <= 255 else aci2rgb(index)
        return (layer, f"#{colour[0]:02x}{colour[1]:02x}{colour[2]:02x}")

    def _layer(self, name: str) -> Any | None:
        layers = self.document.layers
        return layers.get(name) if layers.has_entry(name) else None

    def _visible(self, layer: str) -> bool:
        table = self._layer(layer)
        return table is None or not (table.is_off() or table.is_frozen())

    def _flat(self, xy: Floats) -> Floats:
        """Return points (n, 2) in millimetres, refusing what cannot be a piece of wood."""
        self.sheet.check_size(float(np.abs(xy).max(initial=0.0)) * self.scale)
        return xy * self.scale

    def _curve(self, entity: Any, spline: Any) -> Floats:
        with self._line_of(entity):
            control = np.array([_xy(place) for place in spline.control_points])
            at = spline.evaluator  # made anew, from all points, each time it is asked for
            degree = spline.order - 1
            knots = sorted({round(float(knot), 12) for knot in spline.knots()[degree : len(control) + 1]})
        self._flat(control)

        def curve(t: Floats) -> Floats:
            with self._line_of(entity):
                return np.array([_xy(place) for place in at.points(t)]) * self.scale

        def slope(t: Floats) -> Floats:
            with self._line_of(entity):
                return np.array([_xy(both[1]) for both in at.derivatives(t, 1)]) * self.scale

        return np.vstack([fit_arcs(curve, slope, low, high) for low, high in pairwise(knots)])


def _known(entity: Any) -> Floats | _Round | Any | None:
    """Return what the library knows of an entity, in the drawing's units; ``None`` where it does not lie flat.

    A run of lines and arcs is its places (x, y, bulge to the next); a spline is the library's own.  In a plane seen from below
    what is drawn is mirrored.
    """
    from ezdxf.entities import Ellipse

    kind, dxf = entity.dxftype(), entity.dxf
    if kind == "LINE":
        return np.array([(*_xy(dxf.start), 0.0), (*_xy(dxf.end), 0.0)])
    if kind in ("SPLINE", "HELIX"):
        return entity.construction_tool()
    x, y, z = (float(v) for v in dxf.get("extrusion", (0.0, 0.0, 1.0)))
    if math.hypot(x, y) > 1e-6 * abs(z):
        return None  # its plane stands on edge
    hand = math.copysign(1.0, z)
    if kind in ("ARC", "CIRCLE", "ELLIPSE"):
        if kind != "ELLIPSE":
            dxf = Ellipse.from_arc(entity).dxf
        (mx, my, mz), ratio = dxf.major_axis, float(dxf.ratio)
        if abs(mz) > 1e-6 * math.hypot(mx, my):
            return None
        first = float(dxf.start_param)
        sweep = (float(dxf.end_param) - first) % TURN
        axes = np.array([_xy(dxf.center), (mx, my), (-hand * ratio * my, hand * ratio * mx)], dtype=float)
        return _Round(axes, first, sweep if sweep > 1e-9 else TURN)
    if kind == "LWPOLYLINE":
        places, closed = entity.get_points("xyb"), entity.closed
    elif entity.is_2d_polyline or entity.is_3d_polyline:
        # Flag 16: a control point of the frame of a spline.
        vertices = [one.dxf for one in entity.vertices if not int(one.dxf.get("flags", 0)) & 16]
        places = [(*_xy(one.location), one.get("bulge", 0.0)) for one in vertices]
        closed = entity.is_closed
    else:
        return None
    run = np.array(places, dtype=float).reshape(-1, 3) * (hand, 1.0, hand)
    return np.vstack([run, run[:1]]) if closed else run


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
    """Return the first two coordinates of a vector."""
    return float(vector[0]), float(vector[1])
