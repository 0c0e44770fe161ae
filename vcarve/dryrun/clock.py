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
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from vcarve.dryrun.arcs import planned_chords, split
from vcarve.dryrun.kinematics import along, backward, block_times, corner_speeds, entry_caps, forward
from vcarve.dryrun.setup import per_axis
from vcarve.plane.arrays import Floats, Ints, ReadOnly
from vcarve.program.moves import Event, Motion, Moves

if TYPE_CHECKING:
    from vcarve.job.bench import Machine


FLOOR_MM_MIN = 1.0  # no move runs slower than this (Grbl v1.1)
DWELL_STEP_S = 0.05  # Grbl waits in steps of this length
AHEAD_MOVES = 256  # how far to look beyond such a part at first
CHUNK_BLOCKS = 500_000  # blocks planned at a time, so that memory stays bounded


@dataclass(frozen=True, slots=True, kw_only=True)
class Times(ReadOnly):
    """When every move runs; N moves.

    Move ``i`` runs from ``start_s[i]`` for ``move_s[i]`` seconds.  ``total_s`` is everything; ``cut_s``, ``plunge_s``
    (straight down at feed), ``rapid_s`` and ``dwell_s`` add up to it.  ``pauses`` counts the places where the program waits for
    a person.
    """

    move_s: Floats  # (N,)
    start_s: Floats  # (N,)
    total_s: float
    cut_s: float
    plunge_s: float
    rapid_s: float
    dwell_s: float
    pauses: int


def run(moves: Moves, machine: Machine) -> Times:
    """Time every move of a program.

    Feeds are limited by the machine's largest cutting feed and by its rapid rate, per axis.  Moves in machine coordinates (G53)
    run between the end points given, probing moves all their way.
    """
    waits, rests, pauses = _waits(moves, machine.dialect == "grbl-1.1")
    move_s = _Path.of(moves, machine, rests).seconds()
    rapid = moves.motion == Motion.RAPID
    upright = (moves.end("XY") == moves.start("XY")).all(axis=1) & (moves.sweep_rad == 0.0)
    plunge = ~rapid & upright & (moves.end("Z") < moves.start("Z"))
    rapid_s, plunge_s = math.fsum(move_s[rapid]), math.fsum(move_s[plunge])
    cut_s, waiting_s = math.fsum(move_s[~rapid & ~plunge]), math.fsum(waits)
    return Times(
        move_s=move_s,
        start_s=np.cumsum(waits[:-1]) + np.cumsum(move_s) - move_s,
        total_s=cut_s + plunge_s + rapid_s + waiting_s,
        cut_s=cut_s,
        plunge_s=plunge_s,
        rapid_s=rapid_s,
        dwell_s=waiting_s,
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


@dataclass(frozen=True, slots=True)
class _Chunk:
    """Blocks of some consecutive moves, ready for the look-ahead."""

    length: Floats
    nominal: Floats
    acceleration: Floats
    cap2: Floats
    gain: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class _Path:
    """The moves that go anywhere, and what holds them back: ``rest`` says which of them, or the end, begin from rest."""

    moves: Moves
    moving: Ints  # (n,) numbers of the moves
    count: Ints  # (n,) how many blocks each is
    rest: npt.NDArray[np.bool_]  # (n + 1,)
    rapid_mm_s: Floats
    feed_mm_s: Floats
    acceleration_mm_s2: Floats
    deviation_mm: float

    @classmethod
    def of(cls, moves: Moves, machine: Machine, rests: Ints) -> _Path:
        """Return the path of a program; before the moves ``rests`` (or the end) the machine comes to rest."""
        length = np.sqrt(((moves.end_mm - moves.start_mm) ** 2).sum(axis=1))
        moving = np.flatnonzero(length + moves.radius_mm > 0.0)  # a full circle goes somewhere too
        # A stop before a move that goes nowhere is a stop before the next one that does.
        rest = np.zeros(len(moving) + 1, dtype=bool)
        rest[np.searchsorted(moving, rests, side="left")] = True
        rapid = per_axis(machine.rapid) / 60.0
        return cls(
            moves=moves,
            moving=moving,
            count=planned_chords(moves, machine.arc_tolerance_mm)[moving],
            rest=rest,
            rapid_mm_s=rapid,
            feed_mm_s=np.minimum(rapid, per_axis(machine.feed_max) / 60.0),
            acceleration_mm_s2=per_axis(machine.acceleration),
            deviation_mm=machine.junction_deviation_mm,
        )

    def seconds(self) -> Floats:
        """Return how long each move of the program takes, shape (N,)."""
        seconds = np.zeros(len(self.moves))
        speed2 = 0.0
        total, low = np.cumsum(self.count), 0
        while low < len(self.moving):
            done = total[low - 1] if low else 0
            high = max(int(np.searchsorted(total, done + CHUNK_BLOCKS, side="right")), low + 1)
            chunk = self.chunk(low, high)
            ends2 = forward(backward(chunk.cap2, chunk.gain, self.ahead(high)), chunk.gain, speed2)
            speed2 = float(ends2[-1])
            ends = np.sqrt(ends2)
            times, _ = block_times(chunk.length, ends[:-1], ends[1:], chunk.nominal, chunk.acceleration)
            first = total[low:high] - self.count[low:high] - done
            seconds[self.moving[low:high]] = np.add.reduceat(times, first)
            low = high
        return seconds

    def ahead(self, low: int) -> float:
        """Return the squared speed at which move ``low`` may be entered so that everything after it can still be braked.

        It looks on only as far as matters: to where a full stop and no limit at all give the same answer.
        """
        reach = AHEAD_MOVES
        while low < len(self.moving):
            high = min(low + reach, len(self.moving))
            chunk = self.chunk(low, high)
            stopping = backward(chunk.cap2, chunk.gain, 0.0)[0]
            if high == len(self.moving) or backward(chunk.cap2, chunk.gain, math.inf)[0] == stopping:
                return stopping
            reach *= 8
        return 0.0

    def chunk(self, low: int, high: int) -> _Chunk:
        """Return the blocks of the moving moves ``low`` to ``high``, and the corner the first makes with the move before."""
        lead = low - 1 if low else low
        pieces = self.count[lead:high]
        owner, tail, head = split(self.moves, self.moving[lead:high], pieces)
        delta = head - tail
        length = np.sqrt((delta**2).sum(axis=1))
        # Rounding may leave a chord without length; it then has no direction and sets no limit.
        unit = delta / np.where(length > 0.0, length, 1.0)[:, None]
        fast = self.moves.motion[owner] == Motion.RAPID
        floor = FLOOR_MM_MIN / 60.0
        rate = along(np.where(fast[:, None], self.rapid_mm_s, self.feed_mm_s), unit)
        rate = np.where(length > 0.0, rate, floor)
        wanted = np.fmax(self.moves.feed_mm_min[owner] / 60.0, floor)
        nominal = np.maximum(np.where(fast, rate, np.minimum(wanted, rate)), floor)
        acceleration = np.where(length > 0.0, along(self.acceleration_mm_s2, unit), 1.0)
        corner = corner_speeds(unit, self.acceleration_mm_s2, self.deviation_mm)
        first = np.cumsum(pieces) - pieces
        corner[first[self.rest[lead:high]]] = 0.0
        cap = entry_caps(nominal, corner)
        gain = 2.0 * acceleration * length
        mine = slice(int(pieces[0]) if lead < low else 0, None)
        return _Chunk(length[mine], nominal[mine], acceleration[mine], (cap**2)[mine], gain[mine])
