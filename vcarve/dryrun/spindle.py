"""Checks of the spindle: on, at speed, the right way round, and never started, stopped or left where it does harm."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from vcarve.dryrun.safety import SLOW_MM_MIN
from vcarve.dryrun.track import Track
from vcarve.errors import Finding, listed
from vcarve.job.bench import Machine
from vcarve.plane.arrays import Ints
from vcarve.program.moves import Event
from vcarve.quantity import format_number, format_rpm

PAUSES = ("pause", "optional-pause")  # M0, and M1 where the switch at the controller says so
SPINDLE_WORDS = ("spindle-cw", "spindle-ccw", "spindle-stop", "speed")
SHORT_DWELL_S = 1.0  # a wait to settle at the bottom of a plunge: common practice, no source


def spindle_findings(seen: Track, machine: Machine) -> Iterator[Finding]:
    """Find cutting with the spindle off or not yet at speed, and everything done to it at the wrong moment."""
    yield from _range_findings(seen.moves.events, machine)
    yield from _dwell_findings(seen)
    cuts = np.flatnonzero(seen.feed & seen.in_wood)
    if not machine.spindle.programmed:
        words = [event for event in seen.moves.events if event.kind in SPINDLE_WORDS]
        if words:
            sentence = "M3, M4, M5 and S do nothing here: the machine's spindle is switched by hand."
            yield Finding("spindle-by-hand", sentence, line=words[0].line)
        yield from _by_hand(seen, cuts)
        yield from _end_findings(seen, running=False)
        return

    def in_wood(event: Event, does: str) -> Finding:
        return Finding("spindle-in-wood", f"The spindle {does} with the bit in the wood.", line=event.line)

    spans: list[tuple[int, bool, bool]] = [(0, False, False)]  # from this move on: turning, at speed
    turn, speed, rpm, wait = 0, 0.0, 0.0, 0.0
    for event in seen.moves.events:
        kind, before = event.kind, event.before
        if kind in ("spindle-cw", "spindle-ccw"):
            way = 1 if kind == "spindle-cw" else -1
            if way < 0:
                sentence = "M4 turns the bit backwards; it will burn and tear instead of cutting."
                yield Finding("spindle-backwards", sentence, line=event.line)
            if turn == 0 and seen.rests_in_wood(before):
                yield in_wood(event, "starts")
            if turn == -way:
                rpm = 0.0  # it has to stop first
            turn = way
        elif kind == "speed":
            speed = event.value
            if speed == 0.0 and turn and seen.rests_in_wood(before):
                yield in_wood(event, "stops")
        elif kind in ("spindle-stop", "tool-change", "end"):
            if kind == "spindle-stop" and turn and seen.rests_in_wood(before):
                yield in_wood(event, "stops")
            elif kind == "spindle-stop" and before < len(seen.moves) and seen.line(before) == event.line:
                sentence = "M5 acts before the motion on its line; give it a line of its own after it."
                yield Finding("stop-with-motion", sentence, line=event.line)
            if kind == "end":
                yield from _end_findings(seen, running=turn != 0, event=event)
            turn = 0
        elif kind == "dwell":
            wait = max(wait - event.value, 0.0)
        elif kind in PAUSES:
            yield from _pause_findings(seen, event, running=rpm > 0.0)
            if kind == "pause":
                wait = 0.0  # a person who starts it again is slower than any spindle
        else:
            continue
        wanted = speed if turn else 0.0
        if wanted > rpm:
            # From rest the whole spin-up; from a lower speed its share.
            wait = max(wait, machine.spindle.spin_up_s * (wanted - rpm) / wanted)
        elif wanted == 0.0:
            wait = 0.0
        rpm = wanted
        spans.append((before, rpm > 0.0, wait <= 1e-9))
    if not any(event.kind == "end" for event in seen.moves.events):
        yield from _end_findings(seen, running=turn != 0)
    state = np.searchsorted(np.array([span[0] for span in spans]), cuts, side="right") - 1
    on = np.array([span[1] for span in spans])[state]
    ready = np.array([span[2] for span in spans])[state]
    off = "The bit goes into the wood with the spindle off."
    early = (
        f"The bit goes into the wood before the spindle is at speed; wait {machine.spindle.spin_up_s:g} s (G4) "
        "after M3, and after a higher S."
    )
    yield from listed(_firsts(cuts, ~on), lambda m: Finding("spindle-off", off, line=seen.line(m)))
    yield from listed(_firsts(cuts, on & ~ready), lambda m: Finding("spin-up", early, line=seen.line(m)))


def _firsts(cuts: Ints, bad: np.ndarray) -> list[int]:
    """Return the first of each run of cuts that are in the wrong, one after the other."""
    begins = bad.copy()
    begins[1:] &= ~bad[:-1]
    return [int(m) for m in cuts[begins]]


def _by_hand(seen: Track, cuts: Ints) -> Iterator[Finding]:
    """Judge a spindle with a switch: the program has to pause before it cuts, and is taken to turn at every pause in the wood."""
    first = int(cuts[0]) if len(cuts) else len(seen.moves)
    pauses = [event for event in seen.moves.events if event.kind in PAUSES]
    for event in pauses:
        if event.before > first and seen.rests_in_wood(event.before):
            # Whether it turns between cuts is not known.
            yield from _pause_findings(seen, event, running=True)
    if len(cuts) and not any(event.kind == "pause" and event.before <= first for event in pauses):
        sentence = "The spindle is started by hand, but the program does not pause (M0) before it cuts."
        yield Finding("spindle-off", sentence, line=seen.line(first))


def _pause_findings(seen: Track, event: Event, *, running: bool) -> list[Finding]:
    if seen.rests_in_wood(event.before):
        sentence = "The program pauses with the bit in the wood; lift it first."
        return [Finding("pause-in-wood", sentence, line=event.line, mild=not running)]
    if running:
        sentence = "The program pauses with the spindle turning: keep your hands away."
        return [Finding("pause-running", sentence, line=event.line)]
    return []


def _dwell_findings(seen: Track) -> list[Finding]:
    """Find waits with the bit in the wood, or going up or down there next to not at all: it burns, and at length sets fire.

    Waits and creeping that follow each other without a move across or out of the wood add up.
    """
    moves = seen.moves
    stands = np.zeros(len(moves) + 1)  # seconds before each move and after the last
    first = np.zeros(len(moves) + 1, dtype=np.int64)  # the line they begin at
    for event in moves.events:
        if event.kind == "dwell" and event.value > 0.0 and seen.rests_in_wood(event.before):
            stands[event.before] += event.value
            first[event.before] = first[event.before] or event.line
    creeping = seen.feed & seen.in_wood & ~seen.across & (moves.feed_mm_min < SLOW_MM_MIN)
    for m in np.flatnonzero(creeping).tolist():
        below = min(float(moves.length_mm[m]), -float(seen.low_mm[m, 2]))
        # What went before it in the same place goes on with it.
        stands[m + 1] += stands[m] + 60.0 * below / float(moves.feed_mm_min[m])
        first[m + 1] = first[m] or seen.line(m)
        stands[m] = 0.0
    return listed(
        np.flatnonzero(stands).tolist(),
        lambda k: Finding(
            "dwell-in-wood",
            f"The bit stays for {format_number(round(float(stands[k]), 1))} s at one place in the wood; it burns there. "
            "Lift it before a wait, and plunge faster than "
            f"{seen.figures.feed(SLOW_MM_MIN)}.",
            line=int(first[k]),
            mild=not stands[k] > SHORT_DWELL_S,
        ),
    )


def _end_findings(seen: Track, *, running: bool, event: Event | None = None) -> Iterator[Finding]:
    line = event.line if event is not None else seen.moves.lines or None
    if running:
        sentence = "The spindle is not stopped (M5) before the program ends."
        yield Finding("spindle-left-on", sentence, line=line)
    if seen.rests_in_wood(len(seen.moves) if event is None else event.before):
        yield Finding("ends-in-wood", "The program ends with the bit in the wood; lift it first.", line=line)


def _range_findings(events: tuple[Event, ...], machine: Machine) -> list[Finding]:
    """Find spindle speeds that the machine does not have, said once each."""
    spindle = machine.spindle
    if not spindle.programmed:
        return []
    wrong: dict[float, int] = {}
    for event in events:
        if event.kind == "speed" and event.value and not spindle.min_rpm <= event.value <= spindle.max_rpm:
            wrong.setdefault(event.value, event.line)
    speeds = list(wrong)
    return listed(
        range(len(speeds)),
        lambda k: Finding(
            "spindle-range",
            f"The spindle is set to {format_rpm(speeds[k])}; it runs from {format_number(spindle.min_rpm)} to "
            f"{format_number(spindle.max_rpm)}.",
            line=wrong[speeds[k]],
        ),
    )
