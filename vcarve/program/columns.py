"""Growing columns of moves: what a reader appends to, and how they become the frozen record.

Only what changes at every move is stored at every move.  What stays the same for long (:class:`Modes`) is stored at its
changes, and what is rare (arcs, moves in machine coordinates, starts elsewhere than the last end) at its moves, so that a
million lines stay small.
"""

from __future__ import annotations

from array import array
from struct import Struct
from typing import NamedTuple

import numpy as np

from vcarve.program.grammar import AXES
from vcarve.program.moves import Event, Moves
from vcarve.program.state import Modes, Vector

PLACE = Struct(f"{len(AXES)}d").pack  # a place as the bytes of its values: the quickest way into an array


class Step(NamedTuple):
    """One move to come; ``arc`` is the centre of an arc and, last, its signed angle."""

    motion: int
    start: Vector
    end: Vector
    feed: float
    modes: Modes
    machine: bool = False
    arc: Vector | None = None


class Columns:
    """The moves read so far; ``place`` is where the next one starts."""

    def __init__(self, place: Vector) -> None:
        self.motion = array("b")
        self.line = array("i")
        self.end = array("d")  # one value after the other, for each of AXES
        self.feed = array("d")
        self.place = place
        self.starts: dict[int, Vector] = {0: place}
        self.modes: list[tuple[int, Modes]] = [(0, Modes())]
        self.arcs: dict[int, Vector] = {}
        self.machine: list[int] = []
        self.events: list[Event] = []

    def event(self, line: int, kind: str, value: float = 0.0, text: str = "") -> None:
        """Note something that is not motion, before the move to come."""
        self.events.append(Event(kind=kind, line=line, before=len(self.motion), value=value, text=text))

    def stand(self, place: Vector, modes: Modes) -> None:
        """Say where the next move starts, and with which modes."""
        count = len(self.motion)
        if place != self.place:
            self.starts[count] = self.place = place
        if modes != self.modes[-1][1]:
            self.modes.append((count, modes))

    def add(self, line: int, step: Step) -> None:
        """Append a move."""
        self.stand(step.start, step.modes)
        count = len(self.motion)
        if step.machine:
            self.machine.append(count)
        if step.arc is not None:
            self.arcs[count] = step.arc
        self.motion.append(step.motion)
        self.line.append(line)
        self.end.frombytes(PLACE(*step.end))
        self.feed.append(step.feed)
        self.place = step.end

    def moves(self, lines: int) -> Moves:
        """Return the frozen record of a text of so many lines."""
        count = len(self.motion)
        end = np.array(self.end).reshape(count, len(AXES))
        start = np.empty_like(end)
        start[1:] = end[:-1]
        for index, place in self.starts.items():
            if index < count:
                start[index] = place
        centre = np.full_like(end, np.nan)
        sweep = np.zeros(count)
        if self.arcs:
            mine = np.array(list(self.arcs))
            values = np.array(list(self.arcs.values()))
            centre[mine], sweep[mine] = values[:, :-1], values[:, -1]
        machine = np.zeros(count, dtype=np.bool_)
        machine[self.machine] = True
        in_force = [modes for _, modes in self.modes]
        spread = np.repeat(np.arange(len(in_force)), np.diff([at for at, _ in self.modes], append=count + 1))
        lost = np.array([[axis in modes.lost for axis in AXES] for modes in in_force])
        return Moves(
            axes=AXES,
            motion=np.array(self.motion, dtype=np.int8),
            line=np.array(self.line, dtype=np.int32),
            start_mm=start,
            end_mm=end,
            centre_mm=centre,
            sweep_rad=sweep,
            plane=np.array([modes.plane for modes in in_force], dtype=np.int8)[spread[:-1]],
            feed_mm_min=np.array(self.feed),
            rpm=np.array([modes.rpm for modes in in_force])[spread[:-1]],
            machine=machine,
            lost=lost[spread],
            events=tuple(self.events),
            lines=lines,
        )
