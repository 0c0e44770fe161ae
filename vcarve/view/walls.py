"""The walls of grooves as flat polygons, for pictures in which a V reads as a V.

Every half-edge of a cell's ring has a wall on the cell's side, from the line up to the surface.  Where two walls meet in
an inner corner they are mitred: the line between them is where both are equally deep, also if one groove is wider.
Round an outer corner or a loose end the bit leaves part of a cone, drawn as a fan.  The wall of a groove that narrows leans over
to its narrower end, and its rim touches the circles round both of its ends.  Walls of grooves that are not
neighbours may still overlap where no land is left between them: good enough to look at, not to measure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.groove.land import narrowing
from vcarve.groove.model import Grooves
from vcarve.network.model import Network
from vcarve.plane.arcs import cross, evenly, left, size
from vcarve.plane.arrays import Bools, Floats, Ints

SAG_MM = 0.02
FAN_RAD = 0.4
SHARPEST_SIN = 0.05  # corners nearer than this to straight on or straight back are not mitred
STEEPEST = 0.95  # a groove narrows by so much per mm at most: beyond, its wider end's circle holds all of it


@dataclass(frozen=True, slots=True, kw_only=True)
class Walls:
    """Polygons of walls.

    ``corner_mm`` (W, 6, 2) repeats corners where a wall has fewer; ``toward`` (W, 2) points from the groove's bottom to its
    rim, length 1; ``edge`` (W,) is the edge whose groove it is.
    """

    corner_mm: Floats
    toward: Floats
    edge: Ints


def _leaning(u: Floats, slope: Floats) -> Floats:
    """Return which way (n, 2) the wall to the left of lines with directions (n, 2) faces out, leaning over as it narrows."""
    lean = np.clip(slope, -STEEPEST, STEEPEST)[:, None]
    return np.asarray(np.sqrt(1.0 - lean**2) * left(u) + lean * u)


def _chords(curve: Floats, half_mm: Floats) -> tuple[Ints, Floats, Floats, Floats, Floats]:
    """Return the chords of grooves that are ``half_mm`` (2, n) to either side at both ends of curves (n, 5).

    Gives what ``groove.land.narrowing`` does, and the length and the direction of each chord.
    """
    owner, ends, half = narrowing(curve, half_mm, SAG_MM)
    length = np.maximum(size(ends[1] - ends[0]), 1e-9)
    return owner, ends, half, length, (ends[1] - ends[0]) / length[:, None]


def slim_shapes(curve: Floats, half_mm: Floats) -> Floats:
    """Return what grooves that narrow along curves (n, 5) cover, chord by chord, their round ends left out: polygons (m, 4, 2).

    ``half_mm`` (2, n) is half of their width at their starts and ends.
    """
    _, (a, b), half, length, u = _chords(curve, half_mm)
    slope = (half[0] - half[1]) / length
    one, other = _leaning(u, slope), _leaning(-u, -slope)
    at_a, at_b = half[..., None]
    return np.stack([a + at_a * one, b + at_b * one, b + at_b * other, a + at_a * other], axis=1)


def _neighbours(start: Ints) -> tuple[Ints, Ints]:
    """Return the side before and the side after each side of rings that begin at ``start`` and end where the next begins."""
    before, after = np.arange(start[-1]) - 1, np.arange(start[-1]) + 1
    filled = start[1:] > start[:-1]
    first, last = start[:-1][filled], start[1:][filled] - 1
    before[first], after[last] = last, first
    return before, after


def walls(network: Network, grooves: Grooves, fan_rad: float = FAN_RAD) -> Walls:
    """Return the walls of every groove, on the side of every cell it bounds; cones in slices of ``fan_rad`` at most."""
    walked, back = network.ring_half_edge, network.ring_half_edge & 1
    halves = grooves.ends_half_mm[np.stack([back, 1 - back]), walked >> 1]
    owner, (a, b), (half, half_b), length, u = _chords(network.walked(walked), halves)
    edge = (walked >> 1)[owner]
    before, after = _neighbours(np.searchsorted(owner, network.ring_start))
    n = _leaning(u, (half - half_b) / length)
    rim = -left(n)
    cut = np.maximum(half, half_b) > 0.0
    sin, cos = cross(rim[before], rim), (rim[before] * rim).sum(axis=1)
    # Straight back is the loose end of a line: all the way round it, not an inner corner of no angle.
    turn = np.where(cos < -1.0 + 1e-9, -np.pi, np.arctan2(sin, cos))
    # Where nothing is cut on the other side the groove has a round end instead.
    inner = (sin > SHARPEST_SIN) & (half > 0.0) & (half_b[before] > 0.0)
    a_bottom, a_rim, a_beyond = _mitre(half, half_b[before], inner, sin, cos)
    b_bottom, b_rim, b_beyond = _mitre(half_b, half[after], inner[after], sin[after], cos[after])
    # Where both mitres meet before the rim, the wall ends in that point.
    room, lost = np.maximum(length - a_bottom - b_bottom, 0.0), a_rim + b_rim
    up = np.clip(np.divide(room, lost, out=np.ones_like(room), where=lost > room), 0.0, 1.0)[:, None]
    end_a = a + u * np.minimum(a_bottom, length)[:, None]
    end_b = a + u * np.maximum(length - b_bottom, 0.0)[:, None]
    rims = (
        end_b + up * (half_b[:, None] * n - b_rim[:, None] * rim),
        end_a + up * (half[:, None] * n + a_rim[:, None] * rim),
    )
    corner_a = end_a - u[before] * np.minimum(a_beyond, length[before])[:, None]
    corner_b = end_b + u[after] * np.minimum(b_beyond, length[after])[:, None]
    flat = np.stack([corner_a, end_a, end_b, corner_b, *rims], axis=1)[cut]
    # The cone round every outer corner between two grooves and round every loose end.
    outer = np.flatnonzero((turn < -SHARPEST_SIN) & (half > 0.0) & (half_b[before] > 0.0))
    wide = np.where(half[outer] >= half_b[before[outer]], outer, before[outer])
    # Where a line ends at the outline its end is round: each cell beside it has a quarter of the cone, clockwise.
    start = np.flatnonzero((half > 0.0) & ~cut[before])
    stop = np.flatnonzero((half_b > 0.0) & ~cut[after])
    fans, toward, slice_of = _fans(
        np.concatenate([a[outer], a[start], b[stop]]),
        np.concatenate([n[before[outer]], -u[start], n[stop]]),
        np.concatenate([turn[outer], np.full(len(start) + len(stop), -0.5 * np.pi)]),
        np.concatenate([np.maximum(half[outer], half_b[before[outer]]), half[start], half_b[stop]]),
        fan_rad,
    )
    return Walls(
        corner_mm=np.concatenate([fans, flat]),
        toward=np.concatenate([toward, n[cut]]),
        edge=np.concatenate([edge[np.concatenate([wide, start, stop])[slice_of]], edge[cut]]),
    )


def _mitre(
    half: Floats, other: Floats, inner: Bools, sin: Floats, cos: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return where a wall begins at one end: along its line at the bottom, from there along its rim, and how far beyond its end.

    ``half`` and ``other`` are the half-widths of this wall and of its neighbour there, ``sin`` and ``cos`` those of the turn
    between them, positive for an inner corner.  A wider groove keeps its depth beyond its line's end, until the other is as deep.
    """
    safe = np.where(inner, sin, np.inf)
    more = (other - half) / safe
    bottom = np.maximum(more, 0.0)
    return bottom, (other - half * cos) / safe - bottom, np.maximum(-more, 0.0)


def _fans(
    tip: Floats, first: Floats, turn: Floats, half: Floats, fan_rad: float
) -> tuple[Floats, Floats, Ints]:
    """Return slices of cones about tips (n, 2), from the direction ``first`` (n, 2) on by ``turn``, clockwise if below 0.

    Gives corners (m, 6, 2), the slices' middle directions (m, 2) and the tip each belongs to.
    """
    count = np.ceil(np.abs(turn) / fan_rad).astype(np.int64)
    owner, share = evenly(count)
    step = turn[owner] / count[owner]
    start = np.arctan2(first[owner, 1], first[owner, 0]) + share * turn[owner]

    at, radius = tip[owner], half[owner][:, None]
    one, middle, two = (
        np.column_stack([np.cos(angle), np.sin(angle)]) for angle in (start, start + 0.5 * step, start + step)
    )
    one, two = at + radius * one, at + radius * two
    corners = np.stack([at, at, at, one, two, at], axis=1)
    return corners, middle, owner
