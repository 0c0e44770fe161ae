"""SVG drawings: paths and shapes as lines and arcs in millimetres.

Units follow CSS: 1 in = 25.4 mm = 96 px, also for numbers without a unit.  SVG has Y downwards; here Y is up.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from vcarve.drawing.sheet import MOST_STROKES, Sheet
from vcarve.drawing.svg_place import (
    PX_MM,
    Place,
    Reader,
    declarations,
    inherit,
    length_px,
    times,
    view_box,
    viewport_matrix,
)
from vcarve.drawing.svg_shapes import SHAPES
from vcarve.drawing.xml import Node, read_tree

_RULE = re.compile(r"([^{}]+)\{([^{}]*)\}")
_OUTSIDE = re.compile(r"@import|url\(\s*['\"]?\s*(?!#)[^)'\"\s]", re.IGNORECASE)
# Never drawn where they stand.
_UNSEEN = frozenset(
    {"defs", "symbol", "clipPath", "mask", "pattern", "marker", "linearGradient", "radialGradient", "filter"}
)
_SILENT = frozenset({"title", "desc", "metadata", "style", "namedview", "script"})
_MOVING = frozenset({"animate", "animateTransform", "animateMotion", "set"})
_STILL = "this moves or changes parts of the drawing; they are cut as they stand before it begins"
_HOLDERS = frozenset({"g", "a", "switch"})
_IGNORED = {"text": "text", "image": "pictures", "foreignObject": "foreign objects"}
_DEEPEST = 300  # elements inside elements, with all that is used


def read_svg(content: bytes, name: str) -> Sheet:
    """Return the lines of an SVG file's bytes; ``name`` is the file's name for messages.

    Raises ``InputError`` for entities, references outside the file, elements that use themselves, lengths that cannot be
    read and coordinates that cannot be a piece of wood.
    """
    root = read_tree(content, name)
    reader = Reader(sheet=Sheet(name=name))
    if root.tag != "svg":
        raise reader.problem("this is not an SVG drawing; its first element should be svg", root, root.tag)
    for node in _every(root):
        _refuse_outside(reader, node)
        if "id" in node.attributes:
            reader.by_id.setdefault(node.attributes["id"], node)
        if node.tag in _MOVING:
            reader.sheet.flatten(_STILL, f"line {node.line}")
        if node.tag == "style":
            text = re.sub(r"/\*.*?\*/", "", "".join(node.text), flags=re.DOTALL)
            if "@keyframes" in text:
                reader.sheet.flatten(_STILL, f"line {node.line}")
            for heads, body in _RULE.findall(text):
                styles = declarations(body)
                for selector in heads.split(","):
                    reader.add_rule(selector.strip(), styles)
    count, _ = _weigh(reader, root, {}, 0)
    if count > MOST_STROKES:
        raise reader.problem(
            f"with all its repeated parts the drawing has {count:,} elements; draw less at once", root
        )
    _root(reader, root)
    return reader.sheet


def _weigh(
    reader: Reader, node: Node, known: dict[int, tuple[int, int] | None], depth: int
) -> tuple[int, int]:
    """Return how many elements are drawn for one, and how deep they nest, without drawing any."""
    if id(node) in known:
        found = known[id(node)]
        if found is None:
            raise reader.problem(
                "a part of the drawing uses itself", node, f"#{node.attributes.get('id', '')}"
            )
        return found
    if depth > _DEEPEST:
        raise reader.problem("parts of the drawing use each other too deeply; ungroup it", node)
    known[id(node)] = None
    parts = list(node.children)
    if node.tag == "use":
        target = reader.by_id.get(node.attributes.get("href", "").strip().removeprefix("#"))
        parts += [] if target is None else [target]
    count, height = 1, 1
    for part in parts:
        below, high = _weigh(reader, part, known, depth + 2)
        count, height = count + below, max(height, high + 2)
    if height > _DEEPEST:
        raise reader.problem("parts of the drawing use each other too deeply; ungroup it", node)
    known[id(node)] = (count, height)
    return count, height


def _every(root: Node) -> Iterator[Node]:
    todo = [root]
    while todo:
        node = todo.pop()
        yield node
        todo.extend(reversed(node.children))


def _refuse_outside(reader: Reader, node: Node) -> None:
    """Refuse whatever would be fetched from outside the file; a plain hyperlink is not fetched."""
    for key, value in node.attributes.items():
        inside = value.lstrip().startswith("#") or value.lstrip().lower().startswith("data:")
        if (key in ("href", "src") and node.tag != "a" and value.strip() and not inside) or _OUTSIDE.search(
            value
        ):
            raise reader.problem(
                "the drawing refers to something outside its file; draw it in the file itself", node, value
            )
    if node.tag == "style" and _OUTSIDE.search("".join(node.text)):
        raise reader.problem(
            "the drawing's styles refer to something outside its file; put them into the file", node
        )


def _root(reader: Reader, root: Node) -> None:
    sheet, given = reader.sheet, root.attributes
    box = view_box(reader, root)
    sizes: list[float] = []
    for side, key in enumerate(("width", "height")):
        text = given.get(key, "").strip()
        if text and not text.endswith("%") and text != "auto":
            sizes.append(length_px(reader, root, key, 0.0))
        elif box is not None:
            sizes.append(box[2 + side])
        else:
            sizes.append(math.nan)
    known = not any(math.isnan(size) for size in sizes)
    if box is not None and not any(
        given.get(k, "").strip() and "%" not in given[k] for k in ("width", "height")
    ):
        sheet.cautions.append(
            "The drawing has no width and height; one of its units was taken as 1 px = 1/96 in."
        )
    width, height = sizes if known else (100.0, 100.0)
    if not (width > 0.0 and height > 0.0):
        raise reader.problem("the drawing's width and height should be above 0", root)
    base = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    matrix = viewport_matrix(base, given, 0.0, 0.0, width, height, box)
    viewport = box[2:] if box else (width, height)
    place = Place(sheet=sheet, line=root.line, matrix=matrix, viewport=viewport)
    if known:
        sheet.page_mm = (0.0, -height * PX_MM, width * PX_MM, 0.0)
    place = inherit(reader, root, place)
    for child in root.children:
        _visit(reader, child, place)


def _visit(reader: Reader, node: Node, outer: Place) -> None:
    if node.tag in _UNSEEN | _SILENT | _MOVING:
        return
    place = inherit(reader, node, outer)
    if place.hidden:
        return
    if node.tag in _HOLDERS:
        for child in node.children:
            _visit(reader, child, place)
    elif node.tag == "svg":
        _inner_svg(reader, node, place)
    elif node.tag == "use":
        _use(reader, node, place)
    elif node.tag in _IGNORED:
        reader.sheet.ignored[_IGNORED[node.tag]] += 1
    elif (draw := SHAPES.get(node.tag)) is not None:
        if re.search(r"[1-9]", place.dashes or ""):
            what = "dashes are cut as one whole line; draw every dash as a line of its own if they are meant"
            reader.sheet.flatten(what, f"line {node.line}")
        draw(reader, node, place)
    else:
        reader.sheet.ignored[f"{node.tag} elements"] += 1


def _inner_svg(reader: Reader, node: Node, place: Place) -> None:
    wide, high = place.viewport
    x, y = length_px(reader, node, "x", wide), length_px(reader, node, "y", high)
    width = length_px(reader, node, "width", wide, "100%")
    height = length_px(reader, node, "height", high, "100%")
    box = view_box(reader, node)
    matrix = viewport_matrix(place.matrix, node.attributes, x, y, width, height, box)
    inner = replace(place, matrix=matrix, viewport=box[2:] if box else (width, height))
    for child in node.children:
        _visit(reader, child, inner)


def _use(reader: Reader, node: Node, place: Place) -> None:
    key = node.attributes.get("href", "").strip().removeprefix("#")
    target = reader.by_id.get(key)
    if target is None:
        raise reader.problem("nothing in the drawing has this name", node, f"#{key}")
    x, y = length_px(reader, node, "x", place.viewport[0]), length_px(reader, node, "y", place.viewport[1])
    shift = np.array([[1.0, 0.0, x], [0.0, 1.0, y]])
    inner = replace(place, matrix=times(place.matrix, shift))
    if target.tag == "symbol":
        given = {k: v for k, v in node.attributes.items() if k in ("width", "height")}
        kept = {k: v for k, v in target.attributes.items() if k not in ("x", "y", "id")}
        symbol = Node(tag="svg", attributes=kept | given, line=target.line, children=target.children)
        _inner_svg(reader, symbol, inner)
    else:
        _visit(reader, target, inner)
