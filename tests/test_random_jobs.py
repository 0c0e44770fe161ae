"""What Mizo writes is clean in its own dry run: a slice of the random jobs of the bench, and jobs that once were not."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent / "bench"))

from random_jobs import job_text, outcome

SEED = 20
STARTER = "piece: {width: 90, height: 90, thickness: 9, wood: cherry-black}\nmachine: small-desktop\n"
SMALL = "piece: {width: 60, height: 60, thickness: 9, wood: cherry-black}\nmachine: small-desktop\nbit: v60-3.175\n"
JOBS = {
    "levels of two depths": f"{SMALL}pattern: {{name: asanoha, pitch: 20}}\ngroove: {{ground: 1.2, leaf: 0.9, step: 0.5}}",
    **{
        f"a wide flat and little wall, {name}": f"{STARTER}pattern: {{name: {name}, pitch: 30, edge: plain}}\n"
        "groove: {depth: 0.25}\nbit: v30-tip02"
        for name in ("asanoha", "mie-kikko", "kaku-asanoha", "yae-asanoha")
    },
}


@pytest.mark.parametrize("number", range(36))
def test_a_random_job_is_clean(tmp_path: Path, number: int) -> None:
    """Whatever is written passes every check of the text and of the carved surface; each pattern has its turn."""
    file = tmp_path / "job.yaml"
    file.write_text(job_text(SEED, number))

    assert outcome(file).faults == ()


@pytest.mark.parametrize("name", JOBS)
def test_a_job_is_clean(tmp_path: Path, name: str) -> None:
    """These are written, and pass every check."""
    file = tmp_path / "job.yaml"
    file.write_text(JOBS[name])
    found = outcome(file)

    assert found.made is not None
    assert found.faults == ()
