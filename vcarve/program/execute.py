"""One checked line after another: acts on the modal state in the order of table 8 (NISTIR 6556 §3.8) and notes moves and events.

A line is taken whole or not at all: when any of its steps is in error the state and the columns are as before it
(Grbl, doc/markdown/interface.md; NISTIR 6556 leaves it open, since it stops there).
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from vcarve.program import grammar as g
from vcarve.program.arcs import arc_of
from vcarve.program.grammar import AXES, GRBL, LINUXCNC, NIST
from vcarve.program.moves import Motion
from vcarve.program.state import CENTRE, MOTIONS, ORIGIN, Columns, State, Vector, as_row, minus, plus
from vcarve.program.values import kept_value
from vcarve.program.words import Block, Line, block_of, code_of

_SYSTEMS = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")
# Events with a name of their own; those of other codes are named after the group and have the code's number.
_KINDS = {
    "M3": "spindle-cw", "M4": "spindle-ccw", "M5": "spindle-stop", "M7": "mist", "M8": "flood", "M9": "coolant-off",
    "M0": "pause", "M60": "pause", "M1": "optional-pause", "M2": "end", "M30": "end",
}  # fmt: skip
_NAN = float("nan")


class Interpreter:
    """A machine under the rules of one dialect: its modal state, and the moves and events so far."""

    def __init__(self, dialect: g.Dialect, start_mm: Vector) -> None:
        self.dialect = dialect
        self.state = State(place=start_mm, motion="G0" if dialect is GRBL else "")
        self.columns = Columns(start_mm)
        self.line = 0

    def run(self, line: Line, number: int) -> None:
        """Take one line; raises :class:`~vcarve.program.words.Reject` and leaves everything as it was."""
        before, columns = self.state, self.columns
        moves, events = len(columns.rows), len(columns.events)
        self.state, self.line = before.copy(), number
        try:
            if line.words:
                block = block_of(line, self.dialect, before.motion)
                self._note(line, block)
                self._act(block)
            for kind, text in line.notes:
                self._event(kind, text=text)
        except Exception:
            self.state = before
            del columns.rows[moves:], columns.events[events:]
            raise

    def _act(self, block: Block) -> None:
        """Do what a line says, in the order of table 8."""
        state, codes, grbl = self.state, block.codes, self.dialect is GRBL
        state.told = {**state.told, **codes}
        other, speed_rpm = codes.get("non-modal", ""), block.value("S")
        if grbl:  # gcode.c, step 4: F has the unit of its own line
            self._units(block)
        if codes.get("feed-mode") == "G94" and (state.feed_mode == "G93" or not grbl):
            # Units per minute were not given since G93; LinuxCNC forgets F at every G94, changed or not, and a program for
            # all controllers has to give it again.
            state.feed_mm_min = 0.0
        self._modes(block, "feed-mode")
        if (feed := block.value("F")) is not None:
            if "units" in codes:
                self._event("feed-with-units", feed)
            if state.feed_mode != "G93":
                state.feed_mm_min, state.feed_stale = feed * state.scale, False
        if speed_rpm is not None:
            state.speed_rpm = speed_rpm
            self._event("speed", speed_rpm)
        if "T" in block.words:
            block.whole("T", 0, 255 if grbl else 99_999)
        if "tool-change" in codes:
            state.spindle = "M5"  # §3.6.3
            self._event("tool-change")
        self._modes(block, "spindle", "coolant", "overrides")
        if other == "G4":
            self._dwell(block)
        self._modes(block, "plane")
        if not grbl:
            self._units(block)
        if "system" in codes:
            state.offset_by(system=_SYSTEMS.index(codes["system"]) + 1)
            self._event("system", state.system)
        self._path(block)
        self._modes(block, "distance", "arc-distance")
        if other == "G10":
            self._set_origin(block)
        elif other in ("G28", "G30"):
            self._go_home(block, other)
        elif other in ("G28.1", "G30.1"):
            state.homes = {**state.homes, other[:3]: state.machine_place}
        for code in (other, codes.get("g92-hold", "")):
            if code.startswith("G92"):
                self._shift(block, code)
        self._motion(block)
        if "stop" in codes:
            self._stop(codes["stop"])

    def _event(self, kind: str, value: float = 0.0, text: str = "") -> None:
        self.columns.event(self.line, kind, value, text)

    def _move(
        self,
        motion: Motion,
        end: Vector,
        feed: float,
        axes: Iterable[str],
        *,
        arc: tuple[Vector, float] | None = None,
        machine: bool = False,
    ) -> None:
        """Move in work or in machine coordinates; ``axes`` are those that the line gives a place, the others stay."""
        state, columns = self.state, self.columns
        start = state.machine_place if machine else state.place
        modes = columns.stand(start, state.modes(machine=machine))
        if arc is not None:
            columns.rows += as_row(CENTRE, self.line, modes, arc[1], *arc[0])
        columns.rows += as_row(motion, self.line, modes, feed, *end)
        if machine:
            state.lost |= set(axes)
        elif motion == Motion.PROBE:
            # It stops where it touches, on the way there.
            state.lost |= {axis for axis, a, b in zip(AXES, start, end, strict=True) if a != b}
        elif state.distance == "G90":
            state.lost -= set(axes)
        state.place = minus(end, state.offset) if machine else end

    def _note(self, line: Line, block: Block) -> None:
        """Note every code, letter and value that the plain subset does not have, whatever becomes of it."""
        if self.dialect is NIST and "length" in block.codes and block.axes:
            self._event("cancel-with-axes")
        for letter, value, _, text in line.words:
            name = code_of(letter, value) if letter in "GM" else letter
            if name not in g.PLAIN or (letter == "T" and self.dialect is not GRBL):
                self._event("outside", float(name[1:] or 0.0), name)
            number = text[1:]
            if not number.strip("0123456789.+-"):
                if sum(map(str.isdigit, number)) > g.MOST_DIGITS:
                    self._event("long-number", abs(float(number) - kept_value(number)), text)
            else:
                self._event("outside", text=text)

    def _modes(self, block: Block, *groups: str) -> None:
        """Put the codes of groups in force, where the state has them, and note them."""
        for group in groups:
            if (code := block.codes.get(group)) is not None:
                field, kind = group.replace("-", "_"), _KINDS.get(code)
                if hasattr(self.state, field):
                    setattr(self.state, field, code)
                self._event(kind or group, 0.0 if kind else float(code[1:]))

    def _dwell(self, block: Block) -> None:
        seconds = block.value("P")
        if seconds is None:
            raise block.reject("non-modal", "G4 needs P, the seconds to wait")
        if seconds < 0.0:
            raise block.reject("P", "P must not be negative")
        if block.motion in g.ARCS and self.dialect is LINUXCNC:
            raise block.reject("non-modal", "G4 must not stand beside G2 or G3")
        self._event("dwell", seconds)

    def _units(self, block: Block) -> None:
        state = self.state
        if block.codes.get("units", state.units) != state.units and self.dialect is NIST:
            # §3.5.7: a stored feed or offset keeps its figure under the new unit; the controllers keep its size.
            # A program for all of them must not depend on either.
            state.feed_stale = state.feed_mm_min > 0.0
            if any(map(any, (state.offset, state.g92_kept, *state.origins.values()))):
                reason = "units change while offsets are set: controllers disagree on what they become"
                raise block.reject("units", reason)
        self._modes(block, "units")

    def _path(self, block: Block) -> None:
        if "path" not in block.codes:
            return
        for letter in "PQ":
            if (block.value(letter) or 0.0) < 0.0:
                raise block.reject(letter, f"{letter} must not be negative")
        self._modes(block, "path")
        if block.codes["path"] == "G64":
            # P is LinuxCNC's; without it, or with P0, corners are rounded as far as the speed asks.
            bound = (block.value("P") if self.dialect is LINUXCNC else None) or math.inf
            words = [block.words[letter].text for letter in "PQ" if letter in block.words]
            self.state.told = {**self.state.told, "path": " ".join(["G64", *words])}
            self._event("path-tolerance", max(bound, block.value("Q") or 0.0) * self.state.scale)

    def _shift(self, block: Block, code: str) -> None:
        """Carry out G92, by which the current place reads the values given, and its cancels (§3.5.18)."""
        state = self.state
        kept = ORIGIN if code == "G92.1" else state.g92_kept
        if code == "G92":
            kept = plus(state.g92, minus(state.place, self._given(block, state.place)))
        state.offset_by(g92=ORIGIN if code == "G92.2" else kept, g92_kept=kept)
        self._event("shift" if code in ("G92", "G92.3") else "shift-off")

    def _set_origin(self, block: Block) -> None:
        """Carry out G10 L2 (§3.5.5) and, in both controllers, L20: the origin of a work system."""
        state = self.state
        if "L" not in block.words or "P" not in block.words:
            raise block.reject("non-modal", "G10 needs L and P")
        kind = block.whole("L", 0, 99)
        if kind != 2 and (kind != 20 or self.dialect is NIST):
            raise block.reject("L", f"G10 L{kind} is not read here")
        system = block.whole("P", 1 if self.dialect is NIST else 0, self.dialect.systems) or state.system
        if self.dialect is GRBL and not block.axes:
            raise block.reject("non-modal", "G10 needs at least one axis word")
        origin = state.origins.get(system, ORIGIN)
        if kind == 2:
            origin = self._given(block, origin)
        else:
            # L20: so that the current place reads the values given.
            reads = minus(state.machine_place, plus(state.g92, origin))
            origin = plus(origin, minus(reads, self._given(block, reads)))
        state.offset_by(origins={**state.origins, system: origin})
        self._event("origin", system)

    def _go_home(self, block: Block, code: str) -> None:
        """Carry out G28 and G30 (§3.5.8): by the given point to a stored place, machine zero unless set by G28.1, G30.1.

        NIST sends all axes there, the controllers only the named ones; where it may be for either, no axis is known afterwards.
        """
        state, axes = self.state, block.axes
        disputed = 0 < len(axes) < len(AXES) and self.dialect is NIST
        if disputed:
            self._event("home-in-part")
        if axes:
            self._move(Motion.RAPID, self._target(block), _NAN, axes)
        goes = axes or AXES
        places = zip(AXES, state.homes.get(code, ORIGIN), state.machine_place, strict=True)
        end = tuple(home if axis in goes else here for axis, home, here in places)
        self._move(Motion.RAPID, end, _NAN, AXES if disputed else goes, machine=True)

    def _stop(self, code: str) -> None:
        state = self.state
        if code in ("M2", "M30"):
            # §3.6.1: modes that the program's end resets; units, speed and tool stay.
            state.motion, state.plane, state.distance, state.feed_mode = "G1", "G17", "G90", "G94"
            state.spindle, state.ended = "M5", True
            state.offset_by(system=1, g92=ORIGIN if self.dialect is NIST else state.g92)
        self._event(_KINDS[code])

    def _given(self, block: Block, otherwise: Vector) -> Vector:
        """Return the values of the line's axis words in millimetres; other axes have what they would have otherwise."""
        scale, values = self.state.scale, zip(map(block.value, AXES), otherwise, strict=True)
        return tuple(there if given is None else given * scale for given, there in values)

    def _target(self, block: Block) -> Vector:
        """Return where the line's axis words lead, in work coordinates; axes not named stay."""
        place, absolute = self.state.place, self.state.distance == "G90"
        return self._given(block, place) if absolute else plus(place, self._given(block, ORIGIN))

    def _motion(self, block: Block) -> None:
        state, code = self.state, block.motion
        machine = block.codes.get("non-modal") == "G53"
        if machine and code not in ("G0", "G1"):
            raise block.reject("non-modal", "G53 needs G0 or G1")
        if machine and state.distance == "G91" and self.dialect is not GRBL:
            raise block.reject("non-modal", "G53 must not be used while G91 is in force")
        if "motion" in block.codes:
            state.motion, state.motion_written = block.codes["motion"], True
        if code is None:
            return
        if not state.motion_written:
            self._event("bare-axes")
        here = state.machine_place if machine else state.place
        end = self._given(block, here) if machine else self._target(block)
        arc, length = None, math.dist(here, end)
        if code in g.ARCS:
            arc, length = arc_of(block, state, end, self.dialect)
            if state.feed_mode == "G93":
                self._event("inverse-time-arc")
        elif code == g.PROBE:
            self._check_probe(block, length)
        feed = _NAN if code == "G0" else self._checked_feed(block, length)
        if block.axes or arc is not None:
            self._move(MOTIONS[code], end, feed, block.axes, arc=arc, machine=machine)

    def _check_probe(self, block: Block, length_mm: float) -> None:
        """Refuse a probing move that no controller carries out (§3.5.9)."""
        if not block.axes:
            raise block.reject("motion", "a probing move needs at least one axis word")
        if self.state.feed_mode == "G93":
            raise block.reject("motion", "a probing move must not be made under G93; write G94 and F")
        if length_mm == 0.0 or (self.dialect is NIST and length_mm < g.LEAST_PROBE_MM):
            raise block.reject("motion", f"a probing move must lead at least {g.LEAST_PROBE_MM} mm away")

    def _checked_feed(self, block: Block, length_mm: float) -> float:
        """Return the speed along the path: F, or with G93 the length over the time (§3.5.19)."""
        state = self.state
        if state.feed_mode == "G93":
            value = block.value("F") or 0.0
            if value <= 0.0:
                at = "F" if "F" in block.words else "motion"
                raise block.reject(at, "G93 needs F above zero on every feed move")
            return value * length_mm
        if state.feed_mm_min <= 0.0:
            raise block.reject("motion", "a feed move needs F above zero before it")
        if state.feed_stale:
            raise block.reject("motion", "F was given in the other unit: give it again after G20 or G21")
        return state.feed_mm_min
