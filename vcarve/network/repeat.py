"""The unit cell's network repeated over a rectangle of the piece, with numpy and by index: nothing is compared or noded."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vcarve.network.model import Graph
from vcarve.pattern.model import Pattern
from vcarve.pattern.unit import UnitNetwork
from vcarve.plane.arcs import boxes, curves
from vcarve.plane.arrays import Floats, Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class Placing:
    """How the pattern lies on the piece: scaled by the pitch, mirrored left to right, turned, then shifted."""

    pitch_mm: float
    rotate_deg: float = 0.0
    shift_mm: tuple[float, float] = (0.0, 0.0)
    mirror: bool = False

    @property
    def matrix(self) -> Floats:
        """The 2 × 2 matrix that takes pattern units, as a row vector, to millimetres on the piece."""
        # Quarter turns are exact, so that a turned job has the very same numbers.
        quarter, rest = divmod(self.rotate_deg, 90.0)
        cos, sin = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)][int(quarter) % 4]
        if rest:
            cos, sin = math.cos(math.radians(self.rotate_deg)), math.sin(math.radians(self.rotate_deg))
        flip = -1.0 if self.mirror else 1.0
        return self.pitch_mm * np.array([[flip * cos, flip * sin], [-sin, cos]])


def repeat(
    pattern: Pattern, unit: UnitNetwork, placing: Placing, box_mm: tuple[float, float, float, float]
) -> Graph:
    """Return the pattern's graph over at least the box (x low, y low, x high, y high), a lattice point at the shift.

    Edges keep the number of their unit edge as ``edge_class``.  Edges that stick out of the box are whole.
    """
    basis = np.array([pattern.a1, pattern.a2], dtype=float) @ placing.matrix
    flip = -1.0 if placing.mirror else 1.0
    shift = np.array(placing.shift_mm)
    # How far a cell's edges reach from its lattice point.
    ends = unit.uv[unit.tail] @ basis, (unit.uv[unit.head] + unit.step) @ basis
    around = boxes(curves(*ends, flip * unit.bulge))
    low, high = around[:, :2].min(axis=0), around[:, 2:].max(axis=0)
    x0, y0, x1, y1 = box_mm
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]) - shift
    grown = np.concatenate([corners - low, corners - high])
    lattice = grown @ np.linalg.inv(basis)
    i0, j0 = np.floor(lattice.min(axis=0)).astype(int) - 1
    i1, j1 = np.ceil(lattice.max(axis=0)).astype(int) + 1
    ii, jj = np.meshgrid(np.arange(i0, i1 + 1), np.arange(j0, j1 + 1), indexing="ij")
    origin = np.column_stack([ii.ravel(), jj.ravel()]) @ basis + shift
    meets = (
        (origin[:, 0] + high[0] >= x0)
        & (origin[:, 0] + low[0] <= x1)
        & (origin[:, 1] + high[1] >= y0)
        & (origin[:, 1] + low[1] <= y1)
    )
    i, j = ii.ravel()[meets], jj.ravel()[meets]

    # Vertices are numbered by cell and unit vertex over a range wide enough for every edge's far end.
    reach = np.abs(unit.step).max(axis=0)
    wide = (i1 - i0 + 1 + 2 * reach[0], j1 - j0 + 1 + 2 * reach[1])
    per_cell = len(unit.uv)

    def number(ci: Ints, cj: Ints, vertex: Ints) -> Ints:
        return np.asarray(((ci - i0 + reach[0]) * wide[1] + (cj - j0 + reach[1])) * per_cell + vertex)

    tail = number(i[:, None], j[:, None], unit.tail[None, :])
    head = number(i[:, None] + unit.step[None, :, 0], j[:, None] + unit.step[None, :, 1], unit.head[None, :])
    used = np.zeros(int(wide[0] * wide[1] * per_cell), dtype=bool)
    used[tail.ravel()] = True
    used[head.ravel()] = True
    place = np.cumsum(used) - 1
    numbers = np.flatnonzero(used)
    cell, vertex = np.divmod(numbers, per_cell)
    ci, cj = np.divmod(cell, wide[1])
    uv = np.column_stack([ci + i0 - reach[0], cj + j0 - reach[1]]) + unit.uv[vertex]
    count = len(i)
    return Graph(
        xy=uv @ basis + shift,
        tail=place[tail.ravel()],
        head=place[head.ravel()],
        bulge=np.tile(unit.bulge * flip, count),
        feature=np.tile(unit.feature, count),
        edge_class=np.tile(np.arange(len(unit.tail)), count),
        rim=np.zeros(count * len(unit.tail), dtype=np.int64),
    )
