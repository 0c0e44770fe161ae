"""What the readers of drawings hand on: lines and arcs in millimetres as drawn, with every name their layer may go by."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

from vcarve.errors import InputError, MizoError, Problem, printable
from vcarve.plane.fit import Arc

FARTHEST_MM = 100_000.0
MOST_LINES = 100_000  # some 40 s and 1 GB from drawing to program, all lines in one cell


@dataclass(slots=True, kw_only=True)
class Sheet:
    """A drawing while it is being read.

    Of each line or arc: its curve as ``plane.arcs`` has it, Y up; which of its ends are corners (the others lie inside a
    smooth curve that was turned into arcs, and are never moved to close a gap); the names its layer may go by, the most
    telling one first.
    """

    name: str
    curves: list[tuple[float, float, float, float, float]] = field(default_factory=list)
    corners: list[tuple[bool, bool]] = field(default_factory=list)
    names: list[tuple[str, ...]] = field(default_factory=list)
    ignored: Counter[str] = field(default_factory=Counter)  # what was not drawn with lines, in words
    cautions: list[str] = field(default_factory=list)
    flattened: dict[str, list[str]] = field(default_factory=dict)  # what lines lost, in words -> where
    page_mm: tuple[float, float, float, float] | None = None  # left, front, right, back

    def add(
        self, arcs: Sequence[Arc], names: tuple[str, ...], *, curve: bool = False, line: int | None = None
    ) -> None:
        """Add lines and arcs drawn in one go; ``curve`` when they stand for one smooth curve."""
        names = tuple(printable(name) for name in names)
        for index, (start, end, bulge) in enumerate(arcs):
            for number in (*start, *end):
                self.check_size(abs(number), line)
            if start != end:
                self.curves.append((*start, *end, bulge))
                self.corners.append((not curve or index == 0, not curve or index == len(arcs) - 1))
                self.names.append(names)
        if len(self.curves) > MOST_LINES:
            want = f"the drawing has more than {MOST_LINES:,} lines; draw less at once"
            raise InputError(Problem(want=want, file=self.name))

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
