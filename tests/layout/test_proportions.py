"""Values that can be cut and make little sense: one caution each."""

from __future__ import annotations

from pathlib import Path

import pytest

from vcarve.job.records import load_job
from vcarve.layout.findings import job_findings
from vcarve.layout.stages import lay_out

JOB = """
piece: {width: 90 mm, height: 90 mm, thickness: 9 mm, wood: cherry-black}
pattern: {name: shippo, pitch: 30 mm}
groove: {depth: 0.8 mm}
bit: v60-3.175
machine: small-desktop
"""


def found(tmp_path: Path, *sets: str) -> dict[str, str]:
    """Return code and sentence of what is found of a job of 3 by 3 circles with values changed."""
    file = tmp_path / "job.yaml"
    file.write_text(JOB)
    job = load_job(str(file), sets)
    return {finding.code: finding.sentence for finding in job_findings(lay_out(job))}


def test_a_usual_job_has_none(tmp_path: Path) -> None:
    """A pitch that the pattern is drawn for, and grooves 0.9 mm wide."""
    assert found(tmp_path) == {}


@pytest.mark.parametrize(
    ("sets", "said"),
    [
        (["pattern.pitch=85"], "only 1 whole cell on the piece"),
        (["pattern={name: ajiro, pitch: 29}"], "no whole cell on the piece"),
        (["pattern.margin=36"], "A pitch of 30 mm leaves no whole cell inside the margin of 36 mm"),
        (
            ["pattern={name: ichimatsu, pitch: 61}", "piece.width=300", "piece.height=300"],
            "A pitch of 61 mm is more than usual; ichimatsu usually has 5 mm to 60 mm",
        ),
    ],
)
def test_a_pitch_far_from_the_patterns_own_is_a_caution(tmp_path: Path, sets: list[str], said: str) -> None:
    """Too large, or so large for the piece that hardly a cell is whole: the usual range is named."""
    [sentence] = [s for code, s in found(tmp_path, *sets).items() if code == "pitch-unusual"]

    assert said in sentence
    assert "usually has" in sentence


def test_whole_cells_at_the_edge_count(tmp_path: Path) -> None:
    """Four squares that fill the piece are whole, though each touches its edge."""
    assert "pitch-unusual" not in found(tmp_path, "pattern={name: ichimatsu, across: 2}")


def test_a_pitch_below_the_usual_is_left_to_its_land(tmp_path: Path) -> None:
    """Where a small pitch leaves sound land there is nothing to say."""
    assert found(tmp_path, "pattern.pitch=9", "piece.width=81", "piece.height=81") == {}


def test_a_pitch_too_small_is_said_once(tmp_path: Path) -> None:
    """Where the land is spoken of, that is enough."""
    codes = found(tmp_path, "pattern.pitch=3")

    assert "pitch-unusual" not in codes
    assert {"weak-island", "land-lost", "land-vanished"} & set(codes)


def test_a_groove_too_narrow_to_see_is_a_caution(tmp_path: Path) -> None:
    """0.05 mm deep is 0.058 mm wide at 60°; 0.09 mm is 0.104 mm."""
    assert "0.058 mm wide" in found(tmp_path, "groove.depth=0.05")["groove-hairline"]
    assert "groove-hairline" not in found(tmp_path, "groove.depth=0.09")
