"""From cuts to a plan with its proof."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from operator import itemgetter

import numpy as np

from vcarve.cuts.model import Cuts, Rings
from vcarve.errors import InternalError
from vcarve.job.records import Job
from vcarve.mount.flat import mount_of
from vcarve.plan.bound import best_pairing
from vcarve.plan.model import Plan, Proof
from vcarve.plan.nest import Nest
from vcarve.plan.pairing import pair
from vcarve.plan.tour import Tour, cell_by_cell, clock, hops_mm, nearest_end, recut, tour_of
from vcarve.plan.web import Rates, Start, Web, rates, weave
from vcarve.plane.arcs import size

Progress = Callable[[str, float], None]
SECOND_LOOK = 30_000  # edges up to which a pairing by clock rates is tried as well
SIMPLE = 4_000  # edges up to which the simple plans are tried as well, and more than one is worth timing
SLACK = 1.004  # how far above the bound a plan that is quicker on the clock may be
TIE = 1.0005  # plans whose clock times differ by less count as equal
# The bound and the plan add up the same seconds in another order: floats differ in their last digits, and by no more.
FLOATS = 1e-9
NO_RINGS = Rings(half_edge=np.zeros(0, np.int64), start=np.zeros(1, np.int64))


def plan(
    cuts: Cuts,
    job: Job,
    rings: Rings | None = None,
    start_mm: Start | None = None,
    progress: Progress | None = None,
) -> Plan:
    """Return the plan of least machine time for all of ``cuts``; arguments as for ``candidates``."""
    return candidates(cuts, job, rings, start_mm, progress)[0]


def candidates(
    cuts: Cuts,
    job: Job,
    rings: Rings | None = None,
    start_mm: Start | None = None,
    progress: Progress | None = None,
) -> list[Plan]:
    """Return plans worth timing by a finer clock, best first by this room's own estimate.

    Of the job its rates and whether recuts are allowed are asked.  ``rings`` are the outlines of cells, to compare with;
    none if not given.  ``start_mm`` is where the bit waits, in the piece's coordinates; the work origin if not given.
    ``progress`` is told the stage's name and how much of the whole is done.

    Up to some thousand edges the simple plans are among them; beyond there is only one.  Without recuts all have the
    same, least number of passes.
    """
    tell = progress or (lambda stage, share: None)
    steady, allow = rates(job), job.plan.recut == "allow"
    cuts, start = _in_axes(cuts, job, start_mm)
    web = weave(cuts, steady)
    if not len(web.edge):
        nothing = tour_of(web.edge, np.column_stack([web.tail, web.head]), [])
        return [record(web, steady, nothing, start)]
    nest = Nest(web, steady)
    skeleton, flat = nest.skeleton, nest.lines.cut.shape[1] == 1
    tell("pairing", 0.0)
    pairings, bound = best_pairing(skeleton, steady, recut=allow, start_mm=start)
    if not flat:  # the skeleton says which lifts and recuts, but not what all cuts take at least
        _, bound = best_pairing(web, steady, recut=allow, start_mm=start)
    if allow and len(skeleton.edge) <= SECOND_LOOK:
        pairings.append(pair(skeleton, replace(steady, clock=True), recut=True, start_mm=start))
    tell("tour", 0.4)
    ours, simple = [nest.tour(each, start) for each in pairings], []
    by_cell = cell_by_cell(web, nest.lines, rings or NO_RINGS)
    if flat and len(web.edge) <= SIMPLE:
        fewest = pair(web, steady, recut=False, start_mm=start)
        simple = [nest.tour(fewest, start), nearest_end(web, start)]
        if allow:  # lines between two cells are walked twice
            simple += by_cell
    found = _best(web, steady, ours, simple, start, bound)
    if not allow:
        least = min(len(each.pass_start) for each in found)
        found = [each for each in found if len(each.pass_start) == least]
    if len(skeleton.edge) > SIMPLE:
        found = found[:1]
    tell("proof", 0.9)
    seconds = sum(clock(web, steady, each, start) for each in by_cell)
    tell("done", 1.0)
    return [record(web, steady, each, start, bound, seconds) for each in found]


def _in_axes(cuts: Cuts, job: Job, start_mm: Start | None) -> tuple[Cuts, Start]:
    """Return cuts and start as they lie along the axes of the machine, whose rates differ."""
    mount = mount_of(job)
    start = mount.zero_mm if start_mm is None else start_mm
    if not mount.turn_deg:
        return cuts, start
    x_nm, y_nm = mount.across_nm(*cuts.place_nm[:, :2].T)
    return replace(cuts, place_nm=np.column_stack([x_nm, y_nm, cuts.place_nm[:, 2]])), mount.axes_mm(*start)


def _best(
    web: Web, steady: Rates, ours: list[Tour], simple: list[Tour], start: Start, bound: float
) -> list[Tour]:
    """Return different tours worth timing, best first.

    Those near the bound go by clock rates, ties by the fewest passes and steps.  The simple ones stay at the end even if they
    are not near the bound, so that a finer clock may prefer them.
    """
    spent = [(clock(web, steady, each, start), each) for each in (*ours, *simple)]
    near = max(min(seconds for seconds, _ in spent), SLACK * bound) + FLOATS
    ticking = replace(steady, clock=True)
    timed = [(clock(web, ticking, each, start), each) for seconds, each in spent if seconds <= near]
    timed.sort(key=itemgetter(0))
    tours, tied = [each for _, each in timed], sum(seconds <= TIE * timed[0][0] for seconds, _ in timed)
    tours[:tied] = sorted(tours[:tied], key=lambda each: (len(each.pass_start), len(each.edge)))
    different: dict[bytes, Tour] = {}
    for each in (*tours, *simple):
        columns = (each.edge, each.back, each.begin, each.end, each.pass_start)
        different.setdefault(b"".join(column.tobytes() for column in columns), each)
    return list(different.values())


def record(
    web: Web, steady: Rates, best: Tour, start: Start, bound: float = 0.0, cells_s: float = 0.0
) -> Plan:
    """Return an order of cutting as a plan with its proof; raises InternalError where it takes less time than its bound."""
    spent = clock(web, steady, best, start)
    levels = int(web.cuts.level.max(initial=-1)) + 1
    if bound > spent * (1.0 + FLOATS):
        raise InternalError(
            f"a plan takes {spent!r} s, less than its proven bound of {bound!r} s ({len(web.edge)} edges in "
            f"{levels} levels, {len(best.edge)} steps, {len(best.pass_start) - 1} passes)."
        )
    again = recut(web.cuts, best)
    length = web.length_mm[best.edge]
    return Plan(
        half_edge=2 * best.edge + best.back,
        begin=best.begin,
        end=best.end,
        recut=again,
        pass_start=best.pass_start,
        hop_mm=steady.hop_mm,
        cut_mm=float(length[~again].sum()),
        recut_mm=float(length[again].sum()),
        rapid_mm=float(size(hops_mm(web, best, start)).sum()),
        levels=levels,
        proof=Proof(plan_s=spent, bound_s=bound, cell_by_cell_s=cells_s),
    )
