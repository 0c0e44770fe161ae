"""The carved piece, measured as one would measure the piece itself: the width of its grooves, and its land.

A groove's width is taken from its middle square to both rims: a rim lies between the outermost cut pixel and
the innermost that is land, where the wall's slope at the cut one leads.  It is taken where one groove alone is
under the ruler: the joint at an edge's end swallows ``g / (2 tan(alpha / 2))`` of it for grooves ``g`` wide
meeting at ``alpha``, and beside another groove there must be land enough for some pixels of it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from itertools import chain
from typing import Any

import numpy as np
import shapely

from vcarve.dryrun.carve import MOST_PIXELS_ASKED, Surface, carve, suitable_step_mm, tiles
from vcarve.dryrun.target import OutlineTarget, Target
from vcarve.dryrun.tip import Tip
from vcarve.dryrun.top import FOLLOW_MM
from vcarve.dryrun.track import setup_of, track
from vcarve.errors import Finding, listed
from vcarve.groove.width import sensitivity
from vcarve.job.bench import Bit
from vcarve.job.records import Job
from vcarve.network.model import Network
from vcarve.plane.arcs import boxes, directions, left, points
from vcarve.plane.arrays import Bools, Floats, Ints
from vcarve.plane.region import lines_along
from vcarve.program.moves import Moves

USUAL_STEP_MM = 0.05
LEAST_STEP_MM = 0.005
TILE_MM = 40.0
# So many are carved tile by tile where widths ask for a finer grid than fits memory.
MOST_TILED_PIXELS = 200_000_000
# Where one of these is found the widths can only say the same again.
EXPLAINS = {"other-job", "line-missed", "stray-cut", "wrong-depth", "rapid-in-wood", "through-the-piece"}
TOUCHED_MM = 1e-6  # a pixel counts as cut from this depth on: below rounding of single precision
# Places along an edge, the farthest from its ends first.
TRIES = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9)
BESIDE_STEPS = 1  # pixels are looked at so far to either side of the section, which must be free of ends
CLEAR_STEPS = 2.5  # and other grooves must stay so far away from the rim: the corner of what is looked at
ACROSS_STEPS = 10.0  # a groove at least so many steps wide ...
WALL_STEPS = 3.0  # ... with a wall at least so many steps wide on either side is measured to within one
PIXELS = 2_000_000  # pixels looked at together
SPECK_PIXELS = 16
SAG_MM = 0.001  # of the chords by which an arc's neighbourhood is judged


@dataclass(frozen=True, slots=True, kw_only=True)
class Land:
    """The land left: its islands, the narrowest of them (NaN if there is none) and the whole area.

    An island's width is that of the largest circle on it.
    """

    islands: int = 0
    narrowest_mm: float = np.nan
    area_mm2: float = np.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What was measured on a carved piece.

    ``widths_mm`` and ``wanted_mm`` are as ``groove_widths`` gives them; ``worst_edge`` is the edge farthest from what is
    wanted, by ``worst_mm`` (signed, measured less wanted), -1 and NaN if no width could be measured.
    ``too_fine`` edges were not measured because the grid is too coarse for them, ``crowded`` because they are nowhere
    alone under the ruler.  ``finer_mm`` is a step that is fine enough for all edges, if not too many pixels.
    """

    removed_mm3: float
    deepest_mm: float
    land: Land
    widths_mm: Floats
    wanted_mm: Floats
    measured: int
    too_fine: int
    crowded: int
    finer_mm: float | None
    worst_edge: int
    worst_mm: float


def carved(target: Target, moves: Moves, step_mm: float | None = None) -> Surface:
    """Return the surface that moves leave of the job's piece.

    Without a step it is the finest that fits memory, fine enough for the narrowest groove.
    """
    if step_mm is None:
        piece = target.job.piece
        step_mm = suitable_step_mm(piece.width_mm, piece.height_mm, finest_mm=_wanted_step_mm(target))
    return carve(moves, target.job.bit, step_mm=step_mm, **_whole(target.job))


def outline_carved(target: OutlineTarget, moves: Moves, step_mm: float) -> Surface:
    """Return the surface that the moves of a cut-out leave of the job's piece, on the grid of its grooves."""
    return carve(moves, target.bit, step_mm=step_mm, **_whole(target.job))


def _whole(job: Job) -> dict[str, Any]:
    """Return what is said of the piece to the carver."""
    return {"width_mm": job.piece.width_mm, "height_mm": job.piece.height_mm, "setup": setup_of(job)}


def _wanted_step_mm(target: Target) -> float:
    """Return the step at which every groove can be measured."""
    # Lines that rise to a point are measured where they are wide.
    half = target.grooves.half_width_mm[target.grooves.ends_half_mm.min(axis=0) > 0.0]
    finest = coarsest_step_mm(half, target.job.bit).min(initial=USUAL_STEP_MM)
    return max(float(finest), LEAST_STEP_MM)


def measured(
    target: Target, moves: Moves, surface: Surface, *, with_land: bool = False, finer: bool = False
) -> Measured:
    """Return what was measured on a carved surface: widths against the formula, volume, land.

    The land takes longest.  Grooves too narrow for the surface's grid are measured on a ``finer`` one, tile by tile, within
    reason.
    """
    job, network, half = target.job, target.network, target.grooves.ends_half_mm
    places, step = Places.of(network, half), _wanted_step_mm(target)
    grids: Iterable[Surface] = [surface]
    many = job.piece.width_mm * job.piece.height_mm / step**2
    if finer and step < surface.step_mm - 1e-9 and many <= MOST_TILED_PIXELS:
        grids = chain(grids, tiles(moves, job.bit, step_mm=step, tile_mm=TILE_MM, **_whole(job)))
    widths, wanted = np.full((2, len(network.tail)), np.nan)
    lowest, highest = np.hsplit(boxes(network.curves()), 2)
    coarsest = coarsest_step_mm(places.half_width_mm, job.bit)
    for part in grids:
        fine = network.cut & (coarsest >= part.step_mm - 1e-9)
        near = (lowest <= (part.x_mm[-1], part.y_mm[-1])) & (highest >= (part.x_mm[0], part.y_mm[0]))
        here = np.flatnonzero(fine & np.isnan(widths) & (near.all(axis=1) | (part is surface)))
        found = groove_widths(part, places, edges=here, least_half_mm=least_half_mm(part.step_mm, job.bit))
        widths[here], wanted[here] = (values[here] for values in found)
    off = widths - wanted
    known = int(np.count_nonzero(np.isfinite(off)))
    worst = int(np.nanargmax(np.abs(off))) if known else -1
    seen = track(moves, job.machine, target)
    finest = float(np.floor(coarsest[network.cut].min(initial=np.inf) * 1e3 + 1e-6) / 1e3)
    fits = finest >= LEAST_STEP_MM and many * step**2 / finest**2 <= MOST_PIXELS_ASKED
    return Measured(
        removed_mm3=surface.removed_mm3,
        # The tip's own depth: the grid has no pixel where a plunge comes to its point.
        deepest_mm=float(-seen.low_mm[seen.in_wood, 2].min(initial=0.0)),
        land=land(surface, inside=_inside(target.outline, surface)) if with_land else Land(),
        widths_mm=widths,
        wanted_mm=wanted,
        measured=known,
        too_fine=int(np.count_nonzero(network.cut & ~fine)),
        crowded=int(np.count_nonzero(fine)) - known,
        finer_mm=finest if fits else None,
        worst_edge=worst,
        worst_mm=float(off[worst]) if known else np.nan,
    )


def _inside(outline: shapely.Polygon | shapely.MultiPolygon, surface: Surface) -> Bools:
    """Return which pixels belong to the piece."""
    from PIL import Image, ImageDraw

    image = Image.new("1", surface.height_mm.shape[::-1])
    pen = ImageDraw.Draw(image)
    for piece in shapely.get_parts(outline):
        for k, ring in enumerate(shapely.get_rings(piece)):
            spots = (shapely.get_coordinates(ring) - [surface.x0_mm, surface.y0_mm]) / surface.step_mm
            pen.polygon(spots.ravel().tolist(), fill=int(k == 0))
    return np.array(image, dtype=bool)


def width_findings(
    target: Target, surface: Surface, facts: Measured, known: Collection[str]
) -> list[Finding]:
    """Return what the carved surface adds to findings of the ``known`` codes: grooves that came out too wide or narrow.

    They differ from the formula by more than a grid step and the rounding of depths.
    """
    if EXPLAINS & set(known):
        return []
    job, network, grooves = target.job, target.network, target.grooves
    # On a rounded tip the shallowest groove widens most with its depth.
    shallowest = float(grooves.depth_mm[network.cut].min())
    off_mm = 2.0 * job.machine.last_decimal_mm + (FOLLOW_MM if job.surface else 0.0)
    rounding = off_mm * max(sensitivity(job.bit, shallowest), 1.0)
    if not job.machine.arcs:
        # Chords stand off the arc that is measured, by so much on either side.
        rounding += 2.0 * job.machine.arc_tolerance_mm
    step = np.minimum(surface.step_mm, coarsest_step_mm(grooves.half_width_mm, job.bit))
    off = np.abs(facts.widths_mm - facts.wanted_mm) > step + rounding
    length, xy = job.figures.length, network.xy_mm

    def make(edge: int) -> Finding:
        x, y = xy[[network.tail[edge], network.head[edge]]].mean(axis=0).tolist()
        came, made = length(float(facts.widths_mm[edge])), length(round(float(facts.wanted_mm[edge]), 6))
        sentence = f"This groove came out {came} wide; bit and depth make it {made}."
        return Finding("width-off", sentence, at_mm=(x, y))

    return listed(np.flatnonzero(off).tolist(), make)


@dataclass(frozen=True, slots=True)
class Places:
    """The grooves of a network, ready to be asked what is near."""

    network: Network
    ends_half_mm: Floats  # (2, E) at tails and at heads
    members: Ints  # the edges that are cut, in the tree's order
    tree: shapely.STRtree

    @classmethod
    def of(cls, network: Network, half_mm: Floats) -> Places:
        """Gather every groove; ``half_mm`` is half of the width of each edge, (E,) or at tails and at heads (2, E)."""
        members = np.flatnonzero(network.cut)
        tree = shapely.STRtree(lines_along(network.curves(members), SAG_MM))
        return cls(network, np.broadcast_to(half_mm, (2, len(network.cut))), members, tree)

    @property
    def half_width_mm(self) -> Floats:
        """Half of the width of each edge at its wider end, shape (E,)."""
        return np.asarray(self.ends_half_mm.max(axis=0))

    def at(self, edges: Ints, share: float) -> tuple[Floats, Floats, Floats, Floats]:
        """Return points (n, 2) at a share of the length of edges, half of the widths there (n,), and where the rims are.

        A groove that narrows is the hull of circles.  Each one touches both rims as far towards the narrower end as it
        narrows: there, unit directions (2, n, 2) to the left and to the right, the rim is half of the width away and square
        to them.  Last is how much of the edge's length each rim has (n,), 1 where the groove is even; not a number where half of
        the width falls faster than the edge goes on.
        """
        lines, ends = self.network.curves(edges), self.ends_half_mm[:, edges]
        fall = (ends[0] - ends[1]) / np.maximum(self.network.length_mm[edges], 1e-9)
        rim_share = np.sqrt(np.where(np.abs(fall) < 1.0, 1.0 - fall**2, np.nan))
        along = directions(lines, share)
        onward, across = fall[:, None] * along, rim_share[:, None] * left(along)
        half = (1.0 - share) * ends[0] + share * ends[1]
        return points(lines, share), half, np.stack([onward + across, onward - across]), rim_share

    def disturbed(self, edges: Ints, rims: Floats, clear_mm: float) -> Bools:
        """Return which places (n, 2) on the rim of the groove of ``edges`` (n,) another groove is near."""
        result = np.zeros(len(edges), dtype=bool)
        if not len(edges):
            return result
        spots = np.atleast_1d(np.asarray(shapely.points(rims), dtype=object))
        half = self.half_width_mm
        widest = float(half[self.members].max()) + clear_mm
        who, which = self.tree.query(spots, predicate="dwithin", distance=widest)
        other = self.members[which]
        foreign = other != edges[who]
        who, which, other = who[foreign], which[foreign], other[foreign]
        distance = shapely.distance(spots[who], self.tree.geometries[which])
        result[who[distance < half[other] + clear_mm]] = True
        return result


def coarsest_step_mm(half_width_mm: Floats, bit: Bit) -> Floats:
    """Return the coarsest grid on which grooves cut by a bit can be measured, shape as that of their half widths."""
    wall = half_width_mm - 0.5 * bit.tip_mm
    result: Floats = np.minimum(2.0 * half_width_mm / ACROSS_STEPS, wall / WALL_STEPS)
    return result


def least_half_mm(step_mm: float, bit: Bit) -> float:
    """Return half of the width from which on a groove can be measured on a grid and its wall is the cone's."""
    tip = Tip.of(bit)
    return max(0.5 * ACROSS_STEPS * step_mm, tip.flat_mm + WALL_STEPS * step_mm, tip.joint_mm)


def groove_widths(
    surface: Surface, places: Places, *, edges: Ints | None = None, least_half_mm: float = 0.0
) -> tuple[Floats, Floats]:
    """Return the measured width of every edge's groove in mm, and what is wanted there, each (E,).

    Both are not a number where no clean place was found, and for edges that are not cut, or not among ``edges``.
    What is wanted follows from the widths of ``places``, which also say where grooves may disturb each other and how
    far to look; a groove that narrows is not measured where half of its width is below ``least_half_mm``.
    0 means that there is no groove; a groove without a rim within twice its width gives that limit.  Where half of the section
    is off the map (an edge along the piece's border) the width is twice the half that is seen.  Good to one grid step
    where the grid is no coarser than ``coarsest_step_mm``.
    """
    network, half_width_mm = places.network, places.half_width_mm
    widths, wanted = np.full((2, len(network.tail)), np.nan)
    chosen = np.flatnonzero(network.cut)
    rest = chosen if edges is None else np.intersect1d(edges, chosen)
    clear, room = CLEAR_STEPS * surface.step_mm, (BESIDE_STEPS + 1) * surface.step_mm
    # A groove round an arc that is tighter than it is wide cuts its own rim away.
    turn = np.abs(4.0 * np.arctan(network.bulge[rest]))
    rest = rest[turn * (half_width_mm[rest] + clear) <= network.length_mm[rest]]
    for share in TRIES:
        if not len(rest):
            break
        point, half, outward, rim_share = places.at(rest, share)
        # of an edge and both its rims; there are none where it is not a number
        clean = min(share, 1.0 - share) * network.length_mm[rest] * rim_share >= room
        clean &= (rim_share == 1.0) | (half >= least_half_mm)
        seen = np.ones((2, len(rest)), dtype=bool)
        for side, normal in enumerate(outward):
            rim = point + half[:, None] * normal
            # from beside the middle, which may lie on the map's border, to the land beyond the rim
            for place in (point + surface.step_mm * normal, rim + clear * normal):
                seen[side] &= surface.shows(place)
            near = np.flatnonzero(seen[side] & clean)
            clean[near[places.disturbed(rest[near], rim[near], clear)]] = False
        clean &= seen.any(axis=0)
        rows_of = np.flatnonzero(clean)
        limit = 2.0 * float(half_width_mm[rest[rows_of]].max(initial=0.0)) + 8.0 * surface.step_mm
        each = int(PIXELS * surface.step_mm / (2.0 * limit * (2 * BESIDE_STEPS + 1))) + 1
        for begin in range(0, len(rows_of), each):
            rows = rows_of[begin : begin + each]
            halves = [
                np.where(seen[side][rows], _half_width(surface, point[rows], normal[rows], limit), np.nan)
                for side, normal in enumerate(outward)
            ]
            widths[rest[rows]] = 2.0 * np.nanmean(halves, axis=0)
        wanted[rest[rows_of]] = 2.0 * half[rows_of]
        rest = rest[~clean]
    return widths, wanted


def _half_width(surface: Surface, point: Floats, normal: Floats, limit: float) -> Floats:
    """Return distance from points (n, 2) along ``normal`` to where the wall meets the top."""
    step, count = surface.step_mm, len(point)
    along = np.arange(0.0, limit + step, step / 2.0)[:, None, None]
    aside = step * np.arange(-BESIDE_STEPS, BESIDE_STEPS + 1)[:, None]
    offset = along * normal[:, None, None] + aside * left(normal)[:, None, None]
    height, centre = surface.pixel(point[:, None, None] + offset)
    height = height.reshape(count, -1)
    away = np.einsum("nkji,ni->nkj", centre - point[:, None, None], normal).reshape(count, -1)
    top = height >= -TOUCHED_MM
    outer = np.where(top, away, np.inf).min(axis=1)
    every = np.arange(count)

    def last(within: Floats) -> Ints:
        """Return the outermost cut pixel no farther away than told."""
        cut = (height < -TOUCHED_MM) & (away <= within[:, None])
        return np.asarray(np.where(cut, away, -np.inf).argmax(axis=1))

    high = last(outer)
    inner, shallow = away[every, high], height[every, high]
    low = last(inner - 0.9 * step)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (shallow - height[every, low]) / (inner - away[every, low])
    usable = (inner - away[every, low] < 3.0 * step) & (slope > 1e-9)
    meets = np.where(usable, inner - shallow / np.where(usable, slope, 1.0), (inner + outer) / 2.0)
    half = np.clip(meets, inner, outer)
    return np.where(np.isinf(outer), limit, np.where(outer <= step, 0.0, half))


def land(surface: Surface, *, inside: Bools | None = None) -> Land:
    """Return what is left uncut: islands of pixels at the top that touch each other, also over a corner.

    ``inside`` (ny, nx) limits it to the piece's outline.  Specks of fewer than ``SPECK_PIXELS`` are the grid's rounding of
    pointed corners and left out.  The width is good to one grid step.
    """
    from scipy import ndimage

    top = surface.height_mm > -TOUCHED_MM
    if inside is not None:
        top &= inside
    padded = np.pad(top, 1)
    labels, count = ndimage.label(padded, structure=np.ones((3, 3)))
    kept = np.flatnonzero(np.bincount(labels.ravel(), minlength=count + 1)[1:] >= SPECK_PIXELS) + 1
    widest = ndimage.maximum(ndimage.distance_transform_edt(padded), labels, kept) if len(kept) else [np.nan]
    narrowest = float(2.0 * np.min(widest) - 1.0) * surface.step_mm
    area = float(np.count_nonzero(top)) * surface.step_mm**2
    return Land(islands=len(kept), narrowest_mm=narrowest, area_mm2=area)
