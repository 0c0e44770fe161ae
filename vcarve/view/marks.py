"""What is drawn over the piece: where passes start and in which order, moves in the air, zero, dimensions, findings."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from vcarve.cuts.model import Cuts
from vcarve.errors import MOST_NAMED, Alike
from vcarve.plan.model import Plan
from vcarve.plane.arcs import curves, directions
from vcarve.quantity import Figures
from vcarve.view.svg import at, num, text
from vcarve.view.wording import length

MARK = 2.3  # from the middle of a finding's mark to its point, in units
MOST_NUMBERS = 40  # of more passes than this only every second, fifth, tenth and so on has its number


def zero_mark(where: tuple[float, float], u: float, turn_deg: float = 0.0) -> str:
    """Return the mark of the work origin with the directions of X and Y, seen from a piece that lies turned."""
    x, y = where[0], -where[1]
    r = 1.7 * u
    arrow = 7.0 * u
    head, side = 1.1 * u, 0.77 * u
    axes = (
        f"M{num(x)} {num(y)}h{num(arrow)}m{num(-head)} {num(-side)}l{num(head)} {num(side)}l{num(-head)} {num(side)}"
        f"M{num(x)} {num(y)}v{num(-arrow)}m{num(-side)} {num(head)}l{num(side)} {num(-head)}l{num(side)} {num(head)}"
    )
    quarter = f"a{num(r)} {num(r)} 0 0 1"
    halves = (
        f"M{num(x)} {num(y)}v{num(-r)}{quarter} {num(r)} {num(r)}z"
        f"M{num(x)} {num(y)}v{num(r)}{quarter} {num(-r)} {num(-r)}z"
    )

    def label(lx: float, ly: float, name: str) -> str:
        back = f'<circle class="badge" stroke-opacity="0" cx="{num(lx)}" cy="{num(ly)}" r="{num(1.3 * u)}"/>'
        return back + text(lx, ly + 0.78 * u, name, "mark", "middle", size=2.2 * u)

    mark = (
        f'<path class="lead halo" d="{axes}"/><path class="lead" d="{axes}"/>'
        f'<circle class="badge" cx="{num(x)}" cy="{num(y)}" r="{num(r)}"/><path class="solid" d="{halves}"/>'
        + label(x + arrow + 1.7 * u, y, "X")
        + label(x, y - arrow - 1.7 * u, "Y")
    )
    return f'<g transform="rotate({num(turn_deg)} {num(x)} {num(y)})">{mark}</g>' if turn_deg else mark


def dimensions(
    wide: float, tall: float, u: float, figures: Figures, left: float = 0.0, front: float = 0.0
) -> list[str]:
    """Return the piece's width below it and its height to its left, with units.

    ``left`` and ``front`` are how far something stands out of the piece there, to keep clear of.
    """
    x, y = wide / 2.0, tall / 2.0
    gap, line, tick = 1.6 * u, 6.0 * u, 0.8 * u
    low, side = y + front + line, -x - left - line

    def slash(px: float, py: float) -> str:
        return f"M{num(px - tick)} {num(py + tick)}l{num(2 * tick)} {num(-2 * tick)}"

    past = 1.2 * u
    path = (
        f"M{num(-x)} {num(y + gap)}V{num(low + past)}M{num(x)} {num(y + gap)}V{num(low + past)}"
        f"M{num(-x)} {num(low)}H{num(x)}M{num(-x - gap)} {num(-y)}H{num(side - past)}"
        f"M{num(-x - gap)} {num(y)}H{num(side - past)}M{num(side)} {num(-y)}V{num(y)}"
        + slash(-x, low)
        + slash(x, low)
        + slash(side, -y)
        + slash(side, y)
    )
    return [
        f'<path class="dim" stroke-width="{num(0.2 * u)}" d="{path}"/>',
        text(0.0, low - 1.0 * u, length(wide, figures), "soft", "middle"),
        text(side - 1.0 * u, 0.0, length(tall, figures), "soft", "middle", turn=-90.0),
    ]


def pass_marks(
    cuts: Cuts,
    plan: Plan,
    zero: tuple[float, float],
    size: tuple[float, float],
    u: float,
    avoid: Sequence[tuple[float, float]] = (),
) -> list[str]:
    """Return the moves in the air between passes, and where each pass starts, with its number and its direction.

    ``size`` is the piece's width and height: numbers stay on it, clear of each other and of the places to ``avoid``; where
    there is no room for one it is left out.
    """
    if plan.passes == 0:
        return []
    first, last = plan.pass_start[:-1], plan.pass_start[1:] - 1
    place = cuts.place_nm[:, :2] / 1e6
    bulge = np.where(plan.half_edge % 2 == 0, 1.0, -1.0) * cuts.bulge[plan.half_edge // 2]
    a, b = place[plan.begin[first]], place[plan.end[first]]
    starts = [
        ((x, y), (dx, dy))
        for (x, y), (dx, dy) in zip(
            a.tolist(), directions(curves(a, b, bulge[first]), 0.0).tolist(), strict=True
        )
    ]
    ends = [(x, y) for x, y in place[plan.end[last]].tolist()]
    flights = f"M{at(*zero)}L{at(*starts[0][0])}"
    for end, (start, _) in zip(ends, starts[1:], strict=False):
        flights += f"M{at(*end)}L{at(*start)}"
    flights += f"M{at(*ends[-1])}L{at(*zero)}"
    parts = [f'<path class="flight halo" d="{flights}"/><path class="flight" d="{flights}"/>']
    stops = "".join(
        f"M{num(x - 0.6 * u)} {num(-y - 0.6 * u)}h{num(1.2 * u)}v{num(1.2 * u)}h{num(-1.2 * u)}z"
        for x, y in ends
    )
    heads = "".join(_arrow(start, way, u) for start, way in starts)
    parts.append(f'<path class="badge" d="{stops}"/><path class="badge" d="{heads}"/>')
    every = _every(plan.passes)
    # Where there are few, there is room for them.
    large = u if every == 1 else 1.4 * u
    taken = [zero, *ends, *avoid]
    ends_first = sorted({0, plan.passes - 1}) + [i for i in range(1, plan.passes - 1) if (i + 1) % every == 0]
    badges = {}
    for index in ends_first:
        spot = _free_spot(*starts[index], taken, size, large)
        if spot is not None:  # otherwise its neighbours' numbers tell enough
            taken.append(spot)
            badges[index] = _badge(starts[index][0], spot, str(index + 1), large)
    return [*parts, *(badges[index] for index in sorted(badges))]


def _every(passes: int) -> int:
    """Return which passes are numbered: every one, every second, fifth, tenth and so on."""
    least = passes / MOST_NUMBERS
    power = int(10 ** math.floor(math.log10(max(least, 1.0))))
    every: int = next(step * power for step in (1, 2, 5, 10) if step * power >= least)
    return every


def _arrow(start: tuple[float, float], way: tuple[float, float], u: float) -> str:
    """Return a small arrow head just past the start, pointing the way the pass sets out."""
    (x, y), (dx, dy) = start, way
    tip, base, half = 2.6 * u, 1.0 * u, 0.75 * u
    return (
        f"M{at(x + tip * dx, y + tip * dy)}L{at(x + base * dx - half * dy, y + base * dy + half * dx)}"
        f"L{at(x + base * dx + half * dy, y + base * dy - half * dx)}Z"
    )


def _free_spot(
    start: tuple[float, float],
    way: tuple[float, float],
    taken: Sequence[tuple[float, float]],
    size: tuple[float, float],
    u: float,
) -> tuple[float, float] | None:
    """Return a place near the start for the pass's number, clear of other marks; None where all is taken."""
    behind = math.atan2(-way[1], -way[0])
    others = np.array(taken)
    for reach in (2.8, 4.6, 6.6):
        for turn in (0.0, 0.8, -0.8, 1.6, -1.6, 2.3, -2.3, 2.8, -2.8):
            x = start[0] + reach * u * math.cos(behind + turn)
            y = start[1] + reach * u * math.sin(behind + turn)
            if abs(x) > size[0] / 2.0 - 1.8 * u or abs(y) > size[1] / 2.0 - 1.8 * u:
                continue
            gap = float(np.hypot(others[:, 0] - x, others[:, 1] - y).min())
            if gap >= 3.5 * u:
                return x, y
    return None


def _badge(start: tuple[float, float], spot: tuple[float, float], number: str, u: float) -> str:
    """Return a number in a disk, tied to the start it belongs to."""
    x, y = spot[0], -spot[1]
    size = {1: 2.3, 2: 2.0}.get(len(number), 1.6) * u
    return (
        f'<path class="lead" d="M{at(*start)}L{at(*spot)}"/>'
        f'<circle class="badge" cx="{num(x)}" cy="{num(y)}" r="{num(1.6 * u)}"/>'
        + text(x, y + 0.36 * size, number, "mark", "middle", size=size)
    )


def mark_letter(index: int) -> str:
    """Return the letter of a finding by its place in the list."""
    return chr(ord("A") + index % 26)


def findings_marks(groups: Sequence[Alike], u: float) -> list[str]:
    """Return a diamond with a letter, its point at each place found; findings told as one share a letter, in their order."""
    parts = []
    r = MARK * u
    places = (
        (mark_letter(index), one.at_mm)
        for index, group in enumerate(groups)
        for one in group.findings[:MOST_NAMED]
    )
    for letter, place in places:
        if place is None:
            continue
        x, y = place[0], -place[1]
        parts.append(
            f'<path class="find" d="M{num(x)} {num(y - 2.0 * r)}l{num(r)} {num(r)}l{num(-r)} {num(r)}l{num(-r)} {num(-r)}z"/>'
            + text(x, y - r + 0.75 * u, letter, "on", "middle", size=2.1 * u)
        )
    return parts
