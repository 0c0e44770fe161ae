"""Pattern files read from disk: from a pattern as written to the lines of one unit cell, every problem with its file and line."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from vcarve.errors import InputError, Problem
from vcarve.job.document import Document, parse_document, placed, read_document
from vcarve.job.record import record_from
from vcarve.pattern.file import LineEntry, Operation, PatternFile
from vcarve.pattern.model import KINDS, Pattern
from vcarve.pattern.symmetry import ALSO, MOST_MOVES, Lattice, closure, glide, group_problem, mirror, rotation
from vcarve.pattern.unit import united
from vcarve.plane.arcs import curves, lengths, mapped, middles, size
from vcarve.plane.arrays import Floats, Ints
from vcarve.plane.fit import arc_lines

_FAR = 3.0  # unit cells
_FLATTEST = 0.05  # area of the unit cell over the product of its sides
_MOST_SLENDER = 100.0  # longest over shortest side of the unit cell
_SHORTEST = 1e-6  # unit cells
# Pairs of a line and a copy of another one that may have to be held against each other.
MOST_MEETINGS = 20_000_000


def load_pattern_file(path: str | Path) -> Pattern:
    """Return the pattern a YAML file describes.

    Raises ``InputError`` with file, line, key path and value of everything that is wrong.
    """
    return _pattern(read_document(str(path)))


def read_pattern(data: bytes, file: str) -> Pattern:
    """Return the pattern that YAML text describes; ``file`` is the name to show in problems."""
    return _pattern(parse_document(data, file=file))


def _pattern(document: Document) -> Pattern:
    with placed(document):
        written = record_from(document, PatternFile)
        lattice = Lattice(written.lattice.a1, written.lattice.a2)
        _check_lattice(written, lattice)
        moves = _moves(written, lattice)
        curve, feature = _generators(written, lattice)
        _refuse_too_many(curve, len(moves), lattice)
        images = [mapped(curve, move[:2], move[2]) for move in map(lattice.plane, moves)]
        curve, feature = united(np.vstack(images), np.tile(feature, len(moves)), lattice)
    same = ("key", "name", "kanji", "english", "family", "group", "unit", "note", "choice", "corner")
    return Pattern(
        **{name: getattr(written, name) for name in same},
        lattice=written.lattice.kind,
        a1=lattice.a1,
        a2=lattice.a2,
        curves=curve,
        feature=feature,
        pitch_mm=written.pitch_range_mm,
    )


def move_of(operation: Operation) -> Floats:
    """Return the move (3, 2) of the plane that an operation stands for."""
    if operation.rotate is not None:
        return rotation(360.0 / operation.rotate, operation.about or (0.0, 0.0))
    if operation.glide is not None:
        return glide(*operation.glide)
    assert operation.mirror is not None  # the record has exactly one of the three
    return mirror(*operation.mirror)


def _described(operation: Operation) -> str:
    if operation.rotate is not None:
        return f"a {operation.rotate}-fold centre"
    return "this mirror" if operation.mirror is not None else "this glide"


def _check_lattice(written: PatternFile, lattice: Lattice) -> None:
    long, short = sorted(size(lattice.basis).tolist(), reverse=True)
    key, value = "lattice.a2", None
    if lattice.area <= _FLATTEST * long * short:
        want = "a1 and a2 must point in different directions; these span no unit cell"
    elif long > _MOST_SLENDER * short:
        want = f"one of a1 and a2 is {long / short:.3g} times as long as the other; up to {_MOST_SLENDER:g} times is taken"
    elif written.lattice.kind not in ALSO[lattice.kind]:
        key, value = "lattice.kind", written.lattice.kind
        want = (
            f"a1 and a2 make a {lattice.kind} lattice; write that, or correct the vectors "
            "(exact expressions such as sqrt(3)/2, not rounded decimals)"
        )
    else:
        return
    raise InputError(Problem(key=key, value=value, want=want))


def _moves(written: PatternFile, lattice: Lattice) -> Floats:
    """Return all moves (n, 3, 2), counted along the lattice, that the operations generate."""
    problems, moves = [], []
    for index, operation in enumerate(written.operations):
        move = lattice.counted(move_of(operation))
        if move is None:
            want = (
                f"{_described(operation)} is a symmetry this {lattice.kind} lattice cannot have: "
                "it does not carry a1 and a2 to repeats of the lattice"
            )
            problems.append(Problem(key=f"operations.{index}", want=want))
        else:
            moves.append(move)
    if problems:
        raise InputError(problems)
    every = closure(moves)
    if len(every) > MOST_MOVES:
        want = "these symmetries together repeat the pattern more finely than the lattice; check their centres and mirror lines"
        raise InputError(Problem(key="operations", want=want))
    fault = group_problem(written.group, lattice.kind, every)
    if fault is not None:
        raise InputError(Problem(key="group", value=written.group, want=fault))
    return every


def _generators(written: PatternFile, lattice: Lattice) -> tuple[Floats, Ints]:
    """Return the lines as written (n, 5), and their features (n,)."""
    problems: list[Problem] = []
    made = [_lines(entry, lattice) for entry in written.lines]
    for index, curve in enumerate(made):
        key = f"lines.{index}"
        spots = np.vstack([curve[:, :2], middles(curve), curve[:, 2:4]])
        x, y = spots[np.argmax(size(spots))].tolist()
        if (size(curve[:, 2:4] - curve[:, :2]) <= _SHORTEST * lattice.size).any():
            want = "this line has no length: its two ends are the same point, or nearly so"
            problems.append(Problem(key=key, want=want))
        elif math.hypot(x, y) > _FAR * size(lattice.basis).sum():
            want = (
                f"this line reaches ({x:g}, {y:g}), far outside the unit cell; draw it near the origin, where the lattice "
                "repeats it"
            )
            problems.append(Problem(key=key, want=want))
    if problems:
        raise InputError(problems)
    kinds = [KINDS.index(entry.role) for entry in written.lines]
    return np.vstack(made), np.repeat(kinds, [len(curve) for curve in made])


def _refuse_too_many(lines: Floats, operations: int, lattice: Lattice) -> None:
    """Count what the lines of a unit cell would have to be held against, before they are made."""
    longest = float(lengths(lines).max()) / lattice.area
    copies = math.prod(2.0 * longest * math.hypot(*side) + 3.0 for side in (lattice.a1, lattice.a2))
    made = len(lines) * operations
    if made**2 * copies > MOST_MEETINGS:
        want = (
            f"{len(lines):,} lines under {operations} operations make {made:,} lines in one unit cell, the longest of which "
            f"reaches over {copies:,.0f} cells: too many to find where they meet; draw fewer or shorter lines"
        )
        raise InputError(Problem(key="lines", want=want))


def _lines(entry: LineEntry, lattice: Lattice) -> Floats:
    """Return what an entry stands for (n, 5)."""
    places = np.array(
        [place for place in (entry.start, entry.end, *(entry.path or ()), entry.centre) if place is not None]
    )
    if entry.at == "lattice":
        places = places @ lattice.basis
    if entry.radius is None:
        return curves(places[:-1], places[1:], np.zeros(len(places) - 1))
    assert entry.from_deg is not None
    assert entry.to_deg is not None
    first, sweep = math.radians(entry.from_deg), math.radians(entry.to_deg - entry.from_deg)
    return arc_lines(places[0], entry.radius, first, sweep)
