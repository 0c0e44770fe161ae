"""Joins with very many members of T, found tile by tile, against networkx and against the whole graph at once."""

import itertools

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from small_network import cuts_of
from vcarve.mount.flat import mount_of
from vcarve.plan import tjoin
from vcarve.plan.bound import best_pairing
from vcarve.plan.pairing import pose
from vcarve.plan.tjoin import Graph, cheapest
from vcarve.plan.web import rates, weave

ROUNDING = 1e-4  # of the whole: noise, and weights rounded to whole numbers


@st.composite
def graphs(draw):
    """Draw a grid of up to 6 by 6 nodes with random prices, members and ties to a hub (the last node), of all or of members."""
    wide, high = draw(st.integers(2, 6)), draw(st.integers(2, 6))
    size = wide * high
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    number = np.arange(size).reshape(high, wide)
    steps = [np.column_stack([number[:, :-1].ravel(), number[:, 1:].ravel()])]
    steps += [np.column_stack([number[:-1].ravel(), number[1:].ravel()])]
    marked = np.append(rng.random(size) < draw(st.sampled_from([0.2, 0.6, 1.0])), 0).astype(np.uint8)
    tied = np.flatnonzero(marked) if draw(st.booleans()) else np.arange(size)
    steps += [np.column_stack([tied, np.full(len(tied), size)])]
    a, b = np.concatenate(steps).T
    price = rng.choice([1.0, 1.0, 1.0, 1.3, 2.0, 0.4], len(a))
    price[b == size] += draw(st.sampled_from([-0.3, 0.0, 1.0, 3.0]))
    place = np.column_stack([number.ravel() % wide, number.ravel() // wide]).astype(float)
    place = np.concatenate([place, [[0.0, 0.0]]])
    kept = cheapest(a, b, price, size + 1)
    return Graph(a=a[kept], b=b[kept], marked=marked, hub=size, place=place), price[kept]


def least_by_networkx(a, b, price, marked, hub):
    """Return weight of the least T-join: a least matching of the members by their shortest paths, the hub made even."""
    graph = nx.Graph()
    graph.add_weighted_edges_from(zip(a.tolist(), b.tolist(), price.tolist(), strict=True))
    members = np.flatnonzero(marked).tolist()
    members += [hub] * (len(members) % 2)
    far = dict(nx.all_pairs_dijkstra_path_length(graph))
    full = nx.Graph()
    full.add_nodes_from(members)
    full.add_weighted_edges_from((p, q, far[p][q]) for p, q in itertools.combinations(members, 2))
    return sum(full.edges[pair]["weight"] for pair in nx.min_weight_matching(full))


def lacks(a, b, chosen, marked, hub):
    """Return nodes, the hub apart, at which a set of edges has an end too many or too few."""
    ends = np.bincount(np.concatenate([a[chosen], b[chosen]]), minlength=len(marked))
    return np.delete((ends + marked) % 2, hub).sum()


@settings(deadline=None, derandomize=True, max_examples=60)
@given(graph=graphs())
def test_a_matching_with_a_hub_is_the_least_join(graph):
    """Law: every member is joined, at networkx's least weight."""
    posed, price = graph
    a, b, marked, hub = posed.a, posed.b, posed.marked, posed.hub

    chosen, weight = posed.solve(price)

    least = least_by_networkx(a, b, price, marked, hub)
    assert lacks(a, b, chosen, marked, hub) == 0
    assert least - ROUNDING * np.abs(price[chosen]).sum() <= weight <= least + 1e-9
    assert price[chosen].sum() == pytest.approx(weight, abs=ROUNDING * np.abs(price[chosen]).sum())


@settings(deadline=None, derandomize=True, max_examples=60)
@given(graph=graphs(), most=st.sampled_from([1, 2, 5]))
def test_tiles_give_a_join_and_a_bound_on_either_side_of_the_least(graph, most):
    """Law: with however small tiles, the bound is no more than networkx's least weight, and the join is a join."""
    posed, price = graph
    a, b, marked, hub = posed.a, posed.b, posed.marked, posed.hub
    with pytest.MonkeyPatch.context() as patch:
        for name, value in (("WHOLE", 0), ("BOUND_TILE", most), ("JOIN_TILE", most)):
            patch.setattr(tjoin, name, value)
        chosen, bound = posed.solve(price)

    least = least_by_networkx(a, b, price, marked, hub)
    assert lacks(a, b, chosen, marked, hub) == 0
    assert bound <= least + 1e-9
    assert price[chosen].sum() >= least - 1e-9


def test_a_seam_is_opened_where_a_part_would_be_left_odd():
    """A plain vertex between seams, with an end on one side only, is tied to nothing: the seams beside it are opened."""
    a, b, price = np.array([0, 0, 1, 2]), np.array([1, 3, 2, 3]), np.array([1.0, 5.0, 1.0, 5.0])
    posed = Graph(a=a, b=b, marked=np.array([1, 0, 1, 0], np.uint8), hub=3, place=np.zeros((4, 2)))
    tile, flags = np.array([0, 1, 2, 0]), np.array([True, False, False, False])

    mended = posed._mend(price, tile, flags)

    assert mended.tolist() == [True, False, True, False]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "share"),
    [("asanoha", 0.001), ("kikko", 0.0005), ("sakura", 0.0015), ("higaki", 0.0005), ("yabane", 0.007)],
)
@pytest.mark.parametrize("hop_mm", [0.5, 5.0])
def test_tiles_lose_little(catalogued, job_of, monkeypatch, name, share, hop_mm):
    """With tiles of 250 members the bound falls by less than this share of it, and the pairing rises by less than 0.7 %."""
    network = catalogued(name, 120.0, 6.0)
    job = job_of(120.0, hop_mm=hop_mm)
    steady = rates(job)
    web = weave(cuts_of(network, 1.0), steady)
    whole, bound = best_pairing(web, steady, recut=True, start_mm=mount_of(job).zero_mm)
    monkeypatch.setattr(tjoin, "WHOLE", 10)
    monkeypatch.setattr(tjoin, "BOUND_TILE", 250)
    monkeypatch.setattr(tjoin, "JOIN_TILE", 200)

    cut_up, lower = best_pairing(web, steady, recut=True, start_mm=mount_of(job).zero_mm)
    task = pose(web, steady, recut=True, start_mm=mount_of(job).zero_mm)
    chosen, _ = task.graph.solve(task.moves.seconds)

    assert task.graph.marked.sum() > 300
    assert len(whole[0].even) == len(cut_up[0].even) == 1
    assert (1.0 - share) * bound <= lower <= bound * (1.0 + ROUNDING)
    paid = task.read(chosen).cost_s
    assert whole[0].cost_s * (1.0 - ROUNDING) <= paid <= whole[0].cost_s + 0.007 * bound


@pytest.mark.parametrize("shifted", [False, True])
def test_tiles_hold_about_as_many_members_as_asked(shifted):
    """Places crowded into a corner are shared out as evenly as others; shifted ones are halved at the rim."""
    rng = np.random.default_rng(4)
    place = np.concatenate([rng.random((3000, 2)), 0.01 * rng.random((3000, 2))])
    marked = (np.arange(6000) % 3 > 0).astype(np.uint8)

    none = np.zeros(0, np.int64)
    found = Graph(a=none, b=none, marked=marked, hub=0, place=place)._tiles(100, shifted=shifted)

    members = np.bincount(found[marked == 1])
    assert np.count_nonzero(members) == (49 if shifted else 36)
    assert members.max() <= 4000 / 36 + 1
