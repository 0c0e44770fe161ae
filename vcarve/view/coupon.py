"""A coupon's sheet to print, its empty table, and what there is to say of it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from html import escape

from vcarve.coupon.fit import angle_deg
from vcarve.coupon.strip import MARK_MM, Strip
from vcarve.groove.width import cone_line_mm, width_mm
from vcarve.job.bench import Bit
from vcarve.run import Made
from vcarve.view.facts import SUMMARY, Rows, chosen, facts, kept, length
from vcarve.view.fit import bit_line
from vcarve.view.look import palette_css
from vcarve.view.page import filled, part
from vcarve.view.sheet import FIRST
from vcarve.view.svg import drawn, svg, text

# Standard uncertainty of one width, by hand on wood (common practice), for saying how well a coupon will tell the angle.
CALIPER_MM = 0.02
AIR_MM = 20.0  # over the wood, for a first run


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
        ("strip", f"{_stock(made, strip)}, of the same board"),
        ("grooves", f"{len(strip.depth_mm) - 1}, {narrow} to {wide} wide as the bit is sold, and a mark beside the first"),
        ("tells", f"the angle to about ± {u_deg:.2f}° where each width is known to ± {figures.length(CALIPER_MM)}"),
        *(row for row in told if row[0] in ("zero", "speeds", "extents", "passes")),
    ]  # fmt: skip


def _stock(made: Made, strip: Strip) -> str:
    """Return how large an off-cut is wanted; with the zero on the bed its thickness makes the depths."""
    figures, piece = made.job.figures, made.job.piece
    size = f"{figures.size(strip.width_mm, strip.height_mm)} or larger"
    return (
        f"{size}, {figures.length(piece.thickness_mm)} thick as the piece"
        if made.job.zero.z == "bed"
        else size
    )


def u_angle_deg(bit: Bit, strip: Strip) -> float:
    """Return about how well the strip will tell the bit's angle (standard uncertainty)."""
    slope = cone_line_mm(bit)[1]
    return angle_deg(slope + CALIPER_MM / strip.spread**0.5) - angle_deg(slope)


def table_yaml(made: Made, strip: Strip) -> str:
    """Return the file that the widths are written into, every groove's still to come."""
    job, length = made.job, made.job.figures.length
    bit = {"angle": job.bit.angle_deg, "diameter": job.bit.diameter_mm, "shank": job.bit.shank_mm}
    tip, measure = ("tip-radius", "radius") if job.bit.tip_radius_mm else ("tip", "flat")
    bit |= {tip: job.bit.tip_radius_mm or job.bit.tip_mm, "flutes": job.bit.flutes}
    inch = job.figures.unit == "in"
    rows = []
    for number, depth in grooves(strip):
        deep, wide = (length(one, finer) for one, finer in ((depth, 4), (width_mm(job.bit, depth), 2)))
        rows.append(f"  - {{depth: {f'{deep},':<11} widths: []}}  # {number}: {wide}")
    some, off = ", ".join(length(one, 2) for one in (1.12, 1.10, 1.11)), length(0.02)
    return "\n".join(
        [
            "# Widths of a coupon's grooves.  Fill them in, then:  mizo fit THIS-FILE",
            f"title: {json.dumps(job.name, ensure_ascii=False)}",
            f"{bit_line(bit, job.figures)}  # as it is sold",
            f"units: {'inch' if inch else 'mm'}                   # of what is answered; a bare number is in mm here, too",
            f"read-to: {'0.0005 in' if inch else '0.01 mm'}            # the smallest step that caliper or loupe shows",
            f"# uncertainty: {off}      # standard uncertainty of a groove's width; left out, from the scatter",
            "# Widths alone do not tell a worn tip from a zero that is off.  One of these does, if you have measured it:",
            f"# tip: {{length: {length(0.1)}, uncertainty: {off}}}     # the {measure} of the tip, under a loupe",
            f"# deeper: {{length: {length(0.0)}, uncertainty: {off}}}    # how much deeper than the program says the bit went,",
            "#                                                 # by touching the strip's top again, beside the grooves",
            f"grooves:                    # from the mark on; widths such as [{some}], one left out stays []",
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
        "size": escape(kept(_stock(made, strip))),
        "level": job.zero.level,
        "air": length(AIR_MM, figures),
        "first": FIRST,
    }
    return filled("coupon", "", slots, palette_css(switched=False) + part("sheet.css"))
