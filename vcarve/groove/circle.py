"""The largest circle that fits into a polygon.

GEOS finds it to a tolerance by halving boxes, which is slow along a band of even width: every place on its middle line
is as good.  So it is asked only roughly, and its answer is then climbed to the top: with the nearest walls taken as
straight, the best step is a linear programme in three unknowns, small enough to try all its corners.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from functools import cache
from itertools import combinations
from typing import Any

import numpy as np
import shapely
from scipy.spatial import Voronoi, cKDTree

from vcarve.plane.arcs import curves, nearest, size
from vcarve.plane.arrays import Floats, Ints

ROUGH_MM = 0.01  # where a polygon has several best places, one up to this much smaller may be taken
FINE_MM = 1e-6
ALIKE_MM = 1.6e-5  # coarser than what rounding can move copies apart
SECTORS = 16  # directions in which the nearest wall is kept
CLIMBS = 24
THREADS = 2
LARGE = 4_000  # corners of a polygon for which halving boxes takes too long
ROUGHEST_MM = 0.1
BOUNDARY_POINTS = 60_000  # no more points than about so many stand for the boundary of such a polygon,
PER_WIDTH = 8  # nor more than so many on a length of its mean width


@cache
def _triples(count: int) -> Ints:
    """Return every choice of three of ``count`` things, shape (n, 3)."""
    return np.array(list(combinations(range(count), 3)), dtype=np.int64)


def _walls(sides: Floats, centre: Floats) -> tuple[Floats, Floats]:
    """Return distance (n,) and direction (n, 2) from each side (n, 5) of the polygon to the centre."""
    away = centre - nearest(centre, sides)[1]
    distance = size(away)
    return distance, away / np.maximum(distance, 1e-12)[:, None]


def _closest(distance: Floats, direction: Floats, reach: float) -> Ints:
    """Return the nearest wall of every sector of directions, of those that can matter within ``reach``."""
    close = np.flatnonzero(distance <= distance.min() + 3.0 * reach)
    turn = np.arctan2(direction[close, 1], direction[close, 0])
    sector = np.floor((turn + np.pi) * (SECTORS / (2.0 * np.pi))).astype(np.int64)
    order = np.lexsort((distance[close], sector))
    first = np.concatenate([[True], np.diff(sector[order]) > 0])
    kept: Ints = close[order[first]]
    return kept


def _cross(a: Floats, b: Floats) -> Floats:
    """Return the cross products of rows (n, 3); numpy's own takes longer for as few as there are here."""
    x, y, z = a.T
    u, v, w = b.T
    return np.stack([y * w - z * v, z * u - x * w, x * v - y * u], axis=1)


def _best_step(distance: Floats, direction: Floats, reach: float) -> tuple[Floats, float]:
    """Return the step (2,) of at most ``reach`` each way whose nearest straight wall is farthest, and how far it is."""
    sides = np.array([(1.0, 0.0, 0.0), (-1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, -1.0, 0.0)])
    rows = np.vstack([np.column_stack([-direction, np.ones(len(distance))]), sides])
    limit = np.concatenate([distance, np.full(4, reach)])
    triples = _triples(len(rows))
    a, b, c = rows[triples[:, 0]], rows[triples[:, 1]], rows[triples[:, 2]]
    bc = _cross(b, c)
    volume = (a * bc).sum(axis=1)
    sound = np.abs(volume) > 1e-9
    a, b, c, bc, weight = a[sound], b[sound], c[sound], bc[sound], limit[triples[sound]]
    corner = weight[:, :1] * bc + weight[:, 1:2] * _cross(c, a) + weight[:, 2:] * _cross(a, b)
    corner /= volume[sound][:, None]
    allowed = (corner @ rows.T <= limit + 1e-10).all(axis=1)
    if not allowed.any():
        return np.zeros(2), 0.0
    corner = corner[allowed]
    best = corner[int(np.argmax(corner[:, 2]))]
    return best[:2], float(best[2])


def _climb(polygon: Any, centre: Floats, reach: float) -> tuple[Floats, float]:
    """Return the top of the distance to the sides of a polygon near ``centre`` in it, and that distance."""
    rings = [shapely.get_coordinates(ring) for ring in (polygon.exterior, *polygon.interiors)]
    sides = np.vstack([curves(ring[:-1], ring[1:], np.zeros(len(ring) - 1)) for ring in rings])
    distance, direction = _walls(sides, centre)
    radius = float(distance.min())
    for _ in range(CLIMBS):
        if reach < FINE_MM:
            break
        kept = _closest(distance, direction, reach)
        step, hope = _best_step(distance[kept], direction[kept], reach)
        if hope <= radius + FINE_MM / 10.0:
            break
        trial = centre + step
        found, toward = _walls(sides, trial)
        gain = float(found.min()) - radius if shapely.contains_xy(polygon, *trial) else -1.0
        # Where the walls were as straight as they were taken to be, they may be trusted farther.
        reach *= 4.0 if gain > 0.75 * (hope - radius) else 0.125
        if gain > 0.0:
            centre, radius, distance, direction = trial, radius + gain, found, toward
    return centre, radius


def _widest_place(polygon: Any) -> Floats:
    """Return about the best centre (2,) in a polygon of very many sides, such as a channel round thousands of islands.

    The corners of the Voronoi cells of points on the boundary lie on its middle lines; the one farthest from all points wins.
    No circle is smaller than the mean width, twice the area by the boundary's length, so points need not be finer than that asks.
    """
    rough = ROUGH_MM
    plain = shapely.simplify(polygon, rough, preserve_topology=False)
    while shapely.get_num_coordinates(plain) > 2 * BOUNDARY_POINTS and rough < ROUGHEST_MM:
        rough *= 2.0
        plain = shapely.simplify(plain, rough, preserve_topology=False)
    length = float(shapely.length(plain))
    spacing = max(length / BOUNDARY_POINTS, 2.0 * float(shapely.area(plain)) / length / PER_WIDTH)
    line = shapely.segmentize(plain, spacing)
    points = np.unique(shapely.get_coordinates(line), axis=0)
    corners = Voronoi(points).vertices
    shapely.prepare(polygon)
    corners = corners[shapely.contains_xy(polygon, corners[:, 0], corners[:, 1])]
    if len(corners) == 0:
        return np.asarray(shapely.get_coordinates(polygon.representative_point())[0])
    away, _ = cKDTree(points).query(corners)
    return np.asarray(corners[int(np.argmax(away))])


def _mirrored(xy: Floats, size: Floats, way: Ints | int, *, back: bool = False) -> Floats:
    """Return places (n, 2) of boxes of a size (n, 2) in one of the eight ways a square lies on itself; ``back``: the way back."""
    swap = (np.asarray(way) & 4 > 0)[..., None]
    flip = np.stack([np.asarray(way) & 1 > 0, np.asarray(way) & 2 > 0], axis=-1)
    if back:
        xy = np.where(swap, xy[:, ::-1], xy)
    xy = np.where(flip, size - xy, xy)
    return xy if back else np.where(swap, xy[:, ::-1], xy)


def _alike(polygons: Any) -> tuple[Any, Ints]:
    """Return what is the same for polygons that are alike but for where they lie and how they are mirrored, and in which way.

    The cells of a border are copies of none, and yet most of them are alike.
    """
    box = shapely.bounds(polygons)
    xy, of = shapely.get_coordinates(polygons, return_index=True)
    xy, size, copied = xy - box[of, :2], (box[:, 2:] - box[:, :2])[of], polygons.copy()
    looks, ways = np.zeros(0, dtype=object), np.zeros(len(polygons), dtype=np.int64)
    for way in range(8):
        turned = shapely.set_coordinates(copied, np.rint(_mirrored(xy, size, way) / ALIKE_MM))
        mine = shapely.to_wkb(shapely.normalize(turned))
        less = mine < looks if way else np.ones(len(polygons), dtype=bool)
        looks, ways = np.where(less, mine, looks) if way else mine, np.where(less, way, ways)
    return looks, ways


def largest_circles(polygons: Any) -> tuple[Floats, Floats]:
    """Return the diameter (n,) and the centre (n, 2) of the largest circle in each polygon, all in its own unit (mm).

    Right to a micrometre for convex polygons, and for others whose best place is not rivalled within ``ROUGH_MM``; in those of
    more than ``LARGE`` corners the best place is looked for between points along the boundary.
    """
    if len(polygons) == 0:
        return np.zeros(0), np.zeros((0, 2))
    looks, way = _alike(polygons)
    _, one, same = np.unique(looks, return_index=True, return_inverse=True)
    diameter, centre = _each(polygons[one])
    box = shapely.bounds(polygons)
    low, size = box[:, :2], box[:, 2:] - box[:, :2]
    first = _mirrored(centre - low[one], size[one], way[one])[same]
    return diameter[same], low + _mirrored(first, size, way, back=True)


def _each(polygons: Any) -> tuple[Floats, Floats]:
    """Return what ``largest_circles`` does, each polygon worked out by itself."""
    rough = np.minimum(ROUGH_MM, 0.02 * np.sqrt(shapely.area(polygons)))
    large = shapely.get_num_coordinates(polygons) > LARGE
    centres = np.zeros((len(polygons), 2))
    if not large.all():
        plain = shapely.simplify(polygons[~large], rough[~large] / 4.0, preserve_topology=True)
        # The library lets another thread run meanwhile, and along a band of even width it takes its time.
        with ThreadPoolExecutor(THREADS) as pool:
            spokes = list(pool.map(shapely.maximum_inscribed_circle, plain, rough[~large].tolist()))
        centres[~large] = shapely.get_coordinates(shapely.get_point(spokes, 0))
    for index in np.flatnonzero(large).tolist():
        centres[index] = _widest_place(polygons[index])
    radii = np.zeros(len(polygons))
    for index, polygon in enumerate(polygons):
        reach = 2.0 * (ROUGHEST_MM if large[index] else float(rough[index]))
        centres[index], radii[index] = _climb(polygon, centres[index], reach)
    return 2.0 * radii, centres
