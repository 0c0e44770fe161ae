"""Two small line drawings as SVG text: the groove's cross-section with its dimensions, and where zero is.

Both are drawn to scale from facts alone; colours come from classes the page's style sheet sets.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from vcarve.dryrun.tip import Tip
from vcarve.job.bench import Bit
from vcarve.job.records import Job
from vcarve.layout.stages import Kind
from vcarve.plane.arrays import Floats
from vcarve.quantity import format_number
from vcarve.run import DryRun
from vcarve.view.facts import length, unbroken, width_words
from vcarve.view.svg import drawn, text

_WIDE = 320.0
_LEFT = 34.0  # where the wood begins
_TOP = 46.0  # where the wood's surface is
_MOST_DEEP = 78.0
_MOST_BELOW = 54.0  # more wood than this below the tip is shown with a break
_AT_MOST = 3
_SIGN = 6.2  # how wide a sign of the words is, about
_BESIDE = 22.0  # from a groove to its depth, written to the right of it, and a little after it
_TEAR = "q6 -5 12 0t12 0" * 12


def section_svg(job: Job, kinds: Sequence[Kind]) -> str:
    """Return the cross-section of every kind of groove, all to one scale."""
    grooves, figures, bit = kinds[:_AT_MOST], job.figures, job.bit
    angle = format_number(bit.angle_deg, 1)
    thickness = job.piece.thickness_mm
    deep = max(grooves, key=lambda groove: groove.depth_mm)
    room = (_WIDE - _LEFT) / len(grooves)
    beside = _BESIDE + _SIGN * max(len(length(g.depth_mm, figures)) for g in grooves)
    scale = min(_MOST_DEEP / deep.depth_mm, (room - beside - 4.0) / max(g.width_mm for g in grooves))
    left = thickness - deep.depth_mm
    deepest = _TOP + deep.depth_mm * scale
    bottom = deepest + min(left * scale, _MOST_BELOW)
    top, walls, parts, told = "", "", "", []
    if left * scale > _MOST_BELOW:
        # The draughtsman's sign for wood left out: a gap between two wavering lines.
        y = deepest + _MOST_BELOW * 0.66
        parts += drawn('<path class="gap" d="M28 {}{}v6H28Z"/>', y - 3.0, _TEAR)
        parts += drawn('<path class="tear" d="M28 {}{tear}M28 {}{tear}"/>', y - 3.0, y + 3.0, tear=_TEAR)
    for number, groove in enumerate(grooves):
        middle = _LEFT + room * (number + 0.5) - beside / 2.0
        half, tip = groove.width_mm * scale / 2.0, _TOP + groove.depth_mm * scale
        side = middle + half + 14.0
        right = profile(bit, groove.depth_mm) * (scale, -scale) + (middle, tip)
        both = np.vstack([right[::-1] * (-1.0, 1.0) + (2.0 * middle, 0.0), right])
        line = "L".join(drawn("{} {}", *spot) for spot in both.tolist())
        top += f"L{line}"
        walls += f'<path class="wall" d="M{line}"/>'
        wide = unbroken(width_words(job, groove.depth_mm, groove.width_mm))
        high = length(groove.depth_mm, figures)
        parts += drawn(
            '<path class="help" d="M{} {y}V{up}M{} {y}V{up}M{} {}H{}"/>',
            *(middle - half, middle + half, middle + 4.0, tip, side + 4.0),
            y=_TOP - 2.0,
            up=_TOP - 18.0,
        )
        parts += _dimension(middle - half, _TOP - 14.0, middle + half, _TOP - 14.0)
        parts += text(middle, _TOP - 20.0, wide, anchor="middle")
        most = int((room - 4.0) / _SIGN)
        name = groove.name if len(groove.name) <= most else f"{groove.name[: most - 1]}…"
        begin = _LEFT + room * number + _SIGN * len(name) / 2.0
        parts += text(max(middle, begin), _TOP - 34.0, name, "name", "middle")
        parts += _dimension(side, _TOP, side, tip) + text(side + 6.0, (_TOP + tip) / 2.0 + 4.0, high)
        told.append(
            f"{groove.name}: {wide} wide, {high} deep, {length(thickness - groove.depth_mm, figures)} left below"
        )
        if number == 0:
            lean, reach = np.radians(bit.angle_deg) / 2.0, min(0.62 * (tip - _TOP), 30.0)
            dx, y = reach * np.sin(lean), tip - reach * np.cos(lean)
            arc = '<path class="dim" d="M{} {y}A{r} {r} 0 0 1 {} {y}"/>'
            parts += drawn(arc, middle - dx, middle + dx, y=y, r=reach)
            parts += text(middle - 6.0, tip + 11.0, f"{angle}°", anchor="end")
        if groove is deep:
            x, y = middle, deepest + (bottom - deepest) * 0.36 + 4.0
            words = f"{length(left, figures)} left" if left > 0 else "through"
            parts += _dimension(x, deepest, x, bottom)
            parts += text(x + 7.0, y, words) if x < _WIDE * 0.6 else text(x - 7.0, y, words, anchor="end")
    parts += _dimension(20.0, _TOP, 20.0, bottom) + text(
        14.0, (_TOP + bottom) / 2.0, length(thickness, figures), anchor="middle", turn=-90.0
    )
    label = escape(f"Cross-section to scale, {angle} degree bit. {'; '.join(told)}.")
    return drawn(
        '<svg class="section" viewBox="0 0 {wide} {}" role="img" aria-label="{}">'
        '<path class="wood" d="M{left} {low}V{top}{}L{wide} {top}V{low}Z"/>{}{}</svg>',
        *(bottom + 22.0, label, top, walls, parts),
        wide=_WIDE,
        left=_LEFT,
        low=bottom,
        top=_TOP,
    )


def profile(bit: Bit, depth_mm: float) -> Floats:
    """Return the right half of the bit from its tip up to ``depth_mm``: rows (n, 2) of radius and height above the tip."""
    tip = Tip.of(bit)
    reach = float(tip.reach_mm(np.array(depth_mm)))
    radius = np.unique([*np.linspace(0.0, min(tip.joint_mm, reach), 13), tip.flat_mm, reach])
    # Above the cutting diameter the wall is upright.
    return np.vstack([np.column_stack([radius, tip.rise(radius)]), (reach, depth_mm)])


def _dimension(x0: float, y0: float, x1: float, y1: float) -> str:
    """Return the line of a dimension, a little longer than it, with a stroke across each end."""
    ends = np.array([(x0, y0), (x1, y1)])
    line = ends + np.outer((-4.0, 4.0), np.sign(ends[1] - ends[0]))
    strokes = ends + np.array((-3.0, 3.0))
    return drawn(
        '<path class="dim" d="M{} {}L{} {}M{} {}l6 -6M{} {}l6 -6"/>', *line.ravel(), *strokes.ravel()
    )


def zero_svg(run: DryRun, size: float = 120.0) -> str:
    """Return the piece from above as it lies, with clamps, the work origin and the directions of X and Y; nothing without a job.

    ``size`` is the most it is wide, but for arrows that stand out of it.
    """
    pad = 14.0
    if run.layout is None:
        return ""
    rings = [run.setup.in_work(ring) for ring in run.layout.rings]
    clamps = [
        run.setup.in_work(np.array([(x, y), (x + w, y), (x + w, y + h), (x, y + h)]))
        for x, y, w, h in run.layout.job.clamps_mm
    ]
    low, high = np.vstack(rings + clamps).min(axis=0), np.vstack(rings + clamps).max(axis=0)
    scale = (size - 2 * pad) / float((high - low).max())
    wide, tall = ((high - low) * scale + 2 * pad).tolist()

    def closed(corners: Floats) -> str:
        """Return a closed line through corners (n, 2) in work coordinates."""
        spots = (corners - [low[0], high[1]]) * [scale, -scale] + pad
        return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in spots.tolist()) + "Z"

    held = "".join(closed(one) + closed(one[[0, 2]]) + closed(one[[1, 3]]) for one in clamps)
    x, y = pad - low[0] * scale, pad + high[1] * scale
    top, right = min(0.0, y - 30.0), max(wide, x + 35.0)  # where the arrows stand beyond the piece
    box = f'viewBox="0 {top:.1f} {right:.1f} {tall - top:.1f}" width="{right:.0f}" height="{tall - top:.0f}"'
    return (
        f'<svg class="zero" {box} role="img" aria-label="Where zero is on the piece">'
        f'<path class="wood" fill-rule="evenodd" d="{"".join(map(closed, rings))}"/>'
        f'<path class="clamp" d="{held}"/>'
        f'<path class="axis" d="M{x:.1f} {y:.1f}h24m-5 -3l5 3l-5 3M{x:.1f} {y:.1f}v-24m-3 5l3 -5l3 5"/>'
        f'<circle class="spot" cx="{x:.1f}" cy="{y:.1f}" r="5"/>'
        f'<path class="half" d="M{x:.1f} {y:.1f}v-5a5 5 0 0 1 5 5zM{x:.1f} {y:.1f}v5a5 5 0 0 1 -5 -5z"/>'
        f"{text(x + 26.0, y + 12.0, 'X')}{text(x - 5.0, y - 20.0, 'Y', anchor='end')}</svg>"
    )
