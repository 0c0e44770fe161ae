"""Cutting in several levels: all of one level after the other, or every pass to and fro, deeper each time.

Going deeper in place at the end of a pass saves the lift and the rapid to the next pass; with levels that is usually
quicker.  The bound takes no notice of which cut must come first: every program walks each cut of every level.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vcarve.cuts.model import Cuts
from vcarve.plan.bound import best_pairing, bound_s
from vcarve.plan.costs import Rates
from vcarve.plan.join import join
from vcarve.plan.pairing import Pairing, pair
from vcarve.plan.timing import clock, ends_of
from vcarve.plan.tour import Tour, tour
from vcarve.plan.web import Web
from vcarve.plane.arrays import Ints


def last_cuts(web: Web) -> Web:
    """Return the web of the last cut of every line, in the order of the lines."""
    cuts = web.cuts
    last = np.ones(len(cuts.after), bool)
    last[cuts.after[cuts.after >= 0]] = False
    at = np.flatnonzero(last)
    return web.only(at[np.argsort(_lines(cuts)[at])])


def in_levels(
    web: Web, full: Web, rates: Rates, *, recut: bool, start_mm: tuple[float, float]
) -> tuple[list[Tour], float]:
    """Return both ways, the quicker one first, and the bound; ``full`` is the web of last cuts."""
    bound = bound_s(web, rates, pair(web, rates, recut=recut, start_mm=start_mm))
    level = web.cuts.level
    found, _ = best_pairing(full, rates, recut=recut, start_mm=start_mm)
    base = [
        tour(
            full,
            rates,
            each,
            join(full, rates, np.concatenate([[[each.end, each.start]], each.lift]), start_mm),
        )
        for each in found
    ]
    ways = [_by_level(web, rates, level, recut, start_mm)]
    if recut or (level[full.edge] == level.max()).all():
        ways += [_to_and_fro(web, each, level) for each in base]
    times = [clock(web, rates, each, start_mm).seconds for each in ways]
    return [ways[k] for k in np.argsort(times, kind="stable").tolist()], bound


def _lines(cuts: Cuts) -> Ints:
    """Return the first cut of the line of each cut, shape (E,)."""
    first = np.where(cuts.after >= 0, cuts.after, np.arange(len(cuts.after)))
    while (first[first] != first).any():
        first = first[first]
    return first


def by_levels(cuts: Cuts, base: Tour, level: Ints) -> list[Tour]:
    """Return a tour of the last cuts as it is walked in each level, no deeper than lines then are; ``level`` is each cut's."""
    depth = cuts.place_nm[:, 2]
    walks = [base]
    for most in range(int(level.max(initial=0)) - 1, -1, -1):
        each = walks[-1]
        edge = np.where(level[each.edge] > most, cuts.after[each.edge], each.edge)
        tail, head = cuts.tail[edge], cuts.head[edge]
        begin, end = np.where(each.back == 0, tail, head), np.where(each.back == 0, head, tail)
        begin = np.where(depth[each.begin] <= depth[begin], each.begin, begin)
        walks.append(
            replace(each, edge=edge, begin=begin, end=np.where(depth[each.end] <= depth[end], each.end, end))
        )
    return walks[::-1]


def _by_level(web: Web, rates: Rates, level: Ints, recut: bool, start_mm: tuple[float, float]) -> Tour:
    """Plan each level on its own, beginning where the one above it ended; no lift where it can go on in place."""
    parts: list[Tour] = []
    here = start_mm
    known: dict[object, Pairing] = {}
    line = _lines(web.cuts)
    order = np.argsort(level, kind="stable")
    for at in np.split(order, np.flatnonzero(np.diff(level[order])) + 1):
        layer = web.only(at)
        # The same edges from the same place are paired alike, a little deeper: very many levels take no longer than a few.
        rank = np.unique(layer.depth_mm, return_inverse=True)[1]
        alike = (*(x.tobytes() for x in (line[at], layer.tail, layer.head, rank)), here)
        one = known.get(alike)
        if one is None:
            one = best_pairing(layer, rates, recut=recut, start_mm=here)[0][0]
            known[alike] = one
        links = join(layer, rates, np.concatenate([[[one.end, one.start]], one.lift]), here)
        parts.append(tour(layer, rates, one, links))
        last = web.xy_mm[ends_of(web, parts[-1])[1][-1]]
        here = (float(last[0]), float(last[1]))
    return _string(web, parts)


def _to_and_fro(web: Web, base: Tour, level: Ints) -> Tour:
    """Walk every pass once per level, turning round in place (closed passes simply go round again)."""
    begin, end = ends_of(web, base)
    last = level[base.edge]
    walks = by_levels(web.cuts, base, level)
    parts: list[Tour] = []
    for a, b in zip(base.pass_start[:-1].tolist(), base.pass_start[1:].tolist(), strict=True):
        closed = begin[a] == end[b - 1]
        mine = []
        for k in range(int(last[a:b].max()) + 1):
            one = (walks[k].edge[a:b], walks[k].back[a:b], walks[k].begin[a:b], walks[k].end[a:b])
            turn = k % 2 == 1 and not closed
            mine.append((one[0][::-1], 1 - one[1][::-1], one[3][::-1], one[2][::-1]) if turn else one)
        e, s, p, q = (np.concatenate([w[i] for w in mine]) for i in range(4))
        parts.append(replace(base, edge=e, back=s, begin=p, end=q, pass_start=np.array([0, len(e)])))
    return _string(web, parts, lift=True)


def _string(web: Web, parts: list[Tour], *, lift: bool = False) -> Tour:
    """Join parts one after the other; a part that begins where the last one ended goes on in the same pass unless ``lift``."""
    starts: list[Ints] = []
    offset, last = 0, -1
    for part in parts:
        begin, end = ends_of(web, part)
        mine = part.pass_start[:-1] + offset
        starts.append(mine[1:] if begin[0] == last and not lift else mine)
        offset, last = offset + len(part.edge), int(end[-1])
    return Tour(
        edge=np.concatenate([p.edge for p in parts]),
        back=np.concatenate([p.back for p in parts]),
        begin=np.concatenate([p.begin for p in parts]),
        end=np.concatenate([p.end for p in parts]),
        pass_start=np.append(np.concatenate(starts), offset).astype(np.int64),
    )
