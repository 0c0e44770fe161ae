"""Lines that go straight on at one depth as one run, and where the bit's own round shows at their ends.

Where lines of one depth meet from all sides, each one's flat end lies within the others.  The bit has to be set there only
where they leave half a turn or more open: at loose ends and round the outside of corners.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vcarve.network.model import Network
from vcarve.plane.arcs import TURN, beside, curves, directions, size
from vcarve.plane.arrays import Floats, Ints, ReadOnly, connected

SAME_MM = 1e-6  # depths that are one
STRAIGHT_MM = 5e-6  # how far corners of a run may lie off it: places are whole nanometres
ALIKE = 1e-4  # how far directions that may go straight on differ
OPEN_RAD = 0.02  # of what is open: by less than this off half a turn, flat ends would but touch


@dataclass(frozen=True, slots=True, kw_only=True)
class Runs(ReadOnly):
    """R runs of one depth, S slopes, P places where the bit's round shows.

    Depths are those at starts and ends.  A place's round lies between the turn ``first_rad`` and ``sweep_rad`` farther on.
    """

    level: tuple[Floats, ...]  # R times, an arc (5,) or the places (n, 2) that a straight run leads through
    level_mm: Floats  # (R,)
    slope: Floats  # (S, 5)
    slope_mm: Floats  # (2, S)
    at_mm: Floats  # (P, 2)
    deep_mm: Floats  # (P,)
    first_rad: Floats  # (P,)
    sweep_rad: Floats  # (P,)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ends(ReadOnly):
    """The ends of L lines of one depth, first where they start and then where they end, shape (2 L,)."""

    vertex: Ints
    depth_mm: Floats
    away: Floats  # (2 L, 2) which way the line leads from there
    other: Ints  # the line's other end
    on: Ints  # the end of the line that goes straight on, itself where none does


def runs_of(network: Network, depth_mm: Floats) -> Runs:
    """Return the runs of a network whose edges have these depths (2, E) at their tails and heads."""
    real = network.cut & (network.chord_mm > 0.0) & depth_mm.any(axis=0)
    level, slope = (np.flatnonzero(real & (even == (depth_mm[0] == depth_mm[1]))) for even in (True, False))
    deepest = np.zeros(len(network.x_nm))
    for vertex, deep in zip((network.tail, network.head), depth_mm, strict=True):
        np.maximum.at(deepest, vertex[real], deep[real])
    ends = _ends(network, level, depth_mm[0, level])
    run, stops = _outermost(ends)
    first, last = stops.T
    # Runs lead through every place on them, so that all that meet in one have it in common to the last digit.
    places = network.places(ends.vertex)
    along = ((places - places[first][run]) * (places[last] - places[first])[run]).sum(axis=1)
    order = np.lexsort((along, run))
    key = np.stack([run, ends.vertex])[:, order]
    order = order[(np.diff(key, axis=1, prepend=-1) != 0).any(axis=0)]
    parts = np.split(places[order], np.flatnonzero(np.diff(run[order])) + 1)
    arcs = network.curves(level[first % len(level)])
    whole = tuple(arc if arc[4] else part for arc, part in zip(arcs, parts, strict=True))
    # Slopes are round at their ends by themselves.
    sloping = np.concatenate([network.tail[slope], network.head[slope]])
    rounded = sloping[depth_mm[:, slope].ravel() >= deepest[sloping] - SAME_MM]
    lowest = (ends.depth_mm >= deepest[ends.vertex] - SAME_MM) & ~np.isin(ends.vertex, rounded)
    vertex, first_rad, sweep_rad = _open(ends, np.flatnonzero(lowest))
    return Runs(
        level=whole,
        level_mm=ends.depth_mm[first],
        slope=network.curves(slope),
        slope_mm=depth_mm[:, slope],
        at_mm=network.places(vertex),
        deep_mm=deepest[vertex],
        first_rad=first_rad,
        sweep_rad=sweep_rad,
    )


def _ends(network: Network, level: Ints, depth_mm: Floats) -> _Ends:
    from scipy.spatial import KDTree

    curve = network.curves(level)
    vertex = np.concatenate([network.tail[level], network.head[level]])
    depth, away = np.tile(depth_mm, 2), np.vstack([directions(curve, 0.0), -directions(curve, 1.0)])
    every = np.arange(2 * len(level))
    on: Ints = every.copy()
    straight = np.flatnonzero(np.tile(curve[:, 4] == 0.0, 2))
    if len(straight):
        # Ends of one vertex and one depth lie together, others farther apart than directions can be.
        place = np.column_stack([8.0 * vertex, 100.0 * depth, away])[straight]
        far, found = KDTree(place).query(place * (1.0, 1.0, -1.0, -1.0), distance_upper_bound=ALIKE)
        met = np.flatnonzero(np.isfinite(far))
        on[straight[met]] = straight[np.asarray(found)[met]]
        on = np.asarray(np.where(on[on] == every, on, every))
    ends = _Ends(vertex=vertex, depth_mm=depth, away=away, other=np.roll(every, len(level)), on=on)
    # Many bends too slight to be told one by one make a curve.
    run, stops = _outermost(ends)
    spots = network.places(vertex)
    chord = curves(spots[stops[:, 0]], spots[stops[:, 1]], np.zeros(len(stops)))[run]
    off = np.abs(beside(spots, chord)) > STRAIGHT_MM * size(chord[:, 2:4] - chord[:, :2])
    bent = np.isin(run, run[off & (on != every)])
    return replace(ends, on=np.where(bent, every, on))


def _outermost(ends: _Ends) -> tuple[Ints, Ints]:
    """Return the run that each end belongs to, and each run's two outermost ends (R, 2)."""
    every = np.arange(len(ends.on))
    run = connected(len(every), np.tile(every, 2), np.concatenate([ends.other, ends.on]))[1]
    stops = np.flatnonzero(ends.on == every)
    return run, stops[np.argsort(run[stops], kind="stable")].reshape(-1, 2)


def _open(ends: _Ends, mine: Ints) -> tuple[Ints, Floats, Floats]:
    """Return the vertices round which some ends leave half a turn or more open, and where: the first turn and how far on."""
    turn = np.arctan2(ends.away[mine, 1], ends.away[mine, 0])
    order = np.lexsort((turn, ends.vertex[mine]))
    mine, turn = mine[order], turn[order]
    _, begin, many = np.unique(ends.vertex[mine], return_index=True, return_counts=True)
    following = np.arange(1, len(mine) + 1)
    following[begin + many - 1] = begin
    gap = (turn[following] - turn) % TURN
    gap[np.repeat(many == 1, many)] = TURN
    beyond = gap - np.pi
    goes_on = (ends.on[mine] == mine[following]) & (ends.on[mine] != mine)
    shown = np.flatnonzero((beyond > -OPEN_RAD) & ~goes_on)
    shown = shown[np.unique(ends.vertex[mine[shown]], return_index=True)[1]]
    # Where walls all but go on, the bit's corners stand square to one of them.
    sweep = np.where(beyond[shown] < OPEN_RAD, np.pi, beyond[shown])
    return ends.vertex[mine[shown]], turn[shown] + np.pi / 2.0, sweep
