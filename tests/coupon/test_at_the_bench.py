"""A coupon cut with a bit that is not what its label says, its zero off: carved in memory, measured, and found out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from vcarve.coupon.fit import Fit, fit_widths
from vcarve.coupon.strip import lay_strip, strip_of
from vcarve.coupon.table import Widths
from vcarve.groove.width import VBit, uncertainty_mm, width_mm
from vcarve.job.document import document_of
from vcarve.job.record import record_from
from vcarve.job.records import load_job
from vcarve.pipeline import plan_program
from vcarve.proofing import carve_piece

SAMPLES = Path(__file__).parent.parent.parent / "samples"
TRUE_DEG, WORN_MM, DEEPER_MM = 88.6, 0.12, 0.05


@pytest.mark.slow
def test_a_worn_bit_and_a_zero_that_is_off_are_found_out() -> None:
    """Sold as 90 degrees and sharp, 88.6 and worn by 0.12 mm, 0.05 mm too deep: the fit says so, and then the widths to come."""
    job = load_job(SAMPLES / "trivet.yaml")
    strip = strip_of(job)
    depths = strip.depth_mm[1:]
    made = plan_program(lay_strip(job, replace(strip, depth_mm=tuple(d + DEEPER_MM for d in strip.depth_mm))))
    worn = made.job.bit.model_copy(update={"angle_deg": TRUE_DEG, "tip_mm": WORN_MM})
    layout = replace(made.layout, job=made.job.model_copy(update={"bit": worn}))
    carved = carve_piece(replace(made, layout=layout)).measured
    assert carved is not None
    chance = np.random.default_rng(17)
    read = np.round(
        carved.widths_mm[1 : len(depths) + 1, None] + chance.normal(0.0, 0.015, (len(depths), 3)), 2
    )
    rows = [{"depth": d, "widths": widths.tolist()} for d, widths in zip(depths, read, strict=True)]

    def found(**keys: Any) -> Fit:
        bit = {"angle": job.bit.angle_deg, "diameter": job.bit.diameter_mm, "shank": job.bit.shank_mm}
        return fit_widths(record_from(document_of({"bit": bit, "grooves": rows, **keys}), Widths))

    neither = found()
    low, high = neither.angle_ends_deg
    assert low <= TRUE_DEG <= high < 90.0
    by_tip, by_zero = (
        found(**{key: {"length": mm}}) for key, mm in (("tip", WORN_MM), ("deeper", DEEPER_MM))
    )
    assert by_tip.deeper_mm is not None
    for (value, off), true in ((by_tip.deeper_mm, DEEPER_MM), (by_zero.tip_mm, WORN_MM)):
        assert abs(value - true) <= neither.line.factor * off

    # The next groove, with the zero set as before, is as wide as the job then says.
    fitted = VBit(angle_deg=neither.angle_deg, tip_mm=neither.tip_mm[0], uncertainty=neither.spread)
    for depth in (0.8, 1.0, 2.0):
        comes = width_mm(worn, depth + DEEPER_MM)
        assert abs(width_mm(fitted, depth) - comes) <= uncertainty_mm(fitted, depth) < 0.04
        assert abs(width_mm(job.bit, depth) - comes) > uncertainty_mm(fitted, depth)
