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
from vcarve.errors import InputError, Problem
from vcarve.groove.width import Spread, VBit, cone_line_mm
from vcarve.job.fields import BLUNTEST_DEG, MOST_SPREAD_DEG, SHARPEST_DEG
from vcarve.plane.arrays import Floats, Ints, ReadOnly


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """A width that the others contradict: of one place of a groove, or of the whole groove (``place`` -1)."""

    groove: int
    place: int
    width_mm: float
    off_mm: float  # from the line through the others

    def sentence(self, table: Widths) -> str:
        """Return which width of a table it is, and how far it is off."""
        length = table.figures.length
        where = f"groove {self.groove + 1}, {length(table.grooves[self.groove].depth_mm)} deep"
        what = "its width" if self.place < 0 else f"place {self.place + 1}"
        side = "wider" if self.off_mm > 0.0 else "narrower"
        off = f"{length(abs(self.off_mm))} {side} than the others say"
        return f"{where}: {what}, {length(self.width_mm)}, is {off}. Measure it again, or take it out."


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
    def begins(self) -> float:
        """Where the cone's own line begins for each millimetre of the tip's measure, which of a rounded one is its radius."""
        if not self.table.bit.tip_radius_mm:
            return 1.0
        return cone_line_mm(VBit(angle_deg=self.angle_deg, tip_radius_mm=1.0))[0]

    @property
    def tip_mm(self) -> tuple[float, float]:
        """Where the cone's line begins, which is the tip's flat, and its standard uncertainty.

        As measured, or as the widths need it, the zero's error in it.
        """
        line, tip, deeper = self.line, self.table.tip, self.table.deeper
        if tip is not None:
            return self.begins * tip.length_mm, self.begins * tip.uncertainty_mm
        if deeper is None:
            return line.start_mm, line.u_start_mm
        start, off = line.at(-deeper.length_mm)
        return start, math.hypot(off, line.slope * deeper.uncertainty_mm)

    @property
    def deeper_mm(self) -> tuple[float, float] | None:
        """How much deeper than the program says the bit went, and its standard uncertainty; ``None`` where nobody can tell."""
        line, deeper = self.line, self.table.deeper
        if deeper is not None:
            return deeper.length_mm, deeper.uncertainty_mm
        if self.table.tip is None:
            return None
        # where the line has the tip's own width
        tip, u_tip = self.tip_mm
        at = (tip - line.start_mm) / line.slope
        return -at, math.hypot(line.at(at)[1], u_tip) / line.slope

    @property
    def bit(self) -> dict[str, float]:
        """The bit as a job's file has it, by its keys: a tip that would be less than none is none."""
        sold, tip = self.table.bit, round(max(self.tip_mm[0], 0.0) / self.begins, 4)
        return {
            "angle": round(self.angle_deg, 2),
            "diameter": sold.diameter_mm,
            "shank": sold.shank_mm,
            "tip-radius" if sold.tip_radius_mm else "tip": tip,
            "flutes": sold.flutes,
        }

    @property
    def spread(self) -> Spread:
        """How far angle and tip may be off: half of 95 % intervals, and their correlation.

        Where a job's tip is none because it cannot be less, the tip's is larger by what it would be less.
        """
        line, factor, (tip, u_tip) = self.line, self.line.factor, self.tip_mm
        off_mm, together = factor * u_tip + max(-tip, 0.0), 0.0
        if self.table.tip is None:
            deeper = 0.0 if self.table.deeper is None else self.table.deeper.length_mm
            together = factor * (line.together * line.u_start_mm - deeper * line.u_slope) / off_mm
        return Spread(angle_deg=factor * self.u_angle_deg, tip_mm=off_mm, correlation=together)


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
    found = Fit(
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
    if want := _doubt(found):
        raise InputError([Problem(want=want), *(Problem(want=one.sentence(table)) for one in found.outliers)])
    return found


def _doubt(fit: Fit) -> str:
    """Return why a fit is that of no bit which a job could name; empty where it is."""
    for slope in (fit.line.slope, fit.others.slope):
        if not _of_a_bit(slope):
            asked = "Are depths and widths in their places?"
            if _of_a_bit(25.4 * slope):
                asked = "Are they inches? Write them with their unit, such as 0.05 in."
            grows = f"they grow by {slope:.3f} mm for each millimetre of depth"
            return f"These are not the widths of a V-bit: {grows}. {asked}"
    if fit.angle_ends_deg[0] > 0.0 and fit.spread.angle_deg <= MOST_SPREAD_DEG:
        return ""
    known = f"Widths known to ± {fit.table.figures.length(fit.line.deviation_mm)} each"
    return f"{known} leave the angle open; measure them again, or more grooves of more different depths."


def _of_a_bit(slope: float) -> bool:
    return SHARPEST_DEG <= angle_deg(slope) <= BLUNTEST_DEG


def _means(groove: Ints, width_mm: Floats) -> tuple[Ints, Floats]:
    """Return the grooves (G,) that rows belong to, and the mean of each one's widths."""
    found, row = np.unique(groove, return_inverse=True)
    return found, np.bincount(row, width_mm) / np.bincount(row)
