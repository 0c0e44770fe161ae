"""The command line as a whole: help, wrong commands, colour, encodings, broken pipes, interruption."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

from vcarve.cli import progress
from vcarve.cli.main import COMMANDS, cli
from vcarve.cli.progress import Bar
from vcarve.errors import Finding, InputError, InternalError, Problem, RefusedError

MIZO = [sys.executable, "-c", "from vcarve.cli.main import main; main()"]
JOB = """\
piece: {width: 40 mm, height: 30 mm, thickness: 8 mm, wood: maple-sugar}
pattern: {name: kaku-asanoha, pitch: 10 mm}
groove: {depth: 0.5 mm}
bit: v60-3.175
machine: small-desktop
"""


def test_the_list_of_commands_needs_none_of_them() -> None:
    """``mizo --help`` names every command with a sentence and imports no command's module."""
    code = "import sys; from vcarve.cli.main import cli; cli(['--help'], standalone_mode=False); print([*sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert all(re.search(rf"^  {name} +\S", done.stdout, re.MULTILINE) for name in COMMANDS)
    assert "vcarve.cli.program" not in done.stdout
    assert "Example: " in done.stdout


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_every_command_explains_itself(command: str) -> None:
    """Each help has a sentence, an example that calls the command, and a sentence for every option."""
    done = CliRunner().invoke(cli, [command, "--help"])
    loaded = cli.get_command(click.Context(cli), command)

    assert done.exit_code == 0
    assert re.search(rf"Example: .*mizo {command}\b", " ".join(done.output.split()))
    assert loaded is not None
    assert loaded.help
    assert all(option.help for option in loaded.params if isinstance(option, click.Option))


def test_version() -> None:
    """The version is told in one line."""
    assert re.fullmatch(r"mizo, version \d+\.\d+\.\d+\n", CliRunner().invoke(cli, ["--version"]).output)


@pytest.mark.parametrize(
    ("word", "sentence"),
    [
        ("progam", "There is no command 'progam'. Did you mean 'program'?"),
        ("dryrun", "Did you mean 'dry-run'?"),
        ("zzz", "There is no command 'zzz'. 'mizo --help' lists them."),
        ("--wide", "No such option"),
    ],
)
def test_unknown_commands(word: str, sentence: str) -> None:
    """A command that is not there is bad input; the nearest one is named."""
    done = CliRunner().invoke(cli, [word])

    assert done.exit_code == 2
    assert sentence in done.stderr


@pytest.mark.parametrize(
    ("error", "code", "sentences"),
    [
        (
            InputError([Problem(want="too deep", file="a.yaml", line=3, key="groove.depth", value="9")]),
            2,
            ["wrong  a.yaml:3: groove.depth: '9': too deep", "Nothing was written."],
        ),
        (InputError([Problem(want="a"), Problem(want="b")]), 2, ["2 problems; nothing was written."]),
        (
            RefusedError(
                [Finding(code="x", sentence="Bad."), Finding(code="y", sentence="So.", severity="caution")]
            ),
            1,
            ["must not be cut  Bad. [x]", "caution  So. [y]", "Nothing was written."],
        ),
        (InternalError("It broke."), 1, ["INTERNAL ERROR: It broke."]),
    ],
)
def test_errors_become_messages_and_exit_codes(
    monkeypatch: pytest.MonkeyPatch, error: Exception, code: int, sentences: list[str]
) -> None:
    """Problems end with 2, findings and our own faults with 1; all of them go to standard error."""

    def fail(*_: Any) -> None:
        raise error

    monkeypatch.setattr("vcarve.job.starter.starter_text", fail)
    done = CliRunner().invoke(cli, ["new"])

    assert done.exit_code == code
    assert done.stdout == ""
    assert [line for line in sentences if line not in done.stderr] == []


def test_colour_only_on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Escape signs are written where colour is wanted, and never into a pipe or where NO_COLOR asks for none."""
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert "\x1b[" not in CliRunner().invoke(cli, ["woods"]).output
    assert "\x1b[1m" in CliRunner().invoke(cli, ["woods"], color=True).output

    monkeypatch.setenv("NO_COLOR", "1")
    assert "\x1b[" not in CliRunner().invoke(cli, ["woods"], color=True).output


class TestBar:
    """The progress bar."""

    @pytest.fixture
    def clock(self, monkeypatch: pytest.MonkeyPatch) -> list[float]:
        """A clock that shows what its only item says."""
        now = [0.0]
        monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
        return now

    def test_waits_a_second_then_draws_and_clears(
        self, clock: list[float], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """On a terminal nothing is drawn for a second; what is drawn then is wiped at the end."""
        monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
        with Bar() as bar:
            bar("laying out", 0.1)
            assert capsys.readouterr().err == ""
            clock[0] = 1.5
            bar("planning", 0.5)
            drawn = capsys.readouterr().err
        wiped = capsys.readouterr().err

        assert " 50%  planning" in drawn
        # Where standard error is no real terminal the escape sign itself is left out.
        assert drawn.startswith("\r")
        assert wiped.startswith("\r")
        assert "█" not in wiped

    def test_is_silent_in_a_pipe(self, clock: list[float], capsys: pytest.CaptureFixture[str]) -> None:
        """Where standard error is no terminal nothing is ever drawn."""
        with Bar() as bar:
            clock[0] = 60.0
            bar("planning", 0.5)

        assert capsys.readouterr().err == ""


def test_a_reader_that_goes_away_is_no_fault() -> None:
    """``mizo patterns | head -1`` says nothing on standard error, however little the reader took."""
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run([*MIZO, "patterns"], stdout=write, stderr=subprocess.PIPE, check=False)
    os.close(write)

    assert done.stderr == b""


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "utf-8"])
@pytest.mark.parametrize("words", [["patterns"], ["patterns", "asanoha"], ["patterns", "--json"]])
def test_kanji_where_they_cannot_be_shown(words: list[str], encoding: str) -> None:
    """On a terminal without Unicode the tables are printed all the same."""
    env = {**os.environ, "PYTHONIOENCODING": encoding}
    done = subprocess.run([*MIZO, *words], env=env, capture_output=True, check=False)

    assert done.returncode == 0
    assert done.stderr == b""
    assert b"hemp leaf" in done.stdout


def test_interruption_is_quiet(tmp_path: Path) -> None:
    """Ctrl-C ends a command with one word, the shell's own exit code, and no file."""
    (tmp_path / "big.yaml").write_text(
        JOB.replace("40 mm", "290 mm").replace("pitch: 10 mm", "pitch: 0.6 mm")
    )
    words = ["program", "big.yaml", "-o", "big.nc", "--set", "groove.depth=0.05"]
    started = subprocess.Popen([*MIZO, *words], cwd=tmp_path, stderr=subprocess.PIPE, stdout=subprocess.PIPE)
    time.sleep(1.5)
    started.send_signal(signal.SIGINT)
    _, err = started.communicate(timeout=60)

    assert started.returncode == 130
    assert err == b"Stopped.\n"
    assert [p.name for p in tmp_path.iterdir()] == ["big.yaml"]


def test_standard_output_that_is_full_is_told() -> None:
    """A disk that is full behind standard output ends with a sentence and exit code 2."""
    with open("/dev/full", "w") as full:
        code = "from vcarve.cli.main import main; main()"
        done = subprocess.run(
            [sys.executable, "-c", code, "new"], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )

    assert done.returncode == 2
    assert done.stderr == "wrong  standard output cannot be written: no space left on device\n"
