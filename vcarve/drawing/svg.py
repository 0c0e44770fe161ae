"""SVG drawings: paths and shapes as lines and arcs in millimetres.

Units follow CSS: 1 in = 25.4 mm = 96 px, also for numbers without a unit.  SVG has Y downwards; here Y is up.  The library that
reads paths, transforms and colours takes an inch for 2.54000137 cm, so lengths are read here.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field, replace

import numpy as np

from vcarve.drawing.sheet import MOST_LINES, Sheet
from vcarve.drawing.svg_path import COMMA, NUMBER, PX_MM, SHAPES, add_path
from vcarve.drawing.xml import Node, read_tree
from vcarve.errors import InputError, Problem
from vcarve.plane.arrays import Floats

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
# SVG 1.1, 7.6 (from memory): the values of each transform, and how many.
_TRANSFORM = "|".join(
    rf"{name}\s*\(\s*{COMMA.join([NUMBER] * most)}\s*\)"
    for name, counts in {
        "matrix": (6,),
        "translate": (1, 2),
        "scale": (1, 2),
        "rotate": (1, 3),
        "skew[XY]": (1,),
    }.items()
    for most in counts
)
_TRANSFORMS = re.compile(rf"(?:(?:{_TRANSFORM}){COMMA})*")
_TRANSFORM_WANT = (
    "this transform cannot be read; write matrix(a b c d e f), translate(x y), scale(x y), rotate(degrees x y), "
    "skewX(degrees) or skewY(degrees), one after the other"
)
_RULE = re.compile(r"([^{}]+)\{([^{}]*)\}")
_SELECTOR = re.compile(r"\*|#[\w-]+|[\w-]*\.[\w-]+|[\w-]+|@.*|[0-9.]+%")
_OUTSIDE = re.compile(r"@import|url\(\s*['\"]?\s*(?!#)[^)'\"\s]", re.IGNORECASE)
_PASSED_ON = ("stroke", "fill", "stroke-dasharray")  # to the elements inside
_STYLED = (*_PASSED_ON, "display", "visibility", "transform", "transform-origin")
# What SVG 2 lets a style say of a shape.
_SHAPED = frozenset({"d", "x", "y", "width", "height", "cx", "cy", "r", "rx", "ry"})
# Never drawn where they stand.
_UNSEEN = frozenset(
    {"defs", "symbol", "clipPath", "mask", "pattern", "marker", "linearGradient", "radialGradient", "filter"}
)
_SILENT = frozenset({"title", "desc", "metadata", "style", "namedview", "script"})
_MOVING = frozenset({"animate", "animateTransform", "animateMotion", "set"})
_STILL = "this moves or changes parts of the drawing; they are cut as they stand before it begins"
_DASHED = "dashes are cut as one whole line; draw every dash as a line of its own if they are meant"
_TOO_DEEP = "parts of the drawing use each other too deeply; ungroup it"
_HOLDERS = frozenset({"g", "a", "switch"})
_IGNORED = {"text": "text", "image": "pictures", "foreignObject": "foreign objects"}
_DEEPEST = 150  # elements inside elements, with all that is used

Box = tuple[float, float, float, float]  # left, top, width, height


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """What an element takes over from those around it, and those that use it; ``depth`` counts them."""

    matrix: Floats  # (3, 3), from the element's own coordinates to px
    viewport: tuple[float, float]
    names: tuple[str, ...] = ()
    styles: dict[str, str] = field(default_factory=dict)
    depth: int = 0


def read_svg(content: bytes, name: str) -> Sheet:
    """Return the lines of an SVG file's bytes; ``name`` is the file's name for messages.

    Raises ``InputError`` for entities, references outside the file, elements that use themselves, lengths that cannot be
    read and coordinates that cannot be a piece of wood.
    """
    every = read_tree(content, name)
    root = every[0]
    reader = _Reader(Sheet(name=name))
    if root.tag != "svg":
        raise reader.problem("this is not an SVG drawing; its first element should be svg", root, root.tag)
    for node in every:
        reader.learn(node)
    count = reader.weigh(root)
    if count > MOST_LINES:
        want = f"with all its repeated parts the drawing has {count:,} elements; draw less at once"
        raise reader.problem(want, root)
    reader.root(root)
    return reader.sheet


class _Reader:
    """A drawing while it is read: its named elements, its style rules, and how much of it has been drawn."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.by_id: dict[str, Node] = {}
        # Selector -> property -> (when it was said, value): of rules for one element the later wins.
        self.rules: dict[str, dict[str, tuple[int, str]]] = {}
        self.said = 0
        self.weights: dict[int, int] = {}

    def problem(self, want: str, node: Node, value: str | None = None) -> InputError:
        """Return the error that says ``want`` of an element."""
        return InputError(Problem(want=want, file=self.sheet.name, line=node.line, value=value))

    def learn(self, node: Node) -> None:
        """Note an element's name and its style rules, and refuse whatever would be fetched from outside the file."""
        for key, value in node.attributes.items():
            inside = value.lstrip().lower().startswith(("#", "data:"))
            fetched = key in ("href", "src") and node.tag != "a" and value.strip() and not inside
            if fetched or _OUTSIDE.search(value):
                want = "the drawing refers to something outside its file; draw it in the file itself"
                raise self.problem(want, node, value)
        if "id" in node.attributes:
            self.by_id.setdefault(node.attributes["id"], node)
        if node.tag in _MOVING:
            self.sheet.flatten(_STILL, f"line {node.line}")
        if node.tag != "style":
            return
        text = re.sub(r"/\*.*?\*/", "", "".join(node.text), flags=re.DOTALL)
        if _OUTSIDE.search(text):
            want = "the drawing's styles refer to something outside its file; put them into the file"
            raise self.problem(want, node)
        if "@keyframes" in text:
            self.sheet.flatten(_STILL, f"line {node.line}")
        for heads, body in _RULE.findall(text):
            styles = _declarations(body)
            for selector in heads.split(","):
                if set(styles) & {*_STYLED} and not _SELECTOR.fullmatch(selector.strip()):
                    what = f"the style rule for {selector.strip()} is not read; give its elements the style themselves"
                    self.sheet.flatten(what, f"line {node.line}")
                known = self.rules.setdefault(selector.strip(), {})
                for key in _STYLED:
                    if key in styles:
                        self.said += 1
                        known[key] = (self.said, styles[key])

    def weigh(self, node: Node, depth: int = 0) -> int:
        """Return how many elements one stands for with all that is in it and that it uses, before any is drawn."""
        known = self.weights.get(id(node))
        if known == 0:
            value = f"#{node.attributes.get('id', '')}"
            raise self.problem("a part of the drawing uses itself", node, value)
        if depth > _DEEPEST:
            raise self.problem(_TOO_DEEP, node)
        if known is None:
            self.weights[id(node)] = 0
            used = self.by_id.get(_used(node)) if node.tag == "use" else None
            parts = node.children if used is None else [*node.children, used]
            known = self.weights[id(node)] = 1 + sum(self.weigh(part, depth + 1) for part in parts)
        return known

    def root(self, root: Node) -> None:
        """Draw the whole; the size of its page is known where it has a width and a height, or a viewBox."""
        box = self.view_box(root)
        own = {key: root.attributes.get(key, "").strip() for key in ("width", "height")}
        own = {key: text for key, text in own.items() if text not in ("", "auto") and text[-1] != "%"}
        if box is not None and not own:
            self.sheet.cautions.append(
                "The drawing has no width and height; one of its units was taken as 1 px = 1/96 in."
            )
        # An attribute that says nothing is as its side of the box.
        width, height = (
            self.length(root, key, 0.0) if key in own else None if box is None else box[side]
            for key, side in (("width", 2), ("height", 3))
        )
        if width is not None and height is not None:
            self.sheet.page_mm = (0.0, -height * PX_MM, width * PX_MM, 0.0)
        else:
            width = height = 100.0
        if not (width > 0.0 and height > 0.0):
            raise self.problem("the drawing's width and height should be above 0", root)
        page = Place(matrix=np.eye(3), viewport=(width, height))
        place = self.inherit(root, self.viewport(root, page, (0.0, 0.0, width, height)))
        for child in root.children if place else ():
            self.visit(child, place or page)

    def visit(self, node: Node, outer: Place) -> None:
        """Draw an element and what is in it."""
        if node.tag in _UNSEEN | _SILENT | _MOVING or (place := self.inherit(node, outer)) is None:
            return
        if place.depth > _DEEPEST:
            raise self.problem(_TOO_DEEP, node)
        if node.tag in _HOLDERS:
            for child in node.children:
                self.visit(child, place)
        elif node.tag == "svg":
            self.inner(node, place)
        elif node.tag == "use":
            self.use(node, place)
        elif (data := SHAPES.get(node.tag)) is not None:
            if re.search(r"[1-9]", place.styles.get("stroke-dasharray", "")):
                self.sheet.flatten(_DASHED, f"line {node.line}")
            if shaped := sorted(_SHAPED & set(_declarations(node.attributes.get("style", "")))):
                want = f"a style that shapes a {node.tag} is not read; write {shaped[0]} as an attribute"
                raise self.problem(want, node, node.attributes["style"])
            wide, high = place.viewport
            whole = {"x": wide, "y": high, "": math.hypot(wide, high) / math.sqrt(2.0)}

            def length(key: str, along: str, default: str = "0") -> float:
                return self.length(node, key, whole[along], default)

            text = data(node.tag, node.attributes, length)
            if text is None:
                want = "points should be pairs of numbers, x and y of each"
                raise self.problem(want, node, node.attributes["points"][:60])
            add_path(self.sheet, node.tag, text, place.matrix, _layer_names(place), node.line)
        else:
            self.sheet.ignored[_IGNORED.get(node.tag, f"{node.tag} elements")] += 1

    def inner(self, node: Node, place: Place) -> None:
        """Draw an svg element inside another, or a symbol."""
        wide, high = place.viewport
        x, y = self.length(node, "x", wide), self.length(node, "y", high)
        size = self.length(node, "width", wide, "100%"), self.length(node, "height", high, "100%")
        inner = self.viewport(node, place, (x, y, *size))
        for child in node.children:
            self.visit(child, inner)

    def use(self, node: Node, place: Place) -> None:
        """Draw the element of a name again."""
        target = self.by_id.get(_used(node))
        if target is None:
            raise self.problem("nothing in the drawing has this name", node, f"#{_used(node)}")
        x, y = self.length(node, "x", place.viewport[0]), self.length(node, "y", place.viewport[1])
        inner = replace(place, matrix=place.matrix @ _placed(x, y))
        if target.tag == "symbol":
            given = {k: v for k, v in node.attributes.items() if k in ("width", "height")}
            kept = {k: v for k, v in target.attributes.items() if k not in ("x", "y", "id")}
            self.inner(replace(target, tag="svg", attributes=kept | given), inner)
        else:
            self.visit(target, inner)

    def inherit(self, node: Node, outer: Place) -> Place | None:
        """Return the place of what is inside ``node``: transformed, named and coloured by it; ``None`` where it is hidden."""
        given = node.attributes
        styles = {key: given[key] for key in _STYLED if key in given}
        classes = given.get("class", "").split()
        selectors = ["*", node.tag, f"#{given.get('id', '')}", *(f".{one}" for one in classes)]
        said = [self.rules.get(name, {}) for name in (*selectors, *(f"{node.tag}.{one}" for one in classes))]
        for key in _STYLED:
            if found := [rule[key] for rule in said if key in rule]:
                styles[key] = max(found)[1]
        styles |= _declarations(given.get("style", ""))
        if styles.get("display") == "none" or styles.get("visibility") in ("hidden", "collapse"):
            return None
        names = outer.names
        if node.tag in ("g", "use") or (node.tag == "path" and "id" in given and not names):
            own = tuple(given[key].strip() for key in ("label", "id") if given.get(key, "").strip())
            names = (*own, *names)
        if given.get("clip-path", "none") != "none" or given.get("mask", "none") != "none":
            self.sheet.ignored["clips and masks"] += 1
        new = {key: styles[key] for key in _PASSED_ON if styles.get(key, "inherit") != "inherit"}
        matrix = outer.matrix
        if (text := styles.get("transform", "none")) != "none":
            if re.search(r"[1-9]|center|right|bottom", styles.get("transform-origin", "")):
                want = "transform-origin is not read; write the transform about the drawing's own origin"
                raise self.problem(want, node, styles["transform-origin"])
            matrix = matrix @ self.transform(node, text)
        depth = outer.depth + 1
        return replace(outer, matrix=matrix, names=names, styles=outer.styles | new, depth=depth)

    def transform(self, node: Node, text: str) -> Floats:
        """Return an element's own transform (3, 3)."""
        from svgelements import Matrix

        # CSS puts units where SVG has none; the library would end at a number's last point.
        plain = re.sub(r"\.(?![0-9])", ".0", re.sub(r"(?<=[0-9.])(px|deg)", "", text.strip()))
        wrong = self.problem(_TRANSFORM_WANT, node, text)
        if not _TRANSFORMS.fullmatch(plain):
            raise wrong
        with self.sheet.library(_TRANSFORM_WANT, line=node.line, value=text):
            m = Matrix(plain)
            matrix = np.array([[m.a, m.c, m.e], [m.b, m.d, m.f], [0.0, 0.0, 1.0]], dtype=float)
        if not np.isfinite(matrix).all():
            raise wrong
        return matrix

    def viewport(self, node: Node, outer: Place, room: Box) -> Place:
        """Return the place inside a viewport (SVG 2, 8.2: the equivalent transform of an SVG viewport)."""
        x, y, width, height = room
        box = self.view_box(node)
        if box is None:
            return replace(outer, matrix=outer.matrix @ _placed(x, y), viewport=(width, height))
        across, down = width / box[2], height / box[3]
        words = node.attributes.get("preserveAspectRatio", "").split() or ["xMidYMid"]
        shares = [0.0, 0.0]
        if words[0] != "none":
            across = down = max(across, down) if "slice" in words else min(across, down)
            halves = (words[0][:4], words[0][4:])
            shares = [0.0 if "Min" in half else 1.0 if "Max" in half else 0.5 for half in halves]
        tx = x - box[0] * across + shares[0] * (width - box[2] * across)
        ty = y - box[1] * down + shares[1] * (height - box[3] * down)
        return replace(outer, matrix=outer.matrix @ _placed(tx, ty, across, down), viewport=box[2:])

    def view_box(self, node: Node) -> Box | None:
        """Return an element's viewBox, if it has one."""
        text = node.attributes.get("viewBox", "").strip()
        if not text:
            return None
        try:
            x, y, width, height = (float(part) for part in re.split(r"[\s,]+", text))
        except ValueError:
            raise self.problem("viewBox should be four numbers", node, text) from None
        if not (all(math.isfinite(v) for v in (x, y, width, height)) and width > 0.0 and height > 0.0):
            raise self.problem("viewBox should have a width and a height above 0", node, text)
        return x, y, width, height

    def length(self, node: Node, key: str, whole: float, default: str = "0") -> float:
        """Return an attribute as px; ``whole`` is what 100 % means."""
        text = node.attributes.get(key, default)
        if text.strip() in ("", "auto"):
            text = default
        found = _LENGTH.fullmatch(text)
        unit = found[2].lower() if found else ""
        if found is None or (unit != "%" and unit not in _UNIT_PX):
            raise self.problem(f"{key} should be a length in mm, cm, in, pt, pc or px", node, text)
        size = float(found[1]) * (whole / 100.0 if unit == "%" else _UNIT_PX[unit])
        if not math.isfinite(size):
            raise self.problem(f"{key} is not a number", node, text)
        return size


def _used(node: Node) -> str:
    """Return the name of the element that a use element draws again."""
    return node.attributes.get("href", "").strip().removeprefix("#")


def _declarations(text: str) -> dict[str, str]:
    """Return the properties in a style attribute or the body of a style rule."""
    pairs = (part.partition(":") for part in text.split(";"))
    return {key.strip(): value.replace("!important", "").strip() for key, sep, value in pairs if sep}


def _placed(x: float, y: float, across: float = 1.0, down: float = 1.0) -> Floats:
    """Return the transform (3, 3) that stretches and then shifts."""
    return np.array([[across, 0.0, x], [0.0, down, y], [0.0, 0.0, 1.0]])


def _layer_names(place: Place) -> tuple[str, ...]:
    """Return the names a line's layer may go by: groups from the inside out, then the colour of its stroke or fill."""
    from svgelements import Color

    for paint in (place.styles.get("stroke", ""), place.styles.get("fill", "")):
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
