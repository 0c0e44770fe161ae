"""The walls of grooves as flat polygons, for pictures in which a V reads as a V.

Every half-edge of a cell's ring has a wall on the cell's side, from the line up to the surface.  Where two walls meet in
an inner corner they are mitred: the line between them is where both are equally deep, also if one groove is wider.
Round an outer corner or a loose end the bit leaves part of a cone, drawn as a fan.  Walls of grooves that are not
neighbours may still overlap where no land is left between them: good enough to look at, not to measure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.groove.model import Grooves
from vcarve.network.model import Floats, Ints, Network
from vcarve.plane.arcs import chords, cross, evenly, left, size

SAG_MM = 0.02
FAN_RAD = 0.4
SHARPEST_SIN = 0.05  # corners nearer than this to straight on or straight back are not mitred


@dataclass(frozen=True, slots=True, kw_only=True)
class Walls:
    """Polygons of walls.

    ``corner_mm`` (W, 6, 2) repeats corners where a wall has fewer; ``toward`` (W, 2) points from the groove's bottom to its
    rim, length 1; ``edge`` (W,) is the edge whose groove it is.
    """

    corner_mm: Floats
    toward: Floats
    edge: Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class _Chords:
    """Sides of all rings: starts (n, 2), the following start's index, the preceding side's index, width and edge."""

    at: Floats
    following: Ints
    preceding: Ints
    half: Floats
    edge: Ints


def _sides(network: Network, grooves: Grooves) -> _Chords:
    """Return the sides of all rings with their neighbours."""
    points, count = chords(network.walked(network.ring_half_edge), SAG_MM)
    edge = np.repeat(network.ring_half_edge >> 1, count)
    offset = np.concatenate([[0], np.cumsum(count)])[network.ring_start]
    index = np.arange(len(points))
    following, preceding = index + 1, index - 1
    filled = offset[1:] > offset[:-1]
    first, last = offset[:-1][filled], offset[1:][filled] - 1
    following[last], preceding[first] = first, last
    return _Chords(
        at=points, following=following, preceding=preceding, half=grooves.half_width_mm[edge], edge=edge
    )


def _corner(half: Floats, other: Floats, sin: Floats, cos: Floats, tan_half: Floats) -> tuple[Floats, Floats]:
    """Return where a wall begins at one end: along its line at the bottom and at the rim.

    ``half`` and ``other`` are the half-widths of this wall and of its neighbour, ``sin`` and ``cos`` those of the turn
    between them, positive for an inner corner.
    """
    # Where nothing is cut on the other side the groove has a round end instead.
    inner = (sin > SHARPEST_SIN) & (other > 0.0)
    safe = np.where(inner, sin, 1.0)
    equal = np.isclose(half, other)
    rim = np.where(equal, half * tan_half, (other - half * cos) / safe)
    bottom = np.where(other > half, (other - half) / safe, 0.0)
    return np.where(inner, bottom, 0.0), np.where(inner, rim, 0.0)


def walls(network: Network, grooves: Grooves) -> Walls:
    """Return the walls of every groove, on the side of every cell it bounds."""
    sides = _sides(network, grooves)
    a = sides.at
    along = a[sides.following] - a
    length = np.maximum(size(along), 1e-9)
    u = along / length[:, None]
    n = left(u)
    before = sides.preceding
    sin = cross(u[before], u)
    cos = (u[before] * u).sum(axis=1)
    # Straight back is the loose end of a line: all the way round it, not an inner corner of no angle.
    turn = np.where(cos < -1.0 + 1e-9, -np.pi, np.arctan2(sin, cos))
    tan_half = np.tan(np.clip(turn, -3.0, 3.0) / 2.0)
    half, other = sides.half, sides.half[before]
    a_bottom, a_rim = _corner(half, other, sin, cos, tan_half)
    after = sides.following
    b_bottom, b_rim = _corner(half, half[after], sin[after], cos[after], tan_half[after])
    # Where both mitres meet before the rim, the wall ends in that point.
    room = np.maximum(length - a_bottom - b_bottom, 0.0)
    lost = (a_rim - a_bottom) + (b_rim - b_bottom)
    share = np.where(lost > room, room / np.where(lost > room, lost, 1.0), 1.0)
    share = np.clip(share, 0.0, 1.0)
    at_a = np.minimum(a_bottom, length)
    at_b = np.maximum(length - b_bottom, 0.0)
    rim_a = at_a + (a_rim - a_bottom) * share
    rim_b = np.maximum(at_b - (b_rim - b_bottom) * share, rim_a)
    up = n * (half * share)[:, None]
    # A wider groove keeps its depth beyond its line's end, until the narrower neighbour is as deep.
    wider = (half > other + 1e-9) & (sin > SHARPEST_SIN) & (other > 0.0)
    reach = np.where(wider, (half - other) / np.where(wider, sin, 1.0), 0.0)
    beyond = a - u[before] * np.minimum(reach, length[before])[:, None]
    wider_b = (half > half[after] + 1e-9) & (sin[after] > SHARPEST_SIN) & (half[after] > 0.0)
    reach_b = np.where(wider_b, (half - half[after]) / np.where(wider_b, sin[after], 1.0), 0.0)
    beyond_b = a[after] + u[after] * np.minimum(reach_b, length[after])[:, None]
    end_a, end_b = a + u * at_a[:, None], a + u * at_b[:, None]
    corner_a = np.where(wider[:, None], beyond, end_a)
    corner_b = np.where(wider_b[:, None], beyond_b, end_b)
    rims = (a + u * rim_b[:, None] + up, a + u * rim_a[:, None] + up)
    flat = np.stack([corner_a, end_a, end_b, corner_b, *rims], axis=1)
    cut = half > 0.0
    fans = _round_corners(sides, n, turn)
    # Where a line ends at the outline its end is round: each cell beside it has a quarter of the cone, clockwise.
    starts, ends = np.flatnonzero(cut & (other == 0.0)), np.flatnonzero(cut & (half[after] == 0.0))
    quarter = np.full(len(starts) + len(ends), -0.5 * np.pi)
    tip = np.concatenate([a[starts], a[after[ends]]])
    ends_fans = _fans(
        tip, np.concatenate([-u[starts], n[ends]]), quarter, half[np.concatenate([starts, ends])]
    )
    ends_edge = sides.edge[np.concatenate([starts, ends])[ends_fans[2]]]
    return Walls(
        corner_mm=np.concatenate([fans.corner_mm, ends_fans[0], flat[cut]]),
        toward=np.concatenate([fans.toward, ends_fans[1], n[cut]]),
        edge=np.concatenate([fans.edge, ends_edge, sides.edge[cut]]),
    )


def _round_corners(sides: _Chords, n: Floats, turn: Floats) -> Walls:
    """Return the cone round every outer corner between two grooves and round every loose end, in slices."""
    before = sides.preceding
    outer = np.flatnonzero((turn < -SHARPEST_SIN) & (sides.half > 0.0) & (sides.half[before] > 0.0))
    wide = np.where(sides.half[outer] >= sides.half[before[outer]], outer, before[outer])
    corners, toward, owner = _fans(sides.at[outer], n[before[outer]], turn[outer], sides.half[wide])
    return Walls(corner_mm=corners, toward=toward, edge=sides.edge[wide[owner]])


def _fans(tip: Floats, first: Floats, turn: Floats, half: Floats) -> tuple[Floats, Floats, Ints]:
    """Return slices of cones about tips (n, 2), from the direction ``first`` (n, 2) on by ``turn``, clockwise if below 0.

    Gives corners (m, 6, 2), the slices' middle directions (m, 2) and the tip each belongs to.
    """
    count = np.ceil(np.abs(turn) / FAN_RAD).astype(np.int64)
    owner, share = evenly(count)
    step = turn[owner] / count[owner]
    start = np.arctan2(first[owner, 1], first[owner, 0]) + share * turn[owner]

    def spoke(angle: Floats) -> Floats:
        return np.column_stack([np.cos(angle), np.sin(angle)])

    at = tip[owner]
    radius = half[owner][:, None]
    one, two = at + radius * spoke(start), at + radius * spoke(start + step)
    corners = np.stack([at, at, at, one, two, at], axis=1)
    return corners, spoke(start + 0.5 * step), owner
