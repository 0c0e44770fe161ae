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
        "uncertainty: {angle: 0.653 deg, tip: 0.0292 mm, correlation: -0.8987}}",
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


def test_a_table_in_inches(tile: str) -> None:
    """Where a job speaks inches its table does, with their unit, and its readings give the bit in inches."""
    assert run("coupon", tile, "--table", "widths.yaml", "--set", "units=inch").exit_code == 0
    table = Path("widths.yaml").read_text(encoding="utf-8")
    assert "read-to: 0.0005 in" in table
    assert "widths such as [0.044 in, 0.043 in, 0.044 in]" in table
    bit = VBit(angle_deg=57.6, tip_mm=0.12)

    def filled(row: re.Match[str]) -> str:
        return f"depth: {row[1]} in, widths: [{width_mm(bit, float(row[1]) * 25.4) / 25.4:.4f} in]"

    told = run("fit", "-", text=re.sub(r"depth: ([\d.]+) in, +widths: \[\]", filled, table)).stdout

    assert re.search(r"angle     57\.[56]\d°", told)
    assert "tip       0.0047 ± 0.000" in told


@pytest.mark.parametrize(("bit", "what"), [("v60-3.175", "flat"), ("v60-ball25", "radius")])
def test_the_table_asks_for_the_tip_that_the_bit_has(tile: str, bit: str, what: str) -> None:
    """Of a rounded tip its radius is to be measured, of another one its flat."""
    assert (
        run(
            "coupon", tile, "--table", "w.yaml", "--set", f"bit={bit}", "--set", "machine=gantry-router"
        ).exit_code
        == 0
    )

    assert f"# the {what} of the tip, under a loupe" in Path("w.yaml").read_text(encoding="utf-8")


def test_a_zero_on_the_bed_wants_a_strip_as_thick_as_the_piece(tile: str) -> None:
    """With Z0 on the bed a thinner off-cut would be cut less deep: summary and sheet say how thick it must be."""
    told = run("coupon", tile, "--set", "zero.z=bed", "--sheet", "c.html").stdout

    assert "strip     60 × 25 mm or larger, 9 mm thick as the piece, of the same board" in told
    assert "60 × 25 mm or larger, 9 mm thick as the piece, planed flat" in Path("c.html").read_text(
        "utf-8"
    ).replace("\u00a0", " ")


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


SPEED = "a spindle speed is wanted, such as 12000 rpm or 12000"
NEAR = "did you mean one of v60-3.175, v60-6.35, v60-12.7, v60-ball25?"
CALLS = [
    (["coupon", "none.yaml"], 2, "wrong  none.yaml: cannot be read: there is no such file"),
    (["speeds", "none.yaml"], 2, "wrong  none.yaml: cannot be read: there is no such file"),
    (["fit", "none.yaml"], 2, "wrong  none.yaml: cannot be read: there is no such file"),
    (["coupon", "."], 2, "wrong  .: cannot be read: it is a folder"),
    (["fit", "tile.yaml"], 2, "wrong  'tile.yaml': this is a job file; 'mizo program tile.yaml' makes its program"),
    (["speeds", "widths.yaml"], 2, "wrong  'widths.yaml': this is a table of measured widths; 'mizo fit widths.yaml' reads it"),
    (
        ["coupon", "tile.yaml", "--size", "80"],
        2,
        "wrong  --size: '80': a length and a width are wanted, such as 80 x 25 mm",
    ),
    (
        ["coupon", "tile.yaml", "--size", "30 x 20"],
        2,
        "wrong  --size: '30 × 20 mm': too small for a coupon of this bit: 34 mm by 22 mm or more is wanted",
    ),
    (
        ["coupon", "tile.yaml", "-o", "tile.yaml"],
        2,
        "wrong  'tile.yaml': is read by this command; write to another file\nNothing was written.",
    ),
    (
        ["coupon", "tile.yaml", "-o", "c.nc", "--sheet", "c.nc"],
        2,
        "wrong  'c.nc': is named for two outputs; each needs a place of its own\nNothing was written.",
    ),
    (
        ["coupon", "tile.yaml", "--table", "widths.yaml"],
        2,
        "wrong  'widths.yaml': is there already; give another name, or --force to write over it\nNothing was written.",
    ),
    (
        ["coupon", "tile.yaml", "--sheet", "c.pdf"],
        2,
        "wrong  'c.pdf': this is for a page; its name must end in .html or .htm\nNothing was written.",
    ),
    (
        ["fit", "widths.yaml", "--picture", "widths.yaml"],
        2,
        "wrong  'widths.yaml': is read by this command; write to another file\nNothing was written.",
    ),
    (["speeds", "tile.yaml", "--set", "feed.spindle=fast"], 2, f"wrong  --set feed.spindle: 'fast': {SPEED}"),
    (["speeds", "tile.yaml", "--set", "bit=v61"], 2, f"wrong  --set bit: 'v61': unknown bit; {NEAR}"),
    (
        ["coupon", "tile.yaml", "--set", "piece.thickness=0.3", "-o", "c.nc"],
        2,
        "wrong  piece.thickness: grooves of 0.18 mm at most are sound in 0.3 mm: too little for a coupon's steps\n"
        "Nothing was written.",
    ),
    (
        ["coupon", "tile.yaml", "--set", "feed.cut=9000", "-o", "c.nc"],
        1,
        "must not be cut  The cutting feed is 9000 mm/min; small-desktop cuts at 1000 mm/min at most. [feed-too-fast]\n"
        "Nothing was written.",
    ),
]  # fmt: skip


@pytest.mark.parametrize(
    ("words", "code", "said"), CALLS, ids=lambda value: "_".join(value) if isinstance(value, list) else ""
)
def test_wrong_calls(tile: str, words: list[str], code: int, said: str) -> None:
    """Each is answered with one whole sentence, and no file is written or changed."""
    Path("widths.yaml").write_text(TABLE)
    before = {path.name: path.read_bytes() for path in Path().iterdir()}
    told = run(*words)

    assert (told.exit_code, told.stdout, told.stderr) == (code, "", f"{said}\n")
    assert {path.name: path.read_bytes() for path in Path().iterdir()} == before
