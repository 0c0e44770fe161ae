"""What moats may take off: never more than a lift costs, nothing from large components, and what single linkage says.

The rules are those that the proofs in ``vcarve.plan.moats`` and ``vcarve.plan.linkage`` rest on; gaps and the longest gap on
the way between two components come from networkx's spanning trees.
"""

import itertools

import networkx as nx
import numpy as np
import pytest

from small_network import cuts_of
from vcarve.plan import pairing
from vcarve.plan.costs import rates
from vcarve.plan.linkage import discounts
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


@pytest.fixture
def very_many(monkeypatch):
    """Treat any number of loops as very many."""
    monkeypatch.setattr(pairing, "LOOPS", 0)


@pytest.mark.usefixtures("very_many")
@pytest.mark.parametrize("seed", range(5))
def test_a_lift_between_loops_pays_two_halves_and_the_longest_gap_on_the_way(lines, job_of, seed):
    """The clusters that a lift leaves and enters are those of single linkage below the longest gap between its loops."""
    task, web, steady = posed(lines, job_of, seed, [LOOP] * 9)
    graph = nx.Graph()
    for a, b in itertools.combinations(range(9), 2):
        delta = web.xy_mm[task.component == a][:, None] - web.xy_mm[task.component == b][None]
        graph.add_edge(a, b, weight=float(steady.rapid_s(delta[..., 0], delta[..., 1]).min()))
    tree = nx.minimum_spanning_tree(graph)
    longest = max(gap for *_, gap in tree.edges(data="weight"))
    half = float(steady.lift_s(np.array(2.0))) / 2.0

    off, _ = discounts(task)

    lift, at, to, tie, _ = ends(task)
    for row, a, b in zip(lift.tolist(), at.tolist(), to.tolist(), strict=True):
        way = nx.shortest_path(tree, a, b)
        gap = max((tree.edges[step]["weight"] for step in itertools.pairwise(way)), default=None)
        assert off[row] == pytest.approx(0.0 if gap is None else 2.0 * half + gap, abs=1e-5)
    assert off[tie] == pytest.approx(half + longest / 2.0, abs=1e-5)


@pytest.mark.usefixtures("very_many", "large_stars")
@pytest.mark.parametrize("seed", range(5))
def test_large_components_pay_no_moats_and_others_no_more_than_half_a_lift_beyond_their_own(
    lines, job_of, seed
):
    """Where a lift may be led through a large component, the moats round the others stop at the cheapest half of a lift."""
    shapes = [STAR, *[LOOP] * 4, STAR, *[SEGMENT] * 3]
    task, _, steady = posed(lines, job_of, seed, shapes, spread=300.0)
    half = float(steady.lift_s(np.array(2.0))) / 2.0
    large, own = np.isin(np.arange(9), [0, 5]), np.where(task.even, half, 0.0)

    off, _ = discounts(task)

    lift, at, to, tie, hold = ends(task)
    assert (off <= task.graph.seconds + 1e-9).all()
    assert (off[tie][large[hold]] == 0.0).all()
    assert (off[tie] <= own[hold] + half + 1e-9).all()
    assert (off[lift] <= own[at] + own[to] + 2.0 * half + 1e-9).all()
    assert (off[lift][large[at] != large[to]] <= half + half + 1e-9).all()


@pytest.mark.parametrize("seed", range(5))
def test_moats_of_all_clusters_leave_no_lift_below_nothing(lines, job_of, seed):
    """At their largest prices the clusters that a lift crosses take no more off it than it costs."""
    task, _, _ = posed(lines, job_of, seed, [LOOP, SEGMENT, STAR] * 4)
    clusters = _clusters(task)
    lift, at, to, tie, hold = ends(task)
    off = np.zeros(len(task.graph.kind))
    for label, cap in clusters:
        off[lift] += np.where(label[at] != label[to], cap[label[at]] + cap[label[to]], 0.0)
        off[tie] += cap[label[hold]]

    assert len(clusters) > 1
    assert (off <= task.graph.seconds + 1e-9).all()


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
