"""One checked line after another: acts on the modal state in the order of table 8 and appends moves and events.

A line is taken whole or not at all: when any of its steps is in error the state and the columns are as before it
(Grbl, doc/markdown/interface.md; NISTIR 6556 leaves it open, since it stops there).
"""

from __future__ import annotations

from collections.abc import Callable

from vcarve.program.arcs import PLANE_AXES, centre_arc, radius_arc
from vcarve.program.block import CANCEL, Block, check_leftovers, settle_motion, sort
from vcarve.program.columns import Columns
from vcarve.program.cycles import drill_moves
from vcarve.program.grammar import (
    ARC_DISTANCE,
    ARCS,
    AXES,
    COOLANT,
    CYCLES,
    DISTANCE,
    FEED_MODE,
    LEAST_RADIUS_MM,
    LENGTH,
    MOTION,
    NON_MODAL,
    OVERRIDES,
    PATH,
    PLANE,
    PROGRAM_ENDS,
    RETURN,
    SPINDLE,
    STOP,
    SYSTEM,
    TOOL_CHANGE,
    UNITS,
    Dialect,
)
from vcarve.program.modal import State, Vector, minus, plus
from vcarve.program.moves import Event, Motion
from vcarve.program.words import Line

_SYSTEMS = {540: 1, 550: 2, 560: 3, 570: 4, 580: 5, 590: 6, 591: 7, 592: 8, 593: 9}
_SPINDLE = {30: (1, "spindle-cw"), 40: (-1, "spindle-ccw"), 50: (0, "spindle-stop")}
_COOLANT = {70: "mist", 80: "flood", 90: "coolant-off"}
_STOPS = {0: "pause", 10: "optional-pause", 600: "pause", 20: "end", 300: "end"}
_NAN = float("nan")


class Interpreter:
    """The machine's mind: a state, the columns it fills, and the rules of one dialect."""

    def __init__(self, dialect: Dialect, start_mm: Vector) -> None:
        self.dialect = dialect
        self.state = State(place=start_mm, motion=dialect.start_motion)
        self.columns = Columns(start_mm)
        self._line = 0
        self._steps: tuple[Callable[[Block], None], ...] = tuple(
            getattr(self, "_" + step.replace("-", "_")) for step in dialect.order
        )

    def run(self, line: Line, number: int) -> None:
        """Take one line; raises :class:`~vcarve.program.words.Reject` and leaves everything as it was."""
        block = sort(line, self.dialect)
        before = self.state.copy()
        columns = self.columns
        mark = columns.mark()
        self._line = number
        try:
            settle_motion(block, self.dialect, self.state.motion)
            check_leftovers(block, self.dialect)
            for step in self._steps:
                step(block)
        except Exception:
            self.state = before
            columns.cut(mark)
            raise

    def _event(self, kind: str, value: float = 0.0) -> None:
        self.columns.events.append(Event(kind=kind, line=self._line, before=len(self.columns), value=value))

    # Steps, in the order of table 8.

    def _feed_mode(self, block: Block) -> None:
        code = block.g.get(FEED_MODE)
        if code is None:
            return
        inverse = code == 930
        if not inverse and (self.state.inverse_time or self.dialect.name == "linuxcnc"):
            # Units per minute were not given since G93; LinuxCNC forgets F at every G94, changed or not.
            self.state.feed_mm_min = 0.0
        self.state.inverse_time = inverse
        self._event("feed-mode", code / 10)

    def _feed(self, block: Block) -> None:
        value = block.value("F")
        if value is None:
            return
        if UNITS in block.g:
            self._event("feed-with-units", value)
        if not self.state.inverse_time:
            self.state.feed_mm_min = value * self.state.scale
            self.state.feed_stale = False

    def _speed(self, block: Block) -> None:
        value = block.value("S")
        if value is not None:
            self.state.speed_rpm = value
            self._event("speed", value)
            self._rpm_changed()

    def _tool(self, block: Block) -> None:
        if "T" in block.words:
            self.state.tool = block.whole("T", 0, 255 if self.dialect.name == "grbl-1.1" else 99_999)
            self._event("tool", self.state.tool)

    def _tool_change(self, block: Block) -> None:
        if TOOL_CHANGE in block.m:
            self.state.spindle = 0  # §3.6.3
            self._event("tool-change", self.state.tool)
            self._rpm_changed()

    def _spindle(self, block: Block) -> None:
        code = block.m.get(SPINDLE)
        if code is not None:
            self.state.spindle, kind = _SPINDLE[code]
            self._event(kind)
            self._rpm_changed()

    def _rpm_changed(self) -> None:
        self.columns.rpms.append((len(self.columns), self.state.rpm))

    def _coolant(self, block: Block) -> None:
        code = block.m.get(COOLANT)
        if code is not None:
            self._event(_COOLANT[code])

    def _overrides(self, block: Block) -> None:
        code = block.m.get(OVERRIDES)
        if code is not None:
            self._event("overrides", code / 10)

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
        self._event("dwell", seconds)

    def _plane(self, block: Block) -> None:
        code = block.g.get(PLANE)
        if code is not None:
            self.state.plane = code // 10
            self.columns.planes.append((len(self.columns), self.state.plane))
            self._event("plane", self.state.plane)

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
        self._event("units", code / 10)

    def _radius(self, block: Block) -> None:
        """G40 has nothing to cancel: G41 and G42 are refused."""

    def _length(self, block: Block) -> None:
        code = block.g.get(LENGTH)
        if code is None:
            return
        length = 0.0
        if code == 431:
            # Grbl: on the Z axis only (error 37), given in the line itself.
            if self.dialect.name != "grbl-1.1":
                raise block.reject(
                    LENGTH, "this code is not read: tool lengths belong to the machine's table"
                )
            if block.axes != ("Z",):
                raise block.reject(LENGTH, "G43.1 needs a Z word and no other axis")
            length = block.words["Z"].value * self.state.scale
        if length != self.state.length_mm:
            old = self.state.offset
            self.state.length_mm = length
            self._offset_changed(old)
        self._event("length-offset", length)

    def _system(self, block: Block) -> None:
        code = block.g.get(SYSTEM)
        if code is not None:
            old = self.state.offset
            self.state.system = _SYSTEMS[code]
            self._offset_changed(old)
            self._event("offset", self.state.system)

    def _path(self, block: Block) -> None:
        code = block.g.get(PATH)
        if code is not None:
            for letter in "PQ":
                if (block.value(letter) or 0.0) < 0.0:
                    raise block.reject(letter, f"{letter} must not be negative")
            self._event("path", code / 10)

    def _distance(self, block: Block) -> None:
        code = block.g.get(DISTANCE)
        if code is not None:
            self.state.absolute = code == 900
            self._event("distance", code / 10)
        code = block.g.get(ARC_DISTANCE)
        if code is not None:
            self.state.arc_absolute = code == 901
            self._event("arc-distance", code / 10)

    def _return(self, block: Block) -> None:
        code = block.g.get(RETURN)
        if code is not None:
            self.state.retract_to_start = code == 980

    def _offset_changed(self, old: Vector) -> None:
        """Keep the tool where it is in machine coordinates; its work coordinates follow the offsets."""
        new = self.state.offset
        if new != old:
            self.state.place = minus(plus(self.state.place, old), new)
            self.columns.starts[len(self.columns)] = self.state.place

    def _non_modal(self, block: Block) -> None:
        code = block.g.get(NON_MODAL)
        if code == 100:
            self._set_origin(block)
        elif code in (280, 300):
            self._go_home(block, 0 if code == 280 else 1)
        elif code in (281, 301):
            here = plus(self.state.place, self.state.offset)
            homes = self.state.homes
            self.state.homes = (here, homes[1]) if code == 281 else (homes[0], here)
        elif code in (920, 921, 922, 923) or "g92-hold" in block.g:
            self._shift(block, code if code is not None else block.g["g92-hold"])
        if "g92-hold" in block.g and code in (100, 280, 300, 281, 301):
            self._shift(block, block.g["g92-hold"])

    def _set_origin(self, block: Block) -> None:
        """G10 L2 (§3.5.5) and, in both controllers, L20: the origin of a work system."""
        state = self.state
        if "L" not in block.words or "P" not in block.words:
            raise block.reject(NON_MODAL, "G10 needs L and P")
        kind = block.whole("L", 0, 99)
        if kind != 2 and not (kind == 20 and self.dialect.name != "rs274ngc"):
            raise block.reject("L", f"G10 L{kind} is not read here")
        system = (
            block.whole("P", 1 if self.dialect.name == "rs274ngc" else 0, self.dialect.systems)
            or state.system
        )
        if self.dialect.name == "grbl-1.1" and not block.axes:
            raise block.reject(NON_MODAL, "G10 needs at least one axis word")
        old = state.offset
        origin = list(state.origins[system - 1])
        for axis, letter in enumerate(AXES):
            value = block.value(letter)
            if value is None:
                continue
            value *= state.scale
            if kind == 20:
                length = state.length_mm if axis == 2 else 0.0
                value = state.place[axis] + old[axis] - state.g92[axis] - length - value
            origin[axis] = value
        origins = list(state.origins)
        origins[system - 1] = (origin[0], origin[1], origin[2])
        state.origins = tuple(origins)
        self._offset_changed(old)
        self._event("offset", system)

    def _shift(self, block: Block, code: int) -> None:
        """G92 and its cancels (§3.5.18): make the current point read the given values."""
        state = self.state
        old = state.offset
        if code == 920:
            shift = list(state.g92)
            for axis, letter in enumerate(AXES):
                value = block.value(letter)
                if value is not None:
                    shift[axis] += state.place[axis] - value * state.scale
            state.g92 = state.g92_kept = (shift[0], shift[1], shift[2])
        elif code == 921:
            state.g92 = state.g92_kept = (0.0, 0.0, 0.0)
        elif code == 922:
            state.g92 = (0.0, 0.0, 0.0)
        else:
            state.g92 = state.g92_kept
        self._offset_changed(old)
        self._event("offset")

    def _go_home(self, block: Block, which: int) -> None:
        """G28 and G30 (§3.5.8): by the given point to a stored place, which is machine zero unless set by G28.1, G30.1.

        NIST sends all axes there, the controllers only the named ones; a program for all of them may name none or all.
        """
        state = self.state
        axes = block.axes
        if axes and len(axes) < 3 and self.dialect.name == "rs274ngc":
            raise block.reject(
                axes[0], "name all axes or none here: controllers disagree on what the others do"
            )
        if axes:
            self._straight(Motion.RAPID, self._target(block), _NAN)
        self._event("home", which)
        here = plus(state.place, state.offset)
        home = state.homes[which]
        ends = [home[i] if not axes or AXES[i] in axes else here[i] for i in range(3)]
        self._machine_move(Motion.RAPID, here, (ends[0], ends[1], ends[2]), _NAN)

    def _machine_move(self, motion: Motion, here: Vector, there: Vector, feed: float) -> None:
        """A move given in machine coordinates; what follows starts where the offsets known to the program put it."""
        columns = self.columns
        columns.machine.append(len(columns))
        columns.starts[len(columns)] = here
        columns.add(motion, self._line, there, feed)
        self.state.place = minus(there, self.state.offset)
        columns.starts[len(columns)] = self.state.place

    def _stop(self, block: Block) -> None:
        code = block.m.get(STOP)
        if code is None:
            return
        if code in PROGRAM_ENDS:
            old = self.state.offset
            self.state.end_program(self.dialect)
            self.columns.planes.append((len(self.columns), 17))
            self._rpm_changed()
            self.state.ended = True
            self._offset_changed(old)
        self._event(_STOPS[code])

    # Motion.

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
            if written == CANCEL:
                state.cycle_code = None
            return
        if not state.motion_written:
            self._event("bare-axes")
        if code in CYCLES:
            for motion, there, feed in drill_moves(state, block, code, self.dialect, self._checked_feed):
                if isinstance(there, float):
                    self._event("dwell", there)
                else:
                    self._straight(motion, there, feed)
            return
        state.cycle_code = None
        target = self._target(block, machine=other == 530)
        if code == 0:
            if block.axes:
                self._go(Motion.RAPID, target, _NAN, machine=other == 530)
            return
        if code in ARCS:
            self._arc(block, code == 20, target)
            return
        if not block.axes:
            self._checked_feed(block, 0.0)
            return
        here = state.place if other != 530 else plus(state.place, state.offset)
        gap = minus(target, here)
        length = (gap[0] * gap[0] + gap[1] * gap[1] + gap[2] * gap[2]) ** 0.5
        self._go(Motion.FEED, target, self._checked_feed(block, length), machine=other == 530)

    def _checked_feed(self, block: Block, length_mm: float) -> float:
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

    def _target(self, block: Block, *, machine: bool = False) -> Vector:
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

    def _go(self, motion: Motion, target: Vector, feed: float, *, machine: bool) -> None:
        if machine:
            self._machine_move(motion, plus(self.state.place, self.state.offset), target, feed)
        else:
            self._straight(motion, target, feed)

    def _straight(self, motion: Motion, target: Vector, feed: float) -> None:
        self.columns.add(motion, self._line, target, feed)
        self.state.place = target

    def _arc(self, block: Block, clockwise: bool, target: Vector) -> None:
        state = self.state
        dialect = self.dialect
        u, v, normal = PLANE_AXES[state.plane]
        offsets = [block.value(letter) for letter in "IJK"]
        radius = block.value("R")
        given = [letter for letter, value in zip("IJK", offsets, strict=True) if value is not None]
        if radius is not None and given:
            raise block.reject("R", "an arc is given either by R or by I, J and K")
        in_plane = AXES[u] in block.words or AXES[v] in block.words
        if not in_plane and (dialect.name != "linuxcnc" or radius is not None):
            raise block.reject(MOTION, f"an arc in this plane needs {AXES[u]} or {AXES[v]}")
        if offsets[normal] is not None and dialect.name != "grbl-1.1":
            # Grbl takes an offset outside the plane without a word and without effect; so does this.
            raise block.reject("IJK"[normal], f"{'IJK'[normal]} has no meaning for an arc in this plane")
        turns = 1
        if "P" in block.words:
            turns = block.whole("P", 1, 1_000_000)
        start = (state.place[u], state.place[v])
        end = (target[u], target[v])
        scale = state.scale
        if radius is not None:
            slack = LEAST_RADIUS_MM if dialect.name == "linuxcnc" else 0.0
            answer = radius_arc(
                start=start, end=end, radius_mm=radius * scale, clockwise=clockwise, slack_mm=slack
            )
            if isinstance(answer, str):
                raise block.reject("R", answer)
            centre, sweep = answer
        else:
            if offsets[u] is None and offsets[v] is None:
                raise block.reject(MOTION, f"an arc in this plane needs {'IJK'[u]}, {'IJK'[v]} or R")
            centre = self._centre(block, offsets, u, v)
            found = centre_arc(
                start=start, end=end, centre=centre, clockwise=clockwise, inch=state.inch, dialect=dialect
            )
            if isinstance(found, str):
                raise block.reject("IJK"[u] if offsets[u] is not None else "IJK"[v], found)
            sweep = found
        if turns > 1:
            sweep += (turns - 1) * (6.283185307179586 if sweep > 0 else -6.283185307179586)
        flat = abs(sweep) * ((start[0] - centre[0]) ** 2 + (start[1] - centre[1]) ** 2) ** 0.5
        rise = target[normal] - state.place[normal]
        feed = self._checked_feed(block, (flat * flat + rise * rise) ** 0.5)
        middle = [0.0, 0.0, 0.0]
        middle[u], middle[v], middle[normal] = centre[0], centre[1], state.place[normal]
        self.columns.arcs[len(self.columns)] = (middle[0], middle[1], middle[2], sweep)
        self._straight(Motion.ARC_CW if clockwise else Motion.ARC_CCW, target, feed)

    def _centre(self, block: Block, offsets: list[float | None], u: int, v: int) -> tuple[float, float]:
        state = self.state
        first, second = offsets[u], offsets[v]
        if state.arc_absolute:
            if first is None or second is None:
                raise block.reject(MOTION, "with G90.1 an arc needs both centre words")
            return (first * state.scale, second * state.scale)
        return (
            state.place[u] + (first or 0.0) * state.scale,
            state.place[v] + (second or 0.0) * state.scale,
        )
