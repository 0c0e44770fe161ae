"""The ``fit`` command: from a table of widths to the bit as a job names it."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

from vcarve.cli.main import cli

TABLE = """\
title: oak, bit 3
bit: {angle: 60 deg, diameter: 6 mm, shank: 6 mm, tip: 0.2 mm}
read-to: 0.02 mm
grooves:
  - {depth: 0.5 mm, widths: [0.76 mm]}
  - {depth: 1.0 mm, widths: [1.32 mm]}
  - {depth: 1.5 mm, widths: [1.90 mm]}
  - {depth: 2.0 mm, widths: [2.44 mm]}
  - {depth: 2.5 mm, widths: [3.02 mm]}
  - {depth: 3.0 mm, widths: [3.56 mm]}
"""


def run(*words: str, text: str | None = None) -> Result:
    """Run the command line with words."""
    return CliRunner().invoke(cli, list(words), input=text)


def test_what_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Angle, tip, their uncertainties, what widths cannot tell, and the bit's line, which a job takes."""
    monkeypatch.chdir(tmp_path)
    Path("widths.yaml").write_text(TABLE)
    told = run("fit", "widths.yaml", "--picture", "fit.svg")

    assert told.exit_code == 0
    for words in (
        "angle     58.60° ± 0.24°, with its standard uncertainty",
        "95 %: 57.94° to 59.25°; the 60° it is sold as lie outside it",
        "tip       0.203 ± 0.011 mm: the tip's flat together with the error of the zero",
        "widths alone do not tell the two apart",
        "bit: {angle: 58.6 deg, diameter: 6 mm, shank: 6 mm, tip: 0.2027 mm, flutes: 2",
    ):
        assert words in told.stdout
    drawn = ElementTree.parse("fit.svg").getroot()
    assert (
        len([node for node in drawn.iter() if node.get("class") == "dot" and node.tag.endswith("circle")])
        == 12
    )
    line = next(row for row in told.stdout.splitlines() if row.strip().startswith("bit:"))
    assert run("new", "tile.yaml").exit_code == 0
    made = run(
        "program", "tile.yaml", "--set", f"bit={line.partition(':')[2].strip()}", "--set", "bit.shank=3.175"
    )
    assert "58.6° V" in made.stdout or made.exit_code == 0, made.output


def test_outliers_are_told_with_what_they_do() -> None:
    """A caution names groove and place, and says what the angle would be without it."""
    told = run("fit", "-", text=TABLE.replace("2.44 mm", "2.74 mm"))

    assert "groove 4, 2 mm deep: place 1, 2.74 mm, is 0.291 mm wider than the others say" in told.stdout
    assert "Without that the angle would be 58.6" in told.stdout


def test_figures_for_scripts() -> None:
    """The figures are those that are said, with the residuals."""
    told = json.loads(run("fit", "-", "--json", text=TABLE).stdout)

    assert told["angle_deg"] == pytest.approx(58.5973, abs=1e-4)
    assert told["factor_95"] == pytest.approx(2.776, abs=1e-3)
    assert sum(row["residual_mm"] for row in told["residuals_mm"]) == pytest.approx(0.0, abs=1e-9)


def test_a_measured_tip_gives_the_zero() -> None:
    """With the tip from the loupe the zero's error is told, and which way it lies."""
    told = run("fit", "-", text=f"{TABLE}tip: {{length: 0.1 mm, uncertainty: 0.02 mm}}\n").stdout

    assert "the bit went 0.091 ± 0.020 mm deeper than the program says" in told


def test_a_job_is_no_table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A job is told as what it is, and a table given where a job is wanted says which command reads it."""
    monkeypatch.chdir(tmp_path)
    assert run("new", "tile.yaml").exit_code == 0
    Path("widths.yaml").write_text(TABLE)

    assert "this is a job file" in run("fit", "tile.yaml").stderr
    assert (
        "this is a table of measured widths; 'mizo fit widths.yaml' reads it"
        in run("program", "widths.yaml").stderr
    )
