"""Checks against the machine and the job's speeds: feeds, travel, the spindle, and arcs that controllers may take otherwise."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from vcarve.dryrun.target import Aim
from vcarve.dryrun.track import Track, axes_of, per_axis, room
from vcarve.errors import Finding, listed
from vcarve.plane.arcs import size
from vcarve.plane.arrays import Bools
from vcarve.program.grammar import MM_PER_INCH
from vcarve.program.moves import Event
from vcarve.quantity import format_number, format_rpm

# Of the job's own speeds: less is a slip, such as one of units, and no choice; our own bound.
SLIP = 1.0 / 3.0
TINY_MM = 1e-3  # the last decimal of a program in millimetres
SWELL_MM = 0.0025  # a little more than the rounding of ends and centre that NISTIR 6556 §3.5.3.2 lets pass
SLOW_MM_MIN = 10.0  # a V-bit fed slower than this only rubs: common practice, no source
PAUSES = ("pause", "optional-pause")  # M0, and M1 where the switch at the controller says so
TURNING = {"spindle-cw": 1, "spindle-ccw": -1}
SPINDLE_WORDS = (*TURNING, "spindle-stop", "speed")
SHORT_DWELL_S = 1.0  # a wait to settle at the bottom of a plunge: common practice, no source


def speed_findings(seen: Track) -> Iterator[Finding]:
    """Find feeds beyond the machine, and feeds so slow that they must be a slip; each feed is said once."""
    moves, figures = seen.moves, seen.figures
    feed, length, limits = moves.feed_mm_min, moves.length_mm, per_axis(seen.machine.feed_max)
    moving = seen.feed & (length > 0.0)
    bent = np.flatnonzero(moves.sweep_rad)  # an arc may point along either axis of its plane
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.abs(moves.end_mm - moves.start_mm) / length[:, None]
        share[bent[:, None], axes_of(moves, bent)[:, :2]] = 1.0
        beyond = moving[:, None] & (share * feed[:, None] > limits * (1.0 + 1e-6))

    def each(code: str, rows: Bools, decimals: int, what: str) -> list[Finding]:
        which = np.flatnonzero(rows)
        first = np.sort(which[np.unique(feed[which], return_index=True)[1]])
        return seen.tell(code, first, lambda m: f"The feed is {figures.feed(feed[m], decimals)}{what}.")

    for axis, limit, rows in zip(moves.axes, limits.tolist(), beyond.T, strict=True):
        what = f"; the machine's largest on {axis} is {figures.number(limit)}"
        yield from each("feed-too-fast", rows, 3, what)
    slow = moving & seen.in_wood & (feed < SLOW_MM_MIN)
    yield from each("feed-slow", slow, 9, ", so slow that the bit rubs and burns")


def job_speed_findings(seen: Track, target: Aim) -> Iterator[Finding]:
    """Find feeds and spindle speeds above what the job worked out for its wood and bit, or far below it, each said once."""
    moves, figures, job, speeds = seen.moves, seen.figures, target.job, target.speeds
    cut = seen.feed & seen.in_wood
    across, feed = cut & seen.across, moves.feed_mm_min
    with np.errstate(divide="ignore", invalid="ignore"):
        steep = np.nan_to_num(np.abs(seen.end_mm[:, 2] - seen.start_mm[:, 2]) / moves.length_mm)
        # On a slope Z may set the pace, up as well as down.
        least = SLIP * np.minimum(speeds.cut_mm_min, speeds.plunge_mm_min / steep)
    sinking = np.where(seen.down, feed * steep, 0.0)
    rounding = (0.05 if job.machine.units == "mm" else 0.005 * MM_PER_INCH) + 1e-6
    turning = cut & (moves.rpm > 0.0) & job.machine.spindle.programmed
    fast, slow, turns = "faster-than-job", "slower-than-job", "The spindle turns"
    cut_at, sink_at, turn_at = speeds.cut_mm_min, speeds.plunge_mm_min, speeds.spindle_rpm
    for code, rows, what, speed, wanted in (
        (fast, across & (feed > cut_at + rounding), "The bit cuts", feed, cut_at),
        (fast, cut & (sinking > sink_at + rounding), "The bit goes down", sinking, sink_at),
        (slow, across & (feed < least), "The bit cuts", feed, cut_at),
        (fast, turning & (moves.rpm > turn_at + 0.5), turns, moves.rpm, turn_at),
        (slow, turning & (moves.rpm < SLIP * turn_at), turns, moves.rpm, turn_at),
    ):
        for m in np.flatnonzero(rows)[:1].tolist():
            now, asked = figures.feed(speed[m], 3), figures.number(wanted)
            if what == turns:
                now, asked = format_rpm(speed[m]), format_number(wanted)
            yield Finding(code, f"{what} at {now}; the job asks for {asked}.", line=seen.line(m))


def travel_findings(seen: Track) -> Iterator[Finding]:
    """Find programs whose moves span more than the machine travels, told at the move that goes too far.

    Where the zero lies in the machine's travel is the user's choice, so only the span can be judged.  Where the bit stands
    before the first move is not known either, so of straight moves only the ends count.
    """
    moves, length = seen.moves, seen.figures.length
    low, high = room(moves, moves.end_mm, moves.end_mm)
    unknown = ~moves.told | seen.blind
    low[unknown], high[unknown] = np.inf, -np.inf
    spans = np.maximum.accumulate(high) - np.minimum.accumulate(low)
    for axis, most, span in zip(moves.axes, per_axis(seen.machine.travel).tolist(), spans.T, strict=True):
        for m in np.flatnonzero(span > most + 1e-6)[:1].tolist():
            needs = length(round(float(span[-1]), 3))
            sentence = f"The program needs {needs} of travel on {axis}; the machine has {length(most)}."
            yield Finding("travel", sentence, line=seen.line(m))


def arc_findings(seen: Track) -> Iterator[Finding]:
    """Find arcs that a controller may take for whole circles, or that are none: ends at two distances from the centre."""
    moves, which = seen.moves, np.flatnonzero(seen.moves.sweep_rad)
    axes, ends = axes_of(moves, which)[:, :2], (moves.start_mm, moves.end_mm)
    start, end = (np.take_along_axis((place - moves.centre_mm)[which], axes, 1) for place in ends)
    gap, swell = size(end - start), np.abs(size(end) - size(start))
    tiny = (gap > 0.0) & (gap < TINY_MM)
    whole = ~tiny & (gap < 0.01) & (np.abs(seen.moves.sweep_rad[which]) > 1.9 * np.pi)
    close = f"The ends of this arc are less than {seen.figures.length(TINY_MM)} apart: it may become a whole circle."
    circle = "This arc is a whole circle, as a tiny arc becomes when its ends round to the same place."
    spiral = "The ends of this arc are not equally far from its centre: it is cut as a spiral."
    yield from seen.tell("full-circle", which[tiny], close, at=seen.at)
    yield from seen.tell("full-circle", which[whole], circle, at=seen.at, mild=True)
    yield from seen.tell("spiral", which[swell > SWELL_MM], spiral, at=seen.at)


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
    wait_for = f"wait {spin_up_s:g} s (G4) after M3, and after a higher S"
    early = f"The bit goes into the wood before the spindle is at speed; {wait_for}."
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
    moves, length = seen.moves, seen.moves.length_mm
    stands = np.zeros(len(moves) + 1)  # seconds before each move and after the last
    first = np.zeros(len(moves) + 1, dtype=np.int64)  # the line they begin at
    for event in moves.events:
        if event.kind == "dwell" and event.value > 0.0 and seen.rests_in_wood(event.before):
            stands[event.before] += event.value
            first[event.before] = first[event.before] or event.line
    creeping = seen.feed & seen.in_wood & ~seen.across & (moves.feed_mm_min < SLOW_MM_MIN)
    for m in np.flatnonzero(creeping).tolist():
        below = min(float(length[m]), -float(seen.low_mm[m, 2]))
        # What went before it in the same place goes on with it.
        stands[m + 1] += stands[m] + 60.0 * below / float(moves.feed_mm_min[m])
        first[m + 1] = first[m] or seen.line(m)
        stands[m] = 0.0
    cure = f"Lift it before a wait, and plunge faster than {seen.figures.feed(SLOW_MM_MIN)}."

    def make(k: int) -> Finding:
        stays = f"The bit stays for {format_number(round(float(stands[k]), 1))} s at one place in the wood"
        mild = not stands[k] > SHORT_DWELL_S
        return Finding("dwell-in-wood", f"{stays}; it burns there. {cure}", line=int(first[k]), mild=mild)

    return listed(np.flatnonzero(stands).tolist(), make)


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
    said = [(event.value, event.line) for event in seen.moves.events if event.kind == "speed" and event.value]
    first = {rpm: line for rpm, line in reversed(said) if not least <= rpm <= most}
    wrong = sorted(first.items(), key=lambda one: one[1])
    runs = f"it runs from {format_number(least)} to {format_number(most)}"
    words = [f"The spindle is set to {format_rpm(rpm)}; {runs}." for rpm, _ in wrong]
    return listed(range(len(wrong)), lambda k: Finding("spindle-range", words[k], line=wrong[k][1]))
