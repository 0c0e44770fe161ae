"""Laws every plan keeps, over random lines, depths, levels and choices."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from small_network import cuts_of, small_network
from vcarve.plan.bound import best_pairing
from vcarve.plan.nest import Nest
from vcarve.plan.pairing import components
from vcarve.plan.tour import clock, recut
from vcarve.plan.walks import Ends, transitions
from vcarve.plan.web import Rates, weave

MINE = Rates(
    cut=10.0,
    plunge=200 / 60,
    rapid=(2000 / 60, 1500 / 60, 1000 / 60),
    feed_max=(30.0, 30.0, 15.0),
    acceleration=(200.0, 150.0, 100.0),
    junction_deviation_mm=0.01,
    hop_mm=1.0,
    safe_mm=5.0,
)
FAST = settings(deadline=None, derandomize=True, max_examples=60)


@st.composite
def networks(draw, *, slopes=True):
    """Return up to 25 edges between grid points, in any number of components, with one or two depths and some slopes."""
    spots = st.tuples(st.integers(0, 5), st.integers(0, 5))
    pairs = draw(st.sets(st.tuples(spots, spots).filter(lambda p: p[0] < p[1]), min_size=1, max_size=25))
    points = sorted({p for pair in pairs for p in pair})
    index = {p: i for i, p in enumerate(points)}
    ends = [(index[a], index[b]) for a, b in sorted(pairs)]
    many = len(ends)
    bulges = draw(st.lists(st.sampled_from([0.0, 0.3, -0.5]), min_size=many, max_size=many))
    network = small_network([(7.0 * x, 7.0 * y) for x, y in points], ends, bulges)
    flat = draw(st.lists(st.sampled_from([1.0, 2.0]), min_size=many, max_size=many))
    depth = np.tile(np.array(flat), (2, 1))
    if slopes:
        some = st.tuples(st.integers(0, many - 1), st.integers(0, 1))
        for edge, end in draw(st.sets(some, max_size=4)):
            depth[end, edge] = draw(st.sampled_from([0.0, 0.5, 1.5]))
    depth[:, depth.max(axis=0) == 0.0] = 1.0
    return network, depth


@FAST
@given(networks(), st.booleans())
def test_every_edge_is_cut_and_no_plan_beats_the_bound(case, allow):
    """Law: every edge is cut at its depth, runs are connected, and the time is never below the bound."""
    network, depth = case
    web = weave(cuts_of(network, depth), MINE)
    found, bound = best_pairing(web, MINE, recut=allow, start_mm=(-5.0, -5.0))
    for each in found:
        made = Nest(web, MINE).tour(each, (-5.0, -5.0))
        begin, end = web.spot[made.begin], web.spot[made.end]
        inside = np.setdiff1d(np.arange(len(begin)), made.pass_start)
        travel = recut(web.cuts, made)
        at_mm = web.cuts.depth_mm[np.stack([made.begin, made.end])]
        wanted = np.where(made.back == 0, depth[:, made.edge], depth[::-1, made.edge])

        assert np.array_equal(np.sort(made.edge[~travel]), np.arange(len(network.tail)))
        assert np.allclose(at_mm[:, ~travel], wanted[:, ~travel])
        assert (at_mm <= wanted + 1e-9).all()
        assert (begin[inside] == end[inside - 1]).all()
        assert allow or not travel.any()
        assert clock(web, MINE, made, (-5.0, -5.0)) >= bound - 1e-6


@FAST
@given(networks(), st.booleans(), st.sampled_from([0.3, 0.7, 1.0]))
def test_in_levels_every_cut_is_made_once_and_after_the_one_above_it(case, allow, step_mm):
    """Law: however lines share vertices, no cut comes before the cut above it, none twice, and no plan beats the bound."""
    network, depth = case
    web = weave(cuts_of(network, depth, step_mm), MINE)
    nest = Nest(web, MINE)
    found, _ = best_pairing(nest.skeleton, MINE, recut=allow, start_mm=(-5.0, -5.0))
    _, bound = best_pairing(web, MINE, recut=allow, start_mm=(-5.0, -5.0))
    for each in found:
        made = nest.tour(each, (-5.0, -5.0))
        begin, end = web.spot[made.begin], web.spot[made.end]
        inside = np.setdiff1d(np.arange(len(begin)), made.pass_start)
        travel = recut(web.cuts, made)
        when = np.empty(len(web.edge), np.int64)
        when[made.edge[~travel]] = np.flatnonzero(~travel)
        after = web.cuts.after

        assert np.array_equal(np.sort(made.edge[~travel]), np.arange(len(web.edge)))
        assert (when[after[after >= 0]] < when[after >= 0]).all()
        assert (begin[inside] == end[inside - 1]).all()
        assert np.bincount(made.edge[travel], minlength=1).max() <= int(allow)
        assert clock(web, MINE, made, (-5.0, -5.0)) >= bound - 1e-6


@FAST
@given(networks())
def test_without_recuts_the_passes_are_the_fewest(case):
    """Law: a component with 2 k odd vertices takes k passes, one without takes one (Euler), for one depth."""
    network, _ = case
    web = weave(cuts_of(network, 2.0), MINE)
    found, _ = best_pairing(web, MINE, recut=False, start_mm=(0.0, 0.0))
    odd = np.bincount(np.concatenate([web.u, web.v])) % 2
    per = np.bincount(components(web)[1], weights=odd)
    least = int(np.maximum(per / 2, 1).sum())

    made = Nest(web, MINE).tour(found[0], (0.0, 0.0))

    assert len(made.pass_start) - 1 == least


@FAST
@given(st.lists(st.integers(0, 71), min_size=2, max_size=6, unique=True), st.integers(0, 3))
def test_ends_at_a_vertex_lose_about_the_least(directions, lifts):
    """Law: of all (n - 1)!! pairings of the ends at one vertex none loses clearly less, and no lift leads on to another."""
    lifts = min(lifts, len(directions))
    lifts += (len(directions) + lifts) % 2 * (1 if lifts < len(directions) else -1)
    angle = np.radians(5.0 * np.array(directions))
    size = len(directions) + lifts
    ends = Ends(
        vertex=np.zeros(size, np.int64),
        away=np.concatenate([np.column_stack([np.cos(angle), np.sin(angle)]), np.zeros((lifts, 2))]),
        speed=np.full(size, 10.0),
        depth_mm=np.zeros(size),
        lift=np.arange(size) >= len(directions),
    )

    def least_s(left):
        if not left:
            return 0.0
        first, *rest = left
        return min(
            float(ends.loss_s(np.array([first]), np.array([k]), MINE)[0])
            + least_s([other for other in rest if other != k])
            for k in rest
        )

    partner = transitions(ends, MINE)
    lead = np.flatnonzero(np.arange(size) < partner)

    assert (partner[partner] == np.arange(size)).all()
    assert (partner != np.arange(size)).all()
    assert float(ends.loss_s(lead, partner[lead], MINE).sum()) <= 1.02 * least_s(list(range(size))) + 1e-9
