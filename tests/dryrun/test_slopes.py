"""Lines that taper, judged from programs written by hand: at their depth all along, whichever way they are walked.

A line 40 mm long and 2 mm deep rises to the surface over its last 6 mm and ends in a point at X20 Y0; a quarter of a circle
of 10 mm about X0 Y-20 rises from 2 mm at its right end to the surface at its left end, X-10.  The zero is the centre of the top.
"""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
import shapely

from small_job import changed, job_from, on_machine, own_job, small_job
from small_network import network_of_lines
from vcarve.dryrun.check import check
from vcarve.dryrun.measure import carved, measured, width_findings
from vcarve.dryrun.target import Target
from vcarve.errors import Finding
from vcarve.groove.land import measure
from vcarve.job.records import Job
from vcarve.job.sections import Zero
from vcarve.pipeline import plan_program
from vcarve.program.reader import read_program
from vcarve.proofing import check_program, target_of

QUARTER = math.tan(math.pi / 8.0)
DIAGONAL = round(math.sqrt(50.0), 6)
RIGHT, LEFT = (DIAGONAL, -20.0 + DIAGONAL), (-DIAGONAL, -20.0 + DIAGONAL)
NETWORK = network_of_lines(
    [((-20.0, 0.0), (14.0, 0.0)), ((14.0, 0.0), (20.0, 0.0)), (RIGHT, LEFT)], [0.0, 0.0, QUARTER]
)
SHARE = np.array([[1.0, 1.0, 1.0], [1.0, 0.0, 0.0]])
JOB = small_job(recut="never").model_copy(update={"zero": Zero(xy="centre")})
GROOVES = measure(NETWORK, JOB.bit, {0: 2.0}, SHARE)
OPENING = "G17 G21 G40 G49 G54 G90 G94\nG0 Z5\nS12000 M3"
TO_LEFT = f"G3 X{LEFT[0]} Y{LEFT[1]}"
TO_TOP = f"G3 X0 Y-10 I{-DIAGONAL} J{-DIAGONAL}"
# Lines 4 to 9 of a program are the straight line, the rest the arc.
LINE = ["G0 X-20 Y0", "G0 Z1", "G1 Z-2 F200", "G1 X14 F600", "G1 X20 Z0", "G0 Z1"]
ARC = [
    f"G0 X{RIGHT[0]} Y{RIGHT[1]}",
    "G0 Z1",
    "G1 Z-2 F200",
    f"{TO_LEFT} Z0 I{-DIAGONAL} J{-DIAGONAL} F600",
    "G0 Z5",
]


def judge(moves: list[str], job: Job = JOB) -> tuple[Finding, ...]:
    """Return every finding of a program of these lines."""
    text = "\n".join([OPENING, *moves, "M5", "M30"]) + "\n"
    reading = read_program(text, dialect=job.machine.dialect, start_mm=(0.0, 0.0, 5.0))
    return check(
        reading, job.machine, Target(job, NETWORK, GROOVES, shapely.box(-100.0, -100.0, 100.0, 100.0))
    )


def found(
    line: list[str] | None = None, arc: list[str] | None = None, **recut: str
) -> list[tuple[int | None, str]]:
    """Return line and code of every finding where the line or the arc is written like this, "~" before a caution's."""
    job = changed(JOB, "plan", **recut)
    one = judge([*(line or LINE), *(arc or ARC)], job)
    return [(f.line, f.code if f.severity == "refuse" else f"~{f.code}") for f in one]


def chords(count: int) -> list[str]:
    """Return the arc's pass as straight moves."""
    rows = []
    for k in range(1, count + 1):
        angle = math.pi / 4.0 + math.pi / 2.0 * k / count
        rows.append(
            f"G1 X{10 * math.cos(angle):.4f} Y{10 * math.sin(angle) - 20:.4f} Z{-2 + 2 * k / count:.4f} F600"
        )
    return [*ARC[:3], *rows, ARC[-1]]


@pytest.mark.parametrize(
    "line",
    [
        LINE,
        # Down from the point.
        ["G0 X20 Y0", "G0 Z1", "G1 Z0 F200", "G1 X14 Z-2 F600", "G1 X-20", "G0 Z1"],
        # The slope in parts, the first hardly longer than a hair, and in two passes.
        ["G0 X20 Y0", "G0 Z1", "G1 Z0 F200", "G1 X19.997 Z-0.001 F600", "G1 X17 Z-1", "X14 Z-2", "X-20", "G0 Z1"],
        ["G0 X17 Y0", "G0 Z1", "G1 Z-1 F200", "G1 X20 Z0 F600", "G0 Z1", *LINE[:4], "G1 X17 Z-1", "G0 Z1"],
        # In two levels: the first one clips the slope.
        [*LINE[:2], "G1 Z-1 F200", "G1 X17 F600", "X20 Z0", "G0 Z1", "G0 X17", "G1 Z-1 F200", "G1 X14 Z-2 F600", "X-20", "G0 Z1"],
        # A plunge half-way up the slope, as deep as the line is to be there.
        [*LINE, "G0 X17", "G1 Z-1 F200", "G0 Z1"],
    ],
)  # fmt: skip
def test_a_taper_cut_as_it_should_be_has_no_findings(line: list[str]) -> None:
    """Up the slope, down it, in parts and in levels: every place is cut to its depth once."""
    assert found(line) == []


@pytest.mark.parametrize("count", [40, 200])
def test_an_arc_that_tapers_may_be_cut_in_chords(count: int) -> None:
    """On a machine without arcs the chords fall as evenly as the arc does."""
    job = on_machine(JOB, arcs=False, arc_tolerance_mm=0.01)

    assert judge([*LINE, *chords(count)], job) == ()


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        # At full depth to the end, the taper left out.
        ([*LINE[:4], "G1 X20", "G0 Z1"], [(8, "wrong-depth")]),
        ([*LINE[:3], "G1 X20 F600", "G0 Z1"], [(7, "wrong-depth")]),
        # The wrong way: rising towards the middle.
        ([*LINE[:4], "G0 Z0", "G1 X20 Z-2 F600", "G0 Z1"], [(9, "wrong-depth"), (9, "wrong-depth")]),
        # Half as high, and deeper at the point.
        ([*LINE[:4], "G1 X20 Z-1", "G0 Z1"], [(8, "wrong-depth")]),
        # Too short and too long.
        ([*LINE[:3], "G1 X17 F600", "X20 Z0", "G0 Z1"], [(7, "wrong-depth"), (8, "wrong-depth")]),
        ([*LINE[:3], "G1 X8 F600", "X20 Z0", "G0 Z1"], [(8, "wrong-depth"), (8, "wrong-depth")]),
        # The slope is shallower than it should be, though as deep as it may be at its ends.
        ([*LINE[:4], "G1 X17 Z-0.5", "X20 Z0", "G0 Z1"], [(9, "wrong-depth")]),
        # It bulges below the slope.
        ([*LINE[:4], "G1 X17 Z-1.5", "X20 Z0", "G0 Z1"], [(8, "wrong-depth"), (9, "wrong-depth")]),
        # Left out, wholly or in part.
        ([*LINE[:4], "G0 Z1"], [(None, "line-missed")]),
        ([*LINE[:4], "G1 X18 Z-0.6667", "G0 Z1"], [(None, "line-missed")]),
        # Cut again, wholly or in part.
        ([*LINE[:5], "G1 X14 Z-2", "G0 Z1"], [(9, "cut-twice")]),
        ([*LINE[:5], "G0 Z1", "G0 X17", "G1 Z-1 F200", "G1 X20 Z0 F600", "G0 Z1"], [(12, "cut-twice")]),
        # Plunges and small steps deeper than the line is to be just there.
        ([*LINE, "G0 X17", "G1 Z-1.1 F200", "G0 Z1"], [(11, "wrong-depth")]),
        ([*LINE, "G0 X20", "G1 Z-0.01 F200", "G0 Z1"], [(11, "wrong-depth")]),
        ([*LINE, "G0 X17", "G1 Z0 F200", "G1 X17.001 Z-1.1", "G0 Z1"], [(12, "wrong-depth")]),
        # Beyond the point.
        ([*LINE[:4], "G1 X20 Z0", "G1 X21 Z-0.2", "G0 Z1"], [(9, "stray-cut")]),
    ],
)  # fmt: skip
def test_a_taper_cut_otherwise_is_found(line: list[str], expected: list[tuple[int | None, str]]) -> None:
    """A slope left out, turned round, too steep, too gentle, too deep, missed or cut again has a finding at its line."""
    assert sorted(found(line), key=str) == sorted(expected, key=str)


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        # All of it at full depth, or half as high.
        ([f"{TO_LEFT} I{-DIAGONAL} J{-DIAGONAL} F600"], [(13, "wrong-depth")]),
        ([f"{TO_LEFT} Z-0.5 I{-DIAGONAL} J{-DIAGONAL} F600"], [(13, "wrong-depth")]),
        # Half of it at full depth, the rest twice as steep.
        ([f"{TO_TOP} F600", f"{TO_LEFT} Z0 I0 J-10"], [(13, "wrong-depth"), (14, "wrong-depth")]),
        ([f"{TO_TOP} Z-1 F600", f"{TO_LEFT} Z0 I0 J-10"], []),
        ([f"{TO_TOP} Z-0.8 F600", f"{TO_LEFT} Z0 I0 J-10"], [(14, "wrong-depth")]),
    ],
)
def test_an_arc_is_compared_with_the_depth_along_it(
    rows: list[str], expected: list[tuple[int | None, str]]
) -> None:
    """Depth is even along an arc as it is along a line, in one move or in two."""
    assert found(arc=[*ARC[:3], *rows, ARC[-1]]) == expected


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ([*LINE, "G0 X17", "G1 Z-1.015 F200", "G0 Z1"], []),
        ([*LINE, "G0 X14", "G1 Z-2.015 F200", "G0 Z1"], ["wrong-depth"]),
        ([*LINE[:4], "G1 Z-2.015 F200", "G1 X20 Z0 F600", "G0 Z1"], ["wrong-depth", "wrong-depth"]),
    ],
)
def test_nothing_is_deeper_than_its_line_anywhere(line: list[str], expected: list[str]) -> None:
    """Places that are not sure to 0.05 mm are no leave to go deeper than the deepest place of a slope."""
    job = on_machine(JOB, arcs=False, arc_tolerance_mm=0.05)

    assert [one.code for one in judge([*line, *chords(40)], job)] == expected


def test_a_slope_cut_a_little_deeper_in_each_level_is_not_cut_twice() -> None:
    """Levels nearer to each other than a place on a slope is sure in depth are levels all the same."""
    job = changed(on_machine(JOB, arcs=False, arc_tolerance_mm=0.05), "groove", step_mm=0.02)
    line = [f"G0 Z1\nG0 X-20 Y0\nG1 Z{-k / 50} F200\nX14 F600\nX20 Z0" for k in range(1, 101)]

    assert [
        one.code for one in judge([*line, "G0 Z1"], job) if one.code in ("cut-twice", "step-too-deep")
    ] == []


def test_there_and_back_is_no_harm_where_lines_may_be_cut_again() -> None:
    """Down the slope the bit has risen along goes again along a line, as on any other line."""
    back = [*LINE[:5], "G1 X14 Z-2", "G0 Z1"]

    assert found(back, recut="allow") == []
    assert found([*back[:-1], "G1 X20 Z0", "G0 Z1"], recut="allow") == [(10, "cut-twice")]


def test_a_finding_names_the_depth_where_it_is_worst() -> None:
    """At full depth to the end the line is 2 mm deep at its point, where it should not be cut at all."""
    (one,) = judge([*LINE[:4], "G1 X20", "G0 Z1", *ARC])

    assert one.at_mm == pytest.approx((20.0, 0.0))
    assert one.sentence == "This line is cut 2 mm deep here; the job asks for 0 mm."


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        # 2 mm down over 6 mm of way: the bit sinks at 0.316 of the feed, and 632 mm/min is the job's plunge of 200.
        ("G1 X14 Z-2 F632", []),
        ("G1 X14 Z-2 F640", [(7, "~faster-than-job")]),
    ],
)
def test_down_a_slope_the_bit_sinks_no_faster_than_it_plunges(
    row: str, expected: list[tuple[int, str]]
) -> None:
    """The speed down a slope is the feed's share along Z."""
    job = changed(JOB, "feed", cut_mm_min=900.0)
    one = judge(["G0 X20 Y0", "G0 Z1", "G1 Z0 F200", row, "G1 X-20", "G0 Z1", *ARC], job)

    assert [(f.line, f"~{f.code}") for f in one] == expected


def test_a_steep_slope_may_be_slow() -> None:
    """Where Z sets the pace, a feed far below the job's is no slip; less than a third of that is one."""
    job = changed(JOB, "feed", plunge_mm_min=40.0)
    arc = [ARC[0], ARC[1], "G1 Z-2 F40", ARC[3].replace("F600", "F300"), ARC[4]]
    line = ["G0 X20 Y0", "G0 Z1", "G1 Z0 F40", "G1 X14 Z-2 F{}", "G1 X-20 F600", "G0 Z1"]

    for feed, codes in ((126, []), (43, []), (42, ["slower-than-job"])):
        one = judge([*(row.format(feed) for row in line), *arc], job)
        assert [f.code for f in one] == codes


DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" viewBox="0 0 60 60">
<path fill="none" stroke="black"
d="M30 30V8M30 30L50 45M30 30L10 45M10 10A20 20 0 0 0 20 28M50 10A25 25 0 0 1 42 30M8 52H52"/></svg>
"""


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """Return the job of a drawing of lines and arcs with nine loose ends, which taper over 6 mm; it lies askew."""
    folder = tmp_path_factory.mktemp("tapers")
    (folder / "lines.svg").write_text(DRAWING, encoding="ascii")
    text = own_job("{drawing: lines.svg}", wide_mm=60, high_mm=60).replace("v60-3.175", "v90-3.175")
    text = text.replace("depth: 0.5 mm", "depth: 1.5 mm, taper: 6 mm") + "zero: {xy: centre, turn: 1.5 deg}\n"
    return job_from(text, folder=str(folder))


@pytest.mark.parametrize("arcs", [True, False])
@pytest.mark.parametrize("units", ["mm", "inch"])
@pytest.mark.parametrize("step_mm", [9.0, 0.4])
def test_tapers_as_they_are_written_are_clean(drawn: Job, arcs: bool, units: str, step_mm: float) -> None:
    """With arcs and with chords, in both units, in one level and in four, what is written is what is wanted."""
    job = on_machine(drawn, arcs=arcs, units=units, decimals=3 if units == "mm" else 4)
    made = plan_program(changed(job, "groove", step_mm=step_mm))

    assert [str(one) for one in made.findings] == []
    assert check_program(made.text, file="tapers.nc", machine=job.machine, job=made.job).findings == ()


def test_one_written_taper_left_out_is_found(drawn: Job) -> None:
    """Of nine slopes one that is not written leaves its line too deep where it goes up, and uncut where it goes down."""
    lines = plan_program(drawn).text.splitlines()
    slopes = [
        number
        for number, line in enumerate(lines)
        if re.match(r"(G[123] )?X", line) and re.search(r"Z(0|-1\.5)(?![.\d])", line)
    ]

    assert len(slopes) == 9
    for number in slopes:
        other = [*lines]
        level = "Z-1.5" if "Z0" in lines[number] else "Z0"
        other[number] = re.sub(r"Z[-.\d]+", level, lines[number])
        found = check_program(
            "\n".join(other) + "\n", file="tapers.nc", machine=drawn.machine, job=drawn
        ).findings

        up = level == "Z-1.5"
        expected = (number + 1, "wrong-depth") if up else (None, "line-missed")
        assert expected in [(one.line, one.code) for one in found]


def test_widths_along_written_tapers(drawn: Job) -> None:
    """Carved, every groove measures what it should where it is looked at: tapers, arcs, and what lies between."""
    run = check_program(plan_program(drawn).text, file="tapers.nc", machine=drawn.machine, job=drawn)
    assert run.layout is not None
    target, moves = target_of(run.layout), run.reading.moves
    surface = carved(target, moves, 0.05)
    facts = measured(target, moves, surface)

    assert facts.measured == run.layout.network.edges
    assert abs(facts.worst_mm) < 0.05
    assert width_findings(target, surface, facts, ()) == []


@pytest.mark.parametrize("taper_mm", [1.55, 1.7, 2.2, 3.0])
def test_widths_along_written_tapers_nearly_as_steep_as_the_flank(drawn: Job, taper_mm: float) -> None:
    """On the usual grid slopes that leave the next circle hardly behind the last are as wide as they should be."""
    job = changed(drawn, "groove", taper_mm=taper_mm)
    run = check_program(plan_program(job).text, file="tapers.nc", machine=job.machine, job=job)
    assert run.layout is not None
    target, moves = target_of(run.layout), run.reading.moves
    surface = carved(target, moves, 0.05)
    facts = measured(target, moves, surface)
    slopes = target.network.cut & (np.ptp(target.grooves.ends_depth_mm, axis=0) > 0.0)

    assert slopes.sum() == 9
    assert taper_mm < 1.6 or np.isfinite(facts.widths_mm[slopes]).all()
    assert [str(one) for one in width_findings(target, surface, facts, ())] == []
