"""Arcs and two depths from job to carved wood: widths by the formula, lengths by r φ, arcs and chords alike."""

from __future__ import annotations

import math
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
import shapely

from small_job import job_from, make_program, on_machine
from vcarve.cuts.model import Cuts
from vcarve.job.records import Job
from vcarve.network.model import Network
from vcarve.pattern.model import GROUND, LEAF
from vcarve.program.moves import Motion
from vcarve.program.reader import Reading
from vcarve.proofing import carve_piece, check_program
from vcarve.run import Made

ARC_PATTERNS = ("shippo", "seigaiha", "tatewaku", "amime", "fundo-tsunagi")
NARROW = "{angle: 60, diameter: 6.35, shank: 3.175}"


def job_of(
    pattern: str, groove: str, *sets: str, bit: str = NARROW, width: int = 44, height: int = 36
) -> Job:
    """Return a small piece with zero in its middle; ``sets`` change single values."""
    text = f"""
piece: {{width: {width}, height: {height}, thickness: 9, wood: maple-sugar}}
pattern: {pattern}
groove: {groove}
bit: {bit}
machine: small-desktop
zero: {{xy: centre, z: top}}
"""
    return job_from(text, *sets)


def formula_mm(depth_mm: float, angle_deg: float, tip_mm: float = 0.0) -> float:
    """Return width of a V at the surface: the flat of the tip, and the slope of both sides times the depth."""
    return tip_mm + 2.0 * depth_mm * math.tan(math.radians(angle_deg / 2.0))


def measure(made: Made, step_mm: float) -> tuple[np.ndarray, list[str]]:
    """Carve the text and measure it; return the widths of edges and the codes found."""
    run = check_program(made.text, file="program.nc", machine=made.job.machine, job=made.job)
    run = carve_piece(run, step_mm=step_mm)
    assert run.measured is not None
    return run.measured.widths_mm, [one.code for one in run.findings]


def below(reading: Reading) -> shapely.MultiLineString:
    """Return the paths that the text cuts, arcs as chords within 0.1 µm of them, worked out here from start, end and centre."""
    moves = reading.moves
    lines = []
    cutting = (
        (moves.motion != int(Motion.RAPID)) & (moves.end_mm[:, 2] < -1e-9) & (moves.start_mm[:, 2] < -1e-9)
    )
    for m in np.flatnonzero(cutting & (moves.length_mm > 1e-9)):
        start, end = moves.start_mm[m, :2], moves.end_mm[m, :2]
        sweep = float(moves.sweep_rad[m])
        if sweep == 0.0:
            lines.append(np.array([start, end]))
            continue
        centre = moves.centre_mm[m, :2]
        arm = start - centre
        count = int(abs(sweep) / (2.0 * math.acos(1.0 - 1e-4 / np.hypot(*arm)))) + 2
        turn = np.linspace(0.0, sweep, count)
        rotated = np.column_stack(
            [
                arm[0] * np.cos(turn) - arm[1] * np.sin(turn),
                arm[0] * np.sin(turn) + arm[1] * np.cos(turn),
            ]
        )
        lines.append(centre + rotated)
    return shapely.MultiLineString(lines)


@pytest.mark.parametrize("name", ARC_PATTERNS)
def test_a_groove_along_an_arc_is_as_wide_as_the_formula(name: str) -> None:
    """Carved by the text alone, grooves on arcs measure t + 2 d tan(angle / 2) square to the arc."""
    made = make_program(job_of(f"{{name: {name}, pitch: 15}}", "{depth: 0.8}"))
    widths, codes = measure(made, 0.02)
    bent = (made.network.bulge != 0.0) & np.isfinite(widths)

    assert bent.sum() >= 8
    assert np.abs(widths[bent] - formula_mm(0.8, 60.0)).max() < 0.01
    assert not {"width-off", "line-missed", "stray-cut", "wrong-depth"} & set(codes)


@pytest.mark.parametrize("name", ARC_PATTERNS)
def test_arc_lengths_are_radius_times_angle(name: str) -> None:
    """The text's arcs, in order of their centres, and the network's edges add up to the same r φ."""
    made = make_program(job_of(f"{{name: {name}, pitch: 15}}", "{depth: 0.8}", "plan.recut=never"))
    moves = made.reading.moves
    arcs = np.flatnonzero((moves.sweep_rad != 0.0) & (moves.end_mm[:, 2] < 0.0))
    radius = np.hypot(*(moves.start_mm[arcs, :2] - moves.centre_mm[arcs, :2]).T)
    by_angle = float((radius * np.abs(moves.sweep_rad[arcs])).sum())

    network = made.network
    bent = network.cut & (network.bulge != 0.0)
    # Chord c and sweep φ: r = c / (2 sin(φ / 2)).
    sweep = 4.0 * np.arctan(np.abs(network.bulge[bent]))
    expected = float((network.chord_mm[bent] / (2.0 * np.sin(sweep / 2.0)) * sweep).sum())

    levels = math.ceil(0.8 / made.job.step_mm - 1e-9)
    assert len(arcs)
    assert by_angle == pytest.approx(levels * expected, abs=0.002 * len(arcs))
    assert moves.length_mm[arcs].sum() == pytest.approx(by_angle, rel=1e-9)


@pytest.mark.parametrize("name", ARC_PATTERNS)
@pytest.mark.parametrize("zero", ["centre", "back-right"])
def test_arcs_and_chords_cut_the_same(name: str, zero: str) -> None:
    """The same job for a machine with arcs and for one without: no place of either path is 0.005 mm from the other's."""
    job = job_of(f"{{name: {name}, pitch: 15}}", "{depth: 0.8}", f"zero.xy={zero}")
    with_arcs, without = make_program(job), make_program(on_machine(job, arcs=False))
    one, other = below(with_arcs.reading), below(without.reading)

    assert any(line.startswith(("G2", "G3")) for line in with_arcs.text.splitlines())
    assert not without.reading.moves.sweep_rad.any()
    for path, near in ((one, other), (other, one)):
        places = shapely.points(shapely.get_coordinates(shapely.segmentize(path, 0.05)))
        tree = shapely.STRtree(shapely.get_parts(near))
        _, away = tree.query_nearest(places, return_distance=True, all_matches=False)
        assert away.max() < 0.005


@pytest.mark.parametrize("name", ["asanoha", "masu-tsunagi", "seigaiha"])
@pytest.mark.parametrize("bit", [NARROW, "{angle: 90, diameter: 6.35, shank: 3.175, tip: 0.2}"])
def test_two_depths_are_carved_as_wide_as_the_formula(name: str, bit: str) -> None:
    """Ground lines come out deeper and wider than leaf lines, each by the formula, measured on the carved wood."""
    made = make_program(job_of(f"{{name: {name}, pitch: 16}}", "{ground: 1.2, leaf: 0.7}", bit=bit))
    angle, tip = made.job.bit.angle_deg, made.job.bit.tip_mm
    widths, codes = measure(made, 0.02)

    for feature, depth in ((GROUND, 1.2), (LEAF, 0.7)):
        mine = made.network.cut & (made.network.feature == feature)
        assert np.all(made.layout.grooves.depth_mm[mine] == depth)
        assert made.layout.grooves.half_width_mm[mine] * 2.0 == pytest.approx(formula_mm(depth, angle, tip))
        seen = widths[mine & np.isfinite(widths)]
        assert len(seen)
        assert np.abs(seen - formula_mm(depth, angle, tip)).max() < 0.02
    assert not {"width-off", "line-missed", "stray-cut", "wrong-depth"} & set(codes)


def lines(graph: Network | Cuts, place_nm: np.ndarray) -> list[tuple[int, ...]]:
    """Return what tells lines apart in plan view: their ends in order, and their bulge from the first in millionths."""
    found = []
    for tail, head, bulge in zip(place_nm[graph.tail], place_nm[graph.head], graph.bulge, strict=True):
        a, b = tuple(tail.tolist()), tuple(head.tolist())
        found.append((*min(a, b), *max(a, b), round(1e6 * float(bulge if a < b else -bulge))))
    return found


@pytest.mark.parametrize("name", ["asanoha", "kaku-asanoha", "mie-dasuki", "seigaiha"])
@pytest.mark.parametrize("recut", ["allow", "never"])
@pytest.mark.parametrize("step", [None, 0.5])
def test_two_depths_in_plan_and_text(name: str, recut: str, step: float | None) -> None:
    """Every line is cut to its own depth level by level, depths change in place, and travel is never deeper than its line."""
    groove = "{ground: 1.2, leaf: 0.7" + ("}" if step is None else f", step: {step}}}")
    made = make_program(job_of(f"{{name: {name}, pitch: 16}}", groove, f"plan.recut={recut}"))
    plan, cuts, network, depth = made.plan, made.cuts, made.network, made.layout.grooves.depth_mm
    edge = plan.half_edge // 2
    work = ~plan.recut

    drawn = lines(network, np.column_stack([network.x_nm, network.y_nm]))
    long_mm = dict(zip(drawn, network.length_mm, strict=True))
    asked = {line: mm for line, mm in zip(drawn, depth, strict=True) if mm > 0.0}
    names = lines(cuts, cuts.place_nm[:, :2])
    walked = [names[e] for e in edge.tolist()]
    cut = [(line, mm) for line, mm, new in zip(walked, cuts.depth_mm[plan.begin], work, strict=True) if new]
    travelled = zip(walked, cuts.depth_mm[plan.end], strict=True)

    assert dict(sorted(cut, key=lambda one: one[1])) == pytest.approx(asked)  # the deepest of each stays
    assert all(mm <= asked[line] + 1e-9 for line, mm in travelled)
    levels = Counter(line for line, _ in cut)
    assert levels == {line: math.ceil(mm / made.job.step_mm - 1e-9) for line, mm in asked.items()}
    if recut == "never":
        assert work.all()

    moves = made.reading.moves
    low = (moves.start_mm[:, 2] < -1e-9) & (moves.end_mm[:, 2] < -1e-9)
    moved = np.hypot(*(moves.end_mm - moves.start_mm)[:, :2].T) > 1e-9
    sunk = moves.start_mm[:, 2] != moves.end_mm[:, 2]
    assert not (low & moved & sunk).any(), "depth changes on the spot"
    for value in (1.2, 0.7):
        at_depth = low & moved & (np.abs(moves.end_mm[:, 2] + value) < 1e-9)
        assert at_depth.any()
    total = moves.length_mm[low & moved].sum()
    assert total == pytest.approx(sum(long_mm[line] for line in walked), abs=0.002 * len(edge))


def test_land_follows_the_depths() -> None:
    """Deeper ground lines leave narrower land in every cell they bound; with equal depths the two ways of writing agree."""
    pattern = "{name: asanoha, pitch: 16}"
    apart = make_program(job_of(pattern, "{ground: 1.2, leaf: 0.7}")).layout.grooves
    shallow = make_program(job_of(pattern, "{depth: 0.7}")).layout.grooves
    alike = make_program(job_of(pattern, "{ground: 0.7, leaf: 0.7}")).layout.grooves

    assert np.array_equal(shallow.land_mm, alike.land_mm)
    assert np.all(apart.land_mm <= shallow.land_mm + 1e-6)
    assert apart.land_area_mm2.sum() < shallow.land_area_mm2.sum()


def test_a_last_shaving_is_no_level_of_its_own() -> None:
    """Leaf lines a micrometre deeper than a level are cut to their depth with it, if that is no deeper than a step."""
    even, odd = (
        make_program(
            job_of(
                "{name: kaku-asanoha, pitch: 22 mm}",
                f"{{ground: 0.9, leaf: {leaf}, step: 0.5}}",
                "plan.recut=never",
            )
        )
        for leaf in (0.45, 0.451)
    )
    assert odd.plan.cut_mm == pytest.approx(even.plan.cut_mm)
    assert "Z-0.451" in odd.text


def test_the_header_tells_how_far_arcs_reach(tmp_path: Path) -> None:
    """Extents in a program's header hold what bows out beyond the ends of its arcs: all four sides of a circle."""
    page = '<svg xmlns="http://www.w3.org/2000/svg" width="44mm" height="36mm" viewBox="0 0 44 36">'
    drawing = tmp_path / "circle.svg"
    drawing.write_text(f'{page}<circle cx="22" cy="18" r="10"/></svg>')
    made = make_program(job_of(f"{{drawing: {drawing}}}", "{depth: 0.5}"))

    assert [made.extents_mm[axis] for axis in "xy"] == [pytest.approx((-10.0, 10.0))] * 2
    assert "(Extents: X -10 to 10, Y -10 to 10, Z -0.5 to 5 mm)" in made.text
