"""The lines of one unit cell as a network, on the torus that the lattice makes of the plane.

Every line of the endless pattern is a line of the unit cell moved by a lattice vector, so it is enough to cut those lines
wherever another one, moved by any lattice vector, meets them, and to count places that differ by a lattice vector as one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import shapely
from scipy.spatial import cKDTree

from vcarve.pattern.symmetry import TOLERANCE as EXACT
from vcarve.pattern.symmetry import Lattice
from vcarve.plane.arcs import beside, boxes, circles, curves, cut, joined, lengths, middles, shares, size
from vcarve.plane.arrays import Bools, Floats, Ints
from vcarve.plane.meet import clusters, meetings
from vcarve.plane.region import upright

# Ends closer than this share of the pattern's unit are the same vertex.
TOLERANCE = 2e-8
GRID = 1_000_000_000  # fractional coordinates are kept on this many steps per lattice vector


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitNetwork:
    """One unit cell's vertices and edges.

    ``uv`` (V, 2) are lattice coordinates in [0, 1).  Edge ``e`` runs from vertex ``tail`` in cell (0, 0) to vertex ``head`` in
    cell ``step`` (E, 2).
    """

    uv: Floats
    tail: Ints
    head: Ints
    step: Ints
    bulge: Floats
    feature: Ints

    def curves(self, lattice: Lattice) -> Floats:
        """Return the edges as curves (E, 5) in the pattern's unit."""
        start, end = self.uv[self.tail], self.uv[self.head] + self.step
        return curves(start @ lattice.basis, end @ lattice.basis, self.bulge)

    def take(self, edges: Ints) -> UnitNetwork:
        """Return the network with these edges only; vertices stay as they are."""
        return replace(self, **{one.name: getattr(self, one.name)[edges] for one in fields(self)[1:]})

    def turned(self, which: Bools) -> UnitNetwork:
        """Return the network with some edges (E,) walked the other way."""
        tail, head = np.where(which, self.head, self.tail), np.where(which, self.tail, self.head)
        step = np.where(which[:, None], -self.step, self.step)
        return replace(self, tail=tail, head=head, step=step, bulge=np.where(which, -self.bulge, self.bulge))

    def nearest_apart(self, lattice: Lattice) -> float:
        """Return the least distance between two vertices of the endless pattern, in its own unit."""
        steps = np.array([(i, j) for i in (-1, 0, 1) for j in (-1, 0, 1)], dtype=float)
        around = (self.uv[None] + steps[:, None]).reshape(-1, 2) @ lattice.basis
        away, _ = cKDTree(around).query(self.uv @ lattice.basis, k=2)
        return float(np.asarray(away)[:, 1].min())


def unit_network(curve: Floats, feature: Ints, lattice: Lattice) -> UnitNetwork:
    """Return the network of the lines of one unit cell (n, 5), which may cross, and their features (n,)."""
    stops = [
        meetings(np.broadcast_to(one, passing.shape), passing, TOLERANCE).first
        for one, (_, passing) in zip(curve, copies(curve, curve, lattice, TOLERANCE), strict=True)
    ]
    unit = woven(*_cut(curve, feature, stops, TOLERANCE), lattice)
    unit = replace(unit, uv=np.maximum(np.rint(unit.uv * GRID) / GRID, 0.0))
    turned, key = _keys(unit)
    return _dissolved(unit.turned(turned).take(np.lexsort(key.T[::-1])), lattice)


def united(curve: Floats, feature: Ints, lattice: Lattice) -> tuple[Floats, Ints]:
    """Return the same line work (n, 5), with its features (n,), modulo the lattice with nothing doubled, in few and long pieces.

    Where a ground line and a leaf line cover each other the ground line stays.  Pieces that continue each other
    are joined where nothing else ends; each line's middle is moved into the unit cell.
    """
    unit = woven(curve, feature, lattice)
    curve, near = unit.curves(lattice), EXACT * lattice.size
    around = zip(curve, copies(curve, curve, lattice, near), strict=True)
    stops = [shares(other[_along(one, other, near), :4].reshape(-1, 2), one) for one, (_, other) in around]
    unit = _dissolved(woven(*_cut(curve, unit.feature, stops, 10.0 * near), lattice), lattice)
    curve = unit.curves(lattice)
    home = -np.floor(middles(curve) @ lattice.inverse + 1e-6) @ lattice.basis
    curve[:, :4] += np.tile(home, 2)
    return curve, unit.feature


def covers_itself(curve: Floats, feature: Ints, image: Floats, lattice: Lattice) -> bool:
    """Return whether lines moved as a whole (n, 5) lie on lines (n, 5) that are united: nothing new, and kind on kind."""
    both, kinds = united(np.vstack([curve, image]), np.tile(feature, 2), lattice)
    many = int(feature.max()) + 1
    long, together = (np.bincount(of, lengths(rows), many) for of, rows in ((feature, curve), (kinds, both)))
    return bool(np.allclose(long, together, rtol=1e-9))


def woven(curve: Floats, feature: Ints, lattice: Lattice) -> UnitNetwork:
    """Return the network of curves (n, 5) that meet only at their ends; of those that coincide one is kept.

    Vertices are numbered as the curves' ends come, and edges follow each other like their curves, but that those between the same
    vertices stand together.
    """
    uv = curve[:, :4].reshape(-1, 2) @ lattice.inverse
    # Cluster on the torus: a vertex near 1 is the same as one near 0.
    frac = uv - np.floor(uv + 1.0 / GRID)
    first, at = clusters(np.mod(np.maximum(frac, 0.0), 1.0), 10.0 * TOLERANCE, np.ones(2))
    # Moving an end onto its cluster's place may move it to a neighbouring cell.
    cell = np.rint(uv - frac[first][at]).astype(np.int64)
    (tail, head), step = at.reshape(-1, 2).T, cell[1::2] - cell[0::2]
    unit = UnitNetwork(uv=frac[first], tail=tail, head=head, step=step, bulge=curve[:, 4], feature=feature)
    _, key = _keys(unit)
    _, begun, kind = np.unique(key, axis=0, return_index=True, return_inverse=True)
    _, met, pair = np.unique(key[:, :2], axis=0, return_index=True, return_inverse=True)
    ground = np.lexsort((feature, kind.ravel()))
    kept = ground[np.unique(kind.ravel()[ground], return_index=True)[1]]
    return unit.take(kept[np.lexsort((begun, met[pair.ravel()[kept]]))])


def _keys(unit: UnitNetwork) -> tuple[Bools, Ints]:
    """Return which edges (E,) run against their canonical direction, and what those that coincide have in common (E, 5)."""
    back = (unit.step[:, 0] < 0) | ((unit.step[:, 0] == 0) & (unit.step[:, 1] < 0))
    turned = (unit.tail > unit.head) | ((unit.tail == unit.head) & back)
    way = unit.turned(turned)
    bulge = np.rint(way.bulge * 1e6).astype(np.int64)
    return turned, np.column_stack([way.tail, way.head, way.step, bulge])


def copies(
    curve: Floats, others: Floats, lattice: Lattice, tolerance: float
) -> Iterator[tuple[Ints, Floats]]:
    """Yield for each curve (n, 5) all others, moved by any lattice shift, whose boxes come as near to its own.

    Which of the others it is (m,), and where (m, 5).
    """
    box, other_box = boxes(curve), boxes(others)
    # A shift matters only where the boxes can meet.
    low = box[:, :2].min(axis=0) - other_box[:, 2:].max(axis=0) - tolerance
    high = box[:, 2:].max(axis=0) - other_box[:, :2].min(axis=0) + tolerance
    reach = np.array([(x, y) for x in (low[0], high[0]) for y in (low[1], high[1])]) @ lattice.inverse
    first, last = np.floor(reach.min(axis=0)).astype(int), np.ceil(reach.max(axis=0)).astype(int)
    steps = np.mgrid[first[0] : last[0] + 1, first[1] : last[1] + 1]
    shifts = np.tile(steps.reshape(2, -1).T @ lattice.basis, 2)
    tree = shapely.STRtree(upright((other_box + shifts[:, None]).reshape(-1, 4)))
    for window in upright(box, tolerance):
        shift, other = np.divmod(np.sort(tree.query(window)), len(others))
        passing = others[other]
        passing[:, :4] += shifts[shift]
        yield other, passing


def _along(curve: Floats, others: Floats, near: float) -> Bools:
    """Tell which of others (n, 5) lie on the line or the circle of a curve (5,), so that they may cover a part of it."""
    if curve[4] == 0.0:
        off = beside(others[:, :4].reshape(-1, 2, 2), curve) / size(curve[2:4] - curve[:2])
        return np.asarray((others[:, 4] == 0.0) & (np.abs(off) <= near).all(axis=1))
    (centre, radius), (there, wide) = circles(curve), circles(others)
    same = (size(there - centre) <= near) & (np.abs(wide - radius) <= near)
    return np.asarray((others[:, 4] != 0.0) & same)


def _cut(curve: Floats, feature: Ints, stops: Sequence[Floats], near: float) -> tuple[Floats, Ints]:
    """Return curves (n, 5) cut at shares of each, but for such as lie nearly at an end or on one another, and their features."""
    pieces = []
    for one, share, length in zip(curve, stops, lengths(curve).tolist(), strict=True):
        pieces.append(cut(one, share, near / max(length, near)))
    return np.vstack(pieces), np.repeat(feature, [len(each) for each in pieces])


def _dissolved(unit: UnitNetwork, lattice: Lattice) -> UnitNetwork:
    """Join edges that continue straight on, or along the same circle, through a vertex of degree two."""
    parts = unit.tail.tolist(), unit.head.tolist(), unit.step, unit.bulge.tolist(), unit.feature.tolist()
    edges = dict(enumerate(zip(*parts, strict=True)))
    touching: dict[int, list[int]] = defaultdict(list)
    for index, (tail, head, *_) in edges.items():
        touching[tail].append(index)
        touching[head].append(index)
    for vertex in sorted(touching):
        if len(touching[vertex]) != 2 or touching[vertex][0] == touching[vertex][1]:
            continue
        first, second = touching[vertex]
        a, b = edges[first], edges[second]
        if a[1] != vertex:
            a = (a[1], a[0], -a[2], -a[3], a[4])
        if b[0] != vertex:
            b = (b[1], b[0], -b[2], -b[3], b[4])
        ends = np.stack([unit.uv[a[0]], unit.uv[vertex] + a[2], unit.uv[b[1]] + a[2] + b[2]]) @ lattice.basis
        bulge = joined(np.array([*ends[0], *ends[1], a[3]]), np.array([*ends[1], *ends[2], b[3]]), 1e-6)
        if bulge is None or a[4] != b[4]:
            continue
        edges[first] = (a[0], b[1], a[2] + b[2], bulge, a[4])
        del edges[second], touching[vertex]
        touching[b[1]] = [first if index == second else index for index in touching[b[1]]]
    tails, heads, step, bulges, feature = (np.array(part) for part in zip(*edges.values(), strict=True))
    used, at = np.unique([tails, heads], return_inverse=True)
    tails, heads = at.reshape(2, -1)
    return UnitNetwork(uv=unit.uv[used], tail=tails, head=heads, step=step, bulge=bulges, feature=feature)
