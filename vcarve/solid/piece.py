"""The piece with its grooves as a closed solid: the board less all that the bit takes away, by exact booleans.

The piece stands on its back: Z 0 is the back, X and Y are counted from the piece's centre.  Its top is flat, whatever
``surface`` says of the board.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from vcarve.errors import InputError, InternalError, Problem
from vcarve.layout.stages import Layout
from vcarve.plane.arrays import connected
from vcarve.plane.inset import inset
from vcarve.plane.region import Region
from vcarve.solid.bodies import leaning, profile, rising, standing, stations, swept
from vcarve.solid.model import Solid
from vcarve.solid.runs import runs_of

TOLERANCE_MM = 0.02
# Of the largest measure: sides that are shorter vanish, since single precision, which STL has, hardly tells their ends apart.
SHORT = (2e-7, 7e-7, 2e-6)
LEAST_HOLLOW_MM = 0.1
TOGETHER = 64  # bodies joined at once, so that people see how far it has come
MOST_TRIANGLES = 1_000_000  # of all bodies before they are joined: a few minutes


def carved_solid(
    layout: Layout,
    *,
    tolerance_mm: float = TOLERANCE_MM,
    hollow_mm: float | None = None,
    scale: float = 1.0,
    progress: Callable[[str, float], None] = lambda stage, share: None,
) -> Solid:
    """Return the piece that a layout leaves, arcs and round tips within a tolerance.

    With ``hollow_mm`` its back is hollowed out, leaving so much wood under the deepest groove and inside every edge.  The
    tolerance is of the piece before it is scaled.  Raises InputError where there is nothing to hollow out.
    """
    from manifold3d import Manifold, OpType

    thickness = layout.job.piece.thickness_mm
    progress("grooves", 0.0)
    taken, triangles = [], 0
    for body in _taken(layout, tolerance_mm):
        taken.append(body)
        triangles += body.num_tri()
        if triangles > MOST_TRIANGLES:
            much = f"the {layout.network.edges:,} lines on the piece are too much for one solid"
            raise InputError(f"{much}; give a larger pitch, a smaller piece or a coarser --tolerance")
    if hollow_mm is not None:
        taken += [
            _upright(part, tolerance_mm, -thickness - 1.0, -layout.deepest_mm - hollow_mm)
            for part in hollow(layout, hollow_mm)
        ]
    whole = _upright(layout.field.outline, tolerance_mm, -thickness, 0.0)
    joined = []
    for share, some in _together(taken):
        joined.append(Manifold.batch_boolean(some, OpType.Add))
        joined[-1].num_tri()  # worked out here, not when all are
        progress("joining grooves", 0.2 + 0.5 * share)
    progress("cutting", 0.7)
    made = Manifold.batch_boolean([whole, *joined], OpType.Subtract)
    made.num_tri()
    progress("proving", 0.9)
    return solid_of(made.translate((0.0, 0.0, thickness)), scale)


def solid_of(manifold: Any, scale: float = 1.0) -> Solid:
    """Return a body of the library as a solid, larger or smaller; raises InternalError where it is not closed."""
    mesh = manifold.to_mesh64()
    corner = np.asarray(mesh.vert_properties)[:, :3] * scale
    solid = Solid(corner_mm=corner, triangle=np.asarray(mesh.tri_verts).astype(np.int64))
    welded = (_welded(solid, short * max(solid.size_mm)) for short in SHORT)
    solid = next((one for one in welded if one.closed), solid)
    if not solid.closed or solid.volume_mm3 <= 0.0:
        raise InternalError("The solid of the piece is not closed.")
    return solid


def _together(bodies: list[Any]) -> Iterator[tuple[float, list[Any]]]:
    """Yield bodies that lie near each other, some at a time, and the share of all that have come before them."""
    middle = np.array([body.bounding_box() for body in bodies]).reshape(-1, 2, 3).mean(axis=1)[:, :2]
    columns = math.ceil(math.sqrt(len(bodies) / TOGETHER))
    share = (middle - middle.min(axis=0)) / np.maximum(np.ptp(middle, axis=0), 1.0)
    cell = np.minimum(share * columns, columns - 1).astype(np.int64) @ (columns, 1)
    order, done = np.argsort(cell, kind="stable"), 0
    for some in np.split(order, np.flatnonzero(np.diff(cell[order])) + 1):
        yield done / len(bodies), [bodies[k] for k in some.tolist()]
        done += len(some)


def _welded(solid: Solid, short_mm: float) -> Solid:
    """Return the solid without sides that are shorter; where walls all but coincide, it may not be closed any more."""
    from scipy.spatial import KDTree

    corner, count = solid.corner_mm, len(solid.corner_mm)
    near = KDTree(corner).query_pairs(short_mm, output_type="ndarray")
    label = connected(count, near[:, 0], near[:, 1])[1]
    triangle = label[solid.triangle]
    triangle = triangle[(triangle != np.roll(triangle, 1, axis=1)).all(axis=1)]
    # Two that have become one another's backs were a slit, or a sheet, without thickness.
    _, same, many = np.unique(np.sort(triangle, axis=1), axis=0, return_inverse=True, return_counts=True)
    used, triangle = np.unique(triangle[many[same] == 1], return_inverse=True)
    kept = np.unique(label, return_index=True)[1][used]
    return Solid(corner_mm=corner[kept], triangle=triangle.reshape(-1, 3))


def hollow(layout: Layout, hollow_mm: float) -> tuple[Region, ...]:
    """Return what can be hollowed out of the back; raises InputError where that is nothing."""
    job = layout.job
    length, deepest, thickness = job.figures.length, layout.deepest_mm, job.piece.thickness_mm
    key, value = "--hollow-back", length(hollow_mm)
    if deepest + hollow_mm >= thickness - LEAST_HOLLOW_MM:
        want = (
            f"grooves {length(deepest)} deep in a piece {length(thickness)} thick leave nothing to hollow out"
        )
        raise InputError(Problem(key=key, value=value, want=want))
    found = inset(layout.field.outline, hollow_mm)
    if not found:
        raise InputError(
            Problem(key=key, value=value, want="nothing is left of the piece inside walls so thick")
        )
    return found


def _taken(layout: Layout, tolerance_mm: float) -> Iterator[Any]:
    """Yield bodies that together are what the bit takes away."""
    from manifold3d import Manifold, Mesh64

    bit = layout.job.bit
    half, runs = profile(bit, tolerance_mm), runs_of(layout.network, layout.grooves.ends_depth_mm)
    depths = np.unique(np.concatenate([runs.level_mm, runs.deep_mm])).tolist()
    raised = {depth: rising(bit, half, depth) for depth in depths}
    slopes = [*zip(runs.slope, *runs.slope_mm, strict=True)]
    for curve, depth in zip(runs.level, runs.level_mm.tolist(), strict=True):
        mesh = swept(curve, raised[depth], tolerance_mm)
        if mesh is None:
            slopes.append((curve, depth, depth))  # as hulls, round at both ends of each chord
        else:
            yield Manifold(Mesh64(mesh[0], mesh[1].astype(np.uint64)))
    for curve, first, last in slopes:
        spots, share = stations(curve, tolerance_mm)
        deep = [rising(bit, half, depth) for depth in (first + share * (last - first)).tolist()]
        for k in range(len(deep) - 1):
            yield Manifold.hull_points(leaning(spots[k], spots[k + 1], (deep[k], deep[k + 1]), tolerance_mm))
    rounds = zip(runs.first_rad.tolist(), runs.sweep_rad.tolist(), strict=True)
    for at, depth, arc in zip(runs.at_mm, runs.deep_mm.tolist(), rounds, strict=True):
        yield Manifold.hull_points(standing(at, raised[depth], arc, tolerance_mm))


def _upright(region: Region, tolerance_mm: float, low_mm: float, high_mm: float) -> Any:
    """Return the upright body on a region between two heights."""
    from manifold3d import CrossSection, FillRule, Manifold

    rings = [
        np.vstack([stations(side, tolerance_mm)[0][:-1] for side in ring.curves]) for ring in region.rings
    ]
    return Manifold.extrude(CrossSection(rings, FillRule.EvenOdd), high_mm - low_mm).translate(
        (0.0, 0.0, low_mm)
    )
