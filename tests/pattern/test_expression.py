"""Exact numbers as text."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vcarve.pattern.entries import LONGEST, evaluate


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1/2", 0.5),
        ("-1/4", -0.25),
        ("sqrt(3)/2", math.sqrt(3) / 2),
        ("(2-sqrt(3))/2", (2 - math.sqrt(3)) / 2),
        ("2*(sqrt(2) - 1)", 2 * (math.sqrt(2) - 1)),
        ("sin(30)", 0.5),
        ("cos(60) + tan(45)", 1.5),
        ("atan(4/3)", 53.13010235415598),  # the 3-4-5 triangle, from memory
        ("acos(1/2)", 60.0),
        ("asin(1)", 90.0),
        ("pi", math.pi),
        ("+3", 3.0),
        (" 7 ", 7.0),
        (0.25, 0.25),
        (3, 3.0),
    ],
)
def test_value(text, value):
    """An expression has the value its arithmetic has, with angles in degrees."""
    assert evaluate(text) == pytest.approx(value, abs=1e-14)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "x",
        "__import__('os')",
        "(1).__class__",
        "sqrt.__globals__",
        "[1][0]",
        "'a'",
        "1 if 1 else 2",
        "lambda: 1",
        "2**3",
        "9**9**9",
        "1 << 99",
        "sqrt(1, 2)",
        "sqrt(x=1)",
        "True",
        "1j",
        "sqrt",
        "pi()",
        "1/0",
        "sqrt(-1)",
        "acos(2)",
        "1e400",
        "1e308*10",
        "1e7",
        "9" * 150,
        "(" * 150,
        "-" * 180 + "1" * 30,
        "1+" * LONGEST + "1",
        "1\x00",
        "1;2",
        "f'{1}'",
    ],
)
def test_refused(text):
    """Whatever is more than plain arithmetic, or not a number of a unit cell's size, is refused with a sentence."""
    with pytest.raises(ValueError, match=r"[a-z]"):
        evaluate(text)


@pytest.mark.parametrize("value", [True, None, [1], {}, float("nan"), float("inf"), 10**30])
def test_refused_values(value):
    """Values that are no finite numbers of a sensible size are refused."""
    with pytest.raises(ValueError, match=r"[a-z]"):
        evaluate(value)


def test_sentence_says_what_is_possible():
    """The sentence names what was not understood and what may be written."""
    with pytest.raises(
        ValueError, match=r"sqr\(3\) is not understood here; write a number or an expression.*sqrt"
    ):
        evaluate("sqr(3)")


_NUMBERS = st.integers(0, 999).map(str) | st.floats(0.01, 99, allow_nan=False).map(lambda x: f"{x:.4f}")
_EXPRESSIONS = st.recursive(
    _NUMBERS,
    lambda inner: st.tuples(inner, st.sampled_from("+-*/"), inner).map(lambda t: f"({t[0]}{t[1]}{t[2]})"),
    max_leaves=8,
)


@settings(deadline=None, derandomize=True, max_examples=200)
@given(_EXPRESSIONS)
def test_same_as_python_arithmetic(text):
    """Every expression of the four operations has the value Python's own arithmetic gives, or is refused."""
    try:
        wanted = float(eval(text, {"__builtins__": {}}))
    except ZeroDivisionError:
        wanted = math.inf
    if abs(wanted) <= 1e6 and len(text) <= LONGEST:
        assert evaluate(text) == pytest.approx(wanted, rel=1e-12, abs=1e-12)
    else:
        with pytest.raises(ValueError, match=r"[a-z]"):
            evaluate(text)


@pytest.mark.slow
@settings(deadline=None, derandomize=True, max_examples=300)
@given(st.text(max_size=60))
def test_any_text_gives_a_number_or_a_sentence(text):
    """No text makes the evaluator fail in any other way than with its own error."""
    try:
        value, said = evaluate(text), "a number"
    except ValueError as error:
        value, said = 0.0, str(error)

    assert math.isfinite(value)
    assert said
