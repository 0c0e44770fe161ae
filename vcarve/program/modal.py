"""Modal state: everything a program's earlier lines leave in force (NISTIR 6556 §3.4), and how it changes.

Lengths are millimetres whatever the program's unit.  ``place`` is where the tool is in work coordinates; the offsets in
force (work system, G92) are added to reach machine coordinates.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass

from vcarve.program.grammar import MM_PER_INCH, Dialect

Vector = tuple[float, float, float]
ORIGIN: Vector = (0.0, 0.0, 0.0)


@dataclass(slots=True)
class State:
    """What is in force.  ``motion`` as a code of the grammar; ``None`` where nothing is in force yet."""

    place: Vector = ORIGIN
    motion: int | None = None
    motion_written: bool = False
    plane: int = 17
    absolute: bool = True
    arc_absolute: bool = False
    inverse_time: bool = False
    inch: bool = False
    feed_mm_min: float = 0.0
    feed_stale: bool = False
    spindle: int = 0
    speed_rpm: float = 0.0
    tool: int = 0
    system: int = 1
    origins: tuple[Vector, ...] = (ORIGIN,) * 9
    g92: Vector = ORIGIN
    g92_kept: Vector = ORIGIN
    homes: tuple[Vector, Vector] = (ORIGIN, ORIGIN)
    unknown: int = 7  # axes whose place the text has not said: 1 for X, 2 for Y, 4 for Z
    ended: bool = False

    @property
    def scale(self) -> float:
        """Millimetres per length unit in force."""
        return MM_PER_INCH if self.inch else 1.0

    @property
    def offset(self) -> Vector:
        """Work coordinates plus this are machine coordinates."""
        origin = self.origins[self.system - 1]
        return plus(origin, self.g92)

    @property
    def rpm(self) -> float:
        """The spindle's speed, 0 while it stands."""
        return self.speed_rpm if self.spindle else 0.0

    def copy(self) -> State:
        """A copy to go back to when a line turns out to be in error."""
        return copy(self)

    def end_program(self, dialect: Dialect) -> None:
        """M2 and M30 (§3.6.1): the modes they reset; units, speed and tool stay."""
        self.motion = 10
        self.plane = 17
        self.absolute = True
        self.inverse_time = False
        self.system = 1
        self.spindle = 0
        if dialect.name == "rs274ngc":
            self.g92 = ORIGIN


def plus(a: Vector, b: Vector) -> Vector:
    """a + b."""
    return (a[0] + b[0], a[1] + b[1], a[2] + b[2])


def minus(a: Vector, b: Vector) -> Vector:
    """a - b."""
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])
