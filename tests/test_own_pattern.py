"""A maker's own pattern file through the command line: used, drawn, and told in plain words what is wrong with it."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from vcarve.cli.main import cli

OWN = """\
key: own
name: Own
lattice: {kind: square, a1: [1, 0], a2: [0, 1]}
group: %s
unit: side
pitch-range: [10 mm, 40 mm]
lines:
  - {from: [0, 0], to: [1, 0]}
  - {from: [0, 0], to: [0, 1]}
  - {from: [1/2, 0], to: %s}
"""
JOB = """\
piece: {width: 100, height: 80, thickness: 9, wood: maple-sugar}
pattern: {name: own.yaml, pitch: 20}
groove: {depth: 0.6}
bit: v60-3.175
machine: small-desktop
"""
PROGRAM = ("program", "job.yaml", "-o", "job.nc")
PICTURE = ("patterns", "own.yaml", "--picture", "own.png")
FACTS = ("patterns", "own.yaml")


def run(folder: Path, monkeypatch: pytest.MonkeyPatch, own: str, *words: str) -> Result:
    """Write the pattern and its job, and run the command line there."""
    monkeypatch.chdir(folder)
    Path("own.yaml").write_text(own)
    Path("job.yaml").write_text(JOB)
    return CliRunner().invoke(cli, list(words))


@pytest.mark.parametrize("words", [PROGRAM, PICTURE, FACTS])
def test_a_sound_pattern_is_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    """A pattern without fault becomes a program and a picture, and has nothing said against it."""
    done = run(tmp_path, monkeypatch, OWN % ("pmm", "[1/2, 1]"), *words)

    assert done.exit_code == 0, done.output
    assert "caution     the line" not in done.output
    if words == FACTS:
        assert done.stdout.endswith(Path("own.yaml").read_text()), "the file is printed as it is"


@pytest.mark.parametrize("words", [PROGRAM, FACTS])
def test_a_gap_is_told_with_the_end_to_mend(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    """0.0005 of the unit is 0.01 mm at 20 mm: the end as written is named, the size, and what to do."""
    done = run(tmp_path, monkeypatch, OWN % ("pm", "[1/2, 0.9995]"), *words)

    assert done.exit_code == 0
    assert "the line that ends at (0.5, 0.9995) stops 0.0005 of the unit short of another line" in done.output
    assert "(0.005 to 0.02 mm on the piece), so a cell stays open" in done.output


@pytest.mark.parametrize("words", [PROGRAM, PICTURE, FACTS])
@pytest.mark.parametrize(
    ("own", "line", "said"),
    [
        (OWN % ("pm", "[9, 1/2]"), 10, "this line reaches (9, 0.5), far outside the unit cell"),
        (OWN % ("p6", "[1/2, 1]"), 4, "group"),
        (
            OWN % ("p4", "[1/2, 1]") + "operations:\n  - {rotate: 6, about: [0, 0]}\n",
            12,
            "a 6-fold centre is a symmetry this square lattice cannot have",
        ),
    ],
    ids=["leaves the cell", "wrong group", "wrong centre"],
)
def test_faults_are_told_with_their_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], own: str, line: int, said: str
) -> None:
    """File, line and fault are told, and nothing is written."""
    done = run(tmp_path, monkeypatch, own, *words)

    assert done.exit_code == 2
    assert f"own.yaml:{line}" in done.stderr
    assert said in done.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job.yaml", "own.yaml"]
