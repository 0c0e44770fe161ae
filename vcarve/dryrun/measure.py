"""Measuring the carved surface as one would the piece: the width of its grooves, and its land.

A groove's width is taken from its middle square to both rims: a rim lies between the outermost cut pixel and
the innermost that is land, where the wall's slope at the cut one leads.  It is taken where one groove alone is
under the ruler: the joint at an edge's end swallows ``g / (2 tan(alpha / 2))`` of it for grooves ``g`` wide
meeting at ``alpha``, and beside another groove there must be land enough for some pixels of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from vcarve.dryrun.surface import Surface
from vcarve.dryrun.tip import Tip
from vcarve.network.model import Network
from vcarve.plane.arcs import directions, left, points
from vcarve.plane.arrays import Bools, Floats, Ints
from vcarve.plane.region import lines_along

if TYPE_CHECKING:
    from vcarve.job.bench import Bit


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

    islands: int
    narrowest_mm: float
    area_mm2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What was measured on a carved piece.

    ``widths_mm`` and ``wanted_mm`` are as ``groove_widths`` gives them; ``worst_edge`` is the edge farthest from what is
    wanted, by ``worst_mm`` (signed, measured less wanted), -1 and NaN if no width could be measured.
    ``too_fine`` edges were not measured because the grid is too coarse for them, ``crowded`` because they are nowhere
    alone under the ruler.
    """

    removed_mm3: float
    deepest_mm: float
    land: Land
    widths_mm: Floats
    wanted_mm: Floats
    measured: int
    too_fine: int
    crowded: int
    worst_edge: int
    worst_mm: float


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

    @property
    def narrowing(self) -> Floats:
        """By how much half of the width falls with each millimetre along each edge, from tail to head, shape (E,)."""
        return np.asarray(-np.diff(self.ends_half_mm, axis=0)[0] / np.maximum(self.network.length_mm, 1e-9))

    @property
    def rim_share(self) -> Floats:
        """How much of an edge's length each rim has; not a number where half of the width falls faster than the edge goes on."""
        return np.sqrt(np.where(np.abs(self.narrowing) < 1.0, 1.0 - self.narrowing**2, np.nan))

    def at(self, edges: Ints, share: float) -> tuple[Floats, Floats, Floats]:
        """Return points (n, 2) at a share of the length of edges, half of the widths there (n,), and where the rims are.

        A groove that narrows is the hull of circles.  Each one touches both rims as far towards the narrower end as it
        narrows: there, unit directions (2, n, 2) to the left and to the right, the rim is half of the width away and square
        to them.
        """
        lines = self.network.curves(edges)
        half = (1.0 - share) * self.ends_half_mm[0, edges] + share * self.ends_half_mm[1, edges]
        along = directions(lines, share)
        onward = self.narrowing[edges, None] * along
        across = self.rim_share[edges, None] * left(along)
        return points(lines, share), half, np.stack([onward + across, onward - across])

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
    even = places.narrowing == 0.0
    for share in TRIES:
        if not len(rest):
            break
        point, half, outward = places.at(rest, share)
        # of an edge and both its rims; there are none where it is not a number
        clean = min(share, 1.0 - share) * network.length_mm[rest] * places.rim_share[rest] >= room
        clean &= even[rest] | (half >= least_half_mm)
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
    tangent = np.column_stack([-normal[:, 1], normal[:, 0]])
    offset = along * normal[:, None, None] + aside * tangent[:, None, None]
    height, centre = surface.pixel(point[:, None, None] + offset)
    height = height.reshape(count, -1)
    away = np.einsum("nkji,ni->nkj", centre - point[:, None, None], normal).reshape(count, -1)
    top = height >= -TOUCHED_MM
    outer = np.where(top, away, np.inf).min(axis=1)
    every = np.arange(count)

    def last(within: Floats) -> Ints:
        """Return the outermost cut pixel no farther away than told."""
        return np.asarray(
            np.where((height < -TOUCHED_MM) & (away <= within[:, None]), away, -np.inf).argmax(axis=1)
        )

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
    return Land(
        islands=len(kept),
        narrowest_mm=float(2.0 * np.min(widest) - 1.0) * surface.step_mm,
        area_mm2=float(np.count_nonzero(top)) * surface.step_mm**2,
    )
