"""From cuts to a plan with its proof."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from vcarve.cuts.model import Cuts, Rings
from vcarve.errors import InternalError
from vcarve.job.records import Job
from vcarve.mount.flat import mount_of
from vcarve.plan.baselines import cell_by_cell, fewest_passes, nearest_end
from vcarve.plan.bound import best_pairing
from vcarve.plan.costs import Rates, rates
from vcarve.plan.join import join
from vcarve.plan.levels import by_levels, in_levels, last_cuts
from vcarve.plan.moats import MOST
from vcarve.plan.model import Plan, Proof
from vcarve.plan.order import improve, turned
from vcarve.plan.pairing import Pairing, pair
from vcarve.plan.timing import clock, recut
from vcarve.plan.tour import Tour, tour
from vcarve.plan.web import Web, weave

Progress = Callable[[str, float], None]
SECOND_LOOK = 30_000  # edges up to which a pairing by clock rates is tried as well
SIMPLE = 4_000  # edges up to which the simple plans are tried as well
TIE = 1.0005  # plans whose clock times differ by less count as equal
# The bound and the plan add up the same seconds in another order: floats differ in their last digits, and by no more.
FLOATS = 1e-9
NO_RINGS = Rings(half_edge=np.zeros(0, np.int64), start=np.zeros(1, np.int64))
SLACK = 1.004  # how far above the bound a plan that is quicker on the clock may be


def plan(
    cuts: Cuts,
    job: Job,
    rings: Rings | None = None,
    start_mm: tuple[float, float] | None = None,
    progress: Progress | None = None,
) -> Plan:
    """Return the plan of least machine time for all of ``cuts``; arguments as for ``candidates``."""
    return candidates(cuts, job, rings, start_mm, progress)[0]


def candidates(
    cuts: Cuts,
    job: Job,
    rings: Rings | None = None,
    start_mm: tuple[float, float] | None = None,
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
    steady = rates(job)
    mount = mount_of(job)
    start = mount.zero_mm if start_mm is None else start_mm
    if mount.turn_deg:  # rates are those of the machine's axes
        x_nm, y_nm, _ = mount.axes_nm(*cuts.place_nm[:, :2].T)
        cuts = replace(cuts, place_nm=np.column_stack([x_nm, y_nm, cuts.place_nm[:, 2]]))
        start = mount.axes_mm(*start)
    web = weave(cuts, steady)
    if not len(web.edge):
        none = np.zeros(0, np.int64)
        nothing = Tour(edge=none, back=none, begin=none, end=none, pass_start=np.zeros(1, np.int64))
        return [record(web, steady, nothing, start)]
    allow = job.plan.recut == "allow"
    level = cuts.level
    full = last_cuts(web) if level.any() else web
    cells = cell_by_cell(full, rings or NO_RINGS)
    tell("pairing", 0.0)
    if level.any():
        found, bound = in_levels(web, full, steady, recut=allow, start_mm=start)
    else:
        found, bound = _flat(web, cells, steady, start, allow, tell)
    if not allow:
        least = min(len(each.pass_start) for each in found)
        found = [each for each in found if len(each.pass_start) == least]
    if len(full.edge) > SIMPLE:
        found = found[:1]
    tell("proof", 0.9)
    seconds = sum(clock(web, steady, each, start).seconds for each in by_levels(cuts, cells, level))
    tell("done", 1.0)
    return [record(web, steady, each, start, bound, seconds) for each in _different(found)]


def _different(tours: list[Tour]) -> list[Tour]:
    kept: dict[bytes, Tour] = {}
    for each in tours:
        columns = (each.edge, each.back, each.begin, each.end, each.pass_start)
        kept.setdefault(b"".join(column.tobytes() for column in columns), each)
    return list(kept.values())


def from_pairing(web: Web, steady: Rates, found: Pairing, start: tuple[float, float]) -> Tour:
    """Return one tour of a pairing's recuts and lifts."""
    links = np.concatenate([[[found.end, found.start]], found.lift]).astype(np.int64)
    whole = tour(web, steady, found, join(web, steady, links, start))
    # one component's pairing is already the best there is
    return improve(web, steady, whole, start) if len(found.even) > 1 or found.far else whole


def _flat(
    web: Web, cells: Tour, steady: Rates, start: tuple[float, float], allow: bool, tell: Progress
) -> tuple[list[Tour], float]:
    """Return orders of a web cut in one level, best first, and the bound."""
    found, bound = best_pairing(web, steady, recut=allow, start_mm=start)
    tell("tour", 0.4)
    tours = [from_pairing(web, steady, each, start) for each in found]
    ticking = replace(steady, clock=True)
    if allow and len(web.edge) <= SECOND_LOOK and len(found[0].even) <= MOST:
        tours.append(from_pairing(web, steady, pair(web, ticking, recut=True, start_mm=start), start))
        tell("tour", 0.7)
    own = len(tours)
    if len(web.edge) <= SIMPLE:
        tours += [fewest_passes(web, steady, start), nearest_end(web, start)]
        tours += [cells] * allow
    if web.slopes.any():
        tours = [turned(web, steady, each, start) for each in tours]
    constant = [clock(web, steady, each, start).seconds for each in tours]
    near = max(min(constant), SLACK * bound) + 1e-9
    real = [
        clock(web, ticking, each, start).seconds if seconds <= near else np.inf
        for each, seconds in zip(tours, constant, strict=True)
    ]
    # simple plans stay even when they are not near the bound, so that a finer clock may prefer them
    kept = [k for k in range(len(tours)) if real[k] < np.inf or k >= own]
    limit = TIE * min(real)
    order = sorted(
        kept,
        key=lambda k: (
            (len(tours[k].pass_start), len(tours[k].edge), real[k])
            if real[k] <= limit
            else (np.inf, real[k], k)
        ),
    )
    return [tours[k] for k in order], bound


def record(
    web: Web, steady: Rates, best: Tour, start: tuple[float, float], bound: float = 0.0, cells_s: float = 0.0
) -> Plan:
    """Return an order of cutting as a plan with its proof; raises InternalError where it takes less time than its bound."""
    spent = clock(web, steady, best, start)
    levels = int(web.cuts.level.max(initial=-1)) + 1
    if bound > spent.seconds * (1.0 + FLOATS):
        raise InternalError(
            f"a plan takes {spent.seconds!r} s, less than its proven bound of {bound!r} s ({len(web.edge)} edges in "
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
        rapid_mm=spent.rapid_mm,
        levels=levels,
        proof=Proof(plan_s=spent.seconds, bound_s=bound, cell_by_cell_s=cells_s),
    )
