"""Checks of a program that cuts pieces out of their board: where the end mill goes, and what it leaves standing.

The dry run has its own notion of both.  The bit's middle must stay half the bit away from all that is to stay, and on the rings
that lie just so far from it; there it must come through the piece everywhere but over tabs.  Each ring is looked at unrolled: how
deep it is cut at places close to each other, move after move.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from vcarve.dryrun.target import OutlineTarget
from vcarve.dryrun.track import SAG_MM, Track, chords_within, laid
from vcarve.errors import Finding
from vcarve.job.sections import CutOut
from vcarve.plane.arcs import Point, size
from vcarve.plane.arrays import Bools, Floats, Ints
from vcarve.quantity import counted, format_deg

ROUND = 64  # sides of a quarter of a turn about a corner: within 0.3 µm of each millimetre of radius
SAMPLE_MM = 0.05  # a ring is looked at so closely
LEAD = 1.5  # a way leads in from so many times half the bit beside its ring
OTHER_JOB = 0.5  # from this share of moves beside every ring on, it is the program of another job


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ways:
    """The feed moves in the wood as straight parts (n): their move, both ends seen from above and how deep these are."""

    seen: Track
    target: OutlineTarget
    cut_out: CutOut
    move: Ints
    ends: Floats  # (n, 2, 2)
    depth_mm: Floats  # (n, 2)
    fall_mm: Floats  # (n,) by how much each goes down

    @property
    def off_mm(self) -> float:
        """How far a place of the text may be from where it should be."""
        return self.seen.tolerance_mm + SAG_MM + 3e-4 * self.cut_out.bit.diameter_mm

    @property
    def deep_mm(self) -> float:
        """How far a depth may be off."""
        return 1e-3 + self.seen.slack_mm + self.seen.bears_mm

    def first(self, code: str, rows: Bools, sentence: str) -> list[Finding]:
        """Return a finding of each move with one of these parts, where that part ends."""
        which = np.flatnonzero(rows)
        which = which[np.unique(self.move[which], return_index=True)[1]]

        def at(row: int) -> Point:
            x, y = self.ends[row, 1].tolist()
            return x, y

        return self.seen.tell(code, which, sentence, at=at, of=self.move)

    def sinking(self, more_mm: Floats) -> Iterator[Finding]:
        """Yield which parts go down too steeply, and which take too much at once; ``more_mm`` (n,) is what each takes."""
        cut_out, figure, room = self.cut_out, self.seen.figures.length, 2.0 * self.deep_mm
        steep, step_mm = math.tan(math.radians(cut_out.ramp_deg)), self.target.job.cut_out_step_mm
        run = size(np.diff(self.ends, axis=1)[:, 0])
        plunges = (self.fall_mm > run * steep + room) & (more_mm > room)
        hasty = (more_mm > step_mm + room) & ~plunges
        slope = f"the job asks for a slope of {format_deg(cut_out.ramp_deg)} at most"
        yield from self.first(
            "mill-plunge", plunges, f"The end mill goes down too steeply into the wood; {slope}."
        )
        most = figure(round(float(more_mm[hasty].max(initial=0.0)), 3))
        at_once = f"The end mill cuts {most} deep at once; the job's step is {figure(step_mm)}."
        yield from self.first("step-too-deep", hasty, at_once)

    @staticmethod
    def at_ring(code: str, sentence: str, ring: Any, way_mm: float) -> Finding:
        """Return a finding at a place of a ring."""
        place: Any = shapely.line_interpolate_point(ring, way_mm % ring.length)
        return Finding(code, sentence, at_mm=(float(place.x), float(place.y)))


def outline_findings(seen: Track, target: OutlineTarget) -> Iterator[Finding]:
    """Find cuts into the piece or its neighbours, beside the way, straight down, too deep at once, and outlines and tabs that are
    not as the job asks."""
    cut_out = target.cut_out
    rows = np.flatnonzero(seen.feed & seen.in_wood & ~seen.upright & ~seen.blind)
    count = np.maximum(chords_within(seen.moves, rows, SAG_MM), seen.parts[rows])
    owner, curve, z = laid(seen.moves, rows, count, seen.setup)
    ways = _Ways(
        seen=seen,
        target=target,
        cut_out=cut_out,
        move=owner,
        ends=curve[:, :4].reshape(-1, 2, 2),
        depth_mm=-z,
        fall_mm=z[:, 0] - z[:, 1],
    )
    radius = 0.5 * cut_out.bit.diameter_mm
    lines: Any = shapely.linestrings(ways.ends)
    into = _near(lines, target.outline, radius - ways.off_mm)
    yield from ways.first("piece-cut", into, "The end mill cuts into the piece.")
    for neighbour in target.neighbours:
        meets = _near(lines, neighbour, radius - ways.off_mm)
        yield from ways.first("neighbour-cut", meets, "The end mill cuts into another piece on the board.")
    grown = shapely.orient_polygons(
        shapely.buffer(shapely.get_parts(target.outline), radius, quad_segs=ROUND)
    )
    rings = [(ring, k == 0) for piece in grown for k, ring in enumerate(shapely.get_rings(piece))]
    # A part is on a ring where its ends and its middle are.
    spots: Any = shapely.points(np.concatenate([ways.ends, ways.ends.mean(axis=1, keepdims=True)], axis=1))
    on = np.array([_near(spots, ring, ways.off_mm).all(axis=1) for ring, _ in rings])
    beside = ~on.any(axis=0) & ~into
    leads = np.zeros_like(beside)
    if cut_out.lead_in:
        close = [_near(spots, ring, LEAD * radius).all(axis=1) for ring, _ in rings]
        leads = beside & np.any(close, axis=0)
        beside &= ~leads
    if len(beside) and np.count_nonzero(beside | into) > OTHER_JOB * len(beside):
        lost = beside | into
        of = "Is it the program of another job, or was it made for another zero or turn?"
        sentence = f"The program does not go round this job's outline. {of}"
        yield from ways.first("other-job", lost & (np.cumsum(lost) == 1), sentence)
        return
    yield from ways.first("stray-cut", beside, "The end mill cuts beside its way round the outline.")
    # There the wood is whole.
    yield from ways.sinking(np.where(leads, ways.depth_mm.max(axis=1), 0.0))
    for (ring, outside), mine in zip(rings, on, strict=True):
        yield from _round(ways, ring, np.flatnonzero(mine), outside=outside)


def _near(shapes: Any, other: Any, distance_mm: float) -> Bools:
    """Return which shapes come nearer than this to another."""
    shapely.prepare(other)
    return np.asarray(shapely.dwithin(shapes, other, distance_mm), dtype=np.bool_)


def _round(ways: _Ways, ring: Any, rows: Ints, *, outside: bool) -> Iterator[Finding]:
    """Follow the parts that lie on a ring, one after the other, and judge each, and what they leave."""
    around, cut_out = float(ring.length), ways.cut_out
    count = max(math.ceil(around / SAMPLE_MM), 16)
    pitch = around / count
    deepest = np.zeros(count)
    at: Any = shapely.line_locate_point(ring, shapely.points(ways.ends[rows]))
    on = (at[:, 1] - at[:, 0] + 0.5 * around) % around - 0.5 * around
    more = np.zeros(len(ways.move))
    for row, begin, way in zip(rows.tolist(), at[:, 0].tolist(), on.tolist(), strict=True):
        low, high = sorted((begin / pitch, (begin + way) / pitch))
        stops = np.arange(math.ceil(low - 1e-9), math.floor(high + 1e-9) + 1)
        stops = stops if len(stops) else np.array([round(low)])
        share = np.clip((stops * pitch - begin) / way, 0.0, 1.0) if way else 1.0
        depth, spot = ways.depth_mm[row, 0] + share * ways.fall_mm[row], stops % count
        more[row] = (depth - deepest[spot]).max()
        deepest[spot] = np.maximum(deepest[spot], depth)
    yield from ways.sinking(more)
    # Rings have the piece to their left; what turns as a spindle does climbs with it to the right.
    against = float(on.sum()) > 0.0
    if len(rows) and against == (cut_out.direction == "climb"):
        goes = f"The end mill {'cuts conventionally' if against else 'climbs'} here"
        yield ways.at_ring(
            "cut-direction", f"{goes}; the job asks for {cut_out.direction}.", ring, float(at[0, 0])
        )
    yield from _standing(ways, ring, deepest, outside=outside)


def _standing(ways: _Ways, ring: Any, deepest: Floats, *, outside: bool) -> Iterator[Finding]:
    """Judge what stays standing on a ring that is so deep at places (n,) at even distances: tabs, and nothing else."""
    cut_out, figure = ways.cut_out, ways.seen.figures.length
    thick, pitch = ways.target.job.piece.thickness_mm, float(ring.length) / len(deepest)
    kept = deepest < thick - ways.deep_mm
    if kept.all():
        yield ways.at_ring("not-through", "Nothing is cut through all along this outline.", ring, 0.0)
        return
    first = int(np.argmin(kept))  # a place that is cut through
    kept, top = (
        np.roll(kept, -first),
        np.roll(deepest <= thick - cut_out.tab.height_mm + ways.deep_mm, -first),
    )
    starts, ends = (
        np.flatnonzero(np.diff(np.append(0, np.append(kept, 0)).astype(int)) == k) for k in (1, -1)
    )
    over = cut_out.tab.width_mm + cut_out.bit.diameter_mm
    longest = over + 2.0 * cut_out.tab.height_mm / math.tan(math.radians(cut_out.ramp_deg)) + 4.0 * pitch
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        level, middle = np.count_nonzero(top[start:end]) * pitch, (0.5 * (start + end) + first) * pitch
        if (end - start) * pitch > longest or not cut_out.tabs:
            here = f"Here the outline is not cut through, for {figure(round((end - start) * pitch, 1))}."
            yield ways.at_ring("not-through", here, ring, middle)
        elif level < over - 4.0 * pitch:
            high, wide = figure(cut_out.tab.height_mm), round(level - cut_out.bit.diameter_mm, 1)
            stands = (
                f"is {high} high over {figure(wide)} only"
                if wide > 0.0
                else f"is nowhere {high} high and wide enough"
            )
            small = f"This tab {stands}; the job asks for {figure(cut_out.tab.width_mm)} by {high}."
            yield ways.at_ring("tab-off", small, ring, middle)
    if outside and len(starts) != cut_out.tabs:
        stand = f"{counted(len(starts), 'tab')} {'stands' if len(starts) == 1 else 'stand'} on the outline"
        yield ways.at_ring("tab-off", f"{stand}; the job asks for {cut_out.tabs}.", ring, 0.0)
