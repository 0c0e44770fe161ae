"""Checks of speeds and travel against the machine and the job, and of arcs that controllers may take otherwise."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from vcarve.dryrun.arcs import arms_mm, axes_of, room
from vcarve.dryrun.setup import per_axis
from vcarve.dryrun.track import Target, Track
from vcarve.errors import Finding
from vcarve.plane.arcs import size
from vcarve.plane.arrays import Bools
from vcarve.quantity import format_number, format_rpm

# Of the job's own speeds: less is a slip, such as one of units, and no choice; our own bound.
SLIP = 1.0 / 3.0
TINY_MM = 1e-3  # the last decimal of a program in millimetres
SWELL_MM = 0.0025  # a little more than the rounding of ends and centre that NISTIR 6556 §3.5.3.2 lets pass
SLOW_MM_MIN = 10.0  # a V-bit fed slower than this only rubs: common practice, no source


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


def job_speed_findings(seen: Track, target: Target) -> Iterator[Finding]:
    """Find feeds and spindle speeds above what the job worked out for its wood and bit, or far below it, each said once."""
    moves, figures, job = seen.moves, seen.figures, target.job
    cut = seen.feed & seen.in_wood
    across, feed = cut & seen.across, moves.feed_mm_min
    with np.errstate(divide="ignore", invalid="ignore"):
        steep = np.nan_to_num(np.abs(seen.end_mm[:, 2] - seen.start_mm[:, 2]) / moves.length_mm)
        # On a slope Z may set the pace, up as well as down.
        least = SLIP * np.minimum(job.speeds.cut_mm_min, job.speeds.plunge_mm_min / steep)
    sinking = np.where(seen.down, feed * steep, 0.0)
    rounding = (0.05 if job.machine.units == "mm" else 25.4 * 0.005) + 1e-6
    turning = cut & (moves.rpm > 0.0) & job.machine.spindle.programmed
    fast, slow, turns = "faster-than-job", "slower-than-job", "The spindle turns"
    cut_at, sink_at, turn_at = job.speeds.cut_mm_min, job.speeds.plunge_mm_min, job.speeds.spindle_rpm
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
    which = np.flatnonzero(seen.moves.sweep_rad)
    start, end = arms_mm(seen.moves, which)
    gap, swell = size(end - start), np.abs(size(end) - size(start))
    tiny = (gap > 0.0) & (gap < TINY_MM)
    whole = ~tiny & (gap < 0.01) & (np.abs(seen.moves.sweep_rad[which]) > 1.9 * np.pi)
    close = f"The ends of this arc are less than {seen.figures.length(TINY_MM)} apart: it may become a whole circle."
    circle = "This arc is a whole circle, as a tiny arc becomes when its ends round to the same place."
    spiral = "The ends of this arc are not equally far from its centre: it is cut as a spiral."
    yield from seen.tell("full-circle", which[tiny], close, at=seen.at)
    yield from seen.tell("full-circle", which[whole], circle, at=seen.at, mild=True)
    yield from seen.tell("spiral", which[swell > SWELL_MM], spiral, at=seen.at)
