"""Laws of SVG path data: valid data are read whole, and of damaged data nothing is left out."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vcarve.drawing.svg import read_svg
from vcarve.drawing.svg_path import PX_MM
from vcarve.errors import InputError

# What follows each command (SVG 1.1, 8.3.9, from memory): n a number, f a flag.
TAKES = {
    "M": "nn", "L": "nn", "H": "n", "V": "n", "C": "nnnnnn", "S": "nnnn", "Q": "nnnn", "T": "nn", "A": "nnnffnn", "Z": "",
}  # fmt: skip
Place = tuple[float, float]
Line = tuple[Place, Place]


def lines_of(data: str) -> list[Line] | None:
    """Return where each line of path data begins and ends, or ``None`` where it is not as the grammar has it.

    Character by character, and without any pattern of the product.
    """
    at = 0
    found: list[Line] = []
    here = begun = np.zeros(2)

    def skip(comma: bool) -> None:
        nonlocal at
        for sign in (" ", ",", " ") if comma else (" ",):
            while at < len(data) and data[at] == sign:
                at += 1
                if sign == ",":
                    break

    def digits() -> int:
        nonlocal at
        start = at
        while at < len(data) and data[at] in "0123456789":
            at += 1
        return at - start

    def number() -> float | None:
        nonlocal at
        start = at
        if data[at : at + 1] in ("+", "-"):
            at += 1
        count = digits()
        if data[at : at + 1] == ".":
            at += 1
            count += digits()
        if count == 0:
            at = start
            return None
        whole = at
        if data[at : at + 1] in ("e", "E"):
            at += 1
            if data[at : at + 1] in ("+", "-"):
                at += 1
            if digits() == 0:
                at = whole
        return float(data[start:at])

    def flag() -> float | None:
        nonlocal at
        at += 1
        return float(data[at - 1]) if data[at - 1 : at] in ("0", "1") else None

    first = True
    while at < len(data):
        letter = data[at]
        if letter.upper() not in TAKES or (first and letter not in "mM"):
            return None
        first = False
        at += 1
        kinds = TAKES[letter.upper()]
        if not kinds:
            found.append((place(here), place(begun)))
            here = begun
            skip(True)
            continue
        skip(False)
        times = 0
        while True:
            before = at
            values: list[float] = []
            for kind in kinds:
                if values:
                    skip(True)
                value = number() if kind == "n" else flag()
                if value is None:
                    break
                values.append(value)
            if len(values) < len(kinds):
                if times == 0 or values:
                    return None
                at = before
                break
            times += 1
            last = np.array(values[-2:] if len(kinds) > 1 else values)
            start = here
            base = here if letter.islower() else np.zeros(2)
            if letter in "hH":
                here = np.array([base[0] + last[0], here[1]])
            elif letter in "vV":
                here = np.array([here[0], base[1] + last[0]])
            else:
                here = base + last
            if letter in "mM" and times == 1:
                begun = here
            else:
                found.append((place(start), place(here)))
            skip(True)
    return found


def place(xy: npt.NDArray[np.float64]) -> Place:
    """Return a place as a pair."""
    return float(xy[0]), float(xy[1])


def drawn(data: str) -> list[Place]:
    """Return where the lines of path data end as read, in px; those that are read as several count once."""
    root = f'<svg xmlns="http://www.w3.org/2000/svg" width="99" height="99"><path d="{data}"/></svg>'
    sheet = read_svg(root.encode(), "drawing.svg")
    return [(x / PX_MM, -y / PX_MM) for _, _, x, y, _ in sheet.lines()[0].tolist()]


def in_order(wanted: list[Line], found: list[Place]) -> bool:
    """Tell whether the lines wanted end where lines found end, in their order; what goes nowhere need not be found."""
    rest = iter(found)
    return all(
        np.allclose(start, end, atol=1e-6) or any(np.allclose(end, one, atol=1e-6) for one in rest)
        for start, end in wanted
    )


numbers = st.one_of(
    st.integers(-99, 99).map(str),
    st.floats(-99.0, 99.0, allow_nan=False).map(lambda v: f"{v:.3f}"),
    st.sampled_from(["5.", ".5", "-.25", "+7", "1e1", "2.e0", "-3E-1"]),
)
gaps = st.sampled_from([" ", ",", " , ", "  "])


@st.composite
def paths(draw: st.DrawFn) -> str:
    """Draw valid path data."""
    parts = [f"M{draw(numbers)}{draw(gaps)}{draw(numbers)}"]
    for letter in draw(st.lists(st.sampled_from("MmLlHhVvCcSsQqTtAaZz"), max_size=6)):
        kinds = TAKES[letter.upper()]
        values = []
        for _ in range(draw(st.integers(1, 2)) if kinds else 0):
            for kind in kinds:
                values.append(draw(st.sampled_from("01") if kind == "f" else numbers))
        body = values[0] if values else ""
        for value in values[1:]:
            body += draw(gaps) + value
        parts.append(draw(st.sampled_from(["", " "])) + letter + draw(st.sampled_from(["", " "])) + body)
    return "".join(parts)


@settings(deadline=None, derandomize=True, max_examples=150)
@given(paths())
def test_valid_path_data_are_read_whole(data: str) -> None:
    """Law: every command of valid data ends where it says."""
    wanted = lines_of(data)

    assert wanted is not None
    assert in_order(wanted, drawn(data))


@settings(deadline=None, derandomize=True, max_examples=300)
@given(paths(), st.data())
def test_damaged_path_data_are_read_as_the_grammar_has_them_or_refused(
    data: str, more: st.DataObject
) -> None:
    """Law: whatever is put in or taken out, what is drawn is all that the grammar reads, or the path is refused."""
    at = more.draw(st.integers(0, len(data)))
    scrap = more.draw(
        st.sampled_from(
            ["", "x", "#", "B", ".", ",", "-", "e", "L", "z", "5", " ", "_", "5.", "%", "(", "1e", "²"]
        )
    )
    damaged = data[:at] + scrap + data[at + more.draw(st.integers(0, 3)) :]
    wanted = lines_of(damaged.strip())
    if wanted is None:
        with pytest.raises(InputError):
            drawn(damaged)
    elif "e" not in damaged.lower():  # a number may have become too large for a piece of wood
        assert in_order(wanted, drawn(damaged))
