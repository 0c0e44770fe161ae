"""From a job to its network and grooves: the pattern or drawing laid on the piece, at its depths."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from vcarve.drawing.join import Mended
from vcarve.drawing.read import Drawing, read_drawing
from vcarve.errors import Finding, InputError, Problem, listed
from vcarve.groove.land import measure
from vcarve.groove.model import Grooves
from vcarve.job.records import Job, PatternChoice
from vcarve.mount.flat import mount_of
from vcarve.network.build import build_lines
from vcarve.network.clip import region_polygon
from vcarve.network.model import LAYER_ROLES, Network
from vcarve.network.repeat import Placing
from vcarve.on_piece import Field, Laid, edge_of, field_of, laid
from vcarve.pattern.catalogue import names
from vcarve.pattern.fit import Fit
from vcarve.pattern.inspect import inspect
from vcarve.pattern.model import Line, Pattern, Point
from vcarve.plane.fit import chord_points
from vcarve.plane.region import Region, bounds
from vcarve.quantity import format_number

PLACES_TOLD = 3  # of what was mended in a drawing
OVERHANG_MM = 0.05  # of a drawing: less is an outline drawn along with its lines
MOST_LOST = 0.5  # of a drawing: with more of it outside, its units or its place are wrong; our choice
_SAG_MM = 0.01
AS_ON_PAGE = "the drawing's page is as large as the piece, so the lines lie as on their page"
CENTRED = "the lines are centred on the piece; from a page as large as the piece they would keep their place"


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """What lies on the piece.

    ``outline`` is the piece's own edge, ``depths_mm`` the depth of each role, ``sentences`` what was chosen or left over.
    """

    network: Network
    grooves: Grooves
    outline: Region
    depths_mm: dict[int, float]
    pattern: Pattern | None
    pitch_mm: float | None
    fit: Fit | None = None  # where whole repeats were fitted
    layers: tuple[str, ...] = ()  # names of a drawing's layers, in the order of their roles
    sentences: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()

    @property
    def deepest_mm(self) -> float:
        """The deepest groove."""
        return float(self.grooves.depth_mm.max(initial=0.0))

    @property
    def widest_mm(self) -> float:
        """The widest groove at the surface."""
        return 2.0 * float(self.grooves.half_width_mm.max(initial=0.0))


def lay_out(job: Job) -> Layout:
    """Return the network and the grooves of a job.

    Raises InputError for what cannot be laid out, such as a margin that leaves nothing of the piece.
    """
    field = field_of(job)
    sentences: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    made: Laid | None = None
    pitch: float | None = None
    layers: tuple[str, ...] = ()
    if job.pattern.drawing is not None:
        network, drawing, findings = _drawn(job, field)
        layers = drawing.layers
        sentences = (AS_ON_PAGE if drawing.on_page else CENTRED,)
    else:
        made = laid(job, field)
        network, pitch = made.network, made.pitch_mm
        if made.pattern.key not in names():
            findings = inspect(made.pattern, job.figures)
        if made.fit is not None:
            sentences = (made.fit.sentence,)
    if network.edges == 0 and pitch is None:
        want = "no line of the drawing lies on the piece; look at its units, at the margin and at shift-x and shift-y"
        raise InputError(Problem(key="pattern.drawing", value=job.pattern.drawing, want=want))
    if network.edges == 0 and pitch is not None:
        want = "no line of the pattern lies on the piece; make the pitch smaller or the margin narrower"
        raise InputError(Problem(key="pattern.pitch", value=job.figures.length(pitch), want=want))
    return Layout(
        network=network,
        grooves=measure(network, job.bit, field.depths_mm),
        outline=field.outline,
        depths_mm=field.depths_mm,
        pattern=None if made is None else made.pattern,
        pitch_mm=pitch,
        fit=None if made is None else made.fit,
        layers=layers,
        sentences=sentences,
        findings=findings,
    )


def _drawn(job: Job, field: Field) -> tuple[Network, Drawing, tuple[Finding, ...]]:
    """Return the network of the job's drawing; its layers' depths are added to those of the field."""
    choice = job.pattern
    file = Path(job.folder) / str(choice.drawing)
    page = (job.piece.width_mm, job.piece.height_mm)
    gaps = choice.close_gaps_mm
    only = bool(choice.depths)
    drawing = read_drawing(file, close_gaps_mm=gaps, keys=choice.depths, only=only, piece_mm=page)
    unknown = [name for name in choice.depths if name not in drawing.layers]
    if unknown:
        there = read_drawing(file, close_gaps_mm=gaps, piece_mm=page).layers
        raise InputError(
            Problem(
                key=f"pattern.depths.{name}",
                value=name,
                want=f"the drawing has no lines on such a layer or colour; it has {', '.join(there)}",
            )
            for name in unknown
        )
    for index, name in enumerate(drawing.layers):
        field.depths_mm[LAYER_ROLES + index] = choice.depths.get(name, job.ground_mm)
    at = _placing(choice)
    flip = -1.0 if choice.mirror else 1.0
    lines = [
        Line(start=at(line.start), end=at(line.end), bulge=line.bulge * flip, role=line.role)
        for line in drawing.lines
    ]
    mended = [replace(one, at_mm=at(one.at_mm)) for one in drawing.mended]
    network = build_lines(
        lines, region=field.inner, piece=field.piece, edge=edge_of(job), frames=field.frames
    )
    return (
        network,
        drawing,
        (*drawing.findings, *_mended(job, mended), *_clipped(job, lines, field.inner)),
    )


def _clipped(job: Job, lines: Sequence[Line], inner: Region) -> tuple[Finding, ...]:
    """Return what there is to say of a drawing that reaches beyond the field: how far, and how much of it is not cut."""
    shapes: Any = np.array(
        [
            shapely.LineString([*chord_points(line.start, line.end, line.bulge, _SAG_MM), line.end])
            for line in lines
        ]
    )
    room = shapely.buffer(region_polygon(inner), OVERHANG_MM)
    shapely.prepare(room)
    over = shapes[~shapely.covered_by(shapes, room)]
    if not len(over):
        return ()
    lost, drawn = (
        float(shapely.length(shapely.difference(over, room)).sum()),
        float(shapely.length(shapes).sum()),
    )
    length = job.figures.length
    left, front, right, back = shapely.total_bounds(shapes).tolist()
    west, south, east, north = bounds(inner)
    where = "the field inside the margin" if job.pattern.margin_mm else "the piece"
    sentence = (
        f"As it lies, the drawing measures {length(right - left)} by {length(back - front)}, and {where} "
        f"{length(east - west)} by {length(north - south)}: {length(lost, 1)} of its lines "
        f"({format_number(100.0 * lost / drawn, 1)} %) lie outside and are not cut. If that is not meant, make the piece larger, "
        "draw smaller, change margin, shift-x and shift-y, or check the drawing's units."
    )
    if lost <= MOST_LOST * drawn:
        return (Finding(code="drawing-clipped", severity="caution", sentence=sentence),)
    if job.pattern.lost_lines == "allow":
        return (Finding(code="drawing-lost", severity="caution", sentence=sentence),)
    allow = " If it is meant, write 'lost-lines: allow' under 'pattern'."
    return (Finding(code="drawing-lost", sentence=sentence + allow),)


def _mended(job: Job, mended: Sequence[Mended]) -> list[Finding]:
    """Return the cautions of gaps that were closed and of lines drawn more than once, with their first places."""
    found = []
    mount = mount_of(job)
    for code in dict.fromkeys(one.code for one in mended):
        those = [one for one in mended if one.code == code]
        widest = job.figures.length(max(one.gap_mm for one in those))
        what = (
            f"Gaps of up to {widest} were closed"
            if code == "gap-closed"
            else "Lines are drawn more than once, and cut once"
        )
        places = "; ".join(
            f"X {job.figures.number(x)}, Y {job.figures.number(y)}"
            for x, y in (mount.axes_mm(*one.at_mm) for one in those[:PLACES_TOLD])
        )
        more = " and elsewhere" if len(those) > PLACES_TOLD else ""
        said = Finding(
            code=code, severity="caution", sentence=f"{what}: at {places} {job.figures.unit}{more}."
        )
        places_mm = [one.at_mm for one in those]
        found += listed(range(len(those)), partial(_at, said, places_mm))
    return found


def _at(said: Finding, places_mm: Sequence[Point], index: int) -> Finding:
    return replace(said, at_mm=places_mm[index])


def _placing(choice: PatternChoice) -> Callable[[Point], Point]:
    """Return what mirrors, turns and shifts a drawing's places."""
    matrix = Placing(pitch_mm=1.0, rotate_deg=choice.rotate_deg, mirror=choice.mirror).matrix

    def at(point: Point) -> Point:
        x, y = (
            point[0] * matrix[0, 0] + point[1] * matrix[1, 0],
            point[0] * matrix[0, 1] + point[1] * matrix[1, 1],
        )
        return float(x) + choice.shift_x_mm, float(y) + choice.shift_y_mm

    return at
