"""What each dot of a picture from an angle looks at: the carved top, a wall of the piece, or the table that it lies on.

Sight goes down from the plane of the top, millimetre by millimetre of depth: ``z = -q``.  Over wood it is followed through the
height map, in steps of a pixel across, until the wood stands as high; where it comes in over the piece's edge it either meets
the wall there or passes over it where a groove runs out.

Glossary
slope     how far across (X, Y) sight goes for each millimetre down
edge      one straight side of the outline's rings; its wall faces to its right
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely

from vcarve.dryrun.carve import Surface
from vcarve.plane.arrays import Bools, Floats, Ints, ReadOnly
from vcarve.view.camera import Camera

TABLE, TOP, WALL = 0, 1, 2
SEAM = 1e-9  # so much of its length a side overlaps the next one
INWARD_MM = 0.02  # the height of a wall is looked up so far behind it


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight(ReadOnly):
    """What dots (n,) look at, where it is (n, 3), and the edge whose wall it is, or -1."""

    what: npt.NDArray[np.int8]
    place_mm: Floats
    edge: Ints


class Scene:
    """A carved piece on a table, ``thickness_mm`` below its top."""

    def __init__(self, surface: Surface, rings: Sequence[Floats], thickness_mm: float) -> None:
        bottom = np.maximum(surface.height_mm, -thickness_mm)
        self.surface, self.thickness_mm = replace(surface, height_mm=bottom), thickness_mm
        self.outline = shapely.Polygon(rings[0], rings[1:])
        shapely.prepare(self.outline)
        self.start = np.vstack(rings)
        self.end = np.vstack([np.roll(ring, -1, axis=0) for ring in rings])
        along = self.end - self.start
        self.outward = np.column_stack([along[:, 1], -along[:, 0]]) / np.linalg.norm(along, axis=1)[:, None]
        # Pixels that the outline passes are told apart place by place.
        y, x = np.meshgrid(surface.y_mm, surface.x_mm, indexing="ij")
        self.on_map = shapely.contains_xy(self.outline, x, y)
        near = np.zeros_like(self.on_map)
        for axis in (0, 1):
            change = np.diff(self.on_map, axis=axis)
            for part in (slice(1, None), slice(None, -1)):
                index = [slice(None), slice(None)]
                index[axis] = part
                near[tuple(index)] |= change
        self.near = (
            near | np.roll(near, 1, 0) | np.roll(near, -1, 0) | np.roll(near, 1, 1) | np.roll(near, -1, 1)
        )

    def inside(self, xy_mm: Floats) -> Bools:
        """Tell which places (n, 2) lie within the outline."""
        surface = self.surface
        index = np.rint((xy_mm - (surface.x0_mm, surface.y0_mm)) / surface.step_mm).astype(np.int64)
        on = ((index >= 0) & (index < surface.height_mm.shape[::-1])).all(axis=1)
        column, row = np.clip(index, 0, np.array(surface.height_mm.shape[::-1]) - 1).T
        result = on & self.on_map[row, column]
        unsure = np.flatnonzero(self.near[row, column] | ~on)
        result[unsure] = shapely.contains_xy(self.outline, *xy_mm[unsure].T)
        return np.asarray(result)

    def heights(self, xy_mm: Floats) -> Floats:
        """Return how high the carved top stands at places (n, 2), evenly between the map's pixels."""
        return sampled(self.surface, self.surface.height_mm, xy_mm)


def sampled(surface: Surface, values: npt.NDArray[np.floating], xy_mm: Floats) -> Floats:
    """Return the values of a map of a surface's shape at places (n, 2), evenly between its pixels."""
    from scipy.ndimage import map_coordinates

    at = (xy_mm - (surface.x0_mm, surface.y0_mm)) / surface.step_mm
    return np.asarray(map_coordinates(values, at[:, ::-1].T, order=1, mode="nearest", output=np.float64))


def look(scene: Scene, camera: Camera, rows: range, width_px: int) -> Sight:
    """Return what the dots of some rows of a picture see, row by row."""
    dots = np.stack(np.meshgrid(np.arange(width_px) + 0.5, np.array(rows) + 0.5), axis=-1).reshape(-1, 2)
    slope = camera.slopes(dots)
    entry = camera.eye_mm[:2] + camera.eye_mm[2] * slope
    thick = scene.thickness_mm
    over = scene.inside(entry)
    # Where sight first meets an edge from outside, and how deep it is by then.
    depth, edge = np.where(over, 0.0, np.inf), np.full(len(dots), -1)
    for number, (left, first, right, last) in _windows(scene, camera, rows, width_px):
        a, b, out = scene.start[number], scene.end[number], scene.outward[number]
        window = ((np.arange(first, last) - rows.start)[:, None] * width_px + np.arange(left, right)).ravel()
        window = window[~over[window]]
        toward = slope[window] @ out
        with np.errstate(divide="ignore", invalid="ignore"):
            down = ((a - entry[window]) @ out) / toward
        met = entry[window] + down[:, None] * slope[window]
        along = (met - a) @ (b - a) / ((b - a) @ (b - a))
        on = (along >= -SEAM) & (along <= 1.0 + SEAM)
        hit = (toward < 0.0) & on & (down >= 0.0) & (down <= thick) & (down < depth[window])
        depth[window[hit]], edge[window[hit]] = down[hit], number
    what = np.where(np.isfinite(depth), np.int8(TOP), np.int8(TABLE))
    # At the wall: as high as the wood behind it, or lower, is the wall itself.
    came = np.flatnonzero(edge >= 0)
    met = entry[came] + depth[came, None] * slope[came]
    wall = -depth[came] <= scene.heights(met - INWARD_MM * scene.outward[edge[came]]) + 1e-9
    what[came[wall]] = WALL
    _follow(scene, entry, slope, depth, what)
    edge[what != WALL] = -1
    depth[what == TABLE] = thick
    place = np.column_stack([entry + depth[:, None] * slope, -depth])
    return Sight(what=what, place_mm=place, edge=edge)


def _windows(
    scene: Scene, camera: Camera, rows: range, width_px: int
) -> Iterator[tuple[int, tuple[int, int, int, int]]]:
    """Yield the edges whose walls face the eye, and in which columns and rows of some rows of a picture they can be seen."""
    quads = np.stack(
        [
            np.insert(ends, 2, z, axis=1)
            for ends in (scene.start, scene.end)
            for z in (0.0, -scene.thickness_mm)
        ],
        axis=1,
    )
    spots = camera.seen(quads)
    low = np.maximum(spots.min(axis=1).astype(np.int64) - 1, (0, rows.start))
    high = np.minimum(spots.max(axis=1).astype(np.int64) + 2, (width_px, rows.stop))
    faces = ((camera.eye_mm[:2] - scene.start) * scene.outward).sum(axis=1) > 0.0
    for number in np.flatnonzero((high > low).all(axis=1) & faces).tolist():
        yield number, (*low[number].tolist(), *high[number].tolist())


def _follow(scene: Scene, entry: Floats, slope: Floats, depth: Floats, what: npt.NDArray[np.int8]) -> None:
    """Follow sight over the wood, on from the depths it has come to, to where it meets the top; past it there is the table."""
    going = np.flatnonzero(what == TOP)
    above = -depth[going] - scene.heights(entry[going] + depth[going, None] * slope[going])
    going, above = going[above > 1e-9], above[above > 1e-9]
    step = 0.7 * scene.surface.step_mm / np.maximum(np.linalg.norm(slope, axis=1), 0.2)
    while len(going):
        now = depth[going] + step[going]
        place = entry[going] + now[:, None] * slope[going]
        left = -now - scene.heights(place)
        hit = left <= 0.0
        share = np.where(hit, above / np.maximum(above - left, 1e-12), 1.0)
        depth[going] += share * step[going]
        gone = ~hit & ~scene.inside(place)
        what[going[gone]] = TABLE
        on = ~hit & ~gone
        going, above = going[on], left[on]
