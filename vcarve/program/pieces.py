"""Pieces: what a plan cuts as the lines and arcs that a program gives, in whole steps of the last decimal.

Rounding comes first and the form follows from it: an arc so flat or so short that the rounded ends no longer say how it bends is
a line, one for which the machine has no words is a row of chords, and one of more than half a turn is two.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.cuts.model import Cuts
from vcarve.job.records import Job
from vcarve.plan.model import Plan
from vcarve.plane.arcs import bulge_between, chord_counts, evenly, points, size, stretches
from vcarve.plane.arrays import Floats, Ints

# Ends of an arc nearer than this many steps of the last decimal are joined by straight lines: rounding would bend
# so short an arc more than its own curve does.
SHORT_STEPS = 20.0
# An arc that leaves its chord by less than this is cut as the chord: no digit of the program would tell them apart.
FLAT_STEPS = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Pieces:
    """Lines and arcs in order; those of pass ``p`` are ``bounds[p]`` to ``bounds[p + 1]``."""

    start: Ints  # (m, 3)
    end: Ints  # (m, 3)
    bulge: Floats  # (m,), 0 for lines
    feed_mm_min: Floats  # (m,)
    bounds: Ints  # (P + 1,)


def pieces_of(job: Job, cuts: Cuts, plan: Plan, axes: Ints, step_mm: float) -> Pieces:
    """Return the pieces of a plan; ``axes`` (N, 3) are the places of the cuts in steps of ``step_mm``."""
    begin, end = axes[plan.begin], axes[plan.end]
    bulge = np.where(plan.half_edge % 2 == 0, 1.0, -1.0) * cuts.bulge[plan.half_edge // 2]
    curve = np.column_stack([begin[:, :2], end[:, :2], bulge])
    chord = size(curve[:, 2:4] - curve[:, :2])
    flat = (0.5 * np.abs(bulge) * chord < FLAT_STEPS) & (np.abs(bulge) <= 1.0)
    chorded = ~flat & (chord < SHORT_STEPS if job.machine.arcs else np.ones(len(flat), bool))
    # More than half a turn: in two, since centres of long arcs are ill-conditioned and full circles ambiguous.
    count = np.where(~flat & (np.abs(bulge) > 1.0), 2, 1)
    count[chorded] = chord_counts(curve[chorded], job.machine.arc_tolerance_mm / step_mm)
    owner, share = evenly(count)
    till = share + 1.0 / count[owner]
    last = np.append(owner[1:] != owner[:-1], True)[: len(owner)]
    ends = begin[owner] + np.rint(till[:, None] * (end - begin)[owner]).astype(np.int64)
    inner = np.flatnonzero(~last)
    ends[inner, :2] = np.rint(points(curve[owner[inner]], till[inner]))
    ends[last] = end
    starts = begin[owner]
    starts[1:][~last[:-1]] = ends[:-1][~last[:-1]]
    bends = np.where((flat | chorded)[owner], 0.0, bulge_between(bulge[owner], 0.0, 1.0 / count[owner]))
    # On a slope Z keeps to the plunging feed; pieces of one line all have the feed of the steepest.
    way = (ends - starts).astype(float)
    along, drop = size(way[:, :2]) * stretches(bends), np.abs(way[:, 2])
    with np.errstate(divide="ignore", invalid="ignore"):
        steepest = np.where(drop, job.speeds.plunge_mm_min * np.hypot(along, drop) / drop, np.inf)
    feed = np.minimum(job.speeds.cut_mm_min, steepest)
    if len(feed):
        feed = np.minimum.reduceat(feed, np.flatnonzero(np.append(True, last[:-1])))[owner]
    keep = way.any(axis=1)  # rounding may leave nothing of a piece
    bounds = np.append(0, np.cumsum(keep))[np.append(0, np.cumsum(count))[plan.pass_start]]
    return Pieces(
        start=starts[keep], end=ends[keep], bulge=bends[keep], feed_mm_min=feed[keep], bounds=bounds
    )
