"""How near a plan says that it is to the least time."""

from __future__ import annotations

import pytest

from vcarve.plan.model import Proof


@pytest.mark.parametrize(
    ("plan_s", "bound_s", "share"), [(110.0, 100.0, 0.1), (100.0, 100.0, 0.0), (5.0, 0.0, 0.0)]
)
def test_the_share_above_the_least(plan_s: float, bound_s: float, share: float) -> None:
    """The share is plan over bound less one, and nothing where there is no bound."""
    proof = Proof(plan_s=plan_s, bound_s=bound_s, cell_by_cell_s=1.0)

    assert proof.above_bound == pytest.approx(share)
