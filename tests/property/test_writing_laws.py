"""Laws of what the writer puts into a program: numbers against Python's decimal, comments from any text at all."""

from __future__ import annotations

import re
from decimal import ROUND_FLOOR, Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from vcarve.program.grammar import active_comment
from vcarve.program.text import FORBIDDEN, comment, decimal, plain, plain_text, steps

SETTINGS = settings(
    max_examples=300,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
NUMBER = re.compile(r"-?(0|[1-9]\d*)(\.\d*[1-9])?")
TEXTS = st.one_of(
    st.text(max_size=200),
    st.text(alphabet="();?!~% \n\rMSGmsg,GZ0-50abc\u202e\u0301", max_size=200),
    st.lists(
        st.sampled_from(["MSG,", "debug,", "print,x", "LOGOPEN,f", "PROBEOPEN", "abort,", "tile", "x" * 150]),
        max_size=30,
    ).map(" ".join),
)


class TestNumbers:
    """Numbers are plain decimals of the value they stand for."""

    @SETTINGS
    @given(count=st.integers(-(10**12), 10**12), decimals=st.integers(0, 6))
    def test_decimal_is_exact_and_shortest(self, count: int, decimals: int) -> None:
        """The text is the exact value, without plus, exponent, minus zero or zeros at its end."""
        text = decimal(count, decimals)

        assert Decimal(text) == Decimal(count).scaleb(-decimals)
        assert NUMBER.fullmatch(text)
        assert text != "-0"

    @SETTINGS
    @given(
        nm=st.lists(st.integers(-(10**10), 10**10), min_size=1, max_size=5),
        decimals=st.integers(2, 5),
        inch=st.booleans(),
    )
    @example(nm=[500, -500, 1500, -1500], decimals=3, inch=False)
    def test_steps_round_to_the_nearest_and_halves_up(self, nm: list[int], decimals: int, inch: bool) -> None:
        """Steps are floor(value + 1/2) in exact arithmetic."""
        unit = Decimal(25_400_000 if inch else 1_000_000)
        wanted = [
            int((Decimal(n) * 10**decimals / unit + Decimal("0.5")).to_integral_value(ROUND_FLOOR))
            for n in nm
        ]

        assert steps(np.array(nm), decimals, inch=inch).tolist() == wanted

    @SETTINGS
    @given(
        nm=st.integers(-(10**9), 10**9),
        moved=st.integers(-(10**5), 10**5),
        decimals=st.integers(2, 5),
    )
    def test_moving_by_whole_steps_changes_nothing_but_the_number(
        self, nm: int, moved: int, decimals: int
    ) -> None:
        """A shape that is shifted by whole steps keeps every digit of its form."""
        step = 10 ** (6 - decimals)
        here, there = steps(np.array([nm, nm + moved * step]), decimals).tolist()

        assert there - here == moved

    @SETTINGS
    @given(value=st.floats(-1e6, 1e6), decimals=st.integers(0, 6))
    def test_plain_is_within_half_a_step(self, value: float, decimals: int) -> None:
        """A float is written as the nearest decimal, but for the float's own grain."""
        text = plain(value, decimals)
        grain = Decimal(abs(value)) * Decimal(2) ** -51

        assert NUMBER.fullmatch(text)
        assert text != "-0"
        assert abs(Decimal(text) - Decimal(value)) <= Decimal("0.5").scaleb(-decimals) + grain


class TestComments:
    """Whatever a job's text says, a comment stays one."""

    @SETTINGS
    @given(text=TEXTS, label=st.sampled_from(["Mizo", "Caution", "Pass"]))
    @example(text="); G0 Z-50", label="Mizo")
    @example(text="x\n(MSG, hello)\nG0 Z-50", label="Mizo")
    @example(text="MSG, " * 30, label="Mizo")
    @example(text="y" * 500, label="Mizo")
    @example(text="x" * 68 + " P Y, G0 Z-50", label="Mizo")
    @example(text="%\n麻の葉 \N{GRINNING FACE} \u202eGIF", label="Mizo")
    def test_lines_are_inert(self, text: str, label: str) -> None:
        """Each line is short, plain, one bracket pair, and begins with no word that a controller acts on."""
        for line in comment(label, text):
            inside = line[1:-1]

            assert (line[0], line[-1]) == ("(", ")")
            assert len(line) <= 79
            assert line.isascii()
            assert line.isprintable()
            assert not set(inside) & FORBIDDEN
            assert active_comment(inside) is None

    @SETTINGS
    @given(text=TEXTS)
    def test_plain_text_settles(self, text: str) -> None:
        """Making plain text plain again changes nothing."""
        assert plain_text(plain_text(text)) == plain_text(text)

    @SETTINGS
    @given(text=st.text(alphabet=st.characters(min_codepoint=33, max_codepoint=126), max_size=300))
    def test_no_plain_sign_is_lost_in_wrapping(self, text: str) -> None:
        """Lines put together again hold all signs of the plain text in order."""
        lines = [line[1:-1].strip().removeprefix("- ") for line in comment("Mizo", text)]
        joined = "".join(lines).removeprefix("Mizo").removeprefix(":").replace(" ", "")

        assert joined == plain_text(text).replace(" ", "").removeprefix("- ")

    def test_texts_in_one_program_change_no_motion(self, rs274: Any) -> None:
        """An interpreter that is not ours carries out the same calls with comments from hostile texts as with none."""
        hostile = ["); G0 Z-50", "(MSG, hi)", "a\nG0 Z-50", "%", "DEBUG,#1", "LOGOPEN,x", "z" * 400]
        hostile += ["word " * 20 + "MSG, there", "\N{GRINNING FACE}", "\u202etfel", "o100 call", "; G1 X9"]
        lines = [line for text in hostile for line in comment("Mizo", text)]
        bare = rs274("G21 G90\nG0 Z5\nM2\n")
        noted = rs274("\n".join(["G21 G90", *lines, "G0 Z5", "M2"]) + "\n")

        assert bare.accepted
        assert noted.accepted, noted.message
        assert noted.moves == bare.moves
        assert [call for call in noted.calls if call[0] != "COMMENT"] == bare.calls


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("60° V, ½ in", "60 deg V, 1/2 in"),
        ("Möbelhaus Grün & Söhne", "Mobelhaus Grun & Sohne"),
        ("small; very", "small, very"),
        ("麻の葉", ""),
        ("a\u00a0b\tc", "a b c"),
        ("10 × 20 – 30 %", "10 x 20 - 30 percent"),
        ("Hard maple (sugar maple)", "Hard maple, sugar maple"),
        ("3 mm (20 %) lie outside (all of it).", "3 mm, 20 percent, lie outside, all of it."),
    ],
)
def test_known_spellings(text: str, plain: str) -> None:
    """Signs with a plain spelling get it, accents fall away, the rest becomes a blank."""
    assert plain_text(text) == plain
