"""Law: for any program our reader and the RS-274 interpreter of Debian agree: the same moves, or both refuse.

The programs are random, over the whole subset: valid ones, and ones with a slip somewhere.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from made_moves import read_all as read
from vcarve.program.grammar import PLANES
from vcarve.program.moves import Motion, Moves

PROGRAMS_IN_THE_SUITE = 300
_KINDS = {Motion.RAPID: "rapid", Motion.FEED: "feed", Motion.ARC_CW: "arc", Motion.ARC_CCW: "arc"} | {
    Motion.PROBE: "probe"
}
# What the interpreter takes and we refuse on purpose: the words of our reasons, and why.
DELIBERATE = {
    "no axis is turned here": "the interpreter is set up with rotary axes",
    "not carried out": "the text alone does not say what these codes come to",
    "is not read": "flow control: the moves are written out in a program that is to be checked",
    "are not read": "parameters with names belong to one controller",
    "its value is not known": "a parameter that was not set in the program holds what the machine remembers",
    "are the program's own": "parameters of the machine's own places",
    "nested too deep": "thirty brackets are enough",
    "no value may be larger": "no machine is a thousand kilometres long",
    "an operation or a closing bracket must follow": "comparisons and logic are left to flow control",
    "P must not be negative": "the controller's manual forbids a negative dwell, its code lets it pass",
    "P must be a whole number": "the report asks for whole numbers within 0.0001, the interpreter rounds",
    "a number must follow the letter": "the interpreter takes --5 for an expression",
    "a probing move must not be made under G93": "the report forbids it, the interpreter takes it",
    "G93 needs F above zero": "a move at F0 never ends",
}
_LETTERS = {
    17: ("X", "Y", "Z", "I", "J", "K"),
    18: ("Z", "X", "Y", "K", "I", "J"),
    19: ("Y", "Z", "X", "J", "K", "I"),
}

# Lines that are wrong, or nearly: separated by bars, then those that need escapes.
_SLIPS = """
X | X. | X- | G1 X1.2.3 | G1 X--5 | G1 X+-5 | G1 X1E3 | G1 Xnan | 5 | G1 X1 $ | G1 Q3 X1 | G1.5 X1
M3.1 | G0 G1 X1 | G17 G18 | G0 X1 X2 | M3 M4 | G1 X1 G92 Y1 | G0 X1 G28 | G80 X1 | G92 | G2 | G2 X3 Y3
G2 X1 Y1 I1 J1 R4 | G1 X1 F0 | G1 F-3 X1 | S-1 | T-1 | T1.5 | G4 | G4 P-1 | G2 X5 Y5 I1 J1 K1 | G2 I0 J0
G2 R5 | G2 X9 Y9 R0.1 | G1 X1 P2 | G1 X1 L2 | G1 X1 R2 | G1 X1 I2 | G53 X1 | G53 G2 X1 Y1 I5 | G53
G1 X1 (open | G1 X1 (a (b) c) | G1 X1 ) | G1 N5 X1 | N123456 G0 X1 | N-1 G0 X1 | G1 A5 | G1 B5 X1 | G123
M123 | G0 | G1 | G3 | G10 L2 X1 | G10 P1 X1 | G10 L2 P10 X1 | G10 L3 P1 X1 | G10 L2 P1.5 X1
G10 L2 P-1 X1 | G1 D1 | G0 X1 H2 | G93 G94 | G0 G80 X1 | G90 G91 | M3 M5 M7 M8 M9 | M0 M1 | M7 M8
G4 P1 G2 X1 I1 | G1 X1 / | % | G1 X1 % | G38.2 | G5.9 X1 | G0 X1 Y | M | G | G-1 X1 | M-3 | G0 X 1 2
G 0 X1 | G00000 X1 | G1.0 X1 | G1.00001 X2 | M3.00001 | G81 X1 Y1 Z-1 | G81 X1 Z5 R1 | G2 X1 Y1 I
G54 G55 | G59.4 | G61 G64 | G43.5 | G20.5 | G2 Z4 | G90 G53 G0 X1 Y1 | G91 G53 G0 X1 | G92 X1 G0
G28 G92 X1 | G92 X0 G80 | G28 G80 | G80 G92 X1 | G4 P1 G92 X1 | G40 G49 G80 G54
G21 G17 G90 G94 G40 G49 G80 | / | /G0 X1 |  /G0 X3 | N1 /G0 X2 | /N1 G0 X2 | G0 /X1 | N5 | N5.5 G0 X1
N 5 G0 X1 | T0 M6 | M6 | G10 L20 P1 | G10 L2 P1 | G30 X1 Y1 Z1 | G1 X1 G4 P1 | G4 P1 G0 X1
G3 X0 Y0 I5 P0 | G3 I5 P2 | G3 X1 Y1 R5 P2 | G64 P-1 | G61 P1 | M2 X1 | M30 (end) | M60 | G98 G99
G93 G1 X1 | G93 G0 X1 | G94 G1 X1 | G20 F5 G1 X1 | G18 G2 X1 Y1 I1 | G19 G3 Y1 I1 | G90.1
G90.1 G2 X1 Y1 I5 | G1 X[1] | #1=5 | G1 X#1 | o1 sub | G83 X1 Y1 Z-1 R1 | G83 X1 Z-1 R1 Q0
G82 X1 Z-1 R1 | G81 X1 Z-1 R1 L0 | G81 Z-1 R1 L1.5 | G52 X1 | #1=5 G0 X#1 | #3=15 #3=6 G1 X#3 | #3=-[2]
X[2 3] | G0 X[1 EQ 1] | G[1-1] X3 | #1=4 #1=5 M3 | G1 X[2*[3-1] | G1 X[] | G1 Xabs 3 | G1 X[1/0]
G1 Xsqrt[-1] | G1 X[-8]**2 | G1 X[[-8]**[1/3]] | G1 X[0**-1] | #1 5 | #=5 | #1= | N[5] G0 | G0 X1 #2=X
G1 X1 #2=7 Y2 | X#[1 | G1 X[9 mod 0] | G1 Xatan[1] | G95 G1 X1 | G41 | G43 H1 | G3 J3 | J3 | I2 X1
G17 G3 X1 K3
"""
SLIPS = [slip for row in _SLIPS.strip().splitlines() for slip in row.split(" | ")] + [
    "G80\nX1",
    "G0 X1 é",
    "G1 X1\rG1 X2",
    "G1 X1 \x07",
    "G1 X" + "1" * 300,
    "G0 X" + "0" * 240 + "1",
    "(" + "x" * 270 + ")",
    ";" + "y" * 260,
]
# Probing moves, and ones that are none: the interpreter takes the probe to touch just before the end, and goes on from there.
PROBES = (
    """
G38.2 Z-3 | G38.2 X1 Y1 Z-3 F50 | G38.2 Z4 | G38.2 X2 Y3 Z4 F9 | G93 G38.2 Z1 F2 | G38.2 Z-5 P1 | G53 G38.2 Z1
G38.2 Z-3 G92 X1 | G91 G38.2 Z-1 | G38.2 A3 | G38.2 Z-3 F0 | G38.2 Z3.9 | G38.2 Z1 G4 P1 | G38.2 Z1 G0 | G38.2 Y9 F7
""".strip()
    .replace("\n", " | ")
    .split(" | ")
)


class Writer:
    """Writes one random program; keeps just enough in mind to make arcs close."""

    def __init__(self, rng: random.Random) -> None:
        self.rng = rng
        self.lines: list[str] = []
        self.plane = 17
        self.absolute = True
        self.inverse = False
        self.linear = False  # bare axis words would be a straight move
        self.slips = rng.random() < 0.4

    def number(self, value: float, places: int = 4) -> str:
        """Return one value in one of the forms the language allows."""
        text = f"{value:.{places}f}"
        if self.rng.random() < 0.04:
            return self.expression(value)
        form = self.rng.random()
        if form < 0.3:
            text = text.rstrip("0").rstrip(".") if "." in text else text
        elif form < 0.35 and value >= 0:
            text = "+" + text
        elif form < 0.4 and abs(value) < 1 and "0." in text:
            text = text.replace("0.", ".", 1)
        elif form < 0.42 and value >= 0:
            text = "00" + text
        elif form < 0.44:
            text = text[:1] + " " + text[1:]
        return text

    def expression(self, value: float) -> str:
        """Return an expression, function or parameter, sometimes worth the value, sometimes anything."""
        rng = self.rng
        choice = rng.randrange(5)
        if choice == 0:
            other = rng.randint(-9, 9)
            return f"[{other} + [{value:.4f} - {other}]]"
        if choice == 1:
            self.lines.append(f"#{rng.choice(['7', '[3+4]', '7.00001'])} = {value:.4f}")
            return "#7"
        if choice == 2:
            return f"[{value:.3f}*{rng.choice(['2/2', '1', '2.**2/4', '3-2*#7' if '#' in ' '.join(self.lines) else '1'])}]"
        if choice == 3:
            function = rng.choice(
                [
                    "sin",
                    "cos",
                    "abs",
                    "fix",
                    "fup",
                    "round",
                    "atan",
                    "sqrt",
                    "exp",
                    "ln",
                    "acos",
                    "asin",
                    "tan",
                ]
            )
            if function == "atan":
                return f"atan[{value:.3f}]/[{rng.uniform(-3, 3):.3f}]"
            bound = {
                "sqrt": abs(value),
                "ln": abs(value) + 0.1,
                "exp": value / 9,
                "acos": value / 21,
                "asin": value / 21,
                "tan": value,
            }
            return (
                f"{function}[{bound.get(function, value * 9 if function in ('sin', 'cos') else value):.3f}]"
            )
        terms = [f"{rng.uniform(-5, 5):.2f}" for _ in range(rng.randint(2, 5))]
        text = terms[0]
        for term in terms[1:]:
            text += rng.choice(["+", "-", "*", "/", " mod ", "+", "-", "**"]) + term
        return f"[{text}]"

    def any_value(self) -> float:
        """Return a coordinate."""
        return self.rng.choice([0.0, self.rng.uniform(-20, 20), float(self.rng.randint(-9, 9))])

    def feed(self) -> str:
        """Return an F word where one is due."""
        if self.inverse and self.rng.random() < 0.97:
            return f"F{self.rng.uniform(0.5, 9):.2f}"
        return f"F{self.rng.choice([50, 120.5, 600])}" if self.rng.random() < 0.15 else ""

    def emit(self, *words: str) -> None:
        """Return one line: its words in any order, in either case, spaced or not, now and then numbered or commented."""
        rng = self.rng
        parts = [word for word in words if word]
        if rng.random() < 0.3:
            rng.shuffle(parts)
        text = rng.choice([" ", "", "\t"] if rng.random() < 0.2 else [" "]).join(parts)
        if rng.random() < 0.1:
            text = text.lower()
        if rng.random() < 0.05:
            text += rng.choice([" (a note; with more)", "(MSG, plain)", " (one)(two)", " (x1 y2 %#[)"])
        if rng.random() < 0.03:
            text += " ; to the end"
        if rng.random() < 0.05:
            text = f"N{rng.randint(0, 99999)} " + text
        if rng.random() < 0.02:
            text = "/" + text
        self.lines.append(text)

    def straight(self) -> None:
        """Return G0 or G1, written or carried over."""
        axes = self.rng.sample("XYZ", self.rng.choice([1, 1, 2, 2, 3]))
        code = self.rng.choice(["G0", "G1", "G1", "G01", "G00", "" if self.linear or self.slips else "G1"])
        self.linear = True
        self.emit(code, *(axis + self.number(self.any_value()) for axis in axes), self.feed())

    def arc(self) -> None:
        """Return G2 or G3 in the plane in force, by centre or by radius, flat or as a helix."""
        rng = self.rng
        u, v, w, i, j, _ = _LETTERS[self.plane]
        start = (0.0, 0.0)
        if self.absolute:
            start = (round(self.any_value(), 3), round(self.any_value(), 3))
            if rng.random() < 0.97:
                self.emit("G0", f"{u}{start[0]:.3f}", f"{v}{start[1]:.3f}")
        radius = rng.choice([0.5, 2.0, rng.uniform(0.1, 30.0)])
        first = rng.uniform(-math.pi, math.pi)
        turn = rng.choice([rng.uniform(0.02, 6.2), math.pi, math.pi / 2, 2 * math.pi])
        code = rng.choice(["G2", "G3", "G02", "G3"])
        self.linear = False
        last = first + (turn if code == "G3" else -turn)
        centre = (-radius * math.cos(first), -radius * math.sin(first))
        end = (
            start[0] + centre[0] + radius * math.cos(last),
            start[1] + centre[1] + radius * math.sin(last),
        )
        if turn == 2 * math.pi:
            end = start
        helix = w + self.number(self.any_value()) if rng.random() < 0.2 else ""
        ends = [u + self.number(end[0]), v + self.number(end[1])]
        if rng.random() < 0.03:
            ends.pop()
        if rng.random() < 0.25 and turn not in (math.pi, 2 * math.pi) and abs(turn - math.pi) > 0.2:
            size = radius if turn < math.pi else -radius
            self.emit(code, *ends, helix, "R" + self.number(size), self.feed())
        else:
            offsets = [i + self.number(centre[0]), j + self.number(centre[1])]
            turns = f"P{rng.randint(1, 3)}" if rng.random() < 0.05 else ""
            self.emit(code, *ends, helix, *offsets, turns, self.feed())

    def offset(self) -> None:
        """Work systems, G92, machine coordinates, home."""
        rng = self.rng
        axes = rng.sample("XYZ", rng.choice([1, 2, 3]))
        words = [axis + self.number(self.any_value()) for axis in axes]
        choice = rng.randrange(8)
        if choice == 0:
            self.emit("G92", *words)
        elif choice == 1:
            self.emit(rng.choice(["G92.1", "G92.2", "G92.3"]))
        elif choice == 2:
            self.emit("G10", rng.choice(["L2", "L2", "L20"]), f"P{rng.randint(0, 9)}", *words)
        elif choice == 3:
            self.emit(rng.choice(["G54", "G55", "G56", "G59", "G59.1", "G59.3", "G57", "G58"]))
        elif choice == 4 and self.absolute:
            self.emit("G53", rng.choice(["G0", "G0", "G1"]), *words, self.feed())
        elif choice == 5:
            self.emit(rng.choice(["G28", "G30"]), *(words if rng.random() < 0.7 else ()))
        elif choice == 6:
            self.emit(rng.choice(["G28.1", "G30.1", "G49", "G40"]))
        else:
            self.emit("G10", "L2", "P1", *words)

    def mode(self) -> None:
        """Return a change of mode, or something that is not motion."""
        rng = self.rng
        choice = rng.randrange(11)
        if choice == 0:
            self.emit(rng.choice(["G20", "G21"]))
        elif choice == 1:
            self.absolute = not self.absolute
            self.emit("G90" if self.absolute else "G91")
        elif choice in (2, 3):
            self.plane = rng.choice([17, 18, 19])
            self.emit(f"G{self.plane}")
        elif choice == 4:
            self.inverse = not self.inverse
            self.emit("G93" if self.inverse else "G94", "" if self.inverse else "F200")
        elif choice == 5:
            self.emit("G4", f"P{self.number(rng.uniform(0, 3))}")
        elif choice == 6:
            self.emit(rng.choice(["M3", "M4", "M5"]), f"S{rng.randint(0, 20000)}")
        elif choice == 7:
            self.emit(rng.choice(["M7", "M8", "M9", "M0", "M1", "M48", "M49", "T1", "T2 M6"]))
        elif choice == 8:
            self.emit(rng.choice(["G61", "G61.1", "G64", "G64 P0.02", "G80", "G90.1", "G91.1"]))
            self.linear = False
            if "90.1" in self.lines[-1]:
                self.emit("G91.1")
        elif choice == 9:
            self.lines.append(rng.choice(["", "(only a note)", "; only a note", "N12", "   ", "F300"]))
        else:
            self.straight()

    def slip(self) -> None:
        """Return a line that is wrong, or nearly."""
        rng = self.rng
        self.lines.append(rng.choice(SLIPS))

    def write(self) -> str:
        """Return the whole program."""
        rng = self.rng
        if rng.random() < 0.05:
            self.lines.append("%")
            end = rng.choice(["%", "%\nG0 X1", "M2"])
        else:
            end = rng.choice(["M2", "M30", "M2", "M2\nG0 X5 (not read)", "m2 (end)"])
        if rng.random() < 0.97:
            self.emit("G21", "G17", "G90", "F200")
            self.emit("G0", "X0", "Y0", "Z5")
        for _ in range(rng.randint(1, 25)):
            draw = rng.random()
            if draw < 0.35:
                self.straight()
            elif draw < 0.6:
                self.arc()
            elif draw < 0.75:
                self.offset()
            elif draw < 0.95:
                self.mode()
            elif self.slips:
                self.slip()
        if self.slips and rng.random() < 0.5:
            self.slip()
        if rng.random() < 0.98:
            self.lines.append(end)
        return "\n".join(self.lines) + "\n"


def random_program(seed: int) -> str:
    """Return the random program of a seed."""
    return Writer(random.Random(seed)).write()


def differences(text: str, run: Any) -> str | None:
    """Say how our reading of a program and the interpreter's differ; ``None`` when they agree."""
    reading = read(text, dialect="linuxcnc")
    ours = reading.moves
    deliberate = bool(reading.faults) and any(part in reading.faults[0].want for part in DELIBERATE)
    if not deliberate and run.accepted != (not reading.faults):
        return f"ours: {[str(fault) for fault in reading.faults]}; theirs: {run.message or 'accepted'}"
    count = len(ours)
    if reading.faults:
        count = int(np.searchsorted(ours.line, reading.faults[0].line or 0))
    left = list(run.moves)
    last: Any = None
    for index in range(count):
        wrong = _move_differs(ours, index, left[0], text) if left else "no move of theirs"
        # The interpreter also reports moves that go nowhere, such as the way to the point of a G28 without words.
        while wrong is not None and left and _stands(last, left[0]):
            left.pop(0)
            wrong = _move_differs(ours, index, left[0], text) if left else "no move of theirs"
        if wrong is not None and np.allclose(ours.start_mm[index], ours.end_mm[index], atol=1e-9):
            continue
        if wrong is not None:
            return f"line {ours.line[index]}: {wrong}"
        last = left.pop(0)
    while left and _stands(last, left[0]):
        left.pop(0)
    # In the line it refuses the interpreter may already have made some of the moves.
    if not deliberate and len(left) > (10 if reading.faults else 0):
        return f"{len(left)} moves of theirs too many: {left[0]}"
    return None


def _stands(before: Any, after: Any) -> bool:
    """Return whether a move goes nowhere: it ends where the one before it (``None``: machine zero) did."""
    there = np.zeros(3) if before is None else np.add(before.end_mm, before.offset_mm)
    steps = after.step_mm if before is None else max(before.step_mm, after.step_mm)
    return after.kind != "arc" and np.allclose(
        np.add(after.end_mm, after.offset_mm), there, atol=4.1 * steps, rtol=0
    )


def _move_differs(ours: Moves, index: int, theirs: Any, text: str) -> str | None:
    kind = Motion(int(ours.motion[index]))
    if _KINDS[kind] != theirs.kind:
        return f"{kind.name} and {theirs.kind}"
    end = np.array(theirs.end_mm)
    if ours.machine[index]:
        end = end + theirs.offset_mm
    if not np.allclose(ours.end_mm[index], end, atol=2.1 * theirs.step_mm, rtol=0):
        return f"ends {ours.end_mm[index]} and {end}"
    if (
        theirs.kind == "feed"
        and abs(ours.feed_mm_min[index] - theirs.feed_mm_min) > 1e-3
        and _plain_feed(text)
    ):
        return f"feeds {ours.feed_mm_min[index]} and {theirs.feed_mm_min}"
    if theirs.kind == "arc":
        u, v, _ = ours.columns("".join(PLANES[int(ours.plane[index])]))
        for axis in (u, v):
            if abs(ours.centre_mm[index, axis] - theirs.centre_mm[axis]) > 2.1 * theirs.step_mm:
                return f"centres {ours.centre_mm[index]} and {theirs.centre_mm}"
        sweep = float(ours.sweep_rad[index])
        if (sweep > 0) != (theirs.turns > 0) or math.ceil(abs(sweep) / math.tau - 1e-6) != abs(theirs.turns):
            return f"turns {sweep / math.tau} and {theirs.turns}"
    return None


def _plain_feed(text: str) -> bool:
    return "G93" not in text.upper() and "G20" not in text.upper()


@pytest.mark.parametrize("first", range(0, PROGRAMS_IN_THE_SUITE, 50))
def test_reader_agrees_with_the_interpreter(first: int, rs274: Callable[[str], Any]) -> None:
    """Random programs give the same end points, centres, senses and turns, or are refused by both."""
    found = {}
    for seed in range(first, first + 50):
        text = random_program(seed)
        difference = differences(text, rs274(text))
        if difference is not None:
            found[seed] = difference

    assert found == {}


PREAMBLES = {
    "after a feed move": "G21 G17 G90 F200\nG1 X2 Y3 Z4",
    "after a rapid": "G21 G17 G90 F200\nG0 X2 Y3 Z4",
    "after an arc": "G21 G17 G90 F200\nG2 X2 Y3 I1 J1.5",
    "incremental, in inches": "G20 F20\nG91\nG1 X2 Y3",
    "at the very beginning": "",
    "inverse time": "G93",
    "no motion": "F100 G80",
    "XZ plane": "G18 F100 G0 X1",
    "with G92": "G1 F9 X1 G92 Y3\nF9 G1 X1\nG92 Y3",
}


def slip_differences(rs274: Callable[[str], Any], preamble: str) -> dict[str, str]:
    """Return every slip after one preamble; those on which reader and interpreter differ."""
    found = {}
    for slip in [*SLIPS, *PROBES]:
        text = f"{PREAMBLES[preamble]}\n{slip}\nM2\n"
        difference = differences(text, rs274(text))
        if difference is not None:
            found[slip] = difference
    return found


def test_every_slip_is_judged_as_the_interpreter_does(rs274: Callable[[str], Any]) -> None:
    """Each wrong or doubtful line alone is refused by both, or taken by both with the same moves."""
    assert slip_differences(rs274, "after a feed move") == {}


def test_random_programs_reach_the_whole_subset() -> None:
    """The generator is worth its name: many programs are clean, many are not, and arcs of all planes occur."""
    readings = [read(random_program(seed), dialect="linuxcnc") for seed in range(PROGRAMS_IN_THE_SUITE)]
    clean = [reading for reading in readings if not reading.faults]
    planes = {
        int(plane)
        for reading in clean
        for plane, sweep in zip(reading.moves.plane, reading.moves.sweep_rad, strict=True)
        if sweep != 0.0
    }
    runs = [len(reading.moves) for reading in clean]

    assert 0.3 < len(clean) / len(readings) < 0.9
    assert planes == {17, 18, 19}
    assert max(b - a for a, b in pairwise([0, *sorted(runs)])) < 60
