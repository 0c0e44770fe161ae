"""Where lines may lie: the piece's outline, the field inside its margin, and the frames."""

from __future__ import annotations

from dataclasses import dataclass

from vcarve.errors import InputError, Problem
from vcarve.groove.width import deepest_mm, width_mm
from vcarve.job.records import Job
from vcarve.layout.outline import outline_of
from vcarve.plane.inset import inset
from vcarve.plane.region import Region, area_mm2, perimeter_mm

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

    def left(region: Region, distance_mm: float, key: str, written_mm: float) -> Region:
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
        raise InputError(Problem(key=key, value=figures.length(written_mm), want=want))

    frames, own = [], 0
    for index, frame in enumerate(job.pattern.frame):
        own += frame.depth_mm is not None
        ring = left(edge, frame.distance_mm, f"pattern.frame.{index}.distance", frame.distance_mm)
        frames.append((ring, 0 if frame.depth_mm is None else own))
    fill = left(edge, margin_mm, "pattern.margin", margin_mm) if margin_mm else edge
    return Field(
        outline=edge,
        fill=fill,
        inner=left(edge, margin_mm - beyond_mm, "pattern.margin", margin_mm) if beyond_mm else fill,
        piece=edge if beyond_mm > margin_mm else None,
        frames=tuple(frames),
    )


def beyond(job: Job) -> float:
    """Return by how much lines run over the outline or the margin in mm: nothing, or half of the widest groove."""
    if job.pattern.ends != "run-off":
        return 0.0
    return width_mm(job.bit, min(max(job.ground_mm, job.leaf_mm), deepest_mm(job.bit))) / 2.0
