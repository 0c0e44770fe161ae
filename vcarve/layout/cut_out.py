"""What a piece's outline means for the end mill that is to cut it out: where the bit does not come, and whether its tabs fit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import shapely

from vcarve.errors import Finding, at_places
from vcarve.job.records import Job
from vcarve.job.sections import CutOut
from vcarve.layout.stages import Layout
from vcarve.plane.arcs import Point
from vcarve.plane.region import polygon
from vcarve.quantity import counted

ROUND = 64  # sides of a quarter of a turn
LEFT_MM = 0.02  # wood that stays in front of a corner: less is not seen
DENSE_MM = 0.2  # its rim is looked at so often
ROOM_MM = 0.1  # across, that an end mill needs besides its own diameter in a hole


def cut_out_findings(layout: Layout) -> Iterator[Finding]:
    """Yield holes and bays that the end mill does not get into, corners that it leaves round, and tabs that do not fit."""
    if layout.job.cut_out is not None:
        if layout.job.surface is not None:
            said = "The end mill follows the top, which is not flat, and the piece is taken to be as thick everywhere"
            yield Finding(
                "cut-out-surface",
                f"{said}: press the board flat onto the spoil board, or probe it as it lies then.",
            )
        for outline in layout.outlines:
            yield from _round(layout.job, layout.job.cut_out, polygon(outline))


def _round(job: Job, cut_out: CutOut, piece: shapely.Polygon) -> Iterator[Finding]:
    length, wide = job.figures.length, cut_out.bit.diameter_mm
    smaller = "take a smaller one ('mizo bits' lists them)"
    closed: Any = piece
    for ring in shapely.get_rings(piece)[1:]:
        hole = shapely.Polygon(ring)
        circle = shapely.maximum_inscribed_circle(hole, 0.001)
        if 2.0 * circle.length < wide + ROOM_MM:
            across = f"The hole here is {length(round(2.0 * circle.length, 2))} wide at most"
            sentence = (
                f"{across}; the end mill, {length(wide)} across, needs {length(wide + ROOM_MM)}: {smaller}."
            )
            yield Finding("cut-out-narrow", sentence, at_mm=_at(circle))
            closed = shapely.union(closed, hole)
        elif cut_out.tabs and not shapely.is_empty(shapely.buffer(hole, -wide)):
            around = float(shapely.length(shapely.buffer(hole, -wide / 2.0)))
            if not cut_out.tabs_on(around):
                loose = "What is cut out of this hole comes loose at the end, for no tab fits round it: stand clear of it."
                yield Finding("cut-out-loose", loose, at_mm=_at(circle))
    reached = shapely.buffer(
        shapely.buffer(closed, wide / 2.0, quad_segs=ROUND), -wide / 2.0, quad_segs=ROUND
    )
    edge = shapely.boundary(reached)
    corners = []
    for part in shapely.get_parts(shapely.difference(reached, closed)):
        rim = shapely.segmentize(shapely.boundary(part), DENSE_MM)
        off = float(shapely.distance(shapely.points(shapely.get_coordinates(rim)), edge).max(initial=0.0))
        if off <= LEFT_MM:
            continue
        at = _at(shapely.point_on_surface(part))
        if off > wide:
            sentence = f"The end mill, {length(wide)} across, does not get into the outline here: {smaller}, or draw it wider."
            yield Finding("cut-out-narrow", sentence, at_mm=at)
        else:
            corners.append((off, at))
    if corners:
        most = length(round(max(off for off, _ in corners), 2))
        where = f"At {counted(len(corners), 'inner corner')} the end mill leaves wood, up to {most} of it"
        said = Finding("cut-out-corner", f"{where}: they keep its radius of {length(wide / 2.0)}.")
        yield from at_places(said, [at for _, at in corners])
    around = float(shapely.length(shapely.buffer(shapely.Polygon(piece.exterior), wide / 2.0)))
    if cut_out.tabs_on(around) < cut_out.tabs:
        takes = length(cut_out.tabs * (cut_out.over_mm + 2.0 * cut_out.ramp_mm), 1)
        tabs = f"{counted(cut_out.tabs, 'tab')} of {length(cut_out.tab.width_mm)}, with the bit's way over them, take {takes}"
        cure = "give fewer, narrower or lower ones, or a steeper ramp"
        sentence = f"The way round the outline is {length(around, 1)} long, and {tabs}; {cure}."
        yield Finding("cut-out-tabs", sentence)
    if not cut_out.tabs:
        loose = "Nothing holds the piece at the end of the cut-out, for it has no tabs"
        yield Finding("cut-out-loose", f"{loose}: hold it by tape or vacuum, or give it tabs.")


def _at(shape: Any) -> Point:
    """Return the first place of a shape."""
    x, y = shapely.get_coordinates(shape)[0].tolist()
    return x, y
