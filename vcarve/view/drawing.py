"""The plan as a picture: the piece with its grooves at their true width, the order of the passes, the moves in the air.

One unit is a hundredth of the piece's longer side: text, marks and margins are drawn in it, everything on the piece is
true to scale.  The piece keeps the tint of its wood in both themes.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

import numpy as np

from vcarve.errors import grouped
from vcarve.groove.model import Grooves
from vcarve.mount.flat import mount_of
from vcarve.network.model import Network
from vcarve.plane.arcs import curves
from vcarve.plane.arrays import NM_PER_MM, Floats, Ints
from vcarve.run import Made
from vcarve.view import look
from vcarve.view.facts import PICTURE, chosen, facts, kept, length
from vcarve.view.marks import (
    MARK,
    axes_ends,
    clamp_mark,
    clamp_name,
    dimensions,
    findings_marks,
    land_mark,
    mark_letter,
    pass_marks,
    zero_mark,
)
from vcarve.view.svg import drawn, num, path, polygons_path, region_path, svg, text
from vcarve.view.walls import slim_shapes, walls

TONES = 20
MOST_SIDES = 60_000  # beyond, grooves are drawn as plain strokes: a picture must stay small enough to open
SMALLEST_UNIT_MM = 0.6
SENTENCES = 6  # findings told under the picture
BANNER = 7.0  # height of the band that says what must not be cut, in units
TITLE = 4.2  # how large a title is, if it is not too long
SIGN = 1.3  # how wide a sign is in the sans faces most machines have: 0.52 of the letters' size
NARROWEST, OUT = 101.0, 19.0  # units that the signs and what they mean take, and that of the cut-out besides


def _colours(t: look.Theme) -> str:
    """Return a theme's rules."""
    return (
        f".paper{{fill:{t.paper}}}text{{fill:{t.ink}}}.soft{{fill:{t.ink_soft}}}"
        f".dim{{stroke:{t.ink_soft}}}.edge{{stroke:{t.ink}}}.air{{stroke:{t.air}}}"
    )


def _style(tint: str, share: float) -> str:
    """Return the style sheet, light first, the dark theme where it is preferred; ``share`` is the size of marks of passes."""
    day = look.LIGHT
    return look.themed(_colours) + (
        f"text{{font-family:{look.SANS};font-size:2.5px;font-variant-numeric:tabular-nums lining-nums}}"
        f".name{{font-family:{look.SERIF}}}"
        f".kerf{{fill:none;stroke:{look.mix(look.WOOD_AIR, look.WOOD_PAPER, 0.6)};stroke-linecap:round}}"
        f".tab{{fill:none;stroke:{tint}}}"
        f".wood{{fill:{tint}}}.grain{{fill:none;stroke:{look.mix(tint, look.GRAIN, 0.55)};opacity:.13}}"
        ".dim,.edge,.air,.flight,.band{fill:none;stroke-linecap:round;stroke-linejoin:round}"
        ".dim{stroke-width:.2}.air{stroke-width:.42;stroke-dasharray:0 1.15}"
        f".flight{{stroke:{look.WOOD_AIR};stroke-width:{num(0.42 * share)};stroke-dasharray:0 {num(1.15 * share)}}}"
        f".badge{{fill:{look.WOOD_PAPER};stroke:{look.WOOD_INK};stroke-width:.22}}"
        f".lead{{fill:none;stroke:{look.WOOD_INK};stroke-width:.22}}.solid{{fill:{look.WOOD_INK}}}"
        f".halo{{stroke:{look.WOOD_PAPER};stroke-width:{num(0.8 * share)};opacity:.5}}"
        f".land{{fill:none;stroke:{look.WOOD_INK};stroke-width:.2;stroke-dasharray:.7 .6}}"
        f".back{{stroke:{look.WOOD_PAPER};stroke-width:.5;stroke-dasharray:none}}"
        f".clamp{{fill:{look.WOOD_PAPER};fill-opacity:.55;stroke:{look.WOOD_INK};stroke-width:.25}}"
        f".find{{fill:{day.finding};stroke:{look.WOOD_PAPER};stroke-width:.25}}"
        # Numbers lie on badges that are paper-white by day and by night.
        f"text.mark{{fill:{look.WOOD_INK};font-weight:600}}text.on{{fill:{day.on_finding};font-weight:700}}"
    )


def grain(width: float, height: float, u: float) -> str:
    """Return a few quiet lines along X: wood, not plastic.  The same piece has the same grain."""
    rows = []
    y = -height / 2.0
    step = 0
    while y < height / 2.0:
        sway = math.sin(step * 1.7) * 0.9 * u
        ways = (-width / 2.0, y, width / 3.0, sway, width * 2.0 / 3.0, -sway, width, sway / 2)
        rows.append(drawn("M{} {}c{} {} {} {} {} {}", *ways))
        y += (1.6 + 1.3 * math.sin(step * 2.399) ** 2) * u
        step += 1
    return f'<path class="grain" stroke-width="{num(0.3 * u)}" d="{"".join(rows)}"/>'


def groove_layers(network: Network, grooves: Grooves, angle_deg: float, tip_mm: float) -> list[str]:
    """Return the grooves as layers of SVG: floors at their true width, lit walls, and the line at the bottom."""
    half = np.round(grooves.ends_half_mm, 6)
    depth, tone = np.unique(grooves.ends_depth_mm.mean(axis=0), return_inverse=True)
    deepest = float(grooves.depth_mm.max(initial=0.0)) or 1.0
    layers = _bands(network, half, tone, [look.indigo(value / deepest) for value in depth.tolist()], "floor")
    if len(network.ring_half_edge) <= MOST_SIDES:
        layers += _lit_walls(network, grooves, angle_deg, deepest)
    bottom = 0.5 * np.maximum(tip_mm, np.minimum(0.16 * half, 0.3))
    return layers + _bands(network, bottom, np.zeros_like(tone), [look.VALLEY], "bottom")


def _bands(network: Network, half_mm: Floats, tone: Ints, colours: Sequence[str], kind: str) -> list[str]:
    """Return bands along lines that are cut, ``half_mm`` (2, E) to either side at their ends, in the colours of ``tone`` (E,)."""
    slim = half_mm[0] != half_mm[1]
    layers, narrowing = [], []
    for number, colour in enumerate(colours):
        mine = network.cut & (tone == number)
        for width in np.unique(half_mm[0, mine & ~slim]).tolist():
            d = path(network.curves(np.flatnonzero(mine & ~slim & (half_mm[0] == width))))
            layers.append(
                f'<path class="band {kind}" stroke="{colour}" stroke-width="{num(2.0 * width, 3)}" d="{d}"/>'
            )
        if (edges := np.flatnonzero(mine & slim)).size:
            d = polygons_path(slim_shapes(network.curves(edges), half_mm[:, edges]))
            narrowing.append(f'<path class="slim {kind}" fill="{colour}" d="{d}"/>')
    return layers + narrowing


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
    return [
        f'<path fill="{look.wall(value / TONES)}" d="{data}"/>'
        for value in np.unique(step).tolist()
        if (data := polygons_path(found.corner_mm[step == value]))
    ]


def _cut_out(made: Made) -> list[str]:
    """Return the end mill's way round the piece at its true width, and the tabs in it in the tint of the wood."""
    out, cut_out = made.cut_out, made.job.cut_out
    if out is None or cut_out is None:
        return []
    cuts, depth = out.cuts, out.cuts.depth_mm
    place = cuts.place_nm[:, :2] / NM_PER_MM
    ways = curves(place[cuts.tail], place[cuts.head], cuts.bulge)
    top = depth.max() - cut_out.through_mm - cut_out.tab.height_mm
    ends = np.abs(np.stack([depth[cuts.tail], depth[cuts.head]]) - top)
    level, lower = (ends < 1e-5).all(axis=0), np.maximum(depth[cuts.tail], depth[cuts.head]) > top + 1e-5
    width = num(cut_out.bit.diameter_mm, 3)
    # Round ends of the kerf take from a tab what the bit takes.
    return [
        f'<path class="{kind}" stroke-width="{width}" d="{path(ways[rows])}"/>'
        for kind, rows in (("tab", level), ("kerf", lower))
        if rows.any()
    ]


def _legend(x: float, y: float, passes: bool, land: bool, out: bool) -> list[str]:
    """Return the signs and what they mean, in one row."""
    signs = [
        # On a chip of the wood, so that it shows by night as well.
        (
            f'<path class="wood" d="M0 -1.5h6v3h-6z"/><path stroke="{look.indigo(1.0)}" stroke-width="1.4" d="M0 0h6"/>',
            "groove",
            6.0,
        ),
        ('<path class="air" d="M0 0h6"/>', "in the air", 6.0),
    ]
    if passes:
        one = text(1.6, 0.75, "1", "mark", "middle", size=2.1)
        signs.append((f'<circle class="badge" cx="1.6" r="1.6"/>{one}', "where a pass starts", 3.2))
    if land:
        # Drawn dark on a paper-white spot, so that it shows by night as well.
        spot = '<circle class="badge" stroke="none" cx="1.6" r="1.7"/><circle class="land" cx="1.6" r="1.3"/>'
        signs.append((spot, "narrowest land", 3.4))
    if out:
        signs.append(('<path class="kerf" stroke-width="2" d="M1 0h4"/>', "cut-out", 6.0))
    parts = []
    for sign, words, wide in signs:
        parts.append(drawn('<g transform="translate({} {})">{}</g>', x, y, sign))
        parts.append(text(x + wide + 1.2, y + 0.85, words, "soft"))
        x += wide + 1.2 + 1.28 * len(words) + 2.6
    return parts


def plan_svg(made: Made) -> str:
    """Return the plan's picture as SVG text, true to scale; the same plan gives the same text.

    Findings that have a place are marked there by letter.
    """
    job, grooves, plan, findings = made.job, made.layout.grooves, made.plan, made.told
    size_mm = (job.piece.width_mm, job.piece.height_mm)
    u = max(max(size_mm) / 100.0, SMALLEST_UNIT_MM)
    # From here on in units.
    wide, tall = size = np.array(size_mm) / u
    zero = np.array(mount_of(job).zero_mm) / u
    clamps = np.array(job.clamps_mm).reshape(-1, 4) / u
    found = np.array([one.at_mm for one in findings if one.at_mm]).reshape(-1, 2) / u
    narrowest = np.array([grooves.narrowest_at_mm or ()]).reshape(-1, 2) / u
    # Many passes get smaller marks, so that the grooves stay in sight.
    share = min(1.0, max(0.55, (30.0 / max(plan.passes, 1)) ** 0.4))
    # How far clamps stand out of the piece on the left, at the front, on the right and at the back.
    low, high = -clamps[:, :2] - size / 2.0, clamps[:, :2] + clamps[:, 2:] - size / 2.0
    kerf = 0.0 if job.cut_out is None else job.cut_out.bit.diameter_mm / u
    past_left, past_front, past_right, past_back = np.hstack([low, high]).max(axis=0, initial=kerf).tolist()
    banner = BANNER if made.refused else 0.0
    # The arrows of X and Y stand beyond the piece there.
    left, right = 13.0 + past_left, max(7.0 + past_right, 11.0 if zero[0] > 0.0 else 0.0)
    top = max(14.0 + past_back + banner, 22.0 if zero[1] > 0.0 else 0.0)
    across = max(left + wide + right, NARROWEST + OUT * (made.cut_out is not None))
    x, y = -wide / 2.0 - left - (across - left - wide - right) / 2.0, -tall / 2.0 - top
    margin, foot = x + 4.0, tall / 2.0 + past_front + 12.5

    groups = grouped(findings)
    told = [f"{label.lower()}: {words}" for label, words in chosen(facts(made.layout, plan), PICTURE)]
    found_out = [f"{mark_letter(k)}, {group.word}: {group}" for k, group in enumerate(groups[:SENTENCES])]
    found_out += [f"and {len(groups) - SENTENCES} more"] * (len(groups) > SENTENCES)
    wrapper = textwrap.TextWrapper(int((across - 8.0) / SIGN), break_on_hyphens=False)
    caption = [line for words in (*told, *found_out) for line in wrapper.wrap(kept(words))]
    box = (x, y, across, top + tall + past_front + 28.0 + 3.6 * (len(caption) - 3))
    stock = f"{job.figures.size(*size_mm, job.piece.thickness_mm)}, {job.piece.wood.title}"
    shape = region_path(made.layout.field.outline)
    sides = [length(side, job.figures) for side in size_mm]
    avoid = np.vstack([found + np.array((0.0, MARK)), narrowest, axes_ends(zero, job.zero.turn_deg)])
    body = [
        drawn(
            '<g transform="scale({})"><rect class="paper" x="{}" y="{}" width="{}" height="{}"/>',
            num(u, 6),
            *box,
        ),
        text(
            margin,
            y + banner + 5.8,
            job.name,
            "name",
            size=min(TITLE, (across - 8.0) / (0.52 * len(job.name))),
        ),
        text(margin, y + banner + 9.8, stock, "soft"),
    ]
    if banner:
        body.append(drawn('<path class="find" d="M{} {}h{w}v{h}h-{w}z"/>', x, y, w=across, h=BANNER))
        body.append(
            text(x + across / 2.0, y + 0.68 * BANNER, "Must not be cut", "on", "middle", size=0.5 * BANNER)
        )
    body += [
        f'</g><clipPath id="piece"><path clip-rule="evenodd" d="{shape}"/></clipPath>',
        f'<path class="wood" fill-rule="evenodd" d="{shape}"/>',
        *_cut_out(made),
        '<g clip-path="url(#piece)">',
        grain(*size_mm, u),
        *groove_layers(made.network, grooves, job.bit.angle_deg, job.bit.tip_mm),
        f'</g><path class="edge" stroke-width="{num(0.28 * u)}" d="{shape}"/>',
        f'<g transform="scale({num(u, 6)})">',
        *map(clamp_mark, clamps),
        *pass_marks(made.cuts, plan, u, zero, size, share, avoid),
        zero_mark(zero, job.zero.turn_deg),
        *dimensions(wide, tall, sides, past_left, past_front),
        *findings_marks(groups, u),
        *(land_mark(where, grooves.narrowest_mm / u) for where in narrowest),
        *(clamp_name(clamp, found) for clamp in clamps),
        *_legend(margin, foot, plan.passes > 0, len(narrowest) > 0, made.cut_out is not None),
        *(text(margin, foot + 4.8 + 3.6 * i, line) for i, line in enumerate(caption)),
        "</g>",
    ]
    described = f"{'Must not be cut. ' if banner else ''}{stock}. {'. '.join(told)}."
    described += "".join(f" {group.first.sentence}" for group in groups)
    return svg([u * value for value in box], job.name, described, _style(job.piece.wood.tint, share), body)
