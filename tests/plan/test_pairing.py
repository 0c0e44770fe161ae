"""The pairing against a general matching over the complete graph of odd vertices."""

import itertools

import networkx as nx
import numpy as np
import pytest

from small_network import cuts_of
from vcarve.plan import pairing
from vcarve.plan.bound import best_pairing
from vcarve.plan.pairing import pair
from vcarve.plan.tjoin import NOISE
from vcarve.plan.web import rates, weave

START = (-30.0, -30.0)


def random_network(lines, seed):
    """Return a connected network of straight edges between random points."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(3, 13))
    xy = rng.uniform(-30, 30, (n, 2)).round(3)
    edges = {(int(rng.integers(0, i)), i) for i in range(1, n)}
    for _ in range(int(rng.integers(0, n))):
        a, b = sorted(rng.choice(n, 2, replace=False).tolist())
        edges.add((a, b))
    return lines(xy, sorted(edges))


def least_by_networkx(web, mine, *, recut):
    """Return weight of the least matching of odd vertices, start and end, every pair priced by its cheapest connection."""
    graph = nx.Graph()
    graph.add_nodes_from(range(len(web.xy_mm)))
    for u, v, s in zip(web.u.tolist(), web.v.tolist(), web.cut_s.tolist(), strict=True):
        if s < graph.get_edge_data(u, v, {"weight": np.inf})["weight"]:
            graph.add_edge(u, v, weight=s)
    degree = np.bincount(np.concatenate([web.u, web.v]))
    odd = np.flatnonzero(degree % 2).tolist()
    far = dict(nx.all_pairs_dijkstra_path_length(graph))
    half = float(mine.lift_s(np.array(2.0))) / 2.0
    approach = mine.rapid_s(web.xy_mm[:, 0] - START[0], web.xy_mm[:, 1] - START[1]) + half
    full = nx.Graph()
    for a, b in itertools.combinations(odd, 2):
        d = web.xy_mm[a] - web.xy_mm[b]
        lift = 2.0 * half + float(mine.rapid_s(d[0], d[1]))
        full.add_edge(a, b, weight=min(lift, far[a][b]) if recut else lift)
    for a in odd:
        via = [approach[b] + far[b][a] for b in range(len(web.xy_mm))] if recut else [approach[a]]
        full.add_edge("start", a, weight=float(min(via)))
        full.add_edge("end", a, weight=half)
    if recut or not odd:
        full.add_edge("start", "end", weight=float(approach.min()) + half)
    matching = nx.min_weight_matching(full)
    return sum(full.edges[pair]["weight"] for pair in matching)


@pytest.mark.slow
@pytest.mark.parametrize("recut", [True, False])
def test_pairing_weighs_the_same_as_a_complete_matching(lines, job_of, recut):
    """Blossom over the sparse two-layer graph finds the least weight of the complete graph, over many networks."""
    mine = rates(job_of(hop_mm=1.0))
    for seed in range(150):
        network = random_network(lines, seed)
        web = weave(cuts_of(network, 2.0), mine)

        found = pair(web, mine, recut=recut, start_mm=START)

        assert found.cost_s == pytest.approx(least_by_networkx(web, mine, recut=recut), rel=NOISE)


def test_a_closed_square_needs_no_recut(lines, job_of):
    """Without odd vertices the tour opens at the vertex nearest to the start and ends there."""
    mine = rates(job_of())
    network = lines([(0, 0), (10, 0), (10, 10), (0, 10)], [(0, 1), (1, 2), (2, 3), (3, 0)])
    web = weave(cuts_of(network, 2.0), mine)

    found = pair(web, mine, recut=True, start_mm=(-5.0, -5.0))

    assert (found.start, found.end, len(found.lift), len(found.recut_edge)) == (0, 0, 0, 0)


@pytest.mark.slow
def test_far_pairs_are_never_overpriced(catalogued, job_of, monkeypatch):
    """Fewer lifts to choose from (a shorter reach) may only lower the bound."""
    mine = rates(job_of(hop_mm=1.0))
    network = catalogued("kaku-asanoha", 300.0, 20.0)
    web = weave(cuts_of(network, 2.0), mine)
    costs = []
    for near in (0.5, 1.5, 5.0):
        monkeypatch.setattr(pairing, "NEAR", near)
        monkeypatch.setattr(pairing, "FEW", 0.0)
        costs.append(best_pairing(web, mine, recut=True, start_mm=(-150.0, -150.0))[1] - web.cut_s.sum())

    assert costs[0] <= costs[1] + 0.01 * costs[1]
    assert costs[1] <= costs[2] + 0.01 * costs[2]


def test_three_loose_segments_cost_no_less_than_the_bound_and_the_best_order(lines, job_of):
    """All orders and directions of a few loose segments, tried one by one, are never below the bound."""
    mine = rates(job_of(hop_mm=1.0))
    for seed in range(25):
        xy = np.random.default_rng(seed).uniform(-30, 30, (8, 2)).round(3)
        network = lines(xy, [(0, 1), (2, 3), (4, 5), (6, 7)])
        web = weave(cuts_of(network, 2.0), mine)
        best = np.inf
        for order in itertools.permutations(range(4)):
            for turns in itertools.product((0, 1), repeat=4):
                here, total = np.array(START), 0.0
                for k, turned in zip(order, turns, strict=True):
                    a, b = xy[2 * k + turned], xy[2 * k + 1 - turned]
                    total += float(mine.rapid_s(*(a - here))) + float(mine.lift_s(np.array(2.0)))
                    here = b
                best = min(best, total)
        best += float(web.cut_s.sum()) + mine.fixed_s

        _, bound = best_pairing(web, mine, recut=False, start_mm=START)

        assert bound <= best + 1e-6


def test_loose_triangles_and_a_segment_cost_no_less_than_the_bound(lines, job_of):
    """All orders, directions and entries of three triangles and a segment are never below the bound, close or far."""
    mine = rates(job_of(hop_mm=1.0))
    for seed in range(12):
        rng = np.random.default_rng(seed)
        corners = [rng.uniform(-30, 30, 2) + rng.uniform(-1, 1, (3, 2)) * rng.uniform(2, 9) for _ in range(3)]
        segment = rng.uniform(-30, 30, (2, 2))
        xy = np.concatenate([*corners, segment]).round(3)
        sides = [(3 * k + i, 3 * k + (i + 1) % 3) for k in range(3) for i in range(3)]
        web = weave(cuts_of(lines(xy, [*sides, (9, 10)]), 2.0), mine)
        ways = [[(3 * k + i, 3 * k + i) for i in range(3)] for k in range(3)] + [[(9, 10), (10, 9)]]
        leap = mine.rapid_s(*np.moveaxis(xy[:, None] - xy[None], 2, 0))
        first = mine.rapid_s(*(xy - np.array(START)).T)
        best = min(
            float(first[chosen[0][0]] + sum(leap[p[1], q[0]] for p, q in itertools.pairwise(chosen)))
            for order in itertools.permutations(range(4))
            for chosen in itertools.product(*(ways[k] for k in order))
        )
        best += 4.0 * float(mine.lift_s(np.array(2.0))) + float(web.cut_s.sum()) + mine.fixed_s

        for recut in (True, False):
            _, bound = best_pairing(web, mine, recut=recut, start_mm=START)

            assert bound <= best + 1e-6
            assert bound >= 0.9 * best
