"""An order of cutting and what it costs, and simple orders to compare with.

The simple ones are what a person would do by hand or with less thought: cell by cell, and each edge once by nearest end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.cuts.model import Cuts, Rings
from vcarve.plan.walks import Walk
from vcarve.plan.web import Lines, Rates, Start, Web, corner_loss_s
from vcarve.plane.arrays import Bools, Floats, Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class Tour:
    """A program's order.  Shapes: S steps, P passes."""

    edge: Ints  # (S,) index into the cuts' edges
    back: Ints  # (S,) 1 where the edge is walked from head to tail
    begin: Ints  # (S,) index into the cuts' places: those of the edge, or shallower ones where it is travel
    end: Ints  # (S,)
    pass_start: Ints  # (P + 1,)


def tour_of(edge: Ints, place: Ints, passes: list[Walk]) -> Tour:
    """Return passes as a tour; their steps number rows of ``edge`` (K,), which runs between the places of ``place`` (K, 2)."""
    passes = [each for each in passes if len(each.step)]
    step = np.concatenate([np.zeros(0, np.int64), *(each.step for each in passes)])
    return Tour(
        edge=edge[step >> 1],
        back=step & 1,
        begin=place[step >> 1, step & 1],
        end=place[step >> 1, 1 - (step & 1)],
        pass_start=np.cumsum([0, *(len(each.step) for each in passes)]),
    )


def recut(cuts: Cuts, tour: Tour) -> Bools:
    """Return which steps are travel, shape (S,): not from end to end of their edge at its depths, or after such a step."""
    tail, head = cuts.tail[tour.edge], cuts.head[tour.edge]
    forward = tour.back == 0
    whole = (tour.begin == np.where(forward, tail, head)) & (tour.end == np.where(forward, head, tail))
    result = np.ones(len(whole), bool)
    own = np.flatnonzero(whole)
    result[own[np.unique(tour.edge[own], return_index=True)[1]]] = False
    return result


def hops_mm(web: Web, tour: Tour, start_mm: Start) -> Floats:
    """Return the rapids that lead to the passes, shape (P, 2)."""
    begin, end = web.spot[tour.begin[tour.pass_start[:-1]]], web.spot[tour.end[tour.pass_start[1:] - 1]]
    return np.asarray(web.xy_mm[begin] - np.concatenate([[start_mm], web.xy_mm[end[:-1]]]))


def clock(web: Web, rates: Rates, tour: Tour, start_mm: Start) -> float:
    """Return the seconds from the first approach to the last retract; ``web`` is that of all cuts.

    With clock rates, corners and the ramps of every pass are added.
    """
    if not len(tour.edge):
        return 0.0
    hops = hops_mm(web, tour, start_mm)
    above, below = web.cuts.depth_mm[np.stack([tour.begin, tour.end])]
    first, last, later = tour.pass_start[:-1], tour.pass_start[1:] - 1, _later(tour)
    change = above[later] - below[later - 1]
    spent = [
        web.along_s(tour.edge, below - above, rates),
        rates.rapid_s(hops[:, 0], hops[:, 1]),
        rates.down_s(np.append(rates.hop_mm + above[first], np.maximum(change, 0.0))),
        rates.up_s(np.append(rates.hop_mm + below[last], np.maximum(-change, 0.0))),
    ]
    if rates.clock:
        ramps = web.speed[tour.edge[np.append(first, last)]] / (2.0 * min(rates.acceleration[:2]))
        spent += [ramps, np.array(corners_s(web, rates, tour))]
    return rates.fixed_s + float(sum(each.sum() for each in spent))


def corners_s(web: Web, rates: Rates, tour: Tour) -> float:
    """Return the seconds lost at the corners inside the passes."""
    later = _later(tour)
    into, out = tour.edge[later - 1], tour.edge[later]
    arrive = web.away[1 - tour.back[later - 1], into]  # leaving the corner backwards along the edge just cut
    leave = web.away[tour.back[later], out]
    return float(corner_loss_s(arrive, leave, web.speed[into], web.speed[out], rates).sum())


def _later(tour: Tour) -> Ints:
    """Return the steps that do not begin a pass."""
    return np.delete(np.arange(len(tour.edge)), tour.pass_start[:-1])


def ordered(web: Web, edge: Ints, back: Ints, *, apart: Ints | None = None) -> Tour:
    """Return the edges of a web in this order, each at its depths; no lift where one begins where the last one ended.

    With ``apart`` (S,) there is a lift between edges for which it differs.
    """
    first = np.where(back == 0, web.u[edge], web.v[edge])
    last = np.where(back == 0, web.v[edge], web.u[edge])
    new = first[1:] != last[:-1]
    if apart is not None:
        new |= np.diff(apart) != 0
    tail, head = web.place[web.tail[edge]], web.place[web.head[edge]]
    return Tour(
        edge=web.edge[edge],
        back=back,
        begin=np.where(back == 0, tail, head),
        end=np.where(back == 0, head, tail),
        pass_start=np.concatenate([[0], np.flatnonzero(new) + 1, [len(edge)]]).astype(np.int64),
    )


def nearest_end(web: Web, start: Start) -> Tour:
    """Cut every edge once, always going on with the nearest end; no lift where the next edge begins where this one ended."""
    many, here = len(web.u), complex(*start)
    ends = web.xy_mm[np.append(web.u, web.v)] @ np.array([1.0, 1.0j])
    left, order = ends.copy(), []
    for _ in range(many):
        order.append(int(np.argmin(np.abs(left - here))))
        here = ends[order[-1] - many]  # the other end
        left[[order[-1], order[-1] - many]] = np.inf
    pick = np.array(order)
    return ordered(web, pick % many, pick // many)


def cell_by_cell(web: Web, lines: Lines, rings: Rings) -> list[Tour]:
    """Cut in each level the outline of every cell on its own, in the order of its ``rings``; then what belongs to no cell.

    ``rings`` walk each line by its last cut; what is at its full depth is walked there again.
    """
    line = np.empty(len(web.edge), np.int64)
    line[lines.last] = np.arange(len(lines.last))
    ring = np.repeat(np.arange(len(rings.start) - 1), np.diff(rings.start))
    spare = np.setdiff1d(np.arange(len(lines.last)), line[rings.half_edge // 2])
    mine = np.concatenate([line[rings.half_edge // 2], spare])
    back = np.concatenate([rings.half_edge % 2, np.zeros(len(spare), np.int64)])
    apart = np.concatenate([ring, len(rings.start) + np.arange(len(spare))])
    return [
        ordered(web, lines.cut[mine, np.minimum(level, lines.count[mine] - 1)], back, apart=apart)
        for level in range(lines.cut.shape[1])
    ]
