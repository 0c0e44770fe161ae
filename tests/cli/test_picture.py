"""``mizo picture`` from the outside: what it writes, says and refuses."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from PIL import Image

from vcarve.cli.main import cli

JOB = """\
piece: {width: 40 mm, height: 30 mm, thickness: 8 mm, wood: maple-sugar}
pattern: {name: kaku-asanoha, pitch: 10 mm}
groove: {depth: 0.5 mm}
bit: v60-3.175
machine: small-desktop
"""


def run(*words: str, text: str | None = None) -> Result:
    """Run the command line with words."""
    return CliRunner().invoke(cli, ["picture", *words], input=text)


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a job file in a folder of its own, which is the working folder."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "tile.yaml"
    path.write_text(JOB)
    return path


def test_size_and_angles_are_as_asked_for(job: Path) -> None:
    """From standard input to standard output, another angle is another picture, and a size is what it says."""
    pictures = [
        run("-", "-o", "-", "--size", "240x200", *more, text=JOB)
        for more in ((), ("--rise", "60 deg"), ("--turn", "1 rad"), ("--set", "groove.depth=0.9"))
    ]

    assert [done.exit_code for done in pictures] == [0] * 4, pictures[0].output
    assert len({done.stdout_bytes for done in pictures}) == 4
    assert {Image.open(io.BytesIO(done.stdout_bytes)).size for done in pictures} == {(240, 200)}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--rise", "10 deg"), "--rise: '10 deg': an angle from 20 to 90 degrees is wanted"),
        (("--rise", "low"), "--rise: 'low': "),
        (("--turn", "400"), "--turn: '400': an angle from -360 to 360 degrees is wanted"),
        (("--size", "100"), "--size: '100': give the width in dots, or width x height such as 1600x1200, 200 to 4000 each"),
        (("--size", "1600x"), "--size: '1600x': give the width in dots"),
        (("--size", "99999 x 800"), "--size: '99999 x 800': give the width in dots"),
        (("-o", "x.jpg"), "'x.jpg': this is for a picture of the piece; its name must end in .png"),
        (("-o", "tile.yaml"), "'tile.yaml': is read by this command; write to another file"),
        (("-o", "/dev/full"), "'/dev/full': cannot be written: no space left on device"),
        (("--set", "piece.wood=oke"), "piece.wood: 'oke': "),
    ],
)  # fmt: skip
def test_wrong_input(job: Path, words: tuple[str, ...], said: str) -> None:
    """What is wrong is named with what would be right, and nothing is written."""
    done = run(
        "tile.yaml",
        *(() if "-o" in words else ("-o", "x.png")),
        *(() if "--size" in words else ("--size", "200")),
        *words,
    )

    assert done.exit_code == 2, done.output
    assert said in done.stderr
    assert done.stderr.endswith("Nothing was written.\n")
    assert [path.name for path in job.parent.iterdir()] == ["tile.yaml"]


def test_what_must_not_be_cut_is_marked(job: Path) -> None:
    """A groove through the piece can be looked at, under a band in the colour of findings; the exit code says the rest."""
    done = run("tile.yaml", "-o", "x.png", "--size", "300", "--set", "piece.thickness=0.4")
    fine = run("tile.yaml", "-o", "y.png", "--size", "300")

    assert (done.exit_code, fine.exit_code) == (1, 0)
    assert "[through-the-piece]" in done.stderr
    assert "See x.png, marked 'must not be cut'." in done.stderr
    assert Image.open("x.png").getpixel((0, 0)) == (0xAD, 0x3F, 0x17)
    assert fine.stdout.endswith("wrote y.png\n")
