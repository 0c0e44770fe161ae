"""How a flat piece's places become the program's axes."""

from __future__ import annotations

import numpy as np
import pytest

from small_job import small_job
from vcarve.job.records import Job
from vcarve.job.sections import Zero
from vcarve.mount.flat import mount_of


def at(zero: Zero) -> Job:
    """Make a job for a piece 80 mm square and 12 mm thick with its zero somewhere."""
    return small_job(80.0).model_copy(update={"zero": zero})


@pytest.mark.parametrize(
    ("zero", "x_mm", "y_mm", "z_mm"),
    [
        (Zero(xy="front-left"), 50, 20, -2),
        (Zero(xy="front-right"), -30, 20, -2),
        (Zero(xy="back-left"), 50, -60, -2),
        (Zero(xy="back-right", z="bed"), -30, -60, 10),
        (Zero(xy="centre", z="bed"), 10, -20, 10),
    ],
)
def test_a_place_is_counted_from_the_zero(zero: Zero, x_mm: int, y_mm: int, z_mm: int) -> None:
    """A place 10 mm right of the centre, 20 mm in front of it, 2 mm deep, as X, Y and Z from every zero."""
    mount = mount_of(at(zero))
    mm = np.array([1_000_000])

    axes = mount.axes_nm(10 * mm, -20 * mm, 2 * mm)

    assert [int(axis[0]) for axis in axes] == [n * 1_000_000 for n in (x_mm, y_mm, z_mm)]
    assert mount.axes_mm(10.0, -20.0) == (x_mm, y_mm)
    assert mount.axes_mm(*mount.zero_mm) == (0.0, 0.0)
