"""Checks of a program by itself and against its machine: modes, spindle, speeds, travel."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from vcarve.errors import Finding
from vcarve.job.records import Job, Machine
from vcarve.program.moves import Event, Motion, Moves
from vcarve.program.reader import Reading
from vcarve.quantity import format_mm

Floats = npt.NDArray[np.float64]
MOST_NAMED = 20
AXES = "XYZ"


def mode_findings(reading: Reading) -> list[Finding]:
    """Units, distance mode and feed mode that are never set before the first move, and a program that does not end."""
    moves = reading.moves
    found = []
    first_line = int(moves.line[0]) if len(moves) else None
    wanted = {
        "units": ("units-unset", "The units (G20 or G21) are not set before the first move."),
        "distance": ("modes-unset", "The distance mode (G90 or G91) is not set before the first move."),
        "feed-mode": ("modes-unset", "The feed mode (G94) is not set before the first move."),
    }
    set_ = {event.kind for event in moves.events if event.before == 0}
    for kind, (code, sentence) in wanted.items():
        if len(moves) and kind not in set_:
            found.append(Finding(code=code, sentence=sentence, line=first_line))
    if not any(event.kind == "end" for event in moves.events):
        found.append(
            Finding(
                code="no-end", sentence="The program does not end with M2 or M30.", line=moves.lines or None
            )
        )
    return found


def _spindle_runs(moves: Moves) -> list[tuple[int, str, float, int]]:
    """Return (first move, state, rpm, line) for every change of the spindle, and what was waited since in ``dwell`` rows."""
    rows = []
    for event in moves.events:
        if event.kind in ("spindle-cw", "spindle-ccw", "spindle-stop", "speed", "dwell", "pause", "end"):
            rows.append((event.before, event.kind, event.value, event.line))
    return rows


def spindle_findings(moves: Moves, start: Floats, end: Floats, machine: Machine) -> list[Finding]:
    """Cutting with the spindle off or not yet at speed, running backwards, and a spindle left on at the end."""
    found: list[Finding] = []
    in_wood = (moves.motion != int(Motion.RAPID)) & (np.minimum(start[:, 2], end[:, 2]) < -1e-6)
    cuts = np.flatnonzero(in_wood)
    rows = _spindle_runs(moves)
    if not machine.spindle.programmed:
        paused = any(
            kind == "pause" and before <= (cuts[0] if len(cuts) else 0) for before, kind, _, _ in rows
        )
        if len(cuts) and not paused:
            found.append(
                Finding(
                    code="spindle-off",
                    sentence="The spindle is started by hand, but the program does not pause (M0) before it cuts.",
                    line=int(moves.line[cuts[0]]),
                )
            )
        return found
    running, waited, start_line, needs_wait = False, 0.0, 0, False
    spans: list[tuple[int, bool, bool]] = []  # from this move on: running, at speed
    rpm = 0.0
    for before, kind, value, line in rows:
        if kind in ("spindle-cw", "spindle-ccw"):
            if not running:
                waited, needs_wait = 0.0, True
            running, start_line = True, line
            if kind == "spindle-ccw":
                found.append(
                    Finding(
                        code="spindle-backwards",
                        sentence="M4 turns the bit backwards; it will burn and tear instead of cutting.",
                        line=line,
                    )
                )
        elif kind == "speed":
            rpm = value
        elif kind == "dwell":
            waited += value
        elif kind == "pause":
            waited = max(waited, machine.spindle.spin_up_s)
        else:
            running = False
        ready = running and (not needs_wait or waited + 1e-9 >= machine.spindle.spin_up_s)
        spans.append((before, running and rpm > 0.0, ready))
    state_at = np.searchsorted(np.array([s[0] for s in spans]), cuts, side="right") - 1 if spans else None
    off = cuts if state_at is None else cuts[[i < 0 or not spans[i][1] for i in state_at.tolist()]]
    if len(off):
        found.append(
            Finding(
                code="spindle-off",
                sentence="The bit goes into the wood with the spindle off.",
                line=int(moves.line[off[0]]),
            )
        )
    elif state_at is not None:
        slow = cuts[[not spans[i][2] for i in state_at.tolist()]]
        if len(slow):
            found.append(
                Finding(
                    code="spin-up",
                    sentence=f"The bit goes into the wood before the spindle is at speed; wait "
                    f"{machine.spindle.spin_up_s:g} s (G4) after M3.",
                    line=int(moves.line[slow[0]]),
                )
            )
    left_on = _on_before_end(moves.events)
    if left_on is not None:
        found.append(
            Finding(
                code="spindle-left-on",
                sentence="The spindle is not stopped (M5) before the program ends.",
                line=left_on or start_line,
            )
        )
    return found


def _on_before_end(events: tuple[Event, ...]) -> int | None:
    """Return the line where the program ends with the spindle still on, else ``None``."""
    on, at = False, 0
    for event in events:
        if event.kind in ("spindle-cw", "spindle-ccw"):
            on, at = True, event.line
        elif event.kind == "spindle-stop":
            on = False
        elif event.kind == "end":
            return event.line if on else None
    return at if on else None


def speed_findings(moves: Moves, machine: Machine) -> list[Finding]:
    """Feeds and spindle speeds beyond the machine."""
    found = []
    feed = moves.feed_mm_min
    delta = np.abs(moves.end_mm - moves.start_mm)
    length = np.sqrt((delta**2).sum(axis=1))
    limits = (machine.feed_max.x_mm_min, machine.feed_max.y_mm_min, machine.feed_max.z_mm_min)
    moving = (moves.motion != int(Motion.RAPID)) & (length > 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(length[:, None] > 0.0, delta / length[:, None], 0.0)
    share[moves.sweep_rad != 0.0, :2] = 1.0  # an arc may point along either axis
    too_fast = moving[:, None] & (share * feed[:, None] > np.array(limits) * (1 + 1e-6))
    said: set[tuple[int, float]] = set()
    for m in np.flatnonzero(too_fast.any(axis=1)).tolist():
        axis = int(np.argmax(too_fast[m]))
        key = (axis, float(feed[m]))
        if key in said or len(said) >= MOST_NAMED:
            continue
        said.add(key)
        found.append(
            Finding(
                code="feed-too-fast",
                sentence=f"The feed is {feed[m]:g} mm/min; the machine's largest on {AXES[axis]} is {limits[axis]:g}.",
                line=int(moves.line[m]),
            )
        )
    spindle = machine.spindle
    if spindle.programmed:
        for event in moves.events:
            if (
                event.kind == "speed"
                and event.value
                and not spindle.min_rpm <= event.value <= spindle.max_rpm
            ):
                found.append(
                    Finding(
                        code="spindle-range",
                        sentence=f"The spindle is set to {event.value:g} rpm; it runs from {spindle.min_rpm:g} to "
                        f"{spindle.max_rpm:g}.",
                        line=event.line,
                    )
                )
    return found


def travel_findings(moves: Moves, machine: Machine, job: Job | None) -> list[Finding]:
    """Programs whose moves span more than the machine travels, told at the move that goes too far.

    Where the zero lies in the machine's travel is the user's choice, so only the span can be judged.
    """
    found: list[Finding] = []
    if len(moves) == 0:
        return found
    room = (machine.travel.x_mm, machine.travel.y_mm, machine.travel.z_mm)
    usable = ~moves.machine
    # Before the first move on an axis its place is unknown, so only ends count.
    for axis in range(3):
        ends = np.where(usable, moves.end_mm[:, axis], np.nan)
        if not np.isfinite(ends).any():
            continue
        high = np.fmax.accumulate(np.where(np.isnan(ends), -np.inf, ends))
        low = np.fmin.accumulate(np.where(np.isnan(ends), np.inf, ends))
        beyond = np.flatnonzero(high - low > room[axis] + 1e-6)
        if len(beyond):
            m = int(beyond[0])
            found.append(
                Finding(
                    code="travel",
                    sentence=f"The program needs {format_mm(round(float(high[-1] - low[-1]), 3))} of travel on {AXES[axis]}; "
                    f"the machine has {format_mm(room[axis])}.",
                    line=int(moves.line[m]),
                )
            )
    return found
