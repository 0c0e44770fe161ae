"""A straight line through measured points, with the uncertainty of what it says, and the points that do not belong to it.

Ordinary least squares as in the GUM (JCGM 100:2008, H.3): ``w = a + b d`` with the variances and the covariance of a and b.  The
standard uncertainty of one width is what the points scatter about their line (type A, ``n - 2`` degrees of freedom), or a
figure that is given (type B, without limit); one that the scatter contradicts (chi-squared, 5 %) gives way to the scatter, and
neither is less than the step that was read to over the square root of 12 (F.2.2.1).  Half widths of 95 % intervals are Student's
factor times the standard uncertainty (G.3).  Depths count as exact: how their errors vary shows in
the scatter.  What all points share (a zero, the scale of the Z axis or of the caliper) does not show, and is not in here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from vcarve.errors import InputError
from vcarve.plane.arrays import Floats

CONFIDENCE = 0.95
CONTRADICTED = 0.05  # a given uncertainty that would scatter as much as this only so rarely is not believed
FALSELY_NAMED = 0.01  # of coupons without an outlier
LEAST_POINTS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """``w = start + slope d`` in millimetres, and how well both are known; ``together`` is their correlation.

    ``freedom`` is that of ``deviation_mm``, the standard uncertainty of one point: infinite where it was given.
    """

    start_mm: float
    slope: float
    u_start_mm: float
    u_slope: float
    together: float
    deviation_mm: float
    freedom: float

    @property
    def factor(self) -> float:
        """How many standard uncertainties are half of a 95 % interval."""
        return float(stats.t.ppf(0.5 + CONFIDENCE / 2.0, self.freedom))

    def at(self, depth_mm: float) -> tuple[float, float]:
        """Return the width at a depth and its standard uncertainty."""
        other = self.u_slope * depth_mm
        variance = self.u_start_mm**2 + other**2 + 2.0 * self.together * self.u_start_mm * other
        return self.start_mm + self.slope * depth_mm, math.sqrt(max(variance, 0.0))


def fit_line(
    depth_mm: Floats, width_mm: Floats, given_mm: float | None = None, read_to_mm: float = 0.0
) -> Line:
    """Return the line through points (n,); ``given_mm`` is the standard uncertainty of one of them, where it is known.

    Raises InputError for fewer than three points, or points of one depth.
    """
    count = len(depth_mm)
    if count < LEAST_POINTS or not np.ptp(depth_mm) > 0.0:
        raise InputError("A line needs three points or more, at two depths or more.")
    mean = float(depth_mm.mean())
    spread = float(((depth_mm - mean) ** 2).sum())
    slope = float((depth_mm - mean) @ (width_mm - width_mm.mean())) / spread
    start = float(width_mm.mean()) - slope * mean
    left = float(((width_mm - start - slope * depth_mm) ** 2).sum())
    freedom: float = count - 2
    deviation = math.sqrt(left / freedom)
    if given_mm is not None and stats.chi2.sf(left / given_mm**2, freedom) >= CONTRADICTED:
        deviation, freedom = given_mm, math.inf
    deviation = max(deviation, read_to_mm / math.sqrt(12.0))
    square = float(depth_mm @ depth_mm) / count
    return Line(
        start_mm=start,
        slope=slope,
        u_start_mm=deviation * math.sqrt(square / spread),
        u_slope=deviation / math.sqrt(spread),
        together=-mean / math.sqrt(square),
        deviation_mm=deviation,
        freedom=freedom,
    )


def outliers(depth_mm: Floats, width_mm: Floats, read_to_mm: float = 0.0) -> list[int]:
    """Return the points that do not belong to the line through all others, the worst first.

    A point is named where its distance from the line through the others is more than their scatter can be blamed for
    (Student's t of the deleted residual, shared among the points after Bonferroni); then those that are left are asked.
    At most a quarter of the points are.
    """
    kept, named = np.arange(len(depth_mm)), list[int]()
    while len(named) < len(depth_mm) // 4 and len(kept) > LEAST_POINTS:
        depth, width = depth_mm[kept], width_mm[kept]
        centred, freedom = depth - depth.mean(), len(kept) - 3
        leverage = 1.0 / len(kept) + centred**2 / max(float(centred @ centred), 1e-12)
        slope = float(centred @ width) / max(float(centred @ centred), 1e-12)
        off = width - width.mean() - slope * centred
        free = np.maximum(1.0 - leverage, 1e-12)
        others = np.maximum(float(off @ off) - off**2 / free, 0.0) / freedom
        score = np.abs(off) / np.sqrt(free * np.maximum(others, max(read_to_mm, 1e-6) ** 2 / 12.0))
        worst = int(score.argmax())
        if score[worst] < stats.t.isf(FALSELY_NAMED / 2.0 / len(kept), freedom):
            break
        named.append(int(kept[worst]))
        kept = np.delete(kept, worst)
    return named
