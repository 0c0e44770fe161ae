"""The ``speeds`` command: figures worked out by hand, and the cautions of the job."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from vcarve.cli.main import cli

JOB = """\
piece: {width: 60 mm, height: 60 mm, thickness: 12 mm, wood: maple-sugar}
pattern: {name: asanoha, pitch: 20 mm}
groove: {depth: 1.5 mm}
bit: {angle: 90, diameter: 6.35, shank: 6.35, flutes: 2}
machine: gantry-router
"""


def ask(folder: Path, *words: str) -> Result:
    """Run the command on the job."""
    (folder / "job.yaml").write_text(JOB)
    return CliRunner().invoke(cli, ["speeds", str(folder / "job.yaml"), *words], catch_exceptions=False)


def test_figures_by_hand(tmp_path: Path) -> None:
    """600 mm/min, two edges, 10000 rpm: 0.03 mm a tooth; a right-angled bit 1.5 mm deep is 3 mm wide, 94.2 m/min there."""
    facts = json.loads(ask(tmp_path, "--set", "feed={cut: 600, spindle: 10000}", "--json").stdout)

    assert facts["chip_mm"] == pytest.approx(0.03)
    assert facts["chip_usual_mm"] == [0.02, 0.06]
    assert facts["cut_usual_mm_min"] == pytest.approx([400.0, 1200.0])
    assert facts["width_mm"] == pytest.approx(3.0)
    assert facts["surface_m_min"] == pytest.approx(math.pi * 3.0 * 10.0)
    assert facts["findings"] == []


@pytest.mark.parametrize(
    ("sets", "code", "severity"),
    [
        ("feed={cut: 100, spindle: 10000}", "chip", "caution"),
        ("feed={cut: 2000, spindle: 10000}", "chip", "caution"),
        ("feed={cut: 600, plunge: 700, spindle: 10000}", "plunge-fast", "caution"),
        ("feed.spindle=90000", "spindle-range", "refuse"),
        ("feed.cut=9000", "feed-too-fast", "refuse"),
        ("groove={depth: 2.9, step: 2.9}", "step-deep", "caution"),
    ],
)
def test_a_job_outside_the_range(sets: str, code: str, severity: str, tmp_path: Path) -> None:
    """The cautions and refusals are the very ones that the job has in every command."""
    facts = json.loads(ask(tmp_path, "--set", sets, "--json").stdout)

    assert (code, severity) in {(one["code"], one["severity"]) for one in facts["findings"]}


def test_a_job_that_must_not_be_cut_ends_with_one(tmp_path: Path) -> None:
    """Figures are told all the same; of a spindle that stands still there is no chip, and only what forbids it is told."""
    fast, still = (ask(tmp_path, "--set", f"feed.spindle={rpm}") for rpm in (90000, 0))

    assert (fast.exit_code, still.exit_code) == (1, 1)
    assert "spindle  90000 rpm" in fast.stdout
    assert still.stdout == ""
    assert still.stderr == (
        "must not be cut  The spindle is set to 0 rpm; that of gantry-router runs from 8000 to 24000 rpm. [spindle-range]\n"
    )
    assert ask(tmp_path).exit_code == 0


def test_a_chip_too_thin_to_be_written_is_not_none(tmp_path: Path) -> None:
    """At the least feed there is, the chip is told as less than its last decimal, and not as 0 mm."""
    told = ask(tmp_path, "--set", "feed={cut: 1, spindle: 10000}").stdout

    assert "chip     less than 0.001 mm for each of 2 cutting edges a turn" in told
    assert "takes less than 0.001 mm a turn" in told


def test_words_and_sources(tmp_path: Path) -> None:
    """Figures with their units, the sources, and that these are starting points."""
    text = ask(tmp_path, "--set", "feed={cut: 600, spindle: 10000}").stdout

    assert (
        "0.03 mm for each of 2 cutting edges a turn; usual in Hard maple (sugar maple) is 0.02 to 0.06 mm"
        in text
    )
    assert "94.2 m/min where the bit cuts widest, 3 mm across" in text
    assert "common practice for small spindles, no single source" in text
    assert "These are starting points" in text


def test_a_job_in_inches_has_its_surface_speed_in_feet(tmp_path: Path) -> None:
    """94.2 m/min are 309 feet a minute."""
    text = ask(tmp_path, "--set", "feed={cut: 600, spindle: 10000}", "--set", "units=inch").stdout

    assert "surface  309 ft/min where the bit cuts widest, 0.1181 in across" in text


def test_a_weak_machine_and_a_fine_tip(tmp_path: Path) -> None:
    """The step's share on a machine that is not stiff is told, and half the chip for a tip that breaks first."""
    text = ask(
        tmp_path, "--set", "machine=router-3018", "--set", "bit=v30-tip02", "--set", "groove.depth=0.5"
    ).stdout

    assert "% of the wood's 2 mm: the machine is not stiff" in text
    assert "usual in Hard maple (sugar maple) is 0.01 to 0.03 mm, half of it for so fine a tip" in text
