"""Where the bit is: the moves as paths, in work coordinates and on the piece, how low each comes, and what cannot be known.

How the piece lies on the machine is taken from the job, the way back from the program's axes; arcs are worked out from centre
and sweep as the reader believes them.  The writer has its own notions of both, which this room never sees: a mistake in one of
them is found.

Glossary
low, high   the corners of the box round a move's path: of arcs too, which may dip or bulge beyond their ends
in wood     some part of the move is below the piece's top
lost        of an axis: the text has not said where it is, since it gave it no place yet, or since a machine move (G53, G28,
            G30) or a probe left it where only the machine knows
blind       a move at whose end some axis is lost
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely

from vcarve.dryrun.target import Aim
from vcarve.dryrun.top import FOLLOW_MM, Top, top_of
from vcarve.errors import Finding, listed
from vcarve.job.bench import Axes, AxesAcceleration, AxesRate, Machine
from vcarve.job.records import Job
from vcarve.plane.arcs import Point, curves, evenly, left
from vcarve.plane.arrays import Bools, Floats, Ints, ReadOnly
from vcarve.program.grammar import PLANES
from vcarve.program.moves import Motion, Moves, Plane
from vcarve.quantity import Figures

# A top that is not flat is looked at every so often along a move, at most so many times.
LOOK_MM, MOST_LOOKS = 2.0, 1000
SAG_MM = 1e-3  # how near chords follow an arc where its path is compared with something


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """How the piece is set up: where on it X and Y are zero, how high its top is there, and how far it is turned.

    Of a ``top`` that is not flat, heights on the piece are told from where it is nearest: places in the wood are below 0.
    """

    zero_mm: tuple[float, float] = (0.0, 0.0)
    top_mm: float = 0.0
    turn_deg: float = 0.0  # counter-clockwise from above
    top: Top | None = None

    @property
    def highest_mm(self) -> float:
        """How high the highest place of the top is, in work coordinates."""
        return self.top_mm + (0.0 if self.top is None else self.top.highest_mm)

    def on_top(self, work_mm: Floats) -> Floats:
        """Return places (..., 3) in piece coordinates: origin at the piece's centre, Z 0 at its top, wherever that is."""
        place = self.on_piece(work_mm)
        if self.top is not None:
            place[..., 2] -= self.top.rise_mm(np.asarray(work_mm)[..., :2])
        return place

    def on_piece(self, work_mm: Floats) -> Floats:
        """Return places (..., 3) in piece coordinates: origin at the piece's centre, Z 0 as high as its top is at the zero."""
        place = np.array(work_mm, dtype=float)
        if self.turn_deg:
            self._turn(place, -self.turn_deg)
        return np.asarray(place + np.array([*self.zero_mm, -self.top_mm]))

    def in_work(self, piece_mm: Floats) -> Floats:
        """Return places (..., 2) of the piece as they lie under the machine, X and Y in work coordinates."""
        place = np.asarray(piece_mm, dtype=float) - self.zero_mm
        self._turn(place, self.turn_deg)
        return place

    @staticmethod
    def _turn(place: Floats, turn_deg: float) -> None:
        seen = (place[..., 0] + 1j * place[..., 1]) * np.exp(1j * np.radians(turn_deg))
        place[..., 0], place[..., 1] = seen.real, seen.imag


UNKNOWN = Setup()  # without a job: the top is taken to be at Z0


def setup_of(job: Job | None) -> Setup:
    """Return how the job's zero says that the piece is set up."""
    if job is None:
        return UNKNOWN
    side_x = {"left": -0.5, "right": 0.5}.get(job.zero.xy.rpartition("-")[2], 0.0)
    side_y = {"front": -0.5, "back": 0.5}.get(job.zero.xy.partition("-")[0], 0.0)
    return Setup(
        zero_mm=(side_x * job.piece.width_mm, side_y * job.piece.height_mm),
        top_mm=job.piece.thickness_mm if job.zero.z == "bed" else 0.0,
        turn_deg=job.zero.turn_deg,
        top=None if job.surface is None else top_of(job.surface),
    )


def waiting_mm(machine: Machine, job: Job | None) -> tuple[float, float, float]:
    """Return where the bit is taken to wait before the program, in work coordinates: above the zero, at the safe height."""
    return 0.0, 0.0, setup_of(job).top_mm + machine.safe_height_mm


def per_axis(record: Axes | AxesRate | AxesAcceleration) -> Floats:
    """Return a machine's values for X, Y and Z."""
    return np.array([getattr(record, name) for name in type(record).model_fields], dtype=float)


def axes_of(moves: Moves, which: Ints) -> Ints:
    """Return the columns (n, 3) of each move's plane, the first turned to the second counter-clockwise, and of its normal."""
    columns = np.array([moves.columns("".join(PLANES[int(plane)])) for plane in Plane])
    return np.asarray(columns[moves.plane[which] - int(Plane.XY)])


def planned_chords(moves: Moves, tolerance_mm: float) -> Ints:
    """Return how many straight blocks a controller plans each move in, shape (N,): one for each line, many for each arc.

    Arcs follow Grbl v1.1: ``floor(|angle r / 2| / sqrt(tol (2 r - tol)))`` chords of equal angle with their corners on the
    circle, at least one, also if the tolerance is too wide.
    """
    radius = moves.radius_mm
    room = tolerance_mm * (2.0 * radius - tolerance_mm)
    good = room > 0.0
    half = np.abs(0.5 * moves.sweep_rad * radius)
    count = np.divide(half, np.sqrt(np.where(good, room, 1.0)), out=np.zeros(len(room)), where=good)
    return np.maximum(np.floor(count), 1.0).astype(np.int64)


def chords_within(moves: Moves, which: Ints, sag_mm: float) -> Ints:
    """Return in how many chords (n,) moves stay within this distance of their paths; lines in one."""
    radius = np.maximum(moves.radius_mm[which], sag_mm)
    step = 2.0 * np.arccos(1.0 - sag_mm / radius)
    return np.maximum(np.ceil(np.abs(moves.sweep_rad[which]) / step), 1.0).astype(np.int64)


def on_way(moves: Moves, which: Ints, share: Floats, start: Floats) -> Floats:
    """Return the places (n, 3) of moves (n,) from their starts (n, 3) on at shares (n,) of their sweep or length."""
    place = start + share[:, None] * (moves.end_mm[which] - start)
    bent = np.flatnonzero((moves.sweep_rad[which] != 0.0) & (share > 0.0))
    axes, centre = axes_of(moves, which[bent])[:, :2], moves.centre_mm[which[bent]]
    arm, turn = np.take_along_axis(start[bent] - centre, axes, 1), moves.sweep_rad[which[bent]] * share[bent]
    spot = (
        np.take_along_axis(centre, axes, 1) + arm * np.cos(turn)[:, None] + left(arm) * np.sin(turn)[:, None]
    )
    place[bent[:, None], axes] = spot
    return place


def split(moves: Moves, which: Ints, count: Ints, start: Floats | None = None) -> tuple[Ints, Floats, Floats]:
    """Cut moves (n,) into ``count`` (n,) even pieces: the move of each (B,), starts (B, 3) and ends (B, 3).

    Pieces of an arc are chords of equal angle, along which the third axis moves evenly; the last piece ends on the programmed
    point.  ``start`` (n, 3) is where they start if it is not as the moves say.
    """
    start = moves.start_mm[which] if start is None else start
    if count.max(initial=1) == 1:
        return which, start, moves.end_mm[which]
    row, share = evenly(count)
    tail = on_way(moves, which[row], share, start[row])
    head = np.roll(tail, -1, axis=0)
    head[np.cumsum(count) - 1] = moves.end_mm[which]
    return which[row], tail, head


def laid(moves: Moves, which: Ints, count: Ints, setup: Setup) -> tuple[Ints, Floats, Floats]:
    """Cut moves (n,) into ``count`` (n,) even pieces of less than a turn, seen from above on the piece.

    Returns the move of each (B,), lines and arcs as curves (B, 5), see ``plane.arcs``, and their heights at both ends (B, 2).
    The bulge is that of arcs in the XY plane.
    """
    owner, tail, head = split(moves, which, count, moves.known_start_mm[which])
    a, b = setup.on_top(tail), setup.on_top(head)
    bulge = np.tan(np.repeat(moves.sweep_rad[which] / count, count) / 4.0)
    return owner, curves(a[:, :2], b[:, :2], bulge), np.column_stack([a[:, 2], b[:, 2]])


def over(moves: Moves, setup: Setup) -> Ints:
    """Return in how many even parts (N,) moves are looked at over a top that is not flat: in one where they keep to it."""
    count = np.ones(len(moves), np.int64)
    if setup.top is None or not len(moves):
        return count
    looks = np.clip(np.ceil(moves.length_mm / LOOK_MM), 1.0, MOST_LOOKS).astype(np.int64)
    owner, tail, head = split(moves, np.arange(len(moves)), looks, moves.known_start_mm)
    first = np.cumsum(looks) - looks
    begin, rise = setup.top.rise_mm(tail[:, :2]), setup.top.rise_mm(head[:, :2])
    share = (np.arange(len(owner)) - first[owner] + 1.0) / looks[owner]
    low, high = begin[first][owner], rise[first + looks - 1][owner]
    off = np.maximum.reduceat(np.abs(rise - low - share * (high - low)), first)
    return np.where(off > FOLLOW_MM, looks, count)


def room(moves: Moves, start: Floats, end: Floats, setup: Setup = UNKNOWN) -> tuple[Floats, Floats]:
    """Return the lower and upper corners (N, 3) of boxes round all moves between their ends (N, 3), arcs with what they bow out.

    The ends are on the piece as it is set up or, without a setup, in work coordinates.
    """
    low, high = np.minimum(start, end), np.maximum(start, end)
    bent = np.flatnonzero(moves.sweep_rad)
    begin, sweep = moves.start_mm[bent], np.abs(moves.sweep_rad[bent])[:, None]
    round_ = np.zeros(begin.shape, dtype=np.bool_)  # which axes an arc turns along
    np.put_along_axis(round_, axes_of(moves, bent)[:, :2], True, 1)
    # Along each axis of the piece the path is ``middle + a cos t + b sin t + c t``: farthest where its derivative vanishes, in
    # the first or in the last of its turns.
    quarter = on_way(moves, bent, 0.5 * np.pi / sweep[:, 0], begin)
    arms = (np.where(round_, place - moves.centre_mm[bent], 0.0) for place in (begin, quarter))
    drift = np.where(round_, 0.0, moves.end_mm[bent] - begin) / sweep
    a, b, c = setup.on_piece(np.stack([*arms, drift])) - setup.on_piece(np.zeros(3))
    middle = setup.on_piece(begin) - a
    lean = np.arcsin(np.clip(c / np.maximum(np.hypot(a, b), 1e-9), -1.0, 1.0))
    for angle in (np.arctan2(b, a) + lean, np.arctan2(b, a) + np.pi - lean):
        turn = np.minimum(np.mod(angle, 2.0 * np.pi), sweep)
        first = middle + a * np.cos(turn) + b * np.sin(turn) + c * turn
        last = first + c * (sweep - turn - np.mod(sweep - turn, 2.0 * np.pi))
        low[bent] = np.minimum(low[bent], np.minimum(first, last))
        high[bent] = np.maximum(high[bent], np.maximum(first, last))
    return low, high


def passes_of(moves: Moves, setup: Setup) -> Ints:
    """Return which pass each move belongs to, shape (N,), counted from 0; -1 for moves in the air.

    A pass is a run of moves below the surface: it begins with the move that goes down into the wood and ends with the one
    that lifts out of it; the bit may rise to the surface on the way, at the point of a line that tapers.  Moves in machine
    coordinates and probing moves are in the air, and so is the way to a height that the text names first: where the tool
    stands before, it does not say.
    """
    start, end = (setup.on_top(places)[:, 2] for places in (moves.start_mm, moves.end_mm))
    start[moves.is_found("Z")] = np.inf
    start[:1] = np.inf
    # Rounding does not bring every point of a line that tapers up to a top that is not flat.
    touch = 1e-6 if setup.top is None else FOLLOW_MM
    with np.errstate(invalid="ignore"):
        below = (np.fmin(start, end) < -1e-6) & moves.told
        fresh = ~(start < touch)
    before = np.roll(below, 1)
    before[:1] = False
    return np.where(below, np.cumsum(below & (~before | fresh)) - 1, -1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Track(ReadOnly):
    """The moves seen from the piece; N moves, read-only.

    ``start_mm``, ``end_mm``, ``low_mm``, ``high_mm`` (N, 3) are in piece coordinates, Z 0 at the top.  ``slack_mm`` is how far
    below the top still counts as on it: half the last decimal the machine's programs are written with.
    """

    moves: Moves
    machine: Machine
    target: Aim | None
    start_mm: Floats
    end_mm: Floats
    low_mm: Floats
    high_mm: Floats
    feed: Bools
    across: Bools  # moves sideways
    down: Bools  # ends lower than it starts, as far as is known
    upright: Bools  # arcs of the XZ and YZ planes
    blind: Bools
    in_wood: Bools
    slack_mm: float
    parts: Ints  # (N,) in how many even parts a move is looked at, where the top beneath it is not flat
    setup: Setup
    figures: Figures  # how lengths and feeds are written in sentences

    @property
    def bears_mm(self) -> float:
        """By how much a depth may be off besides: a top that is not flat is followed no nearer."""
        return 0.0 if self.setup.top is None else FOLLOW_MM

    @property
    def tolerance_mm(self) -> float:
        """How far a place in the text may be from the true one."""
        # It is rounded on both axes; parts of a line or arc twice: the ends of the whole, and their own.
        rounding, mill = 0.75 * self.machine.last_decimal_mm, self.machine
        sag = 0.0 if mill.arcs else 1.1 * mill.arc_tolerance_mm
        return 1e-6 + rounding * (1.0 if mill.arcs and self.setup.top is None else 2.0) + sag

    def at(self, move: int, depth_mm: float = 0.0) -> Point:
        """Return where on the piece a move first is deeper than this; its start where it is so from there on, or never.

        Where the start is lost there is only the end to tell.
        """
        points = path(self, move)[-1 if self.moves.lost[move].any() else 0 :]
        deeper = points[:, 2] + depth_mm + self.slack_mm < 0.0
        first = int(np.argmax(deeper))
        spot = points[first]
        if first:
            before = points[first - 1]
            share = np.clip((-depth_mm - before[2]) / (spot[2] - before[2]), 0.0, 1.0)
            spot = before + share * (spot - before)
        return float(spot[0]), float(spot[1])

    def line(self, move: int) -> int:
        """Return the program's line of a move."""
        return int(self.moves.line[move])

    def tell(
        self,
        code: str,
        rows: Bools | Ints,
        sentence: str | Callable[[int], str],
        *,
        at: Callable[[int], Point] | None = None,
        mild: bool | Bools = False,
        of: Ints | None = None,
    ) -> list[Finding]:
        """Return a finding of each of these moves, in one sentence or in one for each, with its line and where ``at`` says.

        Where the rows are not moves themselves, ``of`` says which move each belongs to.
        """

        def make(row: int) -> Finding:
            said = sentence if isinstance(sentence, str) else sentence(row)
            line = self.line(row if of is None else int(of[row]))
            mildly = bool(mild if isinstance(mild, bool) else mild[row])
            return Finding(code, said, line=line, at_mm=None if at is None else at(row), mild=mildly)

        return listed((np.flatnonzero(rows) if rows.dtype == bool else rows).tolist(), make)

    def rests_in_wood(self, before: int) -> bool:
        """Tell whether the bit stands in the wood, or on it, just before a move (or at the end)."""
        if before == 0 or self.moves.lost[before, self.moves.axes.index("Z")]:
            return False
        at = self.start_mm[before] if before < len(self.moves) else self.end_mm[before - 1]
        return bool(at[2] <= self.slack_mm)


def track(moves: Moves, machine: Machine, target: Aim | None = None) -> Track:
    """Lay moves on the piece as it is set up; without a target its top is taken to be at Z0."""
    job = None if target is None else target.job
    setup = setup_of(job)
    start, end = setup.on_piece(moves.known_start_mm), setup.on_piece(moves.end_mm)
    low, high = room(moves, start, end, setup)
    parts, upright = over(moves, setup), (moves.sweep_rad != 0.0) & (moves.plane != int(Plane.XY))
    if setup.top is not None and len(moves):
        start, end = setup.on_top(moves.known_start_mm), setup.on_top(moves.end_mm)
        height, first = laid(moves, np.arange(len(moves)), parts, setup)[2], np.cumsum(parts) - parts
        # What an upright arc dips to on its way is taken to lie over the highest place.
        dips = np.where(upright, low[:, 2] - setup.top.highest_mm, np.inf)
        low[:, 2] = np.minimum(np.minimum.reduceat(height.min(axis=1), first), dips)
        high[:, 2] = np.maximum.reduceat(height.max(axis=1), first)
    slack = 0.5 * machine.last_decimal_mm + 1e-6
    return Track(
        moves=moves,
        machine=machine,
        target=target,
        start_mm=start,
        end_mm=end,
        low_mm=low,
        high_mm=high,
        feed=moves.motion != int(Motion.RAPID),
        across=np.asarray(((high - low)[:, :2] > 1e-6).any(axis=1) | moves.is_found("XY")),
        down=(end[:, 2] < start[:, 2] - 1e-9) | moves.is_found("Z"),
        upright=upright,
        blind=np.asarray(moves.lost[1:].any(axis=1)),
        in_wood=(low[:, 2] < -slack) & moves.told & ~moves.is_lost("Z")[1:],
        slack_mm=slack,
        parts=parts,
        setup=setup,
        figures=(job or machine).figures,
    )


def path(seen: Track, move: int) -> Floats:
    """Return a move's path as points (n, 3) in piece coordinates whose chords are within ``SAG_MM`` of it."""
    which = np.array([move])
    start = seen.moves.known_start_mm[which]
    count = np.maximum(chords_within(seen.moves, which, SAG_MM), seen.parts[which])
    _, _, head = split(seen.moves, which, count, start)
    return seen.setup.on_top(np.vstack([start, head]))


def entry(seen: Track, move: int, zone: shapely.Geometry) -> Point:
    """Return where a move's path, seen from above, first comes into a zone; its end where it hardly does."""
    points = path(seen, move)[:, :2]
    spot = points[-1]
    for a, b in pairwise(points):
        length = float(np.hypot(*(b - a)))
        within = shapely.intersection(shapely.LineString([a, b]), zone) if length else shapely.Point(a)
        if not within.is_empty:
            spot = a + (b - a) * (shapely.distance(shapely.Point(a), within) / (length or 1.0))
            break
    return float(spot[0]), float(spot[1])
