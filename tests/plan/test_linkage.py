"""Bounds and orders for very many loose loops, against networkx's spanning trees and against the full method."""

import itertools

import networkx as nx
import numpy as np
import pytest

from small_network import cuts_of
from vcarve.mount.flat import mount_of
from vcarve.plan import bound as bounds
from vcarve.plan import moats, pairing
from vcarve.plan.bound import best_pairing
from vcarve.plan.costs import rates
from vcarve.plan.linkage import discounts
from vcarve.plan.loose import nearest_pairs, visits
from vcarve.plan.pairing import pose
from vcarve.plan.planner import plan
from vcarve.plan.web import weave


def squares(lines, seed, count):
    """Return squares of 4 mm on random places of a 10 mm grid."""
    spots = np.random.default_rng(seed).choice(64, count, replace=False)
    corners, edges = [], []
    for k, spot in enumerate(spots.tolist()):
        x, y = 10.0 * (spot % 8), 10.0 * (spot // 8)
        corners += [(x, y), (x + 4, y), (x + 4, y + 4), (x, y + 4)]
        edges += [(4 * k + i, 4 * k + (i + 1) % 4) for i in range(4)]
    return lines(corners, edges)


@pytest.fixture
def many(monkeypatch):
    """Treat any number of components as very many."""
    monkeypatch.setattr(pairing, "LOOPS", 0)
    monkeypatch.setattr(moats, "MOST", 0)
    monkeypatch.setattr(bounds, "MOST", 0)


@pytest.mark.usefixtures("many")
@pytest.mark.parametrize("seed", range(8))
def test_moats_of_loops_add_up_to_a_spanning_tree(lines, job_of, seed):
    """Twice their sum is a lift for each loop, networkx's least spanning tree of the gaps, and its longest edge again."""
    network = squares(lines, seed, 14)
    steady = rates(job_of(hop_mm=1.0))
    web = weave(cuts_of(network, 2.0), steady)
    task = pose(web, steady, recut=True, start_mm=(-5.0, -5.0))
    graph = nx.Graph()
    for a, b in itertools.combinations(range(14), 2):
        p, q = web.xy_mm[task.component == a], web.xy_mm[task.component == b]
        delta = p[:, None] - q[None]
        graph.add_edge(a, b, weight=float(steady.rapid_s(delta[..., 0], delta[..., 1]).min()))
    gaps = [d["weight"] for *_, d in nx.minimum_spanning_edges(graph)]
    wanted = 14 * float(steady.lift_s(np.array(2.0))) + sum(gaps) + max(gaps)

    off, total = discounts(task)

    assert total == pytest.approx(wanted, abs=1e-3)
    assert (off <= task.graph.seconds + 1e-9).all()


@pytest.mark.slow
@pytest.mark.usefixtures("many")
@pytest.mark.parametrize("name", ["masu-tsunagi", "komochi-kikko", "bishamon-komochi", "yotsu-waribishi"])
def test_the_bound_for_very_many_is_below_what_the_full_method_reaches(catalogued, job_of, monkeypatch, name):
    """A bound that any plan beats would be none."""
    network = catalogued(name, 120.0, 20.0)
    depth = np.full(len(network.tail), 2.0)
    job = job_of(120.0, hop_mm=1.0)
    steady = rates(job)
    web = weave(cuts_of(network, depth), steady)
    _, quick = best_pairing(web, steady, recut=True, start_mm=mount_of(job).zero_mm)
    monkeypatch.undo()

    full = plan(cuts_of(network, depth, job.step_mm), job).proof

    assert 0.9 * full.plan_s <= quick <= full.plan_s


@pytest.mark.slow
def test_visits_go_everywhere_once_and_little_further_than_needed():
    """On random places the greedy order visits each once, within 1.5 of the spanning tree (2 would be walking it twice)."""
    for seed in range(5):
        places = np.random.default_rng(seed).random((300, 2)) * 100.0
        none = np.zeros(0, np.int64)

        order = visits(none, none, np.zeros(0), places)

        gaps = np.abs(places[:, None] - places[None]).max(axis=2)
        tree = sum(d["weight"] for *_, d in nx.minimum_spanning_edges(nx.from_numpy_array(gaps)))
        assert np.array_equal(np.sort(order), np.arange(300))
        assert gaps[order[:-1], order[1:]].sum() <= 1.5 * tree


def test_nearest_pairs_pair_each_once():
    """Two close places become a pair, and nobody is left over."""
    where = np.array([[0.0, 0.0], [1.0, 0.0], [10.0, 0.0], [10.5, 0.0], [30.0, 0.0], [90.0, 0.0]])

    pairs = nearest_pairs(where, np.arange(6))

    assert {frozenset(p) for p in pairs.tolist()} == {frozenset(p) for p in ((0, 1), (2, 3), (4, 5))}
