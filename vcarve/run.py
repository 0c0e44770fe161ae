"""What a program turned out to be: the dry run of a text, and a program just made with all that it was made from."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vcarve.cuts.model import Cuts
from vcarve.dryrun.carve import Surface
from vcarve.dryrun.clock import Times
from vcarve.dryrun.measure import Measured
from vcarve.dryrun.track import Setup, passes_of, room, setup_of
from vcarve.errors import Finding, refuses
from vcarve.job.bench import Machine
from vcarve.job.records import Job
from vcarve.layout.stages import Layout
from vcarve.network.model import Network
from vcarve.panel.boards import Load
from vcarve.panel.tiles import LaidPanel
from vcarve.plan.model import Plan
from vcarve.plane.arrays import Floats, Ints
from vcarve.program.moves import Motion, Moves
from vcarve.program.reader import Reading
from vcarve.quantity import Figures

# Grbl's own rule for corners is the clock's (see ``dryrun.clock``).
CORNERS = {
    "linuxcnc": "LinuxCNC rounds them by a rule of its own (G64)",
    "rs274ngc": "this controller may have another rule",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class DryRun:
    """What the dry run of a text found.

    ``layout`` and ``job`` are ``None`` for a text without its job, ``file`` for one without a name, ``surface`` and ``measured``
    until it is carved; ``before`` are the moves that an earlier program has cut, where this one is its rest.  ``cut_out`` is the
    run of the program that cuts the piece out afterwards; its findings stand among these.
    """

    reading: Reading
    times: Times
    machine: Machine
    findings: tuple[Finding, ...]
    layout: Layout | None
    file: str | None = None
    surface: Surface | None = None
    measured: Measured | None = None
    before: Moves | None = None
    cut_out: DryRun | None = None

    @property
    def job(self) -> Job | None:
        """The job that the program was judged by."""
        return None if self.layout is None else self.layout.job

    @property
    def refused(self) -> bool:
        """Whether the program must not be cut."""
        return refuses(self.findings)

    @property
    def figures(self) -> Figures:
        """How lengths and feeds are written for people."""
        return (self.job or self.machine).figures

    @property
    def setup(self) -> Setup:
        """Where the piece lies in work coordinates."""
        return setup_of(self.job)

    @property
    def pass_of(self) -> Ints:
        """Which pass each move belongs to, shape (N,); see :func:`~vcarve.dryrun.track.passes_of`."""
        return passes_of(self.reading.moves, self.setup)

    @property
    def passes(self) -> int:
        """How often the bit goes into the wood and out again."""
        return int(self.pass_of.max(initial=-1)) + 1

    @property
    def passes_before(self) -> int:
        """How many passes an earlier program has made before this one, its rest."""
        if self.before is None:
            return 0
        return int(passes_of(self.before, self.setup).max(initial=-1)) + 1

    @property
    def boxes_mm(self) -> tuple[Floats, Floats]:
        """The lower and upper corners (N, A) of boxes round all moves, arcs too, in work coordinates."""
        moves = self.reading.moves
        return room(moves, moves.start_mm, moves.end_mm)

    @property
    def extents_mm(self) -> dict[str, tuple[float, float]]:
        """How far the feed moves reach on each axis, in work coordinates, and how high Z rises; nothing without moves."""
        moves, spans = self.reading.moves, {}
        feed, (low, high) = moves.motion != int(Motion.RAPID), self.boxes_mm
        for column, axis in enumerate(moves.axes if len(moves) else ()):
            ends = moves.end(axis)[: len(moves) * (axis == "Z")]
            lows, highs = (np.append(box[feed, column], ends) for box in (low, high))
            spans[axis.lower()] = (float(lows.min()), float(highs.max())) if len(lows) else (0.0, 0.0)
        return spans

    @property
    def corners(self) -> str:
        """How the running time takes corners, where the controller's own rule is another or not known."""
        if self.machine.dialect not in CORNERS:
            return ""
        deviation = self.figures.length(self.machine.junction_deviation_mm)
        rule = CORNERS[self.machine.dialect]
        return (
            f"corners are timed by a junction deviation of {deviation}; {rule}, so the real time will differ"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeCutOut(DryRun):
    """A program that cuts pieces out of their board, with its dry run, and what it was made from."""

    layout: Layout
    cuts: Cuts
    plan: Plan
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Made(DryRun):
    """A program with its dry run, and everything it was made from.

    ``sentences`` say what was chosen, left over and could be otherwise.
    """

    layout: Layout
    cuts: Cuts
    plan: Plan
    text: str
    sentences: tuple[str, ...]
    cut_out: MadeCutOut | None = None

    @property
    def job(self) -> Job:
        """The job that the program was made for."""
        return self.layout.job

    @property
    def told(self) -> tuple[Finding, ...]:
        """The findings as people are told them: of a program that is not written nobody can look up a line."""
        return tuple(replace(one, line=None) for one in self.findings) if self.refused else self.findings

    @property
    def network(self) -> Network:
        """The lines on the piece."""
        return self.layout.network


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelMade:
    """A panel with the programs of its tiles, each with the name its file has, and how often it is run."""

    laid: LaidPanel
    loads: tuple[Load, ...]  # what each program cuts, where it cuts several tiles
    programs: tuple[tuple[str, Made, int], ...]
    findings: tuple[Finding, ...]  # of the panel as a whole

    @property
    def refused(self) -> bool:
        """Whether any of its programs must not be cut."""
        return refuses(self.findings) or any(made.refused for _, made, _ in self.programs)

    @property
    def total_s(self) -> float:
        """How long all tiles take."""
        every = ((one, times) for _, made, times in self.programs for one in (made, made.cut_out) if one)
        return sum(times * one.times.total_s for one, times in every)
