"""What the readers of drawings hand on: lines and arcs in millimetres as drawn, with every name their layer may go by."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import numpy as np

from vcarve.errors import InputError, MizoError, Problem, printable
from vcarve.plane.arrays import Bools, Floats

FARTHEST_MM = 100_000.0
MOST_LINES = 100_000  # some 40 s and 1 GB from drawing to program, all lines in one cell


@dataclass(slots=True, kw_only=True)
class Sheet:
    """A drawing while it is being read.

    Of what was drawn in one go: its lines and arcs (n, 5) as ``plane.arcs`` has them, Y up; the names its layer may go by, the
    most telling one first; whether they stand for one smooth curve; and the line of the file.
    """

    name: str
    drawn: list[tuple[Floats, tuple[str, ...], bool, int | None]] = field(default_factory=list)
    count: int = 0  # of all lines and arcs
    ignored: Counter[str] = field(default_factory=Counter)  # what was not drawn with lines, in words
    cautions: list[str] = field(default_factory=list)
    flattened: dict[str, list[str]] = field(default_factory=dict)  # what lines lost, in words -> where
    page_mm: tuple[float, float, float, float] | None = None  # left, front, right, back

    def add(
        self, arcs: Floats, names: tuple[str, ...], *, curve: bool = False, line: int | None = None
    ) -> None:
        """Add lines and arcs (n, 5) drawn in one go; ``curve`` when they stand for one smooth curve."""
        self.drawn.append((arcs, tuple(printable(name) for name in names), curve, line))
        self.count += len(arcs)
        if self.count > MOST_LINES:
            want = f"the drawing has more than {MOST_LINES:,} lines; draw less at once"
            raise InputError(Problem(want=want, file=self.name))

    def lines(self) -> tuple[Floats, Bools, list[tuple[str, ...]]]:
        """Return all lines and arcs (n, 5), which of their ends are corners (n, 2), and the names of the layer of each.

        The other ends lie inside a smooth curve that was turned into arcs, and are never moved to close a gap.
        """
        curves = np.vstack([np.zeros((0, 5)), *(arcs for arcs, *_ in self.drawn)])
        count = np.array([len(arcs) for arcs, *_ in self.drawn], dtype=np.int64)
        owner, last = np.repeat(np.arange(len(count)), count), np.cumsum(count)[count > 0]
        far = np.abs(curves).max(axis=1, initial=0.0)
        for k in np.flatnonzero(~(far <= FARTHEST_MM))[:1].tolist():
            self.check_size(float(far[k]), self.drawn[owner[k]][3])
        corners = np.tile(~np.array([curve for _, _, curve, _ in self.drawn], dtype=bool)[owner, None], 2)
        corners[(last - count[count > 0]), 0] = corners[last - 1, 1] = True
        kept = (curves[:, :2] != curves[:, 2:4]).any(axis=1)
        return curves[kept], corners[kept], [self.drawn[k][1] for k in owner[kept].tolist()]

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
