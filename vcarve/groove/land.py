"""The land: each cell less the footprints of the grooves that reach it.

Why few grooves have to be looked at: a groove outside a cell reaches a point inside it only across the cell's boundary,
over an edge at least as near to that point as its own line.  If the edge crossed is as wide, the point is gone already.
So the cell is inset by the half-width of its narrowest own edge, and only wider edges, its own or others, and lines
inside the cell are taken away one by one.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyclipper
import shapely

from vcarve.errors import InternalError
from vcarve.groove.circle import largest_circles
from vcarve.groove.model import WEAK_MM, WEAK_SHARE, Grooves, Island
from vcarve.groove.near import boxes_round, cell_boxes, close_pairs, others_near
from vcarve.groove.outline import SAG_NM, Path, Strokes, flatten, group, in_nm, inset, subtract
from vcarve.groove.width import Cone, cone_line_mm, width_mm
from vcarve.network.model import Network
from vcarve.plane.arcs import ranges
from vcarve.plane.arrays import NM_PER_MM, Bools, Floats, Ints

# Land whose largest circle is smaller than this is the rounding of the chords, not wood.
NOTHING_MM = 0.002
TOGETHER = 1000  # cells whose arcs are flattened at once


@dataclass(frozen=True, slots=True, kw_only=True)
class _Land:
    """The islands of one cell: their shapes, areas, largest circles and the circles' centres from the corner."""

    islands: tuple[Island, ...]
    area_mm2: float
    circle_mm: tuple[float, ...]
    centre_mm: tuple[tuple[float, float], ...]


def _edge_values(
    network: Network, bit: Cone, depths: Mapping[int, float], share: Floats | None
) -> tuple[Floats, Floats]:
    """Return depth and half-width at both ends of every edge, each (2, E); 0 where nothing is cut."""
    depth = np.zeros((2, len(network.tail)))
    half = np.zeros((2, len(network.tail)))
    for feature in np.unique(network.feature[network.cut]).tolist():
        if feature not in depths:
            raise InternalError(f"There is no depth for lines of feature {feature}.")
        chosen = network.cut & (network.feature == feature)
        depth[:, chosen] = depths[feature]
        half[:, chosen] = width_mm(bit, depths[feature]) / 2.0
    if share is not None:
        slope = np.flatnonzero(network.cut & (share != 1.0).any(axis=0))
        depth[:, slope] = np.round(depth[:, slope] * share[:, slope], 6)
        # Along a slope the cone's own line is even: what is left of a round tip's bulge is land that is not counted.
        start, more = cone_line_mm(bit)
        half[:, slope] = np.minimum(start + more * depth[:, slope], bit.diameter_mm) / 2.0
    return depth, half


def _loops(half_edges: list[int], inside: set[int]) -> list[list[int]]:
    """Return the closed loops of a ring (positions in it) without the edges that lie inside the cell.

    An inside edge is walked out and back, so its two half-edges pair like brackets, wherever the ring is begun.  What lies
    between the two, and what is left in the end, is a closed loop.
    """
    loops: list[list[int]] = []
    stack: list[tuple[int, list[int]]] = [(-1, [])]
    for position, half_edge in enumerate(half_edges):
        if half_edge >> 1 not in inside:
            stack[-1][1].append(position)
        elif stack[-1][0] == half_edge ^ 1:
            loops.append(stack.pop()[1])
        else:
            stack.append((half_edge, []))
    loops.extend(loop for _, loop in stack)
    return [loop for loop in loops if loop]


def _measure_islands(found: list[list[list[Path]]]) -> list[_Land]:
    """Measure the islands of every cell looked at; the circles of all of them in one call."""
    parts = [(cell, island) for cell, islands in enumerate(found) for island in islands]
    polygons = np.array(
        [
            shapely.Polygon(
                np.array(island[0]) / NM_PER_MM, [np.array(hole) / NM_PER_MM for hole in island[1:]]
            )
            for _, island in parts
        ],
        dtype=object,
    )
    lands: list[list[tuple[Island, float, float, tuple[float, float]]]] = [[] for _ in found]
    if len(polygons):
        size, ends = largest_circles(polygons)
        areas = shapely.area(polygons)
        for (cell, island), across, area, end in zip(
            parts, size.tolist(), areas.tolist(), ends.tolist(), strict=True
        ):
            if across >= NOTHING_MM:
                rings = [np.array(ring, dtype=np.int64) for ring in island]
                shape = Island(outer_nm=rings[0], holes_nm=tuple(rings[1:]))
                lands[cell].append((shape, area, across, (end[0], end[1])))
    return [
        _Land(
            islands=tuple(part[0] for part in cell),
            area_mm2=sum(part[1] for part in cell),
            circle_mm=tuple(part[2] for part in cell),
            centre_mm=tuple(part[3] for part in cell),
        )
        for cell in lands
    ]


def _carve(
    half_edges: list[list[int]],
    points: list[list[Path]],
    half_nm: Mapping[int, float],
    others: Sequence[tuple[int, Path]],
    strokes: Strokes,
    corner: tuple[int, int],
) -> list[list[Path]]:
    """Return the islands of one cell, from its ``corner``.

    ``half_edges`` and ``points`` are those of its rings, ``others`` the edges and points of wider grooves that may reach in.
    """
    walked = [half_edge >> 1 for ring in half_edges for half_edge in ring]
    seen: set[int] = set()
    inside = {edge for edge in walked if edge in seen or seen.add(edge)}  # type: ignore[func-returns-value]
    # A hole whose grooves are all of one width grows by it as a whole; of such a channel's holes there may be thousands.
    grown: dict[float, list[Path]] = {}
    rest: list[tuple[list[int], list[Path]]] = []
    for index, (ring, ring_points) in enumerate(zip(half_edges, points, strict=True)):
        widths = {half_nm[half_edge >> 1] for half_edge in ring}
        if index and len(widths) == 1 and 0.0 not in widths and inside.isdisjoint(h >> 1 for h in ring):
            path = [point for part in ring_points for point in part]
            grown.setdefault(widths.pop(), []).append(path[::-1])
        else:
            rest.append((ring, ring_points))
    narrowest = min((half_nm[h >> 1] for ring, _ in rest for h in ring if h >> 1 not in inside), default=0.0)
    rings: list[Path] = []
    taken: set[int] = set()
    for ring, ring_points in rest:
        for loop in _loops(ring, inside):
            rings.append([point for position in loop for point in ring_points[position]])
        for half_edge in ring:
            edge = half_edge >> 1
            if half_nm[edge] > 0.0 and (edge in inside or half_nm[edge] > narrowest):
                taken.add(edge)
    land = inset(rings, narrowest) if narrowest > 0.0 else rings
    if land and grown:
        land = subtract(land, [path for half, paths in grown.items() for path in inset(paths, -half)])
    # Most others only touch a corner that the cell's own grooves have taken already: those are told apart first.
    for cut in (sorted(taken), None):
        if land and cut is None:
            cut = _reaching(land, others, half_nm)
        if land and cut:
            land = subtract(land, strokes.around(cut, *corner))
    # A circle of the size that counts as nothing has this area at least.
    least = (NOTHING_MM * NM_PER_MM) ** 2 / 2.0
    return [part for part in group(land) if pyclipper.Area(part[0]) > least]


def _reaching(
    land: list[Path], others: Sequence[tuple[int, Path]], half_nm: Mapping[int, float]
) -> list[int]:
    """Return the edges whose grooves reach the land by more than the sag of chords."""
    if not others:
        return []
    rings: Any = shapely.linearrings(
        [point for ring in land for point in ring],
        indices=np.repeat(np.arange(len(land)), [len(ring) for ring in land]),
    )
    region = shapely.multilinestrings(rings)
    shapely.prepare(region)  # else every line is held against every side of it
    lines = shapely.linestrings(
        [point for _, path in others for point in path],
        indices=np.repeat(np.arange(len(others)), [len(path) for _, path in others]),
    )
    reach: Any = np.array([half_nm[edge] for edge, _ in others]) - 2.0 * SAG_NM
    return [others[i][0] for i in np.flatnonzero(shapely.dwithin(region, lines, reach)).tolist()]


def _representatives(network: Network, alone: Bools) -> tuple[Ints, Ints]:
    """Return the cells to look at, and for each cell which of them it is a copy of (an index into the first)."""
    cells = network.cells
    key = np.where(alone, network.cell_class.max(initial=-1) + 1 + np.arange(cells), network.cell_class)
    _, first, shape = np.unique(key, return_index=True, return_inverse=True)
    return first.astype(np.int64), shape.astype(np.int64).reshape(-1)


def measure(network: Network, bit: Cone, depths: Mapping[int, float], share: Floats | None = None) -> Grooves:
    """Return the grooves that ``bit`` leaves at these depths (mm, by feature) and the land between them.

    ``share`` (2, E) is how much of its depth each edge has at its tail and at its head, all of it if not given.
    Each kind of cell is worked out once.  Circles and widths are right to a micrometre.
    Raises ``InputError`` for a bit that is none and ``InternalError`` where a feature to cut has no depth.
    """
    depth, ends = _edge_values(network, bit, depths, share)
    if network.cells == 0:
        none = np.zeros(0, dtype=np.int64)
        return _gather(network, depth, ends, np.zeros((0, 2), dtype=np.int64), none, [])
    half: Floats = ends.max(axis=0)
    edge = network.ring_half_edge >> 1
    first, last = (
        network.ring_start[network.cell_ring_start[:-1]],
        network.ring_start[network.cell_ring_start[1:]],
    )
    sides = network.walked(network.ring_half_edge)
    boxes, corner = cell_boxes(sides, first, network.ring_start[network.cell_ring_start[:-1] + 1])
    narrowest = np.minimum.reduceat(half[edge], first)
    widest = float(half.max(initial=0.0))
    open_to_others = narrowest < widest
    alone = network.cell_class < 0
    if bool(open_to_others.any()) and widest > 0.0:
        # A copy keeps the land of its kind only where its surroundings are copies too.
        odd_edges = np.flatnonzero(network.edge_class < 0)
        odd = shapely.STRtree(boxes_round(network, odd_edges, widest))
        asked = np.flatnonzero(open_to_others & ~alone)
        cell, other = odd.query(boxes[asked])
        touched, reaching = asked[cell], odd_edges[other]
        close = close_pairs(network, touched, reaching, np.full(len(reaching), widest))
        alone = alone.copy()
        alone[touched[close]] = True
    chosen, shape = _representatives(network, alone)
    others = others_near(network, half, boxes, chosen[open_to_others[chosen]], narrowest, edge, first, last)
    half_nm = (half * NM_PER_MM).tolist()
    ends_nm = list(map(tuple, (ends * NM_PER_MM).T.tolist()))
    strokes = Strokes(network, ends)
    strokes.draw({edge for near in others.values() for edge in near})
    found: list[list[list[Path]]] = []
    known: dict[Hashable, int] = {}
    kind_of = []
    for cell, ring_half_edges, ring_points in _drawn(network, sides, chosen, corner):
        at_x, at_y = corner[cell].tolist()
        near = others.get(cell, [])
        paths = list(zip(near, strokes.lines(near, at_x, at_y), strict=True))
        used = {h >> 1 for ring in ring_half_edges for h in ring} | {e for e, _ in paths}
        widths = {e: half_nm[e] for e in used}
        alike = _look(ring_half_edges, ring_points, {e: ends_nm[e] for e in used}, paths)
        if alike not in known:
            known[alike] = len(found)
            found.append(_carve(ring_half_edges, ring_points, widths, paths, strokes, (at_x, at_y)))
        kind_of.append(known[alike])
    kinds = np.array(kind_of, dtype=np.int64)
    return _gather(network, depth, ends, corner, kinds[shape], _measure_islands(found))


def _drawn(
    network: Network, sides: Floats, cells: Ints, corner: Ints
) -> Iterator[tuple[int, list[list[int]], list[list[Path]]]]:
    """Yield each cell with the half-edges of its rings and their points, from its corner."""
    for begin in range(0, len(cells), TOGETHER):
        some = cells[begin : begin + TOGETHER]
        bounds = network.cell_ring_start[some], network.cell_ring_start[some + 1]
        first, last = network.ring_start[bounds[0]], network.ring_start[bounds[1]]
        lines = iter(
            flatten(in_nm(sides[ranges(first, last)], np.repeat(corner[some], last - first, axis=0)))
        )
        for cell, low, high in zip(some.tolist(), *(each.tolist() for each in bounds), strict=True):
            rings = np.split(network.ring_half_edge, network.ring_start[low : high + 1])[1:-1]
            half_edges: list[list[int]] = [ring.tolist() for ring in rings]
            yield cell, half_edges, [[next(lines).tolist() for _ in ring] for ring in half_edges]


def _look(
    half_edges: list[list[int]],
    points: list[list[Path]],
    ends_nm: Mapping[int, tuple[float, float]],
    others: list[tuple[int, Path]],
) -> Hashable:
    """Return what two cells must have in common to keep the same land: points to 16 nm, widths, what reaches in."""
    rings = tuple(
        tuple(
            (
                ends_nm[half_edge >> 1][:: -1 if half_edge & 1 else 1],
                len(line),
                *_coarse(line[0]),
                *_coarse(line[len(line) // 2]),
            )
            for half_edge, line in zip(ring, lines, strict=True)
        )
        for ring, lines in zip(half_edges, points, strict=True)
    )
    every = {half_edge for ring in half_edges for half_edge in ring}
    twins = tuple(tuple(half_edge ^ 1 in every for half_edge in ring) for ring in half_edges)
    corners = [point for ring in points for line in ring for point in line]
    low = (min(x for x, _ in corners), min(y for _, y in corners))
    high = (max(x for x, _ in corners), max(y for _, y in corners))
    reaching = frozenset(
        (
            _coarse(path[len(path) // 2]),
            frozenset(
                (half, _coarse(end)) for half, end in zip(ends_nm[edge], (path[0], path[-1]), strict=True)
            ),
        )
        for edge, path in ((edge, _within(path, low, high, ends_nm[edge])) for edge, path in others)
    )
    return rings, twins, reaching


def _within(path: Path, low: tuple[int, int], high: tuple[int, int], ends_nm: tuple[float, float]) -> Path:
    """Return the part of a straight line of even width that can reach into a box; other lines are left as they are.

    What was clipped beyond it makes no difference to the cell in the box.
    """
    reach_nm = ends_nm[0]
    if len(path) != 2 or ends_nm[1] != reach_nm:
        return path
    (x0, y0), (x1, y1) = path
    enter, leave = 0.0, 1.0
    for start, run, least, most in ((x0, x1 - x0, low[0], high[0]), (y0, y1 - y0, low[1], high[1])):
        if run == 0:
            continue
        ends = sorted(((least - reach_nm - start) / run, (most + reach_nm - start) / run))
        enter, leave = max(enter, ends[0]), min(leave, ends[1])
    if enter >= leave:
        return path
    return [
        [x0 + round(share * (x1 - x0)), y0 + round(share * (y1 - y0))] if 0.0 < share < 1.0 else end
        for share, end in ((enter, path[0]), (leave, path[1]))
    ]


def _coarse(point: Sequence[int]) -> tuple[int, int]:
    """Return a point on a grid coarser than what rounding can move copies apart."""
    return (point[0] + 8) >> 4, (point[1] + 8) >> 4


def _gather(
    network: Network, depth: Floats, ends: Floats, corner: Ints, shape: Ints, kinds: list[_Land]
) -> Grooves:
    """Spread what was found for each kind of cell over all its copies."""
    best = [int(np.argmax(kind.circle_mm)) if kind.circle_mm else -1 for kind in kinds]
    size = np.array([kind.circle_mm[i] if i >= 0 else 0.0 for kind, i in zip(kinds, best, strict=True)])
    centre = np.array(
        [kind.centre_mm[i] if i >= 0 else (np.nan, np.nan) for kind, i in zip(kinds, best, strict=True)]
    ).reshape(-1, 2)
    area = np.array([kind.area_mm2 for kind in kinds], dtype=float)
    count = np.array([len(kind.islands) for kind in kinds], dtype=np.int64)
    weak_mm, weak_at = _weak(network, depth.max(axis=0), corner, shape, kinds)
    return Grooves(
        ends_depth_mm=depth,
        ends_half_mm=ends,
        land_mm=size[shape],
        land_at_mm=centre[shape] + corner / NM_PER_MM,
        land_area_mm2=area[shape],
        islands=count[shape],
        shape=shape,
        corner_nm=corner,
        lands=tuple(kind.islands for kind in kinds),
        weak_mm=weak_mm,
        weak_at_mm=weak_at,
    )


def _weak(
    network: Network, depth: Floats, corner: Ints, shape: Ints, kinds: list[_Land]
) -> tuple[Floats, Floats]:
    """Return size and place of every island likely to break out, in the order of the cells."""
    sizes = [size for kind in kinds for size in kind.circle_mm]
    if not sizes:
        return np.zeros(0), np.zeros((0, 2))
    start = network.ring_start[network.cell_ring_start]
    deepest = np.maximum.reduceat(depth[network.ring_half_edge >> 1], start[:-1])
    counts = np.array([len(kind.islands) for kind in kinds], dtype=np.int64)
    offsets = np.cumsum(counts) - counts
    island = ranges(offsets[shape], (offsets + counts)[shape])
    cell = np.repeat(np.arange(len(shape)), counts[shape])
    size = np.array(sizes)[island]
    centre = np.array([at for kind in kinds for at in kind.centre_mm])[island]
    weak = size < np.maximum(WEAK_MM, WEAK_SHARE * deepest[cell])
    return size[weak], centre[weak] + corner[cell[weak]] / NM_PER_MM
