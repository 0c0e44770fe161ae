"""How high a board's top stands from place to place, as it was probed or measured: the files that say so.

Taken are logs of senders to Grbl, the file that LinuxCNC writes between PROBEOPEN and PROBECLOSE, and typed tables.  Probes are
told from the first touch, at X0 Y0, which says nothing else; the last, there again, says how far the zero has drifted meanwhile.
A table's heights are typed above the top at X0 Y0.

Sources: Grbl 1.1, doc/markdown/interface.md and commands.md, ``[PRB:x,y,z:1]``, in machine coordinates, 0 for no contact, and in
inches after ``$13=1`` (from memory: the same follows ``[TLO:...]`` in the answer to ``$#``); LinuxCNC G-code reference, G38: nine
numbers a line, X Y Z A B C U V W.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from pydantic import Field

from vcarve.errors import InputError, Problem, cut
from vcarve.job.document import read_bytes
from vcarve.job.record import Record
from vcarve.quantity import INCH, counted, format_mm

if TYPE_CHECKING:
    from vcarve.plane.arrays import Floats  # numpy is loaded for jobs with a surface only

LARGEST_BYTES = 8 * 1024 * 1024  # hours of a log with the place told several times a second
MOST_POINTS = 1000
LEAST_POINTS = 3
SAME_MM = 0.1  # touches nearer than this are of one place
FARTHEST_MM = 1e5  # from zero; more is a slip
DRIFT_MM = 0.05  # of the zero between the first touch and the last: 0.1 mm in width at 90°; our choice
_DECIMAL = r"[-+]?(?:\d+\.?\d*|\.\d+)"
_NUMBER = re.compile(_DECIMAL)
_PROBE = re.compile(rf"\[PRB:((?:{_DECIMAL},){{2,}}{_DECIMAL}):([01])\]")
_UNITS = re.compile(r"\W*(?:units?\W+)?(mm|millimet(?:er|re)s?|in|inch|inches)\W*", re.IGNORECASE)
_REPORTS = re.compile(r".*\$13=([01])\b")
_APART = re.compile(r"\s*[,;]\s*|\s+")
_WORD = re.compile(r"[^\W\d_]+")
_OTHER_UNITS = {"cm", "m", "um", "µm", "μm", "mil", "mils", "thou"}
_OTHER_ORDER = re.compile("yx|x[zh]y|^[zh]xy$")  # by the first letters of x, y, and z or height


class Grid(NamedTuple):
    """Heights (rows, columns) at whole columns and rows, whose X and Y rise."""

    x_mm: Floats
    y_mm: Floats
    height_mm: Floats


Points = tuple[tuple[float, float, float], ...]


class Surface(Record):
    """Points of a board's top: X and Y from the work zero along the machine's axes, and heights above that at X0 Y0."""

    points_mm: Points = Field(description="X, Y and height of each point")
    drift_mm: float = Field(0.0, description="how much higher the last touch, at X0 Y0, was than the first")
    whole: bool = Field(True, description="whether touches end there, as they began; true of a table")

    @property
    def places_mm(self) -> Floats:
        """The points (n, 3), those of one place as their mean, in the order in which they were touched first."""
        return _places(self.points_mm)

    @property
    def grid(self) -> Grid | None:
        """The places as a grid; ``None`` where they are not whole columns and rows."""
        return _grid(self.points_mm)


@lru_cache(maxsize=8)
def _places(points_mm: Points) -> Floats:
    import numpy as np

    from vcarve.plane.arrays import connected

    points = np.array(points_mm)
    near = np.hypot(*(points[:, None, :2] - points[None, :, :2]).T) < SAME_MM
    count, place = connected(len(points), *np.nonzero(near))
    total = np.array([np.bincount(place, column, count) for column in points.T])
    return np.asarray((total / np.bincount(place, minlength=count)).T)


@lru_cache(maxsize=8)
def _grid(points_mm: Points) -> Grid | None:
    import numpy as np

    places, axes = _places(points_mm), []
    number = np.zeros((2, len(places)), np.int64)
    for axis in (0, 1):
        order = np.argsort(places[:, axis], kind="stable")
        gaps = np.diff(places[order, axis], prepend=places[order[0], axis])
        number[axis, order] = np.cumsum(gaps > SAME_MM)
        axes.append(np.bincount(number[axis], places[:, axis]) / np.bincount(number[axis]))
    x, y = axes
    height = np.full((len(y), len(x)), np.nan)
    height[number[1], number[0]] = places[:, 2]
    whole = min(len(x), len(y)) > 1 and len(places) == height.size and not np.isnan(height).any()
    return Grid(x, y, height) if whole else None


def load_surface(name: str, folder: str = ".") -> Surface:
    """Read a file of heights by its path, looked up from ``folder``; raises ``InputError`` with every problem and its line."""
    path = str(Path(folder) / name)
    data = read_bytes(path, LARGEST_BYTES)
    if b"\0" in data[:LARGEST_BYTES]:
        raise InputError(Problem(file=path, want="this is no plain text; save it as text in UTF-8"))
    if len(data) > LARGEST_BYTES:
        raise InputError(Problem(file=path, want=f"too large; up to {LARGEST_BYTES >> 20} MiB are taken"))
    return surface_from(data.decode("utf-8-sig", errors="replace"), path)


def surface_from(text: str, file: str | None = None) -> Surface:
    """Return the surface that a log, LinuxCNC's file or a table tells of; raises ``InputError`` as :func:`load_surface` does."""
    import numpy as np

    lines = re.split(r"\r\n|\n|\r", text)
    logged = "[PRB" in text
    rows: list[tuple[float, ...]] = []
    problems: list[Problem] = []
    last = 0
    for number, row in enumerate(_answers(lines) if logged else _table(lines), start=1):
        if isinstance(row, str):
            problems.append(Problem(file=file, line=number, value=cut(lines[number - 1].strip()), want=row))
        elif row is not None:
            rows.append(row)
            last = number
    if problems:
        raise InputError(problems[:100])
    probed = logged or (len(rows) > 0 and len(rows[0]) == 9)
    points, drift_mm, whole = np.array([row[:3] for row in rows]).reshape(-1, 3), 0.0, True
    if probed:  # a table is taken as it is typed
        points = (points - points[:1])[1:]
        whole = len(points) > 0 and bool(np.hypot(*points[-1, :2]) < SAME_MM)
    if probed and whole:
        drift_mm, points = float(points[-1, 2]), points[:-1]
    if abs(drift_mm) > DRIFT_MM:
        moved = (
            f"{format_mm(round(abs(drift_mm), 3))} {'higher' if drift_mm > 0.0 else 'lower'} than at first"
        )
        cure = f"more than {format_mm(DRIFT_MM)} is no slip of the probe: see what gave way, and probe again"
        raise InputError(Problem(file=file, line=last, want=f"X0 Y0 was found {moved} here; {cure}"))
    if not (want := _few(len(points), probed)):
        made = Surface(
            points_mm=tuple((x, y, z) for x, y, z in points.tolist()), drift_mm=drift_mm, whole=whole
        )
        spread = np.linalg.svd(made.places_mm[:, :2] - made.places_mm[:, :2].mean(axis=0), compute_uv=False)
        if len(made.places_mm) >= LEAST_POINTS and spread[1] > SAME_MM:
            return made
        want = "all points lie on one line; the top needs places beside it as well"
    raise InputError(Problem(file=file, want=want))


def _few(count: int, probed: bool) -> str | None:
    """Say what is wrong with how many points there are; ``None`` where it is well."""
    least = f"at least {LEAST_POINTS}" + (
        " besides the touches at X0 Y0, which say where zero is," if probed else ""
    )
    if count < LEAST_POINTS:
        what = f"it has {counted(count, 'point')}; {least} are wanted"
        return f"{what}: lines '[PRB:...]' of a sender's log, LinuxCNC's nine numbers, or 'x, y, height'"
    return f"it has {count} points; up to {MOST_POINTS} are taken" if count > MOST_POINTS else None


def _answers(lines: list[str]) -> Iterator[tuple[float, ...] | str | None]:
    """Yield for each line of a log the place of a probe, what is wrong with it, or ``None`` for other lines."""
    unit, before, first = 1.0, "", True
    for line in lines:
        if setting := _REPORTS.match(line):
            unit = INCH.unit_mm if setting[1] == "1" else 1.0
        elif units := _UNITS.fullmatch(line):
            unit = _unit(units[1])
        # The answer to '$#' repeats the last probe, or says that there was none.
        found, told = _PROBE.search(line), "[PRB" in line and "[TLO:" not in before
        if "ALARM:" in line:
            yield "the controller broke off here; probe again, and give the log of one whole run"
        elif not told:
            yield None
        else:
            again = (
                ": all others count from this touch"
                if first
                else ", or take the line out, if that place may be left out"
            )
            if found is None or line.count("[PRB") > 1:
                yield f"this answer is cut off or garbled; probe again{again}"
            elif found[2] == "0":
                yield f"this probe touched nothing; probe again{again}"
            else:
                yield _read(found[1].split(",")[:3], unit)
            first = False
        before = line if line.strip() else before


def _table(lines: list[str]) -> Iterator[tuple[float, ...] | str | None]:
    """Yield for each line of a table its numbers, what is wrong with it, or ``None`` for words and comments."""
    unit, count = 1.0, 0
    for line in lines:
        text = line.split("#")[0].strip()
        words = _APART.split(text)
        if units := _UNITS.fullmatch(text):
            unit = _unit(units[1])
            yield None if not count else "the unit belongs before the first point"
        elif not text or (not count and not any(char.isdecimal() for char in text)):
            yield _title(_WORD.findall(text.lower()))
        elif not all(map(_NUMBER.fullmatch, words)):
            yield "plain numbers are wanted, x, y and height, with a point for decimals; words go after #"
        elif len(words) not in (3, 9) or (count and len(words) != count):
            yield f"{count or 3} numbers are wanted here, and decimals with a point; there are {len(words)}"
        else:
            count = len(words)
            yield _read(words, unit)


def _title(words: list[str]) -> str | None:
    """Say what is wrong with the names of a table's columns; ``None`` where they say nothing else than what is taken."""
    order = "".join(word[0] for word in words if word in ("x", "y", "z", "height", "heights"))
    if "mm" not in words and {"in", "inch", "inches"} & {*words}:
        return "is the table in inches? Write a line 'inch' before the first point, and words after #"
    if _OTHER_UNITS & {*words}:
        return "lengths are taken in mm, or in inches below a line 'inch'; words go after #"
    if "depth" in words:
        return "heights are wanted, above the top at X0 Y0: what lies lower has a minus; words go after #"
    if _OTHER_ORDER.search(order):
        return "the columns are taken as x, y, height: put them in this order; words go after #"
    return None


def _unit(word: str) -> float:
    return 1.0 if word.lower().startswith("m") else INCH.unit_mm


def _read(words: list[str], unit: float) -> tuple[float, ...] | str:
    numbers = tuple(float(word) * unit for word in words)
    far = max(map(abs, numbers[:3])) > FARTHEST_MM
    return (
        f"more than {FARTHEST_MM / 1000:g} m away from zero; is a decimal point missing?" if far else numbers
    )
