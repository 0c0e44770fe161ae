"""Going on after a break: what was cut before and what the rest cuts is the whole, or nobody is "
"told that it would be."""

from __future__ import annotations

import random
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from vcarve.errors import InputError, RefusedError
from vcarve.job.records import load_job
from vcarve.layout.stages import lay_out
from vcarve.pipeline import plan_program
from vcarve.program.moves import Motion
from vcarve.proofing import carve_piece, check_program
from vcarve.resume import Rest, at_line, at_pass, at_time, cutting_passes, rest_of
from vcarve.run import Made

sys.path.insert(0, str(Path(__file__).resolve().parent / "bench"))

from random_jobs import job_text

SAMPLES = Path(__file__).parent.parent / "samples"
SEED = 13
SMALL = ("box-side", "coaster", "trivet")

# A program as other hands write them: inches, numbered lines, arcs, feeds carried over.
OTHER_HAND = """\
%
(bracket plate)
N10 G20 G90 G17 G94
N15 G64 P0.0004
N20 T1
N30 S9000 M3
N40 G4 P4
N50 G0 Z0.5
N60 X0.25 Y0.25
N70 Z0.04
N80 G1 Z-0.02 F6
N90 X1.25 F24
N100 G3 X1.25 Y1.25 I0 J0.5
N110 G1 X0.25
N120 G0 Z0.04
N130 X0.25 Y2
N140 M8
N150 G1 Z-0.02
N160 X1.5
N170 G0 Z0.1
N180 G0 X0.3 Y2.5
N190 Z0.04
N200 G1 Z-0.02
N210 X1.5 Y2.6
N220 G0 Z0.5
N230 M9 M5
N240 M30
%
"""


def rest(text: str, find: Callable[[Any, Any], int], at: float, machine: str = "gantry-router") -> Rest:
    """Return the rest of a text from a pass, a line or a time on."""
    run = check_program(text, machine=machine, file="a.nc")
    return rest_of(run, find(run, at), text=text.encode(), name="a.nc")


def once(made: Made, given: Any, number: int, rs274: Any) -> None:
    """Hold the rest from a pass on against the whole: its cuts are the last of it, and together they are the job."""
    data = made.text.encode()
    run = check_program(made.text, machine=made.machine, file="a.nc")
    left = rest_of(run, at_pass(run, number), text=data, name="a.nc")
    again = check_program(left.text, given, rest_of=("a.nc", data))

    assert (left.first, left.passes) == (number, made.passes)
    assert not again.refused, again.findings
    assert again.passes_before == number - 1
    assert again.passes == made.passes - number + 1
    whole, own = rs274(made.text), rs274(left.text.decode())
    assert own.accepted
    assert own.message == ""
    cuts, rest_cuts = ([one for one in ran.moves if one.kind != "rapid"] for ran in (whole, own))
    assert rest_cuts == cuts[-len(rest_cuts) :]
    before = (made.reading.moves.line < left.line) & (made.reading.moves.motion != Motion.RAPID)
    assert len(rest_cuts) == len(cuts) - np.count_nonzero(before)


@pytest.mark.parametrize("name", sorted(path.stem for path in SAMPLES.glob("*.yaml")))
def test_the_rest_of_a_sample(name: str, rs274: Any) -> None:
    """At every pass of the small ones, and at ten of the others, before and rest are the whole, "
    "each line cut once."""
    layout = lay_out(load_job(SAMPLES / f"{name}.yaml"))
    made = plan_program(layout)
    numbers = list(range(2, made.passes + 1))
    if name not in SMALL:
        numbers = random.Random(name).sample(numbers, min(10, len(numbers)))
    for number in numbers:
        once(made, layout, number, rs274)


@pytest.mark.parametrize("number", range(10))
def test_the_rest_of_a_random_program(tmp_path: Path, number: int, rs274: Any) -> None:
    """At ten passes of random programs, of every class of machine, before and rest are the whole, "
    "each line cut once."""
    file = tmp_path / "job.yaml"
    file.write_text(job_text(SEED, number))
    try:
        layout = lay_out(load_job(file))
        made = plan_program(layout)
    except InputError:
        return
    if not made.refused:
        numbers = range(2, made.passes + 1)
        for first in random.Random(number).sample(numbers, min(10, len(numbers))):
            once(made, layout, first, rs274)


def test_a_program_of_another_hand(rs274: Any) -> None:
    """Inches, numbered lines, arcs, a feed and a coolant in force: all is said anew, and the lines "
    "follow sign by sign."""
    left = rest(OTHER_HAND, at_pass, 3)
    lines = left.text.decode().splitlines()

    at = lines.index("G17 G20 G90 G94")
    assert lines[0] == "%"
    assert "the program names no work zero" in " ".join(lines[:at])
    assert lines[at : at + 8] == [
        "G17 G20 G90 G94",
        "G64 P0.0004",
        "G0 Z0.5",
        "S9000 M3",
        "G4 P5",
        "M8",
        "F24",
        "G0 X1.5 Y2",
    ]
    assert "\n".join(lines[at + 8 :]) == "G0 Z0.1\n" + OTHER_HAND[OTHER_HAND.index("N180") :].rstrip("\n")
    assert rs274(left.text.decode()).message == ""
    assert (left.first, left.passes, left.line) == (3, 3, 21)


@pytest.mark.parametrize(
    ("find", "at", "line"),
    [
        (at_pass, 2, 16),
        (at_line, 16, 16),  # the rapid itself
        (at_line, 20, 16),  # the lift behind the pass: whether it was cut to its end is not known
        (at_line, 21, 21),
        (at_line, 23, 21),
    ],
)
def test_where_it_goes_on(find: Callable[[Any, Any], int], at: float, line: int) -> None:
    """A pass, a line or a time leads to the last lift before it."""
    assert rest(OTHER_HAND, find, at).line == line


def test_the_clock_finds_the_pass() -> None:
    """In the middle of each pass's own time, the clock finds that pass."""
    run = check_program(OTHER_HAND, machine="gantry-router")
    passes = cutting_passes(run.reading.moves)
    for number in (2, 3):
        mine = np.flatnonzero(passes == number - 1)
        middle = 0.5 * (run.times.start_s[mine[0]] + run.times.start_s[mine[-1]] + run.times.move_s[mine[-1]])

        assert rest_of(run, at_time(run, middle), text=b"", name="a").first == number


def test_the_zero_on_the_bed() -> None:
    """Where nothing goes below Z0 the height that the program goes across at tells its passes."""
    made = plan_program(load_job(SAMPLES / "coaster.yaml", ["zero.z=bed"]))
    run = check_program(made.text, machine=made.machine)
    counted = cutting_passes(run.reading.moves)

    assert counted.max() + 1 == made.passes
    assert np.array_equal(counted, made.pass_of)


PLAIN = """G21 G90 G17 G94
S9000 M3
G4 P5
G0 Z5
G0 X0 Y0
G1 Z-1 F300
X20
G0 Z5
G0 X0 Y10
G1 Z-1
X20
G0 Z5
M5
M2
"""


def test_a_pass_that_begins_where_the_one_before_was_lifted() -> None:
    """There the way across has no length: the rest still begins with that pass, behind the lift."""
    left = rest(PLAIN.replace("G0 X0 Y10", "G0 X20 Y0"), at_pass, 2)

    assert (left.first, left.line, left.place_mm) == (2, 9, (20.0, 0.0, 5.0))


def test_a_rapid_that_goes_nowhere_in_the_wood() -> None:
    """A place that is said again amid a cut is no lift: the rest begins behind the last one before it."""
    assert rest(PLAIN.replace("G1 Z-1\nX20", "G1 Z-1\nG0 X0 Y10\nG1 X20"), at_line, 12).line == 9


ACROSS = "G0 X0 Y10\n"


def test_a_speed_that_a_later_start_counts_on() -> None:
    """Where the spindle stands before the pass and is started again without its speed, the rest says the speed."""
    text = PLAIN.replace(f"G0 Z5\n{ACROSS}", f"G0 Z5\nM5\nG0 Z6\n{ACROSS}M3\nG4 P5\n")
    left = rest(text, at_pass, 2).text.decode()

    assert left.count("S9000") == 1
    assert left.index("\nS9000\n") < left.index(ACROSS) < left.index("M3")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (ACROSS, "G91 X0 Y10\nG90\n", "a.nc:9: from here on it moves by distances (G91)"),
        ("G0 Z5\nG0 X0 Y10", "G91 G0 Z6\nG0 X-20 Y10\nG90", "a.nc:8: it moves by distances (G91)"),
        ("G0 X0 Y0\n", "T2 M6\nS9000 M3\nG4 P5\nG0 X0 Y0\n", "a.nc:5: the program changes the bit"),
        (ACROSS, "G20\nG0 X0 Y.5\nG21\nF300\n", "a.nc:9: the units change on the way"),
        (
            ACROSS,
            f"/G0 X0 Y12\n{ACROSS}",
            "a.nc:9: whether lines that begin with / are run is a switch at the controller",
        ),
        ("S9000 M3\nG4 P5\n", "M5\nG38.2 Z-1 F9\nS9000 M3\nG4 P5\n", "a.nc:3: the program probes"),
        (
            ACROSS,
            f"M5\nG53 G0 X0\nS9000 M3\nG4 P5\n{ACROSS}",
            "a.nc:13: the text does not say where X is before this rapid",
        ),
        (
            "S9000 M3\nG4 P5\n",
            "",
            "a.nc:7: nothing has started the spindle (M3, or a pause M0 to do so by hand)",
        ),
    ],
)
def test_a_doubt_is_told_with_its_line(old: str, new: str, said: str) -> None:
    """Where the text alone cannot say what the rest would do, it is refused with the line and why."""
    text = PLAIN.replace(old, new, 1)
    assert text != PLAIN
    with pytest.raises(InputError) as refused:
        rest(text, at_pass, 2)

    assert str(refused.value) == f"{said}; so nobody can be sure where the rest would cut"


def test_a_text_that_cannot_be_read() -> None:
    """What is wrong behind the place in question is told as well: of such a text there is no rest."""
    with pytest.raises(InputError, match=r"a\.nc:14: column 6: '#9\]': the program has not set parameter 9"):
        rest(PLAIN.replace("M5\n", "M5\nG0 X[#9]\n"), at_pass, 2)


def test_a_rest_that_lacks_what_stands_before_it() -> None:
    """What can only be read or cut behind the lines that the rest leaves out is told with the program's own line."""
    with pytest.raises(InputError) as unread:
        rest(PLAIN.replace("G4 P5", "G4 P5\n#1=10").replace("Y10", "Y#1"), at_pass, 2)
    with pytest.raises(RefusedError) as off:
        rest(PLAIN.replace(ACROSS, f"M5\n{ACROSS}"), at_pass, 2)

    assert (
        str(unread.value)
        == "a.nc:10: column 7: 'Y#1': the program has not set parameter 1: its value is not known. "
        "The rest, which is read by itself, lacks what is said before it."
    )
    assert str(off.value) == "line 11: The bit goes into the wood with the spindle off. [spindle-off]"


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("G21 ", "", "units-unset"),
        (" G90", "", "modes-unset"),
        ("G0 X0 Y10", "G55\nG0 X0 Y10", "offset-changed"),
        ("G0 X0 Y10", "G92 X0\nG0 X0 Y10", "offset-changed"),
        ("S9000 M3", "S9000 M4", "spindle-backwards"),
        ("G0 Z5\nG0 X0 Y10", "G0 X0 Y10", "rapid-in-wood"),
        ("X20\nG0 Z5\nG0 X0 Y10", "X20\nG0 X0 Y10 Z5", "rapid-in-wood"),
    ],
)
def test_what_must_not_be_cut_has_no_rest(old: str, new: str, code: str) -> None:
    """Of a program that the dry run refuses there is no rest: it tells why."""
    for find, at in ((at_line, 9), (at_pass, 2)):
        with pytest.raises(RefusedError) as refused:
            rest(PLAIN.replace(old, new, 1), find, at)

    assert code in {one.code for one in refused.value.findings}


@pytest.mark.parametrize(
    ("find", "at", "said"),
    [
        (
            at_pass,
            1,
            "a.nc: no rapid across leads there from a cut, where a rest could begin; run the program "
            "itself from its beginning",
        ),
        (at_pass, 3, "--pass: '3': the program has 2 passes"),
        (at_pass, 0, "--pass: '0': the program has 2 passes"),
        (at_line, 15, "--line: '15': the program has 14 lines"),
        (at_line, 13, "a.nc: no cut of this program is left from there on"),
        (at_time, 3600.0, "--after: '1 h 00 min': by the dry run's clock the program lasts 17 s"),
        (
            at_time,
            0.0,
            "a.nc: no rapid across leads there from a cut, where a rest could begin; run the program "
            "itself from its beginning",
        ),
    ],
)
def test_a_point_where_nothing_is_to_go_on(find: Callable[[Any, Any], int], at: float, said: str) -> None:
    """A point before the second pass, or behind the last cut, is told as such."""
    with pytest.raises(InputError) as refused:
        rest(PLAIN, find, at)

    assert str(refused.value) == said


def test_a_spindle_started_by_hand() -> None:
    """Where the program pauses for it, so does the rest, before it comes down."""
    text = PLAIN.replace("S9000 M3\nG4 P5\nG0 Z5\n", "G0 Z5\nM0\n").replace("M5\n", "")
    lines = rest(text, at_pass, 2, machine="rs274-mill").text.decode().splitlines()

    assert "M0" in lines[lines.index("G0 Z5") : lines.index("G0 X20 Y0")]


@pytest.mark.parametrize(("waited", "waits"), [("P5", "P5"), ("P7.5", "P7.5"), ("P0", "P5")])
def test_the_spindle_gets_the_longest_time_that_anybody_gives_it(waited: str, waits: str) -> None:
    """The rest waits as long as the program has waited, and no less than the machine's spindle needs."""
    run = check_program(PLAIN.replace("G4 P5", f"G4 {waited}"), machine="gantry-router")
    left = rest_of(run, at_pass(run, 2), text=b"", name="a.nc")

    assert f"\nS9000 M3\nG4 {waits}\n" in left.text.decode()


def test_bytes_of_comments_stay() -> None:
    """Letters beyond ASCII in comments come out as the bytes they were."""
    data = PLAIN.replace("G0 X0 Y10", "(Gr\xe4te)\nG0 X0 Y10").encode("latin-1")
    run = check_program(data, machine="gantry-router")

    assert b"(Gr\xe4te)\n" in rest_of(run, at_pass(run, 2), text=data, name="a").text


def test_another_programs_rest_is_none() -> None:
    """The cuts of both decide, not the names or comments: a rest of another program is refused."""
    job = load_job(SAMPLES / "coaster.yaml")
    made = plan_program(job)
    other = plan_program(load_job(SAMPLES / "coaster.yaml", ["pattern.rotate=10"]))
    run = check_program(other.text, machine=other.machine)
    left = rest_of(run, at_pass(run, 5), text=other.text.encode(), name="a.nc")

    for text, whole in (
        (left.text.decode(), made.text),
        (left.text.decode(), other.text.replace("G54", "G55")),
    ):
        with pytest.raises(InputError) as refused:
            check_program(text, job, rest_of=("made.nc", whole))

        want = "its last cuts are not those of the program that is to be its rest, from the same work zero"
        assert str(refused.value) == f"made.nc: {want}"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "G0 X-20 Y0\n",
            "G92 X5 Y0\nG0 X-20 Y0\n",
            "cross.nc:5: G92 moves the zero to where the bit stands, and nobody knows where that is "
            "on the piece. So nobody can be sure of what it cut before.",
        ),
        (
            "G0 X-20 Y0\n",
            "M5\nG0 X-20 Y0\n",
            "cross.nc:8: The bit goes into the wood with the spindle off. So nobody can be sure of "
            "what it cut before.",
        ),
        (
            "G0 X0 Y-10\n",
            "M6 T2\nS10000 M3\nG4 P3\nG0 X0 Y-10\n",
            "cross.nc:10: The bit is changed after the first cut; what follows is only right if it "
            "was measured again. So nobody can be sure of what it cut before.",
        ),
        (
            "G1 X20 F600\n",
            "G1 X10 F600\n/G1 X20\n",
            "cross.nc:9: Lines that begin with / run or not by a switch at the controller; both ways "
            "were judged. So nobody can be sure of what it cut before.",
        ),
        (
            "G0 X-20 Y0\n",
            "G91 G0 X-20\nG90 G0 Y0\n",
            "cross.nc:5: X moves by a distance (G91), from wherever the bit stands. So nobody can be "
            "sure of what it cut before.",
        ),
    ],
)
def test_nobody_is_sure_of_what_such_a_program_has_cut(old: str, new: str, said: str) -> None:
    """What moved its zero, cut with the spindle off or lies behind a switch is not taken for cut, "
    "whatever its last cuts are."""
    folder = Path(__file__).parent / "dryrun" / "programs"
    job = load_job(folder / "cross.yaml", ["machine=gantry-router"])
    text = (folder / "cross.nc").read_text()
    left = rest(text, at_pass, 3)
    before = text.replace(old, new, 1)
    assert before != text
    with pytest.raises(InputError) as refused:
        check_program(left.text, job, rest_of=("cross.nc", before))

    assert str(refused.value).splitlines()[0] == said


def test_a_rest_that_comes_down_into_the_wood_is_refused_by_its_job() -> None:
    """With the zero on the bed the text alone does not say where the wood begins: the dry run with the job does."""
    folder = Path(__file__).parent / "dryrun" / "programs"
    text = (folder / "cross.nc").read_text()
    for old, new in (
        ("Z5", "Z13"),
        ("Z1", "Z9"),
        ("Z93", "Z13"),
        ("Z-1", "Z7"),
        ("G0 Z9\nG0 X0", "G0 Z7.5\nG0 X0"),
    ):
        text = text.replace(old, new)
    left = rest(text, at_pass, 2)
    judged = check_program(left.text, load_job(folder / "cross.yaml", ["zero.z=bed"]), rest_of=("a.nc", text))

    assert left.place_mm[2] == 7.5
    assert {one.code for one in judged.findings if one.severity == "refuse"} >= {
        "rapid-plunge",
        "rapid-in-wood",
    }


def test_what_was_cut_before_is_carved() -> None:
    """The piece is carved as both leave it; a depth that was wrong before is told without a line of the rest."""
    job = load_job(SAMPLES / "coaster.yaml")
    made = plan_program(job)
    run = check_program(made.text, machine=made.machine)
    left = rest_of(run, at_pass(run, 5), text=made.text.encode(), name="a.nc")
    both = carve_piece(check_program(left.text, job, rest_of=("a.nc", made.text)), step_mm=0.2)
    deep = check_program(
        left.text, load_job(SAMPLES / "coaster.yaml", ["groove.depth=0.7"]), rest_of=("a.nc", made.text)
    )

    assert both.surface is not None
    whole = carve_piece(made, step_mm=0.2).surface
    assert whole is not None
    assert np.array_equal(both.surface.height_mm, whole.height_mm)
    lines = {one.line for one in deep.findings if one.code == "wrong-depth"}
    assert None in lines
    assert 0 not in lines
