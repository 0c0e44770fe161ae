"""One checked line after another: acts on the modal state in the order of table 8 (NISTIR 6556 §3.8) and notes moves and events.

A line is taken whole or not at all: when any of its steps is in error the state and the columns are as before it
(Grbl, doc/markdown/interface.md; NISTIR 6556 leaves it open, since it stops there).
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from vcarve.program import grammar as g
from vcarve.program.arcs import arc_of
from vcarve.program.block import Block, block_of
from vcarve.program.columns import Columns, Step
from vcarve.program.grammar import AXES
from vcarve.program.moves import Motion
from vcarve.program.state import ALL_LOST, ORIGIN, State, Vector, minus, plus
from vcarve.program.values import kept_value
from vcarve.program.words import Line

# Table 8, as far as the order of what a line does makes a difference.
_STEPS = ("feed", "spindle", "plane", "units", "modes", "offsets", "motion", "stop")
_SYSTEMS = {540: 1, 550: 2, 560: 3, 570: 4, 580: 5, 590: 6, 591: 7, 592: 8, 593: 9}
_SPINDLE = {30: (1, "spindle-cw"), 40: (-1, "spindle-ccw"), 50: (0, "spindle-stop")}
_COOLANT = {70: "mist", 80: "flood", 90: "coolant-off"}
_STOPS = {0: "pause", 10: "optional-pause", 600: "pause", 20: "end", 300: "end"}
_MOTIONS = {0: Motion.RAPID, 10: Motion.FEED, 20: Motion.ARC_CW, 30: Motion.ARC_CCW, g.PROBE: Motion.PROBE}
_NAN = float("nan")


class Interpreter:
    """A machine under the rules of one dialect: its modal state, and the moves and events so far."""

    def __init__(self, dialect: g.Dialect, start_mm: Vector) -> None:
        self.dialect = dialect
        self.nist, self.grbl = dialect.name == "rs274ngc", dialect.name == "grbl-1.1"
        self.state = State(place=start_mm, motion=dialect.start_motion)
        self.columns = Columns(start_mm)
        self.pending: list[Step | tuple[str, float, str]] = []  # what the line at hand does
        self.steps = [getattr(self, f"_{step}") for step in _STEPS]
        if dialect.units_first:
            self.steps.insert(0, self.steps.pop(_STEPS.index("units")))

    def run(self, line: Line, number: int) -> None:
        """Take one line; raises :class:`~vcarve.program.words.Reject` and leaves everything as it was."""
        before = self.state
        self.state, self.pending = before.copy(), []
        try:
            if line.words:
                block = block_of(line, self.dialect, before.motion)
                self._note(line, block)
                for step in self.steps:
                    step(block)
            self._remark(line)
        except Exception:
            self.state = before
            raise
        for done in self.pending:
            if isinstance(done, Step):
                self.columns.add(number, done)
            else:
                self.columns.event(number, *done)
        self.columns.stand(self.state.place, self.state.modes)

    def _event(self, kind: str, value: float = 0.0, text: str = "") -> None:
        self.pending.append((kind, value, text))

    def _move(
        self,
        motion: Motion,
        end: Vector,
        feed: float,
        axes: Iterable[str],
        *,
        arc: Vector | None = None,
        machine: bool = False,
    ) -> None:
        """Move in work or in machine coordinates; ``axes`` are those that the line gives a place, the others stay."""
        state = self.state
        start = state.machine_place if machine else state.place
        self.pending.append(Step(motion, start, end, feed, state.modes, machine, arc))
        if machine:
            state.lost |= set(axes)
        elif motion == Motion.PROBE:
            # It stops where it touches, on the way there.
            state.lost |= {axis for axis, a, b in zip(AXES, start, end, strict=True) if a != b}
        elif state.absolute:
            state.lost -= set(axes)
        state.place = minus(end, state.offset) if machine else end

    def _remark(self, line: Line) -> None:
        """Note what a line holds beside its words: signs, parameters, and comments that a controller acts on."""
        for kind in line.notes:
            self._event(kind)
        for index, _ in line.settings:
            self._event("outside", text=f"#{index}")
        for word in filter(None, map(g.active_comment, line.comments)):
            self._event("active-comment", text=word)

    def _note(self, line: Line, block: Block) -> None:
        """Note every code, letter and value that the plain subset does not have, whatever becomes of it."""
        if self.nist and 490 in block.g.values() and block.axes:
            self._event("cancel-with-axes")
        for word in line.words:
            code = round(word.value * 10.0)
            plain = {"G": g.PLAIN_G, "M": g.PLAIN_M}.get(word.letter)
            if plain is not None:
                if code not in plain:
                    self._event("outside", code / 10.0, f"{word.letter}{code / 10.0:g}")
            elif word.letter not in g.PLAIN_LETTERS and (word.letter != "R" or block.motion in g.ARCS):
                self._event("outside", text=word.letter)
            elif word.letter == "T" and not self.grbl:
                self._event("outside", text="T")
            if word.computed:
                self._event("outside", text=word.text)
            elif word.digits > g.MOST_DIGITS:
                written = float(word.text[1:])
                self._event("long-number", abs(written - kept_value(word.text[1:], written)), word.text)

    def _feed(self, block: Block) -> None:
        state = self.state
        code = block.g.get(g.FEED_MODE)
        if code is not None:
            inverse = code == 930
            if not inverse and (state.inverse_time or not self.grbl):
                # Units per minute were not given since G93; LinuxCNC forgets F at every G94, changed or not, and a program for
                # all controllers has to give it again.
                state.feed_mm_min = 0.0
            state.inverse_time = inverse
            self._event("feed-mode", code / 10)
        value = block.value("F")
        if value is not None:
            if g.UNITS in block.g:
                self._event("feed-with-units", value)
            if not state.inverse_time:
                state.feed_mm_min = value * state.scale
                state.feed_stale = False

    def _spindle(self, block: Block) -> None:
        """Carry out speed, tool, tool change, spindle, coolant, overrides and dwell."""
        state, codes = self.state, block.m
        speed = block.value("S")
        if speed is not None:
            state.speed_rpm = speed
            self._event("speed", speed)
        if "T" in block.words:
            state.tool = block.whole("T", 0, 255 if self.grbl else 99_999)
            self._event("tool", state.tool)
        if g.TOOL_CHANGE in codes:
            state.spindle = 0  # §3.6.3
            self._event("tool-change", state.tool)
        if g.SPINDLE in codes:
            state.spindle, kind = _SPINDLE[codes[g.SPINDLE]]
            self._event(kind)
        if g.COOLANT in codes:
            self._event(_COOLANT[codes[g.COOLANT]])
        if g.OVERRIDES in codes:
            self._event("overrides", codes[g.OVERRIDES] / 10)
        if block.g.get(g.NON_MODAL) == 40:
            seconds = block.value("P")
            if seconds is None:
                raise block.reject(g.NON_MODAL, "G4 needs P, the seconds to wait")
            if seconds < 0.0:
                raise block.reject("P", "P must not be negative")
            if block.motion in g.ARCS and self.dialect.name == "linuxcnc":
                raise block.reject(g.NON_MODAL, "G4 must not stand beside G2 or G3")
            self._event("dwell", seconds)

    def _plane(self, block: Block) -> None:
        code = block.g.get(g.PLANE)
        if code is not None:
            self.state.plane = code // 10
            self._event("plane", self.state.plane)

    def _units(self, block: Block) -> None:
        code = block.g.get(g.UNITS)
        if code is None:
            return
        state = self.state
        if (code == 200) != state.inch and self.nist:
            # §3.5.7: a stored feed or offset keeps its figure under the new unit; the controllers keep its size.
            # A program for all of them must not depend on either.
            state.feed_stale = state.feed_mm_min > 0.0
            if any(state.offset) or any(state.g92_kept) or any(map(any, state.origins)):
                reason = "units change while offsets are set: controllers disagree on what they become"
                raise block.reject(g.UNITS, reason)
        state.inch = code == 200
        self._event("units", code / 10)

    def _modes(self, block: Block) -> None:
        """Work system, path control and distance modes; G40 and G49 have nothing to switch off."""
        state, codes = self.state, block.g
        if g.SYSTEM in codes:
            offset = state.offset
            state.system = _SYSTEMS[codes[g.SYSTEM]]
            self._stay(offset)
            self._event("system", state.system)
        if g.PATH in codes:
            for letter in "PQ":
                if (block.value(letter) or 0.0) < 0.0:
                    raise block.reject(letter, f"{letter} must not be negative")
            self._event("path", codes[g.PATH] / 10)
            if codes[g.PATH] == 640:
                # P is LinuxCNC's; without it, or with P0, corners are rounded as far as the speed asks.
                bound = (block.value("P") if self.dialect.name == "linuxcnc" else None) or math.inf
                self._event("path-tolerance", max(bound, block.value("Q") or 0.0) * state.scale)
        if g.DISTANCE in codes:
            state.absolute = codes[g.DISTANCE] == 900
            self._event("distance", codes[g.DISTANCE] / 10)
        if g.ARC_DISTANCE in codes:
            state.arc_absolute = codes[g.ARC_DISTANCE] == 901
            self._event("arc-distance", codes[g.ARC_DISTANCE] / 10)

    def _stay(self, old: Vector) -> None:
        """Keep the tool where it is in machine coordinates, when the offset was another before."""
        state = self.state
        if state.offset != old:
            state.place = minus(plus(state.place, old), state.offset)

    def _offsets(self, block: Block) -> None:
        """Carry out origins, G92, and the way to stored places (§3.5.5, §3.5.8, §3.5.18)."""
        state = self.state
        code = block.g.get(g.NON_MODAL)
        if code == 100:
            self._set_origin(block)
        elif code in (280, 300):
            self._go_home(block, 0 if code == 280 else 1)
        elif code in (281, 301):
            here, homes = state.machine_place, state.homes
            state.homes = (here, homes[1]) if code == 281 else (homes[0], here)
        for shift in (code, block.g.get(g.G92_HOLD)):
            if shift in (920, 921, 922, 923):
                self._shift(block, shift)

    def _shift(self, block: Block, code: int) -> None:
        """Carry out G92, by which the current place reads the values given, and its cancels."""
        state = self.state
        old = state.offset
        if code == 920:
            state.g92 = state.g92_kept = plus(state.g92, minus(state.place, self._given(block, state.place)))
        elif code == 921:
            state.g92 = state.g92_kept = ORIGIN
        else:
            state.g92 = ORIGIN if code == 922 else state.g92_kept
        self._stay(old)
        self._event("shift" if code in (920, 923) else "shift-off")

    def _set_origin(self, block: Block) -> None:
        """Carry out G10 L2 (§3.5.5) and, in both controllers, L20: the origin of a work system."""
        state = self.state
        if "L" not in block.words or "P" not in block.words:
            raise block.reject(g.NON_MODAL, "G10 needs L and P")
        kind = block.whole("L", 0, 99)
        if kind != 2 and (kind != 20 or self.nist):
            raise block.reject("L", f"G10 L{kind} is not read here")
        system = block.whole("P", 1 if self.nist else 0, self.dialect.systems) or state.system
        if self.grbl and not block.axes:
            raise block.reject(g.NON_MODAL, "G10 needs at least one axis word")
        offset, origin = state.offset, state.origins[system - 1]
        if kind == 2:
            origin = self._given(block, origin)
        else:
            # L20: so that the current place reads the values given.
            reads = minus(state.machine_place, plus(state.g92, origin))
            origin = plus(origin, minus(reads, self._given(block, reads)))
        state.origins = (*state.origins[: system - 1], origin, *state.origins[system:])
        self._stay(offset)
        self._event("origin", system)

    def _go_home(self, block: Block, which: int) -> None:
        """Carry out G28 and G30: by the given point to a stored place, which is machine zero unless set by G28.1, G30.1.

        NIST sends all axes there, the controllers only the named ones; where it may be for either, no axis is known afterwards.
        """
        state, axes = self.state, block.axes
        disputed = bool(axes) and len(axes) < len(AXES) and self.nist
        if disputed:
            self._event("home-in-part")
        if axes:
            self._move(Motion.RAPID, self._target(block), _NAN, axes)
        self._event("home", which)
        goes = axes or AXES
        places = zip(AXES, state.homes[which], state.machine_place, strict=True)
        end = tuple(home if axis in goes else here for axis, home, here in places)
        self._move(Motion.RAPID, end, _NAN, ALL_LOST if disputed else goes, machine=True)

    def _stop(self, block: Block) -> None:
        code = block.m.get(g.STOP)
        if code is None:
            return
        if code in g.PROGRAM_ENDS:
            offset = self.state.offset
            self.state.end_program(self.dialect)
            self._stay(offset)
        self._event(_STOPS[code])

    def _given(self, block: Block, otherwise: Vector) -> Vector:
        """Return the values of the line's axis words in millimetres; other axes have what they would have otherwise."""
        scale = self.state.scale
        return tuple(
            block.words[axis].value * scale if axis in block.words else value
            for axis, value in zip(AXES, otherwise, strict=True)
        )

    def _target(self, block: Block) -> Vector:
        """Return where the line's axis words lead, in work coordinates; axes not named stay."""
        place = self.state.place
        return self._given(block, place) if self.state.absolute else plus(place, self._given(block, ORIGIN))

    def _motion(self, block: Block) -> None:
        state = self.state
        written = block.g.get(g.MOTION)
        machine = block.g.get(g.NON_MODAL) == 530
        code = block.motion
        if machine and code not in (0, 10):
            raise block.reject(g.NON_MODAL, "G53 needs G0 or G1")
        if machine and not state.absolute and not self.grbl:
            raise block.reject(g.NON_MODAL, "G53 must not be used while G91 is in force")
        if written is not None:
            state.motion, state.motion_written = written, True
        if code is None:
            return
        if not state.motion_written:
            self._event("bare-axes")
        here = state.machine_place if machine else state.place
        end = self._given(block, here) if machine else self._target(block)
        arc, length = None, math.dist(here, end)
        if code in g.ARCS:
            centre, sweep, length = arc_of(block, state, end, self.dialect)
            arc = (*centre, sweep)
            if state.inverse_time:
                self._event("inverse-time-arc")
        elif code == g.PROBE:
            self._check_probe(block, length)
        feed = _NAN if code == 0 else self._checked_feed(block, length)
        if block.axes or arc is not None:
            self._move(_MOTIONS[code], end, feed, block.axes, arc=arc, machine=machine)

    def _check_probe(self, block: Block, length_mm: float) -> None:
        """Refuse a probing move that no controller carries out (§3.5.9)."""
        if not block.axes:
            raise block.reject(g.MOTION, "a probing move needs at least one axis word")
        if self.state.inverse_time:
            raise block.reject(g.MOTION, "a probing move must not be made under G93; write G94 and F")
        if length_mm == 0.0 or (self.nist and length_mm < g.LEAST_PROBE_MM):
            raise block.reject(g.MOTION, f"a probing move must lead at least {g.LEAST_PROBE_MM} mm away")

    def _checked_feed(self, block: Block, length_mm: float) -> float:
        """Return the speed along the path: F, or with G93 the length over the time (§3.5.19)."""
        state = self.state
        if state.inverse_time:
            value = block.value("F")
            if value is None or value <= 0.0:
                reason = "G93 needs F above zero on every feed move"
                raise block.reject("F" if value is not None else g.MOTION, reason)
            return value * length_mm
        if state.feed_mm_min <= 0.0:
            raise block.reject(g.MOTION, "a feed move needs F above zero before it")
        if state.feed_stale:
            raise block.reject(g.MOTION, "F was given in the other unit: give it again after G20 or G21")
        return state.feed_mm_min
