"""What the page is given."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vcarve.plan.model import Proof
from vcarve.program.reader import read_program
from vcarve.view.facts import PageFacts, pass_of


def test_a_pass_is_a_run_of_moves_below_the_surface() -> None:
    """Each way down into the wood opens a pass, but from the surface itself; moves above are in no pass."""
    moves = read_program(
        "G21 G90 G94 F100\nM3 S1000\nG0 Z1\nG1 Z-1\nX5\nZ1\nG0 X9\nG1 Z-1\nZ0\nZ-1\nX2\nG0 Z2\nM2\n"
    ).moves

    assert pass_of(moves).tolist() == [-1, 0, 0, 0, -1, 1, 1, 1, 1, 1]


def test_probing_makes_no_pass() -> None:
    """Neither the way on which a probe touches nor the lift from there is a pass: how low it was is not known."""
    moves = read_program("G21 G90 G94 F100\nG0 Z5\nG38.2 Z-2\nG0 Z5\nG1 Z-1\nG0 Z5\nM2\n").moves

    assert pass_of(moves).tolist() == [-1, -1, -1, 0, 0]


def test_the_surface_of_passes_follows_where_zero_is() -> None:
    """With zero on the bed a move at 11 mm is below the top of a 12 mm piece."""
    moves = read_program("G21 G90 G94 F100\nM3 S1000\nG0 Z13\nG1 Z11\nX5\nG0 Z13\nM2\n").moves

    assert pass_of(moves, 12.0).tolist() == [-1, 0, 0, 0]
    assert pass_of(moves, 0.0).tolist() == [-1, -1, -1, -1]


def test_no_moves_have_no_passes() -> None:
    """An empty program gives an empty column."""
    assert pass_of(read_program("G21\nM2\n").moves).tolist() == []


def test_every_move_has_a_start_and_a_duration(facts: PageFacts) -> None:
    """Columns of the wrong length are refused."""
    with pytest.raises(ValueError, match="duration_s must have one entry per move"):
        replace(facts, duration_s=np.zeros(3))


@pytest.mark.parametrize(
    ("plan_s", "bound_s", "share"), [(110.0, 100.0, 0.1), (100.0, 100.0, 0.0), (5.0, 0.0, 0.0)]
)
def test_the_share_above_the_least(plan_s: float, bound_s: float, share: float) -> None:
    """The share is plan over bound less one, and nothing where there is no bound."""
    proof = Proof(plan_s=plan_s, bound_s=bound_s, cell_by_cell_s=1.0)

    assert proof.above_bound == pytest.approx(share)
