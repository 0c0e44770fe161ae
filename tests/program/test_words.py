"""Words of a line: what NISTIR 6556 says of blanks, numbers and comments, and what each controller does instead."""

from __future__ import annotations

import pytest

from vcarve.program.grammar import DIALECTS
from vcarve.program.words import Reject, take_apart

NIST = DIALECTS["rs274ngc"]
GRBL = DIALECTS["grbl-1.1"]
LINUXCNC = DIALECTS["linuxcnc"]


def pairs(raw: str, dialect: str = "rs274ngc") -> list[tuple[str, float]]:
    """Return letters and values of a line."""
    return [(word.letter, word.value) for word in take_apart(raw, DIALECTS[dialect]).words]


def test_blanks_mean_nothing_even_inside_a_number() -> None:
    """NISTIR 6556 §3.3: `g0x +0. 12 34y 7` is G0 X0.1234 Y7."""
    assert pairs("g0x +0. 12 34y 7") == [("G", 0.0), ("X", 0.1234), ("Y", 7.0)]


@pytest.mark.parametrize("raw", ["000009", "N000009", "N123456"])
def test_six_digits_are_no_line_number(raw: str) -> None:
    """NISTIR 6556 §3.3.1: 000009 is not a legal line number, 00009 is."""
    assert pairs("N00009 G0") == [("N", 9.0), ("G", 0.0)]

    with pytest.raises(Reject):
        take_apart(raw, NIST)


@pytest.mark.parametrize(
    ("raw", "value"),
    [("X5", 5.0), ("X+5.", 5.0), ("X-.5", -0.5), ("X007.50", 7.5), ("X-0", 0.0), ("X.5", 0.5)],
)
def test_numbers(raw: str, value: float) -> None:
    """NISTIR 6556 §3.3.2.1: optional sign, digits, at most one point, zeros in front and behind free."""
    assert pairs(raw) == [("X", value)]


@pytest.mark.parametrize("dialect", ["rs274ngc", "grbl-1.1", "linuxcnc"])
@pytest.mark.parametrize(
    ("raw", "column", "word"),
    [
        ("X", 1, "X"),
        ("G1 X.", 4, "X."),
        ("G1 X-", 4, "X-"),
        ("5", 1, "5"),
        ("G1 X1.2.3", 8, ".3"),
        ("G1 X--5", 4, "X--5"),
        ("G1 X+-5", 4, "X+-5"),
        ("G1 Xnan", 4, "X"),
        ("G1 X1 $", 7, "$"),
        ("G1 X1 )", 7, ")"),
        ("G1 (note) X 1 2 *", 17, "*"),
        ("G1 X#1", 4, "X#"),
        ("O100 CALL", 1, "O100"),
        ("G1 X12345678901", 4, "X12345678901"),
    ],
)
def test_bad_words_are_named_with_their_column(dialect: str, raw: str, column: int, word: str) -> None:
    """A reject points at the first character of the word at fault, blanks and comments counted."""
    with pytest.raises(Reject) as caught:
        take_apart(raw, DIALECTS[dialect])

    assert (caught.value.column, caught.value.word[: len(word)]) == (column, word)


def test_comments_are_kept_apart() -> None:
    """NISTIR 6556 §3.3.4: comments in round brackets; both controllers add the semicolon, so it is read everywhere."""
    assert pairs("G0 (up Y3) X1 (out)") == [("G", 0.0), ("X", 1.0)]
    for dialect in (NIST, LINUXCNC, GRBL):
        line = take_apart("G0 X1 ;msg, (rest", dialect)

        assert [word.text for word in line.words] == ["G0", "X1"]
        assert line.notes[-1] == ("active-comment", "MSG,")
        assert (("semicolon", "") in line.notes) == (dialect is NIST)


@pytest.mark.parametrize("raw", ["G0 X1 (open", "G0 (a (b) c)"])
def test_unclosed_and_nested_comments(raw: str) -> None:
    """NISTIR 6556 §3.3.4: a comment closes on its line and does not nest."""
    for dialect in (NIST, LINUXCNC):
        with pytest.raises(Reject):
            take_apart(raw, dialect)


def test_grbl_drops_an_unclosed_comment() -> None:
    """grbl/protocol.c runs an unclosed comment to the end of the line, and stops a comment at the first `)`."""
    assert pairs("G0 X1 (open", "grbl-1.1") == [("G", 0.0), ("X", 1.0)]

    with pytest.raises(Reject):
        take_apart("G0 (a (b) ) X1", GRBL)


def test_grbl_only_answers_a_question() -> None:
    """grbl/serial.c takes ? from the stream wherever it stands, and reports its state: the line is as without it."""
    line = take_apart("G0 X?1 (what?)", GRBL)

    assert [(word.letter, word.value) for word in line.words] == [("G", 0.0), ("X", 1.0)]
    assert line.notes == (("live-sign", ""),)


@pytest.mark.parametrize("char", ["!", "~", "\x18", "é"])
def test_grbl_acts_on_some_characters_even_in_comments(char: str) -> None:
    """grbl/serial.c takes ! ~ Ctrl-X and bytes above 127 from the stream wherever they stand."""
    for raw in (f"G0 (what{char})", f"G0 ; what{char}"):
        with pytest.raises(Reject) as caught:
            take_apart(raw, GRBL)

        assert raw[caught.value.column - 1] == char


def test_line_limits() -> None:
    """256 characters in the report (§3.3), 79 without blanks and comments in Grbl, 252 in LinuxCNC."""
    assert pairs("X1" + " " * 254) == [("X", 1.0)]
    assert pairs("X1" + "." + "0" * 76 + " " * 90 + "(and a long comment)", "grbl-1.1") == [("X", 1.0)]
    assert pairs("X1" + " " * 250, "linuxcnc") == [("X", 1.0)]

    for raw, dialect in (("X1" + " " * 255, NIST), ("X" + "0" * 79, GRBL), ("X1" + " " * 251, LINUXCNC)):
        with pytest.raises(Reject, match="longer"):
            take_apart(raw, dialect)


def test_block_delete_sign() -> None:
    """First on the line it marks the line for deletion; Grbl drops the sign and runs the line."""
    assert take_apart(" /G0 X1", NIST).notes == (("switched", ""),)
    assert take_apart("/G0 X1", GRBL).notes == ()
    assert pairs("G0 / X1", "grbl-1.1") == [("G", 0.0), ("X", 1.0)]

    with pytest.raises(Reject):
        take_apart("G0 /X1", NIST)
