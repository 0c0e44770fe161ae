"""Standard output holds exactly the file that goes there; JSON never keeps a file from being written."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from small_job import own_job, own_pattern
from vcarve.cli.main import cli


def run(*words: str) -> Result:
    """Run the command line with words."""
    return CliRunner().invoke(cli, list(words))


@pytest.fixture(autouse=True)
def _folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Return a working folder with a job, its pattern and its program."""
    monkeypatch.chdir(tmp_path)
    Path("own.yaml").write_text(own_pattern(), encoding="utf-8")
    Path("job.yaml").write_text(own_job())
    assert run("program", "job.yaml", "-o", "job.nc").exit_code == 0


WITH_FIGURES = [
    ("program job.yaml -o", "a.nc"),
    ("program job.yaml --picture", "a.svg"),
    ("program job.yaml --page", "a.html"),
    ("dry-run job.nc --job job.yaml --page", "a.html"),
    ("dry-run job.nc --job job.yaml --picture", "a.png"),
    ("dry-run job.nc --job job.yaml --heights", "a.png"),
    ("patterns own.yaml -o", "a.yaml"),
    ("patterns own.yaml --picture", "a.svg"),
    ("patterns own.yaml --page", "a.html"),
    ("machines small-desktop -o", "a.yaml"),
]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("command", "name", "more"),
    [
        *[(command, name, more) for command, name in WITH_FIGURES for more in ((), ("--json",))],
        ("lines job.yaml -o", "a.svg", ()),
        ("new", "tile.yaml", ()),
    ],
)
def test_standard_output_is_exactly_the_file(command: str, name: str, more: tuple[str, ...]) -> None:
    """What a command writes to ``-`` is, byte for byte, what it writes to a file; what it says goes beside it."""
    words = command.split()
    written, streamed = run(*words, name, *more), run(*words, "-", *more)

    assert written.exit_code == streamed.exit_code == 0, streamed.output
    assert streamed.stdout_bytes == Path(name).read_bytes()
    if more:
        assert json.loads(written.stdout) == json.loads(streamed.stderr)


@pytest.mark.parametrize(
    ("words", "path"),
    [
        ("machines small-desktop -o a.yaml", "a.yaml"),
        ("patterns own.yaml -o a.yaml", "a.yaml"),
        ("patterns own.yaml --picture a.svg", "a.svg"),
    ],
)
def test_json_is_printed_and_the_file_written(words: str, path: str) -> None:
    """Asked for a file and for JSON, a list gives both."""
    plain = run(*words.split())
    written = Path(path).read_bytes()
    Path(path).unlink()
    done = run(*words.split(), "--json")

    assert plain.exit_code == done.exit_code == 0, done.output
    assert Path(path).read_bytes() == written
    assert len(json.loads(done.stdout)) == 1


def test_a_picture_on_standard_output_is_not_named() -> None:
    """Of a job that must not be cut, only files are named to see it by."""
    deep = ("--set", "groove.depth=9 mm")
    piped = run("program", "job.yaml", "--picture", "-", *deep)
    kept = run("program", "job.yaml", "--picture", "-", "--page", "a.html", *deep)

    assert piped.exit_code == kept.exit_code == 1
    assert piped.stderr.splitlines()[-1] == "No program was written."
    assert kept.stderr.splitlines()[-1] == "No program was written. See a.html, marked 'must not be cut'."
    assert "Must not be cut" in piped.stdout
