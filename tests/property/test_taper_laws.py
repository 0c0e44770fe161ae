"""What a program with tapers cuts, read from its text, against the rule worked out anew on the lines as they were."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from small_job import small_job
from small_network import cuts_of, drawn_network
from vcarve.groove.taper import taper
from vcarve.plan.planner import plan
from vcarve.plane.arcs import curves, points
from vcarve.plane.region import rectangle
from vcarve.program.moves import Motion
from vcarve.program.reader import read_program
from vcarve.program.writer import write

DEPTH_MM = 2.0
SIZE_MM = 60.0
MOST_EDGES = 200
NEAR_MM = 0.004  # arcs are cut as chords that stray half of this


@st.composite
def tasks(draw):
    """Return a pattern at a pitch in a field inside its margin, a taper, and levels."""
    network = drawn_network(draw, SIZE_MM - 10.0, MOST_EDGES, "plain")
    step = draw(st.sampled_from([9.0, 1.1, 0.7]))
    return network, draw(st.sampled_from([1.0, 4.0, 11.0])), small_job(SIZE_MM, step_mm=step, arcs=False)


def wanted_mm(network, taper_mm):
    """Return depth at five places along each line to cut, by walking from it to both ends of its run."""
    cut = np.flatnonzero(network.cut).tolist()
    ends = {e: (int(network.tail[e]), int(network.head[e])) for e in cut}
    at: dict[int, list[int]] = {}
    for e, pair in ends.items():
        for vertex in pair:
            at.setdefault(vertex, []).append(e)
    length = network.length_mm

    def walk(edge, vertex):
        gone = 0.0
        while len(at[vertex]) == 2:
            edge = next(e for e in at[vertex] if e != edge)
            gone += length[edge]
            vertex = sum(ends[edge]) - vertex
            if gone > 9.0 * taper_mm:
                break
        return gone, len(at[vertex]) == 1

    shares = np.array([0.07, 0.31, 0.5, 0.69, 0.93])
    depth = np.full((len(cut), 5), DEPTH_MM)
    for row, e in enumerate(cut):
        (before, free), (beyond, loose) = walk(e, ends[e][0]), walk(e, ends[e][1])
        whole = before + length[e] + beyond
        reach = min(taper_mm, whole / 2.0 if free and loose else whole)
        if free:
            depth[row] = np.minimum(depth[row], DEPTH_MM * (before + shares * length[e]) / reach)
        if loose:
            depth[row] = np.minimum(depth[row], DEPTH_MM * (beyond + (1.0 - shares) * length[e]) / reach)
    xy = network.xy_mm
    line = curves(xy[network.tail[cut]], xy[network.head[cut]], network.bulge[cut])
    return np.stack([points(line, share) for share in shares], axis=1).reshape(-1, 2), depth.reshape(-1)


def deepest_mm(moves, places):
    """How deep each place is cut by the straight moves that pass it."""
    feed = (moves.motion != Motion.RAPID) & (np.minimum(moves.start_mm[:, 2], moves.end_mm[:, 2]) < 0.0)
    start, run = moves.start_mm[feed], (moves.end_mm - moves.start_mm)[feed]
    square = np.maximum((run[:, :2] ** 2).sum(axis=1), 1e-12)
    share = np.clip(((places[:, None] - start[:, :2]) * run[:, :2]).sum(axis=2) / square, 0.0, 1.0)
    at = start + share[..., None] * run
    near = np.hypot(*(places[:, None] - at[..., :2]).transpose(2, 0, 1)) < NEAR_MM
    return -np.where(near, at[..., 2], np.inf).min(axis=1)


@settings(deadline=None, derandomize=True, max_examples=30)
@given(tasks())
def test_every_place_is_cut_to_the_depth_the_rule_gives(task):
    """Law: along every line the text cuts as deep as the share of the taper gone from its loose ends, and no deeper."""
    network, taper_mm, job = task
    places, wanted = wanted_mm(network, taper_mm)
    made, share, _ = taper(network, taper_mm, rectangle(SIZE_MM, SIZE_MM))
    cuts = cuts_of(made, np.round(DEPTH_MM * share, 6), job.step_mm)
    text = write(job, cuts, plan(cuts, job), [])
    moves = read_program(text, start_mm=(0.0, 0.0, job.machine.safe_height_mm)).moves

    found = deepest_mm(moves, places + SIZE_MM / 2.0)

    assert np.abs(found - wanted).max() < DEPTH_MM / taper_mm * 0.02 + 0.002
