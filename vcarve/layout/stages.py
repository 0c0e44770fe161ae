"""From a job to its grooves in four stages: the field, the lines, the network on the piece, the grooves.

Each stage is a pure function of frozen values that it names.  Whoever lays out again and again keeps what the stages made:
a stage whose values are the same as before is not run again.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, ParamSpec, TypeVar

import numpy as np

from vcarve.errors import InputError, Problem
from vcarve.groove.land import measure
from vcarve.groove.model import Grooves
from vcarve.groove.taper import taper
from vcarve.groove.width import deepest_mm, width_mm
from vcarve.job.records import Job
from vcarve.layout.field import Field, make_field
from vcarve.layout.lines import Lines, place_drawing, place_pattern
from vcarve.network.build import build, build_lines
from vcarve.network.model import Feature, Network
from vcarve.network.repeat import Placing

Values = ParamSpec("Values")
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """The lines on the piece, without their depth."""

    field: Field
    lines: Lines
    network: Network


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout(Laid):
    """What lies on the piece; ``features`` is what its lines are for, in the order of the network's numbers."""

    grooves: Grooves
    features: tuple[Feature, ...]

    @property
    def kinds(self) -> tuple[tuple[str, float, float], ...]:
        """What each kind of groove is called, and its depth and width in mm, deepest first."""
        network, grooves = self.network, self.grooves
        found: dict[tuple[float, float], set[str]] = {}
        for index in np.unique(network.feature[network.cut]).tolist():
            mine = network.feature == index
            depth, half = (ends[:, mine].max() for ends in (grooves.ends_depth_mm, grooves.ends_half_mm))
            found.setdefault((float(depth), 2.0 * float(half)), set()).add(self.features[index].name)
        return tuple((" and ".join(sorted(found[size])), *size) for size in sorted(found, reverse=True))

    @property
    def deepest_mm(self) -> float:
        """The deepest groove."""
        return float(self.grooves.depth_mm.max(initial=0.0))

    @property
    def widest_mm(self) -> float:
        """The widest groove at the surface."""
        return 2.0 * float(self.grooves.half_width_mm.max(initial=0.0))


@dataclass(slots=True)
class Kept:
    """What each stage was made from the last time, and what it made."""

    stages: dict[str, tuple[tuple[object, ...], object]] = field(default_factory=dict)

    def __call__(
        self, stage: Callable[Values, Result], *args: Values.args, **values: Values.kwargs
    ) -> Result:
        """Return what a stage makes of these values; the same values as the last time give the same object."""
        given = (args, values)
        known, made = self.stages.get(stage.__name__, (None, None))
        if known != given:
            made = stage(*args, **values)
            self.stages[stage.__name__] = given, made
        return made  # type: ignore[return-value]  # what this stage made


def lay_out(job: Job, kept: Kept | None = None) -> Layout:
    """Return the network and the grooves of a job; with ``kept`` only the stages are run whose values have changed.

    Raises InputError for what cannot be laid out, such as a margin that leaves nothing of the piece.
    """
    keep = Kept() if kept is None else kept
    laid = lay_lines(job, keep)
    features = _features(job, laid.lines)
    depths = {index: feature.depth_mm for index, feature in enumerate(features)}
    network, share = laid.network, None
    if job.taper_mm:
        network, share = keep(taper, network, job.taper_mm, laid.field.outline)
    grooves = keep(measure, network, job.bit, depths, share)
    return Layout(field=laid.field, lines=laid.lines, network=network, grooves=grooves, features=features)


def _features(job: Job, lines: Lines) -> tuple[Feature, ...]:
    """Return what lines are for: the two kinds of a pattern or the layers of a drawing, then the frames (see ``_frames``)."""
    depths, prefix = job.pattern.depths, "layer "
    if lines.drawing is None:
        depths, prefix = dict(zip(lines.kinds, (job.ground_mm, job.leaf_mm), strict=True)), ""
    found = [
        Feature(key=kind, name=f"{prefix}{kind}", depth_mm=depths.get(kind, job.ground_mm))
        for kind in lines.kinds
    ]
    found.append(Feature(key="frame", name="frame", depth_mm=job.ground_mm))
    own = [frame.depth_mm for frame in job.pattern.frame if frame.depth_mm is not None]
    found += [Feature(key=f"frame-{k}", name="frame", depth_mm=depth) for k, depth in enumerate(own, 1)]
    return tuple(found)


def lay_lines(job: Job, kept: Kept | None = None) -> Laid:
    """Return the lines of a job on its piece: the first three stages."""
    keep = Kept() if kept is None else kept
    choice, folder, figures = job.pattern, job.folder, job.figures
    piece_mm = (job.piece.width_mm, job.piece.height_mm)
    room = keep(
        make_field,
        outline=job.piece.outline,
        piece_mm=piece_mm,
        folder=folder,
        state=_state(folder, job.piece.outline.file),
        margin_mm=choice.margin_mm,
        beyond_mm=_beyond_mm(job),
        frames=_frames(job),
        figures=figures,
    )
    placing = Placing(
        pitch_mm=1.0,
        rotate_deg=choice.rotate_deg,
        shift_mm=(choice.shift_x_mm, choice.shift_y_mm),
        mirror=choice.mirror,
    )
    if choice.drawing is not None:
        lines = keep(
            place_drawing,
            file=str(Path(folder) / choice.drawing),
            state=_state(folder, choice.drawing),
            close_gaps_mm=choice.close_gaps_mm,
            layers=tuple(choice.depths),
            piece_mm=piece_mm,
            placing=placing,
        )
    else:
        lines = keep(
            place_pattern,
            name=str(choice.name),
            folder=folder,
            state=_state(folder, choice.name),
            field=room,
            pitch=choice.pitch_mm,
            across=choice.across,
            placing=placing,
            what="the field inside the margin" if choice.margin_mm else "the piece",
            piece_mm=piece_mm,
            figures=figures,
        )
    network = keep(make_network, lines=lines, field=room, edge=_edge(job))
    if network.edges == 0 and lines.pitch_mm is None:
        want = "no line of the drawing lies on the piece; look at its units, at the margin and at shift-x and shift-y"
        raise InputError(Problem(key="pattern.drawing", value=choice.drawing, want=want))
    if network.edges == 0 and lines.pitch_mm is not None:
        want = "no line of the pattern lies on the piece; make the pitch smaller or the margin narrower"
        raise InputError(Problem(key="pattern.pitch", value=figures.length(lines.pitch_mm), want=want))
    return Laid(field=room, lines=lines, network=network)


def make_network(*, lines: Lines, field: Field, edge: Literal["groove", "plain"]) -> Network:
    """Return the network of lines on their field; ``edge`` says what becomes of those on the field's edge."""
    first = len(lines.kinds)  # of the frames' features
    frames = [(region, first + feature) for region, feature in field.frames]
    if lines.drawing is not None:
        drawn = lines.drawing.lines
        return build_lines(drawn, region=field.inner, piece=field.piece, edge=edge, frames=frames)
    assert lines.pattern is not None
    return build(
        lines.pattern,
        region=field.inner,
        piece=field.piece,
        pitch_mm=lines.placing.pitch_mm,
        rotate_deg=lines.placing.rotate_deg,
        shift_mm=lines.placing.shift_mm,
        mirror=lines.placing.mirror,
        edge=edge,
        frames=frames,
    )


def _frames(job: Job) -> tuple[tuple[float, int], ...]:
    """Return distance and feature of each frame, counted from 0: those as deep as ground lines share one, the first."""
    frames, own = [], 0
    for frame in job.pattern.frame:
        own += frame.depth_mm is not None
        frames.append((frame.distance_mm, 0 if frame.depth_mm is None else own))
    return tuple(frames)


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


def _state(folder: str, name: str | None) -> object:
    """Return what changes when the file of this name is written again; ``None`` where there is no such file."""
    try:
        found = os.stat(Path(folder) / (name or ""))
    except (OSError, ValueError):
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino
