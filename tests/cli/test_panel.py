"""The ``panel`` command: a folder with everything, whole or not at all, and what is said of wrong panels."""

from __future__ import annotations

import json
import os
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

from panel_files import CHECKER
from vcarve.cli.main import cli
from vcarve.errors import InputError
from vcarve.files import write_folder
from vcarve.job.records import load_job
from vcarve.pipeline import plan_program

QUICK = ("--set", "pattern={name: hishi, pitch: 40}", "--set", "groove.depth=1")
FILES = ["panel.svg", "sheet.html", "tile-A-maple-sugar.nc", "tile-B-walnut-black.nc"]
JOB = """\
piece: {width: 100 mm, height: 100 mm, thickness: 12 mm, wood: walnut-black}
title: Checker of hemp leaves, tile B
pattern: {name: kaku-asanoha, across: 2}
groove: {depth: 2 mm}
bit: v90-6.35
machine: rs274-mill
"""


@pytest.fixture(autouse=True)
def there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Work in a folder with a panel's file."""
    monkeypatch.chdir(tmp_path)
    Path("panel.yaml").write_text(CHECKER, encoding="utf-8")


def run(*words: str) -> Result:
    """Run the command with the panel's file."""
    return CliRunner().invoke(cli, ["panel", "panel.yaml", *words])


def test_the_checker_of_two_woods() -> None:
    """Nine tiles, five and four of a wood: two programs, a cutting list with mitred bars, times, a picture, a sheet."""
    told = run("-o", "out", "--set", "moisture={now: 10 %, least: 7 %, most: 13 %}")

    assert told.exit_code == 0, told.output
    assert sorted(os.listdir("out")) == FILES
    lines = {
        line.split("  ")[1]: line.strip().split("  ")[-1].strip()
        for line in told.output.splitlines()
        if line.startswith("  ")
    }
    assert lines["panel"] == "346 × 346 mm, 3 by 3 tiles, gap 1.5 mm"
    assert lines["5 tiles"] == "100 × 100 × 12 mm, Hard maple (sugar maple), grain along its width"
    assert lines["4 tiles"] == "100 × 100 × 12 mm, Black walnut, grain along its width"
    # Rebate 306 mm: three tiles, two gaps, and one to either side.  Seen 296 mm; with two bars of 25 mm 346 mm.
    assert (
        lines["4 bars"]
        == "346 mm long outside, mitred at 45° to 296 mm inside; 25 × 18 mm, Hard maple (sugar maple)"
    )
    assert lines["rebate"] == "5 mm wide, 12 mm deep or more; it covers 3.5 mm of the outer tiles"
    assert lines["tile-A-maple-sugar.nc"].endswith(", run 5 times")
    assert lines["tile-B-walnut-black.nc"].endswith(", run 4 times")
    assert (
        lines["maple-sugar moves"]
        == "height of a tile 1.06 mm more in the dampest season, 1.06 mm less in the driest"
    )
    # As the tile's own job would be written.
    assert Path("out/tile-B-walnut-black.nc").read_text() == _alone()


def _alone() -> str:
    Path("tile.yaml").write_text(JOB, encoding="utf-8")
    return plan_program(load_job("tile.yaml")).text


def test_the_picture_has_every_tile_in_its_wood() -> None:
    """The picture shows nine tiles of two tints, each sort drawn once, and four bars."""
    assert run(*QUICK, "-o", "out").exit_code == 0
    root = ElementTree.parse("out/panel.svg").getroot()
    space = "{http://www.w3.org/2000/svg}"
    uses = [one.get("href") for one in root.iter(f"{space}use")]
    tints = [
        one.get("fill")
        for group in root.iter(f"{space}g")
        if group.get("id")
        for one in group.findall(f"{space}path")[:1]
    ]

    assert [uses.count(href) for href in dict.fromkeys(uses)] == [5, 4]
    assert tints == ["#e6cfa8", "#6f4e37"]
    assert root.get("width") == "387.52mm"  # 346 mm and 6 % to either side


def test_figures_for_scripts() -> None:
    """``--json`` has tiles, programs with their findings, the frame, and how the wood moves."""
    told = json.loads(run(*QUICK, "--json", "--set", "moisture={now: 10 %, least: 7 %, most: 13 %}").output)

    assert told["clean"]
    assert told["frame"] == {
        "outside_mm": [346.0, 346.0],
        "rebate_mm": [306.0, 306.0],
        "sight_mm": [296.0, 296.0],
    }
    assert [one["sort"] for one in told["tiles"]] == ["A", "B", "A", "B", "A", "B", "A", "B", "A"]
    assert [(one["name"], one["times"]) for one in told["programs"]] == [
        ("tile-A-maple-sugar", 5),
        ("tile-B-walnut-black", 4),
    ]
    assert told["time_s"] == pytest.approx(
        5 * told["programs"][0]["time_s"] + 4 * told["programs"][1]["time_s"]
    )
    assert told["movement"]["grow_mm"][0][0] == pytest.approx([0.0, 1.059])


def test_a_panel_that_must_not_be_cut_writes_nothing() -> None:
    """Where one of the programs is refused there is no folder, and every finding names its program."""
    told = run("-o", "out", "--set", "tile.thickness=1.5")

    assert told.exit_code == 1
    said = "tile-A-maple-sugar, tile-B-walnut-black: The groove is 2 mm deep in a piece 1.5 mm thick"
    assert said in told.output
    assert "--picture" not in told.output  # it has no such option
    assert not Path("out").exists()


# --- the folder -------------------------------------------------------------------------------------------------------


def test_a_folder_with_files_is_kept() -> None:
    """What is there stays; an empty folder is filled, and --force writes over what the command writes, no more."""
    Path("out").mkdir()
    Path("out/notes.txt").write_text("mine")
    told = run(*QUICK, "-o", "out")
    assert told.exit_code == 2
    assert "'out': is there already; give another name, or --force" in told.output
    assert os.listdir("out") == ["notes.txt"]

    assert run(*QUICK, "-o", "out", "--force").exit_code == 0
    assert sorted(os.listdir("out")) == sorted([*FILES, "notes.txt"])
    Path("empty").mkdir()
    assert run(*QUICK, "-o", "empty").exit_code == 0
    assert sorted(os.listdir("empty")) == FILES


def test_programs_of_an_earlier_run_are_told() -> None:
    """A program that is no longer made stays in the folder, and is named so that nobody cuts it."""
    odd = "tiles=[{column: 1, row: 1, pattern: {name: shippo, pitch: 40}}]"
    assert run(*QUICK, "--set", odd, "-o", "out").exit_code == 0
    assert Path("out/tile-C-maple-sugar.nc").exists()

    for also in ((), ("--json",)):
        told = run(*QUICK, "-o", "out", "--force", *also)
        assert told.exit_code == 0
        said = "caution  out/tile-C-maple-sugar.nc was there before and is no program of this panel: do not cut it."
        assert said in told.output
    assert run(*QUICK, "-o", "out", "--force").output.count("was there before") == 1


def test_a_drawing_that_is_read_is_not_written_over() -> None:
    """The panel's own drawing may be called as the picture is; it is kept."""
    drawing = '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" viewBox="0 0 60 60">'
    drawing += '<path d="M10 10L50 50"/></svg>'
    Path("panel.svg").write_text(drawing)
    told = run("--set", "pattern={drawing: panel.svg}", "--set", "groove.depth=1", "-o", ".", "--force")

    assert told.exit_code == 2
    assert "'panel.svg': is read by this command; write to another folder" in told.output
    assert Path("panel.svg").read_text() == drawing
    assert sorted(os.listdir(".")) == ["panel.svg", "panel.yaml"]


def test_boards_are_told_with_what_is_cut_out_of_them() -> None:
    """Each program of a board says where its tiles lie, and a board that is not needed is named."""
    boards = "boards=[{wood: walnut-black, width: 330, height: 215, thickness: 12}, {wood: maple-sugar, width: 330, height: 215, "
    boards += "thickness: 12}, {wood: beech, width: 90, height: 20, thickness: 12}]"
    odd = "tiles=[{column: 2, row: 1, mirror: true, turn: 180}]"
    told = run(*QUICK, "--set", boards, "--set", odd, "--set", "machine=gantry-router", "-o", "out").output

    lines = {line.split()[0]: line.partition("  ")[2].split("; ")[-1].strip() for line in told.splitlines()}
    assert lines["board-1-walnut-black.nc"] == "out of 330 × 215 × 12 mm, from the front left: B C C / C"
    assert lines["board-2-maple-sugar.nc"] == "out of 330 × 215 × 12 mm, from the front left: A A A / A A"
    assert "  board 3                  90 × 20 × 12 mm, American beech: no tile is cut out of it" in told
    page = Path("out/sheet.html").read_text(encoding="utf-8")
    assert "<dt>B</dt><dd>1 of Black walnut: hishi, pitch 40\u00a0mm, mirrored</dd>" in page
    assert "X0 Y0 at the front left corner, Z0 on the top of the piece" in page


@pytest.mark.parametrize(
    ("place", "said"),
    [
        ("panel.yaml", "this is for a folder; give a name for one"),
        ("-", "this is for a folder; give a name for one"),
        ("nowhere/out", "cannot be written: there is no folder 'nowhere'"),
        ("panel.yaml/out", "cannot be written: there is no folder 'panel.yaml'"),
    ],
)
def test_where_no_folder_can_be(place: str, said: str) -> None:
    """Such a place is refused before any work, and nothing changes."""
    told = run(*QUICK, "-o", place)
    assert told.exit_code == 2
    assert told.output.splitlines() == [f"wrong  {place!r}: {said}", "Nothing was written."]
    assert os.listdir(".") == ["panel.yaml"]


def test_a_full_disk_leaves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that cannot be written takes the whole folder with it."""
    written = Path.write_bytes

    def full(path: Path, data: bytes) -> int:
        if path.name == "two.nc":
            raise OSError(28, "No space left on device")
        return written(path, data)

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(Exception, match="no space left on device"):
        write_folder("out", {"one.nc": "G21\n", "two.nc": "G21\n"})
    assert os.listdir(".") == ["panel.yaml"]


@pytest.mark.parametrize("step", ["mkdir", "write_bytes"])
def test_a_folder_that_may_not_be_written_leaves_nothing(monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    """Where the system allows no new folder, or no file in it, the reason is told and nothing is left."""

    def denied(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    with monkeypatch.context() as patched:
        patched.setattr(Path, step, denied)
        with pytest.raises(InputError, match="'out': cannot be written: permission denied"):
            write_folder("out", {"one.nc": "G21\n"})
    assert os.listdir(".") == ["panel.yaml"]


# --- wrong panels -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sets", "said"),
    [
        (
            ("woods=[[beech]]",),
            [
                "--set woods: a list for each of the 3 rows is wanted, not 1",
                "--set woods: woods.0: a wood for each of the 3 columns is wanted, not 1",
            ],
        ),
        (
            ("woods=[[beech, beech], [beech, beech, beech], [beech, beech, beech]]",),
            ["--set woods: woods.0: a wood for each of the 3 columns is wanted, not 2"],
        ),
        (("woods=beech",), ["--set woods: 'beech': a list is wanted: [a, b], or one item a line after '- '"]),
        (
            ("woods=[[beech, birch, beech], [beech, beech, beech], [beech, beech, beech]]",),
            [
                "--set woods: woods.0.1: 'birch': several woods are called that; write one of birch-yellow, plywood-birch (a wood of your own is given by its figures: 'mizo new' shows how)"  # noqa: E501
            ],
        ),
        (("panel.columns=0",), ["--set panel.columns: '0': must be at least 1"]),
        (("panel.columns=41",), ["--set panel.columns: '41': must be at most 40"]),
        (("panel.gap=-1",), ["--set panel.gap: '-1': must be at least 0 mm"]),
        (
            ("panel.frame.rebate=25",),
            ["--set panel.frame.rebate: '25': must be less than the bar's width, 25 mm"],
        ),
        (
            ("panel.frame.rebate=1.5",),
            [
                "--set panel.frame.rebate: '1.5': covers no tile; must be more than the gap, 1.5 mm, or 0 for none"
            ],
        ),
        (
            ("panel.frame.thickness=12",),
            [
                "--set panel.frame.thickness: '12': the rebate is as deep as the tiles are thick, 12 mm: a bar must be thicker"
            ],
        ),
        (
            ("fixture={systems: [G54, G55], places: [{x: 0, y: 0}, {x: 30, y: -99}]}",),
            ["--set fixture: fixture.places: the tiles of places 1 and 2 lie over each other"],
        ),
        (
            ("fixture={systems: [G54, G55], places: [{x: 0, y: 0}, {x: -200000, y: 0}]}",),
            ["--set fixture: fixture.places.1.x: '-200000': must be at least -100000 mm"],
        ),
        (
            ("panel.frame.width=",),
            [
                "panel.yaml:2: panel.frame.width: this key is missing: of a bar, seen from the front; a length is wanted, such as 12 mm, 2.5 cm, 1/4 in or 1 1/4 in"  # noqa: E501
            ],
        ),
        (("tile.thickness=0",), ["--set tile.thickness: '0': must be more than 0 mm"]),
        (
            ("tile.colour=red",),
            ["--set tile.colour: 'red': unknown key; known here: width, height, thickness, grain, sawn"],
        ),
        (("tile.sawn=rift",), ["--set tile.sawn: 'rift': one of flat, quarter is wanted"]),
        (("pattern.run-on=maybe",), ["--set pattern.run-on: 'maybe': true or false is wanted"]),
        (
            ("pattern={name: asanoha, pitch: 20, run-on: true, margin: 3}",),
            [
                "--set pattern: pattern.margin: '3': a pattern that runs on over all tiles takes no such key; leave it out"
            ],
        ),
        (
            ("pattern.run-on=true", "tiles=[{column: 1, row: 1, mirror: true}]"),
            [
                "--set tiles: tiles.0: the pattern runs on over all tiles; this one cannot have its own, nor be turned or mirrored"  # noqa: E501
            ],
        ),
        (("tiles=[{column: 4, row: 1}]",), ["--set tiles: tiles.0.column: '4': the panel has 3"]),
        (
            ("tiles=[{column: 1, row: 1}, {column: 1, row: 1, mirror: true}]",),
            ["--set tiles: tiles.1: column 1 of row 1 is there already"],
        ),
        (
            ("tiles=[{column: 1, row: 1, turn: 45}]",),
            ["--set tiles: tiles.0.turn: '45': one of 0, 90, 180, 270 is wanted"],
        ),
        (
            ("tile.width=90", "tiles=[{column: 1, row: 1, turn: 90}]"),
            ["--set tiles: tiles.0.turn: '90': only a square tile can be laid so; 0 or 180 is possible"],
        ),
        (
            ("boards=[{wood: beech, width: 450, height: 120, thickness: 10}]",),
            ["--set boards: boards.0.thickness: '10': tiles are 12 mm thick; plane the board to that first"],
        ),
        (
            ("moisture={now: 5 %, least: 6 %, most: 9 %}",),
            ["--set moisture: moisture.now: '5 %': lies between 'least' and 'most'"],
        ),
        (
            ("moisture={now: 10, least: 7, most: 13}",),
            [
                "--set moisture: moisture.now: '10': must be at most 1; write percent with its sign, such as 10 %",
                "--set moisture: moisture.least: '7': must be at most 1; write percent with its sign, such as 10 %",
                "--set moisture: moisture.most: '13': must be at most 1; write percent with its sign, such as 10 %",
            ],
        ),
        (
            ("pattern.across=500",),
            [
                "--set pattern.across: '500': this gives more than 1,000,000 lines on the piece; a pitch of 0.3 mm or more is possible"  # noqa: E501
            ],
        ),
        (
            ("pattern={name: asanoha, pitch: 20, margin: 60}",),
            ["--set pattern: pattern.margin: '60': must be less than half the shorter side, 50 mm"],
        ),
        (
            ("bit=v90",),
            ["--set bit: 'v90': several bits are called that; write one of v90-3.175, v90-6.35, v90-12.7"],
        ),
        (
            ("machine=",),
            [
                "panel.yaml: machine: this key is missing: a name from 'mizo machines', or the path of a machine file"
            ],
        ),
        (
            ("groove={leaf: 1}",),
            [
                "--set groove: groove.leaf: '1': 'leaf' alone is not enough; give 'ground' as well, or 'depth' for all lines"
            ],
        ),
        (
            ("piece={width: 3}",),
            [
                "--set piece: unknown key; known here: title, units, panel, tile, pattern, groove, woods, tiles, boards, cut-out, fixture, moisture, bit, machine, feed, zero, plan"  # noqa: E501
            ],
        ),
        (
            ("boards=[{wood: beech, width: 450, height: 120, thickness: 12}]", "fixture={systems: [G54]}"),
            ["--set fixture: tiles are either cut out of boards or lie in a jig; leave out one of the two"],
        ),
        (
            ("cut-out={bit: em-3.175}",),
            [
                "--set cut-out: tiles are cut to size already; name the 'boards' they are cut out of, or leave it out"
            ],
        ),
        (
            (
                "boards=[{wood: beech, width: 450, height: 120, thickness: 12, kerf: 3}]",
                "cut-out={bit: em-3.175}",
            ),
            [
                "--set boards: boards.0.kerf: '3': the end mill is 3.175 mm across: that much at least, 1 mm more leaves a web"
            ],
        ),
        (
            ("fixture={systems: [G54, G54]}",),
            [
                "--set fixture: fixture.systems: names one twice; each tile of the jig has a work offset of its own"
            ],
        ),
        (
            ("fixture={systems: [G60]}",),
            [
                "--set fixture: fixture.systems.0: 'G60': one of G54, G55, G56, G57, G58, G59 is wanted; did you mean 'G56'?"
            ],
        ),
        (
            ("fixture={systems: [G54, G55], places: [{x: 0, y: 0}]}",),
            ["--set fixture: fixture.places: a place for each of the 2 systems is wanted"],
        ),
        (
            ("fixture={systems: [G54, G55]}", "zero.turn=1"),
            ["--set zero.turn: '1': tiles in a jig lie straight; leave it out, or leave out the fixture"],
        ),
    ],
)
def test_wrong_panels(sets: tuple[str, ...], said: list[str]) -> None:
    """What is wrong is told with its key, its value and what would be right; nothing is written."""
    told = run("-o", "out", *(word for one in sets for word in ("--set", one)))

    assert told.exit_code == 2
    assert told.output.splitlines()[: len(said)] == [f"wrong  {one}" for one in said]
    assert "thing was written." in told.output.splitlines()[-1]
    assert os.listdir(".") == ["panel.yaml"]
