"""Jobs and networks for the plan's tests."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest

from small_job import small_job
from vcarve.job.records import Job
from vcarve.network.build import build
from vcarve.network.model import Network
from vcarve.pattern.catalogue import pattern
from vcarve.pattern.region import rectangle


@pytest.fixture
def job_of() -> Callable[..., Job]:
    """Make a small job: see ``small_job``."""
    return small_job


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
