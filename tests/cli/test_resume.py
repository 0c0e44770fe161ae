"""The ``resume`` command: what it says and writes, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from vcarve.cli.main import cli

PROGRAMS = Path(__file__).parent.parent / "dryrun" / "programs"
CROSS, JOB = str(PROGRAMS / "cross.nc"), str(PROGRAMS / "cross.yaml")


def ask(*words: str, text: bytes | None = None) -> Result:
    """Run the command; anything but a clean end or a wanted exit is raised."""
    return CliRunner().invoke(cli, list(words), input=text, catch_exceptions=False)


def test_a_rest_is_written_and_judged_with_its_whole(tmp_path: Path) -> None:
    """The rest is written, and its dry run takes for cut what the program named beside it had cut before."""
    rest = str(tmp_path / "rest.nc")
    made = ask("resume", CROSS, "--pass", "2", "-o", rest)
    alone = ask("dry-run", rest, "--job", JOB)
    judged = ask("dry-run", rest, "--job", JOB, "--cut-before", CROSS)

    assert made.exit_code == 0
    assert "pass 2 of 3" in made.stdout
    assert "set Z0 again" in made.stdout
    assert alone.exit_code == 1
    assert "[line-missed]" in alone.stdout
    assert judged.exit_code == 0
    assert "1 pass of the earlier program count as cut" in judged.stdout
    assert (
        json.loads(ask("dry-run", rest, "--job", JOB, "--cut-before", CROSS, "--json").stdout)[
            "passes_before"
        ]
        == 1
    )


def test_figures_and_standard_streams() -> None:
    """With - the rest goes to standard output, and the figures beside it."""
    data = Path(CROSS).read_bytes()
    done = ask("resume", "-", "--pass", "3", "-o", "-", "--json", text=data)

    assert done.stdout.endswith(data.decode().splitlines()[-1] + "\n")
    assert json.loads(done.stderr)["pass"] == 3


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "Give one of --pass, --line and --after: where the program stopped."),
        (("--pass", "2", "--line", "9"), "Give one of --pass, --line and --after"),
        (("--pass", "two"), "--pass: 'two': "),
        (("--pass", "4"), "--pass: '4': the program has 3 passes"),
        (("--after", "7 mm"), "--after: '7 mm': 'mm' is a unit of length"),
        (("--after", "9 min"), "--after: '9 min 00 s': by the dry run's clock the program lasts"),
        (("--pass", "2", "-o", "rest.svg"), "this is for a program; its name must end in"),
        (("--pass", "2", "-o", CROSS), "is read by this command; write to another file"),
    ],
)
def test_wrong_calls(words: tuple[str, ...], said: str) -> None:
    """A wrong call ends with exit code 2 and says what would be right; nothing is written."""
    done = ask("resume", CROSS, *words)

    assert done.exit_code == 2
    assert said in done.stderr


def test_other_files() -> None:
    """A job in place of a program is told as such, and a rest needs its job to be judged with its whole."""
    assert "this is a job file" in ask("resume", JOB, "--pass", "2").stderr
    lone = ask("dry-run", CROSS, "--cut-before", CROSS)
    assert "--cut-before: this needs --job" in lone.stderr
    assert ask("dry-run", CROSS, "--job", JOB, "--cut-before", CROSS).exit_code == 0
