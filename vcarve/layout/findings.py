"""What there is to say of a layout: of its drawing, of the land that the grooves leave, of its proportions.

A job whose grooves meet and cut most of the land away, or most of whose drawing lies off the piece, is refused, unless it
says that this is meant.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np
import shapely

from vcarve.drawing.read import Drawing
from vcarve.errors import Finding, at_places
from vcarve.groove.land import edge_slivers
from vcarve.groove.model import WEAK_MM, WEAK_SHARE
from vcarve.groove.whole_cells import Cells, cells_of, deepest_depths_mm, least_pitch_mm
from vcarve.groove.width import deepest_mm, width_mm
from vcarve.job.bench import names
from vcarve.job.suitability import suitability
from vcarve.layout.cut_out import cut_out_findings
from vcarve.layout.proposals import clipped_cells
from vcarve.layout.stages import Layout
from vcarve.layout.warp import surface_findings
from vcarve.mount.flat import mount_of
from vcarve.pattern.inspect import inspect
from vcarve.pattern.model import GROUND, LEAF
from vcarve.plane.region import bounds, corners, lines_along, polygon
from vcarve.quantity import counted, format_number

PLACES_TOLD = 3  # of what was mended in a drawing
OVERHANG_MM = 0.05  # of a drawing: less is an outline drawn along with its lines
MOST_OUTSIDE = 0.5  # of a drawing: with more of it outside, its units or its place are wrong; our choice
MOST_LOST = 0.5  # of the cells: with more of them gone there is no pattern left to see; our choice
FEW_CELLS = 4  # with fewer whole ones nobody sees how a pattern goes on; our choice
HAIRLINE_MM = 0.1  # a groove that is narrower is lost in the grain; our choice
_SAG_MM = 0.01


def job_findings(layout: Layout) -> tuple[Finding, ...]:
    """Return what there is to say of a job before any program: its numbers, its drawing or pattern, its land."""
    job, pattern = layout.job, layout.lines.pattern
    reach = None
    if job.zero.turn_deg:
        left, front, right, back = layout.reach_mm
        reach = (right - left, back - front)
    return (
        *suitability(job, deepest_mm(job.bit), reach),
        *surface_findings(layout),
        *drawing_findings(layout),
        *(() if pattern is None or pattern.key in names("pattern") else inspect(pattern, job.figures)),
        *land_findings(layout),
        *(() if layout.lines.window else proportion_findings(layout)),
        *taper_findings(layout),
        *cut_out_findings(layout),
    )


# --- the drawing ---------------------------------------------------------------------------------------------------


def drawing_findings(layout: Layout) -> Iterator[Finding]:
    """Yield what was assumed of a drawing and left out, what was mended in it, and how far it reaches beyond the field."""
    drawing, figures, mount = layout.lines.drawing, layout.job.figures, mount_of(layout.job)
    if drawing is None:
        return
    yield from drawing.findings
    for code in dict.fromkeys(one.code for one in drawing.mended):
        those = [one for one in drawing.mended if one.code == code]
        what = "Lines are drawn more than once, and cut once"
        if code == "gap-closed":
            what = f"Gaps of up to {figures.length(max(one.gap_mm for one in those))} were closed"
        places = "; ".join(
            f"X {figures.number(x)}, Y {figures.number(y)}"
            for x, y in (mount.axes_mm(*one.at_mm) for one in those[:PLACES_TOLD])
        )
        more = " and elsewhere" if len(those) > PLACES_TOLD else ""
        said = Finding(code, f"{what}: at {places} {figures.unit}{more}.")
        yield from at_places(said, [one.at_mm for one in those])
    if not layout.lines.window:
        yield from _outside(layout, drawing)


def _outside(layout: Layout, drawing: Drawing) -> Iterator[Finding]:
    """Yield how far a drawing reaches beyond the field, and how much of it is not cut."""
    job, inner = layout.job, layout.field.inner
    shapes: Any = lines_along(drawing.curves, _SAG_MM)
    room = shapely.buffer(polygon(inner), OVERHANG_MM)
    shapely.prepare(room)
    over = shapes[~shapely.covered_by(shapes, room)]
    if not len(over):
        return
    lost = float(shapely.length(shapely.difference(over, room)).sum())
    share = lost / float(shapely.length(shapes).sum())
    length = job.figures.length
    left, front, right, back = shapely.total_bounds(shapes).tolist()
    west, south, east, north = bounds(inner)
    where = "the field inside the margin" if job.pattern.margin_mm else "the piece"
    sentence = (
        f"As it lies, the drawing measures {length(right - left)} by {length(back - front)}, and {where} "
        f"{length(east - west)} by {length(north - south)}: {length(lost, 1)} of its lines "
        f"({format_number(100.0 * share, 1)} %) lie outside and are not cut. If that is not meant, make the piece larger, "
        "draw smaller, change margin, shift-x and shift-y, or check the drawing's units."
    )
    if share <= MOST_OUTSIDE:
        yield Finding("drawing-clipped", sentence)
    elif job.pattern.lost_lines == "allow":
        yield Finding("drawing-lost", sentence, mild=True)
    else:
        allow = " If it is meant, write 'lost-lines: allow' under 'pattern'."
        yield Finding("drawing-lost", sentence + allow)


# --- the land ------------------------------------------------------------------------------------------------------


def land_findings(layout: Layout) -> Iterator[Finding]:
    """Yield what there is to say of the land: lost, broken, weak islands, strips at the piece's edge."""
    grooves, cells, figures = layout.grooves, layout.network.cells, layout.job.figures
    if grooves.vanished:
        yield _lost(layout)
    if grooves.broken:
        share = _share(grooves.broken, cells)
        yield Finding("land-broken", f"In {share} the land falls apart into islands.")
    if grooves.weak:
        size = figures.small(float(grooves.weak_mm.min()))
        said = f"Islands of land are so small that they may break out; the smallest has room for a circle of {size} only."
        if grooves.weak == 1:
            said = f"An island of land is so small that it may break out: it has room for a circle of {size} only."
        if grooves.weak > MOST_LOST * cells and (whole := _whole(layout)):
            holds, sound = figures.length(whole.holds_mm), figures.length(whole.sound_pitch_mm)
            said += f" At a pitch of {sound} or more every whole cell keeps land of {holds} or more."
        yield from at_places(Finding("weak-island", said), grooves.weak_at_mm.tolist())
    off = layout.width_off_mm
    doubtful = (grooves.land_mm > 0.0) & (grooves.land_mm <= off)
    if doubtful.any():
        share = _share(int(np.count_nonzero(doubtful)), cells)
        most = figures.small(float(grooves.land_mm[doubtful].max()))
        said = f"Widths are known to ± {figures.length(off)}: within that the land of {share}, {most} at most, could vanish."
        cure = " Cut shallower, or measure the bit more closely."
        yield from at_places(Finding("land-uncertain", said + cure), grooves.land_at_mm[doubtful].tolist())
    widths, places = edge_slivers(
        layout.network, grooves, [corners(ring) for ring in layout.field.outline.rings]
    )
    if len(widths):
        size = figures.small(float(widths[0]))
        start = f"A groove runs along the piece's edge and leaves a strip of only {size} beside it"
        if len(widths) > 1:
            start = f"At {len(widths)} places grooves run along the piece's edge; the thinnest strip they leave is {size} wide"
        then = (
            "pattern, or change its pitch or margin"
            if layout.lines.drawing is None
            else "drawing, or change the margin"
        )
        said = f"{start}: it may break out. Shift the {then}."
        x, y = places[0].tolist()
        yield Finding("edge-sliver", said, at_mm=(x, y))


def _share(number: int, cells: int) -> str:
    return "the only cell" if cells == 1 else f"{number} of {cells} cells"


class _Whole(NamedTuple):
    """Whole cells of the job's pattern, with the depth and width of each feature they have, and how wide sound land must be."""

    cells: Cells
    pitch_mm: float
    depths_mm: dict[int, float]
    widths_mm: dict[int, float]
    holds_mm: float

    @property
    def sound_pitch_mm(self) -> float:
        """The pitch from which on no land of them breaks out."""
        return least_pitch_mm(self.cells, self.widths_mm, self.holds_mm)


def _whole(layout: Layout) -> _Whole | None:
    """Return the whole cells of the pattern; ``None`` of a drawing, and where its lines close none."""
    pattern, pitch_mm = layout.lines.pattern, layout.lines.pitch_mm
    cells = None if pattern is None else cells_of(pattern)
    if cells is None or pitch_mm is None:
        return None
    depths = {feature: layout.features[feature].depth_mm for feature in cells.features}
    widths = {feature: width_mm(layout.job.bit, depth) for feature, depth in depths.items()}
    return _Whole(cells, pitch_mm, depths, widths, max(WEAK_MM, WEAK_SHARE * max(depths.values())))


def _lost(layout: Layout) -> Finding:
    """Return the finding of cells that keep no land: the cause, and the pitch and the depth that would do."""
    lost, cells, whole = layout.grooves.vanished, layout.network.cells, _whole(layout)
    most = lost > MOST_LOST * cells
    share = _share(lost, cells)
    said = [f"{share[0].upper()}{share[1:]} {'keeps' if lost == 1 else 'keep'} no land:"]
    if whole is None:
        said.append(f"grooves up to {layout.job.figures.length(layout.widest_mm)} wide meet and cut it away.")
        said.append("Cut shallower, take a sharper bit, or give the lines more room.")
    elif _whole_cells_hold(layout, whole):
        edge = "margin" if layout.job.pattern.margin_mm else "piece's edge"
        said.append(f"the {edge} or a frame clips them, and the grooves cut away what is left.")
        said.append("Every whole cell has room for its grooves.")
    else:
        said.extend(_cause_and_cure(layout, whole))
    refused = most and layout.job.groove.lost_land == "refuse"
    if refused:
        said.append("If this is meant, write 'lost-land: allow' under 'groove'.")
    return Finding("land-lost" if most else "land-vanished", " ".join(said), mild=not refused)


def _whole_cells_hold(layout: Layout, whole: _Whole) -> bool:
    """Tell whether the cells that keep no land are clipped ones: those left whole keep theirs, or would if there were any."""
    left = layout.grooves.land_mm[layout.network.cell_class >= 0]
    return bool(left.all()) if len(left) else whole.cells.keep(whole.pitch_mm, whole.widths_mm)


def _cause_and_cure(layout: Layout, whole: _Whole) -> Iterator[str]:
    """Yield how the grooves' width compares with the room of the cells, what pitch suits the groove, what depth the pitch."""
    pattern, length = layout.lines.pattern, layout.job.figures.length
    assert pattern is not None
    name, (low, high) = pattern.key, pattern.pitch_mm
    cells, pitch, depths, widths, holds = whole
    yield (
        f"the grooves are {length(layout.widest_mm)} wide, and the smallest cells of {name} at a pitch of {length(pitch)} have "
        f"room for {length(cells.room * pitch)}."
    )
    yield (
        f"Every whole cell keeps some land from a pitch of {length(least_pitch_mm(cells, widths))}, and enough not to break "
        f"out ({length(holds)}) from {length(whole.sound_pitch_mm)}; {name} usually has {length(low)} to {length(high)}."
    )
    shallower = deepest_depths_mm(cells, pitch, layout.job.bit, depths)
    if shallower is None:
        yield "At this pitch no depth of this bit leaves them land; take a sharper bit."
    elif len(set(depths.values())) == 1:
        yield f"At this pitch a depth of {length(max(shallower.values()))} or less leaves them land."
    else:
        ground, leaf = (length(shallower[feature]) for feature in (GROUND, LEAF))
        yield f"At this pitch ground {ground} and leaf {leaf}, or less, leave them land."


# --- proportions ---------------------------------------------------------------------------------------------------


def proportion_findings(layout: Layout) -> Iterator[Finding]:
    """Yield the cautions of a pitch far from the pattern's own, and of grooves too narrow to see.

    A pitch that is too small shows in the findings on land.
    """
    pattern, pitch, figures = layout.lines.pattern, layout.lines.pitch_mm, layout.job.figures
    if pattern is not None and pitch is not None:
        length, (low, high) = figures.length, pattern.pitch_mm
        usual = f"{pattern.key} usually has {length(low)} to {length(high)}"
        whole = _whole_cells(layout)
        if whole is not None and whole < FEW_CELLS:
            shown = f"only {counted(whole, 'whole cell')}" if whole else "no whole cell"
            margin = layout.job.pattern.margin_mm
            place = f"inside the margin of {length(margin)}" if margin else "on the piece"
            said = (
                f"A pitch of {length(pitch)} leaves {shown} {place}: little of the pattern is seen; {usual}."
            )
            yield Finding("pitch-unusual", said)
        elif pitch > high:
            yield Finding("pitch-unusual", f"A pitch of {length(pitch)} is more than usual; {usual}.")
    narrowest = min((width for _, _, width in layout.kinds), default=np.inf)
    if narrowest < HAIRLINE_MM:
        size = figures.small(narrowest, 3)
        said = f"The narrowest groove is {size} wide at the surface and will hardly be seen. Cut deeper, or take a wider angle."
        yield Finding("groove-hairline", said)


def _whole_cells(layout: Layout) -> int | None:
    """Return how many cells nothing clips, where they are few; ``None`` where they are not, or lines close no cell."""
    if np.count_nonzero(layout.network.cell_class >= 0) >= FEW_CELLS:
        return None
    # Cells that end at the field's edge are whole as well, so their areas decide.
    clipped = clipped_cells(layout)
    return None if clipped is None else layout.network.cells - clipped


# --- loose ends ----------------------------------------------------------------------------------------------------


def taper_findings(layout: Layout) -> Iterator[Finding]:
    """Yield a caution of ends that rise more steeply than the bit's own flank, so that they stay round.

    Either the job asks for so short a taper, or the line gives out before it has risen gently.
    """
    job, rises, length = layout.job, layout.rises, layout.job.figures.length
    if rises is None:
        return
    depth = np.array([feature.depth_mm for feature in layout.features])[rises.feature]
    flank = depth * math.tan(math.radians(job.bit.angle_deg) / 2.0)
    steep, asked = rises.reach_mm < flank - 1e-6, flank > job.taper_mm
    for which, cure in (
        (steep & asked, "a taper of {} or more begins to show."),
        (steep & ~asked, "these lines end or meet others too soon, and {} or more begins to show."),
    ):
        if which.any():
            least = job.figures.at_least(float(flank[which].max()))
            said = (
                f"At {np.count_nonzero(which)} of {counted(len(which), 'loose end')} the groove rises more steeply than the "
                f"bit's own flank, over {length(float(rises.reach_mm[which].min()))}, so the end stays round; "
            )
            yield from at_places(
                Finding("taper-too-short", said + cure.format(least)), rises.at_mm[which].tolist()
            )
