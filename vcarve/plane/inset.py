"""Regions grown or shrunk by a distance: the field inside a margin, a frame, the piece with lines running off it.

Each side is moved by the distance and the moved sides are cut or joined where they meet: exact for lines and arcs.  The
result is compared with the offset of a fine polygon; where moved sides have met others than their neighbours, that
polygon is taken instead.
"""

from __future__ import annotations

import numpy as np
import pyclipper
import shapely

from vcarve.plane.arcs import bulge_between, circles, cross, curves, offsets, shares, size
from vcarve.plane.arrays import NM_PER_MM
from vcarve.plane.fit import with_arcs
from vcarve.plane.meet import carriers_meet
from vcarve.plane.region import Region, Ring, area_mm2, corners, polygon, ring_area, ring_of, rings_of

TOLERANCE_MM = 0.0005
SAME_MM = 1e-7  # sides whose ends are no farther apart go on from each other


def inset(region: Region, distance_mm: float) -> tuple[Region, ...]:
    """Return what is left of a region ``distance_mm`` inside its boundary: no part, one or several, the largest first."""
    if distance_mm == 0.0:
        return (region,)
    fine = shapely.get_parts(_fine(region, distance_mm))
    moved = [ring for ring in (_moved(ring, distance_mm) for ring in region.rings) if ring is not None]
    if len(fine) == 1 and len(moved) == len(region.rings) == len(shapely.get_rings(fine)):
        exact = Region(outer=moved[0], holes=tuple(moved[1:]))
        drawn = polygon(exact, TOLERANCE_MM)
        # Two offsets of one region within the tolerance of each other differ at most by a strip that wide.
        strip = 4.0 * TOLERANCE_MM * fine[0].length + TOLERANCE_MM**2
        turned = ring_area(exact.outer) <= 0.0 or not drawn.is_valid
        if not turned and drawn.symmetric_difference(fine[0]).area <= strip:
            return (exact,)
    parts = []
    for part in fine:
        rings = [with_arcs(ring, TOLERANCE_MM / 10.0) for ring in rings_of(part)]
        rings = [ring for ring in rings if abs(ring_area(ring)) > TOLERANCE_MM**2]  # others are specks
        if rings:
            parts.append(Region(outer=rings[0], holes=tuple(rings[1:])))
    return tuple(sorted(parts, key=area_mm2, reverse=True))


def _fine(region: Region, distance_mm: float) -> shapely.Geometry:
    """Return the offset by way of polygons on whole nanometres, arcs within ``TOLERANCE_MM``."""
    offset = pyclipper.PyclipperOffset(arc_tolerance=TOLERANCE_MM * NM_PER_MM)
    paths = [np.rint(corners(ring, TOLERANCE_MM) * NM_PER_MM).astype(np.int64) for ring in region.rings]
    offset.AddPaths(paths, pyclipper.JT_ROUND, pyclipper.ET_CLOSEDPOLYGON)
    rings = [np.array([*path, path[0]]) / NM_PER_MM for path in offset.Execute(-distance_mm * NM_PER_MM)]
    return shapely.build_area(shapely.MultiLineString(rings))


def _moved(ring: Ring, distance: float) -> Ring | None:
    """Return the ring moved to its left by the distance, or ``None`` where that has no simple answer."""
    sides = ring.curves
    hand = np.sign(sides[:, 4])
    sides = sides[(hand == 0.0) | (circles(sides)[1] - hand * distance > 1e-9)]  # others have shrunk away
    if len(sides) < 2 and not sides[:, 4].any():
        return None
    moved = offsets(sides, distance)
    corner, leave, enter = sides[:, 2:4], moved[:, 2:4].copy(), np.roll(moved[:, :2], -1, axis=0)
    apart = size(leave - enter) > SAME_MM
    enter[~apart] = leave[~apart]
    out, back = leave - corner, enter - corner
    turn = np.arctan2(cross(out, back), (out * back).sum(axis=1))
    beyond = np.maximum(abs(size(out) - abs(distance)), abs(size(back) - abs(distance))) > SAME_MM
    # A corner that points towards the moved side becomes round, others are cut off where the moved sides meet.
    sharp = np.flatnonzero(apart & (beyond | (turn * distance >= 0.0)))
    places = carriers_meet(moved[sharp], np.roll(moved, -1, axis=0)[sharp], 1e-12)
    far = size(places - leave[sharp, None]) + size(places - enter[sharp, None])
    if np.isnan(far).all(axis=1).any():
        return None
    leave[sharp] = enter[sharp] = places[np.arange(len(sharp)), np.nanargmin(far, axis=1)]
    start = np.roll(enter, 1, axis=0)
    first = np.where((start == moved[:, :2]).all(axis=1), 0.0, shares(start, moved))
    last = np.where((leave == moved[:, 2:4]).all(axis=1), 1.0, shares(leave, moved))
    straight = curves(start, leave, bulge_between(moved[:, 4], first, last))
    rounded = curves(leave, enter, np.tan(turn / 4.0))
    rows = np.stack([straight, rounded], axis=1).reshape(-1, 5)
    rows = rows[size(rows[:, 2:4] - rows[:, :2]) > 1e-9]
    return ring_of(rows) if len(rows) >= 2 else None
