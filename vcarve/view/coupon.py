"""A coupon's sheet to print, its empty table, and what there is to say of it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from html import escape

from vcarve.coupon.fit import angle_deg
from vcarve.coupon.strip import MARK_MM, Strip
from vcarve.groove.width import cone_line_mm, width_mm
from vcarve.job.bench import Bit
from vcarve.quantity import format_mm
from vcarve.run import Made
from vcarve.view.facts import SUMMARY, Rows, chosen, facts, kept, length
from vcarve.view.fit import bit_line
from vcarve.view.look import palette_css
from vcarve.view.page import filled, part
from vcarve.view.sheet import FIRST
from vcarve.view.svg import drawn, svg, text

# Standard uncertainty of one width, by hand on wood (common practice), for saying how well a coupon will tell the angle.
CALIPER_MM = 0.02


def grooves(strip: Strip) -> Iterator[tuple[int, float]]:
    """Yield number and depth of each groove to measure."""
    return enumerate(strip.depth_mm[1:], 1)


def coupon_rows(made: Made, strip: Strip) -> Rows:
    """Return what there is to say of a coupon and its program."""
    figures, bit = made.job.figures, made.job.bit
    narrow, wide = (
        figures.length(width_mm(bit, depth), 2) for depth in (min(strip.depth_mm), max(strip.depth_mm))
    )
    u_deg = u_angle_deg(bit, strip)
    told = [(label.lower(), words) for label, words in chosen(facts(made.layout, made.plan), SUMMARY)]
    return [
        ("strip", f"{figures.size(strip.width_mm, strip.height_mm)} or larger, of the same board"),
        ("grooves", f"{len(strip.depth_mm) - 1}, {narrow} to {wide} wide as the bit is sold, and a mark beside the first"),
        ("tells", f"the angle to about ± {u_deg:.2f}° where each width is known to ± {figures.length(CALIPER_MM)}"),
        *(row for row in told if row[0] in ("zero", "speeds", "extents", "passes")),
    ]  # fmt: skip


def u_angle_deg(bit: Bit, strip: Strip) -> float:
    """Return about how well the strip will tell the bit's angle (standard uncertainty)."""
    slope = cone_line_mm(bit)[1]
    return angle_deg(slope + CALIPER_MM / strip.spread**0.5) - angle_deg(slope)


def table_yaml(made: Made, strip: Strip) -> str:
    """Return the file that the widths are written into, every groove's still to come."""
    job, figures = made.job, made.job.figures
    bit = {"angle": job.bit.angle_deg, "diameter": job.bit.diameter_mm, "shank": job.bit.shank_mm}
    bit |= {"tip-radius": job.bit.tip_radius_mm} if job.bit.tip_radius_mm else {"tip": job.bit.tip_mm}
    rows = [
        f"  - {{depth: {format_mm(depth)}, widths: []}}  # {number}: {figures.length(width_mm(job.bit, depth), 2)}"
        for number, depth in grooves(strip)
    ]
    return "\n".join(
        [
            "# Widths of a coupon's grooves.  Fill them in, then:  mizo fit THIS-FILE",
            f"title: {json.dumps(job.name, ensure_ascii=False)}",
            f"{bit_line(bit | {'flutes': job.bit.flutes}, figures)}  # as it is sold",
            f"units: {'inch' if figures.unit == 'in' else 'mm'}",
            "read-to: 0.01 mm            # the smallest step that caliper or loupe shows",
            "# uncertainty: 0.02 mm      # standard uncertainty of a groove's width; left out, from the scatter",
            "# Widths alone do not tell a worn tip from a zero that is off.  One of these does, if you have measured it:",
            "# tip: {length: 0.1 mm, uncertainty: 0.02 mm}     # the flat of the tip, under a loupe",
            "# deeper: {length: 0 mm, uncertainty: 0.02 mm}    # how much deeper than the program says the bit went, by touching",
            "#                                                 # the strip's top again, beside the grooves",
            "grooves:                    # from the mark on; widths such as [1.12 mm, 1.10 mm, 1.11 mm], one left out stays []",
            "#                           # behind each its number, and its width if the bit is as sold and the zero right",
            *rows,
            "",
        ]
    )  # fmt: skip


def coupon_svg(made: Made, strip: Strip) -> str:
    """Return the strip from above, true to scale, its grooves numbered."""
    wide, high, bit = strip.width_mm, strip.height_mm, made.job.bit
    parts = [drawn('<rect class="wood" x="0" y="0" width="{}" height="{}"/>', wide, high)]
    for number, (x, depth) in enumerate(zip(strip.x_mm, strip.depth_mm, strict=True)):
        back = strip.front_mm + MARK_MM if number == 0 else strip.back_mm
        line = '<path class="cut" d="M{} {}V{}" stroke-width="{}"/>'
        parts.append(drawn(line, x, high - strip.front_mm, high - back, width_mm(bit, depth)))
        if number:
            parts.append(text(x, -2.0, str(number), anchor="middle"))
    parts.append(drawn('<path class="cut" d="M-4 {y}h8M0 {up}v8" stroke-width=".4"/>', y=high, up=high - 4.0))
    parts.append(text(1.5, high + 4.2, "X0 Y0"))
    told = f"The strip from above: {len(strip.depth_mm) - 1} grooves from left to right, and a short mark left of the first."
    box = (-5.0, -6.0, wide + 7.0, high + 12.0)
    # On the page the style is the page's own; the size stays true to scale.
    picture = svg(box, "Coupon", told, "", parts, inline=True)
    return picture.replace("<svg ", drawn('<svg width="{}mm" height="{}mm" ', box[2], box[3]), 1)


def coupon_sheet(made: Made, strip: Strip) -> str:
    """Return the sheet as a page: the strip, a table to fill, what to do."""
    job, figures = made.job, made.job.figures
    rows = "".join(
        f"<tr><td>{number}</td><td>{length(depth, figures)}</td><td>"
        f"{figures.number(width_mm(job.bit, depth), 2, trim=False)}</td><td></td><td></td><td></td></tr>"
        for number, depth in grooves(strip)
    )
    told = dict(chosen(facts(made.layout), SUMMARY))
    slots = {
        "title": escape(job.name),
        "lede": escape(
            kept(f"{job.piece.wood.title}. {told['Speeds'].capitalize()}. Widths in {figures.unit}.")
        ),
        "strip": coupon_svg(made, strip),
        "rows": rows,
        "size": escape(kept(figures.size(strip.width_mm, strip.height_mm))),
        "level": job.zero.level,
        "first": FIRST,
    }
    return filled("coupon", "", slots, palette_css(switched=False) + part("sheet.css"))
