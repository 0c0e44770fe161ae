"""``mizo program`` from the outside: what it prints, writes and refuses."""

from __future__ import annotations

import html
import json
import math
import re
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from vcarve.cli.main import cli
from vcarve.plan.planner import FLOATS

JOB = """\
piece: {width: 40 mm, height: 30 mm, thickness: 8 mm, wood: maple-sugar}
title: try
pattern: {name: kaku-asanoha, pitch: 10 mm}
groove: {depth: 0.5 mm}
bit: v60-3.175
machine: small-desktop
"""


def run(*words: str, text: str | None = None) -> Result:
    """Run the command line with words."""
    return CliRunner().invoke(cli, list(words), input=text)


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a job file in a folder of its own, which is the working folder."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "tile.yaml"
    path.write_text(JOB)
    return path


def test_program_and_summary(job: Path) -> None:
    """The program is written, the summary printed, and the next step named."""
    done = run("program", "tile.yaml", "-o", "tile.nc", "--set", "groove.depth=0.6", "--set", "title=a b")

    assert done.exit_code == 0, done.output
    assert Path("tile.nc").read_bytes().startswith(b"(Mizo: a b)\n")
    assert done.stdout.startswith("a b\n")
    # 0.6 mm deep with a 60° bit: 2 x 0.6 x tan 30° = 0.693 mm
    assert "0.6 mm deep, 0.693 mm wide" in done.stdout
    assert "wrote tile.nc" in done.stdout
    next_step = "mizo dry-run tile.nc --job tile.yaml --set groove.depth=0.6 --set 'title=a b'"
    assert next_step in done.stdout


def test_the_plan_s_line(job: Path) -> None:
    """The last of the summary is the running time with its proof."""
    number = r"\d+(?:\.\d+)?"
    line = next(line for line in run("program", "tile.yaml").stdout.splitlines() if line.startswith("plan:"))

    assert re.fullmatch(
        rf"plan: (?:{number} s|\d+ min \d\d s); {number} % above the least possible, "
        r"\d+ % of the time of cutting cell by cell",
        line,
    )


def test_without_an_output_nothing_is_written(job: Path) -> None:
    """The summary alone is printed, and said to be all."""
    done = run("program", "tile.yaml")

    assert done.exit_code == 0
    assert "Nothing written" in done.stdout
    assert [p.name for p in job.parent.iterdir()] == ["tile.yaml"]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("machine", "bit", "said"),
    [
        ("gantry-router", "v90-6.35", "LinuxCNC rounds them by a rule of its own (G64)"),
        ("rs274-mill", "v90-6.35", "this controller may have another rule"),
        ("small-desktop", "v90-3.175", ""),
    ],
)
def test_what_the_time_takes_for_granted_of_corners(job: Path, machine: str, bit: str, said: str) -> None:
    """Where the controller slows at corners by another rule than the clock, summary, page and dry run say so."""
    words = ("--set", f"machine={machine}", "--set", f"bit={bit}")
    summary = run("program", "tile.yaml", "-o", "x.nc", "--page", "x.html", *words).stdout
    dry_run = run("dry-run", "x.nc", "--job", "tile.yaml", "--page", "y.html", *words).stdout
    figures = json.loads(run("program", "tile.yaml", "--json", *words).stdout)
    pages = [html.unescape(Path(name).read_text()) for name in ("x.html", "y.html")]

    for text in (summary, dry_run, figures["corners"], *pages):
        assert said in text
        assert ("junction deviation" in text) == bool(said)


def test_one_figure_for_lines_and_one_for_cutting(job: Path) -> None:
    """Lines count once and cutting once for each level, under the same two names in summary, header, picture, page and JSON."""
    words = ("program", "tile.yaml", "--set", "groove.step=0.2 mm", "-o", "t.nc", "--picture", "t.svg")
    done = run(*words, "--page", "t.html")
    figures = json.loads(run(*words, "--json").stdout)
    lines, cut = f"{figures['lines_mm']:.1f} mm", f"{figures['cut_mm']:.1f} mm"
    picture, page = (Path(name).read_text().replace("\u00a0", " ") for name in ("t.svg", "t.html"))
    told = f"{lines}, cut in 3 levels: {cut}"

    # Every line of one depth is cut in each of its levels.
    assert figures["levels"] == 3
    assert figures["cut_mm"] == pytest.approx(3.0 * figures["lines_mm"])
    assert f"lines     {told}; cell by cell the lines would be " in done.stdout
    assert f"(Cut: {cut} in " in Path("t.nc").read_text()
    assert f"lines: {told}" in re.sub(r"</text>\s*<text[^>]*>", " ", picture)
    assert f"<dt>Lines</dt><dd>{told}; cell by cell" in page
    assert "to cut" not in done.stdout + picture


def test_one_name_for_a_groove_and_for_the_zero(job: Path) -> None:
    """Frames and layers are called the same in summary, header, picture and page, and so is the corner where zero is."""
    job.write_text(
        JOB.replace("pitch: 10 mm}", "pitch: 10 mm, margin: 4 mm, frame: [{distance: 4 mm, depth: 1 mm}]}")
    )
    framed = run("program", "tile.yaml", "-o", "t.nc", "--picture", "t.svg", "--page", "t.html")
    Path("d.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
        '<g id="rim"><path d="M5 15 H35" fill="none" stroke="black"/></g></svg>'
    )
    drawing = "pattern={drawing: d.svg, edge: plain, depths: {rim: 0.7 mm}}"
    run("program", "tile.yaml", "--set", drawing, "--picture", "d-plan.svg")
    picture, page, layers = (
        re.sub(r"</text>\s*<text[^>]*>", " ", Path(name).read_text().replace("\u00a0", " "))
        for name in ("t.svg", "t.html", "d-plan.svg")
    )

    assert "frame: 1 mm deep, 1.155 mm wide" in framed.stdout
    assert "(Groove, frame: 1 mm deep, 1.155 mm wide)" in Path("t.nc").read_text()
    assert "frame: 1 mm deep, 1.155 mm wide" in picture
    assert "<dt>Groove, frame</dt><dd>1 mm deep, 1.155 mm wide</dd>" in page
    assert "layer rim: 0.7 mm deep" in layers
    zero = "X0 Y0 at the front left corner, Z0 on the top of the piece"
    assert f"zero: {zero}" in picture
    assert page.count(f"<dt>Zero</dt><dd>{zero}</dd>") == 2  # on the page and on its sheet
    assert "top of the wood" not in page
    assert "40 × 30 × 8 mm" in picture
    assert "40 × 30 × 8 mm" in page
    assert "(Piece: 40 x 30 x 8 mm" in Path("t.nc").read_text()


def test_a_piece_without_a_title_has_one_name(job: Path) -> None:
    """Summary, picture and page call it the same."""
    done = run("program", "tile.yaml", "--set", "title=", "--picture", "t.svg", "--page", "t.html")

    assert done.stdout.startswith("Untitled piece\n")
    assert "<title>Untitled piece</title>" in Path("t.svg").read_text()
    assert "<title>Untitled piece</title>" in Path("t.html").read_text()


def test_json(job: Path) -> None:
    """One JSON object with the figures and their kinds."""
    done = run("program", "tile.yaml", "--json")
    figures = json.loads(done.stdout)

    assert {
        "cells",
        "vertices",
        "edges",
        "lines_mm",
        "cut_mm",
        "recut_mm",
        "rapid_mm",
        "passes",
        "lifts",
        "grooves",
        "land_min_mm",
        "time_s",
        "plan_s",
        "bound_s",
        "extents_mm",
        "findings",
    } <= set(figures)
    width = pytest.approx(2 * 0.5 * 3**-0.5, abs=1e-6)
    assert figures["clean"] is True
    assert figures["grooves"] == [
        {"name": "ground and leaf", "depth_mm": 0.5, "width_mm": width, "width_off_mm": 0.0}
    ]
    assert figures["extents_mm"]["x"] == [0.0, 40.0]
    assert figures["extents_mm"]["z"] == [-0.5, 5.0]
    assert figures["lifts"] == figures["passes"] - 1
    assert figures["bound_s"] <= figures["plan_s"] * (1.0 + FLOATS)


def test_json_of_two_depths_has_the_same_shape(job: Path) -> None:
    """Each kind of groove is an object of its own, the deepest first."""
    sets = ("--set", "groove.depth=", "--set", "groove.ground=0.4", "--set", "groove.leaf=0.6")
    grooves = json.loads(run("program", "tile.yaml", *sets, "--json").stdout)["grooves"]

    assert [(one["name"], one["depth_mm"]) for one in grooves] == [("leaf", 0.6), ("ground", 0.4)]
    assert [one["width_mm"] for one in grooves] == pytest.approx([1.2 * 3**-0.5, 0.8 * 3**-0.5])


@pytest.mark.parametrize("change", ["groove.depth=9 mm", "groove.depth=2.7 mm"])
def test_json_of_a_refused_job(job: Path, change: str) -> None:
    """A job that must not be cut is JSON as well: not clean, with what was found; the words go to standard error."""
    done = run("program", "tile.yaml", "--json", "--set", change)
    told = json.loads(done.stdout)

    assert done.exit_code == 1
    assert told["clean"] is False
    assert "refuse" in {one["severity"] for one in told["findings"]}
    assert all(one["sentence"] in done.stderr for one in told["findings"])


def test_standard_input_and_output(job: Path) -> None:
    """With ``-`` the job is read from standard input and the program alone goes to standard output."""
    run("program", "tile.yaml", "-o", "tile.nc")
    done = run("program", "-", "-o", "-", text=JOB)
    as_json = run("program", "-", "-o", "-", "--json", text=JOB)

    assert done.exit_code == 0
    assert done.stdout_bytes == Path("tile.nc").read_bytes()
    assert done.stderr.startswith("try\n")
    assert json.loads(as_json.stderr)["title"] == "try"


def test_picture_and_page(job: Path) -> None:
    """A picture of the plan and the page that plays the program are written beside it."""
    done = run("program", "tile.yaml", "-o", "t.nc", "--picture", "t.svg", "--page", "t.html")

    assert done.exit_code == 0, done.output
    assert Path("t.svg").read_text().lstrip().startswith(("<svg", "<?xml"))
    assert Path("t.html").read_text().lower().startswith("<!doctype html>")
    assert [line for line in done.stdout.splitlines() if line.startswith("wrote")] == [
        "wrote t.nc",
        "wrote t.svg",
        "wrote t.html",
    ]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["-o", "tile.yaml"], "'tile.yaml': is read by this command"),
        (["-o", "t.nc", "--page", "./t.nc"], "'./t.nc': is named for two outputs"),
        (["-o", "-", "--picture", "-"], "'-': is named for two outputs"),
        (["-o", "no/t.nc", "--page", "t.html"], "'no/t.nc': cannot be written: there is no folder 'no'"),
        (["-o", "t.nc", "--page", "."], "'.': this is a folder"),
        (
            ["-o", "t.nc", "--picture", "t.png"],
            "'t.png': this is for a picture of the plan; its name must end in .svg",
        ),
        (["-o", "t.nc", "--set", "groove.deep=1"], "did you mean 'depth'?"),
        (["-o", "t.nc", "--set", "groove.depth"], "groove.depth"),
    ],
)
def test_wrong_calls_change_nothing(job: Path, words: list[str], sentence: str) -> None:
    """Each wrong call is told with exit code 2, and no file is written or changed."""
    done = run("program", "tile.yaml", *words)

    assert done.exit_code == 2
    assert sentence in done.stderr
    assert "Nothing was written." in done.stderr
    assert done.stdout == ""
    assert [p.name for p in job.parent.iterdir()] == ["tile.yaml"]
    assert job.read_text() == JOB


@pytest.mark.parametrize(
    ("pattern", "told"),
    [
        ("{name: kaku-asanohu, pitch: 10 mm}", "tile.yaml:3: pattern.name: 'kaku-asanohu': unknown pattern"),
        ("{name: asanoha, pitch: 0.001 mm}", "tile.yaml:3: pattern.pitch: '0.001 mm': "),
        ("{drawing: no.svg}", "no.svg: "),
    ],
)
def test_what_is_found_later_names_file_and_line(job: Path, pattern: str, told: str) -> None:
    """A value that is only found wrong when the pattern is laid out is told with its place all the same."""
    job.write_text(JOB.replace("{name: kaku-asanoha, pitch: 10 mm}", pattern))
    program, lines = run("program", "tile.yaml", "-o", "t.nc"), run("lines", "tile.yaml", "-o", "t.svg")

    assert (program.exit_code, lines.exit_code) == (2, 2)
    assert told in program.stderr
    assert told in lines.stderr


def test_nothing_to_write_is_not_said_of_commands_that_only_tell() -> None:
    """A wrong question at the bench is answered without a word of files."""
    assert "written" not in run("width", "--angle", "steep").stderr


@pytest.mark.slow
def test_a_job_that_must_not_be_cut(job: Path) -> None:
    """Every finding at once, exit code 1, and the former program stays byte for byte."""
    Path("tile.nc").write_bytes(b"former")
    changes = ["piece.width=400 mm", "groove.depth=9 mm", "feed.cut=5000", "machine=router-3018"]
    words = [word for change in changes for word in ("--set", change)]
    done = run("program", "tile.yaml", "-o", "tile.nc", "--picture", "tile.svg", *words)
    codes = re.findall(r"must not be cut .*\[([a-z-]+)\]", done.stderr)

    assert done.exit_code == 1
    assert set(codes) == {"travel", "bit-too-short", "through-the-piece", "feed-too-fast", "land-lost"}
    assert Path("tile.nc").read_bytes() == b"former"
    assert "No program was written. See tile.svg, marked 'must not be cut'." in done.stderr


def test_lines_drawn_twice_are_one_caution_with_its_first_places(job: Path) -> None:
    """Two squares on each other, shifted on a piece with its zero at the corner: one line, the places counted from there."""
    square = '<path d="M10 10H30V30H10Z" fill="none" stroke="black"/>'
    Path("d.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="40mm" viewBox="0 0 40 40">'
        f"{square}{square}</svg>"
    )
    job.write_text(
        JOB.replace("height: 30 mm", "height: 40 mm").replace(
            "{name: kaku-asanoha, pitch: 10 mm}", "{drawing: d.svg, edge: plain, shift-x: 2 mm}"
        )
    )
    words = ("program", "tile.yaml")
    lines = [line for line in run(*words).stdout.splitlines() if "[doubled-line]" in line]
    found = json.loads(run(*words, "--json").stdout)["findings"]
    places = {(22.0, 30.0), (32.0, 20.0), (22.0, 10.0), (12.0, 20.0)}

    assert len(lines) == 1
    assert (
        "drawn more than once, and cut once: at X 22, Y 30; X 32, Y 20; X 22, Y 10 mm and elsewhere"
        in lines[0]
    )
    assert "(4 places)" in lines[0]
    assert {tuple(one["at_mm"]) for one in found if one["code"] == "doubled-line"} == places


def test_places_for_scripts_count_from_the_zero(job: Path) -> None:
    """A finding of program and dry run lies where the extents have it: a place on the clamp, from the front left corner."""
    job.write_text(CLAMPED)
    made = json.loads(run("program", "tile.yaml", "--json").stdout)
    Path("bare.yaml").write_text(JOB)
    run("program", "bare.yaml", "-o", "t.nc")
    judged = json.loads(run("dry-run", "t.nc", "--job", "tile.yaml", "--json").stdout)

    for figures in (made, judged):
        low, high = zip(*(figures["extents_mm"][axis] for axis in "xy"), strict=True)
        places = [one["at_mm"] for one in figures["findings"] if one["code"] == "clamp"]
        assert places
        for x, y in places:
            assert low[0] <= x <= high[0]
            assert low[1] <= y <= high[1]
            assert not 9.0 < x < 31.0  # a clamp and the bit's own width
            assert 3.0 <= y <= 19.0


def test_findings_come_in_one_order(job: Path) -> None:
    """What is said of the job is told in the same order with its program and with its dry run."""
    changes = ["feed.cut=80 mm/min", "feed.plunge=90 mm/min", "groove.depth=1.5 mm", "groove.step=1.5 mm"]
    changes += ["pattern.pitch=5 mm", "groove.lost-land=allow"]
    words = ("tile.yaml", *(word for change in changes for word in ("--set", change)))
    made = json.loads(run("program", *words, "-o", "t.nc", "--json").stdout)["findings"]
    judged = json.loads(run("dry-run", "t.nc", "--job", *words, "--json").stdout)["findings"]
    codes = [one["code"] for one in made]

    assert len(set(codes)) >= 3
    assert [one["code"] for one in judged][: len(codes)] == codes


CLAMPED = (
    JOB
    + """\
clamps:
  - {x: -5 mm, y: 5 mm, width: 12 mm, height: 12 mm, above: 4 mm}
  - {x: 33 mm, y: 5 mm, width: 12 mm, height: 12 mm, above: 4 mm}
"""
)


def test_a_refused_job_can_be_looked_at(job: Path) -> None:
    """No program, but picture and page, each marked in words, and one line for each clamp with the number of places."""
    job.write_text(CLAMPED)
    done = run("program", "tile.yaml", "-o", "t.nc", "--picture", "t.svg", "--page", "t.html", "--json")
    figures = json.loads(done.stdout)
    lines = [line for line in done.stderr.splitlines() if line.endswith("[clamp]")]
    places = [int(re.search(r"\((\d+) places\)", line)[1]) for line in lines]  # type: ignore[index]

    assert done.exit_code == 1
    assert not Path("t.nc").exists()
    assert "No program was written. See t.svg and t.html, marked 'must not be cut'." in done.stderr
    assert len(lines) == 2
    assert sum(places) == sum(1 + one["more"] for one in figures["findings"] if one["code"] == "clamp") > 20
    assert ">Must not be cut<" in Path("t.svg").read_text()
    page = Path("t.html").read_text()
    assert "<title>Must not be cut: try</title>" in page
    assert page.count("Must not be cut: 2 reasons") == 2  # on the page and on its bench sheet


@pytest.mark.parametrize(
    ("changes", "sentences"),
    [
        (("groove.depth=20",), {"bit-too-short": 1, "through-the-piece": 1}),
        (("feed.cut=9000", "feed.spindle=30000"), {"feed-too-fast": 1, "spindle-range": 1}),
    ],
)
def test_what_the_job_is_refused_for_is_not_told_of_every_line(
    job: Path, changes: tuple[str, ...], sentences: dict[str, int]
) -> None:
    """Each reason has one sentence."""
    done = run("program", "tile.yaml", *(word for change in changes for word in ("--set", change)))
    codes = Counter(re.findall(r"must not be cut .*\[([a-z-]+)\]", done.stderr))

    assert done.exit_code == 1
    assert {code: codes[code] for code in sentences} == sentences


def test_no_line_is_named_of_a_program_that_is_not_written(job: Path) -> None:
    """Terminal, picture and JSON keep to the place on the piece; the page, which plays the program, has its lines."""
    job.write_text(CLAMPED)
    done = run("program", "tile.yaml", "-o", "t.nc", "--picture", "t.svg", "--page", "t.html", "--json")
    found = json.loads(done.stdout)["findings"]

    assert [one["code"] for one in found if one["at_mm"] is None and one["severity"] == "refuse"] == []
    assert [one["line"] for one in found if one["line"] is not None] == []
    assert not re.search(r"line \d", done.stderr + Path("t.svg").read_text())
    assert re.search(r"line \d", Path("t.html").read_text())


@pytest.mark.slow
@pytest.mark.parametrize(
    ("change", "code"),
    [
        ("machine=gantry-router", "clamp"),
        ("groove.depth=9", "through-the-piece"),
        ("groove.step=0.0001", "step-too-small"),
        ("groove.depth=0.00001", "too-shallow"),
        ("piece.width=900", "travel"),
        ("clamps.0.above=30", "clamp"),
        ("feed.cut=90000", "feed-too-fast"),
        ("feed.spindle=99000", "spindle-range"),
        ("pattern.pitch=2", "land-lost"),
        ("bit=v90-12.7", "collet"),
    ],
)
def test_whatever_refuses_a_job_every_stage_is_heard(job: Path, change: str, code: str) -> None:
    """What the numbers alone forbid does not hide what the dry run finds, and picture and page are there."""
    job.write_text(CLAMPED)
    done = run("program", "tile.yaml", "--set", change, "--picture", "t.svg", "--page", "t.html")

    assert done.exit_code == 1
    assert f"[{code}]" in done.stderr
    assert "The bit runs into the clamp" in done.stderr
    assert Path("t.svg").exists()
    assert Path("t.html").exists()


@pytest.mark.slow
def test_cautions_are_told_in_the_same_words_everywhere(job: Path) -> None:
    """Summary, JSON, picture, page, the page of the dry run and its terminal lines all give a caution's sentence."""
    words = ("--set", "piece.thickness=1.2 mm")
    made = run("program", "tile.yaml", *words, "-o", "t.nc", "--picture", "t.svg", "--page", "t.html")
    told = run("program", "tile.yaml", *words, "--json")
    dry = run("dry-run", "t.nc", "--job", "tile.yaml", *words, "--page", "d.html")
    sentences = [one["sentence"] for one in json.loads(told.stdout)["findings"]]
    pages = [html.unescape(Path(name).read_text()) for name in ("t.svg", "t.html", "d.html")]
    flat = [" ".join(text.split()) for text in (made.stdout, dry.stdout, *pages)]

    assert "Only 0.7 mm of wood is left under the deepest groove." in sentences
    assert [(sentence, text[:80]) for text in flat for sentence in sentences if sentence not in text] == []
    assert all("Every check passed" not in text for text in flat)


@pytest.mark.slow
@pytest.mark.parametrize(
    "title",
    [
        "); G0 Z-50",
        "(MSG, hello)",
        "x) G0 Z-50 (y",
        "%",
        "MSG, " * 20,
        "; G0 Z-50",
        "\N{GRINNING FACE} \u202eleft",
        "z" * 200,
    ],
)
def test_a_title_cannot_become_code(job: Path, title: str, rs274: Any) -> None:
    """With any title the program's code is the same as with a plain one, and the interpreter makes the same moves."""
    usual = run("program", "tile.yaml", "-o", "-")
    assert usual.exit_code == 0, usual.stderr
    plain = usual.stdout
    odd = run("program", "tile.yaml", "-o", "-", "--set", f"title={json.dumps(title)}")
    code = [line for line in odd.stdout.splitlines() if not re.fullmatch(r"\([^()]*\)", line)]

    if odd.exit_code == 2:  # refused before it got anywhere: as good
        assert "title" in odd.stderr
        return
    assert odd.exit_code == 0, odd.stderr
    assert code == [line for line in plain.splitlines() if not re.fullmatch(r"\([^()]*\)", line)]
    ran = rs274(odd.stdout)
    assert (ran.accepted, ran.message) == (True, "")
    assert ran.moves == rs274(plain).moves
    assert not [call for call in ran.calls if call[0] == "MESSAGE"]


def test_clamps_raise_the_hop(job: Path) -> None:
    """The bit crosses between passes a millimetre above the tallest clamp, and the summary says so."""
    clamps = "clamps=[{x: -12, y: 10, width: 10, height: 8, above: 3}]"
    done = run("program", "tile.yaml", "-o", "t.nc", "--set", clamps, "--set", "plan.recut=never")

    assert done.exit_code == 0, done.output
    assert "of 4 mm to clear the clamps" in done.stdout
    assert "G0 Z4" in Path("t.nc").read_text().splitlines()


@pytest.mark.parametrize("edge", ["plain", "groove"])
def test_a_frame_at_the_margin_is_cut(job: Path, edge: str) -> None:
    """A frame as far in as the margin borders the pattern all round, whatever becomes of lines on the piece's edge."""
    pattern = f"{{name: sayagata, pitch: 5, edge: {edge}, margin: 4 mm"
    lengths = []
    for frame in ("}", ", frame: [{distance: 4 mm}]}"):
        done = run(
            "program",
            "tile.yaml",
            "--json",
            "--set",
            f"pattern={pattern}{frame}",
            "--set",
            "groove.depth=0.2",
        )
        assert done.exit_code == 0, done.output
        lengths.append(json.loads(done.stdout)["cut_mm"])

    assert lengths[1] >= 2 * (32 + 22)
    assert lengths[1] - lengths[0] <= 2 * (32 + 22) + 1e-6
    if edge == "plain":  # nothing of the frame was there before
        assert lengths[1] - lengths[0] == pytest.approx(2 * (32 + 22), abs=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("shape", "frames", "length"),
    [
        ("rectangle", "{distance: 3 mm}", 2 * (34 + 24)),
        ("rectangle", "{distance: 3 mm}, {distance: 3 mm}", 2 * (34 + 24)),
        ("rectangle", "{distance: 3 mm}, {distance: 1 mm, depth: 0.3 mm}", 2 * (34 + 24) + 2 * (38 + 28)),
        ("rounded, radius: 5 mm", "{distance: 3 mm}", 2 * (34 + 24) - 8 * 2 + 4 * math.pi),
    ],
)
def test_a_frame_outside_the_margin_leaves_a_plain_band(
    job: Path, shape: str, frames: str, length: float
) -> None:
    """The pattern stays as it is without the frame, and the frame's own length comes on top."""
    plain, framed = (
        json.loads(
            run(
                *("program", "tile.yaml", "--json", "--set", f"piece.outline={{shape: {shape}}}"),
                *("--set", f"pattern={{name: sayagata, pitch: 5, margin: 5 mm, frame: [{frame}]}}"),
            ).stdout
        )
        for frame in ("", frames)
    )

    assert framed["clean"]
    assert framed["cells"] == plain["cells"]
    assert framed["cut_mm"] - plain["cut_mm"] == pytest.approx(length, abs=1e-4)
    assert framed["extents_mm"]["x"][0] == pytest.approx(3.0 if "1 mm" not in frames else 1.0)


def test_lines_that_close_no_cell(job: Path) -> None:
    """Where no cell has grooves all round nothing is compared with cutting cell by cell; what there is none of is not said."""
    Path("one.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
        '<path d="M5 15 H35" fill="none" stroke="black"/></svg>'
    )
    job.write_text(JOB.replace("{name: kaku-asanoha, pitch: 10 mm}", "{drawing: one.svg, edge: plain}"))
    done = run("program", "tile.yaml")

    assert done.exit_code == 0, done.output
    assert "drawing one.svg; 1 cell, 1 edge, 2 vertices" in done.stdout
    assert "lines     30.0 mm, each cut once\n" in done.stdout
    assert "1 pass, no lifts; " in done.stdout
    assert "cell by cell" not in done.stdout
    assert " 0.0 mm" not in done.stdout
    assert re.search(r"^plan: \S+ s; 0\.0 % above the least possible$", done.stdout, re.MULTILINE)
