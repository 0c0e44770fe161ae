"""Bounds and plans against the least of all programs, found by dynamic programming over how far each line is cut.

The recursion is that of Held and Karp ("A dynamic programming approach to sequencing problems", 1962), with the cuts as
the stations and every cut made either way, those of one line from shallow to deep; between two of them the bit follows lines,
moves in place or lifts.
"""

import itertools

import networkx as nx
import numpy as np
import pytest

from small_network import cuts_of
from vcarve.plan import pairing
from vcarve.plan.bound import best_pairing
from vcarve.plan.nest import Nest
from vcarve.plan.planner import candidates
from vcarve.plan.tour import clock
from vcarve.plan.web import lines_of, rates, weave

START = (-30.0, -30.0)
STAR = [(0, 1), (0, 2), (0, 3)]
DEPTH_MM = 2.0


def pieces(seed, spread, shapes):
    """Return places and edges of a star of three arms, and of loose segments (2) and triangles (3)."""
    rng = np.random.default_rng(seed)

    def near(count, reach):
        return rng.uniform(-spread, spread, 2) + rng.uniform(-reach, reach, (count, 2))

    xy, edges, at = [near(4, 12.0)], list(STAR), 4
    for corners in shapes:
        xy.append(near(corners, 6.0))
        edges += [(at + k, at + (k + 1) % corners) for k in range(corners if corners > 2 else 1)]
        at += corners
    return np.concatenate(xy).round(3), edges


def ways_between(web, mine, *, recut):
    """Return the seconds of the quickest way from each node to each other: along lines, in place, or by a lift."""
    depth, vertex, size = web.depth_mm, web.node_vertex, len(web.place)
    ways = nx.DiGraph()

    def way(a, b, seconds):
        if seconds < ways.get_edge_data(a, b, {"weight": np.inf})["weight"]:
            ways.add_edge(a, b, weight=float(seconds))

    for a, b in itertools.permutations(range(size), 2):
        dx, dy = web.xy_mm[vertex[a]] - web.xy_mm[vertex[b]]
        deeper = depth[b] - depth[a]
        rise, sink = mine.up_s(mine.hop_mm + depth[a]), mine.down_s(mine.hop_mm + depth[b])
        way(a, b, rise + mine.rapid_s(dx, dy) + sink)
        if vertex[a] == vertex[b]:
            way(a, b, mine.down_s(max(deeper, 0.0)) + mine.up_s(max(-deeper, 0.0)))
    for edge in range(len(web.edge) * recut):
        way(web.tail[edge], web.head[edge], web.cut_s[edge])
        way(web.head[edge], web.tail[edge], web.cut_s[edge])
        most = min(depth[web.tail[edge]], depth[web.head[edge]])
        for a, b in itertools.permutations(range(size), 2):
            if {vertex[a], vertex[b]} == {web.u[edge], web.v[edge]} and 0.0 < depth[a] == depth[b] <= most:
                way(a, b, web.along_s(np.array([edge]), np.zeros(1), mine)[0])
    move = np.zeros((size, size))
    for a, reached in nx.all_pairs_dijkstra_path_length(ways):
        move[a, list(reached)] = list(reached.values())
    return move


def least_program_s(web, mine, *, recut):
    """Return the seconds of the quickest of all programs at constant rates."""
    lines, depth = lines_of(web.cuts), web.depth_mm
    move = ways_between(web, mine, recut=recut)
    # A state says how many cuts of each line are done; then where the bit is.
    state = np.cumprod(np.append(1, lines.count + 1))
    spent = np.full((state[-1], len(depth)), np.inf)
    first = mine.down_s(mine.hop_mm + depth) + mine.rapid_s(*(web.xy_mm[web.node_vertex] - np.array(START)).T)
    for at in range(state[-1] - 1):
        arrive = (spent[at][:, None] + move).min(axis=0) if at else first
        for line, count in enumerate(lines.count.tolist()):
            done = at // state[line] % (count + 1)
            if done < count:
                cut, then = lines.cut[line, done], spent[at + state[line]]
                for a, b in ((web.tail[cut], web.head[cut]), (web.head[cut], web.tail[cut])):
                    then[b] = min(then[b], arrive[a])
    last = spent[-1] + mine.up_s(mine.hop_mm + depth)
    return float(last.min()) + float(web.cut_s.sum()) + mine.fixed_s


@pytest.mark.slow
@pytest.mark.parametrize("large", ["no component large", "the star large"])
@pytest.mark.parametrize("spread", [8.0, 30.0])
@pytest.mark.parametrize("slopes", [False, True])
def test_no_program_is_quicker_than_the_bound(lines, job_of, monkeypatch, large, spread, slopes):
    """Whichever way components are counted, the bound is below the least program, and a plan of its pairing is not."""
    if large == "the star large":
        monkeypatch.setattr(pairing, "MANY", 0)
        monkeypatch.setattr(pairing, "LARGE", 2)
    mine = rates(job_of(hop_mm=1.0))
    shares = []
    for seed in range(12):
        xy, edges = pieces(seed, spread, [3, 2, 2, 2] if seed % 2 else [3, 3])
        depth = np.full(len(xy), DEPTH_MM)
        if slopes:
            depth[np.random.default_rng(seed).random(len(xy)) < 0.4] = 0.0
            depth[0] = DEPTH_MM / 2.0
            for a, b in edges:
                depth[a] = depth[a] or (DEPTH_MM if depth[b] == 0.0 else 0.0)
        web = weave(cuts_of(lines(xy, edges), depth[np.array(edges).T]), mine)
        nest = Nest(web, mine)
        for recut in (True, False):
            least = least_program_s(web, mine, recut=recut)

            found, bound = best_pairing(web, mine, recut=recut, start_mm=START)
            plan_s = min(clock(web, mine, nest.tour(each, START), START) for each in found)

            assert bound <= least + 1e-6
            assert plan_s >= least - 1e-6
            shares.append(bound / least)
    assert np.mean(shares) > (0.7 if slopes else 0.85)


@pytest.mark.slow
@pytest.mark.parametrize("recut", ["allow", "never"])
@pytest.mark.parametrize("spread", [8.0, 30.0])
@pytest.mark.parametrize(
    ("step_mm", "shapes"), [(1.0, [3, 2]), (0.7, [2, 2])], ids=["two levels", "three levels"]
)
@pytest.mark.parametrize("shallow_mm", [2.0, 1.2, 0.5])
def test_no_program_in_levels_is_quicker_than_the_bound(
    lines, job_of, spread, recut, step_mm, shapes, shallow_mm
):
    """With one depth or two, the bound as it is printed is below the least program, and the plan is near it."""
    job = job_of(hop_mm=1.0, step_mm=step_mm, recut=recut)
    mine = rates(job)
    above = []
    for seed in range(4):
        xy, edges = pieces(seed, spread, shapes)
        depth = np.where(np.random.default_rng(seed).random(len(edges)) < 0.4, shallow_mm, DEPTH_MM)
        cuts = cuts_of(lines(xy, edges), depth, step_mm)
        least = least_program_s(weave(cuts, mine), mine, recut=recut == "allow")

        proof = candidates(cuts, job, start_mm=START)[0].proof

        assert proof.bound_s <= least + 1e-6
        assert proof.plan_s >= least - 1e-6
        above.append(proof.plan_s / least - 1.0)
    assert np.mean(above) < 0.05
