"""Parameters, expressions and functions as NISTIR 6556 §3.3.2 has them."""

from __future__ import annotations

import math
import random

import pytest

from made_moves import read_all as read
from vcarve.program.values import ValueFault, real_value


def value(text: str) -> float:
    """Return the value of a text that is one value and nothing else."""
    result, end = real_value(text, 0, {3: 15.0, 4: 3.0})
    if end != len(text):
        raise ValueFault(end, "there is something behind the value")
    return result


def test_parameters_are_set_after_the_line() -> None:
    """NISTIR 6556 §3.3.3: with parameter 3 at 15, `#3=6 G1 x#3` moves to 15; afterwards the parameter is 6."""
    reading = read("F100\n#3=15\n#3=6 G1 x#3\nG1 x#3\nM2\n")

    assert reading.faults == ()
    assert reading.moves.end_mm[:, 0].tolist() == [15.0, 6.0]


def test_a_parameter_never_set_is_refused() -> None:
    """Its value would be whatever the machine remembers, which the text does not say."""
    (fault,) = read("G0 X1\nG0 X#3\nM2\n").faults

    assert (fault.line, fault.key, fault.value) == (2, "column 4", "X#3")


def test_a_line_with_a_fault_sets_nothing() -> None:
    """Settings of a refused line are dropped with it."""
    reading = read("#3=1\n#3=2 G0 X1 Q1\nG0 X#3\nM2\n")

    assert len(reading.faults) == 1
    assert reading.moves.end_mm[:, 0].tolist() == [1.0]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("[2**3**2]", 64.0),  # equal ranks from left to right
        ("[2+3*4-1]", 13.0),
        ("[10/4*2]", 5.0),
        ("[-7MOD3]", 2.0),
        ("#3", 15.0),
        ("##4", 15.0),
        ("#[1+2]", 15.0),
        ("ATAN[1]/[-1]", 135.0),
        ("FIX[-2.8]", -3.0),  # §3.3.2.4: FIX goes down, FUP up
        ("FIX[2.8]", 2.0),
        ("FUP[2.8]", 3.0),
        ("FUP[-2.8]", -2.0),
        ("ROUND[2.5]", 3.0),
        ("SIN[30]", 0.5),
        ("ACOS[0.5]", 60.0),
        ("SQRT[16]", 4.0),
        ("EXP[0]", 1.0),
        ("LN[1]", 0.0),
        ("ABS[-3]", 3.0),
        ("TAN[45]", 1.0),
    ],
)
def test_values(text: str, expected: float) -> None:
    """Ranks of operations and the functions, by their definition in §3.3.2.3 and §3.3.2.4."""
    assert value(text) == pytest.approx(expected)


@pytest.mark.parametrize(
    "text",
    [
        "[1/0]", "[1MOD0]", "[0**-1]", "[-8]**2", "[[-8]**[1/3]]", "[10**99]", "[1", "[]", "[1 2", "ABS3", "ATAN[1]", "SQRT[-1]",
        "LN[0]", "EXP[999]", "ACOS[2]", "#", "#0", "#1.5", "#5061", "#7", "#<NAME>", "-[2]", "-#3", "[" * 60 + "1" + "]" * 60,
        "#" * 100 + "4", "FOO[1]", "",
    ],
)  # fmt: skip
def test_what_has_no_value(text: str) -> None:
    """Everything else is refused, nothing fails."""
    with pytest.raises(ValueFault):
        value(text)


def test_grbl_has_none() -> None:
    """Grbl knows neither parameters nor expressions."""
    assert [fault.line for fault in read("#3=1\nG0 X#3\nG0 X[1]\n", dialect="grbl-1.1").faults] == [1, 2, 3]


def test_random_sums_and_products() -> None:
    """Sums, products and powers of plain numbers are those of any calculator with the same ranks."""
    rng = random.Random(5)
    for _ in range(300):
        terms = [f"{rng.uniform(0.5, 4):.2f}" for _ in range(rng.randint(1, 6))]
        text = terms[0]
        for term in terms[1:]:
            text += rng.choice("+-*/") + term

        assert value(f"[{text}]") == pytest.approx(eval(text))
    assert math.isclose(value("[2*[3+[4-1]]/3]"), 4.0)
