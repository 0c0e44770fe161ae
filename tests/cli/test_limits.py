"""What is bounded: messages, frames, feeds, how near a pattern's places may lie; and streams that end before we do."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from small_job import own_job, own_pattern
from vcarve.cli.main import EXIT_UNREAD, MOST_PROBLEMS, cli
from vcarve.errors import LONGEST_VALUE

POSIX = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="named pipes and /dev/full are POSIX's")
OWN = """
key: own
name: own
lattice: {kind: square, a1: [1, 0], a2: [0, 1]}
group: p4m
unit: side
pitch-range: [5 mm, 20 mm]
operations:
  - {rotate: 4, about: [1/2, 1/2]}
  - {mirror: x-axis}
lines:
  - {role: ground, from: [0, 0], to: [1, 0]}
  - {role: leaf, path: [[0.929, 0.635], [0.258, 0.457], [0.396, 0.044], [0.394, 0.973]]}
"""


def ask(*words: str) -> Result:
    """Run a command."""
    return CliRunner().invoke(cli, list(words), catch_exceptions=False)


@pytest.fixture
def job(tmp_path: Path) -> str:
    """Return a new job file."""
    path = str(tmp_path / "tile.yaml")
    assert ask("new", path).exit_code == 0
    return path


def test_a_message_repeats_no_more_than_the_beginning_of_a_long_value(job: str) -> None:
    """A wrong value of a hundred thousand characters is told by its first ones."""
    done = ask("program", job, "--set", "piece.width=" + "x" * 100_000)

    assert done.exit_code == 2
    assert len(done.stderr) < 10 * LONGEST_VALUE
    assert "x" * LONGEST_VALUE + "…" in done.stderr


@pytest.mark.parametrize("key", ["{}", "groove.{}", "{}.a", "groove.depth.{}"])
def test_a_message_repeats_no_more_than_the_beginning_of_a_long_key(job: str, key: str) -> None:
    """A key of a hundred thousand characters is told by its first ones, wherever the message names it."""
    done = ask("program", job, "--set", key.format("k" * 100_000) + "=1")

    assert done.exit_code == 2
    assert len(done.stderr) < 10 * LONGEST_VALUE
    assert "k" * (LONGEST_VALUE - len("groove.depth.")) in done.stderr
    assert "…" in done.stderr


def test_very_many_problems_are_counted(tmp_path: Path) -> None:
    """Of thousands of wrong keys the first are told and the others counted."""
    path = tmp_path / "many.yaml"
    path.write_text("".join(f"key{k}: 1\n" for k in range(3000)))

    done = ask("program", str(path))

    assert done.exit_code == 2
    assert len(done.stderr.splitlines()) <= MOST_PROBLEMS + 2
    assert "more" in done.stderr.splitlines()[-2]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("feed.cut=0.01 mm/min", "at least 1 mm/min: a controller goes no slower"),
        (
            f"pattern.frame=[{', '.join(f'{{distance: {2 + k / 100} mm}}' for k in range(60))}]",
            "too many items; at most 50 are taken",
        ),
    ],
)
def test_what_a_job_may_ask_for_is_bounded(job: str, change: str, said: str) -> None:
    """Feeds no controller goes at and frames by the hundred are refused before anything is laid out."""
    done = ask("program", job, "--set", change)

    assert done.exit_code == 2
    assert said in done.stderr


def test_places_of_a_pattern_too_close_to_tell_apart(job: str, tmp_path: Path) -> None:
    """Vertices nearer than the border's snapping would meet there and not elsewhere: said with the pitch and the distance."""
    (tmp_path / "own.yaml").write_text(OWN)

    done = ask("program", job, "--set", "pattern.name=own.yaml", "--set", "pattern.pitch=10")

    assert done.exit_code == 2
    assert "places of own lie only" in done.stderr
    assert "µm apart" in done.stderr


@POSIX
def test_a_pipe_is_read_once(tmp_path: Path) -> None:
    """A wrong job that comes through a named pipe is told, and nobody waits for it to come again."""
    pipe = tmp_path / "job.yaml"
    os.mkfifo(pipe)
    writer = threading.Thread(target=pipe.write_text, args=("piece: 1\n",), daemon=True)
    writer.start()

    done = ask("program", str(pipe))

    writer.join()
    assert done.exit_code == 2
    assert "a section of keys is wanted" in done.stderr


@POSIX
@pytest.mark.parametrize("words", [["--help"], ["--version"], ["woods"], ["bench", "--no-open"]])
def test_a_full_disk_under_standard_output(words: list[str]) -> None:
    """What cannot be written is said, with no traceback, even before a command is called, and nothing after it."""
    env = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "vcarve", *words], stdout=full, stderr=subprocess.PIPE, text=True, env=env
        )

    assert done.returncode == 2
    assert done.stderr == "wrong  standard output cannot be written: no space left on device\n"


@POSIX
@pytest.mark.parametrize(
    "words", ["woods", "--help", "--version", "program --help", "wods", "program none.yaml"]
)
def test_an_output_that_nobody_reads_is_no_refusal(words: str) -> None:
    """A reader that has gone ends the command with the shell's own code, not with that of a job that must not be cut."""
    read, write = os.pipe()
    os.close(read)
    wrong = words in ("wods", "program none.yaml")
    streams = {"stdout": subprocess.PIPE if wrong else write, "stderr": write if wrong else subprocess.PIPE}
    done = subprocess.run([sys.executable, "-m", "vcarve", *words.split()], text=True, **streams)  # type: ignore[call-overload]
    os.close(write)

    assert done.returncode == EXIT_UNREAD
    assert (done.stdout or "") + (done.stderr or "") == ""


@POSIX
@pytest.mark.parametrize(
    ("words", "closed", "code", "said"),
    [
        ("program - -o job.nc", "<&-", 2, "standard input: cannot be read: it is closed"),
        ("dry-run -", "<&-", 2, "standard input: cannot be read: it is closed"),
        ("program job.yaml -o -", ">&-", 2, "standard output cannot be written: it is closed"),
        ("program job.yaml -o job.nc", ">&-", 0, ""),
        ("program job.yaml -o job.nc", "2>&-", 0, ""),
    ],
)
def test_a_closed_stream_is_no_fault_of_ours(
    tmp_path: Path, words: str, closed: str, code: int, said: str
) -> None:
    """A stream that whoever started us has closed is told where it is needed, and nothing where it is not."""
    (tmp_path / "own.yaml").write_text(own_pattern())
    (tmp_path / "job.yaml").write_text(own_job())
    command = f"{sys.executable} -m vcarve {words} {closed}"
    done = subprocess.run(["sh", "-c", command], cwd=tmp_path, capture_output=True, text=True)

    assert done.returncode == code
    assert said in done.stderr
    assert (tmp_path / "job.nc").exists() == (code == 0)
