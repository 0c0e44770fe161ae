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

from vcarve.groove.model import Grooves
from vcarve.network.model import Network
from vcarve.plane.arcs import chord_counts, chords, cross, evenly, left, points, size
from vcarve.plane.arrays import Floats, Ints

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


def _leaning(u: Floats, narrowing: Floats) -> Floats:
    """Return which way (n, 2) the wall to the left of lines with directions (n, 2) faces out, leaning over as it narrows."""
    lean = np.clip(narrowing, -STEEPEST, STEEPEST)[:, None]
    return np.asarray(np.sqrt(1.0 - lean**2) * left(u) + lean * u)


def slim_shapes(curve: Floats, half_mm: Floats) -> Floats:
    """Return what grooves that narrow along curves (n, 5) cover, chord by chord, their round ends left out: polygons (m, 4, 2).

    ``half_mm`` (2, n) is half of their width at their starts and ends.
    """
    count = chord_counts(curve, SAG_MM)
    owner, share = evenly(count)
    upto = share + 1.0 / count[owner]
    a, b = points(curve[owner], share), points(curve[owner], upto)
    first, last = half_mm[:, owner]
    at_a, at_b = (first + at * (last - first) for at in (share, upto))
    length = np.maximum(size(b - a), 1e-9)
    u, narrowing = (b - a) / length[:, None], (at_a - at_b) / length
    one, other = _leaning(u, narrowing), _leaning(-u, -narrowing)
    at_a, at_b = at_a[:, None], at_b[:, None]
    return np.stack([a + at_a * one, b + at_b * one, b + at_b * other, a + at_a * other], axis=1)


def _neighbours(start: Ints) -> tuple[Ints, Ints]:
    """Return the side before and the side after each side of rings that begin at ``start`` and end where the next begins."""
    after = np.arange(start[-1]) + 1
    filled = start[1:] > start[:-1]
    first, last = start[:-1][filled], start[1:][filled] - 1
    after[last] = first
    before = np.empty_like(after)
    before[after] = np.arange(len(after))
    return before, after


def walls(network: Network, grooves: Grooves) -> Walls:
    """Return the walls of every groove, on the side of every cell it bounds."""
    half_edge = network.ring_half_edge
    a, count = chords(network.walked(half_edge), SAG_MM)
    owner, share = evenly(count)
    edge = (half_edge >> 1)[owner]
    upto = share + 1.0 / count[owner]
    back = (half_edge & 1).astype(bool)[owner]
    half, half_b = (grooves.half_at_mm(edge, np.where(back, 1.0 - at, at)) for at in (share, upto))
    before, after = _neighbours(np.concatenate([[0], np.cumsum(count)])[network.ring_start])
    along = a[after] - a
    length = np.maximum(size(along), 1e-9)
    u = along / length[:, None]
    n = _leaning(u, (half - half_b) / length)
    rim = -left(n)
    cut = np.maximum(half, half_b) > 0.0
    sin, cos = cross(rim[before], rim), (rim[before] * rim).sum(axis=1)
    # Straight back is the loose end of a line: all the way round it, not an inner corner of no angle.
    turn = np.where(cos < -1.0 + 1e-9, -np.pi, np.arctan2(sin, cos))
    # Where nothing is cut on the other side the groove has a round end instead.
    inner = (sin > SHARPEST_SIN) & (half > 0.0) & (half_b[before] > 0.0)
    ends = (
        _mitre(half, half_b[before], inner, sin, cos, turn),
        _mitre(half_b, half[after], inner[after], sin[after], cos[after], turn[after]),
    )
    (a_bottom, a_rim, a_reach), (b_bottom, b_rim, b_reach) = ends
    # Where both mitres meet before the rim, the wall ends in that point.
    room = np.maximum(length - a_bottom - b_bottom, 0.0)
    lost = a_rim + b_rim
    up = np.clip(np.where(lost > room, room / np.where(lost > room, lost, 1.0), 1.0), 0.0, 1.0)[:, None]
    end_a = a + u * np.minimum(a_bottom, length)[:, None]
    end_b = a + u * np.maximum(length - b_bottom, 0.0)[:, None]
    rims = (
        end_b + up * (half_b[:, None] * n - b_rim[:, None] * rim),
        end_a + up * (half[:, None] * n + a_rim[:, None] * rim),
    )
    # A wider groove keeps its depth beyond its line's end, until the narrower neighbour is as deep.
    beyond_a = np.where(a_reach > 0.0, np.minimum(a_reach, length[before]), 0.0)[:, None]
    beyond_b = np.where(b_reach > 0.0, np.minimum(b_reach, length[after]), 0.0)[:, None]
    corner_a = np.where(beyond_a > 0.0, a - u[before] * beyond_a, end_a)
    corner_b = np.where(beyond_b > 0.0, a[after] + u[after] * beyond_b, end_b)
    flat = np.stack([corner_a, end_a, end_b, corner_b, *rims], axis=1)[cut]
    # The cone round every outer corner between two grooves and round every loose end.
    outer = np.flatnonzero((turn < -SHARPEST_SIN) & (half > 0.0) & (half_b[before] > 0.0))
    wide = np.where(half[outer] >= half_b[before[outer]], outer, before[outer])
    # Where a line ends at the outline its end is round: each cell beside it has a quarter of the cone, clockwise.
    start = np.flatnonzero((half > 0.0) & ~cut[before])
    stop = np.flatnonzero((half_b > 0.0) & ~cut[after])
    fans, toward, slice_of = _fans(
        np.concatenate([a[outer], a[start], a[after[stop]]]),
        np.concatenate([n[before[outer]], -u[start], n[stop]]),
        np.concatenate([turn[outer], np.full(len(start) + len(stop), -0.5 * np.pi)]),
        np.concatenate([np.maximum(half[outer], half_b[before[outer]]), half[start], half_b[stop]]),
    )
    return Walls(
        corner_mm=np.concatenate([fans, flat]),
        toward=np.concatenate([toward, n[cut]]),
        edge=np.concatenate([edge[np.concatenate([wide, start, stop])[slice_of]], edge[cut]]),
    )


def _mitre(
    half: Floats, other: Floats, inner: np.ndarray, sin: Floats, cos: Floats, turn: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return where a wall begins at one end: along its line at the bottom, from there along its rim, and how far beyond its end.

    ``half`` and ``other`` are the half-widths of this wall and of its neighbour there, ``sin``, ``cos`` and ``turn`` those of the
    turn between them, positive for an inner corner.
    """
    safe = np.where(inner, sin, 1.0)
    tan_half = np.tan(np.clip(turn, -3.0, 3.0) / 2.0)
    rim = np.where(np.isclose(half, other), half * tan_half, (other - half * cos) / safe)
    more = (other - half) / safe
    bottom = np.where(inner & (more > 0.0), more, 0.0)
    return bottom, np.where(inner, rim, 0.0) - bottom, np.where(inner & (half > other + 1e-9), -more, 0.0)


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
