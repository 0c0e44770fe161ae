"""Outlines as cuts: round every hole and then round the outside, half the end mill away from what stays, down through the piece.

Each ring is one way without lifting: down evenly along it, turn after turn, and once more round at the bottom.  Where a tab is to
stand the way is no deeper than its top: there the bit goes up in its own slot, over the tab, and down again along a ramp.

The cuts are in the order in which they are made: direction, turns and ramps leave nothing to be chosen.

Glossary
way        how far along a ring's turns a place is, in mm from where the first begins
tab        its middle on the ring; the bit goes over it for its width and the bit's diameter, since a round bit reaches
           half of that beyond either end
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely

from vcarve.cuts.model import Cuts
from vcarve.job.sections import CutOut
from vcarve.plane.arcs import bulge_between, cross, curves, directions, left, lengths, points, sweeps
from vcarve.plane.arrays import NM_PER_MM, Floats, Ints
from vcarve.plane.inset import inset
from vcarve.plane.region import Region, Ring, lines_along, polygon, reversed_ring

PHASES = 96  # so many places of the tabs are compared
# How straight the ring goes is looked at so far to either side of a tab, in shares of the way to the next one.
WIDER = (0.15, 0.25, 0.35, 0.42, 0.46)
NEAR_MM = 1e-6  # places of a way that are one and the same
ON_MM = 1e-3  # a last decimal
TOUCH_MM = 0.02  # some last decimals below the top
LEAST_ROOM_MM = 0.1  # across, that the bit must have to move in a hole


def rings_round(grown: Region, cut_out: CutOut) -> list[Ring]:
    """Return the ways of the bit's middle round a piece grown by half the bit: in its holes first, round the outside last.

    They run in the direction asked for.
    """
    rings = [hole for hole in grown.holes if lengths(hole.curves).sum() > math.pi * LEAST_ROOM_MM]
    rings.append(grown.outer)
    # A region lies to the left of its rings; what turns as a spindle does climbs with the piece to its right.
    return [reversed_ring(ring) for ring in rings] if cut_out.direction == "climb" else rings


def tabs_of(ring: Ring, cut_out: CutOut, *, outside: bool) -> int:
    """Return how many tabs a ring gets: those asked for outside; in a hole as many of them as fit, none where nothing is left."""
    if outside:
        return cut_out.tabs
    inner = Region(outer=ring if cut_out.direction == "climb" else reversed_ring(ring))
    left = inset(inner, cut_out.bit.diameter_mm / 2.0)
    return min(cut_out.tabs, cut_out.tabs_on(float(lengths(ring.curves).sum()))) if left else 0


def outline_cuts(
    outlines: Sequence[Region], cut_out: CutOut, thickness_mm: float, step_mm: float
) -> tuple[Cuts, Ints]:
    """Return the cuts of pieces of one board, one piece after the other, and at which cut each pass begins, and the end.

    A turn goes down by ``step_mm`` at most.
    """
    places, bulges, starts = [], [], [0]
    for outline in outlines:
        (grown,) = inset(outline, -cut_out.bit.diameter_mm / 2.0)
        rings = rings_round(grown, cut_out)
        for ring in rings:
            sides = ring.curves
            tabs = spread(sides, tabs_of(ring, cut_out, outside=ring is rings[-1]), cut_out.over_mm)
            begin = _begin(sides, tabs)
            lead = _lead(sides, begin, grown, cut_out) if cut_out.lead_in else None
            place, bulge = _way(sides, tabs, begin, cut_out, thickness_mm, step_mm, lead)
            places.append(place)
            bulges.append(bulge)
            starts.append(starts[-1] + len(bulge))
    nm = np.rint(np.concatenate(places).reshape(-1, 3) * NM_PER_MM).astype(np.int64)
    place_nm, which = np.unique(nm, axis=0, return_inverse=True)
    tail, head = which.reshape(-1, 2).astype(np.int64).T
    none = np.zeros(len(tail), dtype=np.int64)
    cuts = Cuts(
        place_nm=place_nm, tail=tail, head=head, bulge=np.concatenate(bulges), feature=none, after=none - 1
    )
    return cuts, np.array(starts)


def spread(sides: Floats, count: int, over_mm: float) -> Floats:
    """Return where along a ring (n, 5) the middles of tabs (count,) are: evenly, where it goes as straight as can be."""
    if not count:
        return np.zeros(0)
    whole = lengths(sides)
    at = np.repeat(np.append(0.0, np.cumsum(whole)), 2)[1:-1]  # both ends of each side
    out, into = np.roll(directions(sides, 1.0), 1, axis=0), directions(sides, 0.0)
    corner = np.abs(np.arctan2(cross(out, into), (out * into).sum(axis=1)))
    # How far it has turned up to there.
    turn = np.cumsum(np.column_stack([corner, np.abs(sweeps(sides))]).ravel())
    around, all_round = float(at[-1]), float(turn[-1])

    def turned(way: Floats) -> Floats:
        return np.asarray(np.interp(way % around, at, turn) + all_round * (way // around))

    middles = around / count * (np.arange(count) + np.arange(PHASES)[:, None] / PHASES)
    spans = [0.5 * over_mm, over_mm, *(around / count * share for share in WIDER)]
    worst = [np.round((turned(middles + half) - turned(middles - half)).max(axis=1), 9) for half in spans]
    return np.asarray(middles[np.lexsort(worst[::-1])[0]])


def _begin(sides: Floats, tabs: Floats) -> float:
    """Return where on a ring its way begins: half-way between two tabs, or in the middle of the longest side."""
    whole = lengths(sides)
    longest = int(np.argmax(whole))
    if not len(tabs):
        return float(whole[:longest].sum() + 0.5 * whole[longest])
    around = float(whole.sum())
    return float((tabs[0] - 0.5 * around / len(tabs)) % around)


def _on(sides: Floats, way: Floats) -> tuple[Ints, Floats]:
    """Return the side of a ring and the share of it at which ways from its first corner end."""
    whole = lengths(sides)
    ends = np.cumsum(whole)
    side = np.minimum(np.searchsorted(ends, way, side="right"), len(ends) - 1)
    return side, np.clip((way - (ends - whole)[side]) / whole[side], 0.0, 1.0)


def _lead(sides: Floats, begin: float, grown: Region, cut_out: CutOut) -> Floats | None:
    """Return a quarter turn (5,) from the waste to where a ring's way begins; none where it would come into the piece."""
    side, share = _on(sides, np.array([begin]))
    spot, ahead = points(sides[side], share)[0], directions(sides[side], share)[0]
    hand = 1.0 if cut_out.direction == "climb" else -1.0
    away = 0.5 * cut_out.bit.diameter_mm * (hand * left(ahead) - ahead)
    arc = curves(spot + away, spot, np.array(hand * math.tan(math.pi / 8.0)))
    inside = shapely.buffer(polygon(grown), -ON_MM)  # the arc ends on its edge
    return None if shapely.intersects(inside, lines_along(arc[None], ON_MM / 2.0)[0]) else arc


def _way(
    sides: Floats,
    tabs: Floats,
    begin: float,
    cut_out: CutOut,
    thickness_mm: float,
    step_mm: float,
    lead: Floats | None,
) -> tuple[Floats, Floats]:
    """Return the way down a ring (n, 5) and once round at the bottom: both ends (m, 2, 3) in mm, depth third, and bulges (m,).

    ``lead`` is an arc by which it comes to where it begins.
    """
    bottom, top = thickness_mm + cut_out.through_mm, thickness_mm - cut_out.tab.height_mm
    slope, ramp_mm = cut_out.slope, cut_out.ramp_mm
    whole = lengths(sides)
    around, before = float(whole.sum()), 0.0 if lead is None else float(lengths(lead))
    steepest = min(step_mm / (before + around), slope)
    turns = max(math.ceil((bottom / steepest - before) / around - 1e-9), 1)
    down = turns * around
    fall = bottom / (before + down)
    # At once a little below the top, or the first sides would only be scratched.
    stops = [0.0, down, down + around, TOUCH_MM / slope - before, TOUCH_MM / fall - before]
    over = []  # of each tab in each turn: where it begins, where it ends, where the ramp behind it meets the way
    for turn in range(turns + 1):
        for middle in np.sort((tabs - begin) % around) + turn * around:
            first, last = middle - 0.5 * cut_out.over_mm, middle + 0.5 * cut_out.over_mm
            first = max(first, top / fall - before)
            if first < last:
                met = last + ramp_mm
                if slope > fall:
                    met = min(met, (last * slope - top + fall * before) / (slope - fall))
                over.append((first, last, met if met <= down else last + ramp_mm))
                stops += over[-1]
    stops += ((np.cumsum(whole) - begin) % around + around * np.arange(turns + 1)[:, None]).ravel().tolist()
    way = np.unique(np.clip(stops, 0.0, down + around))
    way = way[np.append(True, np.diff(way) > NEAR_MM)]
    ends = np.stack([way[:-1], way[1:]])
    middle, wide = ends.mean(axis=0), np.diff(way)
    side, share = _on(sides, (begin + middle) % around)
    half = 0.5 * wide / whole[side]
    first, last = np.clip(share - half, 0.0, 1.0), np.clip(share + half, 0.0, 1.0)
    spot = points(sides[side], first)
    spot = np.vstack([spot, points(sides[side[-1:]], last[-1:])])
    so_far = before + ends
    depth = np.clip(so_far * fall, np.minimum(TOUCH_MM, so_far * slope), bottom)
    for first_mm, last_mm, met_mm in over:
        level = (middle > first_mm) & (middle < last_mm)
        depth[:, level] = np.minimum(depth[:, level], top)
        ramp = (middle > last_mm) & (middle < met_mm)
        depth[:, ramp] = np.minimum(depth[:, ramp], top + (ends[:, ramp] - last_mm) * slope)
    rows = [np.column_stack([xy, z]) for xy, z in zip((spot[:-1], spot[1:]), depth, strict=True)]
    place, bulge = np.stack(rows, axis=1), bulge_between(sides[side, 4], first, last)
    if lead is None:
        return place, bulge
    come = np.array([[*lead[:2], 0.0], [*spot[0], depth[0, 0]]])
    return np.concatenate([come[None], place]), np.append(lead[4], bulge)
