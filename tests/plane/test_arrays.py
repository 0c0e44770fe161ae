"""Records of arrays, which nobody may write to."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from small_job import job_from, make_program, own_job
from vcarve.plane.arrays import ReadOnly


def test_what_a_program_was_made_from_cannot_be_written_to() -> None:
    """No array of the network, grooves, cuts, plan or times can be changed by whoever is given it."""
    made = make_program(job_from(own_job("{name: asanoha, pitch: 20 mm}")))

    for record in (made.network, made.layout.grooves, made.cuts, made.plan, made.times):
        assert isinstance(record, ReadOnly)
        arrays = [getattr(record, field.name) for field in fields(record)]
        held = [array for array in arrays if isinstance(array, np.ndarray)]
        assert held
        for array in held:
            with pytest.raises(ValueError, match="read-only"):
                array[...] = 0
