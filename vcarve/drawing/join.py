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

from vcarve.drawing.sheet import Stroke
from vcarve.errors import InputError, Problem
from vcarve.pattern.model import Line
from vcarve.plane.arcs import Point, boxes, bulge_between, nearest, size
from vcarve.plane.region import upright

MOST_CLOSE = 200_000  # pairs of corners near enough to be made one; for each the lines round them are walked
SAME_MM = 0.001  # drawings are written with a few decimals; nothing this small can be meant


@dataclass(frozen=True, slots=True, kw_only=True)
class Mended:
    """A gap that was closed, or a line that is drawn more than once, in a drawing."""

    code: str  # ``gap-closed`` or ``doubled-line``
    at_mm: Point
    gap_mm: float = 0.0


@dataclass(slots=True)
class _Side:
    """One line between two nodes."""

    tail: int
    head: int
    bulge: float
    feature: int


def join(
    strokes: Sequence[Stroke], features: Sequence[int], close_gaps_mm: float
) -> tuple[list[Line], list[Mended]]:
    """Return the strokes as lines that meet exactly where they were meant to, and what was done about it.

    Corners not farther apart than ``close_gaps_mm`` become one unless a short way along the lines joins them already; a
    loose end that near to a line is moved onto it.  Lines end where another line's end touches them, and lines drawn more than
    once stay once.  Coordinates come back in whole nanometres.
    """
    web = _Web(strokes, features)
    told: list[Mended] = []
    if close_gaps_mm > SAME_MM:
        told += web.close_corners(close_gaps_mm)
        told += web.close_loose_ends(close_gaps_mm)
    web.split_at_nodes(SAME_MM)
    told += web.merge_doubles()
    lines = [
        Line(start=web.at(side.tail), end=web.at(side.head), bulge=side.bulge, feature=side.feature)
        for side in web.sides
    ]
    return lines, told


class _Web:
    """Nodes and the sides between them."""

    def __init__(self, strokes: Sequence[Stroke], features: Sequence[int]) -> None:
        from scipy.spatial import cKDTree

        ends = np.array([point for stroke in strokes for point in (stroke.start, stroke.end)], dtype=float)
        ends = np.round(ends.reshape(-1, 2), 6) + 0.0
        # Ends at one place count once among the pairs: of a line drawn very many times all would be near to all.
        apart, first, which = np.unique(ends, axis=0, return_index=True, return_inverse=True)
        parent = first[which.ravel()]
        near = first[cKDTree(apart).query_pairs(SAME_MM, output_type="ndarray")]
        for a, b in near.tolist():
            low, high = sorted((_root(parent, a), _root(parent, b)))
            parent[high] = low
        roots = [_root(parent, i) for i in range(len(ends))]
        number = {root: i for i, root in enumerate(dict.fromkeys(roots))}
        self.place: list[Point] = [(float(ends[root][0]), float(ends[root][1])) for root in number]
        self.corner = [False] * len(number)
        self.sides: list[_Side] = []
        for i, (stroke, feature) in enumerate(zip(strokes, features, strict=True)):
            tail, head = number[roots[2 * i]], number[roots[2 * i + 1]]
            self.corner[tail] |= not stroke.smooth_start
            self.corner[head] |= not stroke.smooth_end
            if tail != head:
                self.sides.append(_Side(tail, head, stroke.bulge, feature))

    def at(self, node: int) -> Point:
        return self.place[node]

    def _around(self) -> dict[int, list[tuple[int, float]]]:
        around: dict[int, list[tuple[int, float]]] = defaultdict(list)
        for side in self.sides:
            size = math.dist(self.place[side.tail], self.place[side.head])
            around[side.tail].append((side.head, size))
            around[side.head].append((side.tail, size))
        return around

    def close_corners(self, tolerance: float) -> list[Mended]:
        """Make corners one that lie within the tolerance of each other, the nearest first."""
        from scipy.spatial import cKDTree

        around = self._around()
        corners = [node for node in around if self.corner[node]]
        xy = np.array([self.place[node] for node in corners]).reshape(-1, 2)
        close = cKDTree(xy).query_pairs(tolerance * (1.0 + 1e-9), output_type="ndarray")
        if len(close) > MOST_CLOSE:
            want = (
                f"over {MOST_CLOSE:,} pairs of the drawing's corners lie this close together; give a smaller distance, "
                "or draw less finely"
            )
            raise InputError(Problem(key="pattern.close-gaps", value=f"{tolerance:g} mm", want=want))
        pairs = []
        for i, j in close.tolist():
            a, b = sorted((corners[i], corners[j]))
            pairs.append((math.dist(self.place[a], self.place[b]), a, b))
        parent = np.arange(len(self.place))
        told = []
        for gap, a, b in sorted(pairs):
            keep, move = _root(parent, a), _root(parent, b)
            if keep == move or math.dist(self.place[keep], self.place[move]) > tolerance * (1.0 + 1e-9):
                continue
            if _joined(around, a, b, 4.0 * tolerance):
                continue
            if len(around[move]) > len(around[keep]):
                keep, move = move, keep
            parent[move] = keep
            told.append(Mended(code="gap-closed", at_mm=self.place[keep], gap_mm=gap))
        for side in self.sides:
            side.tail, side.head = _root(parent, side.tail), _root(parent, side.head)
        self.sides = [side for side in self.sides if side.tail != side.head]
        return told

    def close_loose_ends(self, tolerance: float) -> list[Mended]:
        """Move loose ends onto the line they nearly touch."""
        around = self._around()
        loose = [node for node, near in around.items() if len(near) == 1]
        told = []
        cuts: dict[int, list[tuple[float, int]]] = defaultdict(list)
        best: dict[int, tuple[float, int, float, Point]] = {}
        for side_index, node, share, gap, foot in self._touching(loose, tolerance):
            if node not in best or gap < best[node][0]:
                best[node] = (gap, side_index, share, foot)
        for node in sorted(best):
            gap, side_index, share, foot = best[node]
            if gap <= SAME_MM:
                continue  # it touches already
            self.place[node] = (round(foot[0], 6), round(foot[1], 6))
            told.append(Mended(code="gap-closed", at_mm=self.place[node], gap_mm=gap))
            cuts[side_index].append((share, node))
        self._cut(cuts)
        return told

    def split_at_nodes(self, tolerance: float) -> None:
        """End lines wherever a node lies on them."""
        cuts: dict[int, list[tuple[float, int]]] = defaultdict(list)
        nodes = sorted({node for side in self.sides for node in (side.tail, side.head)})
        for side_index, node, share, _, _ in self._touching(nodes, tolerance):
            cuts[side_index].append((share, node))
        self._cut(cuts)

    def _touching(self, nodes: list[int], tolerance: float) -> list[tuple[int, int, float, float, Point]]:
        """Return (side, node, share of the side, distance, foot) for nodes that near to the inside of a side."""
        import shapely

        if not nodes or not self.sides:
            return []
        xy = np.array([self.place[node] for node in nodes])
        curves = np.array(
            [(*self.place[side.tail], *self.place[side.head], side.bulge) for side in self.sides]
        )
        spots: Any = shapely.points(xy)
        hits = shapely.STRtree(spots).query(upright(boxes(curves), tolerance))
        found = []
        order = np.argsort(hits[0], kind="stable")
        index, which = hits[0][order], hits[1][order]
        starts = np.searchsorted(index, np.arange(len(self.sides) + 1))
        for i, side in enumerate(self.sides):
            near = np.sort(which[starts[i] : starts[i + 1]])
            near = near[[nodes[n] not in (side.tail, side.head) for n in near]] if len(near) else near
            if not len(near):
                continue
            share, foot = nearest(xy[near], curves[i])
            gap = size(xy[near] - foot)
            clear = np.minimum(size(foot - curves[i, :2]), size(foot - curves[i, 2:4]))
            for k in np.flatnonzero((gap <= tolerance) & (clear > tolerance)):
                place = (float(foot[k][0]), float(foot[k][1]))
                found.append((i, nodes[near[k]], float(share[k]), float(gap[k]), place))
        return found

    def _cut(self, cuts: dict[int, list[tuple[float, int]]]) -> None:
        sides: list[_Side] = []
        for i, side in enumerate(self.sides):
            inner = sorted(cuts.get(i, ()))
            if not inner:
                sides.append(side)
                continue
            stops = np.array([0.0, *(share for share, _ in inner), 1.0])
            bulges = bulge_between(np.array(side.bulge), stops[:-1], stops[1:]).tolist()
            nodes = [side.tail, *(node for _, node in inner), side.head]
            sides += [
                _Side(nodes[k], nodes[k + 1], bulge, side.feature)
                for k, bulge in enumerate(bulges)
                if nodes[k] != nodes[k + 1]
            ]
        self.sides = sides

    def merge_doubles(self) -> list[Mended]:
        """Keep one of all lines with the same ends and the same sag."""
        kept: dict[tuple[int, int], list[tuple[float, _Side]]] = defaultdict(list)
        sides, told = [], []
        for side in self.sides:
            a, b = self.place[side.tail], self.place[side.head]
            key = (min(side.tail, side.head), max(side.tail, side.head))
            sag = side.bulge * math.dist(a, b) / 2.0 * (1.0 if side.tail == key[0] else -1.0)
            twin = next((other for size, other in kept[key] if abs(size - sag) <= 2.0 * SAME_MM), None)
            if twin is None:
                kept[key].append((sag, side))
                sides.append(side)
                continue
            middle = (a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0
            told.append(Mended(code="doubled-line", at_mm=middle))
        self.sides = sides
        return told


def _root(parent: np.ndarray[tuple[int], np.dtype[np.int64]], node: int) -> int:
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
