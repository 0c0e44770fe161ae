"""Drawn lines made fit for a network: small gaps closed, doubled lines merged.

Glossary
node       a place where lines end; ends closer than ``SAME_MM`` are one node
corner     a node where a line as drawn ends, not a joint inside a curve
loose end  a node with one line only
"""

from __future__ import annotations

import heapq
import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from vcarve.errors import InputError, Problem
from vcarve.plane.arcs import Point, boxes, bulge_between, nearest, size
from vcarve.plane.arrays import Bools, Floats, Ints
from vcarve.plane.meet import clusters
from vcarve.plane.region import upright

MOST_CLOSE = 200_000  # pairs of corners near enough to be made one; for each the lines round them are walked
SAME_MM = 0.001  # drawings are written with a few decimals; nothing this small can be meant


@dataclass(frozen=True, slots=True, kw_only=True)
class Mended:
    """A gap that was closed, or a line that is drawn more than once, in a drawing."""

    code: str  # ``gap-closed`` or ``doubled-line``
    at_mm: Point
    gap_mm: float = 0.0


def join(
    curves: Floats, corners: Bools, features: Sequence[int], close_gaps_mm: float
) -> tuple[Floats, Ints, list[Mended]]:
    """Return curves (n, 5) that meet exactly where they were meant to, their features, and what was done about it.

    ``corners`` (n, 2) tells which of their ends are corners.
    Corners not farther apart than ``close_gaps_mm`` become one unless a short way along the lines joins them already; a
    loose end that near to a line is moved onto it.  Lines end where another line's end touches them, and lines drawn more than
    once stay once.  Coordinates come back in whole nanometres.
    """
    web = _Web(curves, corners, features)
    if close_gaps_mm > SAME_MM:
        web.close_corners(close_gaps_mm)
        web.close_loose_ends(close_gaps_mm)
    web.split_at_nodes()
    return *web.lines(), web.told


class _Web:
    """Nodes and the sides between them: places (N, 2), whether each is a corner, tail, head, bulge and feature of each side."""

    def __init__(self, curves: Floats, corners: Bools, features: Sequence[int]) -> None:
        # Ends at one place count once among the pairs: of a line drawn very many times all would be near to all.
        ends = np.round(curves[:, :4].reshape(-1, 2), 6) + 0.0
        _, first, which = np.unique(ends, axis=0, return_index=True, return_inverse=True)
        apart = ends[np.sort(first)]
        # Of ends that are one node the place of the one drawn first counts, and nodes are numbered as they were drawn.
        drawn, node = clusters(apart, SAME_MM)
        self.xy = apart[drawn]
        self.tail, self.head = node[np.argsort(np.argsort(first))][which.ravel()].reshape(-1, 2).T
        self.corner = np.zeros(len(self.xy), dtype=bool)
        self.corner[self.tail[corners[:, 0]]] = True
        self.corner[self.head[corners[:, 1]]] = True
        self.bulge, self.feature = curves[:, 4], np.array(features, dtype=np.int64)
        self.told: list[Mended] = []
        self._take(self.tail != self.head)

    def _take(self, sides: Any) -> None:
        self.tail, self.head = self.tail[sides], self.head[sides]
        self.bulge, self.feature = self.bulge[sides], self.feature[sides]

    @property
    def _curves(self) -> Floats:
        return np.column_stack([self.xy[self.tail], self.xy[self.head], self.bulge])

    def _place(self, node: int) -> Point:
        x, y = self.xy[node].tolist()
        return x, y

    def close_corners(self, tolerance: float) -> None:
        """Make corners one that lie within the tolerance of each other, the nearest first."""
        from scipy.spatial import cKDTree

        around: dict[int, list[tuple[int, float]]] = defaultdict(list)
        chord = size(self.xy[self.head] - self.xy[self.tail]).tolist()
        for a, b, way in zip(self.tail.tolist(), self.head.tolist(), chord, strict=True):
            around[a].append((b, way))
            around[b].append((a, way))
        corners = np.flatnonzero(self.corner & np.isin(np.arange(len(self.xy)), list(around)))
        reach = tolerance * (1.0 + 1e-9)
        close = corners[cKDTree(self.xy[corners]).query_pairs(reach, output_type="ndarray")]
        if len(close) > MOST_CLOSE:
            want = (
                f"over {MOST_CLOSE:,} pairs of the drawing's corners lie this close together; give a smaller distance, "
                "or draw less finely"
            )
            raise InputError(Problem(key="pattern.close-gaps", value=f"{tolerance:g} mm", want=want))
        gaps = size(self.xy[close[:, 0]] - self.xy[close[:, 1]])
        parent = np.arange(len(self.xy))
        for k in np.lexsort((close.max(axis=1), close.min(axis=1), gaps)).tolist():
            a, b = sorted(close[k].tolist())
            keep, move = _root(parent, a), _root(parent, b)
            if keep == move or size(self.xy[keep] - self.xy[move]) > reach:
                continue
            if _joined(around, a, b, 4.0 * tolerance):
                continue
            if len(around[move]) > len(around[keep]):
                keep, move = move, keep
            parent[move] = keep
            self.told.append(Mended(code="gap-closed", at_mm=self._place(keep), gap_mm=float(gaps[k])))
        root = np.array([_root(parent, node) for node in range(len(parent))])
        self.tail, self.head = root[self.tail], root[self.head]
        self._take(self.tail != self.head)

    def close_loose_ends(self, tolerance: float) -> None:
        """Move loose ends onto the line they nearly touch."""
        met = np.bincount(np.concatenate([self.tail, self.head]), minlength=len(self.xy))
        side, node, share, gap, foot = self._touching(np.flatnonzero(met == 1), tolerance)
        order = np.lexsort((side, gap, node))
        nearest_one = order[np.unique(node[order], return_index=True)[1]]
        moved = nearest_one[gap[nearest_one] > SAME_MM]  # the others touch already
        self.xy[node[moved]] = np.round(foot[moved], 6)
        for k in moved.tolist():
            place = self._place(int(node[k]))
            self.told.append(Mended(code="gap-closed", at_mm=place, gap_mm=float(gap[k])))
        self._cut(side[moved], node[moved], share[moved])

    def split_at_nodes(self) -> None:
        """End lines wherever a node lies on them."""
        nodes = np.unique(np.concatenate([self.tail, self.head]))
        side, node, share, _, _ = self._touching(nodes, SAME_MM)
        self._cut(side, node, share)

    def _touching(self, nodes: Ints, tolerance: float) -> tuple[Ints, Ints, Floats, Floats, Floats]:
        """Return side, node, share of the side, distance and foot of nodes that near to the inside of a side."""
        import shapely

        curves = self._curves
        spots: Any = shapely.points(self.xy[nodes])
        side, which = shapely.STRtree(spots).query(upright(boxes(curves), tolerance))
        node = nodes[which]
        share, foot = nearest(self.xy[node], curves[side])
        gap = size(self.xy[node] - foot)
        clear = np.minimum(size(foot - curves[side, :2]), size(foot - curves[side, 2:4]))
        own = (node == self.tail[side]) | (node == self.head[side])
        found = np.flatnonzero(~own & (gap <= tolerance) & (clear > tolerance))
        found = found[np.lexsort((node[found], side[found]))]
        return side[found], node[found], share[found], gap[found], foot[found]

    def _cut(self, side: Ints, node: Ints, share: Floats) -> None:
        """Cut sides at nodes on them."""
        every = np.arange(len(self.tail))
        owner = np.concatenate([every, side, every])
        at = np.concatenate([self.tail, node, self.head])
        where = np.concatenate([np.zeros(len(every)), share, np.ones(len(every))])
        order = np.lexsort((where, owner))
        owner, at, where = owner[order], at[order], where[order]
        part = np.flatnonzero((owner[1:] == owner[:-1]) & (at[1:] != at[:-1]))
        source = owner[part]
        whole = (where[part] == 0.0) & (where[part + 1] == 1.0)
        bulge = self.bulge[source]
        self.bulge = np.where(whole, bulge, bulge_between(bulge, where[part], where[part + 1]))
        self.tail, self.head, self.feature = at[part], at[part + 1], self.feature[source]

    def lines(self) -> tuple[Floats, Ints]:
        """Return one of all lines with the same ends and the same sag, and its feature; note the others."""
        low, high = np.minimum(self.tail, self.head), np.maximum(self.tail, self.head)
        sag = self.bulge * size(self.xy[self.head] - self.xy[self.tail]) / 2.0
        bow = np.where(self.tail < self.head, sag, -sag)
        order = np.lexsort((bow, high, low))
        apart = (np.diff(np.stack([low, high])[:, order]) != 0).any(axis=0)
        apart |= np.diff(bow[order]) > 2.0 * SAME_MM
        alike = np.split(order, 1 + np.flatnonzero(apart))
        kept = np.sort(np.array([group.min() for group in alike if len(group)], dtype=np.int64))
        for side in np.setdiff1d(order, kept).tolist():
            x, y = ((self.xy[self.tail[side]] + self.xy[self.head[side]]) / 2.0).tolist()
            self.told.append(Mended(code="doubled-line", at_mm=(x, y)))
        return self._curves[kept], self.feature[kept]


def _root(parent: Ints, node: int) -> int:
    while parent[node] != node:
        parent[node] = parent[parent[node]]
        node = int(parent[node])
    return node


def _joined(around: dict[int, list[tuple[int, float]]], a: int, b: int, limit: float) -> bool:
    """Tell whether a way along the lines no longer than ``limit`` joins two nodes."""
    best = {a: 0.0}
    heap = [(0.0, a)]
    while heap:
        length, node = heapq.heappop(heap)
        if node == b:
            return True
        for other, way in around[node]:
            far = length + way
            if far <= limit and far < best.get(other, math.inf):
                best[other] = far
                heapq.heappush(heap, (far, other))
    return False
