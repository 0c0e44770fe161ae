"""What acts: a modal state, the columns it fills, and the few ways in which a line can move the tool."""

from __future__ import annotations

from collections.abc import Iterable

from vcarve.program.block import Block
from vcarve.program.columns import Columns
from vcarve.program.grammar import AXES, MOTION, Dialect
from vcarve.program.modal import State, Vector, minus, plus
from vcarve.program.moves import Event, Motion


class Actor:
    """A machine under the rules of one dialect; ``line`` is the line it is at."""

    def __init__(self, dialect: Dialect, start_mm: Vector) -> None:
        self.dialect = dialect
        self.state = State(place=start_mm, motion=dialect.start_motion)
        self.columns = Columns(start_mm)
        self.line = 0

    def event(self, kind: str, value: float = 0.0, text: str = "") -> None:
        """Note something that is not motion, before the move to come."""
        event = Event(kind=kind, line=self.line, before=len(self.columns), value=value, text=text)
        self.columns.events.append(event)

    def know(self, axes: Iterable[str], *, known: bool) -> None:
        """From here on the text has said where these axes are in work coordinates, or no longer knows it."""
        mask = sum(1 << AXES.index(letter) for letter in set(axes))
        unknown = self.state.unknown & ~mask if known else self.state.unknown | mask
        if unknown != self.state.unknown:
            self.state.unknown = unknown
            self.columns.unknown.append((len(self.columns), unknown))

    def rpm_changed(self) -> None:
        """Note the spindle's speed from the next move on."""
        self.columns.rpms.append((len(self.columns), self.state.rpm))

    def offset_changed(self, old: Vector) -> None:
        """Keep the tool where it is in machine coordinates; its work coordinates follow the offsets."""
        new = self.state.offset
        if new != old:
            self.state.place = minus(plus(self.state.place, old), new)
            self.columns.starts[len(self.columns)] = self.state.place

    def machine_move(
        self, motion: Motion, here: Vector, there: Vector, feed: float, axes: Iterable[str]
    ) -> None:
        """A move of some axes given in machine coordinates; the others stay where they are."""
        columns = self.columns
        columns.machine.append(len(columns))
        columns.starts[len(columns)] = here
        columns.add(motion, self.line, there, feed)
        self.state.place = minus(there, self.state.offset)
        columns.starts[len(columns)] = self.state.place
        self.know(axes, known=False)

    def straight(self, motion: Motion, target: Vector, feed: float, axes: Iterable[str]) -> None:
        """One move to a place in work coordinates; ``axes`` are those that the line gives."""
        self.columns.add(motion, self.line, target, feed)
        self.state.place = target
        if self.state.unknown and self.state.absolute:
            self.know(axes, known=True)

    def go(self, motion: Motion, target: Vector, feed: float, axes: Iterable[str], *, machine: bool) -> None:
        """One straight move in work or in machine coordinates."""
        if machine:
            self.machine_move(motion, plus(self.state.place, self.state.offset), target, feed, axes)
        else:
            self.straight(motion, target, feed, axes)

    def target(self, block: Block, *, machine: bool = False) -> Vector:
        """Where the line's axis words lead, in millimetres; axes not named stay."""
        state = self.state
        place = plus(state.place, state.offset) if machine else state.place
        scale = state.scale
        shift = not state.absolute and not machine
        values = []
        for axis, letter in enumerate(AXES):
            value = block.value(letter)
            if value is None:
                values.append(place[axis])
            elif shift:
                values.append(place[axis] + value * scale)
            else:
                values.append(value * scale)
        return (values[0], values[1], values[2])

    def checked_feed(self, block: Block, length_mm: float) -> float:
        """The speed along the path: F, or with G93 the length over the time (§3.5.19)."""
        state = self.state
        if state.inverse_time:
            value = block.value("F")
            if value is None or value <= 0.0:
                raise block.reject(
                    "F" if value is not None else MOTION, "G93 needs F above zero on every feed move"
                )
            return value * length_mm
        if state.feed_mm_min <= 0.0:
            raise block.reject(MOTION, "a feed move needs F above zero before it")
        if state.feed_stale:
            raise block.reject(MOTION, "F was given in the other unit: give it again after G20 or G21")
        return state.feed_mm_min
