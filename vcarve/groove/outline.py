"""Lines turned into shapes: arcs flattened, a groove's footprint, insets; all on the integer nanometre grid.

Arcs and round ends become chords that leave the true curve by at most ``SAG_NM``.  A groove's footprint is its line
widened by half the groove's width with round ends, because the bit is round.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pyclipper

from vcarve.network.model import Network
from vcarve.plane.arcs import (
    chord_counts,
    chords,
    circles,
    curves,
    evenly,
    offsets,
    points,
    size,
    turned,
)
from vcarve.plane.arrays import NM_PER_MM, Floats, Ints

Path = list[list[int]]

SAG_NM = 400.0
# Sweeping over rings takes the square of their number: many are united first, in runs of neighbours as they were drawn.
MANY, RUN = 1000, 50


def in_nm(curve_mm: Floats, from_nm: Ints) -> Floats:
    """Return curves (n, 5) in whole nanometres, measured from places (n, 2)."""
    return np.column_stack([np.rint(curve_mm[:, :4] * NM_PER_MM) - np.tile(from_nm, 2), curve_mm[:, 4]])


def flatten(curve: Floats) -> list[Ints]:
    """Return the points (m, 2) of each curve (n, 5) in nanometres, from its start to before its end."""
    spots, count = chords(curve, SAG_NM)
    return np.split(np.rint(spots).astype(np.int64), np.cumsum(count)[:-1])


def strokes(curve: Floats, half_nm: Floats) -> list[list[Ints]]:
    """Return the footprint of each curve (n, 5) in nanometres, half as wide as ``half_nm`` (2, n) at its start and its end.

    Rings (m, 2) run counter-clockwise.  They may lap over themselves, where an arc nearly closes, and over one another: fill
    them by the non-zero rule.
    """
    even = (curve[:, 4] != 0.0) & (half_nm[0] == half_nm[1]) & (half_nm[0] < circles(curve)[1])
    bands = iter(_rings(_bands(curve[even], half_nm[0, even])))
    # What narrows, and arcs so tight that their inner side would turn inside out, chord by chord.
    other = curve[~even]
    count = chord_counts(other, SAG_NM)
    owner, share = evenly(count)
    upto = share + 1.0 / count[owner]
    first, last = half_nm[:, ~even][:, owner]
    radii = first + share * (last - first), first + upto * (last - first)
    hulls = iter(_rings(_hulls(points(other[owner], share), points(other[owner], upto), *radii)))
    counts = iter(count.tolist())
    return [[next(bands)] if one else [next(hulls) for _ in range(next(counts))] for one in even.tolist()]


def _bands(curve: Floats, half_nm: Floats) -> Floats:
    """Return the outlines (n, 4, 5) of even strokes: right side forward, round the end, left side back, round the start."""
    right, left = offsets(curve, -half_nm), turned(offsets(curve, half_nm))
    half_turn = np.ones(len(curve))
    end, start = curves(right[:, 2:4], left[:, :2], half_turn), curves(left[:, 2:4], right[:, :2], half_turn)
    return np.stack([right, end, left, start], axis=1)


def _hulls(a: Floats, b: Floats, at_a: Floats, at_b: Floats) -> Floats:
    """Return the outlines (n, 6, 5) of hulls of two circles, about ``a`` and ``b`` (n, 2); the part of either is two arcs."""
    ahead = b - a
    way = np.arctan2(ahead[:, 1], ahead[:, 0])
    # Where the sides touch the circles; where one circle holds the other there are none.
    side = np.arccos(np.clip((at_a - at_b) / np.maximum(size(ahead), 1e-9), -1.0, 1.0))
    near, far = (a, at_a, np.tan((np.pi - side) / 4.0)), (b, at_b, np.tan(side / 4.0))
    corners, bulges = [], []
    for (place, radius, bulge), turn in (
        (far, -side), (far, 0.0 * side), (far, side), (near, side), (near, np.pi + 0.0 * side), (near, -side)
    ):  # fmt: skip
        corners.append(place + radius[:, None] * np.column_stack([np.cos(way + turn), np.sin(way + turn)]))
        bulges.append(bulge)
    bulges[2] = bulges[5] = np.zeros(len(a))
    xy = np.stack(corners, axis=1)
    return curves(xy, np.roll(xy, -1, axis=1), np.stack(bulges, axis=1))


def _rings(sides: Floats) -> list[Ints]:
    """Return rings of curves (n, sides, 5) as points."""
    spots, count = chords(sides.reshape(-1, 5), SAG_NM)
    ends = np.cumsum(count.reshape(sides.shape[:2]).sum(axis=1))
    return np.split(np.rint(spots).astype(np.int64), ends[:-1])


def inset(rings: Iterable[Path], by_nm: float) -> list[Path]:
    """Return what is left of a region (outer rings counter-clockwise, holes clockwise) further than ``by_nm`` in."""
    offset = pyclipper.PyclipperOffset(2.0, SAG_NM)
    offset.AddPaths(list(rings), pyclipper.JT_ROUND, pyclipper.ET_CLOSEDPOLYGON)
    result: list[Path] = offset.Execute(-by_nm)
    return result


def subtract(rings: Sequence[Path], cut: Sequence[Path]) -> list[Path]:
    """Return a region less the footprints of grooves."""
    if len(cut) > MANY:
        cut = [ring for at in range(0, len(cut), RUN) for ring in union(cut[at : at + RUN])]
    clipper = pyclipper.Pyclipper()
    clipper.AddPaths(rings, pyclipper.PT_SUBJECT, True)
    clipper.AddPaths(cut, pyclipper.PT_CLIP, True)
    result: list[Path] = clipper.Execute(
        pyclipper.CT_DIFFERENCE, pyclipper.PFT_NONZERO, pyclipper.PFT_NONZERO
    )
    return result


def union(rings: Sequence[Path]) -> list[Path]:
    """Return the rings of everything that rings surround, which may overlap."""
    clipper = pyclipper.Pyclipper()
    clipper.AddPaths(rings, pyclipper.PT_SUBJECT, True)
    result: list[Path] = clipper.Execute(pyclipper.CT_UNION, pyclipper.PFT_NONZERO, pyclipper.PFT_NONZERO)
    return result


def group(rings: Sequence[Path]) -> list[list[Path]]:
    """Sort the rings of a region into connected parts: each its outer ring, then the holes inside it."""
    outers = [ring for ring in rings if pyclipper.Area(ring) > 0.0]
    if len(outers) == len(rings):
        return [[ring] for ring in outers]
    if len(outers) == 1:
        return [[outers[0], *(ring for ring in rings if ring is not outers[0])]]
    clipper = pyclipper.Pyclipper()
    clipper.AddPaths(rings, pyclipper.PT_SUBJECT, True)
    tree = clipper.Execute2(pyclipper.CT_UNION, pyclipper.PFT_NONZERO, pyclipper.PFT_NONZERO)
    parts: list[list[Path]] = []
    waiting = list(tree.Childs)
    while waiting:
        outer = waiting.pop(0)
        parts.append([outer.Contour, *(hole.Contour for hole in outer.Childs)])
        waiting.extend(island for hole in outer.Childs for island in hole.Childs)
    return parts


class Strokes:
    """The lines and footprints of a network's edges, each worked out once when it is first asked for."""

    def __init__(self, network: Network, ends_half_mm: Floats) -> None:
        self._network = network
        self._ends_nm = ends_half_mm * NM_PER_MM  # (2, E)
        self._drawn: dict[int, list[Ints]] = {}
        self._lines: dict[int, Ints] = {}

    def draw(self, edges: Iterable[int]) -> None:
        """Work out what is not yet known of edges: much quicker all at once."""
        new = sorted(edge for edge in edges if edge not in self._drawn)
        if not new:
            return
        curve = in_nm(self._network.curves(np.array(new)), np.zeros(2, dtype=np.int64))
        for edge, spots, end in zip(new, flatten(curve), curve[:, 2:4], strict=True):
            self._lines[edge] = np.vstack([spots, end]).astype(np.int64)
        self._drawn.update(zip(new, strokes(curve, self._ends_nm[:, new]), strict=True))

    def lines(self, edges: Sequence[int], x_nm: int, y_nm: int) -> list[Path]:
        """Return the points of whole edges, measured from (x_nm, y_nm)."""
        self.draw(edges)
        return [(self._lines[edge] - (x_nm, y_nm)).tolist() for edge in edges]

    def around(self, edges: Sequence[int], x_nm: int, y_nm: int) -> list[Path]:
        """Return the rings of edges' footprints, measured from (x_nm, y_nm)."""
        self.draw(edges)
        return [(ring - (x_nm, y_nm)).tolist() for edge in edges for ring in self._drawn[edge]]
