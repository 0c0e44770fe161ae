"""The main job from end to end, judged by the RS-274 interpreter of Debian's ``linuxcnc-uspace``.

What the interpreter says it would cut is laid over the network's lines with shapely: every line is there exactly once, and
nothing is cut anywhere else.  None of our own reading, checking or comparing is used.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from small_job import job_from, make_program
from vcarve.errors import RefusedError
from vcarve.job.bench import names
from vcarve.job.records import Job, load_job
from vcarve.run import Made

SAMPLES = sorted((Path(__file__).parent.parent / "samples").glob("*.yaml"))
ARC_SAG_MM = 2e-4


def flat(start: np.ndarray, end: np.ndarray, centre: np.ndarray, clockwise: bool) -> np.ndarray:
    """Return points along an arc of at most a full turn whose chords stand off it by less than the sag."""
    radius = float(np.hypot(*(start - centre)))
    first = math.atan2(*(start - centre)[::-1])
    sweep = math.atan2(*(end - centre)[::-1]) - first
    sweep = -((-sweep) % (2 * math.pi)) if clockwise else sweep % (2 * math.pi)
    count = max(int(abs(sweep) / (2 * math.acos(max(1 - ARC_SAG_MM / radius, -1.0)))) + 1, 2)
    angles = first + sweep * np.linspace(0.0, 1.0, count + 1)
    return centre + radius * np.column_stack([np.cos(angles), np.sin(angles)])


def cut_by(run: Any, job: Job) -> tuple[list[shapely.LineString], dict[float, float]]:
    """Return the paths that the interpreter's feed moves run below the surface, in piece coordinates, and length by depth."""
    piece = job.piece
    shift = {
        "front-left": (0.5, 0.5),
        "front-right": (-0.5, 0.5),
        "back-left": (0.5, -0.5),
        "back-right": (-0.5, -0.5),
        "centre": (0.0, 0.0),
    }[job.zero.xy]
    centre_at = np.array([shift[0] * piece.width_mm, shift[1] * piece.height_mm])
    top = piece.thickness_mm if job.zero.z == "bed" else 0.0
    here = np.array([0.0, 0.0, top + 1.0])
    paths: list[shapely.LineString] = []
    lengths: dict[float, float] = {}
    for move in run.moves:
        end = np.array(move.end_mm)
        if move.kind != "rapid" and min(here[2], end[2]) < top - 1e-6:
            if move.kind == "arc":
                points = flat(here[:2], end[:2], np.array(move.centre_mm[:2]), move.turns < 0)
            else:
                points = np.array([here[:2], end[:2]])
            path = shapely.LineString(points - centre_at)
            if path.length > 1e-9:
                assert here[2] == end[2], "a groove is cut level"
                paths.append(path)
                depth = round(top - end[2], 6)
                lengths[depth] = lengths.get(depth, 0.0) + path.length
        elif move.kind == "rapid" and min(here[2], end[2]) < top - 1e-6:
            assert np.array_equal(here[:2], end[:2]), "the bit leaves the wood straight up"
            assert end[2] > here[2]
        here = end
    return paths, lengths


def lines_of(made: Made) -> list[shapely.LineString]:
    """Return the network's lines to cut as fine chords."""
    network = made.network
    lines = []
    for edge in np.flatnonzero(network.cut):
        a, b = network.xy_mm[network.tail[edge]], network.xy_mm[network.head[edge]]
        bulge = network.bulge[edge]
        if bulge == 0.0:
            lines.append(shapely.LineString([a, b]))
            continue
        # Inscribed angle: the centre stands off the chord's middle by (1 - bulge²) / (4 bulge) of the chord.
        chord = b - a
        off = (1.0 - bulge**2) / (4.0 * bulge)
        centre = (a + b) / 2.0 + off * np.array([-chord[1], chord[0]])
        lines.append(shapely.LineString(flat(a, b, centre, bulge < 0.0)))
    return lines


def assert_cuts_its_lines(made: Made, run: Any) -> None:
    """Assert that the program is accepted without a word and cuts the network's lines, each once per level, and nothing else."""
    assert run.accepted, run.message
    assert run.message == ""
    job, network = made.job, made.network
    paths, _ = cut_by(run, job)
    decimals = job.machine.decimals
    step = 10.0**-decimals * (25.4 if job.machine.units == "inch" else 1.0)
    near = 1.5 * step + 2 * ARC_SAG_MM + (0.0 if job.machine.arcs else job.machine.arc_tolerance_mm)
    wanted, cut = shapely.union_all(lines_of(made)), shapely.union_all(paths)
    assert shapely.covers(shapely.buffer(wanted, near), cut), "cut where the pattern has no line"
    assert shapely.covers(shapely.buffer(cut, near), wanted), "a line is not cut"
    depth = made.layout.grooves.depth_mm
    levels = np.ceil(np.round(depth / job.step_mm, 9))
    once = float((network.length_mm * levels)[network.cut].sum())
    slack = 2 * step * (len(paths) + 1)
    total = sum(path.length for path in paths)
    assert total == pytest.approx(once + made.plan.recut_mm, abs=slack)
    if job.plan.recut == "never":
        assert made.plan.recut_mm == 0.0


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_samples_are_accepted_and_cut_their_lines(sample: Path, rs274: Any) -> None:
    """Every sample's program is taken by the interpreter and covers its network exactly."""
    made = make_program(load_job(str(sample)))

    assert_cuts_its_lines(made, rs274(made.text))


@st.composite
def jobs(draw: st.DrawFn) -> Job:
    """Draw any job that a small mill could be given: every pattern, pitch, turn, size, depth, zero and machine."""
    width, height = draw(st.integers(30, 120)), draw(st.integers(30, 120))
    ground = draw(st.sampled_from([0.3, 0.5, 0.8, 1.0, 1.23]))
    leaf = draw(st.sampled_from([None, 0.25, 0.4]))
    depths = f"{{depth: {ground}}}" if leaf is None else f"{{ground: {ground}, leaf: {leaf}}}"
    pitch = draw(st.floats(0.16, 0.6)) * min(width, height)
    text = f"""
piece: {{width: {width}, height: {height}, thickness: 12, wood: {
        draw(st.sampled_from(["maple-sugar", "basswood"]))
    }}}
pattern:
  name: {draw(st.sampled_from(names("pattern")))}
  pitch: {pitch:.3f}
  edge: {draw(st.sampled_from(["groove", "plain"]))}
  rotate: {draw(st.sampled_from([0, 0, 90, 30, 45, 17.3, -8]))}
  shift-x: {draw(st.sampled_from([0, 0, 3.7]))}
  mirror: {draw(st.sampled_from(["true", "false"]))}
groove: {depths}
bit: {{angle: {draw(st.sampled_from([30, 60, 90]))}, diameter: 6.35, shank: 3.175, tip: {
        draw(st.sampled_from([0, 0.1]))
    }}}
machine: {draw(st.sampled_from(names("machine")))}
zero: {{xy: {draw(st.sampled_from(["front-left", "front-right", "back-left", "back-right", "centre"]))}, z: {
        draw(st.sampled_from(["top", "bed"]))
    }}}
plan: {{recut: {draw(st.sampled_from(["never", "allow"]))}}}
"""
    return job_from(text)


@settings(
    max_examples=200,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(job=jobs())
def test_any_job_is_accepted_and_cuts_its_lines(job: Job, rs274: Any) -> None:
    """For any job that is not refused, the interpreter takes the program and it covers the network exactly."""
    try:
        made = make_program(job)
    except RefusedError as refused:
        # Only lost land and unsafe settings may refuse a job; a program that fails its own dry run is our fault.
        codes = {f.code for f in refused.findings if f.severity == "refuse"}
        assert codes <= {"land-lost", "collet", "travel", "spindle-range", "feed-too-fast"}, codes
        return
    assert_cuts_its_lines(made, rs274(made.text))
