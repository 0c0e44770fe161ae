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
        (
            ("--pass", "2", "--line", "9"),
            "Give one of --pass, --line and --after: where the program stopped.",
        ),
        (("--pass", "two"), "--pass: 'two': a whole number is wanted, such as 4"),
        (("--pass", "4"), "--pass: '4': the program has 3 passes"),
        (
            ("--pass", "1"),
            "cross.nc: no rapid across leads there from a cut, where a rest could begin; run the "
            "program itself from its beginning",
        ),
        (("--line", "0"), "--line: '0': the program has 19 lines"),
        (("--line", "18"), "cross.nc: no cut of this program is left from there on"),
        (
            ("--after", "7 mm"),
            "--after: '7 mm': 'mm' is a unit of length; a time is wanted, such as 3 s, 500 ms or 0.5 min",
        ),
        (
            ("--after", "7"),
            "--after: '7': a time is wanted, each number with its unit, such as 7 min or 3 min 05 s",
        ),
        (
            ("--after", "5 min 30"),
            "--after: '5 min 30': a time is wanted, each number with its unit, such as 7 min or 3 min 05 s",
        ),
        (("--after", "9 min"), "--after: '9 min 00 s': by the dry run's clock the program lasts 18 s"),
        (("--after", "-1 s"), "--after: '-1.0 s': by the dry run's clock the program lasts 18 s"),
        (
            ("--pass", "2", "-o", "rest.svg"),
            "'rest.svg': this is for a program; its name must end in .nc, .ngc, .gcode, .gc, .g, .tap, .cnc or .txt",
        ),
        (("--pass", "2", "-o", CROSS), "'cross.nc': is read by this command; write to another file"),
        (
            ("--pass", "2", "--machine", "none"),
            "'none': unknown machine; 'mizo machines' lists them (a file of your own is given by its "
            "path, ending in .yaml)",
        ),
    ],
)
def test_wrong_calls(words: tuple[str, ...], said: str) -> None:
    """A wrong call ends with exit code 2 and says what would be right; nothing is written."""
    done = ask("resume", CROSS, *words)

    assert done.exit_code == 2
    assert done.stderr.replace(CROSS, "cross.nc").removesuffix("Nothing was written.\n") == f"wrong  {said}\n"


def test_other_files() -> None:
    """A job in place of a program is told as such, and a rest needs its job to be judged with its whole."""
    assert "this is a job file" in ask("resume", JOB, "--pass", "2").stderr
    assert "this is a job file" in ask("dry-run", CROSS, "--job", JOB, "--cut-before", JOB).stderr
    lone = ask("dry-run", CROSS, "--cut-before", CROSS)
    assert "--cut-before: this needs --job" in lone.stderr
    assert ask("dry-run", CROSS, "--job", JOB, "--cut-before", CROSS).exit_code == 0


def test_a_file_that_is_no_program_is_told_in_few_lines(tmp_path: Path) -> None:
    """Of hundreds of lines that cannot be read the first are told, and how many there are."""
    log = tmp_path / "log.nc"
    log.write_text("[PRB:1,2,3:1]\n" * 300)

    assert ask("resume", str(log), "--pass", "2").stderr.count("\n") < 30


@pytest.mark.parametrize("asked", ["14 s", "14s", "0 min 14 sec", "0.001 h 10.4 s"])
def test_a_time_is_written_as_it_is_printed(asked: str) -> None:
    """Parts of a time, each with its unit, come together."""
    done = ask("resume", CROSS, "--after", asked, "--json")

    assert json.loads(done.stdout)["pass"] == 3
