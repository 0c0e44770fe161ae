"""Checks of a program by itself and against its machine: modes, speeds, travel, habits."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from vcarve.dryrun.arcs import arms_mm, axes_of, boxes
from vcarve.dryrun.track import Track
from vcarve.errors import Finding, listed
from vcarve.job.bench import Machine
from vcarve.job.records import Job
from vcarve.plane.arcs import size
from vcarve.quantity import format_number, format_rpm

# Of the job's own speeds: less is a slip, such as one of units, and no choice; our own bound.
SLIP = 1.0 / 3.0
TINY_MM = 1e-3  # the last decimal of a program in millimetres
SWELL_MM = 0.0025  # a little more than the rounding of ends and centre that NISTIR 6556 §3.5.3.2 lets pass
SLOW_MM_MIN = 10.0  # a V-bit fed slower than this only rubs: common practice, no source


def mode_findings(seen: Track, dialect: str) -> Iterator[Finding]:
    """Find units and modes that are never set before the first move that needs them, and a program without moves or end."""
    moves = seen.moves
    arcs = moves.sweep_rad != 0.0
    every = np.ones(len(moves), dtype=np.bool_)
    wanted = [
        ("units", "units-unset", False, every, "The units (G20 or G21) are", "move"),
        ("distance", "modes-unset", False, every, "The distance mode (G90 or G91) is", "move"),
        # Every controller at hand begins with G94, and G93 is rare.
        ("feed-mode", "modes-unset", True, seen.feed, "The feed mode (G94) is", "feed move"),
        ("plane", "modes-unset", False, arcs, "The plane of arcs (G17) is", "arc"),
    ]
    if dialect == "linuxcnc":
        # No program's end resets these two there.
        wanted.append(
            ("arc-distance", "modes-unset", True, arcs, "The kind of arc centres (G91.1) is", "arc")
        )
        path = "The path control (G61, or G64 with P) is"
        wanted.append(("path", "modes-unset", True, seen.feed, path, "feed move"))
    for kind, code, mild, needing, what, which in wanted:
        if not needing.any():
            continue
        first = int(needing.argmax())
        if not any(event.kind == kind and event.before <= first for event in moves.events):
            sentence = f"{what} not set before the first {which}."
            yield Finding(code, sentence, line=seen.line(first), mild=mild)
    if not len(moves):
        yield Finding("no-moves", "The program moves nothing.")
    if not any(event.kind == "end" for event in moves.events):
        sentence = "The program does not end with M2 or M30."
        yield Finding("no-end", sentence, line=moves.lines or None)


def speed_findings(seen: Track, machine: Machine) -> Iterator[Finding]:
    """Find feeds beyond the machine, and feeds so slow that they must be a slip; each feed is said once."""
    moves = seen.moves
    feed = moves.feed_mm_min
    delta = np.abs(moves.end_mm - moves.start_mm)
    length = moves.length_mm
    limits = np.array([machine.feed_max.x_mm_min, machine.feed_max.y_mm_min, machine.feed_max.z_mm_min])
    moving = seen.feed & (length > 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(length[:, None] > 0.0, delta / length[:, None], 0.0)
    bent = np.flatnonzero(moves.sweep_rad)  # an arc may point along either axis of its plane
    share[bent[:, None], axes_of(moves, bent)[:, :2]] = 1.0
    with np.errstate(invalid="ignore"):
        beyond = moving[:, None] & (share * feed[:, None] > limits * (1.0 + 1e-6))
    for axis, limit, column in zip(moves.axes, limits.tolist(), beyond.T, strict=True):
        rows = np.flatnonzero(column)
        _, first = np.unique(feed[rows], return_index=True)
        yield from listed(np.sort(rows[first]).tolist(), _too_fast(seen, axis, limit))
    slow = np.flatnonzero(seen.feed & seen.in_wood & (feed < SLOW_MM_MIN) & (length > 0.0))
    _, first = np.unique(feed[slow], return_index=True)
    yield from listed(
        np.sort(slow[first]).tolist(),
        lambda m: Finding(
            "feed-slow",
            f"The feed is {seen.figures.feed(feed[m], 9)}, so slow that the bit rubs and burns.",
            line=seen.line(m),
        ),
    )


def _too_fast(seen: Track, axis: str, limit: float) -> Callable[[int], Finding]:
    return lambda m: Finding(
        "feed-too-fast",
        f"The feed is {seen.figures.feed(seen.moves.feed_mm_min[m], 3)}; the machine's largest on {axis} is "
        f"{seen.figures.number(limit)}.",
        line=seen.line(m),
    )


def job_speed_findings(seen: Track, job: Job) -> Iterator[Finding]:
    """Find feeds and spindle speeds above what the job worked out for its wood and bit, or far below it, each said once."""
    moves = seen.moves
    cut = seen.feed & seen.in_wood
    across, feed = cut & seen.across, moves.feed_mm_min
    rise = seen.end_mm[:, 2] - seen.start_mm[:, 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        steep = np.nan_to_num(np.abs(rise) / moves.length_mm)
        # On a slope Z may set the pace, up as well as down.
        least = SLIP * np.minimum(job.cut_mm_min, job.plunge_mm_min / steep)
    sinking = np.where(seen.down, feed * steep, 0.0)
    rounding = (0.05 if job.machine.units == "mm" else 25.4 * 0.005) + 1e-6
    fast, slow = "faster-than-job", "slower-than-job"
    write = seen.figures
    for rows, code, speed, what, wanted in (
        (across & (feed > job.cut_mm_min + rounding), fast, feed, "cuts", job.cut_mm_min),
        (cut & (sinking > job.plunge_mm_min + rounding), fast, sinking, "goes down", job.plunge_mm_min),
        (across & (feed < least), slow, feed, "cuts", job.cut_mm_min),
    ):
        if rows.any():
            m = int(rows.argmax())
            sentence = (
                f"The bit {what} at {write.feed(speed[m], 3)}; the job asks for {write.number(wanted)}."
            )
            yield Finding(code, sentence, line=seen.line(m))
    turning = cut & (moves.rpm > 0.0) & job.machine.spindle.programmed
    for rows, code in (
        (turning & (moves.rpm > job.spindle_rpm + 0.5), fast),
        (turning & (moves.rpm < SLIP * job.spindle_rpm), slow),
    ):
        if rows.any():
            m = int(rows.argmax())
            sentence = f"The spindle turns at {format_rpm(moves.rpm[m])}; the job asks for {format_number(job.spindle_rpm)}."
            yield Finding(code, sentence, line=seen.line(m))


def travel_findings(seen: Track, machine: Machine) -> Iterator[Finding]:
    """Find programs whose moves span more than the machine travels, told at the move that goes too far.

    Where the zero lies in the machine's travel is the user's choice, so only the span can be judged.  Where the bit stands
    before the first move is not known either, so of straight moves only the ends count.
    """
    moves = seen.moves
    room = (machine.travel.x_mm, machine.travel.y_mm, machine.travel.z_mm)
    usable = moves.told & ~seen.blind
    bent = np.flatnonzero(moves.sweep_rad != 0.0)
    lowest, highest = boxes(moves, bent)
    for axis, most, low_bent, high_bent in zip(moves.axes, room, lowest.T, highest.T, strict=True):
        above, below = moves.end(axis).copy(), moves.end(axis).copy()
        below[bent], above[bent] = low_bent, high_bent
        high = np.maximum.accumulate(np.where(usable, above, -np.inf))
        low = np.minimum.accumulate(np.where(usable, below, np.inf))
        beyond = np.flatnonzero(high - low > most + 1e-6)
        if len(beyond):
            span = seen.figures.length(round(float(high[-1] - low[-1]), 3))
            sentence = (
                f"The program needs {span} of travel on {axis}; the machine has {seen.figures.length(most)}."
            )
            yield Finding("travel", sentence, line=seen.line(int(beyond[0])))


def habit_findings(seen: Track) -> Iterator[Finding]:
    """Find habits that are worth a look, and changes of bit."""
    moves = seen.moves
    units = None
    wood = np.flatnonzero(seen.feed & seen.in_wood)
    first_cut = int(wood[0]) if len(wood) else len(moves)
    for event in moves.events:
        if event.kind == "feed-with-units":
            sentence = (
                "F beside G20 or G21: controllers disagree on which unit it has; give it a line of its own."
            )
            yield Finding("feed-with-units", sentence, line=event.line)
        elif event.kind == "units":
            if event.before > 0 and event.value != units:
                sentence = "The units change on the way; check every length and feed after this line."
                yield Finding("units-change", sentence, line=event.line)
            units = event.value
        elif event.kind == "bare-axes":
            sentence = (
                "Axis words before any motion code: this controller runs them as a rapid, others refuse them."
            )
            yield Finding("bare-axes", sentence, line=event.line)
        elif event.kind == "tool-change":
            later = event.before > first_cut
            sentence = (
                "The bit is changed after the first cut; what follows is only right if it was measured again."
                if later
                else "The program changes the bit; set the zero with the bit it asks for."
            )
            yield Finding("tool-change", sentence, line=event.line, mild=not later)
    if len(moves) and not moves.machine[0] and seen.across[0]:
        sentence = "The first move goes across; lift the bit (Z alone) before that."
        yield Finding("first-move-across", sentence, line=seen.line(0))
    still = np.flatnonzero(seen.feed & (moves.length_mm == 0.0))
    yield from listed(
        still.tolist(),
        lambda m: Finding("zero-length", "This move goes to where the bit already is.", line=seen.line(m)),
    )
    yield from _arc_findings(seen)


def _arc_findings(seen: Track) -> list[Finding]:
    """Find arcs that a controller may take for whole circles, or that are none: ends at two distances from the centre."""
    which = np.flatnonzero(seen.moves.sweep_rad)
    start, end = arms_mm(seen.moves, which)
    gap, swell = size(end - start), np.abs(size(end) - size(start))
    tiny = (gap > 0.0) & (gap < TINY_MM)
    whole = ~tiny & (gap < 0.01) & (np.abs(seen.moves.sweep_rad[which]) > 1.9 * np.pi)
    close = f"The ends of this arc are less than {seen.figures.length(TINY_MM)} apart: it may become a whole circle."
    round_ = "This arc is a whole circle, as a tiny arc becomes when its ends round to the same place."
    spiral = "The ends of this arc are not equally far from its centre: it is cut as a spiral."
    return [
        *listed(which[tiny].tolist(), seen.saying("full-circle", close)),
        *listed(which[whole].tolist(), seen.saying("full-circle", round_, mild=True)),
        *listed(which[swell > SWELL_MM].tolist(), seen.saying("spiral", spiral)),
    ]
