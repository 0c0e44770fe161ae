"""SVG paths, and basic shapes as the paths they stand for, as lines and arcs in millimetres, Y up."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from vcarve.drawing.sheet import MOST_LINES, Sheet
from vcarve.errors import InputError, Problem
from vcarve.plane.arcs import Point
from vcarve.plane.arrays import Floats
from vcarve.plane.fit import bezier, ellipse_arc, fit_arcs

PX_MM = 25.4 / 96.0
MOST_CLOSINGS = 500  # in one path, without a move to a new place

# An attribute, along what it is measured (x, y or neither), and what it is if left out.
Length = Callable[..., float]
# The path of an element; None for points that cannot be read.
Data = Callable[[str, Mapping[str, str], Length], str | None]

# The grammar of path data, SVG 1.1, 8.3.9, and SVG 2, 9.3.9 (from memory); "5." is a number in the first only, and means 5 in
# either.  What was taken for a number or a flag is never given back: "12" is not 1 and 2.
_SPACE = r"[ \t\r\n\f]*+"
COMMA = rf"{_SPACE},?+{_SPACE}"
NUMBER = r"(?>[-+]?(?:[0-9]++\.?[0-9]*+|\.[0-9]++)(?:[eE][-+]?[0-9]++)?+)"
_KINDS = {"n": NUMBER, "f": "[01]"}
_TAKES = {
    "MLT": ("nn", "x and y"),
    "HV": ("n", "one number"),
    "C": ("nnnnnn", "three places, x and y of each"),
    "SQ": ("nnnn", "two places, x and y of each"),
    "A": ("nnnffnn", "two radii, an angle, two flags 0 or 1, x and y"),
}


_WORDS = {letter: what for letters, (_, what) in _TAKES.items() for letter in letters}


def _command(letters: str, takes: str) -> str:
    one = COMMA.join(_KINDS[kind] for kind in takes)
    return rf"[{letters}{letters.lower()}]{_SPACE}{one}(?>{COMMA}{one})*+{COMMA}"


_COMMAND = re.compile(
    "|".join([*(_command(key, takes) for key, (takes, _) in _TAKES.items()), f"[zZ]{COMMA}"])
)
_POINTS = re.compile(rf"(?:{NUMBER}{COMMA}{NUMBER}{COMMA})*+")


# --- shapes as paths (SVG 2, chapter 10: the equivalent path of each) -------------------------------------------------


def _path(tag: str, given: Mapping[str, str], length: Length) -> str:
    return given.get("d", "").strip().removeprefix("none")


def _line(tag: str, given: Mapping[str, str], length: Length) -> str:
    x1, y1, x2, y2 = (length(key, key[0]) for key in ("x1", "y1", "x2", "y2"))
    return f"M{x1} {y1}L{x2} {y2}"


def _poly(tag: str, given: Mapping[str, str], length: Length) -> str | None:
    points = given.get("points", "").strip()
    if not _POINTS.fullmatch(points):
        return None
    return f"M{points}{'Z' if tag == 'polygon' else ''}" if points else ""


def _circle(tag: str, given: Mapping[str, str], length: Length) -> str:
    x, y = length("cx", "x"), length("cy", "y")
    rx = ry = length("r", "") if tag == "circle" else 0.0
    if tag == "ellipse":
        rx, ry = length("rx", "x", given.get("ry", "0")), length("ry", "y", given.get("rx", "0"))
    if rx <= 0.0 or ry <= 0.0:
        return ""
    return f"M{x + rx} {y}A{rx} {ry} 0 0 1 {x - rx} {y}A{rx} {ry} 0 0 1 {x + rx} {y}"


def _rect(tag: str, given: Mapping[str, str], length: Length) -> str:
    x, y, w, h = length("x", "x"), length("y", "y"), length("width", "x"), length("height", "y")
    if w <= 0.0 or h <= 0.0:
        return ""
    rx = min(length("rx", "x", given.get("ry", "0")), w / 2.0)
    ry = min(length("ry", "y", given.get("rx", "0")), h / 2.0)
    if rx <= 0.0 or ry <= 0.0:
        return f"M{x} {y}H{x + w}V{y + h}H{x}Z"
    turn = f"A{rx} {ry} 0 0 1"
    return (
        f"M{x + rx} {y}H{x + w - rx}{turn} {x + w} {y + ry}V{y + h - ry}{turn} {x + w - rx} {y + h}"
        f"H{x + rx}{turn} {x} {y + h - ry}V{y + ry}{turn} {x + rx} {y}"
    )


SHAPES: dict[str, Data] = {
    "path": _path,
    "circle": _circle,
    "ellipse": _circle,
    "rect": _rect,
    "line": _line,
    "polyline": _poly,
    "polygon": _poly,
}


# --- paths as lines and arcs -------------------------------------------------------------------------------------------


def add_path(sheet: Sheet, tag: str, text: str, matrix: Floats, names: tuple[str, ...], line: int) -> None:
    """Add the lines and arcs of a path, which stands for an element ``tag``; ``matrix`` (3, 3) leads to px."""
    import svgelements

    value = text[:60] if tag == "path" else None

    def problem(want: str, value: str | None = value) -> InputError:
        return InputError(Problem(want=want, file=sheet.name, line=line, value=value))

    if (wrong := _misread(text)) is not None:
        at, want = wrong
        raise problem(want, text[at : at + 60]) if tag == "path" else problem(f"this {tag} cannot be read")
    # A closing looks back for the beginning of its part: many in one part would take the square of their number.
    closings = len(re.findall(r"[zZ](?=[\s,]*[^mM\s,])", text))
    if closings > MOST_CLOSINGS or len(re.findall("[a-df-zA-DF-Z]", text)) > MOST_LINES:
        raise problem(f"this {tag} has too many commands; draw less at once")
    with sheet.library(f"this {tag} cannot be read", line=line, value=value):
        plain = re.sub(r"\.(?![0-9])", ".0", text)  # the library would end at a number's last point
        segments = [_numbers(segment, svgelements) for segment in svgelements.Path(plain)]
    for points, angles in (segment for segment in segments if segment is not None):
        with np.errstate(all="ignore"):
            mm = np.asarray((np.array(points) @ matrix[:2, :2].T + matrix[:2, 2]) * (PX_MM, -PX_MM))
        sheet.check_size(float(np.abs(mm).max()), line)
        sheet.add(_arcs(mm, angles), names, curve=len(points) > 2, line=line)


def _misread(text: str) -> tuple[int, str] | None:
    """Return from where on a path is not as the grammar has it, and what would be right; ``None`` where all of it is."""
    if text and text[0] not in "mM":
        return 0, "a path should begin with M and a place, as in M 10 20"
    at, last = 0, ""
    while at < len(text):
        found = _COMMAND.match(text, at)
        if found is None and (what := _WORDS.get(text[at].upper())):
            return at, f"the path cannot be read from here on; {text[at]} should be followed by {what}"
        if found is None:
            more = f", or {_WORDS[last.upper()]} once more for {last}" if last not in "zZ" else ""
            return (
                at,
                f"the path cannot be read from here on; a command, one of M L H V C S Q T A Z, should stand here{more}",
            )
        at, last = found.end(), text[at]
    return None


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


def _arcs(mm: Floats, angles: tuple[float, float] | None) -> Floats:
    """Return one path segment as lines and arcs (n, 5)."""
    if angles is None:
        return fit_arcs(*bezier(mm), 0.0, 1.0) if len(mm) > 2 else np.array([[*mm[0], *mm[1], 0.0]])
    start, end, centre, major, minor = mm
    arcs = ellipse_arc(centre, major - centre, minor - centre, *angles)
    if not len(arcs):
        return np.array([[*start, *end, 0.0]])
    # Its ends are exactly where the path says.
    arcs[0, :2], arcs[-1, 2:4] = start, end
    return arcs
