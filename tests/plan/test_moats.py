"""What moats may take off: never more than a lift costs, nothing from large components, and what single linkage says.

The rules are those that the proofs in ``vcarve.plan.moats`` rest on.
"""

import numpy as np
import pytest

from small_network import cuts_of
from vcarve.plan import pairing
from vcarve.plan.costs import rates
from vcarve.plan.moats import _clusters
from vcarve.plan.pairing import pose
from vcarve.plan.tjoin import FROM_START, LIFT, TO_END
from vcarve.plan.web import weave

START = (-5.0, -5.0)
LOOP = [(0, 1), (1, 2), (2, 3), (3, 0)]
STAR = [(0, 1), (0, 2), (0, 3)]
SEGMENT = [(0, 1)]


def posed(lines, job_of, seed, shapes, spread=60.0):
    """Return a task of squares, stars and segments of some millimetres at random places, and its web."""
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
    return pose(web, steady, recut=True, start_mm=START), web, steady


def ends(task):
    """Return the lifts and the ties of a task: their rows, and the components they join."""
    graph = task.graph
    lift = np.flatnonzero(graph.kind == LIFT)
    tie = np.flatnonzero((graph.kind == FROM_START) | (graph.kind == TO_END))
    at, to = task.component[graph.ref[lift]], task.component[graph.ref2[lift]]
    return lift, at, to, tie, task.component[graph.ref[tie]]


@pytest.fixture
def large_stars(monkeypatch):
    """Take stars for large components, in which not every vertex is a site, and segments for small ones."""
    monkeypatch.setattr(pairing, "FEW", 0)
    monkeypatch.setattr(pairing, "SMALL", 2)


@pytest.mark.parametrize("seed", range(5))
def test_moats_of_all_clusters_leave_no_lift_below_nothing(lines, job_of, seed):
    """At their largest prices the clusters that a lift crosses take no more off it than it costs; a first approach may."""
    task, _, _ = posed(lines, job_of, seed, [LOOP, SEGMENT, STAR] * 4)
    clusters = _clusters(task)
    lift, at, to, tie, hold = ends(task)
    off = np.zeros(len(task.graph.kind))
    for label, cap in clusters:
        off[lift] += np.where(label[at] != label[to], cap[label[at]] + cap[label[to]], 0.0)
        off[tie] += cap[label[hold]]

    assert len(clusters) > 1
    assert (off <= task.graph.seconds + 1e-9)[task.graph.kind != FROM_START].all()


@pytest.mark.usefixtures("large_stars")
@pytest.mark.parametrize("seed", range(5))
def test_beside_a_large_component_moats_add_up_to_a_quarter_of_a_lift(lines, job_of, seed):
    """Led through a vertex of it without odd node a lift then costs no less than the direct one; itself it has no moat."""
    task, _, steady = posed(lines, job_of, seed, [STAR, *[LOOP] * 4, STAR, *[SEGMENT] * 3, *[LOOP] * 8])
    clusters = _clusters(task)
    total = np.zeros(len(task.even))
    for label, cap in clusters:
        total += cap[label]

    assert len(clusters) > 1
    assert (total <= float(steady.lift_s(np.array(2.0))) / 4.0 + 1e-9).all()
    assert total[[0, 5]].tolist() == [0.0, 0.0]
    assert total.max() > 0.0
