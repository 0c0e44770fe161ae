"""What a top that is not flat means for a job: how far it bows under the lines, what that would have cost, and whether the
points that tell of it can be believed.

What the others say of a point is told by the thin-plate spline through them, without solving it again for each: the point's
weight over the diagonal of the inverse (Rippa 1999, "An algorithm for selecting a good value for the parameter c in radial
basis function interpolation", Advances in Computational Mathematics 11).
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import shapely

from vcarve.errors import Finding, at_places
from vcarve.groove.width import width_mm
from vcarve.job.surface import LEAST_POINTS, Surface
from vcarve.layout.stages import Layout
from vcarve.mount.flat import mount_of
from vcarve.plane.arcs import points as along
from vcarve.plane.arrays import NM_PER_MM, Floats, Ints
from vcarve.plane.region import polygon

LOOKS = np.linspace(0.0, 1.0, 5)  # shares of each line at which the top beneath it is looked at
OFF_MM = 1.0  # a probe so far off the piece did not slip from its edge
# A point so far from what the others say, and so many times as far as they are, is odd.
ODD_MM, ODD_TIMES = 0.1, 5.0
SLIP_MM = 0.5  # a point so far off is a slip, and would be cut: our choice
MOST_ODD = 10
BOWED_MM = 2.0  # a board that bows more is measured in other units, or hardly lies on the table; our choice
# The top's height at the zero may be off so much: where it was probed, and beyond.
ZERO_MM, FAR_ZERO_MM = 0.1, 0.5


class Warp(NamedTuple):
    """How high the top stands above that at the zero, along the lines, and how wide one groove would be without following it.

    ``beyond_mm`` is how far lines reach beyond the probed places, ``apart_mm`` how far apart those usually are; ``drift_mm`` is
    how much higher the top was found at the zero in the end than at first.
    """

    low_mm: float
    high_mm: float
    wide_mm: float
    narrowest_mm: float
    widest_mm: float
    beyond_mm: float
    apart_mm: float
    drift_mm: float

    def told(self, layout: Layout) -> str:
        """Return it in words; empty where the top is flat to the last decimal."""
        job, length = layout.job, layout.job.figures.length
        if max(-self.low_mm, self.high_mm) < 0.5 * job.machine.last_decimal_mm:
            return ""
        low, high = (
            f"{length(round(abs(mm), 2))} {'below' if mm < -0.005 else 'above'}"
            for mm in (self.low_mm, self.high_mm)
        )
        narrow, wide = (job.figures.number(round(mm, 2)) for mm in (self.narrowest_mm, self.widest_mm))
        said = (
            f"followed; along the lines it lies {low} to {high} its height at the zero; without it grooves of "
            f"{length(round(self.wide_mm, 3))} would have been {narrow} to {wide} {job.figures.unit} wide"
        )
        if self.beyond_mm >= OFF_MM:
            beyond = length(round(self.beyond_mm, 1))
            said += f"; up to {beyond} beyond the probed places it is taken to go on as it slopes there"
        if drift := round(self.drift_mm, 2):
            said += f"; the zero drifted by {length(abs(drift))} while it was probed"
        return said


@lru_cache(maxsize=1)  # asked for by every header, summary and sheet of one layout
def warp_of(layout: Layout) -> Warp | None:
    """Return how far from flat the top is, by the widest grooves; ``None`` where nobody says that it is not."""
    job, network, mount = layout.job, layout.network, mount_of(layout.job)
    if job.surface is None or mount.top is None or not layout.kinds:
        return None
    curve = network.curves(np.flatnonzero(network.cut))
    spot = np.rint(along(curve[:, None], LOOKS) * NM_PER_MM).astype(np.int64).reshape(-1, 2)
    there = np.stack(mount.across_nm(*spot.T), axis=-1) / NM_PER_MM
    rise = mount.rise_mm(there)
    low, high = float(rise.min()), float(rise.max())
    _, depth, wide = layout.kinds[0]
    narrow, widest = (width_mm(job.bit, depth + mm) if depth + mm > 0.0 else 0.0 for mm in (low, high))
    places = job.surface.places_mm[:, :2]
    probed = shapely.MultiPoint(places).convex_hull
    beyond = float(shapely.distance(shapely.points(there), probed).max())
    away = np.hypot(*(places[:, None] - places[None]).T)
    np.fill_diagonal(away, np.inf)
    apart = float(np.median(away.min(axis=0)))
    return Warp(low, high, wide, narrow, widest, beyond, apart, job.surface.drift_mm)


def surface_findings(layout: Layout) -> Iterator[Finding]:
    """Yield what is doubtful of the points: off the piece, against each other, not from this zero, not where the lines are."""
    surface, mount, warp = layout.job.surface, mount_of(layout.job), warp_of(layout)
    if surface is None or warp is None or mount.top is None:
        return
    figures, length, place = layout.job.figures, layout.job.figures.length, surface.places_mm
    piece = shapely.buffer(polygon(layout.field.outline), OFF_MM)
    on = np.column_stack(mount.piece_mm(*place[:, :2].T))
    off = np.asarray(~shapely.covers(piece, shapely.points(on)))
    if off.any():
        many = f"{np.count_nonzero(off)} of the {len(off)} places of 'surface' lie"
        said = f"{many} off the piece: what was touched there? Probe from the zero that the job names, on the piece."
        mild = int(off.sum()) <= len(off) - LEAST_POINTS
        yield from at_places(Finding("surface-off-piece", said, mild=mild), on[off].tolist())
    odd, by_mm = _odd(surface)
    for k in odd.tolist():
        x, y = (figures.number(round(v, 1)) for v in place[k, :2].tolist())
        said = (
            f"At X {x}, Y {y} {figures.unit} the top was found {length(round(float(by_mm[k]), 2))} from where the places round "
            "it lead, or another touch there: probe it again, or, if there is a step, nearer to each other there."
        )
        mild = float(by_mm[k]) <= SLIP_MM
        yield Finding("surface-odd", said, at_mm=(float(on[k, 0]), float(on[k, 1])), mild=mild)
    zero = float(mount.rise_mm(np.zeros(2)))
    inner = bool(shapely.covers(shapely.MultiPoint(place[:, :2]).convex_hull, shapely.Point(0.0, 0.0)))
    if abs(zero) > (ZERO_MM if inner else FAR_ZERO_MM):
        bed = ", not from the bed" if layout.job.zero.z == "bed" else ""
        said = (
            f"At X0 Y0 the places of 'surface' make the top {length(round(zero, 2))} high: heights count from the top there"
            f"{bed}, and the first touch has to be there."
        )
        yield Finding("surface-zero", said, mild=inner and abs(zero) <= FAR_ZERO_MM)
    yield from _doubts(layout, surface, warp)


def _doubts(layout: Layout, surface: Surface, warp: Warp) -> Iterator[Finding]:
    """Yield what is doubtful of all the points together: how high, how far, and whether they are all."""
    length, thick = layout.job.figures.length, layout.job.piece.thickness_mm
    bow = warp.high_mm - warp.low_mm
    if bow > BOWED_MM:
        said = f"Along the lines the top rises and falls by {length(round(bow, 2))}, on a piece {length(thick)} thick"
        said += ": are heights and places in the unit that they are read in?"
        yield Finding("surface-bowed", said, mild=bow <= thick)
    if warp.beyond_mm > max(warp.apart_mm, OFF_MM):
        box = shapely.get_coordinates(shapely.oriented_envelope(shapely.MultiPoint(surface.places_mm[:, :2])))
        wide = float(np.hypot(*np.diff(box, axis=0).T).min())
        beyond, apart, within = (length(round(mm, 1)) for mm in (warp.beyond_mm, warp.apart_mm, wide))
        said = f"Lines reach {beyond} beyond the probed places, which are {apart} apart: there the top is taken to go on as it "
        said += "slopes at the outermost. Probe nearer to the edge."
        if far := warp.beyond_mm > wide:
            said = f"Lines reach {beyond} beyond the probed places, which lie within {within} and say nothing of the top there. "
            said += "Probe all of the piece. Are they in inches? Then write a line 'inch' before the first."
        yield Finding("surface-beyond", said, mild=not far)
    if not surface.whole:
        said = "The touches of 'surface' do not end where they begin, at X0 Y0"
        yield Finding(
            "surface-cut-off", f"{said}: see whether the log is whole, and whether the zero has held."
        )


@lru_cache(maxsize=8)
def _odd(surface: Surface) -> tuple[Ints, Floats]:
    """Return the places that are not where the others lead, the oddest first, and how far off each is, as all others tell."""
    places = surface.places_mm
    # Touches of one place that differ; a place has their mean.
    points = np.array(surface.points_mm)
    nearest = np.hypot(*(points[:, None, :2] - places[None, :, :2]).T).argmin(axis=0)
    by_mm = np.zeros(len(places))
    np.maximum.at(by_mm, nearest, 2.0 * np.abs(points[:, 2] - places[nearest, 2]))
    odd: list[int] = np.flatnonzero(by_mm > ODD_MM).tolist()
    kept = np.delete(np.arange(len(places)), odd)
    while len(kept) > LEAST_POINTS and len(odd) < MOST_ODD:
        off = _left_out(places[kept])
        worst = int(off.argmax())
        if not off[worst] > max(ODD_MM, ODD_TIMES * float(np.median(off))):
            break
        odd.append(int(kept[worst]))
        by_mm[kept[worst]] = off[worst]
        kept = np.delete(kept, worst)
    return np.array(odd, dtype=np.int64), by_mm


def _left_out(places: Floats) -> Floats:
    """Return how far each of the places (n, 3) lies from the thin-plate spline through the others."""
    count, spread = len(places), np.ptp(places[:, :2], axis=0).max()
    xy = (places[:, :2] - places[:, :2].mean(axis=0)) / spread
    near = ((xy[:, None] - xy[None]) ** 2).sum(axis=-1)
    system = np.zeros((count + 3, count + 3))
    system[:count, :count] = near * np.log(np.where(near > 0.0, near, 1.0))
    system[:count, count:] = np.column_stack([np.ones(count), xy])
    system[count:, :count] = system[:count, count:].T
    try:
        inverse = np.linalg.inv(system)
    except np.linalg.LinAlgError:  # all that are left lie on one line
        return np.zeros(count)
    weight = inverse[:count, :count] @ places[:, 2]
    diagonal = np.abs(np.diagonal(inverse)[:count])
    # A place without which the others lie on one line is told by none.
    return np.where(diagonal > 1e-9, np.abs(weight) / np.maximum(diagonal, 1e-9), 0.0)
