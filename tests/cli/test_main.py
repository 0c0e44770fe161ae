"""The command line as a whole: help, wrong commands, colour, encodings, broken pipes, interruption."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

from vcarve.cli.main import COMMANDS, cli
from vcarve.cli.terminal import progress_bar
from vcarve.errors import Finding, InputError, InternalError, Problem, RefusedError

MIZO = [sys.executable, "-c", "from vcarve.cli.start import main; main()"]
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
    assert re.findall(r"\b\d+(?= )", done.stdout.split("Exit codes: ")[1]) == [
        "0",
        "1",
        "2",
        "70",
        "130",
        "143",
        "141",
    ]


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
            RefusedError([Finding("clamp", "Bad.", at_mm=(1.0, 2.0)), Finding("chip", "So.")]),
            1,
            [
                "must not be cut  Bad. [clamp]",
                "caution  So. [chip]",
                "Nothing was written. Add --picture plan.svg or --page run.html to see where.",
            ],
        ),
        (RefusedError([Finding("travel", "Bad.")]), 1, ["Nothing was written.\n"]),
    ],
)
def test_errors_become_messages_and_exit_codes(
    monkeypatch: pytest.MonkeyPatch, error: Exception, code: int, sentences: list[str]
) -> None:
    """Problems end with 2, findings with 1; all of them go to standard error."""

    def fail(*_: Any, **__: Any) -> None:
        raise error

    monkeypatch.setattr("vcarve.job.starters.starter_text", fail)
    done = CliRunner().invoke(cli, ["new"])

    assert done.exit_code == code
    assert done.stdout == ""
    assert [line for line in sentences if line not in done.stderr] == []


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        (InternalError("It broke."), "It broke."),
        (ArithmeticError("a library's \x1b[2J"), "ArithmeticError: a library's \\x1b[2J"),
        (PermissionError(13, "denied"), "PermissionError: [Errno 13] denied"),
    ],
)
def test_a_fault_of_our_own_leaves_its_evidence(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, error: Exception, sentence: str
) -> None:
    """Whatever breaks, the terminal gets sentences and exit code 70, and a file says where it broke."""

    def fail(*_: Any, **__: Any) -> None:
        raise error

    monkeypatch.setattr("vcarve.job.starters.starter_text", fail)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    done = CliRunner().invoke(cli, ["new"])
    kept = [*tmp_path.iterdir()]

    assert done.exit_code == 70
    assert done.stderr.startswith(f"INTERNAL ERROR  {sentence}\n")
    assert "Traceback" not in done.stderr
    assert "\x1b" not in done.stderr
    assert str(kept[0]) in done.stderr
    assert f"{type(error).__name__}: {error}" in kept[0].read_text()
    assert "in fail" in kept[0].read_text()


def test_a_lack_of_memory_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the memory does not suffice, the job asks for too much: exit code 2 and what would need less."""

    def fail(*_: Any, **__: Any) -> None:
        raise MemoryError

    monkeypatch.setattr("vcarve.job.starters.starter_text", fail)
    done = CliRunner().invoke(cli, ["new"])

    assert done.exit_code == 2
    assert "the memory does not suffice" in done.stderr


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
        """Return a clock that shows what its only item says."""
        now = [0.0]
        monkeypatch.setattr("vcarve.cli.terminal.time.monotonic", lambda: now[0])
        return now

    def test_waits_a_second_then_draws_and_clears(
        self, clock: list[float], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """On a terminal nothing is drawn for a second; what is drawn then is wiped at the end."""
        monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
        with progress_bar() as bar:
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
        with progress_bar() as bar:
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


@pytest.mark.slow
@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "utf-8"])
@pytest.mark.parametrize("words", [["patterns"], ["patterns", "asanoha"], ["patterns", "--json"]])
def test_kanji_where_they_cannot_be_shown(words: list[str], encoding: str) -> None:
    """On a terminal without Unicode the tables are printed all the same."""
    env = {**os.environ, "PYTHONIOENCODING": encoding}
    done = subprocess.run([*MIZO, *words], env=env, capture_output=True, check=False)

    assert done.returncode == 0
    assert done.stderr == b""
    assert b"hemp leaf" in done.stdout


# Ctrl-C comes when the command has imported so many modules, or has come to a place of its own.
INTERRUPTED = """
import importlib, signal, sys
word = sys.argv.pop(1)
count = 0

class Ear:
    def find_spec(self, name, path=None, target=None):
        global count
        count += 1
        if word == name or word == str(count):
            signal.raise_signal(signal.SIGINT)

if word.startswith("at "):
    module, _, name = word[3:].rpartition(".")
    def interrupted(*_, **__):
        signal.raise_signal(signal.SIGINT)
    setattr(importlib.import_module(module), name, interrupted)
from vcarve.cli.start import main
sys.meta_path.insert(0, Ear())
try:
    main()
finally:
    if word == "never":
        print(count)
"""
WRITING = ["program", "tile.yaml", "-o", "tile.nc", "--page", "tile.html"]


def interrupted(folder: Path, word: str) -> subprocess.CompletedProcess[bytes]:
    """Run a command that writes two files, and press Ctrl-C at a place in it."""
    (folder / "tile.yaml").write_text(JOB)
    words = [sys.executable, "-c", INTERRUPTED, word, *WRITING]
    return subprocess.run(words, cwd=folder, capture_output=True, check=False)


@pytest.mark.slow
@pytest.mark.parametrize(
    "word",
    [
        "vcarve.cli.main", "click", "numpy", "vcarve.plan.planner", "at vcarve.job.records.read_document",
        "at vcarve.plan.planner.candidates", "at vcarve.dryrun.check.check", "at os.replace", "at tempfile.mkdtemp",
    ],
)  # fmt: skip
def test_interruption_is_quiet(tmp_path: Path, word: str) -> None:
    """Ctrl-C, also while Python imports, ends a command with one word, the shell's own exit code, and no file."""
    done = interrupted(tmp_path, word)

    assert (done.returncode, done.stderr, done.stdout) == (130, b"Stopped.\n", b"")
    assert [p.name for p in tmp_path.iterdir()] == ["tile.yaml"]


# One of two files has its new name when somebody asks the command to end.
BETWEEN = """
import os, signal, sys
replace = os.replace
def one(*names):
    replace(*names)
    os.replace = replace
    signal.raise_signal(signal.SIGTERM)
os.replace = one
from vcarve.cli.start import main
main()
"""


@pytest.mark.slow
def test_an_end_between_two_files_leaves_neither(tmp_path: Path) -> None:
    """Asked to end while it gives its files their names, a command takes them back: a new one away, the former one there."""
    (tmp_path / "tile.yaml").write_text(JOB)
    (tmp_path / "tile.nc").write_text("former")
    for files in (WRITING, ["program", "tile.yaml", "--page", "tile.html", "-o", "other.nc"]):
        done = subprocess.run(
            [sys.executable, "-c", BETWEEN, *files], cwd=tmp_path, capture_output=True, check=False
        )

        assert (done.returncode, done.stderr, done.stdout) == (143, b"Stopped.\n", b"")
        assert sorted(p.name for p in tmp_path.iterdir()) == ["tile.nc", "tile.yaml"]
        assert (tmp_path / "tile.nc").read_text() == "former"


def test_a_command_stopped_with_standard_error_closed_says_nothing() -> None:
    """What belongs to standard error never lands on standard output, where a program may go."""
    command = shlex.join([sys.executable, "-c", INTERRUPTED, "click", "woods"])
    done = subprocess.run(["sh", "-c", f"{command} 2>&-"], stdout=subprocess.PIPE, check=False)

    assert (done.returncode, done.stdout) == (130, b"")


@pytest.mark.slow
def test_interruption_at_any_import(tmp_path: Path) -> None:
    """Ctrl-C is as quiet at any of the modules that a command imports."""
    imports = int(interrupted(tmp_path, "never").stdout.split()[-1])
    for count in (1, *(imports * tenth // 10 for tenth in (2, 4, 6, 8)), imports):
        for leftover in ("tile.nc", "tile.html"):
            (tmp_path / leftover).unlink(missing_ok=True)
        done = interrupted(tmp_path, str(count))

        assert (count, done.returncode, done.stderr) == (count, 130, b"Stopped.\n")
    assert imports > 300


def test_standard_output_that_is_full_is_told() -> None:
    """A disk that is full behind standard output ends with a sentence and exit code 2."""
    with open("/dev/full", "w") as full:
        code = "from vcarve.cli.main import main; main()"
        done = subprocess.run(
            [sys.executable, "-c", code, "new"], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )

    assert done.returncode == 2
    assert done.stderr == "wrong  standard output cannot be written: no space left on device\n"
