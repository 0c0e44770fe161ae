"""Two small line drawings as SVG text: the groove's cross-section with its dimensions, and where zero is.

Both are drawn to scale from facts alone; colours come from classes the page's style sheet sets.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

import numpy as np

from vcarve.job.bench import Bit
from vcarve.job.records import Job
from vcarve.layout.stages import Kind
from vcarve.plane.arrays import Floats
from vcarve.quantity import Figures
from vcarve.run import DryRun
from vcarve.view.wording import length, plain

_WIDE = 320.0
_TOP = 46.0  # where the wood's surface is
_MOST_DEEP = 78.0
_MOST_BELOW = 54.0  # more wood than this below the tip is shown with a break
_AT_MOST = 3
_SIGN = 6.2  # how wide a sign of the words is, about
_BESIDE = 22.0  # from a groove to its depth, written to the right of it, and a little after it


def section_svg(job: Job, kinds: Sequence[Kind]) -> str:
    """Return the cross-section of every kind of groove, all to one scale."""
    grooves, figures, bit = kinds[:_AT_MOST], job.figures, job.bit
    room = (_WIDE - 34.0) / len(grooves)
    deepest = max(g.depth_mm for g in grooves)
    widest = max(g.width_mm for g in grooves)
    beside = _BESIDE + _SIGN * max(len(length(g.depth_mm, figures)) for g in grooves)
    scale = min(_MOST_DEEP / deepest, (room - beside - 4.0) / widest)
    thickness = job.piece.thickness_mm
    broken = (thickness - deepest) * scale > _MOST_BELOW
    bottom = _TOP + deepest * scale + (_MOST_BELOW if broken else (thickness - deepest) * scale)
    middles = [34.0 + room * (i + 0.5) - beside / 2.0 for i in range(len(grooves))]

    parts = [_wood(grooves, middles, scale, bit, bottom)]
    for groove, middle in zip(grooves, middles, strict=True):
        parts.append(_dimensions(groove, middle, scale, figures))
    parts.append(_angle(grooves[0], middles[0], scale, bit))
    if broken:
        parts.append(_break(_TOP + deepest * scale + _MOST_BELOW * 0.66))
    parts.append(_upright(20.0, _TOP, bottom, length(thickness, figures), turned=True))
    deep = max(range(len(grooves)), key=lambda i: grooves[i].depth_mm)
    left = thickness - grooves[deep].depth_mm
    tip = _TOP + grooves[deep].depth_mm * scale
    words = f"{length(left, figures)} left" if left > 0 else "through"
    x = middles[deep]
    parts.append(_upright(x, tip, bottom, ""))
    at, anchor = (x + 7.0, "start") if x < _WIDE * 0.6 else (x - 7.0, "end")
    y = tip + (bottom - tip) * 0.36 + 4.0
    parts.append(f'<text x="{at:.1f}" y="{y:.1f}" text-anchor="{anchor}">{words}</text>')
    told = "; ".join(
        f"{g.name}: {length(g.width_mm, figures)} wide, {length(g.depth_mm, figures)} deep, "
        f"{length(thickness - g.depth_mm, figures)} left below"
        for g in grooves
    )
    label = escape(f"Cross-section to scale, {plain(bit.angle_deg, 1)} degree bit. {told}.", quote=True)
    tall = bottom + 22.0
    return (
        f'<svg class="section" viewBox="0 0 {_WIDE:g} {tall:.1f}" role="img" aria-label="{label}">'
        + "".join(parts)
        + "</svg>"
    )


def profile(bit: Bit, depth_mm: float, steps: int = 12) -> list[tuple[float, float]]:
    """Return right half of the bit from its tip up: (radius, height above the tip), ending at ``depth_mm``.

    A flat tip is a step of half its width, a rounded one an arc tangent to the cone; above the cutting diameter
    the wall is upright.
    """
    half = math.radians(bit.angle_deg) / 2.0
    points = [(0.0, 0.0)]
    if bit.tip_radius_mm > 0.0:
        radius = bit.tip_radius_mm
        for i in range(1, steps + 1):
            turn = (math.pi / 2.0 - half) * i / steps
            points.append((radius * math.sin(turn), radius * (1.0 - math.cos(turn))))
    elif bit.tip_mm > 0.0:
        points.append((bit.tip_mm / 2.0, 0.0))
    x, y = points[-1]
    reach = bit.diameter_mm / 2.0
    shoulder = y + (reach - x) / math.tan(half)
    if shoulder >= depth_mm:
        points = [p for p in points if p[1] < depth_mm] or [(0.0, 0.0)]
        x, y = points[-1]
        points.append((x + (depth_mm - y) * math.tan(half), depth_mm))
        return points
    return [*points, (reach, shoulder), (reach, depth_mm)]


def _wood(grooves: Sequence[Kind], middles: list[float], scale: float, bit: Bit, bottom: float) -> str:
    path = [f"M34 {bottom:.1f}V{_TOP:g}"]
    walls = []
    for groove, middle in zip(grooves, middles, strict=True):
        right = [
            (middle + r * scale, _TOP + (groove.depth_mm - h) * scale)
            for r, h in profile(bit, groove.depth_mm)
        ]
        left = [(2 * middle - x, y) for x, y in right[::-1]]
        line = "L".join(f"{x:.2f} {y:.2f}" for x, y in left + right)
        path.append(f"L{line}")
        walls.append(f'<path class="wall" d="M{line}"/>')
    path.append(f"L{_WIDE:g} {_TOP:g}V{bottom:.1f}Z")
    return f'<path class="wood" d="{"".join(path)}"/>{"".join(walls)}'


def _dimensions(groove: Kind, middle: float, scale: float, figures: Figures) -> str:
    half = groove.width_mm * scale / 2.0
    side = middle + half + 14.0
    tip = _TOP + groove.depth_mm * scale
    return (
        _across(middle - half, middle + half, _TOP - 14.0, length(groove.width_mm, figures))
        + f'<text class="name" x="{middle:.1f}" y="{_TOP - 34:.1f}" text-anchor="middle">{escape(groove.name)}</text>'
        + f'<path class="help" d="M{middle + 4:.1f} {tip:.1f}H{side + 4:.1f}"/>'
        + _upright(side, _TOP, tip, length(groove.depth_mm, figures))
    )


def _angle(groove: Kind, middle: float, scale: float, bit: Bit) -> str:
    """Return the bit's angle: an arc between the walls, and the figure beside the tip where the wood is empty."""
    deep = groove.depth_mm * scale
    lean = math.radians(bit.angle_deg) / 2.0
    reach = min(0.62 * deep, 30.0)
    dx, dy = reach * math.sin(lean), reach * math.cos(lean)
    tip = _TOP + deep
    return (
        f'<path class="dim" d="M{middle - dx:.1f} {tip - dy:.1f}A{reach:.1f} {reach:.1f} 0 0 1 '
        f'{middle + dx:.1f} {tip - dy:.1f}"/>'
        f'<text x="{middle - 6:.1f}" y="{tip + 8:.1f}" text-anchor="end">{plain(bit.angle_deg, 1)}°</text>'
    )


def _across(x0: float, x1: float, y: float, words: str) -> str:
    return (
        f'<path class="help" d="M{x0:.1f} {_TOP - 2:.1f}V{y - 4:.1f}M{x1:.1f} {_TOP - 2:.1f}V{y - 4:.1f}"/>'
        f'<path class="dim" d="M{x0 - 4:.1f} {y:.1f}H{x1 + 4:.1f}'
        f'M{x0 - 3:.1f} {y + 3:.1f}l6 -6M{x1 - 3:.1f} {y + 3:.1f}l6 -6"/>'
        f'<text x="{(x0 + x1) / 2:.1f}" y="{y - 6:.1f}" text-anchor="middle">{words}</text>'
    )


def _upright(x: float, y0: float, y1: float, words: str, turned: bool = False) -> str:
    middle = (y0 + y1) / 2.0
    text = (
        f'<text transform="translate({x - 6:.1f} {middle:.1f}) rotate(-90)" text-anchor="middle">{words}</text>'
        if turned
        else f'<text x="{x + 6:.1f}" y="{middle + 4:.1f}">{words}</text>'
    )
    return (
        f'<path class="dim" d="M{x:.1f} {y0 - 4:.1f}V{y1 + 4:.1f}'
        f'M{x - 3:.1f} {y0 + 3:.1f}l6 -6M{x - 3:.1f} {y1 + 3:.1f}l6 -6"/>{text}'
    )


def _break(y: float) -> str:
    """Return the draughtsman's sign for wood left out: a gap between two wavering lines."""
    wave = "q6 -5 12 0t12 0" * 12
    return (
        f'<path class="gap" d="M28 {y - 3:.1f}{wave}v6H28Z"/>'
        f'<path class="tear" d="M28 {y - 3:.1f}{wave}M28 {y + 3:.1f}{wave}"/>'
    )


def clamps_mm(job: Job) -> list[list[float]]:
    """Return each clamp's front left corner in piece coordinates and its size along X and Y."""
    half_x, half_y = job.piece.width_mm / 2.0, job.piece.height_mm / 2.0
    return [[one.x_mm - half_x, one.y_mm - half_y, one.width_mm, one.height_mm] for one in job.clamps]


def zero_svg(run: DryRun, size: float = 120.0) -> str:
    """Return the piece from above as it lies, with clamps, the work origin and the directions of X and Y; nothing without a job.

    ``size`` is the most it is wide.
    """
    pad = 14.0
    if run.layout is None:
        return ""
    rings = [run.setup.in_work(ring) for ring in run.layout.rings]
    low, high = np.vstack(rings).min(axis=0), np.vstack(rings).max(axis=0)
    scale = (size - 2 * pad) / float((high - low).max())
    wide, tall = ((high - low) * scale + 2 * pad).tolist()

    def closed(corners: Floats) -> str:
        """Return a closed line through corners (n, 2) in work coordinates."""
        spots = (corners - [low[0], high[1]]) * [scale, -scale] + pad
        return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in spots.tolist()) + "Z"

    held = ""
    for x0, y0, w, h in clamps_mm(run.layout.job):
        corners = run.setup.in_work(np.array([(x0, y0), (x0 + w, y0), (x0 + w, y0 + h), (x0, y0 + h)]))
        held += closed(corners) + closed(corners[[0, 2]]) + closed(corners[[1, 3]])
    x, y = pad - low[0] * scale, pad + high[1] * scale
    return (
        f'<svg class="zero" viewBox="0 0 {wide:.1f} {tall:.1f}" width="{wide:.0f}" height="{tall:.0f}" role="img" '
        'aria-label="Where zero is on the piece">'
        f'<path class="wood" fill-rule="evenodd" d="{"".join(map(closed, rings))}"/>'
        f'<path class="clamp" d="{held}"/>'
        f'<path class="axis" d="M{x:.1f} {y:.1f}h24m-5 -3l5 3l-5 3M{x:.1f} {y:.1f}v-24m-3 5l3 -5l3 5"/>'
        f'<circle class="spot" cx="{x:.1f}" cy="{y:.1f}" r="5"/>'
        f'<path class="half" d="M{x:.1f} {y:.1f}v-5a5 5 0 0 1 5 5zM{x:.1f} {y:.1f}v5a5 5 0 0 1 -5 -5z"/>'
        f'<text x="{x + 26:.1f}" y="{y + 12:.1f}">X</text>'
        f'<text x="{x - 5:.1f}" y="{y - 20:.1f}" text-anchor="end">Y</text>'
        "</svg>"
    )
