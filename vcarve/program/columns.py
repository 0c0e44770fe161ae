"""Growing columns of moves: what a reader appends to, and how they become the frozen record.

Only what changes at every move is stored at every move.  What stays the same for long (spindle speed, plane) is stored
at its changes, and what is rare (arcs, moves in machine coordinates, shifted starts) at its moves, so that a million lines
stay small.
"""

from __future__ import annotations

from array import array
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from vcarve.program.moves import Event, Moves


class Mark(NamedTuple):
    """Lengths of the columns, and the start set for the move to come."""

    moves: int
    events: int
    planes: int
    rpms: int
    machine: int
    unknown: int
    start: tuple[float, float, float] | None


class Columns:
    """The moves read so far."""

    def __init__(self, start_mm: tuple[float, float, float]) -> None:
        self.motion = array("b")
        self.line = array("i")
        self.x = array("d")
        self.y = array("d")
        self.z = array("d")
        self.feed = array("d")
        self.first = start_mm
        self.starts: dict[int, tuple[float, float, float]] = {}
        self.arcs: dict[int, tuple[float, float, float, float]] = {}
        self.machine: list[int] = []
        self.planes: list[tuple[int, int]] = [(0, 17)]
        self.rpms: list[tuple[int, float]] = [(0, 0.0)]
        self.unknown: list[tuple[int, int]] = [(0, 7)]  # no place is known before the program gives it
        self.events: list[Event] = []

    def __len__(self) -> int:
        return len(self.motion)

    def add(self, motion: int, line: int, end: tuple[float, float, float], feed: float) -> None:
        """One more move."""
        self.motion.append(motion)
        self.line.append(line)
        self.x.append(end[0])
        self.y.append(end[1])
        self.z.append(end[2])
        self.feed.append(feed)

    def mark(self) -> Mark:
        """How far the columns have grown, to cut them back to."""
        count = len(self.motion)
        return Mark(
            count,
            len(self.events),
            len(self.planes),
            len(self.rpms),
            len(self.machine),
            len(self.unknown),
            self.starts.get(count),
        )

    def cut(self, mark: Mark) -> None:
        """Drop everything after the mark: what a line in error has appended."""
        count = mark.moves
        for index in range(count, len(self.motion) + 1):
            self.starts.pop(index, None)
            self.arcs.pop(index, None)
        if mark.start is not None:
            self.starts[count] = mark.start
        for column in (self.motion, self.line, self.x, self.y, self.z, self.feed):
            del column[count:]
        del self.events[mark.events :], self.planes[mark.planes :]
        del self.rpms[mark.rpms :], self.machine[mark.machine :], self.unknown[mark.unknown :]

    def moves(self, lines: int) -> Moves:
        """The frozen record."""
        count = len(self.motion)
        end = np.empty((count, 3))
        for axis, column in enumerate((self.x, self.y, self.z)):
            end[:, axis] = np.frombuffer(column, dtype=np.float64) if count else 0.0
        start = np.empty((count, 3))
        if count:
            start[0] = self.first
            start[1:] = end[:-1]
        for index, place in self.starts.items():
            if index < count:
                start[index] = place
        centre = np.full((count, 3), np.nan)
        sweep = np.zeros(count)
        if self.arcs:
            mine = np.fromiter(self.arcs.keys(), dtype=np.int64, count=len(self.arcs))
            values = np.array(list(self.arcs.values()))
            centre[mine] = values[:, :3]
            sweep[mine] = values[:, 3]
        machine = np.zeros(count, dtype=np.bool_)
        machine[self.machine] = True
        return Moves(
            motion=np.array(self.motion, dtype=np.int8),
            line=np.array(self.line, dtype=np.int32),
            start_mm=start,
            end_mm=end,
            centre_mm=centre,
            sweep_rad=sweep,
            plane=_spread(self.planes, count).astype(np.int8),
            feed_mm_min=np.array(self.feed, dtype=np.float64),
            rpm=_spread(self.rpms, count),
            machine=machine,
            unknown=_spread(self.unknown, count + 1).astype(np.int8),
            events=tuple(self.events),
            lines=lines,
        )


def _spread(changes: list[tuple[int, int]] | list[tuple[int, float]], count: int) -> npt.NDArray[np.float64]:
    """Values stored at their changes, spread over ``count`` moves."""
    index = np.array([min(at, count) for at, _ in changes], dtype=np.int64)
    values = np.array([value for _, value in changes], dtype=np.float64)
    return np.repeat(values, np.diff(index, append=count))
