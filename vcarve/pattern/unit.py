"""The lines of one unit cell as a network, on the torus that the lattice makes of the plane.

Every line of the endless pattern is a line of the unit cell moved by a lattice vector, so it is enough to cut those lines
wherever another one, moved by any lattice vector, meets them, and to count places that differ by a lattice vector as one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from vcarve.errors import InputError
from vcarve.pattern.model import Line, Pattern, rows
from vcarve.pattern.symmetry import TOLERANCE as EXACT
from vcarve.pattern.symmetry import Lattice
from vcarve.plane.arcs import beside, boxes, circles, curves, cut, joined, lengths, middles, shares, size
from vcarve.plane.arrays import Bools, Floats, Ints
from vcarve.plane.meet import meetings
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
        step, bulge = (
            np.where(which[:, None], -self.step, self.step),
            np.where(which, -self.bulge, self.bulge),
        )
        return replace(self, tail=tail, head=head, step=step, bulge=bulge)


def unit_network(pattern: Pattern) -> UnitNetwork:
    """Return the network of the pattern's unit cell.

    Raises InputError for a pattern without lines.
    """
    if not pattern.lines:
        raise InputError(f"pattern {pattern.key} has no lines")
    lattice = Lattice(pattern.a1, pattern.a2)
    curve, feature = rows(pattern.lines), np.array([line.feature for line in pattern.lines])
    stops = [
        meetings(np.broadcast_to(one, passing.shape), passing, TOLERANCE).first
        for one, (_, passing) in zip(curve, copies(curve, curve, lattice, TOLERANCE), strict=True)
    ]
    unit = woven(*_cut(curve, feature, stops, TOLERANCE), lattice)
    unit = replace(unit, uv=np.maximum(np.rint(unit.uv * GRID) / GRID, 0.0))
    turned, key = _keys(unit)
    return _dissolved(unit.turned(turned).take(np.lexsort(key.T[::-1])), lattice)


def nearest_apart(pattern: Pattern, unit: UnitNetwork) -> float:
    """Return the least distance between two vertices of the endless pattern, in its own unit."""
    steps = np.array([(i, j) for i in (-1, 0, 1) for j in (-1, 0, 1)], dtype=float)
    basis = Lattice(pattern.a1, pattern.a2).basis
    around = (unit.uv[None] + steps[:, None]).reshape(-1, 2) @ basis
    away, _ = cKDTree(around).query(unit.uv @ basis, k=2)
    return float(np.asarray(away)[:, 1].min())


def united(lines: Iterable[Line], lattice: Lattice) -> tuple[Line, ...]:
    """Return the same line work modulo the lattice with nothing doubled, in few and long pieces.

    Where a ground line and a leaf line cover each other the ground line stays.  Pieces that continue each other
    are joined where nothing else ends; each line's middle is moved into the unit cell.
    """
    lines = tuple(lines)
    unit = woven(rows(lines), np.array([line.feature for line in lines]), lattice)
    curve, near = unit.curves(lattice), EXACT * lattice.size
    around = zip(curve, copies(curve, curve, lattice, near), strict=True)
    stops = [shares(other[_along(one, other, near), :4].reshape(-1, 2), one) for one, (_, other) in around]
    unit = _dissolved(woven(*_cut(curve, unit.feature, stops, 10.0 * near), lattice), lattice)
    curve = unit.curves(lattice)
    home = -np.floor(middles(curve) @ np.linalg.inv(lattice.basis) + 1e-6) @ lattice.basis
    curve[:, :4] += np.tile(home, 2)
    return tuple(
        Line(start=(x0, y0), end=(x1, y1), bulge=bulge, feature=feature)
        for (x0, y0, x1, y1, bulge), feature in zip(curve.tolist(), unit.feature.tolist(), strict=True)
    )


def total_length(lines: Iterable[Line]) -> float:
    """Return the sum of the lines' lengths."""
    return math.fsum(lengths(rows(lines)))


def covers_itself(lines: Sequence[Line], images: Iterable[Line], lattice: Lattice) -> bool:
    """Return whether ``images`` lie on ``lines`` modulo the lattice, feature by feature: nothing new, nothing left over."""
    images = tuple(images)
    for feature in {line.feature for line in (*lines, *images)}:
        here = [line for line in lines if line.feature == feature]
        there = [line for line in images if line.feature == feature]
        length = total_length(here)
        together = total_length(united([*here, *there], lattice))
        if abs(total_length(there) - length) > 1e-9 * length or abs(together - length) > 1e-9 * length:
            return False
    return True


def woven(curve: Floats, feature: Ints, lattice: Lattice) -> UnitNetwork:
    """Return the network of curves (n, 5) that meet only at their ends; of those that coincide one is kept.

    Vertices are numbered as the curves' ends come, and edges follow each other like their curves, but that those between the same
    vertices stand together.
    """
    uv = curve[:, :4].reshape(-1, 2) @ np.linalg.inv(lattice.basis)
    # Cluster on the torus: a vertex near 1 is the same as one near 0.
    frac = uv - np.floor(uv + 1.0 / GRID)
    pairs = cKDTree(np.mod(np.maximum(frac, 0.0), 1.0), boxsize=np.ones(2)).query_pairs(
        10.0 * TOLERANCE, output_type="ndarray"
    )
    n = len(frac)
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    _, label = connected_components(links, directed=False)
    _, first, at = np.unique(label, return_index=True, return_inverse=True)
    # Moving an end onto its cluster's place may move it to a neighbouring cell.
    cell = np.rint(uv - frac[first][at]).astype(np.int64)
    unit = UnitNetwork(
        uv=frac[first],
        tail=at[0::2],
        head=at[1::2],
        step=cell[1::2] - cell[0::2],
        bulge=curve[:, 4],
        feature=feature,
    )
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
    # A shift matters only where the boxes can meet; bound its counts by the widest gap between any two boxes.
    ahead, behind = (
        box[:, 2:].max(axis=0) - other_box[:, :2].min(axis=0),
        other_box[:, 2:].max(axis=0) - box[:, :2].min(axis=0),
    )
    reach, rise = np.maximum(np.maximum(ahead, behind), 0.0) + tolerance
    (ax, ay), (bx, by), area = lattice.a1, lattice.a2, abs(lattice.area)
    most = (abs(by) * reach + abs(bx) * rise) / area, (abs(ay) * reach + abs(ax) * rise) / area
    steps = np.mgrid[tuple(slice(-math.ceil(many) - 1, math.ceil(many) + 2) for many in most)]
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
        least = near / max(length, near)
        inner = share[(least < share) & (share < 1.0 - least)]
        pieces.append(cut(one, inner, least) if len(inner) else one[None])
    return np.vstack(pieces), np.repeat(feature, [len(each) for each in pieces])


def _dissolved(unit: UnitNetwork, lattice: Lattice) -> UnitNetwork:
    """Join edges that continue straight on, or along the same circle, through a vertex of degree two."""
    edges = {
        index: (int(t), int(h), (int(s[0]), int(s[1])), float(b), int(r))
        for index, (t, h, s, b, r) in enumerate(
            zip(unit.tail, unit.head, unit.step, unit.bulge, unit.feature, strict=True)
        )
    }
    touching: dict[int, list[int]] = {}
    for index, (t, h, _, _, _) in edges.items():
        touching.setdefault(t, []).append(index)
        touching.setdefault(h, []).append(index)
    for vertex in sorted(touching):
        if len(touching[vertex]) != 2 or touching[vertex][0] == touching[vertex][1]:
            continue
        first, second = touching[vertex]
        a, b = edges[first], edges[second]
        if a[4] != b[4]:
            continue
        if a[1] != vertex:
            a = (a[1], a[0], (-a[2][0], -a[2][1]), -a[3], a[4])
        if b[0] != vertex:
            b = (b[1], b[0], (-b[2][0], -b[2][1]), -b[3], b[4])
        start, through, end = unit.uv[a[0]], unit.uv[vertex] + a[2], unit.uv[b[1]] + a[2] + b[2]
        ends = np.stack([start, through, end]) @ lattice.basis
        bulge = joined(np.array([*ends[0], *ends[1], a[3]]), np.array([*ends[1], *ends[2], b[3]]), 1e-6)
        if bulge is None:
            continue
        step = (a[2][0] + b[2][0], a[2][1] + b[2][1])
        del edges[second]
        edges[first] = (a[0], b[1], step, bulge, a[4])
        del touching[vertex]
        touching[b[1]] = [first if index == second else index for index in touching[b[1]]]
    used = sorted({v for t, h, *_ in edges.values() for v in (t, h)})
    place = {vertex: index for index, vertex in enumerate(used)}
    kept = list(edges.values())
    return UnitNetwork(
        uv=unit.uv[used],
        tail=np.array([place[edge[0]] for edge in kept], dtype=np.int64),
        head=np.array([place[edge[1]] for edge in kept], dtype=np.int64),
        step=np.array([edge[2] for edge in kept], dtype=np.int64).reshape(-1, 2),
        bulge=np.array([edge[3] for edge in kept]),
        feature=np.array([edge[4] for edge in kept], dtype=np.int64),
    )
