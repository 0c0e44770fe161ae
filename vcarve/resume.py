"""Going on after a break: what is left of a program, made from its text alone.

The rest begins behind a lift: it sets every mode anew that the text had said by then, goes up to the greatest height that the
program goes to, starts the spindle, comes over the place where the bit had been lifted and down to the height it had there.
From there on the program's own lines follow, sign by sign.  The rest is read back and must make the very moves that the program
makes from there to its end; nothing in its comments is believed.

Glossary
crossing    a rapid across: where the program makes one the bit is in the air, so that the place before it can be returned to;
            of no length where a pass begins at the very place where the one before was lifted
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, replace
from functools import partial
from typing import Any

import numpy as np

from vcarve.dryrun.before import SAME_MM
from vcarve.dryrun.track import Setup, passes_of
from vcarve.errors import InputError, Problem, RefusedError
from vcarve.plane.arrays import Bools, Ints
from vcarve.program.moves import Motion, Moves
from vcarve.program.reader import Reading, decoded, read_program
from vcarve.program.text import comment, plain
from vcarve.proofing import check_program
from vcarve.quantity import QuantityError, counted, duration_s, format_duration, whole_number
from vcarve.report import machine_in_header
from vcarve.run import DryRun
from vcarve.view.facts import Rows

# Modal groups whose codes are said again as the program had said them, in this order; motion, spindle and coolant by themselves.
MODES = ("plane", "units", "radius", "length", "system", "distance", "arc-distance", "feed-mode")
ON_LINES_OF_THEIR_OWN = ("path", "overrides")
COOLANT = {"mist": "M7", "flood": "M8", "coolant-off": ""}
ALONE = "The rest, which is read by itself, lacks what is said before it."
UNSURE = "so nobody can be sure where the rest would cut"
CAUTION = "a new bit is another length: set Z0 again where it was set, and see that X0 and Y0 still hold."
NO_ZERO = "the program names no work zero: run its rest from the one that it ran from."
# Before the rest, which starts the spindle itself and is judged by itself.
HEALED = frozenset({"spindle-off", "spin-up"})
PLACE_DECIMALS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """What is left of a program: its text, its own dry run, and where in the program it begins.

    ``first`` is the pass it begins with, counted from 1, of ``passes``; ``line`` the program's line that it goes on with;
    ``height_mm`` how high it goes before it goes across, and ``place_mm`` where it then comes down to, in work coordinates.
    """

    text: bytes
    run: DryRun
    first: int
    passes: int
    line: int
    height_mm: float
    place_mm: tuple[float, float, float]


def cutting_passes(moves: Moves) -> Ints:
    """Return which pass each move belongs to where no job says how high the piece's top is.

    What lies below the lowest height that the program goes across at is taken for wood.
    """
    return passes_of(moves, Setup(top_mm=_top_mm(moves, _across(moves))))


def _across(moves: Moves) -> Bools:
    """Tell of each move whether it goes across at rapid between places that the text says, shape (N,)."""
    across = (moves.start("XY") != moves.end("XY")).any(axis=1) | moves.is_found("XY")
    return np.asarray(across & moves.told & (moves.motion == int(Motion.RAPID)) & ~moves.is_lost("Z")[:-1])


def _top_mm(moves: Moves, across: Bools) -> float:
    """Return the lowest height that a program goes across at, 0 where it never does."""
    flying = np.fmin(moves.start("Z"), moves.end("Z"))[across]
    return float(flying.min(initial=np.inf if len(flying) else 0.0))


def _crossings(moves: Moves) -> Bools:
    """Tell of each move whether it is a crossing, shape (N,)."""
    across = _across(moves)
    still = (moves.start_mm == moves.end_mm).all(axis=1) & moves.told & (moves.motion == int(Motion.RAPID))
    return np.asarray(across | still & (moves.start("Z") >= _top_mm(moves, across)))


def at_pass(run: DryRun, number: int) -> int:
    """Return the move that a pass of a program, counted from 1, begins with."""
    _refuse(run, HEALED)
    passes = cutting_passes(run.reading.moves)
    most = int(passes.max(initial=-1)) + 1
    if not 1 <= number <= most:
        want = (
            f"the program has {counted(most, 'pass', 'passes')}"
            if most
            else "nothing that this program does is a cut"
        )
        raise InputError(Problem(key="--pass", value=str(number), want=want))
    if run.passes > most:
        want = f"the dry run counts {run.passes} passes, of which {most} begin at a rapid; give --line or --after"
        raise InputError(Problem(key="--pass", value=str(number), want=want))
    return int(np.argmax(passes == number - 1))


def at_line(run: DryRun, number: int) -> int:
    """Return the move of a line of a program, counted from 1; for a line without one the next."""
    moves = run.reading.moves
    if not 1 <= number <= moves.lines:
        want = f"the program has {moves.lines} lines"
        raise InputError(Problem(key="--line", value=str(number), want=want))
    return int(np.searchsorted(moves.line, number))


def at_time(run: DryRun, seconds: float) -> int:
    """Return the move that is under way so long after the start, by the dry run's clock; pauses count for nothing."""
    times = run.times
    if not 0.0 <= seconds < times.total_s:
        lasts = f"by the dry run's clock the program lasts {format_duration(times.total_s)}"
        raise InputError(Problem(key="--after", value=format_duration(seconds), want=lasts))
    return int(np.searchsorted(times.start_s + times.move_s, seconds, side="right"))


# How a break is told -> how that is read, and what finds the move it came in.
BREAKS: dict[str, tuple[Callable[[str], float], Callable[[DryRun, Any], int]]] = {
    "--pass": (whole_number, at_pass),
    "--line": (whole_number, at_line),
    "--after": (duration_s, at_time),
}


def broken_off(told: str, written: str) -> Callable[[DryRun], int]:
    """Return what finds the move of a program that a break came in, ``told`` as one of ``BREAKS``; raises InputError for none."""
    reader, find = BREAKS[told]
    try:
        value = reader(written)
    except QuantityError as error:
        raise InputError(Problem(key=told, value=written, want=str(error))) from None
    return lambda run: find(run, value)


def rest_rows(rest: Rest, how: str) -> Rows:
    """Return what there is to say of a rest; ``how`` says which machine its program was taken to be for."""
    figures, left = rest.run.figures, rest.passes - rest.first + 1
    x, y, z = map(figures.number, rest.place_mm)
    return [
        ("machine", how),
        ("from", f"pass {rest.first} of {rest.passes}, line {rest.line}"),
        ("left", f"{counted(left, 'pass', 'passes')}, {format_duration(rest.run.times.total_s)}"),
        ("begins", f"up to Z {figures.length(rest.height_mm)}, across to X {x}, Y {y}, down to Z {z}"),
        (
            "first",
            "find what broke off, set Z0 again where it was, with the new bit, and see that X0 and Y0 still hold",
        ),
    ]


def rest_of(run: DryRun, move: int, *, text: bytes, name: str, assumed: bool = False) -> Rest:
    """Return what is left of a program from the last lift before a move on.

    ``run`` is its dry run without a job, ``text`` the bytes that were read, ``name`` what the rest calls it; ``assumed`` says
    that nobody named its machine.  Raises RefusedError where the dry run refuses the program or its rest, and InputError where
    nobody can be sure that the rest would do what the program did.
    """
    _refuse(run, HEALED)
    reading, moves, file = run.reading, run.reading.moves, run.file
    passes = cutting_passes(moves)
    crossings = np.flatnonzero(_crossings(moves)[: move + 1])
    if not (passes[move:] >= 0).any():
        raise InputError(Problem(file=file, want="no cut of this program is left from there on"))
    if not len(crossings) or not (passes[: crossings[-1]] >= 0).any():
        want = "no rapid across leads there from a cut, where a rest could begin; run the program itself from its beginning"
        raise InputError(Problem(file=file, want=want))
    start = int(crossings[-1])
    line = int(moves.line[start - 1]) + 1
    before = read_program(
        "\n".join(reading.text_lines[: line - 1]), dialect=run.machine.dialect, strict=False
    )
    wrong = partial(Problem, file=file)
    doubts: dict[str, int] = {}
    for at, want in _doubts(run, start, line):
        doubts.setdefault(want, at)
    if doubts:
        raise InputError([wrong(line=at, want=f"{want}; {UNSURE}") for want, at in doubts.items()])
    height = float(np.nanmax(np.where(moves.told & ~moves.is_lost("Z")[1:], moves.end("Z"), -np.inf)))
    first = int(passes[start:][passes[start:] >= 0][0]) + 1
    whole = int(passes.max()) + 1
    known = machine_in_header("\n".join(reading.text_lines))
    up = plain(height / before.state.scale, PLACE_DECIMALS)
    notes = [
        ("Mizo", f"the rest of {name}, from pass {first} of {whole}, its line {line}"),
        *([("Machine", ", ".join(known))] if known else []),
        ("Caution", CAUTION),
        ("Caution", f"from wherever the bit stands it first goes straight to Z{up}."),
        *([] if "system" in before.state.told else [("Caution", NO_ZERO)]),
    ]
    head = [row for label, said in notes for row in comment(label, said)]
    if next((row for row in reading.text_lines if row.strip()), "").strip() == "%":
        head.insert(0, "%")
    head += _opening(run, before, start, height)
    lines = [*head, *reading.text_lines[line - 1 :], ""]

    def there(at: int | None) -> int | None:
        """Return the program's line of a line of the rest; ``None`` where it has none."""
        return None if at is None or at <= len(head) else at - len(head) + line - 1

    try:
        rest = check_program("\n".join(lines), machine=run.machine, assumed=assumed, file=file)
    except InputError as error:
        raise InputError(
            [replace(one, line=there(one.line), want=f"{one.want} {ALONE}") for one in error.problems]
        ) from None
    if (odd := _differs(moves, start, rest.reading.moves, len(head), line - 1)) is not None:
        want = f"the rest does not do in this line what the program does; {UNSURE}"
        raise InputError(wrong(line=odd, want=want))
    _refuse(replace(rest, findings=tuple(replace(one, line=there(one.line)) for one in rest.findings)))
    x, y, z = moves.start_mm[start].tolist()
    return Rest(
        text="\n".join(lines).encode(decoded(text)[1]),
        run=rest,
        first=first,
        passes=whole,
        line=line,
        height_mm=height,
        place_mm=(x, y, z),
    )


def _refuse(run: DryRun, healed: frozenset[str] = frozenset()) -> None:
    """Raise RefusedError with what the dry run refuses, but for codes that a rest heals."""
    found = [one for one in run.findings if one.severity == "refuse" and one.code not in healed]
    if found:
        raise RefusedError(found)


def _doubts(run: DryRun, start: int, line: int) -> Iterator[tuple[int, str]]:
    """Yield what a rest that begins with a move, in a line, cannot be sure of: the line, and why."""
    moves, units = run.reading.moves, set()
    for event in moves.events:
        if event.kind == "units":
            units.add(event.value)
            if len(units) > 1:
                yield event.line, "the units change on the way"
        elif event.kind == "tool-change":
            yield event.line, "the program changes the bit"
        elif event.kind == "switched":
            yield event.line, "whether lines that begin with / are run is a switch at the controller"
        elif event.kind == "distance" and event.value == 91.0 and event.line >= line:
            yield event.line, "from here on it moves by distances (G91)"
    distances = [event for event in moves.events if event.kind == "distance" and event.line < line]
    if distances and distances[-1].value == 91.0:
        yield distances[-1].line, "it moves by distances (G91)"
    for probe in np.flatnonzero(moves.motion == int(Motion.PROBE)).tolist():
        yield int(moves.line[probe]), "the program probes"
    if missing := " and ".join(axis for axis in moves.axes if moves.is_lost(axis)[start]):
        yield int(moves.line[start]), f"the text does not say where {missing} is before this rapid"
    if not _turns(run, line) and not _by_hand(run):
        yield line, "nothing has started the spindle (M3, or a pause M0 to do so by hand)"


def _turns(run: DryRun, line: int) -> bool:
    """Tell whether the spindle has ever been switched on before a line."""
    return any(event.kind == "spindle-cw" and event.line < line for event in run.reading.moves.events)


def _by_hand(run: DryRun) -> bool:
    """Tell whether a person starts the spindle: by the machine's switch, or where the program but pauses before its first cut."""
    if not run.machine.spindle.programmed:
        return True
    moves = run.reading.moves
    first = int(np.argmax(cutting_passes(moves) >= 0))
    kinds = {event.kind for event in moves.events}
    return "spindle-cw" not in kinds and any(
        event.kind == "pause" and event.before <= first for event in moves.events
    )


def _opening(run: DryRun, before: Reading, start: int, height_mm: float) -> list[str]:
    """Return the lines that bring the machine to where a move starts, with all that was in force there."""
    state, moves = before.state, run.reading.moves
    scale = state.scale
    x, y, z = (plain(value / scale, PLACE_DECIMALS) for value in moves.start_mm[start].tolist())
    told = {"feed-mode": state.feed_mode, **state.told}
    lines = [" ".join(told[group] for group in MODES if group in told)]
    lines += [state.told[group] for group in ON_LINES_OF_THEIR_OWN if group in state.told]
    lines.append(f"G0 Z{plain(height_mm / scale, PLACE_DECIMALS)}")
    if state.spindle != "M5":
        # The longest that the program has waited, or what the machine needs.
        waits = [event.value for event in before.moves.events if event.kind == "dwell"]
        # in whole milliseconds, no fewer
        wait = math.ceil(round(1e3 * max([run.machine.spindle.spin_up_s, *waits]), 6)) / 1e3
        lines.append(f"S{plain(state.speed_rpm, 3)} {state.spindle}")
        lines += [f"G4 P{plain(wait, 3)}"] if wait else []
    elif state.speed_rpm:
        lines.append(f"S{plain(state.speed_rpm, 3)}")  # for the M3 that follows
    if _by_hand(run):
        lines += [*comment("Start the spindle by hand, and continue when it has its speed"), "M0"]
    coolant: list[str] = []
    for event in before.moves.events:
        if event.kind in COOLANT:
            coolant = [*coolant, COOLANT[event.kind]] if COOLANT[event.kind] else []
    lines += dict.fromkeys(coolant)
    if state.feed_mm_min and state.feed_mode == "G94":
        lines.append(f"F{plain(state.feed_mm_min / scale, PLACE_DECIMALS)}")
    return [*lines, f"G0 X{x} Y{y}", f"G0 Z{z}"]


def _differs(whole: Moves, start: int, rest: Moves, own: int, left_out: int) -> int | None:
    """Return the first line of a program, from a move on, that its rest does not do alike; ``None`` where it does all.

    ``own`` lines of the rest come before those of the program, of which the first ``left_out`` are left out.
    """
    begin, last = int(np.searchsorted(rest.line, own, side="right")), int(whole.line[start])
    count = len(whole) - start
    if len(rest) - begin != count:
        return last
    apart = whole.line[start:] - left_out != rest.line[begin:] - own
    for name in (one.name for one in fields(Moves) if one.name not in ("axes", "events", "lines", "line")):
        a = np.asarray(getattr(whole, name)[start:], dtype=float)[:count].reshape(count, -1)
        b = np.asarray(getattr(rest, name)[begin:], dtype=float)[:count].reshape(count, -1)
        apart |= ~np.isclose(a, b, rtol=0.0, atol=SAME_MM, equal_nan=True).all(axis=1)
    if apart.any():
        return int(whole.line[start:][np.argmax(apart)])
    mine, theirs = (
        [(one.line - off, one.kind, one.value, one.text) for one in moves.events if one.line > off]
        for moves, off in ((whole, left_out), (rest, own))
    )
    return None if mine == theirs else last
