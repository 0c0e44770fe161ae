"""The ``coupon`` and ``fit`` commands: from a job to grooves to measure, and from their widths to the bit."""

from __future__ import annotations

import json
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

from vcarve.cli.main import cli
from vcarve.groove.width import VBit, width_mm

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
        "bit: {angle: 58.6 deg, diameter: 6 mm, shank: 6 mm, tip: 0.2027 mm, flutes: 2, "
        "uncertainty: {angle: 0.653 deg, tip: 0.0292 mm, correlation: -0.899}}",
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
    assert made.exit_code == 0, made.output
    assert "0.8 mm deep, 1.101 ± 0.019 mm wide" in made.stdout


def test_outliers_are_told_with_what_they_do() -> None:
    """A caution names groove and place, and says what the angle would be without it."""
    told = run("fit", "-", text=TABLE.replace("2.44 mm", "2.74 mm"))

    assert "groove 4, 2 mm deep: place 1, 2.74 mm, is 0.291 mm wider than the others say" in told.stdout
    assert "Without that the angle would be 58.6" in told.stdout


def test_a_zero_that_was_too_high_is_told() -> None:
    """Grooves narrower than a sharp tip makes them: a caution says by how much, and what to mend first."""
    rows = "".join(f"  - {{depth: {d}, widths: [{1.1 * (d - 0.1):.3f}]}}\n" for d in (0.5, 1.0, 1.5, 2.0))
    table = f"{TABLE[: TABLE.index('  - ')]}{rows}"

    assert (
        "it went 0.1 mm or more less deep than the program says. The zero was too high"
        in run("fit", "-", text=table).stdout
    )
    assert "too high" not in run("fit", "-", text=TABLE).stdout


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
    assert (
        "It holds for this bit as it is ground now, where the zero is right: here it was 0.091 mm too low."
        in told
    )


def test_a_zero_that_contradicts_the_widths_is_told() -> None:
    """A zero touched again by which the tip would be less than nothing is doubted, and no other."""
    told = run("fit", "-", text=f"{TABLE}deeper: {{length: 0.4 mm, uncertainty: 0.02 mm}}\n").stdout

    assert "With that zero the tip would be 0.246 mm less than nothing: touch it again." in told
    assert "less deep than" not in told


def test_a_rounded_tip_is_told_by_its_radius() -> None:
    """Of a rounded tip the summary tells the radius, as the job's bit has it."""
    rows = "".join(f"  - {{depth: {d}, widths: [{1.1 * d + 0.2:.3f}]}}\n" for d in (0.5, 1.0, 1.5, 2.0))
    table = f"{TABLE[: TABLE.index('  - ')]}{rows}".replace("tip: 0.2", "tip-radius: 0.2").replace(
        "0.02", "0.01"
    )
    told = run("fit", "-", text=table).stdout

    assert "rounded to 0.169 ± 0.003 mm: the tip's radius together with the error of the zero" in told
    assert "tip-radius: 0.1691 mm" in told


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


@pytest.fixture
def tile(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """Return the name of a job in an empty folder."""
    monkeypatch.chdir(tmp_path)
    assert run("new", "tile.yaml").exit_code == 0
    return "tile.yaml"


def test_from_the_coupon_to_the_bit(tile: str) -> None:
    """Program, sheet and empty table are written; the table, filled with a bit's own widths, gives that bit."""
    told = run("coupon", tile, "-o", "c.nc", "--sheet", "c.html", "--table", "widths.yaml")
    assert told.exit_code == 0, told.output
    assert "strip     60 × 25 mm or larger" in told.stdout
    assert run("dry-run", "c.nc").exit_code == 0
    empty = run("fit", "widths.yaml")
    assert empty.exit_code == 2
    assert "widths of 3 grooves or more are wanted" in empty.stderr

    bit = VBit(angle_deg=57.6, tip_mm=0.12)
    lines = Path("widths.yaml").read_text(encoding="utf-8").splitlines()
    for number, line in enumerate(lines):
        if deep := re.search(r"depth: ([\d.]+) mm", line):
            lines[number] = line.replace("[]", f"[{width_mm(bit, float(deep[1])):.3f} mm]")
    Path("widths.yaml").write_text("\n".join(lines), encoding="utf-8")
    found = json.loads(run("fit", "widths.yaml", "--json").stdout)

    assert len(found["residuals_mm"]) == 10
    assert found["angle_deg"] == pytest.approx(57.6, abs=0.05)
    assert found["tip_mm"] == pytest.approx(0.12, abs=0.002)


def test_the_sheet_has_every_groove_and_escapes_titles(tile: str) -> None:
    """Depth and expected width of each groove stand on the sheet, with a place for each reading; a title is text."""
    run("coupon", tile, "--sheet", "c.html", "--set", "title=a <b> & c")
    page = Path("c.html").read_text(encoding="utf-8")

    assert page.count("<tr><td>") == 10
    assert "<tr><td>1</td><td>0.75\u00a0mm</td><td>0.87</td><td></td><td></td><td></td></tr>" in page
    assert "a &lt;b&gt; &amp; c" in page
    assert "<b>" not in page
    wide = re.findall(r'<path class="cut"[^>]*stroke-width="([\d.]+)"', page)
    assert wide[:6] == ["0.87", "0.87", "1.33", "1.85", "2.31", "2.77"]


def test_a_table_that_is_there_is_kept(tile: str) -> None:
    """Widths that were written down are not written over without being asked."""
    assert run("coupon", tile, "--table", "widths.yaml").exit_code == 0
    again = run("coupon", tile, "--table", "widths.yaml", "-o", "c.nc")

    assert again.exit_code == 2
    assert "is there already" in again.stderr
    assert not Path("c.nc").exists()
    assert run("coupon", tile, "--table", "widths.yaml", "--force").exit_code == 0


def test_a_coupon_that_must_not_be_cut_is_not_written(tile: str) -> None:
    """Findings refuse a coupon as they refuse a program."""
    told = run("coupon", tile, "--set", "bit=v60-6.35", "-o", "c.nc")

    assert told.exit_code == 1
    assert "[collet]" in told.stderr
    assert not Path("c.nc").exists()


def test_the_coupon_in_figures(tile: str) -> None:
    """Size, depths and findings for scripts; the program goes to standard output."""
    told = run("coupon", tile, "--json", "--size", "45 x 25 mm")
    figures = json.loads(told.stdout)

    assert figures["size_mm"] == [45.0, 25.0]
    assert [row["groove"] for row in figures["grooves"]] == [1, 2, 3, 4, 5, 6]
    assert figures["clean"]
    assert run("coupon", tile, "-o", "-").stdout.endswith("M5\nM2\n")
