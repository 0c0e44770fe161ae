"""Input a reader must judge, row by row, in each dialect: refused with its place, or taken on purpose.

The rows follow the error lists of NISTIR 6556 (§3.3 to §3.7, appendices A and E) and the behaviour of Grbl 1.1 and
LinuxCNC as their sources and manuals state it.
"""

from __future__ import annotations

import re

import pytest

from made_moves import read_all as read
from vcarve.program.grammar import DIALECTS, REFUSED, DialectName

# Each row: the lines (joined with " | "; the last one is at fault), the word at fault, and for rs274ngc, grbl-1.1 and
# linuxcnc whether it is refused (r) or taken (t).
ROWS = [
    # a letter without a number
    ("G0 X", "X", "rrr"),
    ("G0 X.", "X.", "rrr"),
    ("G0 X-", "X-", "rrr"),
    # a number without a letter, a stray symbol
    ("5 G0 X1", "5", "rrr"),
    ("G0 X1 =", "=", "rrr"),
    # malformed numbers
    ("G0 X1.2.3", ".3", "rrr"),
    ("G0 X--5", "X--5", "rrr"),
    ("G0 X+-5", "X+-5", "rrr"),
    ("G0 X1E3", "E3", "rrr"),
    ("G0 XNaN", "X", "rrr"),
    ("G0 XInf", "X", "rrr"),
    # letters and codes that do not exist
    ("G0 E1", "E1", "rrr"),
    ("G0 X1 U1", "U1", "rrr"),
    ("G123", "G123", "rrr"),
    ("M123", "M123", "rrr"),
    ("G1.5 X1", "G1.5", "rrr"),
    ("M3.1", "M3.1", "rrr"),
    ("G-1 X1", "G-1", "rrr"),
    # two codes of one modal group, letters twice, too many M words
    ("G0 G1 X1", "G1", "rrr"),
    ("G17 G18", "G18", "rrr"),
    ("G0 X1 X2", "X2", "rrr"),
    ("M3 M4", "M4", "rrr"),
    ("M0 M3 M8 M48 M6", "M6", "r-r"),
    # G80 beside another motion code: LinuxCNC lets the other one win
    ("G0 G80 X1", "G80", "rrt"),
    # two users of axis words
    ("F100 G1 X1 G92 Y1", "G1", "rrr"),
    ("G0 X1 G28", "G0", "rrr"),
    ("G80 | X1", "X1", "rrr"),
    ("G80 X1", "X1", "rrr"),
    ("G80 | G92 X1", "X1", "trt"),
    # axis words missing
    ("G92", "G92", "rrr"),
    ("F100 G2 I1", "G2", "rrt"),
    ("F100 G2 R1", "G2", "rrr"),
    ("G0", "G0", "rtt"),
    ("F100 G1", "G1", "rtt"),
    # no feed
    ("G1 X1", "G1", "rrr"),
    ("G1 X1 F0", "G1", "rrr"),
    ("G2 X1 Y1 I1", "G2", "rrr"),
    ("F100 | G93 | G1 X1", "G1", "rrr"),
    ("G93 | G1 X1 F2 | X2", "X2", "rrr"),
    ("F100 G93 | G94 | G1 X1", "G1", "rrr"),
    # negative values
    ("F-1", "F-1", "rrr"),
    ("S-1", "S-1", "rrr"),
    ("T-1", "T-1", "rrr"),
    ("G4 P-1", "P-1", "rrr"),
    ("T1.5", "T1.5", "rrr"),
    ("G4", "G4", "rrr"),
    # arcs
    ("F100 G2 X1 Y1", "G2", "rrr"),
    ("F100 G2 X1 Y1 I1 R1", "R1", "rrr"),
    ("F100 G2 X5 Y5 I1 J1", "I1", "rrr"),
    ("F100 G2 X0 Y0 R5", "R5", "rrr"),
    ("F100 G2 X10 Y0 R4.9", "R4.9", "rrr"),
    ("F100 G2 X0 Y0 I0 J0", "I0", "rrr"),
    ("F100 G2 X2 Y0 I1 K1", "K1", "rtr"),
    ("F100 G2 X0 Y0 Z1 R5", "R5", "rrr"),
    # letters nothing uses
    ("G0 X1 P1", "P1", "rrr"),
    ("G0 X1 L1", "L1", "rrr"),
    ("G0 X1 R1", "R1", "rrr"),
    ("G0 X1 I1", "I1", "rrr"),
    ("G0 X1 J1", "J1", "rrr"),
    ("G0 X1 K1", "K1", "rrr"),
    ("G0 X1 Q1", "Q1", "rrr"),
    ("G0 X1 H1", "H1", "rrr"),
    ("G0 X1 D1", "D1", "rrr"),
    # G53
    ("G53", "G53", "rrr"),
    ("F100 G53 G2 X1 Y1 I1", "G53", "rrr"),
    ("G91 | G53 G0 X1", "G53", "rtr"),
    # comments
    ("G0 X1 (open", "(open", "rtr"),
    ("G0 X1 (a (b) c)", None, "rrr"),
    ("G0 X1 )", ")", "rrr"),
    # line numbers
    ("G0 N5 X1", "N5", "rtr"),
    ("N123456 G0 X1", "N123456", "rtt"),
    ("N10000001 G0 X1", "N10000001", "rrt"),
    ("N-1 G0 X1", "N-1", "rrr"),
    # other axes, other characters
    ("G0 A1", "A1", "rrr"),
    ("G0 B1", "B1", "rrr"),
    ("G0 C1", "C1", "rrr"),
    ("G0 X1 é", "é", "rrr"),
    ("G0 X1 \x07", "\x07", "rrr"),
    ("G0 X1 (café)", "é", "rrt"),
    # line limits
    ("G0 X" + "0" * 250 + "1", None, "trr"),
    ("G0 X" + "0" * 260 + "1", None, "rrr"),
    ("G0 X" + "0" * 76 + "1", None, "trt"),
    # codes known and refused on purpose, and codes only some know
    # probing: toward somewhere, at a feed, in work coordinates
    ("F100 G38.2 X1", None, "ttt"),
    ("F100 G38.2 X0.2", "G38.2", "rtt"),
    ("F100 G38.2 X0", "G38.2", "rrr"),
    ("F100 G38.2", "G38.2", "rrr"),
    ("G38.2 X1", "G38.2", "rrr"),
    ("G93 G38.2 X1 F2", "G38.2", "rrr"),
    ("F100 G53 G38.2 X1", "G53", "rrr"),
    ("F100 G38.2 X1 P1", "P1", "rrr"),
    ("F100 G38.3 X1", "G38.3", "rrr"),
    ("G41", "G41", "rrr"),
    ("G43 H1", "G43", "rrr"),
    ("G43.1 Z1", "G43.1", "rrr"),
    ("G43.1 X1", "G43.1", "rrr"),
    ("G0 G43.1 Z1", None, "rrr"),
    ("G95", "G95", "rrr"),
    ("F100 | G81 X1 Y1 Z-1 R1", "G81", "rrr"),
    ("F100 | G98 G83 X1 Y1 Z-1 R1 Q0.5", "G98", "rrr"),
    ("G73 X1 Z-1 R1 Q0.5", "G73", "rrr"),
    ("G84 X1 Z-1 R1", "G84", "rrr"),
    ("G99", "G99", "rrr"),
    # off is plain
    ("G40 G49 G80", None, "ttt"),
    ("G90.1", "G90.1", "rrt"),
    ("G91.1", "G91.1", "rtt"),
    ("G61.1", "G61.1", "trt"),
    ("G64", "G64", "trt"),
    ("G64 P0.1", "P0.1", "rrt"),
    ("G59.1", "G59.1", "trt"),
    ("M6", "M6", "trt"),
    ("M7", "M7", "trt"),
    ("M48", "M48", "trt"),
    ("M60", "M60", "trt"),
    ("G92.2", "G92.2", "trt"),
    ("G28.1", "G28.1", "rtt"),
    ("G10 L20 P1 X1", "L20", "rtt"),
    ("G10 L2 P0 X1", "P0", "rtt"),
    # an offset that is not in force yet changes its size with the unit as well
    ("G10 L2 P2 X1 | G20", "G20", "rtt"),
    ("G10 L2 P7 X1", "P7", "trt"),
    ("T256", "T256", "trt"),
    # things not read
    ("#1=5", "#", "trt"),
    ("G0 X#1", "X#1", "rrr"),
    ("G0 X[1+2]", "X[1+2]", "trt"),
    ("#5061=5", "#5061=5", "rrr"),
    ("#0=5", "#0=5", "rrr"),
    ("#<depth>=5", "#<", "rrr"),
    ("G0 X[1", "X[1", "rrr"),
    ("G0 X[1 MOD 0]", "X[1", "rrr"),
    ("G0 X-[1]", "X-[1]", "rrr"),
    ("O1 sub", "O1", "rrr"),
    # bare axis words before any motion: Grbl starts with a rapid
    ("X1", "X1", "rtr"),
    # units: a feed given in the other unit, offsets set in the other unit
    ("F100 | G20 | G1 X1", "G1", "rtt"),
    ("G92 X1 | G20", "G20", "rtt"),
]  # fmt: skip
NAMES: tuple[DialectName, ...] = ("rs274ngc", "grbl-1.1", "linuxcnc")


@pytest.mark.parametrize("which", range(3), ids=NAMES)
@pytest.mark.parametrize(("program", "word", "judged"), ROWS, ids=[row[0][:30] for row in ROWS])
def test_row(program: str, word: str | None, judged: str, which: int) -> None:
    """Each row is refused at its line with its word, or taken without a word, as the dialect has it."""
    lines = program.split(" | ")
    faults = read("\n".join([*lines, "M2"]), dialect=NAMES[which]).faults
    if judged[which] == "t":
        assert faults == ()
        return

    assert len(faults) == 1
    assert faults[0].line == len(lines)
    assert faults[0].want.endswith(".")
    column = int((faults[0].key or "").removeprefix("column "))
    assert 1 <= column <= len(lines[-1]) + 1
    written = lines[-1][column - 1 :].replace(" ", "")
    assert written.casefold().startswith((faults[0].value or "").replace(" ", "").casefold())


@pytest.mark.parametrize(("program", "word", "judged"), [row for row in ROWS if row[1] and row[2][0] == "r"])
def test_the_word_at_fault_is_named(program: str, word: str, judged: str) -> None:
    """In the strictest dialect the fault's word begins with the word of the row."""
    faults = read("\n".join([*program.split(" | "), "M2"]), dialect="rs274ngc").faults

    said = faults[0].value or ""
    assert said.startswith(word[:1])
    assert word.startswith(said[: len(word)]) or said.startswith(word)


@pytest.mark.parametrize("dialect", NAMES)
def test_a_code_not_carried_out_says_why_and_what_to_do(dialect: DialectName) -> None:
    """Every code that the reader does not carry out names its reason and a way out, whether the dialect knows it or not."""
    for code in REFUSED:
        (fault,) = read(f"G0 X1\n{code}\nM2", dialect=dialect).faults

        assert fault.value == code
        head = "not carried out" if code in DIALECTS[dialect].groups else f"{dialect} has no such code"
        assert re.fullmatch(rf"{head}: .{{15,}}; .{{10,}}\.", fault.want)


@pytest.mark.parametrize("dialect", NAMES)
@pytest.mark.parametrize(("letter", "axis"), ["AX", "BY", "CZ"])
def test_a_rotary_axis_is_named_for_what_it_is(letter: str, axis: str, dialect: DialectName) -> None:
    """A, B and C are refused with what they turn about and what to do, by controllers too that do not have them."""
    (fault,) = read(f"G0 X1 {letter}90\nM2", dialect=dialect).faults

    assert fault.value == f"{letter}90"
    assert fault.want == (
        f"{letter} is a rotary axis, about {axis}; no axis is turned here, and what it turns cannot be judged: "
        "write the places in X, Y and Z."
    )


@pytest.mark.parametrize(
    ("line", "letter", "codes"), [("G43 H1", "H", "G43"), ("G41 D1", "D", "G41 and G42")]
)
def test_a_letter_of_tool_tables_is_named_for_what_it_is(line: str, letter: str, codes: str) -> None:
    """H and D belong to tables of tools, which Grbl does not have: it is told what they shift and what to write."""
    (fault,) = read(f"{line}\nM2", dialect="grbl-1.1").faults

    assert fault.value == f"{letter}1"
    assert re.fullmatch(
        rf"{letter} is .*table of tools.*; .*, and leave out {codes} and {letter}\.", fault.want
    )


def test_opening_percent_needs_a_closing_one() -> None:
    """§3.1: a percent sign alone on the first line opens a program that another must close, or M2 or M30 end."""
    for dialect in ("rs274ngc", "linuxcnc"):
        assert read("%\nG0 X1\n%\nG0 X2\n", dialect=dialect).faults == ()
        assert len(read("%\nG0 X1\n%\nG0 X2\n", dialect=dialect).moves) == 1
        (fault,) = read("%\nG0 X1\n", dialect=dialect).faults
        assert "closing" in fault.want


def test_grbl_knows_no_percent_sign() -> None:
    """Grbl answers the sign with an error and moves on: it is noted, and what follows the second one is read."""
    reading = read("%\nG0 X1\n%\nG0 X2\n", dialect="grbl-1.1")

    assert [event.line for event in reading.moves.events if event.kind == "percent"] == [1, 3]
    assert reading.moves.end_mm[:, 0].tolist() == [1.0, 2.0]


def test_a_program_must_end() -> None:
    """§3.1: without M2, M30 or a pair of percent signs the program has no end; Grbl does not mind."""
    assert read("G0 X1\n", dialect="grbl-1.1").faults == ()
    for dialect in ("rs274ngc", "linuxcnc"):
        (fault,) = read("G0 X1\n", dialect=dialect).faults
        assert (fault.line, fault.value) == (1, "G0 X1")


def test_after_the_end() -> None:
    """§3.1: what follows M2 is not read; Grbl runs it, with the modes M2 leaves: G1, G54, G90, spindle off."""
    text = "F100 M3 S500\nG0 X1\nM2\nX2\nnonsense\n"
    for dialect in ("rs274ngc", "linuxcnc"):
        reading = read(text, dialect=dialect)
        assert reading.faults == ()
        assert len(reading.moves) == 1
    reading = read(text, dialect="grbl-1.1")

    assert reading.moves.motion.tolist() == [0, 1]
    assert reading.moves.rpm.tolist() == [500.0, 0.0]
    assert [fault.line for fault in reading.faults] == [5]


def test_a_line_with_a_fault_changes_nothing() -> None:
    """A refused line is dropped whole: no mode, no move, no event of it remains (Grbl, interface.md)."""
    clean = read("G21 F100\nG0 X1 Y1\nX2\nM2")
    for wrong in (
        "G20 G91 G1 X5 Y5 I1",
        "M3 S500 G2 X9 Y9 I1",
        "G55 G18 G1 X1 F0",
        "G90 G28 X1 Q1",
        "G92 X3 Q1",
    ):
        reading = read(f"G21 F100\nG0 X1 Y1\n{wrong}\nX2\nM2")
        assert len(reading.faults) == 1
        assert reading.moves.end_mm.tolist() == clean.moves.end_mm.tolist()
        assert reading.moves.start_mm.tolist() == clean.moves.start_mm.tolist()
        assert [event.kind for event in reading.moves.events] == [event.kind for event in clean.moves.events]


def test_every_fault_is_told() -> None:
    """Faults are collected, not just the first, each with line, column, word and reason."""
    reading = read("G0 X1\nG0 X\nG0 Y2 Q3\nM2")

    assert [str(fault) for fault in reading.faults] == [
        "the program:2: column 4: 'X': a number must follow the letter.",
        "the program:3: column 7: 'Q3': nothing on this line uses Q.",
    ]


def test_all_dialects_take_the_common_subset() -> None:
    """What all three take unchanged, once each."""
    text = """G17 G21 G40 G49 G54 G80 G90 G94
(a plain comment)
F300 S8000 M3
G4 P2
G0 X0 Y0 Z5
G1 X1 Z-1
G2 X2 Y1 I1 J0
G3 X1 Y0 I-1 J0
G61 G91
G1 X1 F200
G90 M8
G93
G1 X5 F2
G94 F100
G18 G2 X7 Z-1 I1 K0
G19 G3 Y2 Z-1 J1 K0
M9 M5
M0
M30
"""
    moves = [read(text, dialect=name).moves for name in NAMES]

    assert [read(text, dialect=name).faults for name in NAMES] == [(), (), ()]
    assert [m.end_mm.tolist() for m in moves] == [moves[0].end_mm.tolist()] * 3
