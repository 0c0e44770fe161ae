"""The clock: how long a program runs, from its moves and the machine alone.

Assumption: perfect streaming.  The controller always knows every move up to the next stop, so its
look-ahead is never cut short; a slow link or a short buffer can only make the real run longer.
Rules (Grbl v1.1 settings and planner): each axis has a rate and an acceleration; a direction may use as
much as its axes allow; a corner's speed follows from the junction deviation; dwells, spindle, coolant and
offset changes and program stops let the machine come to rest.  Waiting for a person at a pause is not
counted.  Within a block ``v1^2 = v0^2 + 2 a L`` (Open 3-D-printer motion documentation, kinematics).

Glossary
block     one straight piece of path; an arc is many blocks
nominal   the speed a block would run at if it were endless
corner    the junction of two blocks; its speed follows from a circle that misses it by the junction deviation
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from vcarve.dryrun.track import per_axis, planned_chords, split
from vcarve.job.bench import Machine
from vcarve.plane.arrays import Floats, Ints, ReadOnly
from vcarve.program.moves import Motion, Moves

STRAIGHT_ON = 0.999999  # cosine of the turn from which a corner counts as none
REVERSAL = -0.999999  # cosine of the turn from which a corner counts as turning back
FLOOR_MM_MIN = 1.0  # no move runs slower than this (Grbl v1.1)
DWELL_STEP_S = 0.05  # Grbl (v1.1) waits in whole steps of this length, rounded up
# The machine comes to rest for these.
RESTS = {"dwell", "pause", "end", "system", "origin", "shift", "shift-off", "tool-change"}
CHUNK_BLOCKS = 500_000  # blocks worked out at a time: what it takes is far more memory than what is kept


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
    move_s = _seconds(moves, machine, rests)
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


def _waits(moves: Moves, stepped: bool) -> tuple[Floats, Ints, int]:
    """Return dwell seconds before each move and after the last (N + 1,), moves that start from rest, pauses."""
    extra = np.zeros(len(moves) + 1)
    rests: set[int] = set()
    pauses, spindle, speed, coolant = 0, "spindle-stop", 0.0, frozenset[str]()
    before = after = (spindle, speed, coolant)
    for event in moves.events:
        kind = event.kind
        if kind == "dwell":
            # A dwell of 0.15 s is three steps although 0.15 / 0.05 is a hair above 3 in binary.
            steps = math.ceil(event.value / DWELL_STEP_S - 1e-9)
            extra[event.before] += steps * DWELL_STEP_S if stepped else event.value
        elif kind in ("spindle-cw", "spindle-ccw", "spindle-stop"):
            spindle = kind
        elif kind == "speed":
            speed = event.value
        elif kind in ("mist", "flood", "coolant-off"):
            coolant = frozenset() if kind == "coolant-off" else coolant | {kind}
        pauses += kind in ("pause", "tool-change")
        before, after = after, (spindle, 0.0 if spindle == "spindle-stop" else speed, coolant)
        if kind in RESTS or after != before:
            rests.add(event.before)
    return extra, np.array(sorted(rests), dtype=np.int64), pauses


class _Blocks(NamedTuple):
    """The blocks of some consecutive moves, ready for the look-ahead, and which of them is each move's first."""

    move: Ints
    first: Ints
    length: Floats
    nominal: Floats
    acceleration: Floats
    cap2: Floats
    gain: Floats


def _seconds(moves: Moves, machine: Machine, rests: Ints) -> Floats:
    """Return how long each move takes, shape (N,); before the moves ``rests`` (or the end) the machine comes to rest."""
    made = list(_blocks(moves, machine, rests))
    # From the end on: the squared speeds from which everything after can still be braked.
    enter2, leave2 = [], 0.0
    for part in reversed(made):
        enter2.append(np.array(swept(leave2, part.gain[::-1].tolist(), part.cap2[::-1].tolist())[::-1]))
        leave2 = enter2[-1][0]
    seconds, speed2 = np.zeros(len(moves)), 0.0
    for part, most2 in zip(made, reversed(enter2), strict=True):
        ends2 = swept(speed2, part.gain.tolist(), most2[1:].tolist())
        speed2, ends = ends2[-1], np.sqrt(ends2)
        times = block_seconds(part.length, ends[:-1], ends[1:], part.nominal, part.acceleration)
        seconds[part.move] = np.add.reduceat(times, part.first)
    return seconds


def _blocks(moves: Moves, machine: Machine, rests: Ints) -> Iterator[_Blocks]:
    """Yield the blocks of the moves that go somewhere, in order and in handy portions."""
    length = np.sqrt(((moves.end_mm - moves.start_mm) ** 2).sum(axis=1))
    moving = np.flatnonzero(length + moves.radius_mm > 0.0)  # a full circle goes somewhere too
    count = planned_chords(moves, machine.arc_tolerance_mm)[moving]
    # A stop before a move that goes nowhere is a stop before the next one that does.
    rest = np.zeros(len(moving) + 1, dtype=bool)
    rest[np.searchsorted(moving, rests, side="left")] = True
    rapid_mm_s, limits = per_axis(machine.rapid) / 60.0, per_axis(machine.acceleration)
    feed_mm_s, floor = np.minimum(rapid_mm_s, per_axis(machine.feed_max) / 60.0), FLOOR_MM_MIN / 60.0
    total = np.cumsum(count)
    cuts = np.searchsorted(total, np.arange(CHUNK_BLOCKS, total.max(initial=0), CHUNK_BLOCKS), side="right")
    way, speed = np.zeros((1, 3)), np.zeros(1)  # of the block before: at first there is none
    for mine in np.split(np.arange(len(moving)), cuts):
        if not len(mine):
            continue
        owner, tail, head = split(moves, moving[mine], count[mine])
        delta = head - tail
        length = np.sqrt((delta**2).sum(axis=1))
        # Rounding may leave a chord without length; it then has no direction and sets no limit.
        unit = delta / np.where(length > 0.0, length, 1.0)[:, None]
        fast = moves.motion[owner] == Motion.RAPID
        rate = along(np.where(fast[:, None], rapid_mm_s, feed_mm_s), unit)
        rate = np.where(length > 0.0, rate, floor)
        wanted = np.fmax(moves.feed_mm_min[owner] / 60.0, floor)
        nominal = np.maximum(np.where(fast, rate, np.minimum(wanted, rate)), floor)
        able = np.where(length > 0.0, along(limits, unit), 1.0)
        # A block is entered at the corner's speed, and at both blocks' nominal speeds, at most; the first from rest.
        way, speed = np.vstack([way[-1:], unit]), np.append(speed[-1:], nominal)
        corner = corner_speeds(way, limits, machine.junction_deviation_mm)[1:]
        cap, first = np.minimum(np.minimum(corner, nominal), speed[:-1]), np.cumsum(count[mine]) - count[mine]
        cap[first[rest[mine]]] = 0.0
        yield _Blocks(moving[mine], first, length, nominal, able, cap**2, 2.0 * able * length)


def along(limits: Floats, unit: Floats) -> Floats:
    """Return largest rate or acceleration along directions when every axis has a limit of its own.

    ``limits`` has shape (3,) or (n, 3), ``unit`` (n, 3) unit vectors; the result has shape (n,), infinite
    for a zero vector.  Rule: the least ``limit / |component|`` (Grbl v1.1 planner).
    """
    share = np.abs(unit)
    ratio = np.full(share.shape, np.inf)
    np.divide(limits, share, out=ratio, where=share > 0.0)
    # Three columns at a time are several times faster than the least of each row.
    least: Floats = np.minimum(np.minimum(ratio[:, 0], ratio[:, 1]), ratio[:, 2])
    return least


def corner_speeds(unit: Floats, acceleration: Floats, deviation_mm: float) -> Floats:
    """Return corner speed between each block and the one before, shape (n,); the first is infinite.

    ``unit`` (n, 3) are the blocks' directions, ``acceleration`` (3,) the axes' accelerations: the acceleration of a corner is
    the one the axes allow along the change of direction.  The circle that sets the speed misses the corner by the deviation;
    its radius is ``deviation s / (1 - s)``, where ``s`` is the sine of half the inside angle.
    """
    speed = np.full(len(unit), np.inf)
    turn = unit[1:] - unit[:-1]
    # 1 - |turn|²/2 is the cosine of the turn (1 straight on, -1 back), and stays accurate for tiny turns.
    squared = np.einsum("ij,ij->i", turn, turn)
    cosine = 1.0 - 0.5 * squared
    bent = (cosine <= STRAIGHT_ON) & (cosine >= REVERSAL)
    s = np.sqrt(0.5 * (1.0 + cosine[bent]))
    radius = deviation_mm * (s / (1.0 - s))
    inner = np.where(cosine > STRAIGHT_ON, np.inf, 0.0)
    inner[bent] = np.sqrt(along(acceleration, turn[bent] / np.sqrt(squared[bent])[:, None]) * radius)
    speed[1:] = inner
    return speed


def swept(first2: float, gain: Iterable[float], cap2: Iterable[float]) -> list[float]:
    """Return squared speeds at block after block: what each gains, ``2 a L``, from the one before, up to its cap."""
    speed2 = first2
    result = [first2]
    for more, cap in zip(gain, cap2, strict=True):
        speed2 += more
        if speed2 > cap:
            speed2 = cap
        result.append(speed2)
    return result


def block_seconds(
    length_mm: Floats, entry: Floats, exit_: Floats, nominal: Floats, acceleration: Floats
) -> Floats:
    """Return the seconds of blocks with given entry and exit speeds; arrays of shape (n,).

    Trapezoid if the nominal speed is reached, else triangle with ``vp = sqrt(a L + (v0² + v1²) / 2)``.
    The speeds must be feasible: ``|v1² - v0²| <= 2 a L`` and both at most nominal.
    """
    mean2 = 0.5 * (entry * entry + exit_ * exit_)
    peak = np.minimum(nominal, np.sqrt(acceleration * length_mm + mean2))
    peak = np.maximum(peak, np.maximum(entry, exit_))
    cruise = np.maximum(length_mm - (peak * peak - mean2) / acceleration, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return (2.0 * peak - entry - exit_) / acceleration + np.where(cruise > 0.0, cruise / peak, 0.0)
