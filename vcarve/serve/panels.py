"""What the page is told of a panel's text: the panel and what is to be cut for it at once, its programs a moment later."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator

from vcarve.drawn import panel_files
from vcarve.job.panel import Panel
from vcarve.layout.stages import Kept
from vcarve.panel.movement import movement, movement_findings
from vcarve.panel.tiles import LaidPanel, field_mm, lay_panel, letter
from vcarve.quantity import counted, format_duration
from vcarve.run import PanelMade
from vcarve.serve.told import Told, judged, used_of
from vcarve.view.facts import TOOL, chosen, facts
from vcarve.view.panel import all_findings, bars_of, cutting_list, movement_rows, panel_svg, program_rows
from vcarve.view.section import section_svg

_PACKED = (2000, 1, 1, 0, 0, 0)  # the same panel gives the same bytes


def panel_look(panel: Panel, kept: Kept) -> Told:
    """Return all there is to see of a panel before its programs are planned."""
    laid = lay_panel(panel, kept)
    first, size = laid.sorts[0], panel.tile
    found = tuple(movement_findings(laid))
    return {
        "title": panel.name,
        "edges": sum(len(laid.of_sort(sort)) * one.network.edges for sort, one in enumerate(laid.sorts)),
        "stage": None,
        "panel": {
            "svg": panel_svg(laid, inline=True),
            "size": [size.width_mm, size.height_mm],
            "tiles": [
                {
                    "path": f"woods.{tile.row - 1}.{tile.column - 1}",
                    "at": [tile.x_mm, -tile.y_mm],
                    "word": f"row {tile.row}, column {tile.column}: {laid.wood(tile).title}, {letter(tile.sort)}",
                    "wood": laid.wood(tile).name,
                }
                for tile in laid.tiles
            ],
        },
        **judged(found),
        "facts": {
            "stock": [],
            "panel": [*cutting_list(laid), *movement_rows(laid)],
            "tool": chosen(facts(first), TOOL),
            "groove": [],
        },
        "answers": list(_answers(laid)),
        "section": section_svg(first.job, first.kinds),
        "used": used_of(first),
    }


def _answers(laid: LaidPanel) -> Iterator[tuple[str, str, str]]:
    """Yield the few figures that matter: a label, the figure, and what else belongs to it."""
    figures, bars, grid = laid.panel.figures, bars_of(laid), laid.panel.panel
    yield (
        "Panel",
        figures.size(*(field_mm(laid.panel) if bars is None else bars.outside)),
        f"{grid.columns} by {grid.rows} tiles",
    )
    for name, deep, wide in laid.sorts[0].kinds:
        yield f"Groove, {name}", f"{figures.length(wide)} wide", f"{figures.length(deep)} deep"
    yield "Sorts", counted(len(laid.sorts), "sort of tile", "sorts of tile"), "each cut by one program"
    if (found := movement(laid)) is not None:
        yield "Gap wanted", figures.at_least(found.gap_mm), f"it is {figures.length(grid.gap_mm)}"


def panel_planned(made: PanelMade, name: str) -> Told:
    """Return what the page is told of the programs of a panel; they are taken away together."""
    many = counted(len(made.programs), "program")
    return {
        "program": None,
        "name": name,
        "refused": made.refused,
        **judged(tuple(all_findings(made))),
        "facts": {"program": program_rows(made), "plan": []},
        "answers": [("Time", format_duration(made.total_s), "of cutting, all tiles"), ("Programs", many, "")],
        "sentences": [],
        "stage": None,
    }


def packed(made: PanelMade) -> bytes:
    """Return everything that 'mizo panel' writes into a folder, as a ZIP file."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as pack:
        for name, content in panel_files(made).items():
            pack.writestr(zipfile.ZipInfo(name, _PACKED), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()
