"""A job's pattern laid on the piece: the field inside its margin, the frames, the pitch, and the network."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from vcarve.errors import InputError, Problem
from vcarve.groove.width import deepest_mm, width_mm
from vcarve.job.records import Job
from vcarve.network.build import build
from vcarve.network.model import Network, Role
from vcarve.network.repeat import Placing
from vcarve.network.unit import unit_network
from vcarve.pattern.catalogue import pattern as named_pattern
from vcarve.pattern.fit import Fit, fit, rectangular_repeat
from vcarve.pattern.model import Pattern
from vcarve.pattern.outline import outline_of
from vcarve.plane.inset import inset
from vcarve.plane.region import Region, area_mm2, bounds, perimeter_mm

EDGES_MOST = 1_000_000  # some 2.5 GB and two minutes from job to program
LEAST_LEFT_MM = 0.5  # across, inside a margin or a frame: less is no field for lines
FRAME_ROLES = 1000  # the first frame with a depth of its own


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """Where lines may lie: ``fill`` is what a pattern fills, ``inner`` where lines end, farther out where they run off.

    ``piece`` is the piece's own edge where lines cross it; ``depths_mm`` is the depth of each role.
    """

    outline: Region
    fill: Region
    inner: Region
    piece: Region | None
    frames: list[tuple[Region, int]]
    depths_mm: dict[int, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A pattern's network on the piece; ``fit`` is there where whole repeats were fitted."""

    network: Network
    pattern: Pattern
    pitch_mm: float
    fit: Fit | None


def field_of(job: Job) -> Field:
    """Return where a job's lines may lie; raises InputError for a margin or a frame that leaves nothing of the piece."""
    outline, margin = outline_of(job.piece, job.folder), job.pattern.margin_mm
    depths = {int(Role.GROUND): job.ground_mm, int(Role.LEAF): job.leaf_mm, int(Role.FRAME): job.ground_mm}
    frames = _frames(job, outline, depths)
    fill = _inset(job, outline, margin, "pattern.margin", margin) if margin else outline
    beyond = _beyond_mm(job)
    return Field(
        outline=outline,
        fill=fill,
        inner=_inset(job, outline, margin - beyond, "pattern.margin", margin) if beyond else fill,
        piece=outline if beyond > margin else None,
        frames=frames,
        depths_mm=depths,
    )


def laid(job: Job, field: Field) -> Laid:
    """Return the network of a job's pattern; raises InputError for a pitch that cannot be fitted or is far too small."""
    choice = job.pattern
    pattern = named_pattern(str(choice.name), job.folder)
    pitch, shift, fitted = _pitch(job, pattern, field.fill)
    _refuse_too_many(pattern, pitch, job)
    network = build(
        pattern,
        region=field.inner,
        piece=field.piece,
        pitch_mm=pitch,
        rotate_deg=choice.rotate_deg,
        shift_mm=(choice.shift_x_mm + shift[0], choice.shift_y_mm + shift[1]),
        mirror=choice.mirror,
        edge=edge_of(job),
        frames=field.frames,
    )
    return Laid(network=network, pattern=pattern, pitch_mm=pitch, fit=fitted)


def _beyond_mm(job: Job) -> float:
    """Return by how much lines run over the outline or the margin: nothing, or half of the widest groove."""
    if job.pattern.ends != "run-off":
        return 0.0
    return width_mm(job.bit, min(max(job.ground_mm, job.leaf_mm), deepest_mm(job.bit))) / 2.0


def edge_of(job: Job) -> Literal["groove", "plain"]:
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
        frames.append((_inset(job, outline, frame.distance_mm, key, frame.distance_mm), role))
    return frames


def _inset(job: Job, region: Region, distance_mm: float, key: str, written_mm: float) -> Region:
    """Return the region grown or shrunk; what goes wrong names the key."""
    length = job.figures.length
    try:
        left, *others = inset(region, distance_mm) or (None,)
        if left is None:
            raise InputError(f"nothing is left of the piece {length(distance_mm)} inside its outline")
        if others:
            raise InputError(
                f"{length(distance_mm)} inside its outline the piece falls into {len(others) + 1} parts; "
                "a smaller distance keeps it whole"
            )
        if distance_mm > 0.0 and 4.0 * area_mm2(left) < LEAST_LEFT_MM * perimeter_mm(left):
            raise InputError(
                f"less than {length(LEAST_LEFT_MM)} is left of the piece that far inside its outline"
            )
        return left
    except InputError as error:
        raise InputError(
            Problem(key=key, value=length(written_mm), want=problem.want) for problem in error.problems
        ) from None


def _pitch(job: Job, pattern: Pattern, fill: Region) -> tuple[float, tuple[float, float], Fit | None]:
    """Return the pitch, where the pattern's origin lies from the piece's centre, and how it was fitted, if it was."""
    choice = job.pattern
    if choice.across is None and choice.pitch_mm is not None and not choice.pitch_mm.about:
        return choice.pitch_mm.mm, (0.0, 0.0), None
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
    return fitted.pitch_mm, (x + (left + right) / 2.0, y + (front + back) / 2.0), fitted


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
    cells_at_1_mm = job.piece.width_mm * job.piece.height_mm / pattern.cell_area
    least = math.sqrt(cells_at_1_mm * len(unit_network(pattern).tail) / EDGES_MOST)
    if pitch_mm < least * (1.0 - 1e-9):
        across = job.pattern.across
        raise InputError(
            Problem(
                key="pattern.pitch" if across is None else "pattern.across",
                value=job.figures.length(pitch_mm) if across is None else str(across),
                want=f"this gives more than {EDGES_MOST:,} lines on the piece; a pitch of "
                f"{job.figures.at_least(least)} or more is possible",
            )
        )
