"""One checked line after another: acts on the modal state in the order of table 8 and appends moves and events.

A line is taken whole or not at all: when any of its steps is in error the state and the columns are as before it
(Grbl, doc/markdown/interface.md; NISTIR 6556 leaves it open, since it stops there).
"""

from __future__ import annotations

import math
from collections.abc import Callable

from vcarve.program.actor import Actor
from vcarve.program.block import Block, check_leftovers, settle_motion, sort
from vcarve.program.curve import arc
from vcarve.program.grammar import (
    ARC_DISTANCE,
    ARCS,
    COOLANT,
    DISTANCE,
    FEED_MODE,
    G92_HOLD,
    MOST_DIGITS,
    MOTION,
    NON_MODAL,
    OVERRIDES,
    PATH,
    PLAIN_G,
    PLAIN_LETTERS,
    PLAIN_M,
    PLANE,
    PROGRAM_ENDS,
    SHORTEST_LIMIT,
    SPINDLE,
    STOP,
    SYSTEM,
    TOOL_CHANGE,
    UNITS,
    Dialect,
    active_comment,
)
from vcarve.program.modal import Vector, minus, plus
from vcarve.program.moves import Motion
from vcarve.program.offsets import go_home, set_origin, shift
from vcarve.program.values import kept_value
from vcarve.program.words import Line

_SYSTEMS = {540: 1, 550: 2, 560: 3, 570: 4, 580: 5, 590: 6, 591: 7, 592: 8, 593: 9}
_SPINDLE = {30: (1, "spindle-cw"), 40: (-1, "spindle-ccw"), 50: (0, "spindle-stop")}
_COOLANT = {70: "mist", 80: "flood", 90: "coolant-off"}
_STOPS = {0: "pause", 10: "optional-pause", 600: "pause", 20: "end", 300: "end"}
_NAN = float("nan")


class Interpreter(Actor):
    """The machine's mind: the steps of a line in their order."""

    def __init__(self, dialect: Dialect, start_mm: Vector) -> None:
        super().__init__(dialect, start_mm)
        self._steps: tuple[Callable[[Block], None], ...] = tuple(
            getattr(self, "_" + step.replace("-", "_")) for step in dialect.order
        )

    def run(self, line: Line, number: int) -> None:
        """Take one line; raises :class:`~vcarve.program.words.Reject` and leaves everything as it was."""
        block = sort(line, self.dialect)
        before = self.state.copy()
        columns = self.columns
        mark = columns.mark()
        self.line = number
        try:
            settle_motion(block, self.dialect, self.state.motion)
            check_leftovers(block, self.dialect)
            self._note(line, block)
            for step in self._steps:
                step(block)
        except Exception:
            self.state = before
            columns.cut(mark)
            raise

    def remark(self, line: Line, number: int) -> None:
        """Note what a line holds beside its words: comments a controller acts on, parameters, the block delete sign."""
        self.line = number
        if line.deleted:
            self.event("switched")
        if line.semicolon and not self.dialect.semicolon_comments:
            self.event("semicolon")
        for index, _ in line.settings:
            self.event("outside", text=f"#{index}")
        if line.live and self.dialect.name != "linuxcnc":
            self.event("live-sign")
        if line.significant > SHORTEST_LIMIT and self.dialect.name == "rs274ngc":
            self.event("long-line")
        for word in filter(None, map(active_comment, line.comments)):
            self.event("active-comment", text=word)

    def _note(self, line: Line, block: Block) -> None:
        """Note every code, letter and value that the plain subset does not have, whatever becomes of it."""
        if self.dialect.name == "rs274ngc" and 490 in block.g.values() and block.axes:
            self.event("cancel-with-axes")
        for word in line.words:
            code = round(word.value * 10.0)
            plain = {"G": PLAIN_G, "M": PLAIN_M}.get(word.letter)
            if plain is not None and code not in plain:
                self.event("outside", code / 10.0, f"{word.letter}{code / 10.0:g}")
            elif (
                plain is None
                and word.letter not in PLAIN_LETTERS
                and (word.letter != "R" or block.motion in ARCS)
            ):
                self.event("outside", text=word.letter)
            elif word.letter == "T" and self.dialect.name != "grbl-1.1":
                self.event("outside", text="T")
            if word.computed:
                self.event("outside", text=word.text)
            elif word.digits > MOST_DIGITS:
                written = float(word.text[1:])
                self.event("long-number", abs(written - kept_value(word.text[1:], written)), word.text)

    def _feed_mode(self, block: Block) -> None:
        code = block.g.get(FEED_MODE)
        if code is None:
            return
        inverse = code == 930
        if not inverse and (self.state.inverse_time or self.dialect.name != "grbl-1.1"):
            # Units per minute were not given since G93; LinuxCNC forgets F at every G94, changed or not, and a program for
            # all controllers has to give it again.
            self.state.feed_mm_min = 0.0
        self.state.inverse_time = inverse
        self.event("feed-mode", code / 10)

    def _feed(self, block: Block) -> None:
        value = block.value("F")
        if value is None:
            return
        if UNITS in block.g:
            self.event("feed-with-units", value)
        if not self.state.inverse_time:
            self.state.feed_mm_min = value * self.state.scale
            self.state.feed_stale = False

    def _speed(self, block: Block) -> None:
        value = block.value("S")
        if value is not None:
            self.state.speed_rpm = value
            self.event("speed", value)
            self.rpm_changed()

    def _tool(self, block: Block) -> None:
        if "T" in block.words:
            self.state.tool = block.whole("T", 0, 255 if self.dialect.name == "grbl-1.1" else 99_999)
            self.event("tool", self.state.tool)

    def _tool_change(self, block: Block) -> None:
        if TOOL_CHANGE in block.m:
            self.state.spindle = 0  # §3.6.3
            self.event("tool-change", self.state.tool)
            self.rpm_changed()

    def _spindle(self, block: Block) -> None:
        code = block.m.get(SPINDLE)
        if code is not None:
            self.state.spindle, kind = _SPINDLE[code]
            self.event(kind)
            self.rpm_changed()

    def _coolant(self, block: Block) -> None:
        code = block.m.get(COOLANT)
        if code is not None:
            self.event(_COOLANT[code])

    def _overrides(self, block: Block) -> None:
        code = block.m.get(OVERRIDES)
        if code is not None:
            self.event("overrides", code / 10)

    def _dwell(self, block: Block) -> None:
        if block.g.get(NON_MODAL) != 40:
            return
        seconds = block.value("P")
        if seconds is None:
            raise block.reject(NON_MODAL, "G4 needs P, the seconds to wait")
        if seconds < 0.0:
            raise block.reject("P", "P must not be negative")
        if block.motion in ARCS and self.dialect.name == "linuxcnc":
            raise block.reject(NON_MODAL, "G4 must not stand beside G2 or G3")
        self.event("dwell", seconds)

    def _plane(self, block: Block) -> None:
        code = block.g.get(PLANE)
        if code is not None:
            self.state.plane = code // 10
            self.columns.planes.append((len(self.columns), self.state.plane))
            self.event("plane", self.state.plane)

    def _units(self, block: Block) -> None:
        code = block.g.get(UNITS)
        if code is None:
            return
        inch = code == 200
        if inch != self.state.inch and self.dialect.name == "rs274ngc":
            # §3.5.7: a stored feed or offset keeps its figure under the new unit; the controllers keep its size.
            # A program for all of them must not depend on either.
            self.state.feed_stale = self.state.feed_mm_min > 0.0
            if any(self.state.offset) or any(self.state.g92_kept) or any(map(any, self.state.origins)):
                raise block.reject(
                    UNITS, "units change while offsets are set: controllers disagree on what they become"
                )
        self.state.inch = inch
        self.event("units", code / 10)

    def _system(self, block: Block) -> None:
        code = block.g.get(SYSTEM)
        if code is not None:
            old = self.state.offset
            self.state.system = _SYSTEMS[code]
            self.offset_changed(old)
            self.event("system", self.state.system)

    def _path(self, block: Block) -> None:
        code = block.g.get(PATH)
        if code is not None:
            for letter in "PQ":
                if (block.value(letter) or 0.0) < 0.0:
                    raise block.reject(letter, f"{letter} must not be negative")
            self.event("path", code / 10)
            if code == 640:
                # P is LinuxCNC's; without it, or with P0, corners are rounded as far as the speed asks.
                bound = (block.value("P") if self.dialect.name == "linuxcnc" else None) or math.inf
                self.event("path-tolerance", max(bound, block.value("Q") or 0.0) * self.state.scale)

    def _distance(self, block: Block) -> None:
        code = block.g.get(DISTANCE)
        if code is not None:
            self.state.absolute = code == 900
            self.event("distance", code / 10)
        code = block.g.get(ARC_DISTANCE)
        if code is not None:
            self.state.arc_absolute = code == 901
            self.event("arc-distance", code / 10)

    def _non_modal(self, block: Block) -> None:
        code = block.g.get(NON_MODAL)
        if code == 100:
            set_origin(self, block)
        elif code in (280, 300):
            go_home(self, block, 0 if code == 280 else 1)
        elif code in (281, 301):
            here = plus(self.state.place, self.state.offset)
            homes = self.state.homes
            self.state.homes = (here, homes[1]) if code == 281 else (homes[0], here)
        elif code in (920, 921, 922, 923):
            shift(self, block, code)
        hold = block.g.get(G92_HOLD)
        if hold is not None:
            shift(self, block, hold)

    def _stop(self, block: Block) -> None:
        code = block.m.get(STOP)
        if code is None:
            return
        if code in PROGRAM_ENDS:
            old = self.state.offset
            self.state.end_program(self.dialect)
            self.columns.planes.append((len(self.columns), 17))
            self.rpm_changed()
            self.state.ended = True
            self.offset_changed(old)
        self.event(_STOPS[code])

    def _motion(self, block: Block) -> None:
        state = self.state
        written = block.g.get(MOTION)
        other = block.g.get(NON_MODAL)
        code = block.motion
        if other == 530 and code not in (0, 10):
            raise block.reject(NON_MODAL, "G53 needs G0 or G1")
        if other == 530 and not state.absolute and self.dialect.name != "grbl-1.1":
            raise block.reject(NON_MODAL, "G53 must not be used while G91 is in force")
        if written is not None:
            state.motion = written
            state.motion_written = True
        if code is None:
            return
        if not state.motion_written:
            self.event("bare-axes")
        target = self.target(block, machine=other == 530)
        if code == 0:
            if block.axes:
                self.go(Motion.RAPID, target, _NAN, block.axes, machine=other == 530)
            return
        if code in ARCS:
            arc(self, block, code == 20, target)
            return
        if not block.axes:
            self.checked_feed(block, 0.0)
            return
        here = state.place if other != 530 else plus(state.place, state.offset)
        gap = minus(target, here)
        length = (gap[0] * gap[0] + gap[1] * gap[1] + gap[2] * gap[2]) ** 0.5
        feed = self.checked_feed(block, length)
        self.go(Motion.FEED, target, feed, block.axes, machine=other == 530)
