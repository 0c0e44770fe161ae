"""What the report says of the land at the piece's edge."""

from __future__ import annotations

from pathlib import Path

import pytest

from vcarve.job.load import load_job
from vcarve.layout import lay_out
from vcarve.quantity import MM
from vcarve.report import land_findings

JOB = """
piece: {{width: 100 mm, height: 60 mm, thickness: 10 mm, wood: cherry-black}}
pattern: {{name: {name}, pitch: 20 mm, edge: plain, shift-x: {shift} mm}}
groove: {{depth: 1 mm}}
bit: {{angle: 90 deg, diameter: 6 mm, shank: 6 mm}}
machine: small-desktop
"""


@pytest.mark.parametrize(("shift", "expected"), [(0.0, 0), (18.7, 1), (5.0, 0)])
def test_a_groove_along_the_edge_is_a_caution_with_its_place(
    tmp_path: Path, shift: float, expected: int
) -> None:
    """Lines at odd tens of millimetres, moved: 50 - 30 - 18.7 less the half-width of 1 leaves 0.3 mm."""
    file = tmp_path / "job.yaml"
    file.write_text(JOB.format(name="ichimatsu", shift=shift))
    layout = lay_out(load_job(str(file), ()))
    found = [finding for finding in land_findings(layout, MM) if finding.code == "edge-sliver"]

    assert [finding.severity for finding in found] == ["caution"] * expected
    for finding in found:
        assert "0.3 mm" in finding.sentence
        assert finding.at_mm is not None
        assert finding.at_mm[0] == pytest.approx(48.7)
