"""What a plan says of itself is what its written program does: counted from the text, by nothing of the plan's own."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from small_job import small_job
from small_network import cuts_of, drawn_network
from vcarve.cuts.grooves import SHORT_MM
from vcarve.groove.taper import taper
from vcarve.job.sections import Zero
from vcarve.plan.planner import FLOATS, candidates, plan
from vcarve.plane.region import rectangle
from vcarve.program.moves import Motion
from vcarve.program.reader import read_program
from vcarve.program.writer import write

MOST_EDGES = 250
LAWS = settings(deadline=None, derandomize=True, max_examples=40)
RAPID = (2000.0, 1500.0, 1000.0)  # a machine whose axes differ


@st.composite
def tasks(draw):
    """Draw a pattern at a pitch, one or two depths, loose ends tapered or not, one to three levels, straight or turned."""
    network = drawn_network(draw, 60.0, MOST_EDGES, "groove", "plain")
    leaf = draw(st.sampled_from([2.0, 1.2]))
    rise = draw(st.sampled_from([0.0, 0.0, 3.0, 8.0]))
    network, share = taper(network, rise, rectangle(70.0, 70.0))[:2] if rise else (network, 1.0)
    depth = np.round(np.where(network.feature == 1, leaf, 2.0) * share * np.ones((2, 1)), 6)
    job = small_job(
        60.0,
        hop_mm=draw(st.sampled_from([1.0, 5.0])),
        step_mm=draw(st.sampled_from([2.0, 1.0, 0.7])),
        recut=draw(st.sampled_from(["allow", "never"])),
        rapid=dict(zip("xyz", RAPID, strict=True)),
        acceleration={"x": 200, "y": 150, "z": 100},
        feed_max={"x": 1500, "y": 1500, "z": 1000},
    )
    zero = Zero(turn_deg=draw(st.sampled_from([0.0, 1.5, -33.0])))
    return network, depth, job.model_copy(update={"zero": zero})


def counted(job, text):
    """Return passes, mm along grooves, mm of rapids across, and seconds at constant rates, of a program's text."""
    moves = read_program(text, start_mm=(0.0, 0.0, job.machine.safe_height_mm)).moves
    delta = np.abs(moves.end_mm - moves.start_mm)
    rapid = moves.motion == Motion.RAPID
    low = (moves.start_mm[:, 2] <= 0.0) & (moves.end_mm[:, 2] <= 0.0)
    along = ~rapid & (delta[:, :2].any(axis=1) | (moves.sweep_rad != 0.0))
    plunges = ~rapid & (moves.start_mm[:, 2] > 0.0) & (moves.end_mm[:, 2] <= 0.0)
    in_plan = np.sqrt(np.maximum(moves.length_mm**2 - delta[:, 2] ** 2, 0.0))
    seconds = (moves.length_mm[~rapid] * 60.0 / moves.feed_mm_min[~rapid]).sum()
    seconds += (delta[rapid] * 60.0 / np.array(RAPID)).max(axis=1).sum()

    assert low[along].all()  # nothing is cut in the air

    return (
        int(plunges.sum()),
        float(in_plan[along].sum()),
        float(np.hypot(delta[rapid, 0], delta[rapid, 1]).sum()),
        float(seconds),
    )


@LAWS
@given(tasks())
def test_a_plan_is_what_its_program_does(task):
    """Law: passes, lifts, lengths and time at constant rates of every plan on offer equal those of its text."""
    network, depth, job = task
    deepest = float(depth[:, network.cut].max())
    levels = int(np.ceil(deepest / job.step_mm - 1e-9))
    low, high = np.sort(np.round(depth * levels / deepest, 9), axis=0)
    # A line is cut once for each level that is not below it; of one that slopes, the part that goes deeper.
    slope = np.maximum(high - low, 1e-9)
    shares = [
        np.where(high > low, 1.0 - np.clip((k - low) / slope, 0.0, 1.0), high > k) for k in range(levels)
    ]
    # A slope with no room for a part in each level goes down in fewer, each of them whole.
    tight = (high > low) & (network.length_mm < levels * SHORT_MM) & network.cut
    room = levels * float(network.length_mm[tight].sum())
    to_cut = float((network.length_mm * np.sum(shares, axis=0))[network.cut].sum())

    cuts = cuts_of(network, depth, job.step_mm)
    for made in candidates(cuts, job):
        passes, along, across, seconds = counted(job, write(job, cuts, made, []))

        assert made.passes == passes
        assert made.lifts == passes - 1
        assert abs(made.cut_mm + made.recut_mm - along) <= 1e-3 * (1 + len(made.half_edge))
        assert -1e-6 * to_cut <= made.cut_mm - to_cut <= 1e-6 * to_cut + room
        assert job.plan.recut == "allow" or made.recut_mm == 0.0
        assert abs(made.rapid_mm - across) <= 2e-3 * (1 + passes)
        assert abs(made.proof.plan_s - seconds) <= 1e-3 * seconds
        assert made.proof.bound_s <= (1.0 + FLOATS) * made.proof.plan_s


@settings(LAWS, max_examples=15)
@given(tasks())
def test_the_same_job_gives_the_same_text(task):
    """Law: planning twice gives the same bytes."""
    network, depth, job = task
    cuts = cuts_of(network, depth, job.step_mm)
    first, second = (write(job, cuts, plan(cuts, job), []) for _ in range(2))

    assert first == second
