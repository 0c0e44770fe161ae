"""What is drawn over the piece: where passes start and in which order, moves in the air, zero, dimensions, clamps, findings.

Everything is in units of the picture's own, a hundredth of the piece's longer side, the places too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from vcarve.cuts.model import Cuts
from vcarve.errors import MOST_NAMED, Alike
from vcarve.plan.model import Plan
from vcarve.plane.arcs import curves, directions, left
from vcarve.plane.arrays import NM_PER_MM, Floats
from vcarve.view.svg import at, drawn, path, polygons_path, text

MARK = 2.3  # from the middle of a finding's mark to its point
MOST_NUMBERS = 40  # of more passes than this only every second, fifth, tenth and so on has its number

_NAMED = 8.7  # from the zero to the names of its axes
_AXES = "M0 0h7m-1.1 -.77l1.1 .77l-1.1 .77M0 0v-7m-.77 1.1l.77 -1.1l.77 1.1"
_ZERO = (
    f'<path class="lead halo" d="{_AXES}"/><path class="lead" d="{_AXES}"/><circle class="badge" r="1.7"/>'
    '<path class="solid" d="M0 0v-1.7a1.7 1.7 0 0 1 1.7 1.7zM0 0v1.7a1.7 1.7 0 0 1 -1.7 -1.7z"/>'
) + "".join(
    f'<circle class="badge" stroke-opacity="0" cx="{x}" cy="{y}" r="1.3"/>'
    + text(x, y + 0.78, name, "mark", "middle", size=2.2)
    for x, y, name in ((_NAMED, 0.0, "X"), (0.0, -_NAMED, "Y"))
)
_TICK = "m-.8 .8l1.6 -1.6"
_EVERY = [step * 10**power for power in range(9) for step in (1, 2, 5)]  # round numbers
_SQUARE = np.array([(-0.6, 0.6), (0.6, 0.6), (0.6, -0.6), (-0.6, -0.6)])
_ARROW = np.array([(2.6, 0.0), (1.0, 0.75), (1.0, -0.75)])  # along a pass from its start, and to its left
_REACHES = np.repeat((2.8, 4.6, 6.6), 9)
_TURNS = np.tile((0.0, 0.8, -0.8, 1.6, -1.6, 2.3, -2.3, 2.8, -2.8), 3)


def zero_mark(where: Floats, turn_deg: float) -> str:
    """Return the mark of the work origin with the directions of X and Y, seen from a piece that lies turned."""
    return drawn('<g transform="translate({}) rotate({})">{}</g>', at(*where), turn_deg, _ZERO)


def axes_ends(where: Floats, turn_deg: float) -> Floats:
    """Return where (2, 2) the names of X and Y stand."""
    turn = np.radians(turn_deg)
    x = np.array((np.cos(turn), -np.sin(turn)))
    return where + _NAMED * np.stack([x, left(x)])


def dimensions(wide: float, tall: float, words: Sequence[str], left_of: float, front: float) -> list[str]:
    """Return the piece's width below it and its height to its left, in words.

    ``left_of`` and ``front`` are how far something stands out of the piece there, to keep clear of.
    """
    x, y = wide / 2.0, tall / 2.0
    low, side = y + front + 6.0, -x - left_of - 6.0
    lines = drawn("M{} {}H{}M{} {}V{}", -x, low, x, side, -y, y)
    for sign in (-1.0, 1.0):
        lines += drawn("M{0} {1}V{2}M{0} {3}" + _TICK, sign * x, y + 1.6, low + 1.2, low)
        lines += drawn("M{1} {0}H{2}M{3} {0}" + _TICK, sign * y, -x - 1.6, side - 1.2, side)
    return [
        f'<path class="dim" d="{lines}"/>',
        text(0.0, low - 1.0, words[0], "soft", "middle"),
        text(side - 1.0, 0.0, words[1], "soft", "middle", turn=-90.0),
    ]


def pass_marks(
    cuts: Cuts, plan: Plan, unit_mm: float, zero: Floats, size: Floats, share: float, avoid: Floats
) -> list[str]:
    """Return the moves in the air up to the last pass, and where each pass starts, with its number and its direction.

    ``size`` (2,) is the piece's: numbers stay on it, clear of each other and of the places to ``avoid`` (n, 2); where there is
    no room for one it is left out.  Marks are drawn at this ``share`` of their size.
    """
    if plan.passes == 0:
        return []
    first = plan.pass_start[:-1]
    place = cuts.place_nm[:, :2] / (NM_PER_MM * unit_mm)
    bulge = np.where(plan.half_edge % 2 == 0, 1.0, -1.0) * cuts.bulge[plan.half_edge // 2]
    starts, ends = place[plan.begin[first]], place[plan.end[plan.pass_start[1:] - 1]]
    way = directions(curves(starts, place[plan.end[first]], bulge[first]), 0.0)
    flights = path(curves(np.vstack([zero, ends[:-1]]), starts, np.zeros(plan.passes)))
    heads = starts[:, None] + share * (_ARROW @ np.stack([way, left(way)], axis=1))
    parts = [
        f'<path class="flight halo" d="{flights}"/><path class="flight" d="{flights}"/>',
        f'<path class="badge" d="{polygons_path(ends[:, None] + share * _SQUARE)}"/>',
        f'<path class="badge" d="{polygons_path(heads)}"/>',
    ]
    every = next(n for n in _EVERY if n * MOST_NUMBERS >= plan.passes)
    # Where there are few, there is room for them.
    large = share if every == 1 else 1.4 * share
    taken = np.vstack([zero, ends, avoid])
    badges = {}
    for index in (*sorted({0, plan.passes - 1}), *range(every - 1, plan.passes - 1, every)):
        spot = None if index in badges else _free_spot(starts[index], way[index], taken, size, large)
        if spot is not None:  # otherwise its neighbours' numbers tell enough
            taken = np.vstack([taken, spot])
            badges[index] = _badge(starts[index], spot, str(index + 1), large)
    return [*parts, *(badges[index] for index in sorted(badges))]


def _free_spot(start: Floats, way: Floats, taken: Floats, size: Floats, share: float) -> Floats | None:
    """Return a place near the start for the pass's number, clear of other marks; None where all is taken."""
    turn = math.atan2(-way[1], -way[0]) + _TURNS
    spots = start + share * _REACHES[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    gaps = np.linalg.norm(spots[:, None] - taken, axis=2).min(axis=1)
    free = (np.abs(spots) <= size / 2.0 - 1.8 * share).all(axis=1) & (gaps >= 3.5 * share)
    return spots[free.argmax()] if free.any() else None


def _badge(start: Floats, spot: Floats, number: str, share: float) -> str:
    """Return a number in a disk, tied to the start it belongs to."""
    x, y = spot[0], -spot[1]
    size = {1: 2.3, 2: 2.0}.get(len(number), 1.6) * share
    return drawn(
        '<path class="lead" d="M{}L{}"/><circle class="badge" cx="{}" cy="{}" r="{}"/>{}',
        *(at(*start), at(*spot), x, y, 1.6 * share),
        text(x, y + 0.36 * size, number, "mark", "middle", size=size),
    )


def mark_letter(index: int) -> str:
    """Return the letter of a finding by its place in the list."""
    return chr(ord("A") + index % 26)


def findings_marks(groups: Sequence[Alike], unit_mm: float) -> list[str]:
    """Return a diamond with a letter, its point at each place found; findings told as one share a letter, in their order."""
    places = [
        (mark_letter(index), one.at_mm[0] / unit_mm, -one.at_mm[1] / unit_mm)
        for index, group in enumerate(groups)
        for one in group.findings[:MOST_NAMED]
        if one.at_mm is not None
    ]
    return [
        drawn('<path class="find" d="M{} {}l{r} {r}l-{r} {r}l-{r} -{r}z"/>', x, y - 2.0 * MARK, r=MARK)
        + text(x, y - MARK + 0.75, letter, "on", "middle", size=2.1)
        for letter, x, y in places
    ]


def land_mark(where: Floats, size: float) -> str:
    """Return the largest circle on the narrowest land, at its true size, on a ring of paper that shows where it is."""
    rings = (("land back", max(size / 2.0, 0.7)), ("land", size / 2.0))
    return "".join(
        drawn('<circle class="{}" cx="{}" cy="{}" r="{}"/>', name, where[0], -where[1], r)
        for name, r in rings
    )


def clamp_mark(clamp: Floats) -> str:
    """Return a clamp (left, front, width, height) from above."""
    x, y, w, h = clamp
    return drawn(
        '<path class="clamp" d="M{} {}h{w}v{h}h-{w}zl{w} {h}m-{w} 0l{w} -{h}"/>', x, -y - h, w=w, h=h
    )


def clamp_name(clamp: Floats, marked: Floats) -> str:
    """Return the word beside a clamp, behind it or, where a place (n, 2) there is marked, in front."""
    x, y = clamp[0] + clamp[2] / 2.0, -clamp[1] - clamp[3] - 0.4
    sides = (y, y + clamp[3] + 3.4)  # where the word's plate ends
    near = np.abs(marked[:, 0] - x) < 6.0
    y = next((y for y in sides if not (near & (np.abs(y + marked[:, 1] - 1.5) < 3.5)).any()), y)
    plate = drawn('<path class="badge" stroke="none" d="M{} {}h6.4v-2.6h-6.4z"/>', x - 3.2, y)
    return plate + text(x, y - 0.6, "clamp", "mark", "middle", size=2.1)
