"""Where lines may lie: the piece's outline, the field inside its margin, and the frames."""

from __future__ import annotations

from dataclasses import dataclass

from vcarve.errors import InputError, Problem
from vcarve.job.records import Outline
from vcarve.layout.outline import outline_of
from vcarve.plane.inset import inset
from vcarve.plane.region import Region, area_mm2, perimeter_mm
from vcarve.quantity import Figures

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


def make_field(
    *,
    outline: Outline,
    piece_mm: tuple[float, float],
    folder: str,
    state: object,
    margin_mm: float,
    beyond_mm: float,
    frames: tuple[tuple[float, int], ...],
    figures: Figures,
) -> Field:
    """Return the field of a piece; ``frames`` are distances from the edge with a feature for each.

    Lines run ``beyond_mm`` over the edge of the field; ``state`` tells one state of a drawn outline's file from another.
    Raises InputError for a margin or a frame that leaves nothing of the piece.
    """
    edge = outline_of(outline, *piece_mm, folder)

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

    rings = tuple(
        (left(edge, distance, f"pattern.frame.{index}.distance", distance), feature)
        for index, (distance, feature) in enumerate(frames)
    )
    fill = left(edge, margin_mm, "pattern.margin", margin_mm) if margin_mm else edge
    return Field(
        outline=edge,
        fill=fill,
        inner=left(edge, margin_mm - beyond_mm, "pattern.margin", margin_mm) if beyond_mm else fill,
        piece=edge if beyond_mm > margin_mm else None,
        frames=rings,
    )
