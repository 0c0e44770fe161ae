"""A panel as it will hang on the wall, what has to be cut for it, and the sheet with both."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from html import escape
from itertools import groupby
from typing import NamedTuple

import numpy as np

from vcarve.errors import Finding, grouped, of_each
from vcarve.layout.stages import Layout
from vcarve.panel.boards import Load
from vcarve.panel.movement import movement
from vcarve.panel.tiles import LaidPanel, field_mm, letter, turned
from vcarve.quantity import Figures, counted, format_duration
from vcarve.run import PanelMade
from vcarve.view import look
from vcarve.view.drawing import grain, groove_layers
from vcarve.view.facts import STOCK, TOOL, Rows, chosen, facts, kept, pattern_sentence
from vcarve.view.page import filled, part
from vcarve.view.sheet import FIRST, GENERAL, table
from vcarve.view.svg import drawn, num, region_path, svg

MANY = 8  # columns of the map from which its squares are small
MARGIN = 0.06  # round the panel, of its longer side


class Bars(NamedTuple):
    """A frame's measures in mm: its outside, the rebate in which the tiles lie, and what is seen between its bars."""

    outside: tuple[float, float]
    rebate: tuple[float, float]
    sight: tuple[float, float]


def bars_of(laid: LaidPanel) -> Bars | None:
    """Return the measures of a panel's frame, whose rebate is a gap larger than all tiles; ``None`` where there is none."""
    grid = laid.panel.panel
    if grid.frame is None:
        return None
    width, rebate = grid.frame.width_mm, grid.frame.rebate_mm
    within, sight, outside = ([side + more for side in field_mm(laid.panel)] for more in (
        2.0 * grid.gap_mm, 2.0 * (grid.gap_mm - rebate), 2.0 * (grid.gap_mm - rebate + width),
    ))  # fmt: skip
    return Bars((outside[0], outside[1]), (within[0], within[1]), (sight[0], sight[1]))


# --- in words ------------------------------------------------------------------------------------------------------------


def cutting_list(laid: LaidPanel) -> Rows:
    """Return what has to be cut to size: tiles of each wood, and the bars of the frame."""
    panel, figures = laid.panel, laid.panel.figures
    size = panel.tile
    by_wood: dict[tuple[str, str], int] = {}
    for tile in laid.tiles:
        key = laid.wood(tile).title, tile.grain
        by_wood[key] = by_wood.get(key, 0) + 1
    measures = figures.size(size.width_mm, size.height_mm, size.thickness_mm)
    rows = [
        (
            counted(many, "tile"),
            f"{measures}, {wood}, grain along its {'width' if grain == 'along-x' else 'height'}",
        )
        for (wood, grain), many in by_wood.items()
    ]
    bars, frame = bars_of(laid), panel.panel.frame
    if bars is None or frame is None:
        return rows
    wood = laid.frame_wood.title
    section = figures.size(frame.width_mm, frame.thickness_mm)
    sides = [bars.outside, bars.sight]
    for many, long, short in (
        [(4, sides[0][0], sides[1][0])]
        if sides[0][0] == sides[0][1]
        else [(2, long, short) for long, short in zip(*sides, strict=True)]
    ):
        said = f"{figures.length(long)} long outside, mitred at 45° to {figures.length(short)} inside"
        rows.append((counted(many, "bar"), f"{said}; {section}, {wood}"))
    if frame.rebate_mm:
        covered = frame.rebate_mm - panel.panel.gap_mm
        what = f"{figures.length(frame.rebate_mm)} wide, {figures.length(size.thickness_mm)} deep or more"
        rows.append(("rebate", f"{what}; it covers {figures.length(covered)} of the outer tiles"))
    return rows


def panel_rows(made: PanelMade) -> Rows:
    """Return what there is to say of a panel: its size, its programs, its cutting list, how it moves."""
    laid, figures = made.laid, made.laid.panel.figures
    grid, bars = laid.panel.panel, bars_of(laid)
    size = field_mm(laid.panel) if bars is None else bars.outside
    rows = [
        (
            "panel",
            f"{figures.size(*size)}, {grid.columns} by {grid.rows} tiles, gap {figures.length(grid.gap_mm)}",
        ),
        *cutting_list(laid),
    ]
    return [*rows, *program_rows(made), *movement_rows(laid)]


def program_rows(made: PanelMade) -> Rows:
    """Return how long each program takes, how often it is run and what it cuts; and what boards are not needed."""
    panel, rows = made.laid.panel, []
    for k, (name, one, times) in enumerate(made.programs):
        often = "" if times == 1 else f", run {times} times"
        lying = f"; {_lying(made.loads[k], panel.figures)}" if made.loads else ""
        rows.append((f"{name}.nc", f"{format_duration(one.times.total_s)}{often}{lying}"))
        if one.cut_out is not None and one.job.cut_out is not None:
            mill = one.job.cut_out.bit.name or "the end mill"
            took = f"{format_duration(one.cut_out.times.total_s)}{often} with {mill}, after the engraving"
            rows.append((f"{name}-cut-out.nc", took))
    used = {load.name for load in made.loads}
    for number, board in enumerate(panel.boards, 1):
        if f"board {number}" not in used:
            spare = panel.figures.size(board.width_mm, board.height_mm, board.thickness_mm)
            rows.append((f"board {number}", f"{spare}, {board.wood.title}: no tile is cut out of it"))
    return [*rows, ("in all", f"{format_duration(made.total_s)} of cutting")]


def _lying(load: Load, figures: Figures) -> str:
    """Return which tiles a program cuts, in the order in which they lie."""
    if load.name.startswith("jig"):
        return counted(len(load.lying), "tile") + " at a time"
    rows = groupby(load.lying, key=lambda one: one.y_mm)
    letters = " / ".join(" ".join(letter(one.tile.sort) for one in row) for _, row in rows)
    size = figures.size(load.board.width_mm, load.board.height_mm, load.board.thickness_mm)
    return f"out of {size}, from the front left: {letters}"


def bench_rows(laid: LaidPanel) -> Rows:
    """Return what to set up at the mill: bit, machine and zero, and the speeds in each wood."""
    jobs = {
        layout.job.piece.wood.title: [row for where in (TOOL, STOCK) for row in chosen(facts(layout), where)]
        for layout in laid.sorts
    }
    same = [row for row in next(iter(jobs.values())) if row[0] not in ("Piece", "Speeds")]
    speeds = [(wood, text) for wood, rows in jobs.items() for label, text in rows if label == "Speeds"]
    return [("Machine", laid.panel.machine.name), *same, *speeds]


def movement_rows(laid: LaidPanel) -> Iterator[tuple[str, str]]:
    """Yield how tiles move, sort by sort of wood, and what room that takes; nothing where the panel says nothing of moisture."""
    found, figures, panel = movement(laid), laid.panel.figures, laid.panel
    if found is None:
        return
    seen = set()
    for tile in laid.tiles:
        at = tile.row - 1, tile.column - 1, "xy".index(tile.moves_across)
        wood = laid.wood(tile).name
        if (wood, tile.moves_across) in seen or not np.isfinite(found.grow_mm[at]):
            continue
        seen.add((wood, tile.moves_across))
        up, down = (figures.length(float(side[at]), 2) for side in (found.grow_mm, found.shrink_mm))
        across = "height" if tile.moves_across == "y" else "width"
        yield (
            f"{laid.wood(tile).name} moves",
            f"{across} of a tile {up} more in the dampest season, {down} less in the driest",
        )
    ways = (" × ".join(figures.number(float(one), 2) for one in way) for way in found.field_mm)
    more, less = ways
    yield (
        "all tiles",
        f"{more} {figures.unit} more in the dampest season, {less} {figures.unit} less in the driest",
    )
    gap = f"a gap of {figures.at_least(found.gap_mm)} or more takes the growth; it is {figures.length(panel.panel.gap_mm)}"
    if panel.panel.frame is not None and panel.panel.frame.rebate_mm:
        gap += f"; a rebate of {figures.at_least(found.rebate_mm)} or more stays covered; it is "
        gap += figures.length(panel.panel.frame.rebate_mm)
    yield "room", gap


# --- the picture ---------------------------------------------------------------------------------------------------------


def panel_svg(laid: LaidPanel, *, inline: bool = False) -> str:
    """Return the panel from the front, true to scale, every tile in the tint of its wood."""
    panel, bars = laid.panel, bars_of(laid)
    wide, high = field_mm(panel) if bars is None else bars.outside
    u = max(wide, high) / 100.0
    size = panel.tile.width_mm, panel.tile.height_mm
    groups: dict[tuple[int, int, bool], str] = {}
    lying = []
    for tile in laid.tiles:
        key = tile.sort, tile.turn_deg, tile.moves_across == "x"
        name = f"t{list(groups).index(key) if key in groups else len(groups)}"
        if key not in groups:
            # Turned line by line, so that light falls on it from where it always does.
            layout = laid.sorts[tile.sort]
            lying_so = replace(layout, network=turned(layout.network, tile.turn_deg // 90))
            groups[key] = _tile(lying_so, name, upright=key[2], size=size, u=u)
        lying.append(drawn('<use href="#{}" x="{}" y="{}"/>', name, tile.x_mm, -tile.y_mm))
    w, h = field_mm(panel) if bars is None else bars.rebate
    back = drawn('<rect class="back" x="{}" y="{}" width="{}" height="{}"/>', -w / 2.0, -h / 2.0, w, h)
    body = ["<defs>", *groups.values(), "</defs>", back, *lying]
    if bars is not None:
        body += _frame(bars, laid.frame_wood.tint, u)
    rim = MARGIN * max(wide, high)
    box = (-wide / 2.0 - rim, -high / 2.0 - rim, wide + 2.0 * rim, high + 2.0 * rim)
    paper = drawn('<rect class="paper" x="{}" y="{}" width="{}" height="{}"/>', *box)
    woods = " and ".join(dict.fromkeys(laid.wood(tile).title for tile in laid.tiles))
    told = f"{panel.panel.columns} by {panel.panel.rows} tiles of {woods}, {panel.figures.size(wide, high)}."
    if inline:
        return svg(box, panel.name, told, "", body, inline=True)
    style = look.themed(lambda theme: f".paper{{fill:{theme.paper}}}") + _style(u)
    return svg(box, panel.name, told, style, [paper, *body])


def _style(u: float) -> str:
    return (
        f".back{{fill:{look.VALLEY}}}.edge{{fill:none;stroke:{look.WOOD_INK};stroke-width:{num(0.12 * u, 3)};opacity:.6}}"
        f".grain{{fill:none;stroke:{look.GRAIN};opacity:.12}}.band{{fill:none;stroke-linecap:round;stroke-linejoin:round}}"
    )


def _tile(layout: Layout, name: str, *, upright: bool, size: tuple[float, float], u: float) -> str:
    """Return one sort of tile as a group that is drawn wherever one lies; ``upright`` has its grain run up."""
    job, shape = layout.job, region_path(layout.field.outline)
    lines = grain(*(size[::-1] if upright else size), u)
    return "\n".join(
        [
            f'<g id="{name}"><clipPath id="{name}c"><path d="{shape}"/></clipPath>',
            f'<path fill="{job.piece.wood.tint}" d="{shape}"/><g clip-path="url(#{name}c)">',
            f'<g transform="rotate(90)">{lines}</g>' if upright else lines,
            *groove_layers(layout.network, layout.grooves, job.bit.angle_deg, job.bit.tip_mm),
            f'</g><path class="edge" d="{shape}"/></g>',
        ]
    )


def _frame(bars: Bars, tint: str, u: float) -> Iterator[str]:
    """Yield the four bars, lit from the upper left, with their mitres."""
    (a, b), (c, d) = (np.array(bars.outside) / 2.0, np.array(bars.sight) / 2.0)
    sides = (
        ((-a, -b), (a, -b), (c, -d), (-c, -d), 0.10),
        ((a, -b), (a, b), (c, d), (c, -d), 0.0),
        ((-a, b), (a, b), (c, d), (-c, d), -0.14),
        ((-a, -b), (-a, b), (-c, d), (-c, -d), 0.04),
    )
    for *corners, light in sides:
        colour = look.mix(tint, look.WOOD_PAPER if light > 0 else look.GRAIN, abs(light))
        way = "L".join(f"{num(x)} {num(y)}" for x, y in corners)
        yield f'<path fill="{colour}" d="M{way}Z"/><path class="edge" d="M{way}Z"/>'


# --- the sheet -----------------------------------------------------------------------------------------------------------


def panel_sheet(made: PanelMade) -> str:
    """Return the sheet as a page: the panel, which tile lies where, what is cut and how long it takes."""
    laid = made.laid
    cells = "".join(
        f"<tr>{''.join(f'<td>{letter(tile.sort)}{_laid_how(tile.turn_deg)}</td>' for tile in row)}</tr>"
        for _, row in groupby(laid.tiles, key=lambda tile: tile.row)
    )
    rows = panel_rows(made)
    sorts = [(f"{letter(sort)}", _sort(laid, sort)) for sort in range(len(laid.sorts))]
    found = [
        ("must not be cut" if g.first.severity == "refuse" else "caution", str(g))
        for g in grouped(all_findings(made))
    ]
    slots = {
        "title": escape(laid.panel.name),
        "lede": escape(kept(dict(rows)["panel"])),
        "picture": panel_svg(laid, inline=True),
        "map": cells,
        "size": "many" if laid.panel.panel.columns > MANY else "",
        "sorts": table(sorts),
        "rows": table(rows[1:]),
        "mill": table(bench_rows(laid)),
        "found": f'<div class="found">{table(found)}</div>' if found else "",
        "general": "".join(f"<li><b>{name}.</b> {text}</li>" for name, text in GENERAL),
        "first": FIRST,
    }
    u = max(field_mm(laid.panel)) / 100.0
    return filled("panel", "", slots, look.palette_css(switched=False) + part("sheet.css") + _style(u))


def _sort(laid: LaidPanel, sort: int) -> str:
    """Return what is cut of the tiles of a sort, in words."""
    layout = laid.sorts[sort]
    mirrored = ", mirrored" if layout.job.pattern.mirror else ""
    many = len(laid.of_sort(sort))
    return f"{many} of {layout.job.piece.wood.title}: {pattern_sentence(layout)}{mirrored}"


def _laid_how(turn_deg: int) -> str:
    return f" <small>turned {turn_deg}°</small>" if turn_deg else ""


def all_findings(made: PanelMade) -> Iterator[Finding]:
    """Yield the findings of the panel, and those of its programs with the names of those that have them."""
    yield from made.findings
    yield from of_each((name, one.told) for name, one, _ in made.programs)
