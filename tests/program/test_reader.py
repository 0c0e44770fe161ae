"""Programs read whole: the worked examples of NISTIR 6556, and the modes one by one."""

from __future__ import annotations

import math
import subprocess
import sys
from itertools import permutations

import numpy as np
import pytest

from made_moves import read_all as read
from vcarve.errors import InputError
from vcarve.program.grammar import DialectName
from vcarve.program.moves import Motion, Moves
from vcarve.program.reader import read_program


def moves(text: str, dialect: DialectName = "rs274ngc") -> Moves:
    """Return the moves of a program that must be clean; M2 is added."""
    reading = read(text + "\nM2\n", dialect=dialect)
    assert reading.faults == ()
    return reading.moves


def events(text: str, dialect: DialectName = "rs274ngc") -> list[tuple[str, float, int]]:
    """Return kind, value and following move of each event."""
    return [(event.kind, event.value, event.before) for event in moves(text, dialect).events]


def test_spacing_example() -> None:
    """NISTIR 6556 §3.3: `g0x +0. 12 34y 7` moves to X 0.1234, Y 7."""
    assert moves("g0x +0. 12 34y 7").end_mm.tolist() == [[0.1234, 7.0, 0.0]]


def test_centre_arc_example() -> None:
    """NISTIR 6556 §3.5.3.2: from (7, 7), G2 X10 Y16 I3 J4 turns about (10, 11) with radius 5."""
    result = moves("F100\nG0 X7 Y7 Z0\nG2 X10 Y16 I3 J4")

    assert result.centre_mm[1].tolist() == [10.0, 11.0, 0.0]
    assert result.motion[1] == Motion.ARC_CW
    assert result.length_mm[1] == pytest.approx(5 * abs(result.sweep_rad[1]))
    assert -math.pi < result.sweep_rad[1] < 0


def test_radius_arc_transcript() -> None:
    """NISTIR 6556 table 10: from (3, 1, 0), G2 X0 R7.01 Z0.5 is a helix about (1.5, 7.8476) to (0, 1, 0.5)."""
    result = moves("F100\nG0 X3 Y1 Z0\nG2 X0 R7.01 Z0.5")

    assert result.centre_mm[1, :2] == pytest.approx([1.5, 7.8476], abs=5e-5)
    assert result.sweep_rad[1] < 0
    assert result.end_mm[1].tolist() == [0.0, 1.0, 0.5]
    flat = 7.01 * 2 * math.asin(1.5 / 7.01)
    assert result.length_mm[1] == pytest.approx(math.hypot(flat, 0.5))


def test_g92_example() -> None:
    """NISTIR 6556 §3.5.18: at X4, G92 X7 sets the offset -3; a further G92 X9 makes it -5."""
    result = moves("G0 X4 Y0\nG92 X7\nG0 X7 Y1\nG92 X9\nG0 X9 Y2\nG53 G0 X0")

    assert result.start_mm[:, 0].tolist() == [0.0, 7.0, 9.0, 4.0]
    assert result.end_mm[-1].tolist() == [0.0, 2.0, 0.0]
    assert result.machine.tolist() == [False, False, False, True]


def test_g93_example() -> None:
    """NISTIR 6556 §3.5.19: F 2.0 in G93 means that the move takes half a minute, whatever its length."""
    result = moves("G93\nG1 X30 F2\nG1 X30 Y40 F2\nG2 X30 Y50 I0 J5 F2")

    assert (result.length_mm / result.feed_mm_min).tolist() == pytest.approx([0.5, 0.5, 0.5])
    assert result.feed_mm_min[:2].tolist() == [60.0, 80.0]


def test_five_items_in_any_order() -> None:
    """NISTIR 6556 §3.3.6: five items of a line may stand in any of 120 orders with one meaning."""
    orders = list(permutations(("G1", "X1.5", "Y2", "F60", "S900")))
    results = [moves("G21\n" + " ".join(order)) for order in orders]

    assert len(orders) == 120
    for result in results:
        assert result.end_mm.tolist() == [[1.5, 2.0, 0.0]]
        assert result.feed_mm_min.tolist() == [60.0]
        assert [event.kind for event in result.events] == ["units", "speed", "end"]


def test_engraving_features() -> None:
    """The features NISTIR 6556 appendix C.1 exercises, in a program of our own: each reads as the plain form does.

    Lower case, N numbers, carried-over motion, T, M6 and M3 on one line, a blank inside a word, full circles with one
    end word and one offset, an arc without X, a radius arc.
    """
    text = """n1 g21 g90 f20 s4000
n2 t1 m6 m3
n3 g0 z2
x30 y2. 5
g1 z-0.5
g2 x30 j-2.5
g0 z2
x10 y0
g1 z-.5
g3 y5 j2.5
g2 x14 r4"""
    result = moves(text)

    assert result.end_mm[:, :2].tolist() == [
        [0, 0],
        [30, 2.5],
        [30, 2.5],
        [30, 2.5],
        [30, 2.5],
        [10, 0],
        [10, 0],
        [10, 5],
        [14, 5],
    ]
    assert result.sweep_rad[3] == -2 * math.pi
    assert result.length_mm[3] == pytest.approx(15.7080, abs=5e-5)
    assert result.sweep_rad[7] == pytest.approx(math.pi)
    assert result.rpm.tolist() == [4000.0] * 9
    acted = [event.kind for event in result.events if event.line == 2 and event.kind != "outside"]
    assert acted == ["tool-change", "spindle-cw"]


def test_order_of_execution() -> None:
    """Table 8: feed mode, F, S, T, M6, spindle, coolant, dwell, plane, units, ... stop; whatever the order written."""
    text = "M0 G0 X1 G90 G61 G54 G49 G40 G21 G17 M48 M8 M3 T2 S100 F5 G94"

    assert [kind for kind, _, _ in events(text) if kind not in ("outside", "cancel-with-axes")] == [
        "feed-mode",
        "feed-with-units",
        "speed",
        "spindle-cw",
        "flood",
        "overrides",
        "plane",
        "units",
        "system",
        "path",
        "distance",
        "pause",
        "end",
    ]
    assert [before for kind, _, before in events(text) if kind in ("spindle-cw", "pause")] == [0, 1]


def test_inches_become_millimetres() -> None:
    """G20 (§3.5.7): lengths and feeds in inches from that line on."""
    result = moves("G20\nF10\nG0 X1 Y-2\nG1 X0.5 Z0.1\nG2 X1.5 Y-2 I0.5 J0\nG4 P1")

    assert result.end_mm == pytest.approx(
        np.array([[25.4, -50.8, 0], [12.7, -50.8, 2.54], [38.1, -50.8, 2.54]])
    )
    assert result.feed_mm_min[1:].tolist() == [254.0, 254.0]
    assert result.centre_mm[2] == pytest.approx([25.4, -50.8, 2.54])
    assert ("dwell", 1.0, 3) in [(e.kind, e.value, e.before) for e in result.events]


def test_f_beside_units() -> None:
    """Grbl gives F the line's new unit, table 8 the old one: so it is noted, and refused where both must be served."""
    grbl = read("G20 F10 G1 X1\n", dialect="grbl-1.1")
    linuxcnc = read("G20 F10 G1 X1\nM2\n", dialect="linuxcnc")
    both = read("G20 F10\nG1 X1\nM2\n", dialect="rs274ngc")

    assert grbl.moves.feed_mm_min.tolist() == [254.0]
    assert linuxcnc.moves.feed_mm_min.tolist() == [10.0]
    assert both.moves.events[0].kind == "feed-with-units"
    assert [fault.line for fault in both.faults] == [2]


def test_incremental() -> None:
    """G91 (§3.5.17): axis words add to where the tool is; I, J and K are offsets in both modes."""
    result = moves("F100\nG0 X1 Y1 Z1\nG91\nG0 X2\nG1 Y-3 Z.5\nG2 X2 Y0 I1 J0\nG90 X3 I-1")

    assert result.end_mm[1].tolist() == [3, 1, 1]
    assert result.end_mm[2].tolist() == [3, -2, 1.5]
    assert result.end_mm[3].tolist() == [5, -2, 1.5]
    assert result.end_mm[4].tolist() == [3, -2, 1.5]
    assert result.centre_mm[3:, :2].tolist() == [[4, -2], [4, -2]]


def test_arc_centre_modes() -> None:
    """G90.1 gives the centre itself, G91.1 its distance from the start; both words are needed with G90.1."""
    result = moves("F100\nG0 X10 Y10\nG90.1\nG2 X14 Y10 I12 J10\nG91.1\nG2 X16 Y10 I1", "linuxcnc")

    assert result.centre_mm[1:].tolist() == [[12, 10, 0], [15, 10, 0]]
    assert len(read("F100\nG0 X10 Y10\nG90.1\nG2 X14 Y10 I12\nM2", dialect="linuxcnc").faults) == 1


@pytest.mark.parametrize(
    ("plane", "words", "end", "centre"),
    [
        ("G17", "X0 Y5 I-5 J0", (0, 5, 0), (0, 0, 0)),
        ("G18", "Z0 X5 K-5 I0", (5, 0, 0), (0, 0, 0)),
        ("G19", "Y0 Z5 J-5 K0", (0, 0, 5), (0, 0, 0)),
    ],
)
def test_planes(plane: str, words: str, end: tuple[int, int, int], centre: tuple[int, int, int]) -> None:
    """G3 turns from X to Y, from Z to X, from Y to Z (§2.1.2.6): a quarter turn anti-clockwise from above each plane."""
    first = {"G17": "X5", "G18": "Z5", "G19": "Y5"}[plane]
    result = moves(f"F100 {plane}\nG0 {first}\nG3 {words}")

    assert result.end_mm[1].tolist() == list(end)
    assert result.centre_mm[1].tolist() == list(centre)
    assert result.sweep_rad[1] == pytest.approx(math.pi / 2)
    assert result.plane[1] == int(plane[1:])
    assert result.length_mm[1] == pytest.approx(5 * math.pi / 2)


def test_helix_and_turns() -> None:
    """A third axis word makes a helix (§3.5.3); LinuxCNC's P counts turns."""
    result = moves("F100\nG0 X5 Y0 Z0\nG3 X5 Y0 I-5 J0 Z2 P3", "linuxcnc")

    assert result.sweep_rad[1] == pytest.approx(6 * math.pi)
    assert result.length_mm[1] == pytest.approx(math.hypot(30 * math.pi, 2))


def test_work_systems() -> None:
    """G10 L2 sets a system's origin, G54 to G59.3 choose one (§3.5.5, §3.5.13): the tool stays, its coordinates change."""
    result = moves("G0 X10 Y10 Z5\nG10 L2 P2 X1 Y2 Z3\nG55\nG0 X0\nG54\nG0 Y0\nG59.3\nG0 Z0")

    assert result.start_mm.tolist() == [[0, 0, 0], [9, 8, 2], [1, 10, 5], [1, 0, 5]]
    assert result.end_mm.tolist() == [[10, 10, 5], [0, 8, 2], [1, 0, 5], [1, 0, 0]]


def test_g10_l20() -> None:
    """L20 sets the origin so that the tool's place reads the values given."""
    result = moves("G0 X10 Y10\nG10 L20 P1 X3\nG0 X4\nG53 G0 X0", "linuxcnc")

    assert result.start_mm[1].tolist() == [3, 10, 0]
    assert result.start_mm[2].tolist() == [11, 10, 0]


@pytest.mark.parametrize("offset", ["G92 X5 Z7", "G10 L2 P1 X2 Z3", "G92 X5 Z7\nG10 L2 P1 X2 Z3"])
def test_g10_l20_reads_the_values_given_under_other_offsets(offset: str) -> None:
    """Whatever G92 or origin held before, after L20 the place reads what was given, and Y as before."""
    result = moves(f"G0 X10 Y10 Z9\n{offset}\nG10 L20 P1 X3 Z1\nG0 X4", "grbl-1.1")

    assert result.start_mm[-1].tolist() == [3, 10, 1]


def test_g92_cancel_and_restore() -> None:
    """G92.2 suspends an offset and G92.3 brings it back, G92.1 forgets it (§3.5.18)."""
    result = moves("G0 X4\nG92 X0\nG92.2\nG0 Y1\nG92.3\nG0 Y2\nG92.1\nG0 Y3\nG92.3\nG0 Y4")

    assert result.start_mm[:, 0].tolist() == [0, 4, 0, 4, 4]


def test_machine_coordinates() -> None:
    """G53 (§3.5.12) counts for one line; start and end are machine coordinates, what follows is in work coordinates."""
    result = moves("G10 L2 P1 X10 Y20\nG0 X1 Y1\nG53 G0 X0\nG0 Y2")

    assert result.machine.tolist() == [False, True, False]
    assert result.start_mm.tolist() == [[-10, -20, 0], [11, 21, 0], [-10, 1, 0]]
    assert result.end_mm.tolist() == [[1, 1, 0], [0, 21, 0], [-10, 2, 0]]


def test_probing() -> None:
    """G38.2 (§3.5.9) is a motion of its own: what it moves is lost from there on, until the program gives it a place."""
    result = moves("F100\nG0 X1 Y2 Z5\nG38.2 Z-3\nG0 X4\nG0 Z5\nG1 Y3")

    assert result.motion.tolist() == [0, Motion.PROBE, 0, 0, 1]
    assert result.end("Z").tolist() == [5, -3, -3, 5, 5]
    assert result.feed_mm_min[1] == 100.0
    assert result.is_lost("Z").tolist() == [True, False, True, True, False, False]
    assert result.is_lost("XY").tolist() == [True, False, False, False, False, False]
    assert result.told.tolist() == [True, False, True, True, True]


def test_probing_sideways_loses_what_it_moves() -> None:
    """An axis that a probing line names and does not move stays where the text said."""
    result = moves("F100\nG0 X1 Y2 Z5\nG38.2 X9 Y2")

    assert result.is_lost("X").tolist()[-1] is True
    assert result.is_lost("YZ").tolist()[-1] is False


def test_places_are_asked_for_by_name() -> None:
    """One name gives one column, several give them in the order asked for; a name that is no axis is an error."""
    result = moves("G0 X1 Y2 Z3\nG0 X4")

    assert result.axes == ("X", "Y", "Z")
    assert result.end("Z").tolist() == [3, 3]
    assert result.end("YX").tolist() == [[2, 1], [2, 4]]
    assert result.start("X").tolist() == [0, 1]
    with pytest.raises(ValueError, match="not in tuple"):
        result.end("A")


def test_a_further_axis_is_one_name_more() -> None:
    """With A among the axes its words fill one more column, on the short way as on the long, under offsets and distances."""
    code = """
import vcarve.program.grammar as grammar
grammar.AXES = ("X", "Y", "Z", "A")
del grammar.NO_AXIS["A"]
from vcarve.program.reader import read_program
text = "G21 G90 F100\\nG0 X0 Y0 Z5 A0\\nG1 X1 A90\\nX2\\nG2 X4 Y0 I1 J0\\nG91 G1 A10\\nG90 G92 A0\\nG0 X5\\nM2"
for short_way in (True, False):
    reading = read_program(text, dialect="linuxcnc", short_way=short_way)
    print(reading.moves.end("A").tolist(), reading.moves.start("XA")[-1].tolist())
"""
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout

    assert out.splitlines() == ["[0.0, 90.0, 90.0, 90.0, 100.0, 0.0] [4.0, 0.0]"] * 2


def test_home() -> None:
    """G28 goes by the point given to a stored place; the controllers move only the axes named (§3.5.8)."""
    result = moves("G0 X5 Y6 Z-1\nG28 Z5", "linuxcnc")

    assert result.end_mm[1:].tolist() == [[5, 6, 5], [5, 6, 0]]
    assert result.machine[1:].tolist() == [False, True]


def test_spindle_and_speed() -> None:
    """The speed of each move is S while the spindle turns and 0 while it stands; M2 and M6 stop it."""
    result = moves("G0 X1 S500\nM3\nX2\nS600\nX3\nM5\nX4\nM4\nX5\nT1 M6\nX6")

    assert result.rpm.tolist() == [0, 500, 600, 0, 600, 0]


def test_feed_per_line_and_rapids() -> None:
    """Feed moves carry the F in force, rapids none."""
    result = moves("F100\nG1 X1\nX2 F200\nG0 X3\nG1 X4")

    np.testing.assert_array_equal(result.feed_mm_min, [100, 200, np.nan, 200])


def test_events_tell_what_was_never_said() -> None:
    """Units and distance mode leave events, so that their lack before the first move can be seen."""
    assert events("G0 X1") == [("end", 0.0, 1)]
    assert events("G21 G90\nG0 X1")[:2] == [("units", 21.0, 0), ("distance", 90.0, 0)]
    assert read("X1\n", dialect="grbl-1.1").moves.events[0].kind == "bare-axes"
    assert read("G0 X1\nX2\n", dialect="grbl-1.1").moves.events == ()


def test_axis_words_without_a_code_are_noted_on_the_short_way_too() -> None:
    """Where no motion code was ever written, each line of axis words is noted, however ordinary it looks."""
    text = "M2\nF100 X1 Y1 Z1\nX2\nX3\nG1 X4\nX5\n"
    for short_way in (True, False):
        noted = read(text, dialect="grbl-1.1", short_way=short_way).moves.events

        assert [event.line for event in noted if event.kind == "bare-axes"] == [2, 3, 4]


def test_block_delete() -> None:
    """§2.2.2: lines with the sign are skipped while the operator's switch is on."""
    text = "G0 X1\n/G0 X2\nM2"

    assert len(read(text).moves) == 1
    assert len(read(text, block_delete=False).moves) == 2
    assert len(read(text, dialect="grbl-1.1").moves) == 2


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(end: str) -> None:
    """§3.3: CR, LF or both end a line; lines are counted the same."""
    reading = read(end.join(["G0 X1", "", "G0 X2", "M2", ""]))

    assert reading.faults == ()
    assert reading.moves.line.tolist() == [1, 3]
    assert reading.moves.lines == 4
    assert reading.text_lines[2] == "G0 X2"


def test_bytes_and_text_read_alike() -> None:
    """Bytes are read as text; bytes that are no text are refused where they stand."""
    assert read(b"G0 X1\nM2\n").moves.end_mm.tolist() == [[1.0, 0.0, 0.0]]
    (fault,) = read(b"G0 X1\nG0 \xff X2\nM2\n").faults

    assert (fault.line, fault.key) == (2, "column 4")


def test_empty_program() -> None:
    """Nothing at all is a program without an end; it has no moves."""
    for text in ("", "\n", b""):
        reading = read(text)
        assert len(reading.moves) == 0
        assert len(reading.faults) == 1
    assert read("", dialect="grbl-1.1").faults == ()


def test_only_blanks_and_tabs_are_blank() -> None:
    """A line of other white space holds characters that are not allowed."""
    assert read("G0 X1\n \t\nM2").faults == ()
    for char in "\x0b\x0c\x1c\x85\xa0\u2028":
        (fault,) = read(f"G0 X1\n{char}\nM2").faults
        assert (fault.line, fault.key) == (2, "column 1")


def test_arrays_are_read_only() -> None:
    """Moves cannot be changed after reading."""
    result = moves("G0 X1")

    with pytest.raises(ValueError, match="read-only"):
        result.end_mm[0, 0] = 5.0


def test_read_program_names_everything() -> None:
    """The strict reader raises one error with every fault: file, line, column, word and reason."""
    with pytest.raises(InputError) as caught:
        read_program(b"G0 X1\nG0 X\nG0 Y2 Q3\n", file="piece.nc")

    problems = caught.value.problems
    assert [(p.file, p.line, p.key, p.value) for p in problems] == [
        ("piece.nc", 2, "column 4", "X"),
        ("piece.nc", 3, "column 7", "Q3"),
        ("piece.nc", 3, "column 1", "G0 Y2 Q3"),
    ]
    assert len(read_program("G0 X1\nM2\n").moves) == 1
