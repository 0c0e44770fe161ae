"""Every check of a cut-out, provoked by one line of a sound program written by hand: a 20 mm square, 3 mm thick, two tabs.

The zero is the centre of the piece's top; the end mill is 2 mm across, so that its middle goes round at 11 mm.
"""

from __future__ import annotations

from functools import cache

import pytest
import shapely

from small_job import job_from
from vcarve.dryrun.check import check
from vcarve.dryrun.track import waiting_mm
from vcarve.errors import Finding
from vcarve.job.records import Job
from vcarve.layout.stages import lay_out
from vcarve.program.reader import read_program
from vcarve.proofing import outline_target_of

JOB = """\
piece: {width: 20, height: 20, thickness: 3, wood: {title: w, chip-low: 0.02, chip-high: 0.05, plunge-share: 0.5, step: 3}}
pattern: {name: asanoha, pitch: 10, margin: 2}
groove: {depth: 0.4}
bit: v60-3.175
machine: small-desktop
zero: {xy: centre}
cut-out:
  bit: {diameter: 2, shank: 3.175, cutting-length: 8}
  tabs: 2
  tab: 3 x 1 mm
  step: 2
  through: 0.2
  ramp: 20 deg
  feed: {cut: 400, plunge: 300, spindle: 10000}
"""
# Once round down to 1.6 mm, once to 3.2, over tabs 5 mm long in the way (3 mm and the bit) in the middle of left and right.
SOUND = """\
G17 G21 G40 G49 G54 G80 G90 G94
G0 Z5
S10000 M3
G4 P3
X0 Y-11
Z1
G1 Z0 F300
X-10 Z-0.18 F400
G2 X-11 Y-10 I0 J1 Z-0.21
G1 Y10 Z-0.58
G2 X-10 Y11 I1 J0 Z-0.61
G1 X10 Z-0.98
G2 X11 Y10 I0 J-1 Z-1.01
G1 Y-10 Z-1.38
G2 X10 Y-11 I-1 J0 Z-1.41
G1 X0 Z-1.6
X-10 Z-1.8
G2 X-11 Y-10 I0 J1 Z-1.85
G1 Y-2.5 Z-2
Y2.5
Y10 Z-2.4
G2 X-10 Y11 I1 J0 Z-2.45
G1 X10 Z-2.8
G2 X11 Y10 I0 J-1 Z-2.85
G1 Y2.5 Z-3
G0 Z-2
G1 Y-2.5
Y-6.5 Z-3.2
Y-10
G2 X10 Y-11 I-1 J0
G1 X-10
G2 X-11 Y-10 I0 J1
G1 Y-2.5
G0 Z-2
G1 Y2.5
Y6.5 Z-3.2
Y10
G2 X-10 Y11 I1 J0
G1 X10
G2 X11 Y10 I0 J-1
G1 Y2.5
G0 Z-2
G1 Y-2.5
G0 Z5
M5
M2
"""
LINES = SOUND.splitlines()


@cache
def job_of(*sets: str) -> Job:
    """Return the job, with some of its values changed."""
    return job_from(JOB, *sets)


def judge(
    changes: dict[int, str], *sets: str, neighbours: tuple[shapely.Polygon, ...] = ()
) -> tuple[Finding, ...]:
    """Return every finding of the program with some lines written otherwise; an empty text leaves a line out."""
    text = "\n".join(line for k, one in enumerate(LINES, 1) if (line := changes.get(k, one))) + "\n"
    job = job_of(*sets)
    reading = read_program(text, dialect=job.machine.dialect, start_mm=waiting_mm(job.machine, job))
    return check(reading, job.machine, outline_target_of(lay_out(job), neighbours))


def test_the_sound_program_has_no_finding() -> None:
    """The program that the others differ from is right."""
    assert judge({}) == ()


CASES: dict[str, tuple[dict[int, str], str, str]] = {
    "into the piece": (
        {39: "G1 X0", 40: "Y10.9\nY11\nX10\nG2 X11 Y10 I0 J-1"},
        "piece-cut",
        "The end mill cuts into the piece.",
    ),
    "beside its way": (
        {39: "G1 X0", 40: "Y11.1\nY11\nX10\nG2 X11 Y10 I0 J-1"},
        "stray-cut",
        "The end mill cuts beside its way round the outline.",
    ),
    "straight down": (
        {8: "Z-1\nX-10"},
        "mill-plunge",
        "The end mill goes down too steeply into the wood; the job asks for a slope of 20° at most.",
    ),
    "down behind a tab": (
        {28: "Z-3.2"},
        "mill-plunge",
        "The end mill goes down too steeply into the wood; the job asks for a slope of 20° at most.",
    ),
    "too much at once": (
        {8: "X-5 Z-1.6\nX-10 Z-2.3", 9: "G2 X-11 Y-10 I0 J1", 10: "G1 Y10"},
        "step-too-deep",
        "The end mill cuts 2.3 mm deep at once; the job's step is 2 mm.",
    ),
    "not through": (
        {39: "G0 Z1\nX10\nG1 Z-2.8"},
        "not-through",
        "Here the outline is not cut through, for 29 mm.",
    ),
    "a tab too many": (
        {39: "G1 X-2.5\nG0 Z-2\nG1 X2.5\nX6.5 Z-3.2\nX10"},
        "tab-off",
        "3 tabs stand on the outline; the job asks for 2.",
    ),
    "a tab cut off": (
        {42: "", 43: "G1 Y-7"},
        "tab-off",
        "1 tab stands on the outline; the job asks for 2.",
    ),
    "a tab too narrow": (
        {41: "G1 Y1"},
        "tab-off",
        "This tab is 1 mm high over 1.5 mm only; the job asks for 3 mm by 1 mm.",
    ),
    "a tab too low": (
        {42: "G0 Z-2.5"},
        "tab-off",
        "This tab is nowhere 1 mm high and wide enough; the job asks for 3 mm by 1 mm.",
    ),
    "too deep": (
        {36: "Y6.5 Z-3.4"},
        "through-the-piece",
        "The bit goes 3.4 mm deep; the piece is 3 mm thick, and 0.2 mm more is asked for.",
    ),
    "too fast": (
        {8: "X-10 Z-0.18 F600"},
        "faster-than-job",
        "The bit cuts at 600 mm/min; the job asks for 400.",
    ),
    "another zero": (
        {5: "X50 Y-11", **dict.fromkeys(range(8, 44), ""), 44: "G1 X60 Z-1 F400\nG0 Z5"},
        "other-job",
        "The program does not go round this job's outline. Is it the program of another job, or was it made for another zero or "
        "turn?",
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_each_fault_is_found(name: str) -> None:
    """One line written otherwise is told with its code, and in these words."""
    changes, code, said = CASES[name]

    assert (code, said) in [(one.code, one.sentence) for one in judge(changes)]


def test_nothing_cut_at_all_is_not_through() -> None:
    """A program that stops before its last turn leaves the outline standing."""
    found = judge(dict.fromkeys(range(17, 44), ""))

    assert [(one.code, one.sentence) for one in found] == [
        ("not-through", "Nothing is cut through all along this outline.")
    ]


def test_a_neighbour_nearer_than_the_bit_is_wide() -> None:
    """A piece that begins 2.1 mm beside this one is left alone; one at 1.9 mm is not."""
    clear, close = (judge({}, neighbours=(shapely.box(10.0 + gap, -5, 20, 5),)) for gap in (2.1, 1.9))

    assert clear == ()
    assert {one.code for one in close} == {"neighbour-cut"}


def test_a_lead_in_begins_beside_the_outline_where_the_job_says_so() -> None:
    """The same arc from the waste is a stray cut for a job that does not lead in."""
    led = {5: "X1 Y-12", 8: "G3 X0 Y-11 I-1 J0 Z-0.05 F400\nG1 X-10 Z-0.18"}

    assert {one.code for one in judge(led)} == {"stray-cut"}
    assert judge(led, "cut-out.lead-in=true") == ()


def test_a_lead_in_goes_down_no_more_steeply_than_the_way() -> None:
    """Beside the outline, in wood that nothing has cut, a plunge is one as well, and so is too much at once."""
    led = {5: "X1 Y-12", 7: "G1 Z-1.5 F300", 8: "G2 X0 Y-11 I-1 J0 F400\nG1 X-10 Z-1.6"}
    deep = {5: "X1 Y-12", 8: "G2 X0 Y-11 I-1 J0 Z-1.2 F400\nG1 X-10"}
    sets = ("cut-out.lead-in=true", "cut-out.ramp=45 deg", "cut-out.step=1")

    assert "mill-plunge" in {one.code for one in judge(led, "cut-out.lead-in=true")}
    assert ("step-too-deep", 8) in {(one.code, one.line) for one in judge(deep, *sets)}


def test_the_other_way_round_is_a_caution() -> None:
    """The same program for a job that asks for the other direction is told so, once for its ring."""
    found = judge({}, "cut-out.direction=conventional")

    assert [(one.code, one.severity) for one in found] == [("cut-direction", "caution")]
    assert found[0].sentence == "The end mill climbs here; the job asks for conventional."
