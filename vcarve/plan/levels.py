"""Cutting in several levels: all of one level after the other, or every pass to and fro, deeper each time.

Going deeper in place at the end of a pass saves the lift and the rapid to the next pass; with levels that is usually
quicker.  The bound of a job in levels is that of a web in which every edge occurs once per level: the bit must walk it
at each level, so the argument of ``vcarve.plan.bound`` holds with one node per vertex and level.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vcarve.network.model import Floats, Ints
from vcarve.plan.bound import best_pairing, bound_s
from vcarve.plan.costs import Rates
from vcarve.plan.join import join
from vcarve.plan.pairing import Pairing, pair
from vcarve.plan.timing import clock, ends_of
from vcarve.plan.tour import Tour, tour
from vcarve.plan.web import Web

SHAVING_MM = 0.02  # near the rounding of depths; a level of its own for that would cut nothing
# The usual last decimal: a cut deeper than a step by no more is not told from one as deep.
ROUNDING_MM = 0.001


def level_depths(web: Web, step_mm: float) -> list[Floats]:
    """Depth of each edge (M,) per level; an edge already at its full depth keeps that depth in later levels.

    The deepest edge is reached in equal steps of at most ``step_mm``; shallower ones stop at their own depth, where a last
    shaving thinner than ``SHAVING_MM`` (or most of a step) comes off with the level before.  Where that would cut more than
    ``step_mm`` (up to ``ROUNDING_MM``) at once, the two share evenly what is left.
    """
    full = web.levels_mm[web.level]
    deepest = float(full.max()) if len(full) else 0.0
    count = max(int(np.ceil(deepest / step_mm - 1e-9)), 1)
    reached = np.round(deepest * np.arange(1, count + 1) / count, 6)
    shaving = min(SHAVING_MM, 0.4 * deepest / count)
    levels: list[Floats] = []
    before = np.zeros(len(full))
    for depth in reached.tolist():
        thin = (full > depth) & (full - depth < shaving)
        shared = np.where(full - before <= step_mm + ROUNDING_MM, full, np.round((before + full) / 2.0, 6))
        before = np.where(thin, shared, np.minimum(full, depth))
        levels.append(before)
    return levels


def in_levels(
    web: Web, rates: Rates, depths: list[Floats], *, recut: bool, start_mm: tuple[float, float]
) -> tuple[list[Tour], float]:
    """Both ways, the quicker one first, and the bound."""
    stacked = _stack(web, depths)
    bound = bound_s(stacked, rates, pair(stacked, rates, recut=recut, start_mm=start_mm))
    found, _ = best_pairing(web, rates, recut=recut, start_mm=start_mm)
    base = [
        tour(web, rates, each.recut_edge, each.recut_level,
             join(web, rates, np.concatenate([[[each.end, each.start]], each.lift]), start_mm))
        for each in found
    ]  # fmt: skip
    ways = [_by_level(web, rates, depths, recut, start_mm)]
    same_depth = len(web.levels_mm) == 1
    if same_depth or recut:
        ways += [_to_and_fro(web, each, depths) for each in base]
    times = [clock(web, rates, each, start_mm).seconds for each in ways]
    return [ways[k] for k in np.argsort(times, kind="stable").tolist()], bound


def _stack(web: Web, depths: list[Floats]) -> Web:
    """A web in which every edge occurs once for every level it is cut in."""
    before = np.zeros(len(web.edge))
    index: list[Ints] = []
    depth: list[Floats] = []
    for each in depths:
        mine = np.flatnonzero(each > before + 1e-9)
        index.append(mine)
        depth.append(each[mine])
        before = each
    at = np.concatenate(index)
    return _cut_at(web, at, np.concatenate(depth))


def _cut_at(web: Web, at: Ints, depth: Floats) -> Web:
    """The edges ``at`` of a web, at other depths; vertices keep their numbers, but some may have no node."""
    levels, level = np.unique(np.round(depth, 6), return_inverse=True)
    vertices, compact = np.unique(np.concatenate([web.u[at], web.v[at]]), return_inverse=True)
    u, v = compact[: len(at)].astype(np.int64), compact[len(at) :].astype(np.int64)
    key = np.unique(np.concatenate([u, v]) * len(levels) + np.concatenate([level, level]))
    return Web(
        edge=at,
        u=u,
        v=v,
        length_mm=web.length_mm[at],
        speed=web.speed[at],
        away=web.away[:, at],
        level=level.astype(np.int64),
        levels_mm=levels,
        xy_mm=web.xy_mm[vertices],
        node_vertex=key // len(levels),
        node_level=key % len(levels),
        first_node=np.searchsorted(key // len(levels), np.arange(len(vertices) + 1)),
    )


def _by_level(
    web: Web, rates: Rates, depths: list[Floats], recut: bool, start_mm: tuple[float, float]
) -> Tour:
    """Each level planned on its own, beginning where the one above it ended; no lift where it can go on in place."""
    parts: list[Tour] = []
    before = np.zeros(len(web.edge))
    here = start_mm
    known: dict[object, Pairing] = {}
    for each in depths:
        at = np.flatnonzero(each > before + 1e-9)
        before = each
        layer = _cut_at(web, at, each[at])
        # The same edges from the same place are paired alike, a little deeper: very many levels take no longer than a few.
        alike = (at.tobytes(), layer.level.tobytes(), here)
        one = known.get(alike)
        if one is None:
            one = best_pairing(layer, rates, recut=recut, start_mm=here)[0][0]
            known[alike] = one
        links = join(layer, rates, np.concatenate([[[one.end, one.start]], one.lift]), here)
        walked = tour(layer, rates, one.recut_edge, one.recut_level, links)
        parts.append(replace(walked, edge=at[walked.edge]))
        last = ends_of(web, parts[-1])[1][-1]
        here = (float(web.xy_mm[last, 0]), float(web.xy_mm[last, 1]))
    return _string(web, parts)


def _to_and_fro(web: Web, base: Tour, depths: list[Floats]) -> Tour:
    """Every pass walked once per level, turning round in place (closed passes simply go round again)."""
    begin, end = ends_of(web, base)
    parts: list[Tour] = []
    for a, b in zip(base.pass_start[:-1].tolist(), base.pass_start[1:].tolist(), strict=True):
        edge, back, full = base.edge[a:b], base.back[a:b], base.depth_mm[a:b]
        closed = begin[a] == end[b - 1]
        last = max(
            k for k in range(len(depths)) if k == 0 or (depths[k][edge] > depths[k - 1][edge] + 1e-9).any()
        )
        walks = []
        for k in range(last + 1):
            depth = np.minimum(full, depths[k][edge])
            turn = k % 2 == 1 and not closed
            walks.append((edge[::-1], 1 - back[::-1], depth[::-1]) if turn else (edge, back, depth))
        e, s, d = (np.concatenate([w[i] for w in walks]) for i in range(3))
        parts.append(replace(base, edge=e, back=s, depth_mm=d, pass_start=np.array([0, len(e)])))
    return _string(web, parts, lift=True)


def _string(web: Web, parts: list[Tour], *, lift: bool = False) -> Tour:
    """Parts one after the other; a part that begins where the last one ended goes on in the same pass unless ``lift``."""
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
        depth_mm=np.concatenate([p.depth_mm for p in parts]),
        pass_start=np.append(np.concatenate(starts), offset).astype(np.int64),
        loss_s=sum(p.loss_s for p in parts),
        best_loss_s=sum(p.best_loss_s for p in parts),
    )
