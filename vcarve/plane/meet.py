"""Where lines and arcs meet: two at a time, many pairs at once.

A curve is a row ``(x0, y0, x1, y1, bulge)``; arcs turn by any angle below a whole turn.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from vcarve.plane.arcs import circles, cross, nearest, size
from vcarve.plane.arrays import Bools, Floats, Ints, connected


class Meetings(NamedTuple):
    """Every place where the two curves of a pair meet: the pair's row, the place (m, 2), its share of either curve.

    ``kind`` is 0 or 1 for the second curve's start or end, 2 or 3 for the first's, 4 and 5 for crossings.
    """

    pair: Ints
    kind: Ints
    place: Floats
    first: Floats
    second: Floats


def carriers_meet(first: Floats, second: Floats, tolerance: float) -> Floats:
    """Return the places (n, 2, 2) common to the whole lines or circles that curves (n, 5) lie on; NaN where there are less.

    Where they touch within ``tolerance`` there is one place; lines that run along each other and equal circles have none.
    """
    place = np.full((len(first), 2, 2), np.nan)
    bent = np.column_stack([first[:, 4] != 0.0, second[:, 4] != 0.0])
    both = ~bent.any(axis=1)
    if both.any():
        place[both, 0] = _lines(first[both], second[both])
    for line, arc, rows in (
        (first, second, ~bent[:, 0] & bent[:, 1]),
        (second, first, bent[:, 0] & ~bent[:, 1]),
    ):
        if rows.any():
            place[rows] = _line_circle(line[rows], *circles(arc[rows]), tolerance)
    rows = bent.all(axis=1)
    if rows.any():
        place[rows] = _circle_circle(*circles(first[rows]), *circles(second[rows]), tolerance)
    return place


def meetings(first: Floats, second: Floats, tolerance: float, reach: float | None = None) -> Meetings:
    """Return every place where the curves of each pair of rows (n, 5) meet.

    Ends that lie on the other curve within ``reach`` (``tolerance`` where none is given) count, so curves that share a
    stretch give the ends of that stretch.  Of places closer than that one counts, ends before crossings: they are exact.
    """
    reach = tolerance if reach is None else reach
    count = len(first)
    place = np.empty((count, 6, 2))
    # Share of the first and of the second curve; NaN where the place is not on it.
    at = np.empty((count, 6, 2))
    at[:, 0, 1], at[:, 1, 1], at[:, 2, 0], at[:, 3, 0] = 0.0, 1.0, 0.0, 1.0
    for column, curve, other, end in ((0, second, first, 0), (2, first, second, 1)):
        for k in (0, 1):
            place[:, column + k] = curve[:, 2 * k : 2 * k + 2]
            at[:, column + k, end] = share_on(other, place[:, column + k], reach)
    place[:, 4:] = carriers_meet(first, second, tolerance)
    for k in (4, 5):
        at[:, k, 0] = share_on(first, place[:, k], tolerance)
        at[:, k, 1] = share_on(second, place[:, k], tolerance)
    valid = np.asarray(~np.isnan(at).any(axis=2))
    for k in range(1, 6):
        near = reach if k < 4 else tolerance
        gap = size(place[:, :k] - place[:, k, None])
        valid[:, k] &= ~(valid[:, :k] & (gap <= near)).any(axis=1)
    pair, which = np.nonzero(valid)
    return Meetings(pair, which, place[pair, which], at[pair, which, 0], at[pair, which, 1])


def share_on(curve: Floats, place: Floats, tolerance: float) -> Floats:
    """Return the shares (n,) of places (n, 2) that lie on curves (n, 5) within a tolerance, NaN for others."""
    share, spot = nearest(place, curve)
    on = (size(place - spot) <= tolerance) & (share > 0.0) & (share < 1.0)
    share[~on] = np.nan
    share[size(place - curve[:, 2:4]) <= tolerance] = 1.0
    share[size(place - curve[:, :2]) <= tolerance] = 0.0
    return share


def clusters(place: Floats, reach: float, box: Floats | None = None) -> tuple[Ints, Ints]:
    """Return which place (n, 2) is the first of each cluster, in their order, and the cluster of each place (n,).

    Places within ``reach`` of each other are of one cluster, on a torus as wide as ``box`` (2,) where one is given.
    """
    pairs = cKDTree(place, boxsize=box).query_pairs(reach, output_type="ndarray")
    _, label = connected(len(place), *pairs.T)
    _, first, cluster = np.unique(label, return_index=True, return_inverse=True)
    order = np.argsort(first)
    return first[order], np.argsort(order)[cluster]


def _lines(first: Floats, second: Floats) -> Floats:
    u, v = first[:, 2:4] - first[:, :2], second[:, 2:4] - second[:, :2]
    wide = cross(u, v)
    # Nearly parallel: what they share begins and ends at their own ends.
    wide = np.where(np.abs(wide) <= 1e-9 * size(u) * size(v), np.nan, wide)
    share = cross(second[:, :2] - first[:, :2], v) / wide
    return np.asarray(first[:, :2] + share[:, None] * u)


def _two(foot: Floats, way: Floats, square: Floats, touch: Bools, apart: Bools) -> Floats:
    """Return foot ± way · root of ``square``; the foot alone where the curves touch, nothing where they are apart."""
    half = np.sqrt(np.maximum(square, 0.0))[:, None] * way
    place = np.stack([foot - half, foot + half], axis=1)
    place[touch, 0], place[touch, 1] = foot[touch], np.nan
    place[apart] = np.nan
    return place


def _line_circle(line: Floats, centre: Floats, radius: Floats, tolerance: float) -> Floats:
    unit = line[:, 2:4] - line[:, :2]
    unit = unit / size(unit)[:, None]
    foot = line[:, :2] + ((centre - line[:, :2]) * unit).sum(axis=1)[:, None] * unit
    away = size(centre - foot)
    return _two(foot, unit, radius**2 - away**2, away > radius - tolerance, away > radius + tolerance)


def _circle_circle(a: Floats, ra: Floats, b: Floats, rb: Floats, tolerance: float) -> Floats:
    away = size(b - a)
    same = away <= tolerance  # the same circle, or none in common
    away = np.where(same, 1.0, away)
    unit = (b - a) / away[:, None]
    along = (away**2 + ra**2 - rb**2) / (2.0 * away)
    # Where they touch, the place is on the line through both centres.
    outside, inside = away > ra + rb - tolerance, away < np.abs(ra - rb) + tolerance
    along = np.where(outside, ra, np.where(inside, np.where(ra > rb, ra, -ra), along))
    across = np.stack([-unit[:, 1], unit[:, 0]], axis=1)
    apart = same | (away > ra + rb + tolerance) | (away < np.abs(ra - rb) - tolerance)
    return _two(a + along[:, None] * unit, across, ra**2 - along**2, outside | inside, apart)
