"""What of a program's moves reaches into the wood, cut into short strokes.

Glossary
stroke    a short piece of path below the top of the piece: a line, level or sloping, or a level arc
level     at one depth all along
reach     half the width of the widest groove a stroke cuts

Places are piece coordinates: origin at the piece's centre, Y to the back, Z 0 at its top.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vcarve.dryrun.arcs import chords_within, split
from vcarve.dryrun.columns import Columns
from vcarve.dryrun.setup import Setup
from vcarve.dryrun.tip import Tip
from vcarve.plane.arcs import evenly
from vcarve.plane.arrays import Floats, Ints
from vcarve.program.moves import Moves, Plane

STROKE_MM = 5.0  # longer moves are parted, so that each stroke only meets a narrow band of the surface
HELIX_SAG_MM = 1e-4  # helices and upright arcs become chords that stay this near: far below any grid step
WIDEST_ARC_RAD = math.pi / 2.0  # level arcs are parted at least so often


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines(Columns):
    """Straight strokes: start, direction and length in XY, rise per mm; upright ones have length 0."""

    start_mm: Floats  # (n, 3)
    unit: Floats  # (n, 2)
    length_mm: Floats  # (n,)
    rise: Floats  # (n,)
    reach_mm: Floats  # (n,)

    def box(self) -> tuple[Floats, Floats]:
        """Return lowest and highest X and Y each stroke can touch, two arrays (n, 2)."""
        ends = self.start_mm[:, :2] + self.unit * self.length_mm[:, None]
        reach = self.reach_mm[:, None]
        return np.minimum(self.start_mm[:, :2], ends) - reach, np.maximum(self.start_mm[:, :2], ends) + reach


@dataclass(frozen=True, slots=True, kw_only=True)
class Arcs(Columns):
    """Level arcs: centre, radius, direction of the middle as a unit vector, half of the angle, and Z."""

    centre_mm: Floats  # (n, 2)
    radius_mm: Floats  # (n,)
    middle: Floats  # (n, 2)
    half_rad: Floats  # (n,)
    z_mm: Floats  # (n,)
    reach_mm: Floats  # (n,)

    def box(self) -> tuple[Floats, Floats]:
        """Return lowest and highest X and Y each stroke can touch, two arrays (n, 2)."""
        side = np.column_stack([-self.middle[:, 1], self.middle[:, 0]]) * np.sin(self.half_rad)[:, None]
        chord = self.middle * np.cos(self.half_rad)[:, None]
        # An arc lies within the tangents at its ends: their corner is at 1 / cos from the centre.
        corner = self.middle / np.cos(self.half_rad)[:, None]
        points = np.stack([chord - side, chord + side, corner]) * self.radius_mm[:, None]
        reach = self.reach_mm[:, None]
        return self.centre_mm + points.min(axis=0) - reach, self.centre_mm + points.max(axis=0) + reach


def strokes(moves: Moves, tip: Tip, setup: Setup) -> tuple[Lines, Arcs]:
    """Return every stroke of a program, rapids included: whatever moves below the top cuts.

    Moves in machine coordinates and others whose end is not known are left out; of those whose start is not known only the
    end cuts.
    """
    start = setup.on_piece(moves.known_start_mm)
    end = setup.on_piece(moves.end_mm)
    low = np.minimum(start[:, 2], end[:, 2])
    arc = moves.sweep_rad != 0.0
    flat = arc & (moves.plane == Plane.XY) & (start[:, 2] == end[:, 2])
    placed = moves.told & ~moves.lost[1:].any(axis=1)
    bent = np.flatnonzero(arc & ~flat & placed)
    # An upright arc may dip below both its ends, by no more than twice its radius.
    dip = np.where(moves.plane[bent] == Plane.XY, 0.0, 2.0 * moves.radius_mm[bent])
    bent = bent[low[bent] - dip < 0.0]
    wet = (low < 0.0) & placed

    tails, heads = [start[wet & ~arc]], [end[wet & ~arc]]
    if len(bent):
        _, tail, head = split(moves, bent, chords_within(moves, bent, HELIX_SAG_MM))
        tails.append(setup.on_piece(tail))
        heads.append(setup.on_piece(head))
    level = np.flatnonzero(flat & wet)
    return (
        _lines(np.concatenate(tails), np.concatenate(heads), tip),
        _arcs(start[level], setup.on_piece(moves.centre_mm[level])[:, :2], moves.sweep_rad[level], tip),
    )


def _lines(tail: Floats, head: Floats, tip: Tip) -> Lines:
    """Return straight strokes from end points, parted and without those above the top or cut as deep by another."""
    level = tail[:, 2] == head[:, 2]
    key = np.column_stack([tail[:, :2], head[:, :2]])
    back = (tail[:, 0] > head[:, 0]) | ((tail[:, 0] == head[:, 0]) & (tail[:, 1] > head[:, 1]))
    key[back] = key[back][:, [2, 3, 0, 1]]
    keep = ~level
    keep[np.flatnonzero(level)[_deepest(key[level], tail[level, 2])]] = True
    tail, head = tail[keep], head[keep]

    length = np.hypot(*(head - tail)[:, :2].T)
    upright = length == 0.0
    bottom = tail.copy()
    bottom[upright, 2] = np.minimum(tail[upright, 2], head[upright, 2])
    count = np.maximum(np.ceil(length / STROKE_MM), 1.0).astype(np.int64)
    row, share = evenly(count)
    whole = np.where(upright, 1.0, length)
    unit = (head - tail)[:, :2] / whole[:, None]
    unit[upright] = (1.0, 0.0)  # any direction: the bit stays where it is
    rise = np.where(upright, 0.0, (head - tail)[:, 2] / whole)
    begin = bottom[row]
    along = length[row] * share
    begin[:, :2] += unit[row] * along[:, None]
    begin[:, 2] += rise[row] * along
    part = (length / count)[row]
    lowest = begin[:, 2] + np.minimum(rise[row] * part, 0.0)
    made = Lines(
        start_mm=begin, unit=unit[row], length_mm=part, rise=rise[row], reach_mm=tip.reach_mm(-lowest)
    )
    return made.take(lowest < 0.0)


def _arcs(start: Floats, centre: Floats, sweep: Floats, tip: Tip) -> Arcs:
    """Return level arcs, parted and without those cut as deep by another."""
    arm = start[:, :2] - centre
    radius = np.hypot(arm[:, 0], arm[:, 1])
    first = np.arctan2(arm[:, 1], arm[:, 0])
    depth = start[:, 2]
    middle = (first + sweep / 2.0) % (2.0 * math.pi)
    key = np.column_stack([centre, radius, middle, np.abs(sweep)]).round(9)
    keep = _deepest(key, depth)
    centre, sweep, radius, first, depth = (v[keep] for v in (centre, sweep, radius, first, depth))
    pieces = np.maximum(np.abs(sweep) * radius / STROKE_MM, np.abs(sweep) / WIDEST_ARC_RAD)
    count = np.maximum(np.ceil(pieces), 1.0).astype(np.int64)
    row, share = evenly(count)
    angle = first[row] + sweep[row] * (share + 0.5 / count[row])
    return Arcs(
        centre_mm=centre[row],
        radius_mm=radius[row],
        middle=np.column_stack([np.cos(angle), np.sin(angle)]),
        half_rad=np.abs(sweep / count / 2.0)[row],
        z_mm=depth[row],
        reach_mm=tip.reach_mm(-depth)[row],
    )


def _deepest(key: Floats, z_mm: Floats) -> Ints:
    """Return rows that are the lowest of all rows with the same key; levels above and recuts change nothing."""
    if len(key) == 0:
        return np.zeros(0, dtype=np.int64)
    order = np.lexsort((z_mm, *key.T))
    new = np.ones(len(order), dtype=bool)
    new[1:] = (key[order[1:]] != key[order[:-1]]).any(axis=1)
    rows: Ints = np.sort(order[new])
    return rows
