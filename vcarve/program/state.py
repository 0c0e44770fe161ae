"""Modal state: everything a program's earlier lines leave in force (NISTIR 6556 §3.4), and how it changes.

Lengths are millimetres whatever the program's unit.  ``place`` is where the tool is in work coordinates; the offsets in
force (work system, G92) are added to reach machine coordinates.
"""

from __future__ import annotations

from dataclasses import dataclass
from operator import add, sub
from typing import NamedTuple

from vcarve.program.grammar import AXES, MM_PER_INCH, Dialect

Vector = tuple[float, ...]  # one value for each of AXES
ORIGIN: Vector = (0.0,) * len(AXES)
ALL_LOST = frozenset(AXES)


class Modes(NamedTuple):
    """What each move is noted with: its plane, the spindle's speed (0 while it stands), and the axes that are lost before it.

    Lost is an axis of which the text has not said where it is in work coordinates.
    """

    plane: int = 17
    rpm: float = 0.0
    lost: frozenset[str] = ALL_LOST


@dataclass
class State:
    """What is in force.  ``motion`` as a code of the grammar; ``None`` where none is in force yet."""

    place: Vector = ORIGIN
    lost: frozenset[str] = ALL_LOST
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
    ended: bool = False

    def copy(self) -> State:
        """Return a copy, to go on with while this one is kept."""
        twin = object.__new__(State)
        twin.__dict__.update(self.__dict__)
        return twin

    @property
    def scale(self) -> float:
        """Millimetres per length unit in force."""
        return MM_PER_INCH if self.inch else 1.0

    @property
    def offset(self) -> Vector:
        """Work coordinates plus this are machine coordinates."""
        return plus(self.origins[self.system - 1], self.g92)

    @property
    def machine_place(self) -> Vector:
        """Where the tool is in machine coordinates."""
        return plus(self.place, self.offset)

    @property
    def modes(self) -> Modes:
        """What the next move is noted with."""
        return Modes(self.plane, self.speed_rpm if self.spindle else 0.0, self.lost)

    def end_program(self, dialect: Dialect) -> None:
        """Reset the modes that M2 and M30 do (§3.6.1); units, speed and tool stay."""
        self.motion = 10
        self.plane = 17
        self.absolute = True
        self.inverse_time = False
        self.system = 1
        self.spindle = 0
        if dialect.name == "rs274ngc":
            self.g92 = ORIGIN
        self.ended = True


def plus(a: Vector, b: Vector) -> Vector:
    """Return a + b."""
    return tuple(map(add, a, b))


def minus(a: Vector, b: Vector) -> Vector:
    """Return a - b."""
    return tuple(map(sub, a, b))
