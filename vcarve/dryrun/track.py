"""Where the bit is on the piece: the moves in piece coordinates, how low each comes, and what cannot be known.

Glossary
low, high   the corners of the box round a move's path: of arcs too, which may dip or bulge beyond their ends
in wood     some part of the move is below the piece's top
lost        of an axis: the text has not said where it is, since it gave it no place yet, or since a machine move (G53, G28,
            G30) or a probe left it where only the machine knows
blind       a move at whose end some axis is lost
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import shapely

from vcarve.dryrun.setup import UNKNOWN, Setup
from vcarve.job.bench import Machine
from vcarve.program.grammar import PLANES
from vcarve.program.moves import Motion, Moves, Plane
from vcarve.quantity import Figures

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

SAG_MM = 1e-3  # how near chords follow an arc where its path is compared with something


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """The moves seen from the piece; N moves, read-only.

    ``start_mm``, ``end_mm``, ``low_mm``, ``high_mm`` (N, 3) are in piece coordinates, Z 0 at the top.  ``slack_mm`` is how far
    below the top still counts as on it: half the last decimal the machine's programs are written with.
    """

    moves: Moves
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

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, np.ndarray):
                value.setflags(write=False)

    def at(self, move: int, depth_mm: float = 0.0) -> tuple[float, float]:
        """Where on the piece a move first is deeper than this; its start where it is so from there on, or never.

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
        """The program's line of a move."""
        return int(self.moves.line[move])

    def rests_in_wood(self, before: int) -> bool:
        """Tell whether the bit stands in the wood, or on it, just before a move (or at the end)."""
        if before == 0 or self.moves.is_lost("Z")[before]:
            return False
        at = self.start_mm[before] if before < len(self.moves) else self.end_mm[before - 1]
        return bool(at[2] <= self.slack_mm)


def last_decimal_mm(machine: Machine) -> float:
    """Return the size of the last decimal in a machine's programs."""
    return 10.0**-machine.decimals if machine.units == "mm" else 25.4 * 10.0 ** -max(machine.decimals, 4)


def track(moves: Moves, setup: Setup, machine: Machine, figures: Figures) -> Track:
    """Lay moves on the piece as it is set up."""
    start, end = setup.on_piece(moves.known_start_mm), setup.on_piece(moves.end_mm)
    low, high = np.minimum(start, end), np.maximum(start, end)
    bent = np.flatnonzero(moves.sweep_rad != 0.0)
    if len(bent):
        low[bent], high[bent] = _arc_boxes_on_piece(moves, bent, setup)
    slack = 0.5 * last_decimal_mm(machine) + 1e-6
    return Track(
        moves=moves,
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
        figures=figures,
    )


def _arc_boxes_on_piece(moves: Moves, which: Ints, setup: Setup) -> tuple[Floats, Floats]:
    """Return boxes round arcs in piece coordinates; that of an upright arc on a turned piece is one round its box."""
    upright = moves.plane[which] != int(Plane.XY)
    if not (setup.turn_deg and upright.any()):
        return arc_boxes(moves, which, setup)
    low, high = np.empty((len(which), 3)), np.empty((len(which), 3))
    low[~upright], high[~upright] = arc_boxes(moves, which[~upright], setup)
    front, back = arc_boxes(moves, which[upright])
    turned = (
        np.column_stack([back[:, 0], front[:, 1], front[:, 2]]),
        np.column_stack([front[:, 0], back[:, 1], back[:, 2]]),
    )
    corners = setup.on_piece(np.stack([front, back, *turned]))
    low[upright], high[upright] = corners.min(axis=0), corners.max(axis=0)
    return low, high


def arc_boxes(moves: Moves, which: Ints, setup: Setup = UNKNOWN) -> tuple[Floats, Floats]:
    """Return the lower and upper corners (n, 3) of boxes round arcs, on the piece or, without a setup, in work coordinates.

    Arcs may lie in any plane; on a turned piece only in that of X and Y.
    """
    start, end, middle = (
        setup.on_piece(place[which]) for place in (moves.start_mm, moves.end_mm, moves.centre_mm)
    )
    low, high = np.minimum(start, end), np.maximum(start, end)
    sweep = moves.sweep_rad[which]
    for plane, (u, v, _) in PLANES.items():
        mine = moves.plane[which] == plane
        if not mine.any():
            continue
        axes = moves.columns(u + v)
        centre = middle[:, axes]
        arm = start[:, axes] - centre
        radius = np.hypot(*arm.T)
        begin = np.arctan2(arm[:, 1], arm[:, 0])
        for quarter in range(4):
            angle = quarter * np.pi / 2.0
            ahead = np.where(sweep > 0, np.mod(angle - begin, 2 * np.pi), np.mod(begin - angle, 2 * np.pi))
            point = centre + radius[:, None] * np.array([np.cos(angle), np.sin(angle)])
            passed = (ahead <= np.abs(sweep)) & mine
            for k, axis in enumerate(axes):
                low[passed, axis] = np.minimum(low[passed, axis], point[passed, k])
                high[passed, axis] = np.maximum(high[passed, axis], point[passed, k])
    return low, high


def path(seen: Track, move: int) -> Floats:
    """Return a move's path as points (n, 3) in piece coordinates whose chords are within ``SAG_MM`` of it."""
    moves = seen.moves
    sweep = float(moves.sweep_rad[move])
    if sweep == 0.0:
        return np.array([seen.start_mm[move], seen.end_mm[move]])
    end = moves.end_mm[move]
    start = np.where(moves.lost[move] & ~moves.lost[move + 1], end, moves.start_mm[move])
    u, v, normal = moves.columns("".join(PLANES[int(moves.plane[move])]))
    centre = moves.centre_mm[move]
    arm = (start - centre)[[u, v]]
    radius = max(float(np.hypot(*arm)), 1e-9)
    most = 2.0 * np.arccos(max(1.0 - SAG_MM / radius, 0.0))
    share = np.linspace(0.0, 1.0, max(int(np.ceil(abs(sweep) / most)), 1) + 1)
    angle = np.arctan2(arm[1], arm[0]) + share * sweep
    points = np.empty((len(share), 3))
    points[:, u], points[:, v] = centre[u] + radius * np.cos(angle), centre[v] + radius * np.sin(angle)
    points[:, normal] = start[normal] + share * (end[normal] - start[normal])
    points[-1] = end
    return seen.setup.on_piece(points)


def entry(seen: Track, move: int, zone: shapely.Geometry) -> tuple[float, float]:
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
