"""What a dry run tells of its moves: where a pass is."""

from __future__ import annotations

from pathlib import Path

from vcarve.job.records import load_job
from vcarve.proofing import check_program

CROSS = str(Path(__file__).parent / "dryrun" / "programs" / "cross.yaml")
DEEP = "G21 G90 G94 F100\nM3 S1000\nG0 Z{}\nG1 Z{}\nX5\nG0 Z{}\nM2\n"


def passes(text: str) -> list[int]:
    """Return the pass of each move of a program without its job."""
    return check_program(text).pass_of.tolist()


def test_a_pass_is_a_run_of_moves_below_the_surface() -> None:
    """Each way down into the wood opens a pass, but from the surface itself; moves above are in no pass."""
    text = "G21 G90 G94 F100\nM3 S1000\nG0 Z1\nG1 Z-1\nX5\nZ1\nG0 X9\nG1 Z-1\nZ0\nZ-1\nX2\nG0 Z2\nM2\n"

    assert passes(text) == [-1, 0, 0, 0, -1, 1, 1, 1, 1, 1]
    assert check_program(text).passes == 2


def test_probing_makes_no_pass() -> None:
    """Neither the way on which a probe touches nor the lift from there is a pass: how low it was is not known."""
    assert passes("G21 G90 G94 F100\nG0 Z5\nG38.2 Z-2\nG0 Z5\nG1 Z-1\nG0 Z5\nM2\n") == [-1, -1, -1, 0, 0]


def test_the_surface_of_passes_follows_where_zero_is() -> None:
    """With zero on the bed a move 1 mm below the piece's top is a pass; without its job it is in the air."""
    job = load_job(CROSS, ["zero.z=bed"])
    top = job.piece.thickness_mm
    text = DEEP.format(top + 1.0, top - 1.0, top + 1.0)

    assert check_program(text, job).pass_of.tolist() == [-1, 0, 0, 0]
    assert passes(text) == [-1, -1, -1, -1]


def test_no_moves_have_no_passes() -> None:
    """An empty program gives an empty column, and reaches nowhere."""
    run = check_program("G21\nM2\n")

    assert (run.pass_of.tolist(), run.passes, run.extents_mm) == ([], 0, {})
