"""Lines turned into shapes: arcs flattened, a groove's footprint, insets; all on the integer nanometre grid.

Arcs and round ends become chords that leave the true curve by at most ``SAG_NM``.  A groove's footprint is its line
widened by half the groove's width with round ends, because the bit is round.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import pyclipper
import shapely

from vcarve.groove.model import Grooves
from vcarve.network.model import NM_PER_MM, Ints, Network

Path = list[tuple[int, int]]

SAG_NM = 400.0
TILE_EDGES = 30  # lines joined in one go


def flatten(x0: int, y0: int, x1: int, y1: int, bulge: float, sag_nm: float = SAG_NM) -> Path:
    """Return the points of a line or arc from its start to before its end, in nanometres."""
    if bulge == 0.0:
        return [(x0, y0)]
    sweep = 4.0 * math.atan(bulge)
    radius = math.hypot(x1 - x0, y1 - y0) / (2.0 * abs(math.sin(sweep / 2.0)))
    steps = max(math.ceil(abs(sweep) / (2.0 * math.acos(max(1.0 - sag_nm / radius, 0.0)))), 1)
    off = 0.5 / math.tan(sweep / 2.0)
    cx = 0.5 * (x0 + x1) - (y1 - y0) * off
    cy = 0.5 * (y0 + y1) + (x1 - x0) * off
    start = math.atan2(y0 - cy, x0 - cx)
    angle = start + sweep / steps * np.arange(1, steps)
    x, y = np.rint(cx + radius * np.cos(angle)), np.rint(cy + radius * np.sin(angle))
    return [(x0, y0), *zip(x.astype(np.int64).tolist(), y.astype(np.int64).tolist(), strict=True)]


def inset(rings: Iterable[Path], by_nm: float) -> list[Path]:
    """Return what is left of a region (outer rings counter-clockwise, holes clockwise) further than ``by_nm`` in."""
    offset = pyclipper.PyclipperOffset(2.0, SAG_NM)
    offset.AddPaths(list(rings), pyclipper.JT_ROUND, pyclipper.ET_CLOSEDPOLYGON)
    result: list[Path] = offset.Execute(-by_nm)
    return result


def widen(lines: Mapping[float, Sequence[Path]]) -> list[Path]:
    """Return the footprints of open lines, keyed by half-width in nanometres; different widths may overlap."""
    result: list[Path] = []
    for half_nm, paths in lines.items():
        offset = pyclipper.PyclipperOffset(2.0, SAG_NM)
        offset.AddPaths(list(paths), pyclipper.JT_ROUND, pyclipper.ET_OPENROUND)
        result.extend(offset.Execute(half_nm))
    return result


def subtract(rings: Sequence[Path], cut: Sequence[Path]) -> list[Path]:
    """Return a region less the footprints of grooves."""
    clipper = pyclipper.Pyclipper()
    clipper.AddPaths(rings, pyclipper.PT_SUBJECT, True)
    clipper.AddPaths(cut, pyclipper.PT_CLIP, True)
    result: list[Path] = clipper.Execute(
        pyclipper.CT_DIFFERENCE, pyclipper.PFT_NONZERO, pyclipper.PFT_NONZERO
    )
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


def footprint(network: Network, grooves: Grooves) -> list[Ints]:
    """Return the outline of all grooves at the surface, as rings (n, 2) in nanometres.

    Rings with wood outside run counter-clockwise, rings round land clockwise.  The grooves may reach past the piece's edge.
    """
    # Sweeping over all lines at once takes the longer the wider the sweep: tiles first, then their union.
    parts = [part for tile in _tiles(network) for part in group(_joined(network, grooves, tile))]
    if len(network.tail) <= TILE_EDGES:
        return [np.array(ring, dtype=np.int64) for part in parts for ring in part]
    whole = shapely.union_all([shapely.Polygon(part[0], part[1:]) for part in parts])
    polygons = shapely.orient_polygons(shapely.get_parts(whole), exterior_cw=False)
    rings = [
        np.rint(shapely.get_coordinates(ring)[:-1]).astype(np.int64)
        for polygon in polygons
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    apart = [ring[(ring != np.roll(ring, 1, axis=0)).any(axis=1)] for ring in rings]
    return [ring for ring in apart if len(ring) > 2]


def _tiles(network: Network) -> list[Ints]:
    """Return the edges to cut in groups of neighbours."""
    edges = np.flatnonzero(network.cut)
    if len(edges) <= TILE_EDGES:
        return [edges] if len(edges) else []
    middle = (network.xy_mm[network.tail[edges]] + network.xy_mm[network.head[edges]]) / 2.0
    low, high = middle.min(axis=0), middle.max(axis=0)
    side = math.sqrt(float(np.prod(np.maximum(high - low, 1e-3))) * TILE_EDGES / len(edges))
    column, row = ((middle - low) / side).astype(np.int64).T
    _, tile = np.unique(row * (column.max() + 1) + column, return_inverse=True)
    order = np.argsort(tile, kind="stable")
    return [edges[part] for part in np.split(order, np.flatnonzero(np.diff(tile[order])) + 1)]


def _joined(network: Network, grooves: Grooves, edges: Ints) -> list[Path]:
    """Return the union of the footprints of some edges."""
    lines: dict[float, list[Path]] = {}
    for edge in edges.tolist():
        a, b = int(network.tail[edge]), int(network.head[edge])
        x0, y0, x1, y1 = (
            int(v) for v in (network.x_nm[a], network.y_nm[a], network.x_nm[b], network.y_nm[b])
        )
        path = [*flatten(x0, y0, x1, y1, float(network.bulge[edge])), (x1, y1)]
        lines.setdefault(float(grooves.half_width_mm[edge]) * NM_PER_MM, []).append(path)
    wide = widen(lines)
    if len(lines) > 1:
        clipper = pyclipper.Pyclipper()
        clipper.AddPaths(wide, pyclipper.PT_SUBJECT, True)
        wide = clipper.Execute(pyclipper.CT_UNION, pyclipper.PFT_NONZERO, pyclipper.PFT_NONZERO)
    return wide
