"""Where lines may lie: the piece's outline, from its record or from a drawing, the field inside its margin, and the frames."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vcarve.drawing.read import read_drawing
from vcarve.errors import InputError, Problem
from vcarve.groove.width import deepest_mm, width_mm
from vcarve.job.records import Job
from vcarve.job.sections import Outline
from vcarve.network.faces import rings
from vcarve.network.model import Graph
from vcarve.pattern.shapes import circle, ellipse, regular_polygon, rounded_rectangle
from vcarve.plane.arcs import joined
from vcarve.plane.arrays import Floats
from vcarve.plane.inset import inset
from vcarve.plane.region import (
    Region,
    Ring,
    area_mm2,
    bounds,
    corners,
    perimeter_mm,
    rectangle,
    reversed_ring,
    ring_area,
    ring_of,
)
from vcarve.quantity import format_mm

SIZE_MATCH_MM = 0.1  # how far an outline may be off the size of its piece
LEAST_LEFT_MM = 0.5  # across, inside a margin or a frame: less is no field for lines


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Field:
    """Where lines may lie: ``fill`` is what a pattern fills, ``inner`` where lines end, farther out where they run off.

    ``piece`` is the piece's own edge where lines cross it; ``frames`` are regions with the feature of their rings.
    """

    outline: Region
    fill: Region
    inner: Region
    piece: Region | None
    frames: tuple[tuple[Region, int], ...]


def make_field(job: Job) -> Field:
    """Return the field of a job's piece; frames as deep as ground lines share the first feature, 0.

    Raises InputError for a margin or a frame that leaves nothing of the piece.
    """
    piece, margin_mm, figures = job.piece, job.pattern.margin_mm, job.figures
    edge = outline_of(piece.outline, piece.width_mm, piece.height_mm, job.folder)
    beyond_mm = beyond(job)

    def left(region: Region, distance_mm: float, key: str) -> Region:
        """Return the region grown or shrunk; what goes wrong names the key."""
        found, *others = inset(region, distance_mm) or (None,)
        deep = figures.length(distance_mm)
        if found is None:
            want = f"nothing is left of the piece {deep} inside its outline"
        elif others:
            want = f"{deep} inside its outline the piece falls into {len(others) + 1} parts; a smaller distance keeps it whole"
        elif distance_mm > 0.0 and 4.0 * area_mm2(found) < LEAST_LEFT_MM * perimeter_mm(found):
            want = (
                f"less than {figures.length(LEAST_LEFT_MM)} is left of the piece that far inside its outline"
            )
        else:
            return found
        raise InputError(Problem(key=key, want=want))

    frames, own = [], 0
    for index, frame in enumerate(job.pattern.frame):
        own += frame.depth_mm is not None
        ring = left(edge, frame.distance_mm, f"pattern.frame.{index}.distance")
        frames.append((ring, 0 if frame.depth_mm is None else own))
    fill = left(edge, margin_mm, "pattern.margin") if margin_mm else edge
    return Field(
        outline=edge,
        fill=fill,
        inner=left(edge, margin_mm - beyond_mm, "pattern.margin") if beyond_mm else fill,
        piece=edge if beyond_mm > margin_mm else None,
        frames=tuple(frames),
    )


def beyond(job: Job) -> float:
    """Return by how much lines run over the outline or the margin in mm: nothing, or half of the widest groove."""
    if job.pattern.ends != "run-off":
        return 0.0
    return width_mm(job.bit, min(max(job.depths_mm), deepest_mm(job.bit))) / 2.0


# --- the outline ----------------------------------------------------------------------------------------------------


def outline_of(outline: Outline, width_mm: float, height_mm: float, folder: str = ".") -> Region:
    """Return a piece's outline about the piece's centre; a drawing's path is looked up in ``folder``.

    Raises ``InputError`` where the shape cannot have the piece's width and height.
    """
    width, height = width_mm, height_mm
    # The record has seen to it that a rounded rectangle has a radius that fits, a circle is as wide as high, a polygon has
    # its sides and a drawing its file.
    if outline.shape == "rounded":
        return rounded_rectangle(width, height, outline.radius_mm or 0.0)
    if outline.shape == "circle":
        return circle(width)
    if outline.shape == "ellipse":
        return ellipse(width, height)
    if outline.shape == "polygon":
        return _polygon(outline, width, height)
    if outline.shape == "drawing":
        return _drawn(outline, width, height, folder)
    return rectangle(width, height)


def _polygon(outline: Outline, width: float, height: float) -> Region:
    sides = outline.sides or 3
    unit = regular_polygon(sides, outline.turn_deg)
    left, front, right, back = bounds(unit)
    scale = min(width / (right - left), height / (back - front))
    wide, high = (right - left) * scale, (back - front) * scale
    if max(width - wide, height - high) > SIZE_MATCH_MM:
        slope = (back - front) / (right - left)
        want = (
            f"a regular polygon with {sides} sides that is {format_mm(width)} wide is {format_mm(slope * width)} high; "
            f"write height: {format_mm(slope * width)}, or width: {format_mm(height / slope)}"
        )
        raise InputError(Problem(want=want, key="piece.height"))
    middle = np.array([left + right, front + back]) / 2.0
    return Region(outer=Ring(xy_mm=(unit.outer.xy_mm - middle) * scale, bulge=unit.outer.bulge.copy()))


def _drawn(outline: Outline, width: float, height: float, folder: str) -> Region:
    file = str(Path(folder) / (outline.file or ""))
    drawing = read_drawing(file, keys=() if outline.layer is None else (outline.layer,))
    region = region_of(drawing.curves, file)
    left, front, right, back = bounds(region)
    size = (right - left, back - front)
    if max(abs(size[0] - width), abs(size[1] - height)) > SIZE_MATCH_MM:
        want = (
            f"the drawn outline is {size[0]:.2f} mm by {size[1]:.2f} mm, but the piece is {width:g} mm by {height:g} mm; "
            "make them agree"
        )
        raise InputError(Problem(want=want, file=file, key="piece.outline.file"))
    return region


def region_of(lines: Floats, file: str | None = None) -> Region:
    """Return the region bounded by closed runs of lines (n, 5): the largest is its outline, the others are holes in it.

    Raises ``InputError`` naming the places where a run is open, branches or crosses, and for runs outside the largest or
    inside a hole.
    """
    from shapely.geometry import Polygon
    from shapely.validation import explain_validity

    found = [ring_of(run) for run in _runs(lines, file)]
    found = [ring if ring_area(ring) > 0.0 else reversed_ring(ring) for ring in found]
    found.sort(key=ring_area, reverse=True)
    polygons = [Polygon(corners(ring)) for ring in found]
    for polygon in polygons:
        if not polygon.is_valid:
            place = explain_validity(polygon).partition("[")[2].rstrip("]").split()
            at = ", ".join(f"{float(v):.2f}" for v in place[:2])
            raise InputError(
                Problem(want=f"the outline crosses itself at {at} mm from the piece's centre", file=file)
            )
    for i, hole in enumerate(polygons[1:], start=1):
        centre = hole.representative_point()
        at = f"{centre.x:.2f}, {centre.y:.2f} mm"
        if not polygons[0].contains(hole) or polygons[0].exterior.intersects(hole):
            want = f"the drawing has a second outline at {at}; a piece has one outline, and holes inside it"
            raise InputError(Problem(want=want, file=file))
        if any(hole.intersects(other) for other in polygons[1:i]):
            raise InputError(Problem(want=f"the hole at {at} touches or lies inside another hole", file=file))
    return Region(outer=found[0], holes=tuple(reversed_ring(ring) for ring in found[1:]))


def _runs(lines: Floats, file: str | None) -> list[Floats]:
    """Return the closed runs of lines as curves (n, 5), each in the sense it is walked."""
    places, which = np.unique(lines[:, :4].reshape(-1, 2), axis=0, return_inverse=True)
    ends = which.reshape(-1, 2)
    meeting = np.bincount(ends.ravel())
    problems = []
    for place in np.flatnonzero(meeting != 2).tolist():
        what, (x, y) = "ends" if meeting[place] == 1 else "branches", places[place].tolist()
        want = f"the outline {what} at {x:.2f}, {y:.2f} mm from the drawing's centre; it should be closed"
        problems.append(Problem(want=want, file=file))
    if problems:
        raise InputError(problems[:10])
    none = np.zeros(len(lines), dtype=np.int64)
    tail, head = ends.T
    graph = Graph(xy=places, tail=tail, head=head, bulge=lines[:, 4], feature=none, edge_class=none, rim=none)
    walk, starts = rings(graph)
    # Every run is walked both ways, first in the sense in which its first line was drawn.
    return [_joined(graph.walked(run)) for run in np.split(walk, starts[1:-1]) if run[0] % 2 == 0]


def _joined(sides: Floats) -> Floats:
    """Drop corners between straight sides that go straight on."""
    kept: list[Floats] = []
    for side in sides:
        on = kept and not side[4] and not kept[-1][4] and len(sides) > 3
        if on and joined(kept[-1], side, 1e-9) is not None:
            kept[-1][2:4] = side[2:4]
        else:
            kept.append(side)
    return np.array(kept)
