"""What the dry-run page and the bench sheet show: values only, gathered by the pipeline.

Everything a person may have left out (a program that is dry-run without its job has no piece, bit or plan) is
``None``, and the page then says that it is not known instead of guessing.

Example, for a tile with its zero at the front left corner of its top::

    PageFacts(
        title="Tile",
        piece=PieceFacts(width_mm=100, height_mm=100, thickness_mm=12, wood="Maple", tint="#e3c79c",
                         rings=(np.array([[-50, -50], [50, -50], [50, 50], [-50, 50]]),)),
        zero=ZeroFacts(name="front left corner, top of the piece"),
        bit=BitFacts(title="60° V-bit", angle_deg=60, diameter_mm=3.175, shank_mm=3.175, tip_mm=0.1),
        machine="Small desktop mill",
        speeds=SpeedFacts(cut_mm_min=600, plunge_mm_min=200, spindle_rpm=10000),
        grooves=(GrooveFacts(name="ground", depth_mm=0.8, width_mm=1.0238),),
        land_mm=2.1, plan=PlanFacts(...), total_s=312.0,
        program=text.splitlines(), moves=moves, start_s=times.start_s, duration_s=times.move_s,
        setup=Setup(zero_mm=(-50, -50)), findings=findings,
    )
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from vcarve.dryrun.setup import UNKNOWN, Setup
from vcarve.errors import Finding
from vcarve.program.moves import Moves
from vcarve.quantity import MM, Figures

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceFacts:
    """The stock.

    ``rings`` are closed outlines in piece coordinates (origin at the piece's centre, X right, Y back), each of
    shape (n, 2), the outer ones first and then the holes; ``tint`` is ``#rrggbb``.
    """

    width_mm: float
    height_mm: float
    thickness_mm: float
    wood: str
    tint: str
    rings: tuple[Floats, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ZeroFacts:
    """Where the work origin is set and how the piece lies turned there, in words."""

    name: str
    turn: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BitFacts:
    """The bit: full included angle, cutting and shank diameter, width of the tip's flat or radius of its rounding."""

    title: str
    angle_deg: float
    diameter_mm: float
    shank_mm: float
    tip_mm: float = 0.0
    tip_radius_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedFacts:
    """Speeds of the job."""

    cut_mm_min: float
    plunge_mm_min: float
    spindle_rpm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GrooveFacts:
    """One kind of groove: what it is called, how deep, and how wide at the surface."""

    name: str
    depth_mm: float
    width_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ClampFacts:
    """A clamp from above: its front left corner in piece coordinates, its size, and how far it stands up."""

    at_mm: tuple[float, float]
    width_mm: float
    height_mm: float  # along Y
    above_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFacts:
    """The plan's figures; ``plan_s`` and ``bound_s`` are at constant rates, ``bound_s`` the proven least.

    ``lines_mm`` counts every line once, ``cut_mm`` once for each level it is cut in.
    """

    passes: int
    lifts: int
    lines_mm: float
    cut_mm: float
    recut_mm: float
    rapid_mm: float
    plan_s: float
    bound_s: float

    @property
    def above_bound(self) -> float:
        """Share of time above the proven least, 0 where the plan is proven best."""
        return max(self.plan_s / self.bound_s - 1.0, 0.0) if self.bound_s > 0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PageFacts:
    """Everything on the page.

    Shapes: N moves.  ``start_s`` (N,) is when each move begins and ``duration_s`` (N,) how long it takes; gaps
    between are dwells and stops, and ``total_s`` is the whole running time.  ``setup`` tells where the
    piece lies in work coordinates.  ``program`` is the text's lines
    in order, ``file`` its name.  ``z_mm`` is how deep and how high the bit goes, in work coordinates; the safe height is
    above the top.
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
    safe_height_mm: float | None = None
    piece: PieceFacts | None = None
    zero: ZeroFacts | None = None
    bit: BitFacts | None = None
    machine: str | None = None
    speeds: SpeedFacts | None = None
    grooves: tuple[GrooveFacts, ...] = ()
    land_mm: float | None = None
    clamps: tuple[ClampFacts, ...] = ()
    plan: PlanFacts | None = None
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


def pass_of(moves: Moves, surface_mm: float = 0.0) -> npt.NDArray[np.int32]:
    """Which pass each move belongs to, shape (N,), counted from 0; -1 for moves in the air.

    A pass is a run of moves below the surface at work height ``surface_mm``: it begins with the move that goes
    down into the wood and ends with the one that comes out.  Moves in machine coordinates are in the air, and so is
    the way to the first move's end: where the tool stands before, the text does not say.
    """
    if len(moves) == 0:
        return np.zeros(0, dtype=np.int32)
    top = surface_mm - 1e-6
    start, end = moves.start_mm[:, 2].copy(), moves.end_mm[:, 2]
    start[0] = np.inf
    with np.errstate(invalid="ignore"):
        below = (np.fmin(start, end) < top) & ~moves.machine
        fresh = ~(start < top)
    before = np.concatenate([[False], below[:-1]])
    begins = below & (~before | fresh)
    result = np.cumsum(begins, dtype=np.int32) - 1
    return np.where(below, result, -1).astype(np.int32)


def passes(moves: Moves, surface_mm: float = 0.0) -> int:
    """How many passes the moves make in a surface at a work height."""
    return int(pass_of(moves, surface_mm).max(initial=-1)) + 1
