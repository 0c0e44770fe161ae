"""Jobs and networks for the plan's tests: the machine and the feeds are those of the 100 mm hemp leaf example."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest

from vcarve.job.records import Bit, Job, Machine, PatternChoice, Piece, Wood, Zero
from vcarve.network.build import build
from vcarve.network.model import Network
from vcarve.pattern.catalogue import pattern
from vcarve.pattern.region import rectangle


@pytest.fixture
def job_of() -> Callable[..., Job]:
    """Make a job: cut 600, plunge 200 mm/min, rapids 2000 and 1000 mm/min, 200 and 100 mm/s²."""

    def make(
        size_mm: float = 100.0, *, recut: str = "allow", step_mm: float = 9.0, hop_mm: float = 5.0
    ) -> Job:
        machine = Machine.model_validate(
            {
                "name": "m",
                "title": "m",
                "travel": {"x": 5000, "y": 5000, "z": 60},
                "rapid": {"x": 2000, "y": 2000, "z": 1000},
                "acceleration": {"x": 200, "y": 200, "z": 100},
                "feed-max": {"x": 2000, "y": 2000, "z": 1000},
                "spindle": {"min": 1000, "max": 20000},
                "collets": [3.175],
            }
        )
        wood = Wood.model_validate(
            {
                "name": "w",
                "title": "w",
                "hardness": 1000,
                "gravity": 0.6,
                "chip-low": 0.01,
                "chip-high": 0.02,
                "plunge-share": 0.3,
                "step": 2,
                "tint": "#aabbcc",
            }
        )
        return Job(
            title="",
            piece=Piece(width_mm=size_mm, height_mm=size_mm, thickness_mm=12, wood="w"),
            wood=wood,
            pattern=PatternChoice(name="x", across=2),
            ground_mm=2,
            leaf_mm=2,
            step_mm=step_mm,
            bit=Bit(angle_deg=90, diameter_mm=6, shank_mm=3),
            machine=machine,
            cut_mm_min=600,
            plunge_mm_min=200,
            spindle_rpm=12000,
            zero=Zero(),
            recut=recut,  # type: ignore[arg-type]
            hop_mm=hop_mm,
        )

    return make


@pytest.fixture
def lines() -> Callable[..., Network]:
    """Make a network of vertices (mm) and edges (pairs of vertices), without cells."""

    def make(xy_mm: Sequence[Sequence[float]], edges: Sequence[Sequence[int]]) -> Network:
        xy, pairs = np.array(xy_mm, float), np.array(edges, np.int64).reshape(-1, 2)
        none = np.zeros(0, np.int64)
        return Network(
            x_nm=np.round(xy[:, 0] * 1e6).astype(np.int64),
            y_nm=np.round(xy[:, 1] * 1e6).astype(np.int64),
            tail=pairs[:, 0].copy(),
            head=pairs[:, 1].copy(),
            bulge=np.zeros(len(pairs)),
            role=np.zeros(len(pairs), np.int64),
            cut=np.ones(len(pairs), bool),
            edge_class=np.full(len(pairs), -1, np.int64),
            ring_half_edge=none,
            ring_start=np.zeros(1, np.int64),
            cell_ring_start=np.zeros(1, np.int64),
            cell_class=none.copy(),
        )

    return make


@pytest.fixture
def catalogued() -> Callable[..., Network]:
    """Make the network of a catalogue pattern on a square piece."""

    def make(name: str, size_mm: float, pitch_mm: float) -> Network:
        return build(pattern(name), region=rectangle(size_mm, size_mm), pitch_mm=pitch_mm)

    return make
