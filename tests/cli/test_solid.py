"""``mizo solid`` from the outside: what it writes, says and refuses."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from vcarve.cli.main import cli

JOB = """\
piece: {width: 40 mm, height: 30 mm, thickness: 8 mm, wood: maple-sugar}
title: try & see
pattern: {name: kaku-asanoha, pitch: 10 mm}
groove: {depth: 0.5 mm}
bit: v60-3.175
machine: small-desktop
"""


def run(*words: str, text: str | None = None) -> Result:
    """Run the command line with words."""
    return CliRunner().invoke(cli, ["solid", *words], input=text)


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a job file in a folder of its own, which is the working folder."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "tile.yaml"
    path.write_text(JOB)
    return path


def test_what_is_said_of_it(job: Path) -> None:
    """Size, volume and triangles are told, the back and the scale where they are asked for, and the file is named."""
    plain = run("tile.yaml", "-o", "tile.3mf")
    small = run(
        "tile.yaml", "-o", "tile.stl", "--scale", "50 %", "--hollow-back", "2 mm", "--tolerance", "0.01"
    )

    assert plain.exit_code == small.exit_code == 0, plain.output + small.output
    assert plain.stdout.startswith("try & see\n  size      40 × 30 × 8 mm\n")
    assert "surface   closed, " in plain.stdout
    assert "what is round is off by 0.02 mm at most" in plain.stdout
    assert plain.stdout.endswith("wrote tile.3mf\n")
    assert "size      20 × 15 × 4 mm, 0.5 times its own" in small.stdout
    assert "hollowed out: 1 mm stay under the deepest groove and as walls" in small.stdout
    assert "off by 0.005 mm at most" in small.stdout
    model = zipfile.ZipFile("tile.3mf").read("3D/3dmodel.model").decode()

    assert '<metadata name="Title">try &amp; see</metadata>' in model
    assert 'name="try &amp; see" displaycolor="#' in model


def test_figures_for_scripts(job: Path) -> None:
    """The object has what the words say; from standard input to standard output it goes beside the file."""
    done = run("-", "-o", "-", "--json", text=JOB)
    told = json.loads(done.stderr)
    model = zipfile.ZipFile(io.BytesIO(done.stdout_bytes)).read("3D/3dmodel.model").decode()
    keys = [
        "closed",
        "hollow_back_mm",
        "parts",
        "scale",
        "size_mm",
        "tolerance_mm",
        "triangles",
        "volume_mm3",
    ]

    assert done.exit_code == 0
    assert sorted(set(told) - {"clean", "findings"}) == keys
    assert told["closed"] is told["clean"] is True
    assert told["size_mm"] == pytest.approx([40.0, 30.0, 8.0])
    assert told["triangles"] == model.count("<triangle ")
    assert 9000.0 < told["volume_mm3"] < 9600.0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--hollow-back", "7.5"), "'7.5 mm': grooves 0.5 mm deep in a piece 8 mm thick leave nothing to hollow out"),
        (("--hollow-back", "15", "--set", "piece.thickness=30"), "'15 mm': nothing is left of the piece inside walls so thick"),
        (("--hollow-back", "0"), "--hollow-back: '0': a length from 0.1 mm to 100 mm is wanted"),
        (("--hollow-back", "2 kg"), "'2 kg': unknown unit 'kg'; a length is wanted, such as 12 mm, 2.5 cm"),
        (("--scale", "0"), "--scale: '0': a share from 0.01 to 100 is wanted"),
        (("--scale", "2 mm"), "--scale: '2 mm': 'mm' is a unit of length; a share is wanted, such as 0.3 or 30 %"),
        (("--scale", "nan"), "--scale: 'nan': "),
        (("--tolerance", "5 mm"), "--tolerance: '5 mm': a length from 0.0001 mm to 1 mm is wanted"),
        (("--set", "groove.depth=-1"), "groove.depth: '-1': "),
        (("-o", "tile.obj"), "'tile.obj': this is for a solid; its name must end in .3mf or .stl"),
        (("-o", "tile.yaml"), "'tile.yaml': is read by this command; write to another file"),
        (("-o", "no/tile.stl"), "'no/tile.stl': cannot be written: there is no folder 'no'"),
        (("-o", "."), "'.': this is a folder; name a file in it"),
        (("-o", "/dev/full"), "'/dev/full': cannot be written: no space left on device"),
    ],
)  # fmt: skip
def test_wrong_input(job: Path, words: tuple[str, ...], said: str) -> None:
    """What is wrong is named with what would be right, and nothing is written."""
    done = run("tile.yaml", *(() if "-o" in words else ("-o", "tile.3mf")), *words)

    assert done.exit_code == 2, done.output
    assert said in done.stderr
    assert done.stderr.endswith("Nothing was written.\n")
    assert [path.name for path in job.parent.iterdir()] == ["tile.yaml"]


def test_what_must_not_be_cut_is_no_solid(job: Path) -> None:
    """A groove through the piece is refused with every finding, as its program is."""
    done = run("tile.yaml", "-o", "tile.3mf", "--set", "piece.thickness=0.4")

    assert done.exit_code == 1
    assert "must not be cut" in done.stderr
    assert "[through-the-piece]" in done.stderr
    assert done.stderr.endswith("Nothing was written.\n")
    assert not Path("tile.3mf").exists()


def test_findings_with_places_point_to_no_picture(job: Path) -> None:
    """Weak islands have places, but this command has no picture to show them on, so it does not point to one."""
    done = run("tile.yaml", "-o", "tile.3mf", "--set", "groove.depth=2.2", "--set", "piece.thickness=2")

    assert done.exit_code == 1
    assert "[weak-island]" in done.stderr
    assert "--picture" not in done.stderr


def test_another_kind_of_file_is_told(job: Path) -> None:
    """A program or a drawing instead of the job is named as what it is."""
    Path("tile.nc").write_text("G21 G90\nG0 X1 Y2\nM2\n")
    done = run("tile.nc", "-o", "tile.3mf")

    assert done.exit_code == 2
    assert "this is a program; 'mizo dry-run tile.nc' reads it" in done.stderr


def test_of_a_bowed_board_the_flat_piece(job: Path) -> None:
    """The solid of a board that is not flat is that of the flat piece, and says so."""
    Path("heights.txt").write_text(
        "".join(f"{x} {y} {0.01 * (x + y)}\n" for x in (0, 20, 40) for y in (0, 15, 30))
    )
    flat, bowed = (
        run("tile.yaml", "-o", name, "--json", *more)
        for name, more in (("a.stl", ()), ("b.stl", ("--set", "surface=heights.txt")))
    )

    assert flat.exit_code == bowed.exit_code == 0, bowed.output
    assert Path("a.stl").read_bytes() == Path("b.stl").read_bytes()
    assert "the top is flat here" in run("tile.yaml", "-o", "b.stl", "--set", "surface=heights.txt").stdout


def test_too_much_is_told_before_it_is_joined(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """More triangles than a few minutes can join are refused with what to change."""
    monkeypatch.setattr("vcarve.solid.piece.MOST_TRIANGLES", 1000)
    done = run("tile.yaml", "-o", "tile.3mf")

    assert done.exit_code == 2
    assert (
        "lines on the piece are too much for one solid; give a larger pitch, a smaller piece or a coarser"
        in done.stderr
    )
    assert not Path("tile.3mf").exists()
