"""Laws of the reader: no text makes it fail, both its ways agree, and moves hang together."""

from __future__ import annotations

import re
from typing import get_args

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from made_moves import read_all as read
from vcarve.program.grammar import DialectName
from vcarve.program.reader import Reading

LAWS = settings(deadline=None, derandomize=True, max_examples=200)
PROGRAM = """%
N10 G21 G17 G90 G94 G40 G49 G54 G80 (start)
F600 S12000 M3
G4 P2.5
G0 Z5
G0 X10 Y-2.5
G1 Z-1.25 F200
G1 X12.5 Y3 F600
G2 X14.5 Y3 I1 J0
G3 X12.5 Y3 R-1.5
X20. Y.5
G91 G1 X-1 Z.5
G90 G93 G1 X4 F2
G94 F300 G18 G2 X6 Z-.75 I1 K0
G17 G92 X0 Y0
G10 L2 P2 X1 Y2
G55 G0 X1 Y1
G53 G0 Z0
G28 X0 Y0 Z0
G80
/G0 X99 ; skipped
M5 M9
M2
"""
DIALECT_NAMES = st.sampled_from(get_args(DialectName))


@st.composite
def mutated(draw: st.DrawFn) -> bytes:
    """Return the program above with a few bytes or lines changed, dropped, doubled or swapped."""
    data = bytearray(PROGRAM.encode())
    for _ in range(draw(st.integers(1, 8))):
        at = draw(st.integers(0, max(len(data) - 1, 0)))
        kind = draw(st.sampled_from(["set", "drop", "insert", "double", "cut"]))
        if kind == "set" and data:
            data[at] = draw(st.integers(0, 255))
        elif kind == "drop":
            del data[at : at + draw(st.integers(1, 20))]
        elif kind == "insert":
            data[at:at] = draw(
                st.sampled_from(
                    [b"X1", b"G2", b"-", b".", b"(", b")", b"\n", b"G91", b"R5", b"%", b"M2", b"9" * 30]
                )
            )
        elif kind == "double":
            data[at:at] = data[at : at + draw(st.integers(1, 40))]
        else:
            del data[at:]
    return bytes(data)


def sound(reading: Reading) -> None:
    """Assert what holds of every reading, clean or not."""
    moves = reading.moves
    for column in (moves.start_mm, moves.end_mm, moves.sweep_rad):
        assert np.isfinite(column).all()
    assert (np.diff(moves.line) >= 0).all()
    assert np.isnan(moves.feed_mm_min[moves.motion == 0]).all()
    assert (moves.feed_mm_min[moves.motion != 0] >= 0).all()
    assert ((moves.sweep_rad != 0) == (moves.motion >= 2)).all()
    assert (np.isfinite(moves.length_mm)).all()
    assert all(0 <= event.before <= len(moves) for event in moves.events)
    for fault in reading.faults:
        assert 1 <= (fault.line or 0) <= max(moves.lines, 1)
        assert re.fullmatch("column [1-9][0-9]*", fault.key or "")
        assert fault.want


@LAWS
@given(data=mutated(), dialect=DIALECT_NAMES)
def test_mutated_programs_never_fail(data: bytes, dialect: DialectName) -> None:
    """A damaged program gives sound moves and faults with a place, never an exception."""
    sound(read(data, dialect=dialect))


@LAWS
@given(text=st.text(max_size=300), dialect=DIALECT_NAMES)
def test_any_text_is_answered(text: str, dialect: DialectName) -> None:
    """Any text at all is answered."""
    sound(read(text, dialect=dialect))


@LAWS
@given(text=st.text(alphabet="GMXYZIJKRFSPTLNQ0123456789.- \n()/%;", max_size=200), dialect=DIALECT_NAMES)
def test_any_letters_and_digits_are_answered(text: str, dialect: DialectName) -> None:
    """Text of the language's own letters is answered."""
    sound(read(text, dialect=dialect))


@st.composite
def ordinary(draw: st.DrawFn) -> str:
    """Return lines near the ordinary form: mostly ones the short way takes, with changes of mode between them."""
    number = st.one_of(
        st.integers(-99, 99).map(str),
        st.floats(-99, 99).map(lambda value: f"{value:.3f}"),
        st.sampled_from(["+1", ".5", "-.5", "7.", "00.25", "1.2.3", "-", "1 2"]),
    )
    lines = ["G21 F100", "G0 X0 Y0 Z0"]
    for _ in range(draw(st.integers(1, 12))):
        if draw(st.integers(0, 5)) == 0:
            lines.append(
                draw(
                    st.sampled_from(
                        [
                            "G91",
                            "G90",
                            "G20",
                            "G21",
                            "G18",
                            "G17",
                            "G93",
                            "G94 F50",
                            "G92 X0",
                            "G80",
                            "F0",
                            "(a)",
                            "G0",
                            "G2",
                            "M3 S9",
                        ]
                    )
                )
            )
            continue
        words = [draw(st.sampled_from(["", "", "N5", "N 12", "N123456", "N1.5"]))]
        words += [draw(st.sampled_from(["", "G0", "G1", "G01", "G1", "G2", "G3", "g1", "G10"]))]
        for letter in ("X", "Y", "Z", "I", "J", "F"):
            if draw(st.booleans()):
                words.append(letter + draw(number))
        lines.append(draw(st.sampled_from([" ", "", "  "])).join(word for word in words if word))
    return "\n".join([*lines, "M2"])


@settings(LAWS, max_examples=400)
@given(text=ordinary(), dialect=DIALECT_NAMES)
def test_the_short_way_is_the_long_way(text: str, dialect: DialectName) -> None:
    """Ordinary lines read by one regular expression mean what they mean word by word: moves, faults and events."""
    short = read(text, dialect=dialect)
    long = read(text, dialect=dialect, short_way=False)

    assert short.faults == long.faults
    assert short.moves.events == long.moves.events
    for name in (
        "motion",
        "line",
        "start_mm",
        "end_mm",
        "centre_mm",
        "sweep_rad",
        "plane",
        "feed_mm_min",
        "rpm",
        "machine",
    ):
        np.testing.assert_array_equal(getattr(short.moves, name), getattr(long.moves, name), err_msg=name)


@LAWS
@given(text=ordinary(), shift=st.integers(-50, 50))
def test_blank_lines_and_comments_move_nothing(text: str, shift: int) -> None:
    """Blank and comment lines between any two lines change line numbers only."""
    plain = read(text, dialect="linuxcnc")
    spread = read(text.replace("\n", f"\n(note {shift})\n\n"), dialect="linuxcnc")

    np.testing.assert_array_equal(plain.moves.end_mm, spread.moves.end_mm)
    np.testing.assert_array_equal(3 * (plain.moves.line - 1) + 1, spread.moves.line)
    assert [fault.want for fault in plain.faults] == [fault.want for fault in spread.faults]
