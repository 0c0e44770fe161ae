"""Jobs and networks for the plan's tests."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from small_job import small_job
from small_network import build, small_network
from vcarve.job.records import Job
from vcarve.network.model import Network
from vcarve.pattern.model import pattern
from vcarve.plane.region import rectangle


@pytest.fixture
def job_of() -> Callable[..., Job]:
    """Make a small job: see ``small_job``."""
    return small_job


@pytest.fixture
def lines() -> Callable[..., Network]:
    """Make a network of vertices (mm) and edges (pairs of vertices): see ``small_network``."""
    return small_network


@pytest.fixture
def catalogued() -> Callable[..., Network]:
    """Make the network of a catalogue pattern on a square piece."""

    def make(name: str, size_mm: float, pitch_mm: float) -> Network:
        return build(pattern(name), region=rectangle(size_mm, size_mm), pitch_mm=pitch_mm)

    return make
