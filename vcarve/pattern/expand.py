"""From a pattern as written to the lines of one unit cell."""

from __future__ import annotations

import math
from itertools import pairwise, permutations

from vcarve.errors import InputError, Problem
from vcarve.pattern.file import LineEntry, Operation, PatternFile
from vcarve.pattern.model import KINDS, Line, Pattern, Point, rows
from vcarve.pattern.symmetry import (
    ALSO,
    Isometry,
    Lattice,
    SymmetryError,
    closure,
    glide,
    group_problem,
    mirror,
    rotation,
)
from vcarve.pattern.unit import united
from vcarve.plane.arcs import middles
from vcarve.plane.fit import arc_lines

_FAR = 3.0  # unit cells
_FLATTEST = 0.05  # area of the unit cell over the product of its sides
_MOST_SLENDER = 100.0  # longest over shortest side of the unit cell
_SHORTEST = 1e-6  # unit cells
# Pairs of a line and a copy of another one that may have to be held against each other.
MOST_MEETINGS = 20_000_000


def expand(written: PatternFile) -> Pattern:
    """Return the pattern that a file describes.

    Raises ``InputError`` with the key path of every problem; file and line are for the reader of the file to add.
    """
    lattice = Lattice(written.lattice.a1, written.lattice.a2)
    _check_lattice(written, lattice)
    operations = _operations(written, lattice)
    lines = _generators(written, lattice)
    _refuse_too_many(lines, len(operations), lattice)
    images = [operation.image(line) for operation in operations for line in lines]
    return Pattern(
        key=written.key,
        name=written.name,
        kanji=written.kanji,
        english=written.english,
        family=written.family,
        lattice=written.lattice.kind,
        group=written.group,
        unit=written.unit,
        a1=lattice.a1,
        a2=lattice.a2,
        lines=united(images, lattice),
        pitch_mm=written.pitch_range_mm,
        note=written.note,
        choice=written.choice,
        corner=written.corner,
    )


def isometry(operation: Operation) -> Isometry:
    """Return the map an operation stands for.  Raises ``SymmetryError`` for a mirror without a line."""
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
    sides = math.hypot(*lattice.a1) * math.hypot(*lattice.a2)
    if abs(lattice.area) <= _FLATTEST * sides:
        raise InputError(
            Problem(
                key="lattice.a2",
                want="a1 and a2 must point in different directions; these span no unit cell",
            )
        )
    slender = max(math.hypot(*a) / math.hypot(*b) for a, b in permutations((lattice.a1, lattice.a2)))
    if slender > _MOST_SLENDER:
        raise InputError(
            Problem(
                key="lattice.a2",
                want=f"one of a1 and a2 is {slender:.3g} times as long as the other; up to {_MOST_SLENDER:g} times is taken",
            )
        )
    if written.lattice.kind not in ALSO[lattice.kind]:
        raise InputError(
            Problem(
                key="lattice.kind",
                value=written.lattice.kind,
                want=f"a1 and a2 make a {lattice.kind} lattice; write that, or correct the vectors "
                "(exact expressions such as sqrt(3)/2, not rounded decimals)",
            )
        )


def _operations(written: PatternFile, lattice: Lattice) -> tuple[Isometry, ...]:
    problems, operations = [], []
    for index, operation in enumerate(written.operations):
        key = f"operations.{index}"
        try:
            move = isometry(operation)
        except SymmetryError as error:
            problems.append(Problem(key=key, want=str(error)))
            continue
        if lattice.carried_by(move):
            operations.append(move)
        else:
            problems.append(
                Problem(
                    key=key,
                    want=f"{_described(operation)} is a symmetry this {lattice.kind} lattice cannot have: "
                    "it does not carry a1 and a2 to repeats of the lattice",
                )
            )
    if problems:
        raise InputError(problems)
    try:
        everything = closure(tuple(operations), lattice)
    except SymmetryError as error:
        raise InputError(Problem(key="operations", want=str(error))) from None
    fault = group_problem(written.group, lattice, everything)
    if fault is not None:
        raise InputError(Problem(key="group", value=written.group, want=fault))
    return everything


def _generators(written: PatternFile, lattice: Lattice) -> list[Line]:
    problems: list[Problem] = []
    lines: list[Line] = []
    for index, entry in enumerate(written.lines):
        key = f"lines.{index}"
        made = _lines(entry, lattice)
        if any(math.dist(line.start, line.end) <= _SHORTEST * lattice.size for line in made):
            want = "this line has no length: its two ends are the same point, or nearly so"
            problems.append(Problem(key=key, want=want))
            continue
        curve = rows(made)
        spots = [*curve[:, :2].tolist(), *middles(curve).tolist(), *curve[:, 2:4].tolist()]
        far = max(spots, key=lambda point: math.hypot(*point))
        if math.hypot(*far) > _FAR * (math.hypot(*lattice.a1) + math.hypot(*lattice.a2)):
            problems.append(
                Problem(
                    key=key,
                    want=f"this line reaches ({far[0]:g}, {far[1]:g}), far outside the unit cell; draw it near the "
                    "origin, where the lattice repeats it",
                )
            )
            continue
        lines.extend(made)
    if problems:
        raise InputError(problems)
    return lines


def _refuse_too_many(lines: list[Line], operations: int, lattice: Lattice) -> None:
    """Count what the lines of a unit cell would have to be held against, before they are made."""
    longest = max(line.length for line in lines) / abs(lattice.area)
    copies = math.prod(2.0 * longest * math.hypot(*side) + 3.0 for side in (lattice.a1, lattice.a2))
    made = len(lines) * operations
    if made**2 * copies > MOST_MEETINGS:
        want = (
            f"{len(lines):,} lines under {operations} operations make {made:,} lines in one unit cell, the longest of which "
            f"reaches over {copies:,.0f} cells: too many to find where they meet; draw fewer or shorter lines"
        )
        raise InputError(Problem(key="lines", want=want))


def _lines(entry: LineEntry, lattice: Lattice) -> list[Line]:
    def placed(point: Point) -> Point:
        return lattice.point(*point) if entry.at == "lattice" else point

    feature = KINDS.index(entry.role)
    if entry.centre is not None:
        assert entry.radius is not None
        assert entry.from_deg is not None
        assert entry.to_deg is not None
        first, sweep = math.radians(entry.from_deg), math.radians(entry.to_deg - entry.from_deg)
        arcs = arc_lines(placed(entry.centre), entry.radius, first, sweep)
        triples = [((a, b), (c, d), bulge) for a, b, c, d, bulge in arcs.tolist()]
        return [Line(start=start, end=end, bulge=bulge, feature=feature) for start, end, bulge in triples]
    if entry.path is not None:
        points = [placed(point) for point in entry.path]
    else:
        assert entry.start is not None
        assert entry.end is not None
        points = [placed(entry.start), placed(entry.end)]
    return [Line(start=a, end=b, feature=feature) for a, b in pairwise(points)]
