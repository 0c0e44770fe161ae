"""Programs of hand-made plans, read by eye: the golden texts below were written from the rules, not copied from output.

The rules are those of NISTIR 6556 and of the two controllers: one idea a line, modal words only where they change, the bit
lifted alone before it crosses, no exponent, no plus sign, no minus zero.
"""

from __future__ import annotations

import math
import re
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from small_job import job_from
from small_network import small_network
from vcarve.cuts.model import Cuts
from vcarve.errors import InternalError
from vcarve.job.bench import load_machine
from vcarve.job.records import Job
from vcarve.network.model import Network
from vcarve.plan.model import Plan, Proof
from vcarve.plane.arrays import NM_PER_MM
from vcarve.program.writer import Frame, opening
from vcarve.program.writer import write as write_plan

NOTES = [("Mizo", "try")]


def job(machine: str = "small-desktop", change: dict[str, Any] | None = None, zero: str = "") -> Job:
    """Return a small job: a piece 40 x 20 x 10 mm, feeds 600 and 200, on a machine changed as told."""
    text = f"""
piece: {{width: 40, height: 20, thickness: 10, wood: maple-sugar}}
pattern: {{name: higaki, pitch: 10}}
groove: {{depth: 2}}
bit: {{angle: 90, diameter: 6.35, shank: 3.175}}
machine: {machine}
feed: {{cut: 600, plunge: 200, spindle: 10000}}
zero: {{{zero}}}
"""
    return job_from(text, **change or {})


def network(places: list[tuple[float, float]], edges: list[tuple[int, int, float]]) -> Network:
    """Return a network without cells: places in millimetres from the piece's centre, edges as (tail, head, bulge)."""
    return small_network(places, [edge[:2] for edge in edges], [edge[2] for edge in edges])


# A pass: half-edges of a network, each with its depth in mm or those where it begins and where it ends.
Pass = list[tuple[int, float | tuple[float, float]]]


def write(job: Job, network: Network, passes: list[Pass], notes: Any, hop_mm: float = 1.0) -> str:
    """Return the program of a plan of passes over the lines of a network."""
    steps = [
        (half, depth if isinstance(depth, tuple) else (depth, depth)) for one in passes for half, depth in one
    ]
    half = np.array([step[0] for step in steps], dtype=np.int64)
    edge, depth = half // 2, np.array([step[1] for step in steps], dtype=float).reshape(-1, 2)
    ends = np.stack([network.tail[edge], network.head[edge]], axis=1)
    ends[half % 2 == 1] = ends[half % 2 == 1, ::-1]
    deep = np.rint(depth * NM_PER_MM).astype(np.int64)
    rows = np.stack([network.x_nm[ends], network.y_nm[ends], deep], axis=-1).reshape(-1, 3)
    place, at = np.unique(rows, axis=0, return_inverse=True)
    begin, end = at.reshape(-1, 2).T.copy()
    bulge = network.bulge[edge] * np.where(half % 2 == 0, 1.0, -1.0)
    cuts = Cuts(
        place_nm=place,
        tail=begin.copy(),
        head=end.copy(),
        bulge=bulge,
        feature=np.zeros(len(half), np.int64),
        after=np.full(len(half), -1),
    )
    plan = Plan(
        half_edge=2 * np.arange(len(half)),
        begin=begin,
        end=end,
        recut=np.zeros(len(half), dtype=bool),
        pass_start=np.cumsum([0, *(len(one) for one in passes)]),
        hop_mm=hop_mm,
        cut_mm=1.0,
        recut_mm=0.0,
        rapid_mm=0.0,
        levels=1,
        proof=Proof(plan_s=1.0, bound_s=1.0, cell_by_cell_s=1.0),
    )
    return write_plan(job, cuts, plan, notes)


def body(text: str) -> list[str]:
    """Return the lines from the first pass on."""
    lines = text.splitlines()
    return lines[next(i for i, line in enumerate(lines) if line.startswith("(Pass 1")) :]


# A corner at the piece's centre:   2
#                                   |
#                            0 ---- 1
CORNER = network([(-10, 0), (0, 0), (0, 5)], [(0, 1, 0.0), (1, 2, 0.0)])


def test_a_whole_program_word_by_word() -> None:
    """Two passes on the small mill: modes, lift, spindle and dwell, then each pass, then lift, stop and end."""
    text = write(job(), CORNER, [[(0, 2.0)], [(3, 2.0)]], NOTES)

    assert text == (
        "(Mizo: try)\n"
        "G17 G21 G40 G49 G54 G80 G90 G94\n"
        "G61\n"
        "G0 Z5\n"
        "S10000 M3\n"
        "G4 P3\n"
        "(Pass 1 of 2)\n"
        "X10 Y10\n"
        "Z1\n"
        "G1 Z-2 F200\n"
        "X20 F600\n"
        "G0 Z1\n"
        "(Pass 2 of 2)\n"
        "X20 Y15\n"
        "G1 Z-2 F200\n"
        "Y10 F600\n"
        "G0 Z5\n"
        "M5\n"
        "M2\n"
    )


def test_a_spindle_started_by_hand_is_asked_for() -> None:
    """Without a spindle under the program's command it pauses with a request, and sends no S, M3 or M5."""
    machine = load_machine("rs274-mill")
    text = write(job("rs274-mill"), CORNER, [[(0, 2.0)]], NOTES)

    assert text.splitlines()[3:6] == [
        f"G0 Z{machine.safe_height_mm:g}",
        "(Start the spindle by hand: 10000 rpm. Then continue.)",
        "M0",
    ]
    assert text.splitlines()[-3:] == ["G0 Z8", "(Stop the spindle by hand before reaching in)", "M30"]
    assert not re.search(r"\b(S\d|M3\b|M5)", text.replace("M30", ""))


def test_two_depths_in_one_pass() -> None:
    """Deeper, the bit goes down at the plunge feed; shallower, it rises in place as a rapid; both alone on their line."""
    row = network([(0, 0), (5, 0), (10, 0), (15, 0)], [(0, 1, 0.0), (1, 2, 0.0), (2, 3, 0.0)])

    assert body(write(job(), row, [[(0, 1.0), (2, 2.0), (4, 0.5)]], NOTES))[3:9] == [
        "G1 Z-1 F200",
        "X25 F600",
        "Z-2 F200",
        "X30 F600",
        "G0 Z-0.5",
        "G1 X35",
    ]


def test_levels_and_recuts_are_walked_as_planned() -> None:
    """An edge walked there at one level and back at the next, and walked again, is written each time."""
    lines = body(write(job(), CORNER, [[(0, 1.0), (1, 2.0), (0, 2.0)]], NOTES))

    assert lines[3:8] == ["G1 Z-1 F200", "X20 F600", "Z-2 F200", "X10 F600", "X20"]


@pytest.mark.parametrize(
    ("xy", "z", "start", "floor", "safe"),
    [
        ("front-left", "top", "X10 Y10", "-2", "5"),
        ("front-right", "top", "X-30 Y10", "-2", "5"),
        ("back-left", "top", "X10 Y-10", "-2", "5"),
        ("back-right", "bed", "X-30 Y-10", "8", "15"),
        ("centre", "bed", "X-10 Y0", "8", "15"),
    ],
)
def test_zero_moves_every_number(xy: str, z: str, start: str, floor: str, safe: str) -> None:
    """The work zero is at a corner or the centre, and on the top of the piece or on the bed it lies on."""
    text = write(job(zero=f"xy: {xy}, z: {z}"), CORNER, [[(0, 2.0)]], NOTES)

    assert start in text.splitlines()
    assert f"G1 Z{floor} F200" in text.splitlines()
    assert text.splitlines()[3] == f"G0 Z{safe}"


def test_inches() -> None:
    """In inches: G20, at least four decimals, feeds in inches a minute and never above the one asked for."""
    text = write(job(change={"units": "inch", "decimals": 4}), CORNER, [[(0, 2.0)]], NOTES)

    assert text.splitlines()[1].split()[1] == "G20"
    # 10 / 25.4 = 0.393701, 2 / 25.4 = 0.078740, 20 / 25.4 = 0.787402, 200 / 25.4 = 7.8740, 600 / 25.4 = 23.6220
    assert body(text)[1:5] == ["X0.3937 Y0.3937", "Z0.0394", "G1 Z-0.0787 F7.87", "X0.7874 F23.62"]


@pytest.mark.parametrize(
    ("dialect", "units", "arcs", "lines"),
    [
        ("rs274ngc", "mm", True, ["G17 G21 G40 G49 G54 G80 G90 G94", "G61"]),
        ("grbl-1.1", "mm", True, ["G17 G21 G40 G49 G54 G80 G90 G94 G91.1", "G61"]),
        ("grbl-1.1", "mm", False, ["G17 G21 G40 G49 G54 G80 G90 G94", "G61"]),
        ("linuxcnc", "mm", True, ["G17 G21 G40 G49 G54 G80 G90 G94 G91.1", "G64 P0.01"]),
        ("linuxcnc", "inch", False, ["G17 G20 G40 G49 G54 G80 G90 G94", "G64 P0.0004"]),
    ],
)
def test_opening_by_dialect(dialect: str, units: str, arcs: bool, lines: list[str]) -> None:
    """Every mode is set first; G91.1 only where it is known and arcs are cut, G64 with a bound only where it has one."""
    changed = job(change={"dialect": dialect, "units": units})

    assert opening(changed, arcs=arcs) == lines


def test_arcs_name_their_centre_from_their_start() -> None:
    """Quarter turns of radius 10: bulge tan(90°/4), counter-clockwise G3 and back again G2, I and J to the centre."""
    quarter = network([(10, 0), (0, 10)], [(0, 1, math.tan(math.pi / 8.0))])
    lines = body(write(job(), quarter, [[(0, 2.0), (1, 2.0)]], NOTES))

    assert lines[1] == "X30 Y10"
    assert lines[4:6] == ["G3 X20 Y20 I-10 J0 F600", "G2 X30 Y10 I0 J-10"]


def test_an_arc_over_half_a_turn_is_cut_in_two() -> None:
    """Three quarters of a turn round the piece's centre, radius 5, become two arcs that meet half way round."""
    long = network([(5, 0), (0, -5)], [(0, 1, math.tan(3.0 * math.pi / 8.0))])
    lines = body(write(job(), long, [[(0, 2.0)]], NOTES))
    half_way = 5.0 * math.cos(math.radians(135.0)), 5.0 * math.sin(math.radians(135.0))

    first = re.fullmatch(r"G3 X(\S+) Y(\S+) I(\S+) J(\S+) F600", lines[4])
    assert first
    # The half-way place is rounded, so the centre that is equally far from both ends may lie a step aside.
    assert [float(word) for word in first.groups()] == pytest.approx(
        [20 + half_way[0], 10 + half_way[1], -5.0, 0.0], abs=0.001
    )
    assert re.fullmatch(r"X20 Y5 I\S+ J\S+", lines[5])


def test_without_arcs_chords_stay_within_the_tolerance() -> None:
    """Chords end on the arc and leave it by no more than the machine's tolerance and half a step of the last decimal."""
    radius, tolerance = 10.0, 0.002
    quarter = network([(radius, 0), (0, radius)], [(0, 1, math.tan(math.pi / 8.0))])
    machine = {"arcs": False, "arc_tolerance_mm": tolerance}
    text = write(job(change=machine, zero="xy: centre"), quarter, [[(0, 2.0)]], NOTES)
    places = [(radius, 0.0)]
    for line in body(text)[4:-3]:
        x, y = (re.search(rf"{axis}(\S+)", line) for axis in "XY")
        places.append((float(x[1]) if x else places[-1][0], float(y[1]) if y else places[-1][1]))
    middles = [(0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])) for a, b in pairwise(places)]
    half_step = 0.0005 * math.sqrt(2.0)

    assert "G2" not in text.split("M3")[1]
    assert "G3 " not in text
    assert places[-1] == (0.0, radius)
    assert all(abs(math.hypot(*place) - radius) <= half_step + 1e-9 for place in places)
    assert all(radius - math.hypot(*place) <= tolerance + half_step for place in middles)
    # A chord with this sagitta spans 2 acos(1 - s / r); no more of them than needed.
    assert len(places) - 1 == math.ceil(math.pi / 2.0 / (2.0 * math.acos(1.0 - tolerance / radius)))


def test_short_and_flat_arcs_are_straight() -> None:
    """An arc of a few steps, and one that leaves its chord by less than half a step, are written as lines."""
    tiny = network([(0, 0), (0.01, 0)], [(0, 1, 0.2)])
    flat = network([(0, 0), (10, 0)], [(0, 1, 0.00009)])  # sagitta 0.00045 mm

    for one in (tiny, flat):
        assert not re.search(r"G[23] ", write(job(), one, [[(0, 2.0)]], NOTES))


def test_an_arc_longer_than_a_few_steps_is_an_arc() -> None:
    """A quarter turn over 0.03 mm is written as one, for its ends still say how it bends."""
    small = network([(0, 0), (0.03, 0)], [(0, 1, math.tan(math.pi / 8.0))])

    assert re.search(r"G3 ", write(job(), small, [[(0, 2.0)]], NOTES))


@pytest.mark.parametrize(
    ("spin_up_s", "word"),
    [(2.5, "P2.5"), (2.004, "P2.01"), (1 / 3, "P0.34"), (0.004, "P0.01"), (0.29, "P0.29")],
)
def test_the_spindle_is_given_all_of_its_spin_up(spin_up_s: float, word: str) -> None:
    """A spin-up is waited for in full, to the next 0.01 s: G4 counts seconds and takes fractions (NISTIR 6556 §3.5.4)."""
    spindle = load_machine("small-desktop").spindle.model_copy(update={"spin_up_s": spin_up_s})
    lines = write(job(change={"spindle": spindle}), CORNER, [[(0, 2.0)]], NOTES).splitlines()

    assert lines[lines.index("S10000 M3") + 1] == f"G4 {word}"


def test_what_rounding_leaves_nothing_of_is_not_written() -> None:
    """An edge shorter than the last decimal moves nothing and gets no line; the next one goes on from there."""
    short = network([(0, 0), (0.0004, 0), (5, 0)], [(0, 1, 0.0), (1, 2, 0.0)])
    lines = body(write(job(), short, [[(0, 2.0), (2, 2.0)]], NOTES))

    assert lines[3:6] == ["G1 Z-2 F200", "X25 F600", "G0 Z5"]


def test_near_zero_is_zero() -> None:
    """A coordinate that rounds to nothing is written 0, never -0."""
    near = network([(-0.0004, 0.0001), (5, -0.0003)], [(0, 1, 0.0)])
    text = write(job(zero="xy: centre"), near, [[(0, 2.0)]], NOTES)

    assert body(text)[1] == "X0 Y0"
    assert "-0" not in text


def test_hop_at_the_safe_height_needs_no_second_lift() -> None:
    """Where the hop is the safe height the first approach has no move to it."""
    lines = body(write(job(), CORNER, [[(0, 2.0)]], NOTES, 5.0))

    assert lines[1:3] == ["X10 Y10", "G1 Z-2 F200"]


@pytest.mark.parametrize(
    "change", [{}, {"decimals": 2}, {"units": "inch", "decimals": 4}], ids=["mm", "coarse", "inch"]
)
@pytest.mark.parametrize("hop_mm", [0.0001, 0.0, -0.5])
def test_a_rapid_is_never_written_at_or_below_the_top(hop_mm: float, change: dict[str, Any]) -> None:
    """A height for rapids that rounds to the top, or lies below it, is a fault of Mizo's own and gives no program."""
    with pytest.raises(InternalError, match="rapid"):
        write(job(change=change), CORNER, [[(0, 2.0)], [(3, 2.0)]], NOTES, hop_mm)
    with pytest.raises(InternalError, match="rapid"):
        write(job(change={**change, "safe_height_mm": hop_mm}), CORNER, [[(0, 2.0)]], NOTES)


def test_depths_that_round_to_one_height_need_no_move() -> None:
    """Between lines whose depths are written alike the bit neither sinks nor rises."""
    lines = body(write(job(), CORNER, [[(0, 2.0), (2, 2.0003), (3, 2.0)]], NOTES))

    assert lines[2:] == ["Z1", "G1 Z-2 F200", "X20 F600", "Y15", "Y10", "G0 Z5", "M5", "M2"]


@pytest.mark.parametrize("feed", [0.04, 0.5, 799.99, 800.0, 31.5 * 25.4])
@pytest.mark.parametrize("units", ["mm", "inch"])
def test_feeds_are_rounded_down_and_never_zero(feed: float, units: str) -> None:
    """Rounding a feed up would pass the machine's largest; rounding it to zero would stop it."""
    written = float(Frame(job(change={"units": units, "decimals": 4})).feed(feed))
    scale = 25.4 if units == "inch" else 1.0

    assert 0.0 < written * scale <= feed + 1e-6
    assert written * scale >= 0.9 * feed


@pytest.mark.slow
def test_an_arc_s_centre_is_equally_far_from_both_ends() -> None:
    """Over arcs of all sizes the written ends lie on one circle within the 0.002 mm that NISTIR 6556 3.5.3.2 allows."""
    rng = np.random.default_rng(5)
    worst = 0.0
    for _ in range(300):
        places = rng.uniform(-10, 10, (2, 2))
        arc = network([tuple(p) for p in places], [(0, 1, float(rng.uniform(-3, 3)))])
        x = y = 0.0
        for line in body(write(job(zero="xy: centre"), arc, [[(0, 2.0)]], NOTES))[1:-3]:
            words = {word[0]: float(word[1:]) for word in line.split()}
            next_x, next_y = words.get("X", x), words.get("Y", y)
            if "I" in words:
                i, j = words["I"], words["J"]
                worst = max(worst, abs(math.hypot(i, j) - math.hypot(x + i - next_x, y + j - next_y)))
            x, y = next_x, next_y

    assert 0.0 < worst < 0.002 / 4.0


def test_words_lines_and_bytes() -> None:
    """A program of everything: words of the common subset only, numbers plain, lines short, ends single, bytes the same."""
    all_kinds = network(
        [(-15, -5), (-5.12345, 5), (5, -5), (15, 5.00049)],
        [(0, 1, 0.0), (1, 2, 0.41421), (2, 3, -2.5)],
    )
    passes: list[Pass] = [[(0, 0.5), (2, 1.23456)], [(4, 2.0), (5, 0.25)], [(1, 2.0)]]
    for machine in ("small-desktop", "gantry-router", "rs274-mill"):
        text = write(job(machine), all_kinds, passes, NOTES)
        words = r"(?:[GM]\d+(?:\.\d)?|[XYZIJ]-?\d+(?:\.\d+)?|[FSP]\d+(?:\.\d+)?)"

        assert text == write(job(machine), all_kinds, passes, NOTES)
        assert text.endswith("\n")
        assert not set(text) & {"\r", "\t"}
        for line in text.splitlines():
            assert len(line) <= 79
            assert line.startswith("(") or re.fullmatch(rf"{words}(?: {words})*", line), line


def test_slopes_word_by_word() -> None:
    """Down over 10 mm at the cutting feed, up 2 mm over 5 mm at 200 / sin: 200 sqrt(29) / 2; it begins at the surface."""
    text = write(job(), CORNER, [[(0, (0.0, 2.0)), (2, (2.0, 0.0))]], NOTES)

    assert body(text)[:7] == [
        "(Pass 1 of 1)",
        "X10 Y10",
        "Z1",
        "G1 Z0 F200",
        "X20 Z-2 F600",
        "Y15 Z0 F538.5",
        "G0 Z5",
    ]


def test_an_arc_that_slopes_is_a_helix() -> None:
    """A quarter of radius 2 is pi long and 2 mm deep: 200 sqrt(pi² + 4) / 2 along it, Z beside the other words."""
    quarter = network([(2, 0), (0, 2)], [(0, 1, math.tan(math.pi / 8.0))])
    lines = body(write(job(), quarter, [[(0, (0.0, 2.0))]], NOTES))

    assert lines[3:5] == ["G1 Z0 F200", "G3 X20 Y12 I-2 J0 Z-2 F372.4"]


def test_chords_of_an_arc_that_slopes_go_down_evenly() -> None:
    """Without arcs: every chord as steep as the others to the last digit, at one feed that holds the plunging rate."""
    quarter = network([(9, 0), (0, 9)], [(0, 1, math.tan(math.pi / 8.0))])
    text = write(job(change={"arcs": False}, zero="xy: centre"), quarter, [[(0, (0.0, 2.0))]], NOTES)
    places = [[9.0, 0.0, 0.0]]
    for line in body(text)[4:-3]:
        word = dict(re.findall(r"([XYZ])(-?[0-9.]+)", line))
        places.append([float(word.get(axis, last)) for axis, last in zip("XYZ", places[-1], strict=True)])
    steps = np.diff(np.array(places), axis=0)
    slope = steps[:, 2] / np.hypot(steps[:, 0], steps[:, 1])
    [feed] = re.findall(r"F([0-9.]+)", " ".join(body(text)[4:]))

    assert len(steps) > 8
    assert places[-1] == [0.0, 9.0, -2.0]
    assert slope == pytest.approx(-2.0 / (4.5 * math.pi), abs=0.002)
    assert float(feed) <= 600.0


def test_modal_words_stand_only_where_they_change() -> None:
    """No motion code and no feed is written twice running."""
    lines = body(write(job(), CORNER, [[(0, 2.0), (2, 2.0)], [(3, 1.0), (1, 1.0)]], NOTES))
    for pattern in (r"\bG\d+", r"\bF\S+"):
        found = [word for line in lines if not line.startswith("(") for word in re.findall(pattern, line)]

        assert found, pattern
        assert all(a != b for a, b in pairwise(found))


def test_an_empty_plan_is_still_a_sound_program() -> None:
    """Nothing to cut: the spindle starts and stops at the safe height."""
    assert write(job(), CORNER, [], NOTES).splitlines()[3:] == ["G0 Z5", "S10000 M3", "G4 P3", "M5", "M2"]


@pytest.mark.parametrize("machine", ["small-desktop", "gantry-router", "rs274-mill"])
def test_the_interpreter_takes_it(machine: str, rs274: Any) -> None:
    """Lines, arcs of both hands and long ones are accepted without a word by an interpreter that is not ours."""
    arcs = network(
        [(-15, -5), (-5, 5), (5, -5), (15, 5)],
        [(0, 1, 0.0), (1, 2, 0.7), (2, 3, -2.5), (3, 0, 1.0)],
    )
    slopes: list[Pass] = [[(0, (0.0, 2.0)), (2, (2.0, 1.0)), (4, (1.0, 0.0))], [(6, (0.0, 1.0))]]
    ran = rs274(write(job(machine), arcs, [[(0, 2.0), (2, 2.0), (4, 2.0)], [(6, 1.0)], *slopes], NOTES))

    assert ran.accepted, ran.message
    assert ran.message == ""
