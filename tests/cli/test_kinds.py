"""A file of another kind than the command takes: said in one sentence, with the command that takes it."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from vcarve.cli.main import cli
from vcarve.files import kind_of

ROOT = Path(__file__).parent.parent.parent
FILES = {
    "job": ROOT / "samples" / "coaster.yaml",
    "machine": ROOT / "machines" / "small-desktop.yaml",
    "pattern": ROOT / "vcarve" / "pattern" / "data" / "asanoha.yaml",
    "program": ROOT / "tests" / "dryrun" / "programs" / "cross.nc",
    "picture": ROOT / "samples" / "tea-box-lid.png",
}


def run(*words: str) -> Result:
    """Run the command line with words."""
    return CliRunner().invoke(cli, list(words))


@pytest.mark.parametrize(
    ("kind", "folder", "glob"),
    [
        ("job", "samples", "*.yaml"),
        ("machine", "machines", "*.yaml"),
        ("pattern", "vcarve/pattern/data", "*.yaml"),
        ("program", "tests", "**/*.nc"),
    ],
)
def test_every_file_there_is_gets_its_kind(kind: str, folder: str, glob: str) -> None:
    """No file of the project is taken for one of another kind."""
    files = sorted((ROOT / folder).glob(glob))

    assert files
    assert {path: kind_of(str(path)) for path in files} == dict.fromkeys(files, kind)


TAKERS = (
    ("job", ("program",)),
    ("job", ("lines", "-o", "x.svg")),
    ("job", ("dry-run", str(FILES["program"]), "--job")),
    ("program", ("dry-run",)),
    ("machine", ("machines",)),
    ("pattern", ("patterns",)),
)


@pytest.mark.parametrize(
    ("given", "words"), [(given, words) for given in FILES for taken, words in TAKERS if given != taken]
)
def test_a_file_of_another_kind(
    given: str, words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One sentence says what it is and which command takes it; that command does."""
    monkeypatch.chdir(tmp_path)
    own = tmp_path / f"own{FILES[given].suffix}"
    own.write_bytes(FILES[given].read_bytes())
    done = run(*words, own.name)

    assert done.exit_code == 2
    said = {
        "job": f"'{own.name}': this is a job file; 'mizo program {own.name}' makes its program",
        "program": f"'{own.name}': this is a program; 'mizo dry-run {own.name}' reads it",
        "machine": f"'{own.name}': this is a machine file; a job names it as 'machine', and 'mizo machines {own.name}' ",
        "pattern": f"'{own.name}': this is a pattern file; a job names it as 'name' under 'pattern', and ",
        "picture": f"'{own.name}': this is a picture, made of dots",
    }
    assert said[given] in done.stderr
    assert done.stderr.count("wrong") == 1


def test_a_drawing_is_no_job(tmp_path: Path) -> None:
    """An SVG or DXF drawing given as the job is told where a job names it."""
    for name, text in (("a.svg", "<svg xmlns='x'></svg>"), ("a.dxf", "  0\nSECTION\n  2\nHEADER\n")):
        (tmp_path / name).write_text(text)

        assert "this is a drawing; a job names it as 'drawing'" in run("program", str(tmp_path / name)).stderr


def test_what_is_of_no_kind_keeps_its_own_message(tmp_path: Path) -> None:
    """A text that is nothing known, and a file that is not there, are told of as they are."""
    (tmp_path / "note.yaml").write_text("shopping: [glue]\n")

    assert "unknown key" in run("program", str(tmp_path / "note.yaml")).stderr
    assert "there is no such file" in run("program", str(tmp_path / "none.yaml")).stderr
    assert "cannot be read" in run("dry-run", str(tmp_path / "none.nc")).stderr


@pytest.mark.parametrize(
    ("words", "writes"),
    [
        (("dry-run", "none.nc"), False),
        (("dry-run", "none.nc", "--page", "p.html"), False),  # it reads, whatever else it is asked for
        (("program", "none.yaml"), False),
        (("program", "none.yaml", "-o", "p.nc"), True),
        (("program", "COASTER", "--set", "groove.depth=8 mm"), False),
        (("program", "COASTER", "--set", "groove.depth=8 mm", "-o", "p.nc"), True),
        (("patterns", "none"), False),
        (("patterns", "none", "--page", "p.html"), True),
        (("machines", "none"), False),
    ],
)
def test_nothing_was_written_is_said_where_something_would_have_been(
    words: tuple[str, ...], writes: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A call that asked for no file says nothing of files."""
    monkeypatch.chdir(tmp_path)
    done = run(*(str(FILES["job"]) if word == "COASTER" else word for word in words))

    assert done.exit_code in (1, 2)
    assert ("othing was written" in done.stderr) is writes
