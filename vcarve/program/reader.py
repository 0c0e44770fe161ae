"""Read a program: from text alone to the moves a controller would make, and every fault with its place.

Ordinary lines (N, one of G0 to G3, axis words, I and J, F, in this order) take a short way of one regular expression; every
other line is taken apart word by word.  Both give the same moves, which a property test holds them to.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from vcarve.errors import InputError, Problem
from vcarve.program.arcs import centre_arc
from vcarve.program.execute import Interpreter
from vcarve.program.grammar import ARCS, DIALECTS, GRBL, LINUXCNC, NIST, Dialect, DialectName
from vcarve.program.moves import Moves
from vcarve.program.state import CENTRE, MOTIONS, ORIGIN, State, Vector, as_row
from vcarve.program.words import Reject, take_apart

# At most eight digits: those with more mean something else to one controller.
_N = r"([+-]?(?:[0-9]{1,4}(?:\.[0-9]{0,4})?|[0-9]{1,2}\.[0-9]{5,6}|[0-9]{5,7}|\.[0-9]{1,8}))"
_ORDINARY = re.compile(
    r"[ \t]*(?:N[0-9]{1,5}[ \t]*(?![0-9.]))?(?:G0?([0-3])(?![0-9.])[ \t]*)?"
    rf"(?:X{_N}[ \t]*)?(?:Y{_N}[ \t]*)?(?:Z{_N}[ \t]*)?"
    rf"(?:I{_N}[ \t]*J{_N}[ \t]*)?(?:F([0-9]{{1,5}}(?:\.[0-9]{{0,3}})?)[ \t]*)?"
)
_REMARK = re.compile(r"\([^)]*\)|;.*")
_FAULT_LIMIT = 1000
_NAN = float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What was read: the moves, the faults in order, the text, and what is in force behind.  A line with a fault moves nothing.

    A fault's ``line`` and column (``key``) count from 1; its ``value`` is the word that cannot be taken.
    """

    moves: Moves
    faults: tuple[Problem, ...]
    text_lines: tuple[str, ...]
    dialect: str
    state: State


def read_program(
    text: str | bytes,
    *,
    dialect: DialectName = "rs274ngc",
    file: str = "the program",
    start_mm: Vector = ORIGIN,
    block_delete: bool = True,
    strict: bool = True,
    short_way: bool = True,
    origins_mm: Mapping[int, Vector] | None = None,
) -> Reading:
    """Return what a reader of a program's text alone believes: its moves, in mm, and everything that is not motion.

    ``dialect`` is the controller's (``rs274ngc``, ``grbl-1.1``, ``linuxcnc``).  ``start_mm`` is where the tool stands before the
    first move, in work coordinates (the text does not say).  ``block_delete`` is the operator's switch: with it on, lines
    beginning with ``/`` are skipped (§2.2.2).  Raises :class:`InputError` with line and column of every fault, in the ``file``
    named; not ``strict`` gives them with the reading.  After a thousand the rest is not read.  ``short_way`` off sends every
    line the long way.  ``origins_mm`` are where the controller has the zeros of work systems, by their numbers; those that are
    not given are in one place.

    >>> text = "G21 G90\\nG0 Z5\\nG0 X30 Y40\\nM2\\n"
    >>> vcarve.read_program(text).moves.length_mm.tolist()
    [5.0, 50.0]
    >>> vcarve.read_program(text.replace("Z5", "Z"))
    Traceback (most recent call last):
    vcarve.errors.InputError: the program:2: column 4: 'Z': a number must follow the letter.
    """
    rules = DIALECTS[dialect]
    lines, marks = _split(text, rules)
    machine = Interpreter(rules, start_mm)
    machine.state.origins = dict(origins_mm or {})
    columns, state = machine.columns, machine.state
    faults: list[Problem] = []

    def fault(line: int, column: int, word: str, reason: str) -> None:
        at = f"column {column}"
        faults.append(Problem(file=file, line=line, key=at, value=word[:40], want=f"{reason}."))

    parameters: dict[int, float] = {}
    percent = 0  # how many of the two have been seen
    first_line = True
    for mark in marks:
        columns.event(*mark)

    # What the short way needs of the state, at hand.
    match, limit, rows = _ORDINARY.fullmatch, rules.line_limit, columns.rows
    (x, y, z), others = start_mm[:3], start_mm[3:]
    scale, modes, quick, flat, motion, feed = 1.0, 0, False, False, state.motion, 0.0

    for number, raw in enumerate(lines, 1):
        found = match(raw) if quick and len(raw) <= limit else None
        if found is not None:
            word, xw, yw, zw, iw, jw, fw = found.groups()
            code = motion if word is None else "G" + word
            speed = feed if fw is None else float(fw) * scale
            to_x = x if xw is None else float(xw) * scale
            to_y = y if yw is None else float(yw) * scale
            to_z = z if zw is None else float(zw) * scale
            if iw is None:
                taken = (code == "G0" or (code == "G1" and speed > 0.0)) and not xw is yw is zw is None
            elif taken := flat and code in ARCS and speed > 0.0 and not xw is yw is None:
                start, end = complex(x, y), complex(to_x, to_y)
                middle = start + complex(float(iw) * scale, float(jw) * scale)
                clockwise, inch = code == "G2", scale != 1.0
                sweep = centre_arc(start, end, middle, clockwise=clockwise, inch=inch, dialect=rules)
                if taken := not isinstance(sweep, str):
                    rows += as_row(CENTRE, number, modes, sweep, middle.real, middle.imag, z, *others)
            if taken:
                x, y, z, motion, feed = to_x, to_y, to_z, code, speed
                moved = _NAN if code == "G0" else speed
                rows += as_row(MOTIONS[code], number, modes, moved, x, y, z, *others)
                continue
        stripped = raw.strip(" \t")
        if not stripped:
            continue
        if stripped == "%" and rules is GRBL:
            columns.event(number, "percent")
            continue
        if stripped == "%" and (first_line or percent):
            # §3.1: a line holding only a percent sign opens a program that another one must close.
            first_line = False
            percent += 1
            if percent == 2:
                break
            continue
        first_line = False
        state.place, state.motion, state.feed_mm_min = (x, y, z, *others), motion, feed
        try:
            line = take_apart(raw, rules, parameters, skip_deleted=block_delete)
            machine.run(line, number)
            parameters.update(line.settings)  # §3.3.3: they take effect after the line
        except Reject as reject:
            fault(number, reject.column, reject.word, reject.reason)
            if len(faults) >= _FAULT_LIMIT:
                break
        state = machine.state
        (x, y, z), others = state.place[:3], state.place[3:]
        motion, feed, scale = state.motion, state.feed_mm_min, state.scale
        if state.ended and rules is not GRBL:
            # §3.1: what follows the program's end is not read
            rest = enumerate(lines[number:], number + 1)
            if after := next((k for k, late in rest if _REMARK.sub("", late).strip(" \t%")), 0):
                columns.event(after, "unread")
            break
        modes = columns.stand(state.place, state.modes())
        quick = short_way and state.distance == "G90" and state.feed_mode == "G94"
        quick = quick and state.motion_written and not (state.feed_stale or state.lost)
        flat = state.plane == "G17" and state.arc_distance == "G91.1"

    if rules is not GRBL and not state.ended and percent != 2 and len(faults) < _FAULT_LIMIT:
        want = "the program does not end: M2 or M30 is missing"
        if percent == 1:
            want = "the opening percent sign has no closing one, and M2 or M30 is missing"
        fault(max(len(lines), 1), 1, lines[-1].strip() if lines else "", want)
    if faults and strict:
        raise InputError(faults)
    moves = columns.moves(len(lines), state.modes())
    state.place, state.motion, state.feed_mm_min = (x, y, z, *others), motion, feed
    return Reading(
        moves=moves, faults=tuple(faults), text_lines=tuple(lines), dialect=dialect, state=state.copy()
    )


def decoded(data: bytes) -> tuple[str, str]:
    """Return a text and its encoding: UTF-8, or else Latin 1, one character a byte, so that columns stay true."""
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        return data.decode("latin-1"), "latin-1"


def _split(text: str | bytes, dialect: Dialect) -> tuple[list[str], list[tuple[int, str]]]:
    """Return a text's lines without their ends: LF, CR LF, or (§3.3) a CR alone; and what else is worth noting, with its line.

    LinuxCNC drops a CR inside a line and would join what we take for two lines: there it stays, and is refused.
    """
    if isinstance(text, bytes):
        text, _ = decoded(text)
    marks = [(1, "byte-order-mark")] if text.startswith("\ufeff") else []
    text = text.removeprefix("\ufeff")
    if "\r" in text:
        text = text.replace("\r\n", "\n")
        if "\r" in text and dialect is NIST:
            marks.append((text.count("\n", 0, text.index("\r")) + 1, "carriage-return"))
        if dialect is not LINUXCNC:
            text = text.replace("\r", "\n")
    lines = text.split("\n")
    if lines[-1] == "":
        lines.pop()
    return lines, marks
