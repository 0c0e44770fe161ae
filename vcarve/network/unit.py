"""The network of one unit cell, on the torus that the lattice makes of the plane.

Every line of the endless pattern is a line of ``pattern.lines`` moved by a lattice vector, so it is enough to split those
lines wherever another one, moved by any lattice vector, meets them, and to count vertices that differ by a lattice
vector as one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from vcarve.errors import InputError
from vcarve.network.model import Floats, Ints
from vcarve.pattern.model import Pattern, rows
from vcarve.pattern.symmetry import Lattice, copies
from vcarve.plane.arcs import cut, joined
from vcarve.plane.meet import meetings

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


def _split(pattern: Pattern) -> tuple[Floats, Ints]:
    """Return the pattern's lines as curves (n, 5), split where any moved line meets them, and their features (n,)."""
    pieces, features = [], []
    curve = rows(pattern.lines)
    around = copies(curve, Lattice(pattern.a1, pattern.a2), TOLERANCE)
    for line, one, passing in zip(pattern.lines, curve, around, strict=True):
        met = meetings(np.broadcast_to(one, passing.shape), passing, TOLERANCE)
        pieces.append(cut(one, met.first, TOLERANCE / max(line.length, TOLERANCE)))
        features += [line.feature] * len(pieces[-1])
    return np.vstack(pieces), np.array(features, dtype=np.int64)


def unit_network(pattern: Pattern) -> UnitNetwork:
    """Return the network of the pattern's unit cell.

    Raises InputError for a pattern without lines.
    """
    if not pattern.lines:
        raise InputError(f"pattern {pattern.key} has no lines")
    pieces, feature = _split(pattern)
    basis = np.array([pattern.a1, pattern.a2], dtype=float)
    ends = pieces[:, :4].reshape(-1, 2)
    uv = ends @ np.linalg.inv(basis)
    uv = np.rint(uv * GRID) / GRID
    cell = np.floor(uv + 1.0 / GRID)
    frac = uv - cell
    frac[frac < 0] = 0.0
    # Cluster on the torus: a vertex near 1 is the same as one near 0.
    tree = cKDTree(np.mod(frac, 1.0), boxsize=np.ones(2))
    pairs = tree.query_pairs(10.0 * TOLERANCE, output_type="ndarray")
    n = len(frac)
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    _, label = connected_components(links, directed=False)
    first = np.full(label.max() + 1, n)
    np.minimum.at(first, label, np.arange(n))
    places = frac[first]
    # Moving an end onto its cluster's place may move it to a neighbouring cell.
    cell = np.rint(uv - places[label]).astype(np.int64)
    tail, head = label[0::2].astype(np.int64), label[1::2].astype(np.int64)
    step = cell[1::2] - cell[0::2]
    tail, head, step, bulge, feature = _unique(tail, head, step, pieces[:, 4], feature)
    return _dissolve(
        pattern, UnitNetwork(uv=places, tail=tail, head=head, step=step, bulge=bulge, feature=feature)
    )


def nearest_apart(pattern: Pattern, unit: UnitNetwork) -> float:
    """Return the least distance between two vertices of the endless pattern, in its own unit."""
    steps = np.array([(i, j) for i in (-1, 0, 1) for j in (-1, 0, 1)], dtype=float)
    basis = np.array([pattern.a1, pattern.a2], dtype=float)
    around = (unit.uv[None] + steps[:, None]).reshape(-1, 2) @ basis
    away, _ = cKDTree(around).query(unit.uv @ basis, k=2)
    return float(np.asarray(away)[:, 1].min())


def _unique(
    tail: Ints, head: Ints, step: Ints, bulge: Floats, feature: Ints
) -> tuple[Ints, Ints, Ints, Floats, Ints]:
    """Return the edges with doubles removed and every edge in its canonical direction; ground wins over leaf."""
    turned = (tail > head) | ((tail == head) & ((step[:, 0] < 0) | ((step[:, 0] == 0) & (step[:, 1] < 0))))
    tail, head = np.where(turned, head, tail), np.where(turned, tail, head)
    step = np.where(turned[:, None], -step, step)
    bulge = np.where(turned, -bulge, bulge)
    key = np.column_stack([tail, head, step, np.rint(bulge * 1e6).astype(np.int64)])
    order = np.lexsort((feature, *key.T[::-1]))
    ordered = key[order]
    fresh = np.ones(len(order), dtype=bool)
    fresh[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    keep = order[fresh]
    return tail[keep], head[keep], step[keep], bulge[keep], feature[keep]


def _dissolve(pattern: Pattern, unit: UnitNetwork) -> UnitNetwork:
    """Join edges that continue straight on, or along the same circle, through a vertex of degree two."""
    basis = np.array([pattern.a1, pattern.a2], dtype=float)
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
        ends = np.stack([start, through, end]) @ basis
        joined_bulge = joined(
            np.array([*ends[0], *ends[1], a[3]]), np.array([*ends[1], *ends[2], b[3]]), 1e-6
        )
        if joined_bulge is None:
            continue
        step = (a[2][0] + b[2][0], a[2][1] + b[2][1])
        del edges[second]
        edges[first] = (a[0], b[1], step, joined_bulge, a[4])
        del touching[vertex]
        touching[b[1]] = [first if index == second else index for index in touching[b[1]]]
    used = sorted({v for t, h, *_ in edges.values() for v in (t, h)})
    place = {vertex: index for index, vertex in enumerate(used)}
    rows = list(edges.values())
    return UnitNetwork(
        uv=unit.uv[used],
        tail=np.array([place[row[0]] for row in rows], dtype=np.int64),
        head=np.array([place[row[1]] for row in rows], dtype=np.int64),
        step=np.array([row[2] for row in rows], dtype=np.int64).reshape(-1, 2),
        bulge=np.array([row[3] for row in rows]),
        feature=np.array([row[4] for row in rows], dtype=np.int64),
    )
