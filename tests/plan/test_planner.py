"""Whole plans: the hemp leaf's figures, the bound over catalogue patterns, levels and depths, and what every plan keeps."""

from dataclasses import replace

import numpy as np
import pytest

from small_job import changed
from small_network import cuts_of
from vcarve.cuts.grooves import SHAVING_MM, groove_cuts
from vcarve.errors import InternalError
from vcarve.mount.flat import mount_of
from vcarve.plan import planner, walks
from vcarve.plan.bound import best_pairing
from vcarve.plan.nest import Nest
from vcarve.plan.pairing import pair
from vcarve.plan.planner import FLOATS, candidates, plan
from vcarve.plan.tour import cell_by_cell, clock, corners_s, nearest_end
from vcarve.plan.walks import transitions
from vcarve.plan.web import rates, weave


def walked(network, cuts, made):
    """Return the line of the network each step runs along, the vertices where it begins and ends, and how deep it begins."""
    first = made.half_edge // 2
    while (cuts.after[first] >= 0).any():
        first = np.where(cuts.after[first] >= 0, cuts.after[first], first)
    line = np.flatnonzero(network.cut)[
        first
    ]  # the first cuts of all lines come first, in the order of the lines
    forward = made.half_edge % 2 == 0
    begin = np.where(forward, network.tail[line], network.head[line])
    end = np.where(forward, network.head[line], network.tail[line])
    places = np.column_stack([network.x_nm, network.y_nm])

    assert np.array_equal(cuts.place_nm[made.begin, :2], places[begin])
    assert np.array_equal(cuts.place_nm[made.end, :2], places[end])
    return line, begin, end, cuts.depth_mm[made.begin]


def assert_sound(network, depth_mm, cuts, made, *, levels=1):
    """Assert that every edge is cut at its depth once per level and never deeper, and every pass is one connected run."""
    edge, begin, end, depth = walked(network, cuts, made)
    first = set(made.pass_start[:-1].tolist())
    own = ~made.recut
    deepest = np.zeros(len(network.tail))
    np.maximum.at(deepest, edge, depth)

    assert np.array_equal(depth, cuts.depth_mm[made.end])
    assert np.array_equal(np.sort(made.half_edge[own] // 2), np.arange(len(cuts.tail)))
    when = np.empty(len(cuts.tail), np.int64)
    when[made.half_edge[own] // 2] = np.flatnonzero(own)
    assert (when[cuts.after[cuts.after >= 0]] < when[cuts.after >= 0]).all()
    assert np.allclose(deepest[network.cut], np.asarray(depth_mm)[network.cut])
    assert (depth <= np.asarray(depth_mm)[edge] + 1e-9).all()
    assert (np.bincount(edge[own], minlength=len(network.tail))[network.cut] >= 1).all()
    assert np.bincount(edge[own]).max() <= levels
    assert all(i in first or begin[i] == end[i - 1] for i in range(len(edge)))
    length = network.length_mm[edge]
    assert made.cut_mm == pytest.approx(float(length[own].sum()))
    assert made.recut_mm == pytest.approx(float(length[~own].sum()))


def gains(network, cuts, made):
    """Return the least and the most that any line gets deeper from one walk to a deeper one, in mm."""
    edge, _, _, depth = walked(network, cuts, made)
    found = np.concatenate(
        [
            np.diff(np.unique(np.maximum.accumulate(np.concatenate([[0.0], depth[edge == e]]))))
            for e in np.flatnonzero(network.cut)
        ]
    )
    return found.min(), found.max()


def test_hemp_leaf_without_recuts_takes_the_published_number_of_passes(catalogued, job_of):
    """16 odd vertices make 8 passes over 1660.822 mm (closed forms of the pattern's check values)."""
    network = catalogued("kaku-asanoha", 100.0, 50.0)
    depth = np.full(len(network.tail), 2.0)

    cuts = cuts_of(network, depth)
    made = plan(cuts, job_of(recut="never"))

    assert_sound(network, depth, cuts, made)
    assert made.passes == 8
    assert made.recut_mm == 0.0
    assert made.cut_mm == pytest.approx(1660.822, abs=0.01)


def test_hemp_leaf_takes_about_half_the_time_of_cell_by_cell(catalogued, job_of):
    """At the example's speeds, with accelerations, at most 0.51 of cutting every cell on its own."""
    network = catalogued("kaku-asanoha", 100.0, 50.0)
    job = job_of()
    depth = np.full(len(network.tail), 2.0)
    steady = rates(job)
    ticking = replace(steady, clock=True)
    web = weave(cuts_of(network, depth), steady)
    start = mount_of(job).zero_mm

    cuts = cuts_of(network, depth, job.step_mm)
    made = plan(cuts, job)
    nest, rings = Nest(web, steady), groove_cuts(network, np.stack([depth, depth]), 9.0)[1]
    found, _ = best_pairing(nest.skeleton, steady, recut=True, start_mm=start)
    ours = clock(web, ticking, nest.tour(found[0], start), start)
    [each] = cell_by_cell(web, nest.lines, rings)
    cells = clock(web, ticking, each, start)

    assert_sound(network, depth, cuts, made)
    assert ours / cells <= 0.51
    assert made.proof.plan_s <= 1.005 * made.proof.bound_s


@pytest.mark.slow
@pytest.mark.parametrize("name", ["asanoha", "kikko", "shippo", "sayagata", "higaki", "izutsu-tsunagi"])
def test_connected_patterns_come_within_half_a_per_cent_of_the_bound(catalogued, job_of, name):
    """One component has an exact pairing: only corners may cost more than the bound knows."""
    network = catalogued(name, 120.0, 10.0)
    depth = np.full(len(network.tail), 2.0)

    cuts = cuts_of(network, depth)
    made = plan(cuts, job_of(120.0, hop_mm=1.0))

    assert_sound(network, depth, cuts, made)
    assert made.proof.bound_s <= (1.0 + FLOATS) * made.proof.plan_s
    assert made.proof.plan_s <= 1.005 * made.proof.bound_s


@pytest.mark.slow
@pytest.mark.parametrize(
    "name", ["masu-tsunagi", "komochi-kikko", "yotsu-waribishi", "tatewaku", "bishamon-komochi"]
)
def test_loose_patterns_come_within_three_per_cent_of_the_bound(catalogued, job_of, name):
    """Many components: the order of visits is improved, and the bound raised by moats, until they nearly meet."""
    network = catalogued(name, 120.0, 20.0)
    depth = np.full(len(network.tail), 2.0)

    cuts = cuts_of(network, depth)
    made = plan(cuts, job_of(120.0, hop_mm=1.0))

    assert_sound(network, depth, cuts, made)
    assert made.proof.bound_s <= (1.0 + FLOATS) * made.proof.plan_s
    assert made.proof.plan_s <= 1.03 * made.proof.bound_s


@pytest.mark.parametrize("name", ["kaku-asanoha", "masu-tsunagi", "tatewaku", "kagome"])
def test_no_simple_plan_is_quicker(catalogued, job_of, name):
    """Cell by cell, nearest end and fewest passes all take at least as long by the same clock."""
    network = catalogued(name, 100.0, 25.0)
    job = job_of(hop_mm=1.0)
    depth = np.full(len(network.tail), 2.0)
    steady = rates(job)
    web = weave(cuts_of(network, depth), steady)
    start = mount_of(job).zero_mm
    cuts = cuts_of(network, depth, job.step_mm)
    made = plan(cuts, job)

    rings = groove_cuts(network, np.stack([depth, depth]), 9.0)[1]
    nest = Nest(web, steady)
    fewest = nest.tour(pair(nest.skeleton, steady, recut=False, start_mm=start), start)
    simple = [*cell_by_cell(web, nest.lines, rings), nearest_end(web, start), fewest]

    assert all(made.proof.plan_s <= 1.004 * clock(web, steady, each, start) for each in simple)


def test_corners_lose_little_more_than_the_best_pairing_of_each_vertex(catalogued, job_of, monkeypatch):
    """Over several patterns, merging the trails into one tour adds at most a tenth to pairing every vertex alone."""
    steady = rates(job_of(hop_mm=1.0))
    total, alone = 0.0, []

    def noted(ends, mine):
        partner = transitions(ends, mine)
        one = np.flatnonzero((np.arange(len(partner)) < partner) & ~ends.lift & ~ends.lift[partner])
        alone.append(float(ends.loss_s(one, partner[one], mine).sum()))
        return partner

    monkeypatch.setattr(walks, "transitions", noted)
    for name in ("ichimatsu", "asanoha", "kagome", "goma", "kaku-asanoha", "shippo"):
        network = catalogued(name, 120.0, 15.0)
        web = weave(cuts_of(network, 2.0), steady)
        found, _ = best_pairing(web, steady, recut=True, start_mm=(-60.0, -60.0))

        made = Nest(web, steady).tour(found[0], (-60.0, -60.0))
        total += corners_s(web, steady, made)

    assert sum(alone) <= (1.0 + FLOATS) * total <= 1.1 * sum(alone)


@pytest.mark.parametrize("recut", ["allow", "never"])
@pytest.mark.parametrize(("step_mm", "levels"), [(9.0, 1), (1.0, 2), (0.7, 3)])
def test_levels_and_two_depths(catalogued, job_of, recut, step_mm, levels):
    """Ground at 2 mm and leaves at 1.2 mm, in one to three levels: each level deeper by no more than the step."""
    network = catalogued("kaku-asanoha", 100.0, 25.0)
    depth = np.where(network.feature == 1, 1.2, 2.0)

    cuts = cuts_of(network, depth, step_mm)
    made = plan(cuts, job_of(recut=recut, step_mm=step_mm))

    assert_sound(network, depth, cuts, made, levels=levels)
    assert made.recut_mm == 0.0 or recut == "allow"
    assert made.proof.bound_s <= (1.0 + FLOATS) * made.proof.plan_s
    for each in candidates(cuts, job_of(recut=recut, step_mm=step_mm)):
        assert np.bincount(walked(network, cuts, each)[0]).max() <= levels + (recut == "allow")
        assert gains(network, cuts, each)[1] <= step_mm + 1e-6


@pytest.mark.parametrize(
    ("name", "pitch_mm", "hop_mm"), [("yae-asanoha", 40.0, 1.0), ("kaku-asanoha", 30.0, 5.0)]
)
def test_travel_finds_its_line_cut_in_all_levels_above(catalogued, job_of, name, pitch_mm, hop_mm):
    """Where lifts and recuts meet in three levels: a pass that takes its levels along takes none of a line gone along before."""
    network = catalogued(name, 100.0, pitch_mm)
    depth = np.full(len(network.tail), 2.0)

    cuts = cuts_of(network, depth, 0.7)
    for each in candidates(cuts, job_of(step_mm=0.7, hop_mm=hop_mm)):
        assert each.recut.any()
        assert_sound(network, depth, cuts, each, levels=3)


@pytest.mark.parametrize("leaf_mm", [0.119, 0.1004, 0.102, 0.2, 0.181])
@pytest.mark.parametrize("step_mm", [0.1, 0.11, 0.19])
def test_no_cut_is_deeper_than_a_step(catalogued, job_of, leaf_mm, step_mm):
    """However little of a line is left after a level, it does not come off with that level if that were too deep, and no
    cut is so thin that a program's last decimal would hardly tell it."""
    network = catalogued("kaku-asanoha", 100.0, 50.0)
    depth = np.where(network.feature == 1, leaf_mm, 0.2)

    cuts = cuts_of(network, depth, step_mm)
    for each in candidates(cuts, job_of(step_mm=step_mm)):
        assert_sound(network, depth, cuts, each, levels=2)
        thinnest, deepest = gains(network, cuts, each)
        assert deepest <= step_mm + 1e-6
        assert thinnest >= 0.999 * min(SHAVING_MM, leaf_mm)


def test_an_edge_is_travelled_at_one_depth_only(lines, job_of):
    """Both ends of a short edge are odd at both depths and plunging is slow: it is still gone along no more than twice."""
    places = [(0, 0), (0.1, 0), (-9, 5), (-9, -5), (9, 5), (9, -5), (-9, 0), (9.1, 0)]
    network = lines(places, [(0, 1), (0, 2), (0, 3), (1, 4), (1, 5)])
    depth = np.array([2.0, 1.0, 2.0, 1.0, 2.0])
    job = changed(job_of(200.0, hop_mm=1.0), "feed", plunge_mm_min=1.0)

    cuts = cuts_of(network, depth)
    for each in candidates(cuts, job):
        assert np.bincount(walked(network, cuts, each)[0]).max() <= 2


@pytest.mark.slow
@pytest.mark.parametrize("name", ["kaku-asanoha", "kagome", "masu-tsunagi"])
@pytest.mark.parametrize("step_mm", [9.0, 1.0])
def test_without_recuts_no_plan_travels_or_lifts_more_than_another(catalogued, job_of, name, step_mm):
    """All plans offered have the least number of passes, and none goes again along what is cut; with two depths as well."""
    network = catalogued(name, 100.0, 25.0)
    depth = np.where(np.arange(len(network.tail)) % 3 == 0, 1.2, 2.0)
    found = candidates(cuts_of(network, depth, step_mm), job_of(recut="never", step_mm=step_mm, hop_mm=1.0))

    assert len({each.passes for each in found}) == 1
    assert not any(each.recut.any() for each in found)


def test_without_recuts_a_shallow_line_on_the_way_is_not_walked_again(lines, job_of):
    """Deep between two shallow lines in a row: going to and fro in one pass would travel along those, so it is not done."""
    network = lines([(0, 0), (10, 0), (20, 0), (30, 0)], [(0, 1), (1, 2), (2, 3)])
    depth = np.array([1.0, 2.0, 1.0])
    found = candidates(cuts_of(network, depth, 1), job_of(recut="never", step_mm=1.0))

    assert all(each.recut_mm == 0.0 and each.passes == 2 for each in found)
    assert (
        min(
            each.passes for each in candidates(cuts_of(network, depth, 1), job_of(recut="allow", step_mm=1.0))
        )
        == 1
    )


def test_two_levels_are_one_pass(catalogued, job_of):
    """What hangs together is walked there on the upper level and back on the lower one, without recuts and lifts."""
    network = catalogued("kaku-asanoha", 100.0, 50.0)
    depth = np.full(len(network.tail), 2.0)

    one, two = (
        plan(cuts_of(network, depth, step), job_of(recut="never", step_mm=step)) for step in (2.0, 1.0)
    )

    assert (one.passes, two.passes) == (8, 1)
    assert two.recut_mm == 0.0


@pytest.mark.slow
def test_a_slope_is_begun_at_the_surface(lines, job_of):
    """Though its deep end lies nearer to where the bit waits: not to plunge saves more than 5 mm of rapids cost."""
    cuts = cuts_of(lines([(0, 0), (5, 0)], [(0, 1)]), np.array([[2.0], [0.0]]))

    made = plan(cuts, job_of(hop_mm=1.0))

    assert cuts.depth_mm[made.begin].tolist() == [0.0]
    assert made.proof.bound_s <= made.proof.plan_s


@pytest.mark.parametrize("apart_mm", [0.0, 30.0])
def test_levels_of_a_path_are_begun_at_an_end(lines, job_of, apart_mm):
    """Though its middle lies nearer to where the bit waits: begun there, the bit would rise and go down again half-way."""
    xy, edges = [(-2, 0), (0, 0), (2, 0)], [(0, 1), (1, 2)]
    if apart_mm:
        xy, edges = [*xy, *((x, apart_mm) for x, _ in xy)], [*edges, (3, 4), (4, 5)]
    cuts = cuts_of(lines(xy, edges), 2.0, 0.5)

    made = plan(cuts, job_of(recut="never", step_mm=0.5, hop_mm=1.0), start_mm=(0.0, 1.0))
    inside = np.delete(np.arange(len(made.begin)), made.pass_start[:-1])

    assert made.levels == 4
    assert (cuts.depth_mm[made.begin[inside]] >= cuts.depth_mm[made.end[inside - 1]]).all()


def test_levels_may_be_thousands(lines, job_of):
    """A triangle in 2000 levels is one pass: ranks hang on each other without end."""
    network, depth = lines([(0, 0), (10, 0), (0, 10)], [(0, 1), (1, 2), (2, 0)]), np.full(3, 2.0)

    made = plan(cuts_of(network, depth, 0.001), job_of(step_mm=0.001))

    assert (made.levels, made.passes, len(made.half_edge)) == (2000, 1, 6000)


def test_the_same_job_gives_the_same_plan(catalogued, job_of):
    """Nothing depends on chance, the clock or the order of hashing."""
    network = catalogued("masu-tsunagi", 100.0, 25.0)
    depth = np.full(len(network.tail), 2.0)
    first, second = (plan(cuts_of(network, depth), job_of()) for _ in range(2))

    assert np.array_equal(first.half_edge, second.half_edge)
    assert np.array_equal(first.pass_start, second.pass_start)
    assert first.proof == second.proof


@pytest.mark.parametrize("share", [1.0 + 1e-6, 2.0])
def test_a_bound_above_its_plan_is_an_internal_error(lines, job_of, monkeypatch, share):
    """A plan that beats its own proof by more than the last digits of floats is reported with both figures, not hidden."""
    network, depth = lines([(0, 0), (30, 0)], [(0, 1)]), np.array([2.0])
    plan_s = plan(cuts_of(network, depth), job_of()).proof.plan_s
    monkeypatch.setattr(planner, "best_pairing", lambda *a, **k: (best_pairing(*a, **k)[0], share * plan_s))

    with pytest.raises(
        InternalError, match=f"takes {plan_s!r} s, less than its proven bound of {share * plan_s!r} s"
    ):
        plan(cuts_of(network, depth), job_of())


def test_nothing_to_cut_is_an_empty_plan(lines, job_of):
    """A network without edges has no passes."""
    made = plan(cuts_of(lines([(0, 0)], [])), job_of())

    assert (made.passes, made.cut_mm, made.lifts) == (0, 0.0, 0)
