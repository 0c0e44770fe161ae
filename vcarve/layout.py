"""From a job to its network and grooves: the pattern or drawing laid on the piece, at its depths."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
import shapely

from vcarve.errors import Finding, InputError, Problem
from vcarve.groove.land import measure
from vcarve.groove.model import Grooves
from vcarve.groove.width import deepest_mm, width_mm
from vcarve.job.records import Job
from vcarve.network.build import build, build_lines
from vcarve.network.clip import region_polygon
from vcarve.network.model import Network, Role
from vcarve.network.repeat import Placing
from vcarve.pattern.catalogue import names
from vcarve.pattern.catalogue import pattern as named_pattern
from vcarve.pattern.curves import chord_points
from vcarve.pattern.drawing import read_drawing
from vcarve.pattern.fit import fit, rectangular_repeat
from vcarve.pattern.inset import inset
from vcarve.pattern.inspect import inspect
from vcarve.pattern.model import Line, Pattern
from vcarve.pattern.outline import outline_of
from vcarve.pattern.region import Region, area_mm2, bounds, perimeter_mm
from vcarve.quantity import format_mm, format_number

EDGES_MOST = 4_000_000
LEAST_LEFT_MM = 0.5  # across, inside a margin or a frame: less is no field for lines
LAYER_ROLES = 8  # a drawing's first layer; see network.model
OVERHANG_MM = 0.05  # of a drawing: less is an outline drawn along with its lines
_SAG_MM = 0.01
FRAME_ROLES = 1000  # the first frame with a depth of its own


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
    outline = outline_of(job.piece, job.folder)
    depths = {int(Role.GROUND): job.ground_mm, int(Role.LEAF): job.leaf_mm, int(Role.FRAME): job.ground_mm}
    frames = _frames(job, outline, depths)
    choice = job.pattern
    fill = (
        _inset(outline, choice.margin_mm, "pattern.margin", choice.margin_mm) if choice.margin_mm else outline
    )
    beyond = _beyond_mm(job)
    field = _inset(outline, choice.margin_mm - beyond, "pattern.margin", choice.margin_mm) if beyond else fill
    piece = outline if beyond > choice.margin_mm else None
    sentences: list[str] = []
    findings: list[Finding] = []
    pattern: Pattern | None = None
    pitch: float | None = None
    layers: tuple[str, ...] = ()
    if choice.drawing is not None:
        network, layers, notes = _drawn(job, field, piece, frames, depths)
        findings.extend(notes)
    else:
        pattern = named_pattern(str(choice.name), job.folder)
        if pattern.key not in names():
            findings.extend(inspect(pattern, job.figures))
        pitch, shift, said = _pitch(job, pattern, fill)
        sentences.extend(said)
        _refuse_too_many(pattern, pitch, job)
        network = build(
            pattern,
            region=field,
            piece=piece,
            pitch_mm=pitch,
            rotate_deg=choice.rotate_deg,
            shift_mm=(choice.shift_x_mm + shift[0], choice.shift_y_mm + shift[1]),
            mirror=choice.mirror,
            edge=_edge(job),
            frames=frames,
        )
    if network.edges == 0 and pitch is None:
        want = "no line of the drawing lies on the piece; look at its units, at the margin and at shift-x and shift-y"
        raise InputError(Problem(key="pattern.drawing", value=choice.drawing, want=want))
    if network.edges == 0 and pitch is not None:
        want = "no line of the pattern lies on the piece; make the pitch smaller or the margin narrower"
        raise InputError(Problem(key="pattern.pitch", value=job.figures.length(pitch), want=want))
    return Layout(
        network=network,
        grooves=measure(network, job.bit, depths),
        outline=outline,
        depths_mm=depths,
        pattern=pattern,
        pitch_mm=pitch,
        layers=layers,
        sentences=tuple(sentences),
        findings=tuple(findings),
    )


def _beyond_mm(job: Job) -> float:
    """Return by how much lines run over the outline or the margin: nothing, or half of the widest groove."""
    if job.pattern.ends != "run-off":
        return 0.0
    return width_mm(job.bit, min(max(job.ground_mm, job.leaf_mm), deepest_mm(job.bit))) / 2.0


def _edge(job: Job) -> Literal["groove", "plain"]:
    """Return what becomes of lines on the edge of the field: a frame at the margin's own distance cuts it all round."""
    choice = job.pattern
    if choice.ends == "outline" and any(frame.distance_mm == choice.margin_mm for frame in choice.frame):
        return "groove"
    return choice.edge


def _frames(job: Job, outline: Region, depths: dict[int, float]) -> list[tuple[Region, int]]:
    """Return the frames with their roles; a frame with a depth of its own gets a role of its own."""
    frames: list[tuple[Region, int]] = []
    own = FRAME_ROLES
    for index, frame in enumerate(job.pattern.frame):
        role = int(Role.FRAME)
        if frame.depth_mm is not None:
            role, own = own, own + 1
            depths[role] = frame.depth_mm
        key = f"pattern.frame.{index}.distance"
        frames.append((_inset(outline, frame.distance_mm, key, frame.distance_mm), role))
    return frames


def _inset(region: Region, distance_mm: float, key: str, written_mm: float) -> Region:
    """Return the region grown or shrunk; what goes wrong names the key."""
    try:
        left = inset(region, distance_mm)
        if distance_mm > 0.0 and 4.0 * area_mm2(left) < LEAST_LEFT_MM * perimeter_mm(left):
            raise InputError(
                f"less than {LEAST_LEFT_MM:g} mm is left of the piece that far inside its outline"
            )
        return left
    except InputError as error:
        raise InputError(
            Problem(key=key, value=format_mm(written_mm), want=problem.want) for problem in error.problems
        ) from None


def _pitch(job: Job, pattern: Pattern, fill: Region) -> tuple[float, tuple[float, float], tuple[str, ...]]:
    """Return the pitch, where the pattern's origin lies from the piece's centre, and what to say about it."""
    choice = job.pattern
    if choice.across is None and choice.pitch_mm is not None and not choice.pitch_mm.about:
        return choice.pitch_mm.mm, (0.0, 0.0), ()
    about = None if choice.across is not None or choice.pitch_mm is None else choice.pitch_mm.mm
    lies = _as_it_lies(pattern, choice.rotate_deg, choice.mirror)
    _refuse_no_repeat(lies, job)
    left, front, right, back = bounds(fill)
    fitted = fit(
        lies,
        right - left,
        back - front,
        across=choice.across,
        about_mm=about,
        what="the piece" if not choice.margin_mm else "the field inside the margin",
        figures=job.figures,
    )
    x, y = fitted.origin_mm
    return fitted.pitch_mm, (x + (left + right) / 2.0, y + (front + back) / 2.0), (fitted.sentence,)


def _as_it_lies(pattern: Pattern, rotate_deg: float, mirror: bool) -> Pattern:
    """Return the pattern with its lattice and corner mirrored and turned as on the piece; its lines are left."""
    matrix = Placing(pitch_mm=1.0, rotate_deg=rotate_deg, mirror=mirror).matrix

    def at(point: tuple[float, float]) -> tuple[float, float]:
        x, y = (point @ matrix).tolist()
        return x, y

    return replace(pattern, a1=at(pattern.a1), a2=at(pattern.a2), corner=at(pattern.corner))


def _refuse_no_repeat(pattern: Pattern, job: Job) -> None:
    """Refuse to fit a lattice that, as it lies, never comes round straight across."""
    try:
        rectangular_repeat(pattern)
    except InputError:
        choice = job.pattern
        by_count = choice.across is not None
        turned = ", turned as it is," if choice.rotate_deg else ""
        pitch = "" if choice.pitch_mm is None else f"about {job.figures.length(choice.pitch_mm.mm)}"
        want = f"the lattice of {pattern.key}{turned} does not repeat along the width, so whole repeats cannot fill it; "
        raise InputError(
            Problem(
                key="pattern.across" if by_count else "pattern.pitch",
                value=str(choice.across) if by_count else pitch,
                want=want + ("give a pitch instead" if by_count else "give the pitch without 'about'"),
            )
        ) from None


def _refuse_too_many(pattern: Pattern, pitch_mm: float, job: Job) -> None:
    """Refuse a pitch so small that the lines would be past counting; usually a slip of the units."""
    cells = job.piece.width_mm * job.piece.height_mm / (pattern.cell_area * pitch_mm**2)
    if cells * len(pattern.lines) > EDGES_MOST:
        least = math.sqrt(
            job.piece.width_mm * job.piece.height_mm * len(pattern.lines) / (pattern.cell_area * EDGES_MOST)
        )
        across = job.pattern.across
        raise InputError(
            Problem(
                key="pattern.pitch" if across is None else "pattern.across",
                value=job.figures.length(pitch_mm) if across is None else str(across),
                want=f"this gives more than {EDGES_MOST:,} lines on the piece; a pitch of "
                f"{job.figures.length(math.ceil(least * 100) / 100)} or more is possible",
            )
        )


def _drawn(
    job: Job, field: Region, piece: Region | None, frames: list[tuple[Region, int]], depths: dict[int, float]
) -> tuple[Network, tuple[str, ...], tuple[Finding, ...]]:
    """Return the network of the job's drawing; its layers' depths are added to ``depths``."""
    choice = job.pattern
    file = Path(job.folder) / str(choice.drawing)
    page = (job.piece.width_mm, job.piece.height_mm)
    gaps = choice.close_gaps_mm
    only = bool(choice.depths)
    drawing = read_drawing(
        file, close_gaps_mm=gaps, keys=choice.depths, only=only, piece_mm=page, figures=job.figures
    )
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
        depths[LAYER_ROLES + index] = choice.depths.get(name, job.ground_mm)
    lines = _placed(drawing.lines, choice.rotate_deg, (choice.shift_x_mm, choice.shift_y_mm), choice.mirror)
    network = build_lines(lines, region=field, piece=piece, edge=_edge(job), frames=frames)
    return network, drawing.layers, (*drawing.findings, *_clipped(job, lines, field))


def _clipped(job: Job, lines: Sequence[Line], field: Region) -> tuple[Finding, ...]:
    """Return the caution of a drawing that reaches beyond the field: how far, and how much of it is not cut."""
    shapes: Any = np.array(
        [
            shapely.LineString([*chord_points(line.start, line.end, line.bulge, _SAG_MM), line.end])
            for line in lines
        ]
    )
    room = shapely.buffer(region_polygon(field), OVERHANG_MM)
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
    west, south, east, north = bounds(field)
    where = "the field inside the margin" if job.pattern.margin_mm else "the piece"
    sentence = (
        f"As it lies, the drawing measures {length(right - left)} by {length(back - front)}, and {where} "
        f"{length(east - west)} by {length(north - south)}: {length(lost, 1)} of its lines "
        f"({format_number(100.0 * lost / drawn, 1)} %) lie outside and are not cut. If that is not meant, make the piece larger, "
        "draw smaller, change margin, shift-x and shift-y, or check the drawing's units."
    )
    return (Finding(code="drawing-clipped", severity="caution", sentence=sentence),)


def _placed(
    lines: Sequence[Line], rotate_deg: float, shift_mm: tuple[float, float], mirror: bool
) -> list[Line]:
    """Return lines mirrored, turned and shifted."""
    matrix = Placing(pitch_mm=1.0, rotate_deg=rotate_deg, mirror=mirror).matrix
    flip = -1.0 if mirror else 1.0

    def at(point: tuple[float, float]) -> tuple[float, float]:
        x, y = (
            point[0] * matrix[0, 0] + point[1] * matrix[1, 0],
            point[0] * matrix[0, 1] + point[1] * matrix[1, 1],
        )
        return float(x) + shift_mm[0], float(y) + shift_mm[1]

    return [
        Line(start=at(line.start), end=at(line.end), bulge=line.bulge * flip, role=line.role)
        for line in lines
    ]
