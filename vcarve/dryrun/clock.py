"""The clock: how long a program runs, from its moves and the machine alone.

Assumption: perfect streaming.  The controller always knows every move up to the next stop, so its
look-ahead is never cut short; a slow link or a short buffer can only make the real run longer.
Rules (Grbl v1.1 settings and planner): each axis has a rate and an acceleration; a direction may use as
much as its axes allow; a corner's speed follows from the junction deviation; dwells, spindle, coolant and
offset changes and program stops let the machine come to rest.  Waiting for a person at a pause is not
counted.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from vcarve.dryrun.arcs import planned_chords, split
from vcarve.dryrun.kinematics import along, backward, block_times, corner_speeds, entry_caps, forward
from vcarve.program.moves import Event, Motion, Moves

if TYPE_CHECKING:
    from vcarve.job.bench import Axes, AxesAcceleration, AxesRate, Machine

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

FLOOR_MM_MIN = 1.0  # no move runs slower than this (Grbl v1.1)
DWELL_STEP_S = 0.05  # Grbl waits in steps of this length
AHEAD_MOVES = 256  # how far to look beyond such a part at first
CHUNK_BLOCKS = 500_000  # blocks planned at a time, so that memory stays bounded


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """When every move runs and how fast; N moves.

    Move ``i`` runs from ``start_s[i]`` for ``move_s[i]`` seconds; it speeds up from ``entry_mm_s`` to
    ``peak_mm_s`` at ``acceleration_mm_s2``, keeps that speed, and slows down to ``exit_mm_s``.  For arcs
    the three speeds are those of its first chord, its fastest chord and its last one.  ``total_s`` is
    everything; ``cut_s``, ``plunge_s`` (straight down at feed), ``rapid_s``, ``dwell_s`` and ``stop_s`` add
    up to it.  ``pauses`` counts the places where the program waits for a person, ``stops`` how often the
    machine comes to rest because of what is not motion, or at the end.
    """

    move_s: Floats  # (N,)
    start_s: Floats  # (N,)
    entry_mm_s: Floats  # (N,)
    peak_mm_s: Floats  # (N,)
    exit_mm_s: Floats  # (N,)
    acceleration_mm_s2: Floats  # (N,)
    total_s: float
    cut_s: float
    plunge_s: float
    rapid_s: float
    dwell_s: float
    stop_s: float
    stops: int
    pauses: int

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, np.ndarray):
                value.setflags(write=False)

    def at(self, seconds: float) -> tuple[int, float]:
        """Return the move running at a time and the share of its length already run.

        During a dwell it is the move before, complete; before the first move ``(0, 0.0)``.  A program
        without moves gives ``(-1, 0.0)``.
        """
        index = int(np.searchsorted(self.start_s, seconds, side="right")) - 1
        if index < 0:
            return (0, 0.0) if len(self.start_s) else (-1, 0.0)
        return index, self._share(index, seconds - float(self.start_s[index]))

    def _share(self, index: int, seconds: float) -> float:
        """Share of the length of a move that is run after some seconds."""
        whole = float(self.move_s[index])
        if seconds >= whole:
            return 1.0
        entry, peak, exit_ = (float(v[index]) for v in (self.entry_mm_s, self.peak_mm_s, self.exit_mm_s))
        rate = float(self.acceleration_mm_s2[index])
        up, down = (peak - entry) / rate, (peak - exit_) / rate
        if up + down > whole:  # an arc whose chords speed up and slow down again: an even pace is near enough
            return seconds / whole

        def run(t: float) -> float:
            rise, fall = min(t, up), max(t - (whole - down), 0.0)
            return peak * t - rate * (up * rise - rise * rise / 2.0) - rate * fall * fall / 2.0

        return run(seconds) / run(whole)


def run(moves: Moves, machine: Machine, *, stop_delay_s: float = 0.0) -> Times:
    """Time every move of a program.

    Feeds are limited by the machine's largest cutting feed and by its rapid rate, per axis.
    ``stop_delay_s`` is what a controller adds at every stop (its step idle delay; Grbl's default is 25 ms,
    off here).  Moves in machine coordinates (G53) run between the end points given, probing moves all their way.
    """
    extra, rests, pauses = _waits(moves, machine.dialect == "grbl-1.1")
    length, move_s, entry, peak, exit_, acceleration = _plan(moves, machine, rests)

    moving = np.flatnonzero(length > 0.0)
    before = np.searchsorted(moving, np.append(rests, len(moves)), side="left")
    # A stop needs motion since the one before; the end of the program is one too.
    halts = np.diff(before, prepend=0) > 0
    delay = np.zeros(len(moves) + 1)
    np.add.at(delay, np.append(rests, len(moves))[halts], stop_delay_s)

    waits = extra + delay
    start = np.cumsum(waits[:-1]) + np.cumsum(move_s) - move_s
    rapid = moves.motion == Motion.RAPID
    upright = (moves.end("XY") == moves.start("XY")).all(axis=1) & (moves.sweep_rad == 0.0)
    plunge = ~rapid & upright & (moves.end("Z") < moves.start("Z"))
    rapid_s, plunge_s = math.fsum(move_s[rapid]), math.fsum(move_s[plunge])
    cut_s = math.fsum(move_s[~rapid & ~plunge])
    dwell_s, stop_s = math.fsum(extra), math.fsum(delay)
    return Times(
        move_s=move_s,
        start_s=start,
        entry_mm_s=entry,
        peak_mm_s=peak,
        exit_mm_s=exit_,
        acceleration_mm_s2=acceleration,
        total_s=cut_s + plunge_s + rapid_s + dwell_s + stop_s,
        cut_s=cut_s,
        plunge_s=plunge_s,
        rapid_s=rapid_s,
        dwell_s=dwell_s,
        stop_s=stop_s,
        stops=int(np.count_nonzero(halts)),
        pauses=pauses,
    )


def dwell_s(programmed_s: float, stepped: bool) -> float:
    """How long a dwell takes: as programmed, or rounded up to whole steps of 50 ms (Grbl v1.1)."""
    if not stepped:
        return programmed_s
    # A dwell of 0.15 s is three steps although 0.15 / 0.05 is a hair above 3 in binary.
    return math.ceil(programmed_s / DWELL_STEP_S - 1e-9) * DWELL_STEP_S


def _waits(moves: Moves, stepped: bool) -> tuple[Floats, Ints, int]:
    """Return dwell seconds before each move and after the last (N + 1,), moves that start from rest, pauses."""
    extra = np.zeros(len(moves) + 1)
    rests: set[int] = set()
    pauses = 0
    state: dict[str, object] = {"spindle": "spindle-stop", "coolant": frozenset[str](), "speed": 0.0}
    for event in moves.events:
        if event.kind == "dwell":
            extra[event.before] += dwell_s(event.value, stepped)
        pauses += event.kind in {"pause", "tool-change"}
        if _drains(event, state):
            rests.add(event.before)
    return extra, np.array(sorted(rests), dtype=np.int64), pauses


def _drains(event: Event, state: dict[str, object]) -> bool:
    """Return whether the machine comes to rest for an event; keeps the spindle's and the coolant's state."""
    kind = event.kind
    if kind in {"spindle-cw", "spindle-ccw", "spindle-stop"}:
        changed = state["spindle"] != kind
        state["spindle"] = kind
        return changed
    if kind == "speed":
        changed = state["speed"] != event.value and state["spindle"] != "spindle-stop"
        state["speed"] = event.value
        return changed
    if kind in {"mist", "flood", "coolant-off"}:
        coolant = state["coolant"]
        assert isinstance(coolant, frozenset)
        state["coolant"] = frozenset() if kind == "coolant-off" else coolant | {kind}
        return state["coolant"] != coolant
    return kind in {"dwell", "pause", "end", "system", "origin", "shift", "shift-off", "tool-change"}


def _three(record: Axes | AxesRate | AxesAcceleration) -> Floats:
    """Return the three values of a record per axis, in the order X, Y, Z."""
    return np.array([float(getattr(record, name)) for name in type(record).model_fields])


@dataclass(frozen=True, slots=True)
class _Limits:
    rapid_mm_s: Floats
    feed_mm_s: Floats
    acceleration_mm_s2: Floats
    deviation_mm: float


@dataclass(frozen=True, slots=True)
class _Chunk:
    """Blocks of some consecutive moves, ready for the look-ahead."""

    length: Floats
    nominal: Floats
    acceleration: Floats
    cap2: Floats
    gain: Floats


def _plan(
    moves: Moves, machine: Machine, rests: Ints
) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
    """Return length, seconds, entry, peak and exit speed and acceleration of every move, each (N,)."""
    rapid = _three(machine.rapid) / 60.0
    limits = _Limits(
        rapid,
        np.minimum(rapid, _three(machine.feed_max) / 60.0),
        _three(machine.acceleration),
        machine.junction_deviation_mm,
    )
    length = np.sqrt(((moves.end_mm - moves.start_mm) ** 2).sum(axis=1))
    length += moves.radius_mm  # only to tell a full circle from no motion
    moving = np.flatnonzero(length > 0.0)
    count = planned_chords(moves, machine.arc_tolerance_mm)[moving]
    resting = np.zeros(len(moves) + 1, dtype=bool)
    resting[rests] = True
    # A stop before a move that goes nowhere is a stop before the next one that does.
    rest = np.zeros(len(moving) + 1, dtype=bool)
    rest[np.searchsorted(moving, np.flatnonzero(resting), side="left")] = True

    columns = [np.zeros(len(moves)) for _ in range(5)]
    seconds, entry, peak, exit_, rate = columns
    bounds = _bounds(count)
    chunks = [(bounds[i], bounds[i + 1]) for i in range(len(bounds) - 1)]
    speed2 = 0.0
    for low, high in chunks:
        chunk = _chunk(moves, moving, count, rest, limits, low, high)
        end2 = _ahead(moves, moving, count, rest, limits, high)
        ends2 = forward(backward(chunk.cap2, chunk.gain, end2), chunk.gain, speed2)
        speed2 = float(ends2[-1])
        ends = np.sqrt(ends2)
        times, peaks = block_times(chunk.length, ends[:-1], ends[1:], chunk.nominal, chunk.acceleration)
        mine = moving[low:high]
        first = np.cumsum(count[low:high]) - count[low:high]
        last = first + count[low:high]
        seconds[mine] = np.add.reduceat(times, first)
        peak[mine] = np.maximum.reduceat(peaks, first)
        rate[mine] = np.minimum.reduceat(chunk.acceleration, first)
        entry[mine] = ends[first]
        exit_[mine] = ends[last]
    return length, seconds, entry, peak, exit_, np.where(rate > 0.0, rate, 1.0)


def _bounds(count: Ints) -> list[int]:
    """Yield where to part the moves into about ``CHUNK_BLOCKS`` blocks each, from 0 to the number of moves."""

    def cuts() -> Iterator[int]:
        total = np.cumsum(count)
        low = 0
        while low < len(count):
            yield low
            done = total[low - 1] if low else 0
            low = max(int(np.searchsorted(total, done + CHUNK_BLOCKS, side="right")), low + 1)

    return [*cuts(), len(count)] if len(count) else [0]


def _ahead(
    moves: Moves,
    moving: Ints,
    count: Ints,
    rest: npt.NDArray[np.bool_],
    limits: _Limits,
    low: int,
) -> float:
    """Return the squared speed at which move ``low`` may be entered so that everything after it can still be braked.

    It looks on only as far as matters: to where a full stop and no limit at all give the same answer.
    """
    reach = AHEAD_MOVES
    while low < len(moving):
        high = min(low + reach, len(moving))
        chunk = _chunk(moves, moving, count, rest, limits, low, high)
        stopping = backward(chunk.cap2, chunk.gain, 0.0)[0]
        if high == len(moving) or backward(chunk.cap2, chunk.gain, math.inf)[0] == stopping:
            return stopping
        reach *= 8
    return 0.0


def _chunk(
    moves: Moves,
    moving: Ints,
    count: Ints,
    rest: npt.NDArray[np.bool_],
    limits: _Limits,
    low: int,
    high: int,
) -> _Chunk:
    """Return blocks of the moving moves ``low`` to ``high``, and the corner the first makes with the move before."""
    lead = low - 1 if low else low
    index, pieces = moving[lead:high], count[lead:high]
    owner, tail, head = split(moves, index, pieces)
    delta = head - tail
    length = np.sqrt((delta**2).sum(axis=1))
    # Rounding may leave a chord without length; it then has no direction and sets no limit.
    unit = delta / np.where(length > 0.0, length, 1.0)[:, None]
    fast = moves.motion[owner] == Motion.RAPID
    floor = FLOOR_MM_MIN / 60.0
    rate = along(np.where(fast[:, None], limits.rapid_mm_s, limits.feed_mm_s), unit)
    rate = np.where(length > 0.0, rate, floor)
    wanted = np.fmax(moves.feed_mm_min[owner] / 60.0, floor)
    nominal = np.maximum(np.where(fast, rate, np.minimum(wanted, rate)), floor)
    acceleration = np.where(length > 0.0, along(limits.acceleration_mm_s2, unit), 1.0)
    corner = corner_speeds(unit, limits.acceleration_mm_s2, limits.deviation_mm)
    first = np.cumsum(pieces) - pieces
    corner[first[rest[lead:high]]] = 0.0
    cap = entry_caps(nominal, corner)
    gain = 2.0 * acceleration * length
    mine = slice(int(pieces[0]) if lead < low else 0, None)
    return _Chunk(length[mine], nominal[mine], acceleration[mine], (cap**2)[mine], gain[mine])
