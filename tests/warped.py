"""Boards that are not flat, and the touches that tell of them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from vcarve.job.records import Job
from vcarve.job.surface import Surface
from vcarve.plane.arrays import Floats

Board = Callable[
    [Any, Any], Any
]  # heights in mm at X and Y from the front left corner of a board 100 mm wide

# 0.3 mm over 100 mm: as a board cups, as it winds, and as one glued up of four strips steps.
BOARDS: dict[str, Board] = {
    "bowed": lambda x, y: 0.3 * ((x - 50.0) / 50.0) ** 2,
    "twisted": lambda x, y: 0.15 * (x - 50.0) / 50.0 * (y - 50.0) / 50.0,
    "stepped": lambda x, y: 0.1 * sum(np.clip((x - at) / 10.0, 0.0, 1.0) for at in (10.0, 40.0, 80.0)),
}


def touched(board: Board, x: Floats, y: Floats) -> Surface:
    """Return what is told of a board that is touched at places (n,), from its height at the front left corner on."""
    height = board(x, y) - board(0.0, 0.0) + 0.0 * x
    return Surface(points_mm=tuple(zip(x.tolist(), y.tolist(), height.tolist(), strict=True)))


def grid(board: Board, apart_mm: float, inset_mm: float = 0.0, size_mm: float = 100.0) -> Surface:
    """Return what a grid of touches tells of a board."""
    across = np.arange(inset_mm, size_mm - inset_mm + 1e-9, apart_mm)
    x, y = np.meshgrid(across, across)
    return touched(board, x.ravel(), y.ravel())


def on(job: Job, surface: Surface | None) -> Job:
    """Return the job on a board with such a top."""
    return job.model_copy(update={"surface": surface})
