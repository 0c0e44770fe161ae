"""The plan as a picture: the piece with its grooves at their true width, the order of the passes, the moves in the air.

One unit ``u`` is a hundredth of the piece's longer side: text, marks and margins follow it, everything on the piece is
true to scale.  The piece keeps the tint of its wood in both themes.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Sequence

import numpy as np

from vcarve.cuts.model import Cuts
from vcarve.errors import Alike, Finding, grouped, refuses
from vcarve.groove.model import Grooves
from vcarve.job.records import Job
from vcarve.mount.flat import mount_of
from vcarve.network.model import Network
from vcarve.plan.model import Plan
from vcarve.plane.region import Region, rectangle
from vcarve.quantity import counted
from vcarve.view import look
from vcarve.view.marks import MARK, dimensions, findings_marks, mark_letter, pass_marks, zero_mark
from vcarve.view.svg import at, num, path, polygons_path, region_path, svg, text
from vcarve.view.walls import slim_shapes, walls
from vcarve.view.wording import NBSP, length, lines_cut, plain

TONES = 20
MOST_SIDES = 60_000  # beyond, grooves are drawn as plain strokes: a picture must stay small enough to open
SMALLEST_UNIT_MM = 0.6
SENTENCES = 6  # findings told under the picture
BANNER = 7.0  # height of the band that says what must not be cut, in units
SENTENCE_SIGNS = 62  # signs in a line under it, so that the narrowest picture holds them


def _colours(t: look.Theme) -> str:
    """Return a theme's rules."""
    return (
        f".paper{{fill:{t.paper}}}text{{fill:{t.ink}}}.soft{{fill:{t.ink_soft}}}.rule{{stroke:{t.rule}}}"
        f".dim,.off{{stroke:{t.ink_soft}}}.edge{{stroke:{t.ink}}}.air{{stroke:{t.air}}}"
    )


def _style(tint: str, u: float, small: float) -> str:
    """Return the style sheet, light first, the dark theme where it is preferred; ``small`` is the marks' own unit."""
    day = look.LIGHT
    fixed = (
        f"text{{font-family:{look.SANS};font-size:{num(2.5 * u)}px;font-variant-numeric:tabular-nums lining-nums}}"
        f".name{{font-family:{look.SERIF};font-size:{num(4.2 * u)}px}}"
        f".wood{{fill:{tint}}}.grain{{fill:none;stroke:{look.mix(tint, look.GRAIN, 0.55)};opacity:.13}}"
        ".dim,.off,.edge,.air,.flight,.floor,.valley,.rule{fill:none;stroke-linecap:round;stroke-linejoin:round}"
        f".valley{{stroke:{look.VALLEY}}}"
        f".air{{stroke-width:{num(0.42 * u)};stroke-dasharray:0 {num(1.15 * u)}}}"
        f".flight{{stroke:{look.WOOD_AIR};stroke-width:{num(0.42 * small)};stroke-dasharray:0 {num(1.15 * small)}}}"
        f".halo,.lead.halo{{stroke:{look.WOOD_PAPER};stroke-width:{num(0.8 * small)};opacity:.5}}"
        f".badge{{fill:{look.WOOD_PAPER};stroke:{look.WOOD_INK};stroke-width:{num(0.22 * u)}}}"
        f".lead{{fill:none;stroke:{look.WOOD_INK};stroke-width:{num(0.22 * u)}}}.solid{{fill:{look.WOOD_INK}}}"
        f".mark{{fill:{look.WOOD_INK};font-weight:600}}.land{{fill:none;stroke:{look.WOOD_INK};stroke-width:{num(0.2 * u)};"
        f"stroke-dasharray:{num(0.7 * u)} {num(0.6 * u)}}}"
        f".back{{stroke:{look.WOOD_PAPER};stroke-width:{num(0.5 * u)};stroke-dasharray:none}}"
        f".clamp{{fill:{look.WOOD_PAPER};fill-opacity:.55;stroke:{look.WOOD_INK};stroke-width:{num(0.25 * u)}}}"
        f".find{{fill:{day.finding};stroke:{look.WOOD_PAPER};stroke-width:{num(0.25 * u)}}}"
        f".on{{fill:{day.on_finding};font-weight:700}}"
        # Numbers lie on badges that are paper-white by day and by night.
        f"text.mark{{fill:{look.WOOD_INK}}}text.on{{fill:{day.on_finding}}}"
    )
    return look.themed(_colours) + fixed


def _grain(width: float, height: float, u: float) -> str:
    """Return a few quiet lines along X: wood, not plastic.  The same piece has the same grain."""
    rows = []
    y = -height / 2.0
    step = 0
    while y < height / 2.0:
        sway = math.sin(step * 1.7) * 0.9 * u
        third = width / 3.0
        rows.append(
            f"M{num(-width / 2.0)} {num(y)}c{num(third)} {num(sway)} {num(2 * third)} {num(-sway)} {num(width)} {num(sway / 2)}"
        )
        y += (1.6 + 1.3 * math.sin(step * 2.399) ** 2) * u
        step += 1
    return f'<path class="grain" stroke-width="{num(0.3 * u)}" d="{"".join(rows)}"/>'


def groove_layers(network: Network, grooves: Grooves, angle_deg: float, tip_mm: float) -> list[str]:
    """Return the grooves as layers of SVG: floors at their true width, lit walls, and the line at the bottom."""
    half, depth = np.round(grooves.ends_half_mm, 6), grooves.ends_depth_mm.mean(axis=0)
    bottom = np.maximum(tip_mm, np.minimum(0.16 * half, 0.3))
    deepest = float(grooves.depth_mm.max(initial=0.0)) or 1.0
    slim = network.cut & (half[0] != half[1])
    wide = {
        value: np.flatnonzero(network.cut & ~slim & (half[0] == value))
        for value in np.unique(half[0, network.cut & ~slim]).tolist()
    }
    layers = [
        f'<path class="floor" stroke="{look.indigo(float(depth[edges[0]]) / deepest)}" '
        f'stroke-width="{num(2.0 * value, 3)}" d="{path(network.curves(edges))}"/>'
        for value, edges in wide.items()
    ]
    for value in np.unique(depth[slim]).tolist():
        edges = np.flatnonzero(slim & (depth == value))
        shapes = polygons_path(slim_shapes(network.curves(edges), half[:, edges]))
        layers.append(f'<path class="slim" fill="{look.indigo(value / deepest)}" d="{shapes}"/>')
    if len(network.ring_half_edge) <= MOST_SIDES:
        layers.extend(_lit_walls(network, grooves, angle_deg, deepest))
    layers += [
        f'<path class="valley" stroke-width="{num(float(bottom[0, edges[0]]), 3)}" d="{path(network.curves(edges))}"/>'
        for edges in wide.values()
    ]
    if slim.any():
        shapes = polygons_path(slim_shapes(network.curves(np.flatnonzero(slim)), 0.5 * bottom[:, slim]))
        layers.append(f'<path fill="{look.VALLEY}" d="{shapes}"/>')
    return layers


def _lit_walls(network: Network, grooves: Grooves, angle_deg: float, deepest: float) -> list[str]:
    """Return the walls, one path for each tone: how much light a wall gets, and how deep its groove is."""
    found = walls(network, grooves)
    lean = math.radians(angle_deg) / 2.0
    first, second = (
        np.clip(light[2] * math.sin(lean) - found.toward @ np.array(light[:2]) * math.cos(lean), 0.0, 1.0)
        for light in (look.SUN, look.SECOND)
    )
    depth = grooves.ends_depth_mm.mean(axis=0)[found.edge] / deepest
    tone = np.clip(0.04 + 0.86 * (first + look.SECOND_SHARE * second) + 0.12 * (1.0 - depth), 0.0, 1.0)
    step = np.round(tone * TONES).astype(np.int64)
    layers = []
    for value in np.unique(step).tolist():
        data = polygons_path(found.corner_mm[step == value])
        if data:
            layers.append(f'<path fill="{look.wall(value / TONES)}" d="{data}"/>')
    return layers


def _caption(
    job: Job,
    network: Network,
    grooves: Grooves,
    plan: Plan,
    kinds: Sequence[tuple[str, float, float]],
    taper: str,
) -> list[str]:
    """Return the facts under the picture as lines of words."""
    bit, figures = job.bit, job.figures
    tip = (
        f", tip radius {length(bit.tip_radius_mm, figures)}"
        if bit.tip_radius_mm
        else f", tip {length(bit.tip_mm, figures)}"
        if bit.tip_mm
        else ""
    )
    sizes = [
        f"{name} {length(depth, figures)} deep, {length(width, figures)} wide" for name, depth, width in kinds
    ]
    sizes += [taper] if taper else []
    land = (
        f"narrowest land {length(grooves.narrowest_mm, figures)}"
        if grooves.narrowest_cell is not None
        else "no land left"
    )
    ways = f"lines {lines_cut(network.cut_mm, plan.cut_mm, plan.levels, figures)}; "
    ways += f"{figures.way(plan.recut_mm)} recut, " if plan.recut_mm >= 0.05 else ""
    ways += f"{figures.way(plan.rapid_mm)} in the air"
    return [
        f"{plain(bit.angle_deg, 2)}° bit, {length(bit.diameter_mm, figures)}{tip}; {'; '.join(sizes)}",
        re.sub(rf"(?<=[0-9]) (?={figures.unit}\b)", NBSP, ways),
        f"{counted(plan.passes, 'pass', 'passes')}, {counted(plan.lifts, 'lift')}; {land}",
        f"zero: {job.zero.corner}, {job.zero.level}",
        *([job.zero.turn] if job.zero.turn else []),
    ]


def _legend(x: float, y: float, u: float, passes: bool, land: bool) -> list[str]:
    """Return the signs and what they mean, in one row."""
    parts = []

    def word(sign: str, words: str, sign_wide: float) -> None:
        nonlocal x
        parts.append(sign)
        parts.append(text(x + sign_wide + 1.2 * u, y + 0.85 * u, words, "soft"))
        x += sign_wide + (1.2 + 1.28 * len(words) + 2.6) * u

    # On a chip of the wood, so that it shows by night as well.
    wood = f'<path class="wood" d="M{num(x)} {num(y - 1.5 * u)}h{num(6.0 * u)}v{num(3.0 * u)}h{num(-6.0 * u)}z"/>'
    tone = f'stroke="{look.indigo(1.0)}" stroke-width="{num(1.4 * u)}" stroke-linecap="butt"'
    word(f'{wood}<path fill="none" {tone} d="M{num(x)} {num(y)}h{num(6.0 * u)}"/>', "groove", 6 * u)
    word(f'<path class="air" d="M{num(x)} {num(y)}h{num(6.0 * u)}"/>', "in the air", 6 * u)
    if passes:
        badge = f'<circle class="badge" cx="{num(x + 1.6 * u)}" cy="{num(y)}" r="{num(1.6 * u)}"/>'
        one = text(x + 1.6 * u, y + 0.75 * u, "1", "mark", "middle", size=2.1 * u)
        word(badge + one, "where a pass starts", 3.2 * u)
    if land:
        # Drawn dark on a paper-white spot, so that it shows by night as well.
        spot = (
            f'<circle class="badge" stroke="none" cx="{num(x + 1.6 * u)}" cy="{num(y)}" r="{num(1.7 * u)}"/>'
        )
        ring = f'<circle class="land" cx="{num(x + 1.6 * u)}" cy="{num(y)}" r="{num(1.3 * u)}"/>'
        word(spot + ring, "narrowest land", 3.4 * u)
    return parts


def plan_svg(
    job: Job,
    network: Network,
    grooves: Grooves,
    cuts: Cuts,
    plan: Plan,
    kinds: Sequence[tuple[str, float, float]],
    *,
    outline: Region | None = None,
    taper: str = "",
    findings: Sequence[Finding] = (),
) -> str:
    """Return the plan's picture as SVG text, true to scale; the same plan gives the same text.

    ``outline`` is the piece's shape, a rectangle without it; ``kinds`` are name, depth and width (mm) of its grooves,
    ``taper`` says what their ends do; findings that have a place are marked there by number.
    """
    wide, tall = job.piece.width_mm, job.piece.height_mm
    u = max(max(wide, tall) / 100.0, SMALLEST_UNIT_MM)
    # Many passes get smaller marks, so that the grooves stay in sight.
    small = u * min(1.0, max(0.55, (30.0 / max(plan.passes, 1)) ** 0.4))
    shape = region_path(outline or rectangle(wide, tall))
    past = _past_the_piece(job)
    left, right, top, bottom = 13.0 * u + past[0], 7.0 * u + past[1], 14.0 * u + past[2], 28.0 * u + past[3]
    groups = grouped(findings)
    refused = refuses(findings)
    lettered = _lettered(groups)
    facts = [
        line
        for fact in _caption(job, network, grooves, plan, kinds, taper)
        for line in textwrap.wrap(fact, SENTENCE_SIGNS)
    ]
    caption = [*facts, *lettered]
    bottom += 3.6 * u * (len(caption) - 3)
    top += BANNER * u if refused else 0.0
    zero = mount_of(job).zero_mm
    # The arrows of X and Y stand beyond the piece there.
    if zero[0] > 0.0:
        right = max(right, 11.0 * u)
    if zero[1] > 0.0:
        top = max(top, 22.0 * u)
    room = max(78.0 * u - (left + wide + right), 0.0)
    box = (
        -wide / 2.0 - left - room / 2.0,
        -tall / 2.0 - top,
        wide + left + right + room,
        tall + top + bottom,
    )
    margin = box[0] + 4.0 * u
    title = job.name
    stock = f"{job.figures.size(wide, tall, job.piece.thickness_mm)}, {job.wood.title}"
    foot = tall / 2.0 + past[3] + 12.5 * u
    head = box[1] + (BANNER * u if refused else 0.0) + 5.8 * u
    narrowest = grooves.narrowest_at_mm
    body = [
        f'<rect class="paper" x="{num(box[0])}" y="{num(box[1])}" width="{num(box[2])}" height="{num(box[3])}"/>',
        text(margin, head, title, "name"),
        text(margin, head + 4.0 * u, stock, "soft"),
        *(_banner(box, u) if refused else []),
        f'<clipPath id="piece"><path clip-rule="evenodd" d="{shape}"/></clipPath>',
        f'<path class="wood" fill-rule="evenodd" d="{shape}"/>',
        '<g clip-path="url(#piece)">',
        _grain(wide, tall, u),
        *groove_layers(network, grooves, job.bit.angle_deg, job.bit.tip_mm),
        "</g>",
        f'<path class="edge" stroke-width="{num(0.28 * u)}" d="{shape}"/>',
        *_clamps(job, u),
        *pass_marks(
            cuts,
            plan,
            zero,
            (wide, tall),
            small,
            [
                *((f.at_mm[0], f.at_mm[1] + MARK * u) for f in findings if f.at_mm),
                *([narrowest] if narrowest else []),
            ],
        ),
        zero_mark(zero, u, job.zero.turn_deg),
        *dimensions(wide, tall, u, job.figures, past[0], past[3]),
        *findings_marks(groups, u),
        *([_land_mark(narrowest, grooves.narrowest_mm, u)] if narrowest else []),
        *_clamp_names(job, u, [f.at_mm for f in findings if f.at_mm]),
        *_legend(margin, foot, u, plan.passes > 0, narrowest is not None),
        *(text(margin, foot + (4.8 + 3.6 * i) * u, line) for i, line in enumerate(caption)),
    ]
    described = f"{'Must not be cut. ' if refused else ''}{stock}. {' '.join(facts)}."
    described += "".join(f" {group.first.sentence}" for group in groups)
    return svg(box, title, described, _style(job.wood.tint, u, small), body)


def _banner(box: tuple[float, float, float, float], u: float) -> list[str]:
    """Return the words along the top edge that a picture of what must not be cut bears."""
    x, y, wide, _ = box
    tall = BANNER * u
    return [
        f'<path class="find" d="M{num(x)} {num(y)}h{num(wide)}v{num(tall)}h{num(-wide)}z"/>',
        text(x + wide / 2.0, y + 0.68 * tall, "Must not be cut", "on", "middle", size=0.5 * tall),
    ]


def _lettered(groups: Sequence[Alike]) -> list[str]:
    """Return what was found, each under the letter that marks its places on the piece."""
    lines: list[str] = []
    for index, group in enumerate(groups[:SENTENCES]):
        told = f"{mark_letter(index)}, {group.word}: {group}"
        lines.extend(textwrap.wrap(told, SENTENCE_SIGNS))
    if len(groups) > SENTENCES:
        lines.append(f"and {len(groups) - SENTENCES} more")
    return lines


def _past_the_piece(job: Job) -> tuple[float, float, float, float]:
    """Return how far clamps stand out of the piece on the left, right, back and front (mm)."""
    piece = job.piece
    ways = (
        (-c.x_mm, c.x_mm + c.width_mm - piece.width_mm, c.y_mm + c.height_mm - piece.height_mm, -c.y_mm)
        for c in job.clamps
    )
    left, right, back, front = (max(0.0, *side) for side in zip((0.0,) * 4, *ways, strict=True))
    return left, right, back, front


def _land_mark(where: tuple[float, float], size: float, u: float) -> str:
    """Return the largest circle on the narrowest land, at its true size, on a ring of paper that shows where it is."""
    x, y = at(*where, 3).split()
    rings = (("land back", max(size / 2.0, 0.7 * u)), ("land", size / 2.0))
    return "".join(f'<circle class="{name}" cx="{x}" cy="{y}" r="{num(r, 3)}"/>' for name, r in rings)


def _clamps(job: Job, u: float) -> list[str]:
    """Return the clamps; they are measured from the piece's front left corner."""
    parts = []
    for clamp in job.clamps:
        x = clamp.x_mm - job.piece.width_mm / 2.0
        y = job.piece.height_mm / 2.0 - clamp.y_mm - clamp.height_mm
        w, h = clamp.width_mm, clamp.height_mm
        parts.append(
            f'<path class="clamp" d="M{num(x)} {num(y)}h{num(w)}v{num(h)}h{num(-w)}z'
            f'l{num(w)} {num(h)}m{num(-w)} 0l{num(w)} {num(-h)}"/>'
        )
    return parts


def _clamp_names(job: Job, u: float, marked: Sequence[tuple[float, float]]) -> list[str]:
    """Return the word beside each clamp, behind it or, where a place there is marked, in front."""
    parts = []
    for clamp in job.clamps:
        x = clamp.x_mm + (clamp.width_mm - job.piece.width_mm) / 2.0
        back = job.piece.height_mm / 2.0 - clamp.y_mm - clamp.height_mm - 0.4 * u
        sides = (back, back + clamp.height_mm + 3.4 * u)  # where the word's plate ends
        free = [
            y
            for y in sides
            if not any(abs(px - x) < 6.0 * u and -2.0 * u < y + py < 5.0 * u for px, py in marked)
        ]
        y = (free or sides)[0]
        plate = f"M{num(x - 3.2 * u)} {num(y)}h{num(6.4 * u)}v{num(-2.6 * u)}h{num(-6.4 * u)}z"
        parts.append(
            f'<path class="badge" stroke="none" d="{plate}"/>'
            + text(x, y - 0.6 * u, "clamp", "mark", "middle", size=2.1 * u)
        )
    return parts
