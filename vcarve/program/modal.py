"""Modal state: everything a program's earlier lines leave in force (NISTIR 6556 §3.4), and how it changes.

Lengths are millimetres whatever the program's unit.  ``place`` is where the tool is in work coordinates; the offsets in
force (work system, G92, tool length) are added to reach machine coordinates.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, field

from vcarve.program.grammar import MM_PER_INCH, Dialect

Vector = tuple[float, float, float]
ORIGIN: Vector = (0.0, 0.0, 0.0)


@dataclass(slots=True)
class State:
    """What is in force.  ``motion`` and cycle values as codes of the grammar; ``None`` where nothing is in force yet."""

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
    length_mm: float = 0.0
    homes: tuple[Vector, Vector] = (ORIGIN, ORIGIN)
    retract_to_start: bool | None = None  # G98, G99; neither written yet
    cycle: dict[str, float] = field(default_factory=dict)
    cycle_code: int | None = None
    cycle_level_mm: float = 0.0  # height at which a row of cycles began
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
        return (
            origin[0] + self.g92[0],
            origin[1] + self.g92[1],
            origin[2] + self.g92[2] + self.length_mm,
        )

    @property
    def rpm(self) -> float:
        """The spindle's speed, 0 while it stands."""
        return self.speed_rpm if self.spindle else 0.0

    def copy(self) -> State:
        """A copy to go back to when a line turns out to be in error."""
        twin = copy(self)
        twin.cycle = dict(self.cycle)
        return twin

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
