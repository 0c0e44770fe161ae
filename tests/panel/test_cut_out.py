"""Tiles cut out of their board: each keeps its outline and its tabs, and nothing of a neighbour is touched."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely

from panel_files import panel_from
from vcarve.dryrun.check import check
from vcarve.dryrun.measure import outline_carved
from vcarve.pipeline import plan_panel
from vcarve.plane.region import polygon
from vcarve.proofing import carve_piece, outline_target_of
from vcarve.run import Made, PanelMade

STEP = 0.2
SETS = (
    "tile={width: 50, height: 40, thickness: 6}",
    "pattern={name: ichimatsu, pitch: 10}",
    "groove.depth=1",
    "panel={columns: 2, rows: 2}",
    "woods=[[beech, beech], [beech, beech]]",
    "boards=[{wood: beech, width: 175, height: 115, thickness: 6, kerf: 5, margin: 6}]",
    "cut-out={bit: em-3.175, tabs: 2, tab: 5 x 1 mm}",
    "tiles=[{column: 1, row: 1, grain: along-y}]",
)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> PanelMade:
    """Return a panel of four tiles on one board, one of them turned there."""
    return plan_panel(panel_from(tmp_path_factory.mktemp("panel"), *SETS))


def board(made: PanelMade) -> Made:
    """Return the board's program."""
    ((_, one, _),) = made.programs
    return one


def test_both_programs_are_clean_and_read_by_the_interpreter(made: PanelMade, rs274: Any) -> None:
    """The engraving and the cut-out of a board are silent in the interpreter and refused by no check."""
    one = board(made)
    assert one.cut_out is not None
    assert not made.refused
    assert {finding.code for finding in one.findings} <= {"cut-out-corner"}
    for text in (one.text, one.cut_out.text):
        assert rs274(text).accepted
    assert made.total_s == pytest.approx(one.times.total_s + one.cut_out.times.total_s)


def test_what_is_left_are_the_tiles_and_their_tabs(made: PanelMade) -> None:
    """Carved, each tile stands within a grid step of its outline; round it the board is cut through but for two tabs of 1 mm."""
    one = board(made)
    assert one.cut_out is not None
    carved = outline_carved(outline_target_of(one.layout), one.cut_out.reading.moves, STEP)
    x, y = np.meshgrid(carved.x_mm, carved.y_mm)
    for outline in one.layout.outlines:
        tile = polygon(outline)
        within = shapely.contains_xy(shapely.buffer(tile, -STEP), x, y)
        assert (carved.height_mm[within] == 0.0).all()
        ring = shapely.buffer(tile, 3.175 / 2.0)
        middle = shapely.line_interpolate_point(ring.exterior, np.arange(0.0, ring.exterior.length, 0.1))
        column, row = (
            np.rint((shapely.get_coordinates(middle) - (carved.x0_mm, carved.y0_mm)) / STEP).astype(int).T
        )
        along = carved.height_mm[row, column]
        through, tab = along < -5.99, np.isclose(along, -5.0, atol=0.01)
        assert np.count_nonzero(np.diff(np.append(tab, tab[0]).astype(int)) == 1) == 2
        assert through.mean() > 0.75


def test_engraved_grooves_stay(made: PanelMade) -> None:
    """Within the tiles the carved board is the same with the cut-out as without, and no groove is another width than computed."""
    one = board(made)
    alone, both = (carve_piece(run, step_mm=STEP) for run in (replace(one, cut_out=None), one))
    assert alone.surface is not None
    assert both.surface is not None
    assert both.measured is not None
    x, y = np.meshgrid(both.surface.x_mm, both.surface.y_mm)
    tiles = shapely.union_all([polygon(outline) for outline in one.layout.outlines])
    within = shapely.contains_xy(shapely.buffer(tiles, -STEP), x, y)
    assert (alone.surface.height_mm[within] == both.surface.height_mm[within]).all()
    assert both.surface.height_mm.min() < -6.0
    assert both.measured.measured > 50
    assert not {found.code for found in both.findings} & {"width-off"}


def test_a_way_that_comes_near_a_neighbour_is_told(made: PanelMade) -> None:
    """A cut-out that is set off by a millimetre cuts into tiles, and the dry run says so."""
    one = board(made)
    assert one.cut_out is not None
    target = outline_target_of(one.layout)

    beside = replace(target, outline=shapely.transform(target.outline, lambda xy: xy + np.array([1.0, 0.0])))
    codes = [
        {found.code for found in check(one.cut_out.reading, one.machine, aim)} for aim in (target, beside)
    ]

    assert codes[0] == set()
    assert "piece-cut" in codes[1]


def test_every_tile_of_a_board_is_cut_out_where_it_lies(made: PanelMade) -> None:
    """Four outlines of 50 by 40 mm, one of them turned, at least the kerf apart."""
    outlines = [polygon(outline) for outline in board(made).layout.outlines]
    sizes = sorted(tuple(np.round(np.subtract(one.bounds[2:], one.bounds[:2]), 6)) for one in outlines)
    assert sizes == [(40.0, 50.0), (50.0, 40.0), (50.0, 40.0), (50.0, 40.0)]
    assert min(a.distance(b) for k, a in enumerate(outlines) for b in outlines[k + 1 :]) >= 5.0 - 1e-9
