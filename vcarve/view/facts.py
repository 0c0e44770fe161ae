"""What the dry-run page and the bench sheet show: values of other rooms, gathered by the pipeline.

Everything a person may have left out (a program that is dry-run without its job has no piece, bit or plan) is
``None``, and the page then says that it is not known instead of guessing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from vcarve.dryrun.setup import UNKNOWN, Setup
from vcarve.errors import Finding
from vcarve.job.bench import Machine
from vcarve.job.records import Job
from vcarve.plan.model import Plan
from vcarve.plane.arrays import Floats
from vcarve.program.moves import Moves
from vcarve.quantity import MM, Figures


@dataclass(frozen=True, slots=True, kw_only=True)
class GrooveFacts:
    """One kind of groove: what it is called, how deep, and how wide at the surface."""

    name: str
    depth_mm: float
    width_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PageFacts:
    """Everything on the page.

    Shapes: N moves.  ``start_s`` (N,) is when each move begins and ``duration_s`` (N,) how long it takes; gaps
    between are dwells and stops, and ``total_s`` is the whole running time.  ``setup`` tells where the piece lies in work
    coordinates.  ``program`` is the text's lines in order, ``file`` its name.  ``z_mm`` is how deep and how high the bit
    goes, in work coordinates.  ``rings`` are the piece's closed outlines in piece coordinates, each of shape (n, 2), the
    outer ones first and then the holes.  ``lines_mm`` counts every line of the plan once.
    Raises ``ValueError`` where columns do not fit together.
    """

    title: str
    moves: Moves
    start_s: Floats
    duration_s: Floats
    total_s: float
    program: Sequence[str]
    setup: Setup = UNKNOWN
    corners: str = ""  # what the times take for granted of corners
    file: str | None = None
    z_mm: tuple[float, float] | None = None
    machine: Machine | None = None
    job: Job | None = None
    rings: tuple[Floats, ...] = ()
    grooves: tuple[GrooveFacts, ...] = ()
    taper: str = ""  # what loose ends of lines do
    land_mm: float | None = None
    plan: Plan | None = None
    lines_mm: float = 0.0
    findings: tuple[Finding, ...] = ()
    figures: Figures = MM  # how they are written

    def __post_init__(self) -> None:
        for name in ("start_s", "duration_s"):
            if getattr(self, name).shape != (len(self.moves),):
                raise ValueError(f"{name} must have one entry per move")

    @property
    def passes(self) -> int:
        """How often the bit goes into the wood and out again."""
        return passes(self.moves, self.setup.top_mm)


def clamps_mm(job: Job) -> list[list[float]]:
    """Return each clamp's front left corner in piece coordinates and its size along X and Y."""
    half_x, half_y = job.piece.width_mm / 2.0, job.piece.height_mm / 2.0
    return [[one.x_mm - half_x, one.y_mm - half_y, one.width_mm, one.height_mm] for one in job.clamps]


def pass_of(moves: Moves, surface_mm: float = 0.0) -> npt.NDArray[np.int32]:
    """Return which pass each move belongs to, shape (N,), counted from 0; -1 for moves in the air.

    A pass is a run of moves below the surface at work height ``surface_mm``: it begins with the move that goes
    down into the wood and ends with the one that lifts out of it; the bit may rise to the surface on the way, at the point of a
    line that tapers.  Moves in machine coordinates and probing moves are in the air, and so is the way to a height that the text
    names first: where the tool stands before, it does not say.
    """
    if len(moves) == 0:
        return np.zeros(0, dtype=np.int32)
    start, end = np.where(moves.is_found("Z"), np.inf, moves.start("Z")), moves.end("Z")
    start[0] = np.inf
    with np.errstate(invalid="ignore"):
        below = (np.fmin(start, end) < surface_mm - 1e-6) & moves.told
        fresh = ~(start < surface_mm + 1e-6)
    before = np.concatenate([[False], below[:-1]])
    begins = below & (~before | fresh)
    result = np.cumsum(begins, dtype=np.int32) - 1
    return np.where(below, result, -1).astype(np.int32)


def passes(moves: Moves, surface_mm: float = 0.0) -> int:
    """How many passes the moves make in a surface at a work height."""
    return int(pass_of(moves, surface_mm).max(initial=-1)) + 1
