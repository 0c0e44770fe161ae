"""Tiles on boards: they find room, keep their distance, and one program cuts all of them as each would be cut alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from panel_files import CHECKER, panel_from
from vcarve.errors import InputError
from vcarve.job.bench import woods
from vcarve.job.panel import load_panel
from vcarve.panel.boards import Load, called, close_findings, lay_load, nest
from vcarve.panel.tiles import LaidPanel, lay_panel
from vcarve.pipeline import plan_panel
from vcarve.proofing import carve_piece
from vcarve.view.panel import all_findings

BOARDS = (
    "boards=[{wood: walnut-black, width: 450 mm, height: 120 mm, thickness: 12 mm}, "
    "{wood: maple-sugar, width: 330 mm, height: 215 mm, thickness: 12 mm}]"
)


def boxes(laid: LaidPanel, load: Load) -> np.ndarray:
    """Return left, front, right and back of every tile on a board."""
    size = laid.panel.tile
    found = []
    for one in load.lying:
        wide, high = (size.height_mm, size.width_mm) if one.turned else (size.width_mm, size.height_mm)
        found.append((one.x_mm, one.y_mm, one.x_mm + wide, one.y_mm + high))
    return np.array(found)


@settings(deadline=None, derandomize=True, max_examples=25)
@given(
    size=st.tuples(st.integers(20, 60), st.integers(20, 60)),
    board=st.tuples(st.integers(60, 300), st.integers(60, 300)),
    margin=st.sampled_from([0.0, 5.0, 7.25]),
    kerf=st.sampled_from([0.5, 3.175, 8.0]),
    upright=st.sets(st.tuples(st.integers(1, 3), st.integers(1, 2)), max_size=6),
)
def test_tiles_lie_on_the_board_apart_from_each_other(
    tmp_path_factory: Any, size: Any, board: Any, margin: float, kerf: float, upright: Any
) -> None:
    """Law: every tile is placed once, or some are told to find no place; they keep margin and kerf and lie along the grain."""
    odd = ", ".join(f"{{column: {column}, row: {row}, grain: along-y}}" for column, row in upright)
    panel = panel_from(
        tmp_path_factory.mktemp("p"),
        "panel={columns: 3, rows: 2}",
        "woods=[[beech, beech, beech], [beech, beech, beech]]",
        f"tile={{width: {size[0]}, height: {size[1]}, thickness: 12}}",
        f"boards=[{{wood: beech, width: {board[0]}, height: {board[1]}, thickness: 12, margin: {margin}, kerf: {kerf}}}]",
        f"tiles=[{odd}]",
        "pattern={name: hishi, pitch: 17}",
        "groove.depth=0.5",
    )
    laid = lay_panel(panel)
    try:
        (load,) = nest(laid)
    except InputError as error:
        event(str(error).split(";")[0])
        return

    assert sorted((one.tile.column, one.tile.row) for one in load.lying) == sorted(
        (t.column, t.row) for t in laid.tiles
    )
    assert all(one.turned == (one.tile.grain == "along-y") for one in load.lying)
    found = boxes(laid, load)
    assert found[:, :2].min() >= margin - 1e-9
    assert (found[:, 2:] <= np.array(board) - margin + 1e-8).all()
    for k, one in enumerate(found):
        for other in found[k + 1 :]:
            apart = np.maximum(other[:2] - one[2:], one[:2] - other[2:])
            assert apart.max() >= kerf - 1e-8


def test_a_board_that_would_take_the_rest_takes_it(tmp_path: Path) -> None:
    """Tiles that find no place are counted, and boards as named, within the machine's travel, take as many as is said."""
    small = "boards=[{wood: walnut-black, width: 450, height: 120, thickness: 12}, "
    small += "{wood: maple-sugar, width: 215, height: 115, thickness: 12}]"
    laid = lay_panel(panel_from(tmp_path, small))
    with pytest.raises(InputError) as caught:
        nest(laid)
    said = str(caught.value)
    assert "3 of 5 tiles of maple-sugar find no place; a board of" in said
    assert said.endswith("takes 2 of them")
    wide, high = said.partition("a board of ")[2].split(" × ")[:2]
    assert float(wide) <= laid.panel.machine.travel.x_mm
    assert float(high) <= laid.panel.machine.travel.y_mm
    also = small[:-1] + 2 * f", {{wood: maple-sugar, width: {wide}, height: {high}, thickness: 12}}" + "]"

    assert [len(load.lying) for load in nest(lay_panel(panel_from(tmp_path, also)))] == [4, 2, 2, 1]


def test_a_board_has_the_lines_of_its_tiles_where_they_lie(tmp_path: Path) -> None:
    """Each tile's vertices lie on the board where it lies, turned ones turned; its grooves are as wide, its land as large."""
    laid = lay_panel(
        panel_from(
            tmp_path,
            BOARDS,
            "tiles=[{column: 1, row: 1, grain: along-y}]",
            "pattern={name: sayagata, pitch: 14}",
        )
    )
    loads = nest(laid)
    assert [len(load.lying) for load in loads] == [4, 5]
    load = loads[1]
    whole = lay_load(laid, load)
    low = 0
    for one in load.lying:
        part = laid.sorts[one.tile.sort].network
        x, y = (-part.y_nm, part.x_nm) if one.turned else (part.x_nm, part.y_nm)
        mine = slice(low, low + len(x))
        to = np.array([one.x_mm + 50.0 - 165.0, one.y_mm + 50.0 - 107.5]) * 1e6
        assert np.abs(whole.network.x_nm[mine] - x - to[0]).max() <= 1
        assert np.abs(whole.network.y_nm[mine] - y - to[1]).max() <= 1
        low += len(x)
    parts = [laid.sorts[one.tile.sort] for one in load.lying]
    assert whole.network.cut_mm == pytest.approx(sum(part.network.cut_mm for part in parts), abs=1e-6)
    assert whole.grooves.land_mm == pytest.approx(
        np.concatenate([part.grooves.land_mm for part in parts]), abs=1e-3
    )
    assert whole.grooves.half_width_mm == pytest.approx(
        np.concatenate([part.grooves.half_width_mm for part in parts])
    )


def test_tapers_stay_on_a_board(tmp_path: Path) -> None:
    """Loose ends rise on a board as they do on a tile."""
    laid = lay_panel(
        panel_from(tmp_path, BOARDS, "groove.taper=5", "pattern={name: izutsu-tsunagi, pitch: 25, margin: 6}")
    )
    load = nest(laid)[0]
    depths = lay_load(laid, load).grooves.ends_depth_mm
    alone = np.hstack([laid.sorts[one.tile.sort].grooves.ends_depth_mm for one in load.lying])
    assert (alone[:, alone.max(axis=0) > 0].min(axis=0) == 0.0).any()
    assert depths == pytest.approx(alone, abs=1e-6)


@pytest.mark.slow
def test_the_programs_of_boards_are_right(tmp_path: Path, rs274: Any) -> None:
    """What is written for two boards is silent in the interpreter, clean in the dry run, and carves the widths of one tile."""
    small = BOARDS.replace("450", "240").replace("120", "70").replace("330", "180").replace("215", "120")
    sets = (
        small,
        "tile={width: 50, height: 50, thickness: 12}",
        "groove.depth=1",
        "pattern={name: kaku-asanoha, pitch: 25}",
    )
    made = plan_panel(panel_from(tmp_path, *sets))
    assert not made.refused
    assert [(name, times) for name, _, times in made.programs] == [
        ("board-1-walnut-black", 1),
        ("board-2-maple-sugar", 1),
    ]
    for _, one, _ in made.programs:
        assert not one.findings
        run = rs274(one.text)
        assert run.accepted
        carved = carve_piece(one, step_mm=0.2)
        assert carved.measured is not None
        assert carved.measured.measured > 100
        assert abs(carved.measured.worst_mm) < 0.05


def test_a_panel_of_three_patterns_is_planned_below_its_parts(tmp_path: Path) -> None:
    """One program for a board is no slower by the clock than its tiles one by one."""
    path = tmp_path / "panel.yaml"
    panel_from(tmp_path, BOARDS, "groove.depth=1", "pattern={name: hishi, pitch: 20}")
    boards = plan_panel(load_panel(str(path), [BOARDS, "groove.depth=1", "pattern={name: hishi, pitch: 20}"]))
    tiles = plan_panel(load_panel(str(path), ["groove.depth=1", "pattern={name: hishi, pitch: 20}"]))
    assert boards.total_s < tiles.total_s


def test_grooves_that_reach_the_next_tile_are_told(tmp_path: Path) -> None:
    """Lines that end at a tile's edge are cut half a groove beyond it: with 1 mm of depth and 90 degrees, 1 mm."""
    sets = ("groove.depth=1", "pattern={name: hishi, pitch: 20}")
    for kerf, said in ((0.4, ["tiles-too-close"]), (0.99, ["tiles-too-close"]), (1.0, []), (4.0, [])):
        close = BOARDS.replace("thickness: 12 mm", f"thickness: 12 mm, kerf: {kerf}")
        laid = lay_panel(panel_from(tmp_path, close, *sets))
        found = list(close_findings(laid, nest(laid)[0]))
        assert [one.code for one in found] == said
    close = BOARDS.replace("thickness: 12 mm", "thickness: 12 mm, kerf: 0.4")
    (told,) = close_findings(laid := lay_panel(panel_from(tmp_path, close, *sets)), nest(laid)[0])
    assert "reach 1 mm beyond the edge of a tile, and tiles lie 0.4 mm apart" in told.sentence
    inside = lay_panel(
        panel_from(tmp_path, close, "groove.depth=1", "pattern={name: hishi, pitch: 20, margin: 3}")
    )
    assert list(close_findings(inside, nest(inside)[0])) == []


@pytest.mark.parametrize(
    ("name", "file"),
    [
        ("../../x y", "board-1-x-y"),
        ("Öl / Ü", "board-1-l"),
        ("", "board-1"),
        ("CON", "board-1-CON"),
        ("n" * 200, f"board-1-{'n' * 60}"),
    ],
)
def test_files_have_names_for_every_disk(name: str, file: str) -> None:
    """What a wood of one's own is called leads out of no folder and is never too long for a file."""
    wood = woods()[0].model_copy(update={"name": name})
    assert called("board 1", wood) == file


def test_what_is_too_much_is_counted_before_it_is_laid_out(tmp_path: Path) -> None:
    """Lines of all programs together are counted: of every tile on boards, else of every sort, as often as a jig repeats it."""
    fine = "pattern={name: hishi, pitch: 0.4}"
    for sets in ((BOARDS, fine), ("fixture={systems: [G54, G55, G56, G57, G58, G59]}", fine)):
        with pytest.raises(InputError) as caught:
            lay_panel(panel_from(tmp_path, *sets))
        assert "panel.yaml:2: panel: its programs would cut some" in str(caught.value)
        assert "and 1,000,000 can be planned" in str(caught.value)


def test_the_pattern_of_one_tile_is_told_at_that_tile(tmp_path: Path) -> None:
    """What is wrong with a tile's own pattern names the line where that one stands."""
    text = CHECKER + "tiles:\n  - column: 1\n    row: 1\n    pattern: {name: shippo, across: 3, margin: 70}\n"
    with pytest.raises(InputError, match=r"panel.yaml:15: pattern.margin: '70': must be less than half"):
        lay_panel(panel_from(tmp_path, text=text))


def test_findings_of_tiles_on_boards_are_told_once(tmp_path: Path) -> None:
    """What is true of a tile is said of it, and not once more of every board that it lies on."""
    made = plan_panel(
        panel_from(
            tmp_path, BOARDS, "machine=gantry-router", "pattern={name: asanoha, across: 3}", "groove.depth=3"
        )
    )
    codes = [one.code for one in all_findings(made)]
    assert "land-vanished" in codes
    assert len(codes) == len(set(codes))
    assert all(one.sentence.startswith("tile A, tile B: ") for one in all_findings(made))
