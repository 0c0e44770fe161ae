"""What a program's earlier lines leave behind: the modes in force (NISTIR 6556 §3.4), and the moves and events so far.

Lengths are millimetres whatever the program's unit.  ``place`` is where the tool is in work coordinates; the offsets in
force (work system, G92) are added to reach machine coordinates.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from operator import add, sub
from struct import Struct
from typing import NamedTuple

import numpy as np

from vcarve.program.grammar import AXES, MM_PER_INCH
from vcarve.program.moves import Event, Motion, Moves

Vector = tuple[float, ...]  # one value for each of AXES
ORIGIN: Vector = (0.0,) * len(AXES)
ALL_LOST = frozenset(AXES)
MOTIONS = dict(zip(("G0", "G1", "G2", "G3", "G38.2"), Motion, strict=True))


class Modes(NamedTuple):
    """What stays the same for many moves: the plane, the spindle's speed (0 while it stands), the axes that are lost before
    a move (the text has not said where they are in work coordinates), and whether it goes in machine coordinates.
    """

    plane: int = 17
    rpm: float = 0.0
    lost: frozenset[str] = ALL_LOST
    machine: bool = False


@dataclass
class State:
    """What is in force, the modes by the codes that set them; ``motion`` is empty where none is yet."""

    place: Vector = ORIGIN
    lost: frozenset[str] = ALL_LOST
    motion: str = ""
    motion_written: bool = False
    plane: str = "G17"
    distance: str = "G90"
    arc_distance: str = "G91.1"
    feed_mode: str = "G94"
    units: str = "G21"
    spindle: str = "M5"
    feed_mm_min: float = 0.0
    feed_stale: bool = False
    speed_rpm: float = 0.0
    system: int = 1
    origins: Mapping[int, Vector] = field(default_factory=dict)  # of work systems, by their numbers
    g92: Vector = ORIGIN
    g92_kept: Vector = ORIGIN
    homes: Mapping[str, Vector] = field(default_factory=dict)  # in machine coordinates, by their codes
    ended: bool = False
    told: Mapping[str, str] = field(default_factory=dict)  # the last code of each group

    def copy(self) -> State:
        """Return a copy, to go on with while this one is kept."""
        twin = object.__new__(State)
        twin.__dict__.update(self.__dict__)
        return twin

    @property
    def scale(self) -> float:
        """Millimetres per length unit in force."""
        return MM_PER_INCH if self.units == "G20" else 1.0

    @property
    def offset(self) -> Vector:
        """Work coordinates plus this are machine coordinates."""
        return plus(self.origins.get(self.system, ORIGIN), self.g92)

    def offset_by(self, **changes: object) -> None:
        """Change what the offset is made of; the tool stays where it is in machine coordinates."""
        old = self.offset
        self.__dict__.update(changes)
        if self.offset != old:
            self.place = minus(plus(self.place, old), self.offset)

    @property
    def machine_place(self) -> Vector:
        """Where the tool is in machine coordinates."""
        return plus(self.place, self.offset)

    def modes(self, *, machine: bool = False) -> Modes:
        """Return what the next move is noted with."""
        return Modes(int(self.plane[1:]), self.speed_rpm if self.spindle != "M5" else 0.0, self.lost, machine)


def plus(a: Vector, b: Vector) -> Vector:
    """Return a + b."""
    return tuple(map(add, a, b))


def minus(a: Vector, b: Vector) -> Vector:
    """Return a - b."""
    return tuple(map(sub, a, b))


# A row: a move; or where the tool stands when that is not where the last move ended; or the centre of the arc that follows,
# with its signed angle for a feed.
STANDS, CENTRE = -1, -2
_ROW = np.dtype([("motion", "i1"), ("line", "i4"), ("modes", "i4"), ("feed", "f8"), ("end", "f8", len(AXES))])
as_row = Struct(f"=biid{len(AXES)}d").pack


class Columns:
    """The moves and events so far: moves as rows of bytes, so that a million lines stay small."""

    def __init__(self, place: Vector) -> None:
        self.rows = bytearray(as_row(STANDS, 0, 0, 0.0, *place))
        self.modes: list[Modes] = [Modes()]
        self.events: list[tuple[int, int, str, float, str]] = []

    def event(self, line: int, kind: str, value: float = 0.0, text: str = "") -> None:
        """Note something that is not motion, before the move to come."""
        self.events.append((len(self.rows) // _ROW.itemsize, line, kind, value, text))

    def stand(self, place: Vector, modes: Modes) -> int:
        """Note where the next move starts and with which modes; returns the number of these for its row."""
        row = as_row(STANDS, 0, 0, 0.0, *place)
        if not self.rows.endswith(row[-8 * len(AXES) :]):
            self.rows += row
        if modes != self.modes[-1]:
            self.modes.append(modes)
        return len(self.modes) - 1

    def moves(self, lines: int, last: Modes) -> Moves:
        """Return the frozen record of a text of so many lines; ``last`` are the modes behind it."""
        rows = np.frombuffer(self.rows, dtype=_ROW)
        is_move, is_centre = rows["motion"] >= 0, rows["motion"] == CENTRE
        before = np.append(0, np.cumsum(is_move))
        moves, bent = rows[is_move], before[:-1][is_centre]
        centre, sweep = np.full((len(moves), len(AXES)), np.nan), np.zeros(len(moves))
        centre[bent], sweep[bent] = rows["end"][is_centre], rows["feed"][is_centre]
        which = moves["modes"]
        lost = np.array([[axis in modes.lost for axis in AXES] for modes in (*self.modes, last)])
        return Moves(
            axes=AXES,
            motion=np.array(moves["motion"]),
            line=np.array(moves["line"]),
            start_mm=rows["end"][~is_centre][:-1][is_move[~is_centre][1:]],
            end_mm=np.array(moves["end"]),
            centre_mm=centre,
            sweep_rad=sweep,
            plane=np.array([modes.plane for modes in self.modes], dtype=np.int8)[which],
            feed_mm_min=np.array(moves["feed"]),
            rpm=np.array([modes.rpm for modes in self.modes])[which],
            machine=np.array([modes.machine for modes in self.modes])[which],
            lost=lost[np.append(which, -1)],
            events=tuple(
                Event(kind=kind, line=line, before=int(before[row]), value=value, text=text)
                for row, line, kind, value, text in self.events
            ),
            lines=lines,
        )
