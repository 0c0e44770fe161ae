"""From a job to its grooves in four stages: the field, the lines, the network on the piece, the grooves.

Each stage is a pure function of frozen values.  Whoever lays out again and again keeps what the stages made: a stage is not
run again where the values that it rests on, which ``lay_lines`` and ``lay_out`` name, are the same as before.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal, NamedTuple, TypeVar

import numpy as np

from vcarve.errors import InputError, Problem
from vcarve.groove.land import measure
from vcarve.groove.model import Grooves
from vcarve.groove.taper import Rises, taper
from vcarve.groove.width import uncertainty_mm
from vcarve.job.document import placed
from vcarve.job.records import Job
from vcarve.layout.field import Field, beyond, make_field
from vcarve.layout.lines import Lines, place_lines
from vcarve.mount.flat import mount_of
from vcarve.network.build import drawn_graph, network_on, pattern_graph
from vcarve.network.model import Feature, Network
from vcarve.plane.arcs import boxes
from vcarve.plane.arrays import Floats
from vcarve.plane.region import Region, corners
from vcarve.quantity import counted

Result = TypeVar("Result")


class Kind(NamedTuple):
    """Grooves of one depth and width: what they are called, and their size where they are deepest."""

    name: str
    depth_mm: float
    width_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """The lines on the piece, without their depth."""

    field: Field
    lines: Lines
    network: Network


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout(Laid):
    """What lies on a job's piece; ``features`` is what its lines are for, in the order of the network's numbers."""

    job: Job
    grooves: Grooves
    features: tuple[Feature, ...]
    rises: Rises | None = None  # none where the job asks for no taper
    pieces: tuple[Region, ...] = ()  # on a board that several are cut out of; else the piece is the one

    @property
    def outlines(self) -> tuple[Region, ...]:
        """The outlines of what is cut out."""
        return self.pieces or (self.field.outline,)

    @property
    def taper(self) -> str:
        """What loose ends of lines do, in words; empty where none tapers."""
        if self.rises is None or not len(self.rises.reach_mm):
            return ""
        length, short = self.job.figures.length, self.rises.short
        tip, many = self.job.bit.tip_mm, counted(len(short), "end")
        end = f"the tip's {length(tip)}" if tip else "a point"
        said = f"loose ends taper to {end} over {length(self.job.taper_mm)}: {many}"
        if not short.any():
            return said
        least = length(float(self.rises.reach_mm.min()))
        return f"{said}, {np.count_nonzero(short)} of them over less, down to {least}, on lines that end or meet others sooner"

    @property
    def kinds(self) -> tuple[Kind, ...]:
        """Each kind of groove, deepest first."""
        network, grooves = self.network, self.grooves
        found: dict[tuple[float, float], set[str]] = {}
        for index in np.unique(network.feature[network.cut]).tolist():
            mine = network.feature == index
            depth, half = (ends[:, mine].max() for ends in (grooves.ends_depth_mm, grooves.ends_half_mm))
            found.setdefault((float(depth), 2.0 * float(half)), set()).add(self.features[index].name)
        return tuple(Kind(" and ".join(sorted(found[size])), *size) for size in sorted(found, reverse=True))

    @property
    def rings(self) -> tuple[Floats, ...]:
        """The piece's outline and its holes as fine polygons, each (n, 2)."""
        return tuple(corners(ring, 0.01) for ring in self.field.outline.rings)

    @property
    def reach_mm(self) -> tuple[float, float, float, float]:
        """How far the lines to cut reach to the left, front, right and back, in work coordinates as the piece lies."""
        network = self.network
        x_nm, y_nm = mount_of(self.job).across_nm(network.x_nm, network.y_nm)
        box = boxes(replace(network, x_nm=x_nm, y_nm=y_nm).curves(np.flatnonzero(network.cut)))
        return (*box[:, :2].min(axis=0).tolist(), *box[:, 2:].max(axis=0).tolist())

    @property
    def deepest_mm(self) -> float:
        """The deepest groove."""
        return float(self.grooves.depth_mm.max(initial=0.0))

    @property
    def width_off_mm(self) -> float:
        """How far the width of a groove may be off, of the one that is known least; 0 where the job says nothing of it."""
        return max((uncertainty_mm(self.job.bit, kind.depth_mm) for kind in self.kinds), default=0.0)

    @property
    def widest_mm(self) -> float:
        """The widest groove at the surface."""
        return 2.0 * float(self.grooves.half_width_mm.max(initial=0.0))


@dataclass(slots=True)
class Kept:
    """What each stage was made from the last time, and what it made."""

    stages: dict[str, tuple[object, Any]] = field(default_factory=dict)

    def __call__(self, stage: str, values: object, make: Callable[[], Result]) -> Result:
        """Return what a stage makes of the values that it rests on; those of the last time give the same object."""
        if stage not in self.stages or self.stages[stage][0] != values:
            self.stages[stage] = values, make()
        made: Result = self.stages[stage][1]
        return made


def lay_out(job: Job, kept: Kept | None = None, lines: Lines | None = None) -> Layout:
    """Return what lies on a job's piece: its lines as a network, its grooves, and the land between them.

    Places are in mm from the piece's centre, X to the right, Y to the back; depths and widths in mm.  With ``kept`` only the
    stages are run whose values have changed.  ``lines`` stand in place of the job's own, such as lines that go on from another
    piece.  Raises InputError for what cannot be laid out, such as a margin that leaves nothing of the piece.

    >>> layout = vcarve.lay_out(vcarve.load_job("tile.yaml"))
    >>> layout.network.edges, round(layout.widest_mm, 3), round(layout.grooves.narrowest_mm, 3)
    (274, 0.924, 2.689)
    """
    keep = Kept() if kept is None else kept
    with placed(job.document):
        laid = lay_lines(job, keep, lines)
        features = _features(job, laid.lines)
        depths = {index: feature.depth_mm for index, feature in enumerate(features)}
        network, share, rises = laid.network, None, None
        if job.taper_mm:
            rising = network, job.taper_mm, laid.field.outline
            network, share, rises = keep("taper", rising, lambda: taper(*rising))
        grooved = network, job.bit, depths, share
        grooves = keep("grooves", grooved, lambda: measure(*grooved))
        return Layout(
            job=job,
            field=laid.field,
            lines=laid.lines,
            network=network,
            grooves=grooves,
            features=features,
            rises=rises,
        )


def laid_out(given: Job | Layout) -> Layout:
    """Return the layout of a job, which may have been made before."""
    return given if isinstance(given, Layout) else lay_out(given)


def _features(job: Job, lines: Lines) -> tuple[Feature, ...]:
    """Return what lines are for: the two kinds of a pattern or the layers of a drawing, then the frames (see ``make_field``)."""
    depths, prefix = job.pattern.depths, "layer "
    if lines.drawing is None:
        depths, prefix = dict(zip(lines.kinds, job.depths_mm, strict=True)), ""
    found = [
        Feature(key=kind, name=f"{prefix}{kind}", depth_mm=depths.get(kind, job.depths_mm[0]))
        for kind in lines.kinds
    ]
    found.append(Feature(key="frame", name="frame", depth_mm=job.depths_mm[0]))
    own = [frame.depth_mm for frame in job.pattern.frame if frame.depth_mm is not None]
    found += [Feature(key=f"frame-{k}", name="frame", depth_mm=depth) for k, depth in enumerate(own, 1)]
    return tuple(found)


def lay_lines(job: Job, kept: Kept | None = None, given: Lines | None = None) -> Laid:
    """Return the lines of a job, or lines that are given, on its piece: the first three stages."""
    keep = Kept() if kept is None else kept
    choice, outline = job.pattern, job.piece.outline
    every = job.folder, job.piece.width_mm, job.piece.height_mm, job.figures
    distances = [(frame.distance_mm, frame.depth_mm is None) for frame in choice.frame]
    edge = outline, file_state(job.folder, outline.file), choice.margin_mm, beyond(job), distances
    room = keep("field", (every, edge), lambda: make_field(job))
    # What is said of frames and how deep layers are is nothing to the lines.
    lying = choice.model_dump(exclude={"frame", "depths"}), list(choice.depths)
    written = file_state(job.folder, choice.drawing or choice.name)
    lines = given or keep("lines", (every, room, lying, written), lambda: place_lines(job, room))
    joined = lines, room, _edge(job)
    network = keep("network", joined, lambda: make_network(*joined))
    if network.edges == 0:
        piece = "one of the tiles" if lines.window else "the piece"
        key, value = "pattern.drawing", choice.drawing
        want = f"no line of the drawing lies on {piece}; look at its units, at the margin and at shift-x and shift-y"
        if lines.pitch_mm is not None:
            key, value = f"pattern.{'pitch' if choice.across is None else 'across'}", None
            want = f"no line of the pattern lies on {piece}; make the pitch smaller or the margin narrower"
        raise InputError(Problem(key=key, value=value, want=want))
    return Laid(field=room, lines=lines, network=network)


def make_network(lines: Lines, field: Field, edge: Literal["groove", "plain"]) -> Network:
    """Return the network of lines on their field; ``edge`` says what becomes of those on the field's edge."""
    first = len(lines.kinds)  # of the frames' features
    frames = [(region, first + feature) for region, feature in field.frames]
    if lines.pattern is not None:
        graph = pattern_graph(lines.pattern, lines.placing, field.inner)
    else:
        assert lines.drawing is not None
        graph = drawn_graph(lines.drawing.curves, lines.drawing.feature)
    return network_on(field.inner, graph, piece=field.piece, edge=edge, frames=frames)


def _edge(job: Job) -> Literal["groove", "plain"]:
    """Return what becomes of lines on the edge of the field: a frame at the margin's own distance cuts it all round."""
    choice = job.pattern
    if choice.ends == "outline" and any(frame.distance_mm == choice.margin_mm for frame in choice.frame):
        return "groove"
    return choice.edge


def file_state(folder: str, name: str | None) -> object:
    """Return what changes when the file of this name is written again; ``None`` where there is no such file."""
    if not name:
        return None
    try:
        found = os.stat(Path(folder) / name)
    except (OSError, ValueError):
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino
