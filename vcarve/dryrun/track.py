"""Where the bit is on the piece: the moves in piece coordinates, how low each comes, and what cannot be known.

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

from vcarve.dryrun.arcs import chords_within, room, split
from vcarve.dryrun.setup import Setup, setup_of
from vcarve.errors import Finding, listed
from vcarve.groove.model import Grooves
from vcarve.job.bench import Machine
from vcarve.job.records import Job
from vcarve.network.model import Network
from vcarve.plane.arcs import Point
from vcarve.plane.arrays import Bools, Floats, Ints, ReadOnly
from vcarve.program.moves import Motion, Moves, Plane
from vcarve.quantity import Figures

SAG_MM = 1e-3  # how near chords follow an arc where its path is compared with something


@dataclass(frozen=True, slots=True)
class Target:
    """What a program is judged by: its job, the lines there are to be, their grooves, and the piece's outline on it."""

    job: Job
    network: Network
    grooves: Grooves
    outline: shapely.Polygon


@dataclass(frozen=True, slots=True, kw_only=True)
class Track(ReadOnly):
    """The moves seen from the piece; N moves, read-only.

    ``start_mm``, ``end_mm``, ``low_mm``, ``high_mm`` (N, 3) are in piece coordinates, Z 0 at the top.  ``slack_mm`` is how far
    below the top still counts as on it: half the last decimal the machine's programs are written with.
    """

    moves: Moves
    machine: Machine
    target: Target | None
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
    setup: Setup
    figures: Figures  # how lengths and feeds are written in sentences

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
        if before == 0 or self.moves.is_lost("Z")[before]:
            return False
        at = self.start_mm[before] if before < len(self.moves) else self.end_mm[before - 1]
        return bool(at[2] <= self.slack_mm)


def track(moves: Moves, machine: Machine, target: Target | None = None) -> Track:
    """Lay moves on the piece as it is set up; without a target its top is taken to be at Z0."""
    job = None if target is None else target.job
    setup = setup_of(job)
    start, end = setup.on_piece(moves.known_start_mm), setup.on_piece(moves.end_mm)
    low, high = room(moves, start, end, setup)
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
        upright=(moves.sweep_rad != 0.0) & (moves.plane != int(Plane.XY)),
        blind=np.asarray(moves.lost[1:].any(axis=1)),
        in_wood=(low[:, 2] < -slack) & moves.told & ~moves.is_lost("Z")[1:],
        slack_mm=slack,
        setup=setup,
        figures=(job or machine).figures,
    )


def path(seen: Track, move: int) -> Floats:
    """Return a move's path as points (n, 3) in piece coordinates whose chords are within ``SAG_MM`` of it."""
    which = np.array([move])
    start = seen.moves.known_start_mm[which]
    _, _, head = split(seen.moves, which, chords_within(seen.moves, which, SAG_MM), start)
    return seen.setup.on_piece(np.vstack([start, head]))


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
