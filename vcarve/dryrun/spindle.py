"""Checks of the spindle: on, at speed, the right way round, and never started, stopped or left where it does harm."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from vcarve.dryrun.safety import SLOW_MM_MIN
from vcarve.dryrun.track import Track
from vcarve.errors import Finding, listed
from vcarve.program.moves import Event
from vcarve.quantity import format_number, format_rpm

PAUSES = ("pause", "optional-pause")  # M0, and M1 where the switch at the controller says so
TURNING = {"spindle-cw": 1, "spindle-ccw": -1}
SPINDLE_WORDS = (*TURNING, "spindle-stop", "speed")
SHORT_DWELL_S = 1.0  # a wait to settle at the bottom of a plunge: common practice, no source


def spindle_findings(seen: Track) -> Iterator[Finding]:
    """Find cutting with the spindle off or not yet at speed, and everything done to it at the wrong moment."""
    yield from _dwell_findings(seen)
    if seen.machine.spindle.programmed:
        yield from _range_findings(seen)
        yield from _switched(seen)
    else:
        yield from _by_hand(seen)


def _switched(seen: Track) -> Iterator[Finding]:
    """Follow a spindle that the program switches from event to event."""
    spans: list[tuple[int, bool, bool]] = [(0, False, False)]  # from this move on: turning, at speed
    turn, speed, rpm, wait, spin_up_s = 0, 0.0, 0.0, 0.0, seen.machine.spindle.spin_up_s
    for event in seen.moves.events:
        kind, was = event.kind, turn
        if kind in TURNING:
            turn = TURNING[kind]
            if turn < 0:
                sentence = "M4 turns the bit backwards; it will burn and tear instead of cutting."
                yield Finding("spindle-backwards", sentence, line=event.line)
            if turn == -was:
                rpm = 0.0  # it has to stop first
        elif kind == "speed":
            speed = event.value
        elif kind in ("spindle-stop", "tool-change", "end"):
            turn = 0
            if kind == "end":
                yield from _end_findings(seen, event, running=was != 0)
        elif kind == "dwell":
            wait = max(wait - event.value, 0.0)
        elif kind in PAUSES:
            yield from _pause_findings(seen, event, running=rpm > 0.0)
            if kind == "pause":
                wait = 0.0  # a person who starts it again is slower than any spindle
        else:
            continue
        starts = kind in TURNING and not was
        stops = was and (kind == "spindle-stop" or (kind == "speed" and not speed))
        if (starts or stops) and seen.rests_in_wood(event.before):
            sentence = f"The spindle {'starts' if starts else 'stops'} with the bit in the wood."
            yield Finding("spindle-in-wood", sentence, line=event.line)
        elif kind == "spindle-stop" and event.line in seen.moves.line[event.before : event.before + 1]:
            sentence = "M5 acts before the motion on its line; give it a line of its own after it."
            yield Finding("stop-with-motion", sentence, line=event.line)
        wanted = speed if turn else 0.0
        if wanted > rpm:
            # From rest the whole spin-up; from a lower speed its share.
            wait = max(wait, spin_up_s * (wanted - rpm) / wanted)
        elif wanted == 0.0:
            wait = 0.0
        rpm = wanted
        spans.append((event.before, rpm > 0.0, wait <= 1e-9))
    if not any(event.kind == "end" for event in seen.moves.events):
        yield from _end_findings(seen, running=turn != 0)
    cuts = np.flatnonzero(seen.feed & seen.in_wood)
    since, on, ready = np.array(spans).T
    state = np.searchsorted(since, cuts, side="right") - 1
    early = (
        f"The bit goes into the wood before the spindle is at speed; wait {spin_up_s:g} s (G4) "
        "after M3, and after a higher S."
    )
    for code, bad, sentence in (
        ("spindle-off", on[state] == 0, "The bit goes into the wood with the spindle off."),
        ("spin-up", (on[state] == 1) & (ready[state] == 0), early),
    ):
        bad[1:] &= ~bad[:-1]  # the first of each run of cuts
        yield from seen.tell(code, cuts[bad], sentence)


def _by_hand(seen: Track) -> Iterator[Finding]:
    """Judge a spindle with a switch: the program has to pause before it cuts, and is taken to turn at every pause in the wood."""
    for event in [event for event in seen.moves.events if event.kind in SPINDLE_WORDS][:1]:
        sentence = "M3, M4, M5 and S do nothing here: the machine's spindle is switched by hand."
        yield Finding("spindle-by-hand", sentence, line=event.line)
    cuts = np.flatnonzero(seen.feed & seen.in_wood)[:1]
    first = int(cuts.min(initial=len(seen.moves)))
    pauses = [event for event in seen.moves.events if event.kind in PAUSES]
    for event in pauses:
        if event.before > first and seen.rests_in_wood(event.before):
            # Whether it turns between cuts is not known.
            yield from _pause_findings(seen, event, running=True)
    if not any(event.kind == "pause" and event.before <= first for event in pauses):
        sentence = "The spindle is started by hand, but the program does not pause (M0) before it cuts."
        yield from seen.tell("spindle-off", cuts, sentence)
    yield from _end_findings(seen, running=False)


def _pause_findings(seen: Track, event: Event, *, running: bool) -> Iterator[Finding]:
    if seen.rests_in_wood(event.before):
        sentence = "The program pauses with the bit in the wood; lift it first."
        yield Finding("pause-in-wood", sentence, line=event.line, mild=not running)
    elif running:
        sentence = "The program pauses with the spindle turning: keep your hands away."
        yield Finding("pause-running", sentence, line=event.line)


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


def _end_findings(seen: Track, event: Event | None = None, *, running: bool) -> Iterator[Finding]:
    line = event.line if event is not None else seen.moves.lines or None
    if running:
        sentence = "The spindle is not stopped (M5) before the program ends."
        yield Finding("spindle-left-on", sentence, line=line)
    if seen.rests_in_wood(len(seen.moves) if event is None else event.before):
        yield Finding("ends-in-wood", "The program ends with the bit in the wood; lift it first.", line=line)


def _range_findings(seen: Track) -> list[Finding]:
    """Find spindle speeds that the machine does not have, said once each."""
    least, most = seen.machine.spindle.min_rpm, seen.machine.spindle.max_rpm
    wrong: dict[float, int] = {}
    for event in seen.moves.events:
        if event.kind == "speed" and event.value and not least <= event.value <= most:
            wrong.setdefault(event.value, event.line)
    runs = f"it runs from {format_number(least)} to {format_number(most)}"

    def make(k: int) -> Finding:
        rpm, line = list(wrong.items())[k]
        return Finding("spindle-range", f"The spindle is set to {format_rpm(rpm)}; {runs}.", line=line)

    return listed(range(len(wrong)), make)
