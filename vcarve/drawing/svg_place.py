"""Where an SVG element stands: units, transforms, viewports, and what it takes over from the elements around it."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field, replace

import numpy as np

from vcarve.drawing.sheet import Sheet
from vcarve.drawing.xml import Node
from vcarve.errors import InputError, Problem
from vcarve.plane.arcs import Floats

PX_MM = 25.4 / 96.0
# CSS Values and Units, absolute lengths: px per unit.
_UNIT_PX = {
    "": 1.0,
    "px": 1.0,
    "pt": 96 / 72,
    "pc": 16.0,
    "in": 96.0,
    "cm": 96 / 2.54,
    "mm": 96 / 25.4,
    "q": 96 / 101.6,
}
_LENGTH = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*([a-zA-Z]*|%)\s*")
_STYLED = ("stroke", "fill", "display", "visibility", "stroke-dasharray")


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """What an element takes over from those around it."""

    sheet: Sheet
    line: int
    matrix: Floats  # (2, 3), from the element's own coordinates to px
    viewport: tuple[float, float]
    names: tuple[str, ...] = ()
    stroke: str | None = None
    fill: str | None = None
    dashes: str | None = None
    hidden: bool = False


@dataclass(slots=True, kw_only=True)
class Reader:
    """The drawing while it is read: its named elements, and its style rules."""

    sheet: Sheet
    by_id: dict[str, Node] = field(default_factory=dict)
    rules: dict[str, dict[str, tuple[int, str]]] = field(
        default_factory=dict
    )  # selector -> property -> (when, value)
    told: int = 0  # how often style rules have set something

    def add_rule(self, selector: str, body: dict[str, str]) -> None:
        """Note what a style rule says; of rules for one element the later one wins."""
        known = self.rules.setdefault(selector, {})
        for key in _STYLED:
            if key in body:
                self.told += 1
                known[key] = (self.told, body[key])

    def problem(self, want: str, node: Node, value: str | None = None) -> InputError:
        """Return the error that says ``want`` of an element."""
        return InputError(Problem(want=want, file=self.sheet.name, line=node.line, value=value))


def declarations(text: str) -> dict[str, str]:
    """Return the properties in a style attribute or the body of a style rule."""
    pairs = (part.partition(":") for part in text.split(";"))
    return {key.strip(): value.replace("!important", "").strip() for key, sep, value in pairs if sep}


def inherit(reader: Reader, node: Node, outer: Place) -> Place:
    """Return the place of what is inside ``node``: transformed, named and coloured by it."""
    given = node.attributes
    style: dict[str, str] = {key: given[key] for key in _STYLED if key in given}
    if reader.rules:
        selectors = ["*", node.tag, f"#{given.get('id', '')}"]
        for one in given.get("class", "").split():
            selectors += [f".{one}", f"{node.tag}.{one}"]
        said = [reader.rules[selector] for selector in selectors if selector in reader.rules]
        for key in _STYLED:
            if found := [rule[key] for rule in said if key in rule]:
                style[key] = max(found)[1]
    style |= declarations(given.get("style", ""))
    names = outer.names
    if node.tag in ("g", "use") or (node.tag == "path" and "id" in given and not names):
        own = tuple(given[key].strip() for key in ("label", "id") if given.get(key, "").strip())
        names = (*own, *names)
    dashes = style.get("stroke-dasharray", outer.dashes)
    stroke, fill = style.get("stroke", outer.stroke), style.get("fill", outer.fill)
    if given.get("clip-path", "none") != "none" or given.get("mask", "none") != "none":
        reader.sheet.ignored["clips and masks"] += 1
    return replace(
        outer,
        line=node.line,
        matrix=times(outer.matrix, _transform(reader, node)) if "transform" in given else outer.matrix,
        names=names,
        stroke=outer.stroke if stroke == "inherit" else stroke,
        fill=outer.fill if fill == "inherit" else fill,
        dashes=outer.dashes if dashes == "inherit" else dashes,
        hidden=style.get("display") == "none" or style.get("visibility") in ("hidden", "collapse"),
    )


def layer_names(place: Place) -> tuple[str, ...]:
    """Return the names a line's layer may go by: groups from the inside out, then the colour of its stroke or fill."""
    from svgelements import Color

    for paint in (place.stroke, place.fill):
        if paint and paint != "none" and not paint.startswith("url"):
            try:
                colour = Color(paint)
            except MemoryError:
                raise
            except Exception:  # what is no colour
                continue
            if colour.value is not None:
                return (*place.names, f"#{colour.red:02x}{colour.green:02x}{colour.blue:02x}")
    return (*place.names, "#000000")


def _transform(reader: Reader, node: Node) -> Floats:
    from svgelements import Matrix

    text = node.attributes["transform"]
    rest = re.sub(r"(?:matrix|translate|scale|rotate|skewX|skewY)\s*\([^()]*\)[\s,]*", "", text)
    with reader.sheet.library("this transform cannot be read", line=node.line, value=text):
        m = Matrix(text)
        matrix = np.array([[m.a, m.c, m.e], [m.b, m.d, m.f]], dtype=float)
    if rest.strip() not in ("", "none") or not np.isfinite(matrix).all():
        raise reader.problem("this transform cannot be read", node, text)
    return matrix


def times(outer: Floats, inner: Floats) -> Floats:
    """Return the transform that first applies ``inner``, then ``outer`` (both (2, 3))."""
    return np.column_stack([outer[:, :2] @ inner[:, :2], outer[:, :2] @ inner[:, 2] + outer[:, 2]])


def viewport_matrix(
    outer: Floats, given: dict[str, str], x: float, y: float, width: float, height: float,
    box: tuple[float, float, float, float] | None,
) -> Floats:  # fmt: skip
    """Return the transform into a viewport (SVG 2, 8.2: the equivalent transform of an SVG viewport)."""
    if box is None:
        return times(outer, np.array([[1.0, 0.0, x], [0.0, 1.0, y]]))
    across, down = width / box[2], height / box[3]
    words = given.get("preserveAspectRatio", "").split() or ["xMidYMid"]
    if words[0] != "none":
        across = down = max(across, down) if "slice" in words else min(across, down)
    shares = [
        0.0 if "Min" in half else 1.0 if "Max" in half else 0.5 for half in (words[0][:4], words[0][4:])
    ]
    if words[0] == "none":
        shares = [0.0, 0.0]
    tx = x - box[0] * across + shares[0] * (width - box[2] * across)
    ty = y - box[1] * down + shares[1] * (height - box[3] * down)
    return times(outer, np.array([[across, 0.0, tx], [0.0, down, ty]]))


def view_box(reader: Reader, node: Node) -> tuple[float, float, float, float] | None:
    """Return left, top, width and height of an element's viewBox, if it has one."""
    text = node.attributes.get("viewBox", "").strip()
    if not text:
        return None
    try:
        x, y, width, height = (float(part) for part in re.split(r"[\s,]+", text))
    except ValueError:
        raise reader.problem("viewBox should be four numbers", node, text) from None
    if not (all(math.isfinite(v) for v in (x, y, width, height)) and width > 0.0 and height > 0.0):
        raise reader.problem("viewBox should have a width and a height above 0", node, text)
    return x, y, width, height


def length_px(reader: Reader, node: Node, key: str, whole: float, default: str = "0") -> float:
    """Return an attribute as px; ``whole`` is what 100 % means."""
    text = node.attributes.get(key, default)
    if text.strip() in ("", "auto"):
        text = default
    found = _LENGTH.fullmatch(text)
    unit = found[2].lower() if found else ""
    if found is None or (unit != "%" and unit not in _UNIT_PX):
        raise reader.problem(f"{key} should be a length in mm, cm, in, pt, pc or px", node, text)
    size = float(found[1]) * (whole / 100.0 if unit == "%" else _UNIT_PX[unit])
    if not math.isfinite(size):
        raise reader.problem(f"{key} is not a number", node, text)
    return size
