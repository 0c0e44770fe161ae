"""What the widths of a coupon say of the bit: its angle, and the sum of its tip's flat and the error of the zero.

The model is ``w = a + b d``, the bit's cone: ``b = 2 tan(angle / 2)`` and ``a = t + b z``, with t the flat of the tip (or where
the cone's own line begins above a rounded one) and z how much deeper than the program says the bit went.  A groove counts by
the mean of its places, which share the errors of its depth; all grooves count alike.  Uncertainties are standard ones as in
the GUM (JCGM 100:2008): of the line as ``coupon.line`` says, carried through to angle, t and z by their sensitivities (5.1, 5.2).
Widths alone do not tell t from z; a tip measured under a loupe gives z, a zero touched again gives t.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vcarve.coupon.line import LEAST_POINTS, Line, fit_line, outliers
from vcarve.coupon.table import Widths
from vcarve.errors import InputError
from vcarve.groove.width import Spread, VBit, cone_line_mm
from vcarve.plane.arrays import Floats, Ints, ReadOnly

LEAST_DEG, MOST_DEG = 5.0, 170.0  # what a job takes for a bit


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """A width that the others contradict: of one place of a groove, or of the whole groove (``place`` -1)."""

    groove: int
    place: int
    width_mm: float
    off_mm: float  # from the line through the others


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit(ReadOnly):
    """The fit of a table.  Shapes: G grooves that were measured.  ``others`` is the line without outliers."""

    table: Widths
    groove: Ints  # (G,) from 0
    depth_mm: Floats  # (G,)
    width_mm: Floats  # (G,)
    line: Line
    outliers: tuple[Outlier, ...]
    others: Line

    @property
    def angle_deg(self) -> float:
        """The bit's full included angle."""
        return angle_deg(self.line.slope)

    @property
    def u_angle_deg(self) -> float:
        """Its standard uncertainty."""
        return math.degrees(self.line.u_slope / (1.0 + self.line.slope**2 / 4.0))

    @property
    def angle_ends_deg(self) -> tuple[float, float]:
        """The ends of the angle's 95 % interval."""
        half = self.line.factor * self.line.u_slope
        return angle_deg(self.line.slope - half), angle_deg(self.line.slope + half)

    @property
    def off_mm(self) -> Floats:
        """How much wider than the line says each groove is, shape (G,)."""
        return np.asarray(self.width_mm - (self.line.start_mm + self.line.slope * self.depth_mm))

    @property
    def tip_mm(self) -> tuple[float, float]:
        """The tip's flat and its standard uncertainty: as measured, or as the widths need it, the zero's error in it."""
        line, tip, deeper = self.line, self.table.tip, self.table.deeper
        if tip is not None:
            return tip.length_mm, tip.uncertainty_mm
        if deeper is None:
            return line.start_mm, line.u_start_mm
        start, off = line.at(-deeper.length_mm)
        return start, math.hypot(off, line.slope * deeper.uncertainty_mm)

    @property
    def deeper_mm(self) -> tuple[float, float] | None:
        """How much deeper than the program says the bit went, and its standard uncertainty; ``None`` where nobody can tell."""
        line, tip, deeper = self.line, self.table.tip, self.table.deeper
        if deeper is not None:
            return deeper.length_mm, deeper.uncertainty_mm
        if tip is None:
            return None
        # where the line has the tip's own width
        at = (tip.length_mm - line.start_mm) / line.slope
        return -at, math.hypot(line.at(at)[1], tip.uncertainty_mm) / line.slope

    @property
    def bit(self) -> dict[str, float]:
        """The bit as a job's file has it, by its keys: a tip that would be less than none is none."""
        sold, start_mm = self.table.bit, max(self.tip_mm[0], 0.0)
        found = {"angle": round(self.angle_deg, 2), "diameter": sold.diameter_mm, "shank": sold.shank_mm}
        if sold.tip_radius_mm:
            begins, _ = cone_line_mm(VBit(angle_deg=self.angle_deg, tip_radius_mm=1.0))
            found["tip-radius"] = round(start_mm / begins, 4)
        else:
            found["tip"] = round(start_mm, 4)
        return {**found, "flutes": sold.flutes}

    @property
    def spread(self) -> Spread:
        """How far angle and tip may be off: half of 95 % intervals, and their correlation."""
        line, factor = self.line, self.line.factor
        u_tip, together = self.tip_mm[1], 0.0
        if self.table.tip is None and u_tip and line.u_slope:
            deeper = 0.0 if self.table.deeper is None else self.table.deeper.length_mm
            together = (line.together * line.u_start_mm - deeper * line.u_slope) / u_tip
        return Spread(angle_deg=factor * self.u_angle_deg, tip_mm=factor * u_tip, correlation=together)


def angle_deg(slope: float) -> float:
    """Return the full angle of a bit whose grooves widen by ``slope`` for each millimetre of depth."""
    return math.degrees(2.0 * math.atan(slope / 2.0))


def fit_widths(table: Widths) -> Fit:
    """Return what a table's widths say; raises InputError where they are not those of a V-bit.

    Outliers are named and stay in: whether a width was misread, nobody knows but who measures it again.
    """
    places = [(g, p) for g, groove in enumerate(table.grooves) for p in range(len(groove.widths_mm))]
    which, widths = np.array(places), np.array([table.grooves[g].widths_mm[p] for g, p in places])
    depths = np.array([groove.depth_mm for groove in table.grooves])
    read = outliers(depths[which[:, 0]], widths, table.read_to_mm)
    kept = np.setdiff1d(np.arange(len(widths)), read)
    grooves, means = _means(which[kept, 0], widths[kept])
    whole = grooves[outliers(depths[grooves], means, table.read_to_mm)].tolist()
    used = grooves[~np.isin(grooves, whole)]
    named = [(*which[row].tolist(), float(widths[row])) for row in read]
    named += [(g, -1, float(means[grooves == g][0])) for g in whole]
    measured, mean = _means(which[:, 0], widths)
    line = fit_line(depths[measured], mean, table.uncertainty_mm, table.read_to_mm)
    others = line
    if len(used) >= LEAST_POINTS and np.ptp(depths[used]):
        clean = means[np.isin(grooves, used)]
        others = fit_line(depths[used], clean, table.uncertainty_mm, table.read_to_mm)
    for one in (line, others):
        if not LEAST_DEG <= angle_deg(one.slope) <= MOST_DEG:
            grows = f"{one.slope:.3f} mm for each millimetre of depth"
            raise InputError(
                f"These are not the widths of a V-bit: they grow by {grows}. Are depths and widths in their places?"
            )
    return Fit(
        table=table,
        groove=measured,
        depth_mm=depths[measured],
        width_mm=mean,
        line=line,
        outliers=tuple(
            Outlier(groove=g, place=p, width_mm=w, off_mm=w - others.at(float(depths[g]))[0])
            for g, p, w in named
        ),
        others=others,
    )


def _means(groove: Ints, width_mm: Floats) -> tuple[Ints, Floats]:
    """Return the grooves (G,) that rows belong to, and the mean of each one's widths."""
    found, row = np.unique(groove, return_inverse=True)
    return found, np.bincount(row, width_mm) / np.bincount(row)
