"""What an order of cutting costs: its time, and the lengths a person wants to know."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vcarve.network.model import Bools, Floats, Ints
from vcarve.plan.costs import Rates, corner_loss_s
from vcarve.plan.tour import Tour
from vcarve.plan.web import Web


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """``seconds`` at the given rates; with clock rates, corners and the ramps of every pass are added."""

    seconds: float
    rapid_mm: float


def ends_of(web: Web, tour: Tour) -> tuple[Ints, Ints]:
    """The vertex each step starts at and the one it ends at, each shape (S,)."""
    forward = tour.back == 0
    return np.where(forward, web.u[tour.edge], web.v[tour.edge]), np.where(
        forward, web.v[tour.edge], web.u[tour.edge]
    )


def recut(web: Web, tour: Tour, depths: Sequence[Floats]) -> Bools:
    """Which steps are travel, shape (S,): at a depth that is none of the edge's levels, or already cut to that depth.

    ``depths`` has the depth of every edge per level.
    """
    order = np.argsort(tour.edge, kind="stable")
    edge, depth = tour.edge[order], tour.depth_mm[order]
    # the deepest so far of each edge: a running maximum that starts anew where the edge changes
    big = 1.0 + (float(depth.max()) if len(depth) else 0.0)
    before = np.maximum.accumulate(edge * big + depth)
    again = np.zeros(len(order), bool)
    again[1:] = (edge[1:] == edge[:-1]) & (edge[1:] * big + depth[1:] <= before[:-1] + 1e-9)
    result = np.zeros(len(order), bool)
    result[order] = again
    needed = np.zeros(len(order), bool)
    for level in depths:
        needed |= np.abs(level[tour.edge] - tour.depth_mm) < 1e-6
    return result | ~needed


def clock(web: Web, rates: Rates, tour: Tour, start_mm: tuple[float, float]) -> Timing:
    """Time from the first approach to the last retract."""
    if not len(tour.edge):
        return Timing(seconds=0.0, rapid_mm=0.0)
    begin, end = ends_of(web, tour)
    head, tail = tour.pass_start[:-1], tour.pass_start[1:] - 1
    xy, depth = web.xy_mm, tour.depth_mm
    here = np.concatenate([[list(start_mm)], xy[end[tail[:-1]]]])
    hops = xy[begin[head]] - here
    seconds = float(web.cut_s[tour.edge].sum()) + rates.fixed_s
    seconds += float(rates.rapid_s(hops[:, 0], hops[:, 1]).sum())
    seconds += float(rates.down_s(rates.hop_mm + depth[head]).sum())
    seconds += float(rates.up_s(rates.hop_mm + depth[tail]).sum())
    inside = np.ones(len(depth), bool)
    inside[head] = False
    later = np.flatnonzero(inside)
    change = depth[later] - depth[later - 1]
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
