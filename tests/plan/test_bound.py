"""What moats may take off: never more than a lift costs, and nothing from large components.

The rules are those that the proof in ``vcarve.plan.bound`` rests on.
"""

import numpy as np
import pytest

from small_network import cuts_of
from vcarve.plan import pairing
from vcarve.plan.bound import _moats
from vcarve.plan.pairing import FROM_START, LIFT, TO_END, pose
from vcarve.plan.web import rates, weave

START = (-5.0, -5.0)
LOOP = [(0, 1), (1, 2), (2, 3), (3, 0)]
STAR = [(0, 1), (0, 2), (0, 3)]
SEGMENT = [(0, 1)]


def posed(lines, job_of, seed, shapes, spread=60.0):
    """Return a task of squares, stars and segments of some millimetres at random places."""
    rng = np.random.default_rng(seed)
    corners: list[list[float]] = []
    edges: list[tuple[int, int]] = []
    for shape in shapes:
        place, first = rng.uniform(0.0, spread, 2), len(corners)
        arms = np.array([(0, 0), (3, 0), (3, 3), (0, 3)])[: 2 if shape is SEGMENT else 4]
        corners += (place + arms).tolist()
        edges += [(first + a, first + b) for a, b in shape]
    steady = rates(job_of(hop_mm=1.0))
    web = weave(cuts_of(lines(corners, edges), 2.0), steady)
    return pose(web, steady, recut=True, start_mm=START)


@pytest.mark.parametrize("seed", range(5))
def test_moats_of_all_clusters_leave_no_lift_below_nothing(lines, job_of, seed):
    """At their largest prices the clusters that a lift crosses take no more off it than it costs; a first approach may."""
    task = posed(lines, job_of, seed, [LOOP, SEGMENT, STAR] * 4)
    moats, moves = _moats(task), task.moves
    lift, tie = moves.kind == LIFT, (moves.kind == FROM_START) | (moves.kind == TO_END)
    off = np.zeros(len(moves.kind))
    for label, most in moats:
        of = label[task.component]
        at, to = of[moves.at], of[moves.to]
        off[lift] += (most * ((at != to) * ((at >= 0) * 1.0 + (to >= 0))))[lift]
        off[tie] += (most * (at >= 0))[tie]

    assert len(moats) > 2
    assert off[lift].max() > 0.0
    assert (off <= moves.seconds + 1e-9)[moves.kind != FROM_START].all()


@pytest.mark.parametrize("seed", range(5))
def test_beside_a_large_component_moats_add_up_to_a_quarter_of_a_lift(lines, job_of, monkeypatch, seed):
    """Led through a vertex of it without odd node a lift then costs no less than the direct one; itself it has no moat."""
    monkeypatch.setattr(pairing, "MANY", 0)
    monkeypatch.setattr(pairing, "LARGE", 2)
    task = posed(lines, job_of, seed, [STAR, *[LOOP] * 4, STAR, *[SEGMENT] * 3, *[LOOP] * 8])
    moats = _moats(task)
    total = np.sum([most * (label >= 0) for label, most in moats], axis=0)

    assert len(moats) > 1
    assert (total <= 2.0 * float(task.half.min()) / 4.0 + 1e-9).all()
    assert total[[0, 5]].tolist() == [0.0, 0.0]
    assert total.max() > 0.0
