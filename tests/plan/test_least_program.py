"""Bounds and plans against the least of all programs, found by dynamic programming over sets of edges.

The recursion is that of Held and Karp ("A dynamic programming approach to sequencing problems", 1962), with the edges as
the stations and every edge cut either way; between two of them the bit follows edges already there or lifts.
"""

import networkx as nx
import numpy as np
import pytest

from small_network import cuts_of
from vcarve.plan import pairing
from vcarve.plan.bound import best_pairing
from vcarve.plan.costs import rates
from vcarve.plan.nest import Nest
from vcarve.plan.tour import clock
from vcarve.plan.web import weave

START = (-30.0, -30.0)
STAR = [(0, 1), (0, 2), (0, 3)]
DEPTH_MM = 2.0


def pieces(seed, spread):
    """Return places and edges of a star of three arms, a triangle, and two or three loose segments or another triangle."""
    rng = np.random.default_rng(seed)

    def near(count, reach):
        return rng.uniform(-spread, spread, 2) + rng.uniform(-reach, reach, (count, 2))

    xy, edges, at = [near(4, 12.0)], list(STAR), 4
    shapes = [3, 2, 2, 2] if seed % 2 else [3, 3]
    for corners in shapes:
        xy.append(near(corners, 6.0))
        edges += [(at + k, at + (k + 1) % corners) for k in range(corners if corners > 2 else 1)]
        at += corners
    return np.concatenate(xy).round(3), edges


def least_program_s(xy, depth, edges, web, mine, *, recut):
    """Return the seconds of the quickest of all programs at constant rates; every place has one depth."""
    graph = nx.Graph()
    graph.add_nodes_from(range(len(xy)))
    if recut:
        graph.add_weighted_edges_from(zip(web.u.tolist(), web.v.tolist(), web.cut_s.tolist(), strict=True))
    down, up = mine.down_s(mine.hop_mm + depth), mine.up_s(mine.hop_mm + depth)
    move = up[:, None] + mine.rapid_s(*np.moveaxis(xy[:, None] - xy[None], 2, 0)) + down
    np.fill_diagonal(move, 0.0)
    for a, reached in nx.all_pairs_dijkstra_path_length(graph):
        for b, seconds in reached.items():
            move[a, b] = min(move[a, b], seconds)
    count, size = len(edges), len(xy)
    spent = np.full((1 << count, size), np.inf)  # by the set of edges cut and where the bit then is
    first = down + mine.rapid_s(*(xy - np.array(START)).T)
    for k, ends in enumerate(edges):
        for a, b in (ends, ends[::-1]):
            spent[1 << k, b] = min(spent[1 << k, b], first[a])
    for done in range(1, 1 << count):
        arrive = (spent[done][:, None] + move).min(axis=0)
        for k, ends in enumerate(edges):
            if not done >> k & 1:
                more = spent[done | 1 << k]
                for a, b in (ends, ends[::-1]):
                    more[b] = min(more[b], arrive[a])
    return float((spent[-1] + up).min()) + float(web.cut_s.sum()) + mine.fixed_s


@pytest.mark.slow
@pytest.mark.parametrize("large", ["no component large", "the star large"])
@pytest.mark.parametrize("spread", [8.0, 30.0])
@pytest.mark.parametrize("slopes", [False, True])
def test_no_program_is_quicker_than_the_bound(lines, job_of, monkeypatch, large, spread, slopes):
    """Whichever way components are counted, the bound is below the least program, and a plan of its pairing is not."""
    if large == "the star large":
        monkeypatch.setattr(pairing, "FEW", 0)
        monkeypatch.setattr(pairing, "SMALL", 2)
    mine = rates(job_of(hop_mm=1.0))
    shares = []
    for seed in range(12):
        xy, edges = pieces(seed, spread)
        depth = np.full(len(xy), DEPTH_MM)
        if slopes:
            depth[np.random.default_rng(seed).random(len(xy)) < 0.4] = 0.0
            depth[0] = DEPTH_MM / 2.0
            for a, b in edges:
                depth[a] = depth[a] or (DEPTH_MM if depth[b] == 0.0 else 0.0)
        web = weave(cuts_of(lines(xy, edges), depth[np.array(edges).T]), mine)
        nest = Nest(web, mine)
        for recut in (True, False):
            least = least_program_s(xy, depth, edges, web, mine, recut=recut)

            found, bound = best_pairing(web, mine, recut=recut, start_mm=START)
            plan_s = min(clock(web, mine, nest.tour(each, START), START).seconds for each in found)

            assert bound <= least + 1e-6
            assert plan_s >= least - 1e-6
            shares.append(bound / least)
    assert np.mean(shares) > (0.7 if slopes else 0.85)
