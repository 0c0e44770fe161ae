"""The land: each cell less the footprints of the grooves that reach it.

Why few grooves have to be looked at: a groove outside a cell reaches a point inside it only across the cell's boundary,
over an edge at least as near to that point as its own line.  If the edge crossed is as wide, the point is gone already.
So the cell is inset by the half-width of its narrowest own edge, and only wider edges, its own or others, and lines
inside the cell are taken away one by one.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyclipper
import shapely

from vcarve.errors import InternalError
from vcarve.groove.circle import largest_circles
from vcarve.groove.model import WEAK_MM, WEAK_SHARE, Grooves, Island
from vcarve.groove.outline import Path, flatten, group, inset, subtract, widen
from vcarve.groove.width import Cone, width_mm
from vcarve.network.model import NM_PER_MM, Bools, Floats, Ints, Network

# Land whose largest circle is smaller than this is the rounding of the chords, not wood.
NOTHING_MM = 0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class _Land:
    """The islands of one cell: their shapes, areas, largest circles and the circles' centres from the corner."""

    islands: tuple[Island, ...]
    area_mm2: float
    circle_mm: tuple[float, ...]
    centre_mm: tuple[tuple[float, float], ...]


def _ranges(starts: Ints, ends: Ints) -> Ints:
    """Return the numbers of all half-open ranges, one range after the other."""
    sizes = ends - starts
    before = np.cumsum(sizes) - sizes
    numbers: Ints = np.arange(sizes.sum(), dtype=np.int64) + np.repeat(starts - before, sizes)
    return numbers


def _edge_values(network: Network, bit: Cone, depths: Mapping[int, float]) -> tuple[Floats, Floats]:
    """Return depth and half-width of every edge; 0 where nothing is cut."""
    depth = np.zeros(len(network.tail))
    half = np.zeros(len(network.tail))
    for role in np.unique(network.role[network.cut]).tolist():
        if role not in depths:
            raise InternalError(f"There is no depth for lines of role {role}.")
        chosen = network.cut & (network.role == role)
        depth[chosen] = depths[role]
        half[chosen] = width_mm(bit, depths[role]) / 2.0
    return depth, half


def _boxes(network: Network, edges: Ints, grow_nm: Floats | float) -> Any:
    """Return a box round each edge (arcs: round their whole bulge), grown on all sides."""
    tail, head, bulge = network.tail[edges], network.head[edges], np.abs(network.bulge[edges])
    x0, y0, x1, y1 = network.x_nm[tail], network.y_nm[tail], network.x_nm[head], network.y_nm[head]
    # An arc stays within bulge * chord / 2 of its chord, or within its diameter if it is more than half a circle.
    grow = grow_nm + np.hypot(x1 - x0, y1 - y0) * bulge * np.maximum(bulge, 1.0)
    low_x, low_y = np.minimum(x0, x1) - grow, np.minimum(y0, y1) - grow
    return shapely.box(low_x, low_y, np.maximum(x0, x1) + grow, np.maximum(y0, y1) + grow)


def _outer_boxes(network: Network, tail_of: Ints, edge: Ints, first: Ints, last: Ints) -> tuple[Any, Ints]:
    """Return a box round each cell's outer ring and its low corner; ``first``/``last`` bound the ring."""
    index = _ranges(first, last)
    at = np.cumsum(last - first) - (last - first)
    x, y = network.x_nm[tail_of[index]], network.y_nm[tail_of[index]]
    low = np.column_stack([np.minimum.reduceat(x, at), np.minimum.reduceat(y, at)])
    high = np.column_stack([np.maximum.reduceat(x, at), np.maximum.reduceat(y, at)])
    bulging = network.chord_mm[edge[index]] * NM_PER_MM * np.abs(network.bulge[edge[index]])
    grow = np.maximum.reduceat(bulging * np.maximum(np.abs(network.bulge[edge[index]]), 1.0), at)
    boxes = shapely.box(low[:, 0] - grow, low[:, 1] - grow, high[:, 0] + grow, high[:, 1] + grow)
    return boxes, low


def _loops(half_edges: list[int], inside: set[int]) -> list[list[int]]:
    """Return the closed loops of a ring (positions in it) without the edges that lie inside the cell.

    An inside edge is walked out and back: like brackets, wherever the ring is begun.  What stands between the two, and
    what is left in the end, closes on itself.
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
    others: list[tuple[int, Path]],
) -> list[list[Path]]:
    """Return the islands of one cell.

    ``half_edges`` and ``points`` are those of its rings, ``others`` the edges and points of wider grooves that may reach in.
    """
    walked = [half_edge >> 1 for ring in half_edges for half_edge in ring]
    seen: set[int] = set()
    inside = {edge for edge in walked if edge in seen or seen.add(edge)}  # type: ignore[func-returns-value]
    narrowest = min((half_nm[edge] for edge in walked if edge not in inside), default=0.0)
    rings: list[Path] = []
    wide: dict[float, list[Path]] = {}
    taken: set[int] = set()
    for ring, ring_points in zip(half_edges, points, strict=True):
        for loop in _loops(ring, inside):
            rings.append([point for position in loop for point in ring_points[position]])
        for position, half_edge in enumerate(ring):
            edge = half_edge >> 1
            if edge in taken or half_nm[edge] == 0.0 or (edge not in inside and half_nm[edge] <= narrowest):
                continue
            taken.add(edge)
            end = ring_points[(position + 1) % len(ring)][0]
            wide.setdefault(half_nm[edge], []).append([*ring_points[position], end])
    for edge, path in others:
        if half_nm[edge] > narrowest:
            wide.setdefault(half_nm[edge], []).append(path)
    land = inset(rings, narrowest) if narrowest > 0.0 else rings
    if wide and land:
        land = subtract(land, widen(wide))
    # A circle of the size that counts as nothing has this area at least.
    least = (NOTHING_MM * NM_PER_MM) ** 2 / 2.0
    return [part for part in group(land) if pyclipper.Area(part[0]) > least]


def _representatives(network: Network, alone: Bools) -> tuple[Ints, Ints]:
    """Return the cells to look at, and for each cell which of them it is a copy of (an index into the first)."""
    cells = network.cells
    key = np.where(alone, network.cell_class.max(initial=-1) + 1 + np.arange(cells), network.cell_class)
    _, first, shape = np.unique(key, return_index=True, return_inverse=True)
    return first.astype(np.int64), shape.astype(np.int64).reshape(-1)


def measure(network: Network, bit: Cone, depths: Mapping[int, float]) -> Grooves:
    """Return the grooves that ``bit`` leaves at these depths (mm, by role) and the land between them.

    Each kind of cell is worked out once.  Circles and widths are right to a micrometre.
    Raises ``InputError`` for a bit that is none and ``InternalError`` where a role to cut has no depth.
    """
    depth, half = _edge_values(network, bit, depths)
    if network.cells == 0:
        return _gather(
            network, depth, half, np.zeros((0, 2), dtype=np.int64), np.zeros(0, dtype=np.int64), []
        )
    edge = network.ring_half_edge >> 1
    backward = (network.ring_half_edge & 1).astype(bool)
    tail = np.where(backward, network.head[edge], network.tail[edge])
    ring_of_cell = network.cell_ring_start
    first, last = network.ring_start[ring_of_cell[:-1]], network.ring_start[ring_of_cell[:-1] + 1]
    boxes, corner = _outer_boxes(network, tail, edge, first, last)
    all_first, all_last = network.ring_start[ring_of_cell[:-1]], network.ring_start[ring_of_cell[1:]]
    own = _ranges(all_first, all_last)
    own_at = np.cumsum(all_last - all_first) - (all_last - all_first)
    narrowest = np.minimum.reduceat(half[edge[own]], own_at)
    widest = float(half.max(initial=0.0))
    open_to_others = narrowest < widest
    alone = network.cell_class < 0
    if bool(open_to_others.any()) and widest > 0.0:
        # A copy keeps the land of its kind only where its surroundings are copies too.
        odd = shapely.STRtree(_boxes(network, np.flatnonzero(network.edge_class < 0), widest * NM_PER_MM))
        asked = np.flatnonzero(open_to_others & ~alone)
        near = np.unique(odd.query(boxes[asked])[0])
        alone = alone.copy()
        alone[asked[near]] = True
    chosen, shape = _representatives(network, alone)
    others = _others(
        network, half, boxes, chosen[open_to_others[chosen]], narrowest, edge, all_first, all_last
    )
    half_nm = (half * NM_PER_MM).tolist()
    found: list[list[list[Path]]] = []
    known: dict[Hashable, int] = {}
    kind_of = []
    for cell in chosen.tolist():
        at_x, at_y = corner[cell].tolist()
        ring_half_edges, ring_points = [], []
        for ring in range(int(ring_of_cell[cell]), int(ring_of_cell[cell + 1])):
            part = slice(int(network.ring_start[ring]), int(network.ring_start[ring + 1]))
            ring_half_edges.append(network.ring_half_edge[part].tolist())
            ring_points.append(_points(network, tail[part], edge[part], backward[part], at_x, at_y))
        paths = [(e, _path(network, e, at_x, at_y)) for e in others.get(cell, ())]
        used = {h >> 1 for ring in ring_half_edges for h in ring} | {e for e, _ in paths}
        widths = {e: half_nm[e] for e in used}
        alike = _look(ring_half_edges, ring_points, widths, paths)
        if alike not in known:
            known[alike] = len(found)
            found.append(_carve(ring_half_edges, ring_points, widths, paths))
        kind_of.append(known[alike])
    kinds = np.array(kind_of, dtype=np.int64)
    return _gather(network, depth, half, corner, kinds[shape], _measure_islands(found))


def _look(
    half_edges: list[list[int]],
    points: list[list[Path]],
    half_nm: Mapping[int, float],
    others: list[tuple[int, Path]],
) -> Hashable:
    """Return what two cells must have in common to keep the same land: points to 16 nm, widths, what reaches in."""
    rings = tuple(
        tuple(
            (half_nm[half_edge >> 1], len(line), *_coarse(line[0]), *_coarse(line[len(line) // 2]))
            for half_edge, line in zip(ring, lines, strict=True)
        )
        for ring, lines in zip(half_edges, points, strict=True)
    )
    every = {half_edge for ring in half_edges for half_edge in ring}
    twins = tuple(tuple(half_edge ^ 1 in every for half_edge in ring) for ring in half_edges)
    reaching = frozenset(
        (half_nm[edge], _coarse(path[len(path) // 2]), frozenset((_coarse(path[0]), _coarse(path[-1]))))
        for edge, path in others
    )
    return rings, twins, reaching


def _coarse(point: tuple[int, int]) -> tuple[int, int]:
    """Return a point on a grid coarser than what rounding can move copies apart."""
    return (point[0] + 8) >> 4, (point[1] + 8) >> 4


def _points(network: Network, tail: Ints, edge: Ints, backward: Bools, at_x: int, at_y: int) -> list[Path]:
    """Return the points of each half-edge of a ring, from its start to before its end, from the cell's corner."""
    x, y = (network.x_nm[tail] - at_x).tolist(), (network.y_nm[tail] - at_y).tolist()
    bulge = np.where(backward, -network.bulge[edge], network.bulge[edge]).tolist()
    following = [*range(1, len(x)), 0]
    return [
        flatten(x[i], y[i], x[j], y[j], b) if b else [(x[i], y[i])]
        for i, j, b in zip(range(len(x)), following, bulge, strict=True)
    ]


def _path(network: Network, edge: int, at_x: int, at_y: int) -> Path:
    """Return the points of a whole edge, from the cell's corner."""
    tail, head = int(network.tail[edge]), int(network.head[edge])
    x0, y0 = int(network.x_nm[tail]) - at_x, int(network.y_nm[tail]) - at_y
    x1, y1 = int(network.x_nm[head]) - at_x, int(network.y_nm[head]) - at_y
    return [*flatten(x0, y0, x1, y1, float(network.bulge[edge])), (x1, y1)]


def _others(
    network: Network,
    half: Floats,
    boxes: Any,
    asked: Ints,
    narrowest: Floats,
    edge: Ints,
    first: Ints,
    last: Ints,
) -> dict[int, list[int]]:
    """Return for each cell asked about the edges, not its own, that are wider than its narrowest and may reach in."""
    if len(asked) == 0:
        return {}
    wide = np.flatnonzero(half > float(narrowest[asked].min()))
    tree = shapely.STRtree(_boxes(network, wide, half[wide] * NM_PER_MM))
    cells, hits = tree.query(boxes[asked])
    result: dict[int, list[int]] = {}
    for cell, other in zip(asked[cells].tolist(), wide[hits].tolist(), strict=True):
        result.setdefault(cell, []).append(other)
    for cell, reaching in result.items():
        mine = set(edge[first[cell] : last[cell]].tolist())
        result[cell] = sorted(e for e in reaching if e not in mine and half[e] > narrowest[cell])
    return result


def _gather(
    network: Network, depth: Floats, half: Floats, corner: Ints, shape: Ints, kinds: list[_Land]
) -> Grooves:
    """Spread what was found for each kind of cell over all its copies."""
    best = [int(np.argmax(kind.circle_mm)) if kind.circle_mm else -1 for kind in kinds]
    size = np.array([kind.circle_mm[i] if i >= 0 else 0.0 for kind, i in zip(kinds, best, strict=True)])
    centre = np.array(
        [kind.centre_mm[i] if i >= 0 else (np.nan, np.nan) for kind, i in zip(kinds, best, strict=True)]
    ).reshape(-1, 2)
    area = np.array([kind.area_mm2 for kind in kinds], dtype=float)
    count = np.array([len(kind.islands) for kind in kinds], dtype=np.int64)
    weak_mm, weak_at, weak_cell = _weak(network, depth, corner, shape, kinds)
    return Grooves(
        depth_mm=depth,
        half_width_mm=half,
        land_mm=size[shape],
        land_at_mm=centre[shape] + corner / NM_PER_MM,
        land_area_mm2=area[shape],
        islands=count[shape],
        shape=shape,
        corner_nm=corner,
        lands=tuple(kind.islands for kind in kinds),
        weak_mm=weak_mm,
        weak_at_mm=weak_at,
        weak_cell=weak_cell,
    )


def _weak(
    network: Network, depth: Floats, corner: Ints, shape: Ints, kinds: list[_Land]
) -> tuple[Floats, Floats, Ints]:
    """Return size, place and cell of every island likely to break out, in the order of the cells."""
    sizes = [size for kind in kinds for size in kind.circle_mm]
    if not sizes:
        return np.zeros(0), np.zeros((0, 2)), np.zeros(0, dtype=np.int64)
    start = network.ring_start[network.cell_ring_start]
    deepest = np.maximum.reduceat(depth[network.ring_half_edge >> 1], start[:-1])
    counts = np.array([len(kind.islands) for kind in kinds], dtype=np.int64)
    offsets = np.cumsum(counts) - counts
    island = _ranges(offsets[shape], (offsets + counts)[shape])
    cell = np.repeat(np.arange(len(shape)), counts[shape])
    size = np.array(sizes)[island]
    centre = np.array([at for kind in kinds for at in kind.centre_mm])[island]
    weak = size < np.maximum(WEAK_MM, WEAK_SHARE * deepest[cell])
    return size[weak], centre[weak] + corner[cell[weak]] / NM_PER_MM, cell[weak]
