"""An order of cutting, and what it costs: its time, and the lengths a person wants to know."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.cuts.model import Cuts
from vcarve.plan.costs import Rates, corner_loss_s
from vcarve.plan.walks import Walk
from vcarve.plan.web import Web
from vcarve.plane.arrays import Bools, Floats, Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class Tour:
    """A program's order.  Shapes: S steps, P passes."""

    edge: Ints  # (S,) index into the cuts' edges
    back: Ints  # (S,) 1 where the edge is walked from head to tail
    begin: Ints  # (S,) index into the cuts' places: those of the edge, or shallower ones where it is travel
    end: Ints  # (S,)
    pass_start: Ints  # (P + 1,)


def tour_of(web: Web, edge: Ints, node: Ints, passes: list[Walk]) -> Tour:
    """Return passes as a tour; their steps number rows of ``edge`` (K,), which runs between the nodes of ``node`` (K, 2)."""
    passes = [each for each in passes if len(each.step)]
    step = np.concatenate([each.step for each in passes])
    place = web.place[node]
    return Tour(
        edge=edge[step >> 1],
        back=step & 1,
        begin=place[step >> 1, step & 1],
        end=place[step >> 1, 1 - (step & 1)],
        pass_start=np.append(0, np.cumsum([len(each.step) for each in passes])),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """``seconds`` at the given rates; with clock rates, corners and the ramps of every pass are added."""

    seconds: float
    rapid_mm: float


def ends_of(web: Web, tour: Tour) -> tuple[Ints, Ints]:
    """Return the vertex each step starts at and the one it ends at in the web of all cuts, each shape (S,)."""
    return web.spot[tour.begin], web.spot[tour.end]


def recut(cuts: Cuts, tour: Tour) -> Bools:
    """Return which steps are travel, shape (S,): not from end to end of their edge at its depths, or after such a step."""
    tail, head = cuts.tail[tour.edge], cuts.head[tour.edge]
    forward = tour.back == 0
    whole = (tour.begin == np.where(forward, tail, head)) & (tour.end == np.where(forward, head, tail))
    result = np.ones(len(whole), bool)
    own = np.flatnonzero(whole)
    result[own[np.unique(tour.edge[own], return_index=True)[1]]] = False
    return result


def clock(web: Web, rates: Rates, tour: Tour, start_mm: tuple[float, float]) -> Timing:
    """Time from the first approach to the last retract; ``web`` is that of all cuts."""
    if not len(tour.edge):
        return Timing(seconds=0.0, rapid_mm=0.0)
    begin, end = ends_of(web, tour)
    head, tail = tour.pass_start[:-1], tour.pass_start[1:] - 1
    xy, depth = web.xy_mm, web.cuts.depth_mm
    above, below = depth[tour.begin], depth[tour.end]
    here = np.concatenate([[list(start_mm)], xy[end[tail[:-1]]]])
    hops = xy[begin[head]] - here
    seconds = float(web.along_s(tour.edge, below - above, rates).sum()) + rates.fixed_s
    seconds += float(rates.rapid_s(hops[:, 0], hops[:, 1]).sum())
    seconds += float(rates.down_s(rates.hop_mm + above[head]).sum())
    seconds += float(rates.up_s(rates.hop_mm + below[tail]).sum())
    inside = np.ones(len(above), bool)
    inside[head] = False
    later = np.flatnonzero(inside)
    change = above[later] - below[later - 1]
    seconds += float(rates.down_s(np.maximum(change, 0.0)).sum() + rates.up_s(np.maximum(-change, 0.0)).sum())
    if rates.clock:
        seconds += corners_s(web, rates, tour)
        speed = web.speed[tour.edge]
        a = min(rates.acceleration[:2])
        seconds += float((speed[head] / (2.0 * a)).sum() + (speed[tail] / (2.0 * a)).sum())
    return Timing(seconds=seconds, rapid_mm=float(np.hypot(hops[:, 0], hops[:, 1]).sum()))


def corners_s(web: Web, rates: Rates, tour: Tour) -> float:
    """Time lost at the corners inside the passes."""
    inside = np.ones(len(tour.edge), bool)
    inside[tour.pass_start[:-1]] = False
    later = np.flatnonzero(inside)
    into, out = tour.edge[later - 1], tour.edge[later]
    arrive = web.away[1 - tour.back[later - 1], into]  # leaving the corner backwards along the edge just cut
    leave = web.away[tour.back[later], out]
    loss: Floats = corner_loss_s(arrive, leave, web.speed[into], web.speed[out], rates)
    return float(loss.sum())
