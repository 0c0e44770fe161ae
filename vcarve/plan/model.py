"""The plan record: which half-edges are cut in which order, at which depth, where the bit lifts, and the proof."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.cuts.model import Cuts
from vcarve.plane.arcs import size
from vcarve.plane.arrays import NM_PER_MM, Bools, Ints, ReadOnly


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """How near the plan is to the least possible, all at constant rates (no accelerations).

    ``plan_s`` is this plan's time, ``bound_s`` a proven lower bound, ``cell_by_cell_s`` the time of cutting the outline of
    every cell on its own, all in seconds.
    """

    plan_s: float
    bound_s: float
    cell_by_cell_s: float

    @property
    def above_bound(self) -> float:
        """The share of time above the proven least, 0 where the plan is proven best."""
        return max(self.plan_s / self.bound_s - 1.0, 0.0) if self.bound_s > 0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan(ReadOnly):
    """Passes over the edges of ``Cuts``.

    Shapes: S steps, P passes.  Step ``i`` walks edge ``half_edge[i] // 2``, from head to tail where ``half_edge[i]`` is odd,
    from place ``begin[i]`` to place ``end[i]``.  ``recut[i]`` says that the step is travel, along the edge as it is cut by
    another step or less deep.  Pass ``p`` is the steps ``pass_start[p]`` to ``pass_start[p + 1]``; within a pass each step
    starts above or below where the one before it ended, and the bit moves straight down or up in place.  Between passes
    it lifts to ``hop_mm``.

    ``cut_mm`` counts an edge once for every level it is cut in, ``recut_mm`` all travel; together they are the length the
    bit runs in grooves, in plan view.
    """

    half_edge: Ints  # (S,)
    begin: Ints  # (S,)
    end: Ints  # (S,)
    recut: Bools  # (S,)
    pass_start: Ints  # (P + 1,)
    hop_mm: float
    cut_mm: float
    recut_mm: float
    rapid_mm: float  # XY length of rapids from the zero to the first pass and between passes
    levels: int  # in how many levels the deepest lines are cut
    proof: Proof

    @property
    def passes(self) -> int:
        """How many runs are cut without lifting."""
        return len(self.pass_start) - 1

    @property
    def lifts(self) -> int:
        """How often the bit is lifted between two passes."""
        return max(self.passes - 1, 0)


def as_given(cuts: Cuts, pass_start: Ints, hop_mm: float) -> Plan:
    """Return the plan that makes cuts in their own order, each from its tail; nothing is proven of it.

    ``pass_start`` says at which cut each pass begins, and the end.  Rapids are counted from the first pass on.
    """
    steps = np.arange(len(cuts.tail))
    ends, starts = cuts.head[pass_start[1:-1] - 1], cuts.tail[pass_start[1:-1]]
    return Plan(
        half_edge=2 * steps,
        begin=cuts.tail,
        end=cuts.head,
        recut=np.zeros(len(steps), dtype=np.bool_),
        pass_start=pass_start,
        hop_mm=hop_mm,
        cut_mm=float(cuts.length_mm.sum()),
        recut_mm=0.0,
        rapid_mm=float(size((cuts.place_nm[starts] - cuts.place_nm[ends])[:, :2] / NM_PER_MM).sum()),
        levels=1,
        proof=Proof(plan_s=0.0, bound_s=0.0, cell_by_cell_s=0.0),
    )
