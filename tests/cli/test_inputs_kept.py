"""No command writes over a file that it reads, whatever the job names and however the path is spelled."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from small_job import own_job, own_pattern
from vcarve.cli.main import cli
from vcarve.job.bench import machines_folder
from vcarve.job.records import load_job

SQUARE = '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">{}</svg>'


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a working folder with two jobs, which between them read a file of every kind."""
    monkeypatch.chdir(tmp_path)
    parts = tmp_path / "parts"
    parts.mkdir()
    parts.joinpath("own machine.yaml").write_bytes((machines_folder() / "small-desktop.yaml").read_bytes())
    parts.joinpath("own.yaml").write_text(own_pattern())
    parts.joinpath("outline.svg").write_text(SQUARE.format('<rect width="40" height="30"/>'))
    parts.joinpath("lines.svg").write_text(SQUARE.format('<path d="M5 5 35 25"/>'))
    for name, pattern in (
        ("pattern", "name: parts/own.yaml, pitch: 10 mm"),
        ("drawing", "drawing: parts/lines.svg"),
    ):
        outline = ", outline: {shape: drawing, file: parts/outline.svg}"
        text = own_job(f"{{{pattern}}}", piece=outline, machine="parts/own machine.yaml")
        (tmp_path / f"{name}.yaml").write_text(text)
    return tmp_path


_heard_by: list[Callable[[str], None]] = []  # while a test listens; a hook itself cannot be taken out


def _heard(event: str, rest: tuple[Any, ...]) -> None:
    if _heard_by and event == "open" and isinstance(rest[0], str | bytes | os.PathLike):
        _heard_by[0](os.path.realpath(os.fsdecode(rest[0])))


@pytest.fixture(scope="session")
def _hook() -> None:
    """Return hook into the opening of files, once."""
    sys.addaudithook(_heard)


@pytest.fixture
def opened(_hook: None) -> Iterator[list[str]]:
    """Yield the paths of the files that are opened during the test."""
    paths: list[str] = []
    _heard_by.append(paths.append)
    yield paths
    _heard_by.clear()


def contents(folder: Path) -> dict[Path, bytes]:
    """Return every file below a folder with its bytes."""
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("job", ["pattern.yaml", "drawing.yaml"])
def test_a_job_knows_every_file_it_is_made_of(folder: Path, opened: list[str], job: str) -> None:
    """Whatever a command opens in the user's own folders is among the files of the job."""
    opened.clear()
    done = CliRunner().invoke(cli, ["program", job])
    read = {Path(path) for path in opened if Path(path).is_relative_to(os.path.realpath(folder))}

    assert done.exit_code == 0, done.output
    assert len(read) == 4
    assert read == {Path(os.path.realpath(path)) for path in load_job(job).files}


@pytest.mark.parametrize("job", ["pattern.yaml", "drawing.yaml"])
@pytest.mark.parametrize("command", ["program JOB -o", "program JOB --page", "dry-run a.nc --job JOB --page"])
def test_no_output_lands_on_an_input(folder: Path, job: str, command: str) -> None:
    """The job, its machine, its pattern, its outline and its drawing are refused as outputs."""
    made = CliRunner().invoke(cli, ["program", job, "-o", "a.nc"])
    before = contents(folder)
    words = [job if word == "JOB" else word for word in command.split()]
    codes = {path: CliRunner().invoke(cli, [*words, path]) for path in load_job(job).files}

    assert made.exit_code == 0, made.output
    assert len(codes) == 4
    assert [path for path, done in codes.items() if "is read by this command" not in done.stderr] == []
    assert contents(folder) == before


def test_other_names_of_an_input_are_refused_too(folder: Path) -> None:
    """A link, a second name of the same file, and a detour in the path lead to the same refusal."""
    (folder / "link.nc").symlink_to("parts/own.yaml")
    os.link(folder / "parts" / "own.yaml", folder / "twin.nc")
    before = contents(folder)
    for other in ("link.nc", "twin.nc", "parts/../parts/own.yaml", str(folder / "parts" / "own.yaml")):
        done = CliRunner().invoke(cli, ["program", "pattern.yaml", "-o", other])

        assert done.exit_code == 2
        assert "is read by this command" in done.stderr
    assert contents(folder) == before


def test_a_job_from_standard_input_and_a_machine_alone(folder: Path) -> None:
    """Files named by a job that is piped in, and a machine named on the command line, are kept as well."""
    CliRunner().invoke(cli, ["program", "pattern.yaml", "-o", "a.nc"])
    before = contents(folder)
    piped = CliRunner().invoke(
        cli, ["program", "-", "-o", "parts/own.yaml"], input=(folder / "pattern.yaml").read_text()
    )
    machine = "parts/own machine.yaml"
    alone = CliRunner().invoke(cli, ["dry-run", "a.nc", "--machine", machine, "--page", machine])

    assert (piped.exit_code, alone.exit_code) == (2, 2)
    assert contents(folder) == before
