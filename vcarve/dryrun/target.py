"""What a program is judged by: its job, and what there is to be on the piece when it has run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import shapely

from vcarve.groove.model import Grooves
from vcarve.job.bench import Cutter
from vcarve.job.records import Job, Speeds
from vcarve.job.sections import CutOut
from vcarve.network.model import Network


@dataclass(frozen=True, slots=True)
class Target:
    """What a program is judged by: its job, the lines there are to be, their grooves, and the piece's outline on it."""

    job: Job
    network: Network
    grooves: Grooves
    outline: shapely.Polygon | shapely.MultiPolygon

    @property
    def bit(self) -> Cutter:
        """The bit that cuts it."""
        return self.job.bit

    @property
    def speeds(self) -> Speeds:
        """How fast it cuts."""
        return self.job.speeds


@dataclass(frozen=True, slots=True)
class OutlineTarget:
    """What a program that cuts pieces out of their board is judged by: its job, their outlines, and others on the same board."""

    job: Job
    cut_out: CutOut
    outline: shapely.Polygon | shapely.MultiPolygon
    neighbours: tuple[shapely.Polygon, ...] = ()

    @property
    def bit(self) -> Cutter:
        """The end mill."""
        return self.cut_out.bit

    @property
    def speeds(self) -> Speeds:
        """How fast it cuts."""
        return self.job.cut_out_speeds


Aim: TypeAlias = Target | OutlineTarget
