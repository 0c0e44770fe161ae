"""What the readers of drawings hand on: lines and arcs in millimetres as drawn, with every name their layer may go by."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import numpy as np

from vcarve.errors import InputError, MizoError, Problem, printable
from vcarve.plane.arcs import Floats, Point
from vcarve.plane.fit import Arc

FARTHEST_MM = 100_000.0
MOST_STROKES = 100_000  # some 40 s and 1 GB from drawing to program, all lines in one cell


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """One line or arc as drawn, Y up.

    ``names`` are the names its layer may go by, the most telling one first.  ``smooth_start`` and ``smooth_end`` tell that
    the end lies inside a curve that was turned into arcs: such an end is no corner, and is never moved to close a gap.
    """

    start: Point
    end: Point
    bulge: float
    names: tuple[str, ...]
    smooth_start: bool = False
    smooth_end: bool = False

    @property
    def curve(self) -> Floats:
        """The line or arc as ``plane.arcs`` has it, (5,)."""
        return np.array([*self.start, *self.end, self.bulge])


@dataclass(slots=True, kw_only=True)
class Sheet:
    """A drawing while it is being read."""

    name: str
    strokes: list[Stroke] = field(default_factory=list)
    ignored: Counter[str] = field(default_factory=Counter)  # what was not drawn with lines, in words
    cautions: list[str] = field(default_factory=list)
    flattened: dict[str, list[str]] = field(default_factory=dict)  # what lines lost, in words -> where
    page_mm: tuple[float, float, float, float] | None = None  # left, front, right, back

    def add(
        self, arcs: Iterable[Arc], names: tuple[str, ...], *, curve: bool = False, line: int | None = None
    ) -> None:
        """Add lines and arcs drawn in one go; ``curve`` when they stand for one smooth curve."""
        run, names = list(arcs), tuple(printable(name) for name in names)
        for index, (start, end, bulge) in enumerate(run):
            for number in (*start, *end):
                self.check_size(abs(number), line)
            if start == end:
                continue
            self.strokes.append(
                Stroke(
                    start=start,
                    end=end,
                    bulge=bulge,
                    names=names,
                    smooth_start=curve and index > 0,
                    smooth_end=curve and index < len(run) - 1,
                )
            )
        if len(self.strokes) > MOST_STROKES:
            raise InputError(
                Problem(
                    want=f"the drawing has more than {MOST_STROKES:,} lines; draw less at once",
                    file=self.name,
                )
            )

    def flatten(self, what: str, where: str) -> None:
        """Note what a line or a part of the drawing has that is not cut."""
        self.flattened.setdefault(what, []).append(where)

    @contextmanager
    def library(self, want: str, *, line: int | None = None, value: str | None = None) -> Iterator[None]:
        """Take what goes wrong in here for a file written wrong: libraries stumble over one in ways of their own.

        Nothing of our own belongs in here, or its faults would be laid to the file.
        """
        try:
            yield
        except (MizoError, MemoryError):
            raise
        except Exception:
            raise InputError(Problem(want=want, file=self.name, line=line, value=value)) from None

    def check_size(self, far_mm: float, line: int | None = None) -> None:
        """Refuse a coordinate that is not a number or lies where no piece of wood can be."""
        if not math.isfinite(far_mm):
            raise InputError(
                Problem(want="a coordinate is not a number; draw this line again", file=self.name, line=line)
            )
        if far_mm > FARTHEST_MM:
            want = (
                f"a line lies {far_mm:.3g} mm from the drawing's origin, farther than {FARTHEST_MM / 1000:.0f} m; "
                "move the drawing to its origin and check its units"
            )
            raise InputError(Problem(want=want, file=self.name, line=line))
