"""A groove's footprint drawn directly: both sides of its line and a round end at each, because the bit is round."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from vcarve.groove.outline import SAG_NM, Path, flatten, widen
from vcarve.network.model import Bools, Floats, Ints, Network


def _steps(radius_nm: float, sweep: float) -> int:
    """Return how many chords keep within the sag of an arc."""
    if radius_nm <= SAG_NM:
        return max(math.ceil(sweep / (0.5 * math.pi)), 1)
    return max(math.ceil(sweep / (2.0 * math.acos(1.0 - SAG_NM / radius_nm))), 1)


def stroke(x1: int, y1: int, bulge: float, half_nm: float, end_nm: float) -> list[Ints]:
    """Return the footprint of a line or arc from (0, 0) to (x1, y1) as rings (n, 2) in nanometres, counter-clockwise.

    ``half_nm`` is half of the width at its start, ``end_nm`` at its end.  Rings may lap over themselves, where an arc nearly
    closes, and over one another: fill them by the non-zero rule.
    """
    if half_nm != end_nm:
        return _narrowing([*flatten(0, 0, x1, y1, bulge), (x1, y1)], half_nm, end_nm)
    chord = math.hypot(x1, y1)
    bend = 2.0 * math.atan(bulge)  # half the sweep
    radius = math.inf if bulge == 0.0 else chord / (2.0 * abs(math.sin(bend)))
    if half_nm >= radius or chord == 0.0:
        # The inner side of so tight an arc turns inside out.
        path = [*flatten(0, 0, x1, y1, bulge), (x1, y1)]
        return [np.array(ring, dtype=np.int64) for ring in widen({half_nm: [path]})]
    way = math.atan2(y1, x1)
    right_start, right_end = way - bend - 0.5 * math.pi, way + bend - 0.5 * math.pi
    count = _steps(half_nm, math.pi)
    swing = np.linspace(0.0, math.pi, count + 1)
    cap_end, cap_start = right_end + swing, right_start + math.pi + swing
    caps = [
        half_nm * np.column_stack([np.cos(angle), np.sin(angle)]) + place
        for angle, place in ((cap_end, (float(x1), float(y1))), (cap_start, (0.0, 0.0)))
    ]
    if bulge == 0.0:
        return [np.rint(np.concatenate(caps)).astype(np.int64)]
    # The centre lies to the left of an arc that turns left: its right side is the longer one.
    turn = math.copysign(1.0, bulge)
    out = np.array([math.cos(right_start), math.sin(right_start)]) * turn
    centre = -radius * out
    first = math.atan2(out[1], out[0])
    sides = []
    for side in (turn, -turn):
        reach = radius + side * half_nm
        between = np.linspace(0.0, 2.0 * bend, _steps(reach, 2.0 * abs(bend)) + 1)[1:-1]
        if side == -turn:
            between = between[::-1]
        angle = first + between
        sides.append(centre + reach * np.column_stack([np.cos(angle), np.sin(angle)]))
    # Right side forward, round the end, left side back, round the start.
    ring = np.concatenate([sides[0], caps[0], sides[1], caps[1]])
    return [np.rint(ring).astype(np.int64)]


def _narrowing(path: Path, half_nm: float, end_nm: float) -> list[Ints]:
    """Return the footprint of even chords that narrow or widen evenly: of each the hull of the circles round its ends."""
    rings = []
    halves = np.linspace(half_nm, end_nm, len(path)).tolist()
    for (a, b), (wide, narrow) in zip(pairwise(path), pairwise(halves), strict=True):
        if wide < narrow:
            a, b, wide, narrow = b, a, narrow, wide
        way = math.atan2(b[1] - a[1], b[0] - a[0])
        # The sides touch both circles; where one circle holds the other there are none.
        side = math.acos(min((wide - narrow) / max(math.dist(a, b), 1e-9), 1.0))
        parts = []
        for place, radius, first, sweep in (
            (b, narrow, way - side, 2.0 * side),
            (a, wide, way + side, 2.0 * (math.pi - side)),
        ):
            angle = np.linspace(first, first + sweep, _steps(radius, sweep) + 1)
            parts.append(radius * np.column_stack([np.cos(angle), np.sin(angle)]) + np.array(place, float))
        rings.append(np.rint(np.concatenate(parts)).astype(np.int64))
    return rings


class Strokes:
    """The lines and footprints of a network's edges, each worked out once when it is first asked for."""

    def __init__(self, network: Network, ends_half_mm: Floats) -> None:
        self._network = network
        self._ends_nm = ends_half_mm * 1e6  # (2, E)
        self._drawn: dict[int, list[Ints]] = {}
        self._lines: dict[int, Ints] = {}

    def line(self, edge: int, x_nm: int, y_nm: int) -> Path:
        """Return the points of a whole edge, measured from (x_nm, y_nm)."""
        n = self._network
        points = self._lines.get(edge)
        if points is None:
            tail, head = int(n.tail[edge]), int(n.head[edge])
            x0, y0, x1, y1 = (int(v) for v in (n.x_nm[tail], n.y_nm[tail], n.x_nm[head], n.y_nm[head]))
            bent = flatten(0, 0, x1 - x0, y1 - y0, float(n.bulge[edge]))
            points = np.array([*bent, (x1 - x0, y1 - y0)], dtype=np.int64) + np.array([x0, y0])
            self._lines[edge] = points
        moved = points - np.array([x_nm, y_nm])
        return list(zip(moved[:, 0].tolist(), moved[:, 1].tolist(), strict=True))

    def around(self, edge: int, x_nm: int, y_nm: int) -> list[Path]:
        """Return the rings of an edge's footprint, measured from (x_nm, y_nm), as lists of points."""
        n = self._network
        tail = int(n.tail[edge])
        x0, y0 = int(n.x_nm[tail]), int(n.y_nm[tail])
        rings = self._drawn.get(edge)
        if rings is None:
            head = int(n.head[edge])
            x1, y1 = int(n.x_nm[head]) - x0, int(n.y_nm[head]) - y0
            rings = stroke(x1, y1, float(n.bulge[edge]), *self._ends_nm[:, edge].tolist())
            self._drawn[edge] = rings
        shift = np.array([x0 - x_nm, y0 - y_nm], dtype=np.int64)
        moved: list[Path] = [(ring + shift).tolist() for ring in rings]
        return moved


def points_along(network: Network, half_edge: Ints, pieces: int) -> tuple[Floats, Ints]:
    """Return points (n, 2) in nanometres of half-edges, each from its start to before its end, and how many each has.

    Arcs are cut into this many equal pieces.
    """
    edge, back = half_edge >> 1, (half_edge & 1).astype(bool)
    tail, head = network.tail[edge], network.head[edge]
    first, last = np.where(back, head, tail), np.where(back, tail, head)
    start = np.column_stack([network.x_nm[first], network.y_nm[first]]).astype(float)
    end = np.column_stack([network.x_nm[last], network.y_nm[last]]).astype(float)
    bulge: Floats = np.where(back, -network.bulge[edge], network.bulge[edge])
    bent: Bools = bulge != 0.0
    count: Ints = np.where(bent, pieces, 1)
    owner = np.repeat(np.arange(len(edge)), count)
    share = (np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)) / count[owner]
    # On a chord of length 1 from -1/2 to 1/2, an arc of sweep 4 atan(bulge) has its centre at (0, off).
    sweep = 4.0 * np.arctan(bulge)[owner]
    safe = np.where(sweep == 0.0, 1.0, sweep)
    off = 0.5 / np.tan(safe / 2.0)
    angle = np.arctan2(-off, -0.5) + safe * share
    radius = np.hypot(0.5, off)
    # Starts are exact, so that runs of edges join.
    plain = (sweep == 0.0) | (share == 0.0)
    along = np.where(plain, share, 0.5 + radius * np.cos(angle))
    aside = np.where(plain, 0.0, off + radius * np.sin(angle))
    chord = (end - start)[owner]
    normal = np.column_stack([-chord[:, 1], chord[:, 0]])
    return start[owner] + along[:, None] * chord + aside[:, None] * normal, count
