"""Law: of any program the rest makes the very moves that the program makes from there on, in the same modes, or it is refused.

The judge is the RS-274 interpreter of Debian, which carries out both.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from vcarve.errors import InputError, RefusedError
from vcarve.proofing import check_program
from vcarve.resume import at_line, rest_of

KEPT = (
    "SET_MOTION_CONTROL_MODE",
    "SELECT_PLANE",
    "USE_LENGTH_UNITS",
    "SET_SPINDLE_SPEED",
    "SET_G5X_OFFSET",
    "SET_FEED_MODE",
)
PAIRS = {"MIST_ON": "mist", "MIST_OFF": "mist", "FLOOD_ON": "flood", "FLOOD_OFF": "flood"}
PLACE = st.integers(0, 500).map(lambda tenths: tenths / 10)
LIFTS = (
    "G0 Z4",
    "G0 Z6",
    "G1 Z1\nG0 Z4",
    "G0 Z4\nM5\nM3\nG4 P9",
    "G0 Z4\nM7",
    "G0 Z4\nM9",
    "G0 Z4\nS9000",
    "G0 Z4\nG0 Z12",
)


@st.composite
def passes(draw: st.DrawFn) -> str:
    """Draw one pass: the way there, in one of the forms that other hands write, the cut, and the lift."""
    x, y = draw(PLACE), draw(PLACE)
    across = (
        f"G0 X{x} Y{y}",
        f"G0 X{x}\nY{y}",
        f"G00X{x}Y{y}Z5",
        f"G91\nG0 X2 Y1\nG90\nG0 X{x} Y{y}",
        f"G1 Z3\nX{x} Y{y}",
    )
    cuts = [
        draw(st.sampled_from(across)),
        draw(st.sampled_from(("G1 Z-0.5", "G0 Z1\nG1 Z-0.5", "G0 Z1\n(in)\nG1 Z-0.5 F250"))),
    ]
    for _ in range(draw(st.integers(1, 3))):
        to_x, to_y = draw(PLACE), draw(PLACE)
        arc = f"G3 X{to_x + 8:g} Y{to_y} I4 J0\nG1 X{to_x + 9:g}"
        cuts.append(
            draw(
                st.sampled_from(
                    (f"G1 X{to_x} Y{to_y}", f"X{to_x} Y{to_y} F300", f"G1 X{to_x} Y{to_y}\n{arc}")
                )
            )
        )
    return "\n".join([*cuts, draw(st.sampled_from(LIFTS))])


@st.composite
def programs(draw: st.DrawFn) -> str:
    """Draw a program as another hand would write it for LinuxCNC."""
    modes = ["G21", "G90", "G17", draw(st.sampled_from(["G94", "G94 G40 G49", "G94 G55"]))]
    path = draw(st.sampled_from(["G61", "G64 P0.01", "G64 P0.01 Q0.02"]))
    some = [draw(passes()) for _ in range(draw(st.integers(2, 5)))]
    lines = [
        " ".join(draw(st.permutations(modes))),
        path,
        "G91.1",
        "S12000 M3",
        "G4 P9",
        "G0 Z6",
        "F200",
        *some,
        "G0 Z6",
        "M5",
    ]
    return "\n".join([*lines, draw(st.sampled_from(["M2", "G0 X0 Y0\nM30"]))]) + "\n"


def feeds(run: Any) -> list[dict[str, str]]:
    """Return what is in force at each feed move of a run."""
    force: dict[str, str] = {"mist": "MIST_OFF", "flood": "FLOOD_OFF"}
    found = []
    for name, words in run.calls:
        if name in KEPT:
            force[name] = words
        elif name in PAIRS:
            force[PAIRS[name]] = name
        elif "SPINDLE" in name and name != "SET_SPINDLE_SPEED":
            force["spindle"] = name
        elif name in ("STRAIGHT_FEED", "ARC_FEED"):
            found.append(dict(force))
    return found


@pytest.mark.filterwarnings("ignore")
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(programs(), st.floats(0.3, 1.0))
def test_a_rest_is_the_end_of_its_program(rs274: Callable[[str], Any], text: str, share: float) -> None:
    """Silent in the interpreter; from the first feed on the same moves, speeds, offsets and modes; only rapids before, the first
    of them straight up to the program's greatest height."""
    run = check_program(text, machine="gantry-router", file="a.nc")
    try:
        line = max(round(share * run.reading.moves.lines), 1)
        left = rest_of(run, at_line(run, line), text=text.encode(), name="a.nc")
    except (InputError, RefusedError):
        return
    whole, rest = rs274(text), rs274(left.text.decode())

    assert whole.accepted
    assert rest.message == ""
    there, mine = ([one for one in ran.moves if one.kind != "rapid"] for ran in (whole, rest))
    assert mine
    assert mine == there[-len(mine) :]
    assert feeds(rest) == feeds(whole)[-len(mine) :]
    first = rest.moves[0]
    assert first.kind == "rapid"
    assert first.end_mm[2] == max(one.end_mm[2] for one in whole.moves)
    assert f"\n{text.splitlines()[left.line - 1]}\n" in left.text.decode()
