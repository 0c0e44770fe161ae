"""Tiles side by side: which are cut alike, where they lie, and a pattern that runs on over all of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely

from panel_files import CHECKER, panel_from
from vcarve.errors import InputError
from vcarve.layout.findings import job_findings
from vcarve.layout.stages import Layout, lay_out
from vcarve.panel.tiles import LaidPanel, field_mm, lay_panel, letter
from vcarve.plane.region import lines_along


def drawn(layout: Layout, x_mm: float = 0.0, y_mm: float = 0.0) -> shapely.Geometry:
    """Return the lines that are cut as fine chords, moved."""
    network = layout.network
    lines = lines_along(network.curves(np.flatnonzero(network.cut)), 1e-5)
    return shapely.union_all(shapely.transform(lines, lambda xy: xy + np.array([x_mm, y_mm])))


def test_nine_tiles_of_two_woods_are_cut_by_two_programs(tmp_path: Path) -> None:
    """A checker of 3 by 3 has five tiles of the first wood and four of the other; its field is 303 mm each way."""
    laid = lay_panel(panel_from(tmp_path))

    assert [sum(tile.sort == sort for tile in laid.tiles) for sort in range(len(laid.sorts))] == [5, 4]
    assert [layout.job.piece.wood.name for layout in laid.sorts] == ["maple-sugar", "walnut-black"]
    assert field_mm(laid.panel) == (303.0, 303.0)
    assert {(tile.x_mm, tile.y_mm) for tile in laid.tiles} == {
        (x, y) for x in (-101.5, 0.0, 101.5) for y in (-101.5, 0.0, 101.5)
    }
    first = laid.tiles[0]
    assert (first.column, first.row, first.x_mm, first.y_mm) == (
        1,
        1,
        -101.5,
        101.5,
    )  # at the back, on the left


def test_tiles_that_differ(tmp_path: Path) -> None:
    """A mirrored tile and one with its own pattern are cut by programs of their own; a turned one is only laid another way."""
    odd = "[{column: 1, row: 1, turn: 90}, {column: 2, row: 2, mirror: true}, "
    odd += "{column: 3, row: 3, pattern: {name: shippo, across: 5}}]"
    laid = lay_panel(panel_from(tmp_path, f"tiles={odd}", "pattern.name=sayagata"))
    by_place = {(tile.column, tile.row): tile for tile in laid.tiles}

    assert len(laid.sorts) == 4
    assert by_place[1, 1].sort == by_place[3, 1].sort
    assert (by_place[1, 1].moves_across, by_place[3, 1].moves_across) == ("x", "y")
    assert laid.sorts[by_place[2, 2].sort].job.pattern.mirror
    assert laid.sorts[by_place[3, 3].sort].job.pattern.name == "shippo"


@pytest.mark.parametrize(
    ("sort", "name"), [(0, "A"), (25, "Z"), (26, "AA"), (27, "AB"), (51, "AZ"), (52, "BA"), (702, "AAA")]
)
def test_letters_go_on_behind_z(sort: int, name: str) -> None:
    """Sorts are lettered as columns of a table are."""
    assert letter(sort) == name


def windows(laid: LaidPanel) -> shapely.Geometry:
    """Return the tiles' surfaces, each where it lies."""
    wide, high = laid.panel.tile.width_mm / 2.0, laid.panel.tile.height_mm / 2.0
    return shapely.union_all(
        [
            shapely.box(one.x_mm - wide, one.y_mm - high, one.x_mm + wide, one.y_mm + high)
            for one in laid.tiles
        ]
    )


@pytest.mark.parametrize(
    "sets",
    [
        ("pattern={name: asanoha, pitch: about 21 mm, run-on: true, edge: plain}",),
        ("pattern={name: seigaiha, pitch: 17.3, run-on: true, edge: plain, shift-x: 1.7}", "panel.gap=0"),
        ("pattern={name: sayagata, pitch: 11.3, run-on: true, edge: plain, rotate: 30}", "tile.width=80.005"),
    ],
)
def test_a_pattern_that_runs_on_is_one_large_job_cut_into_windows(
    tmp_path: Path, sets: tuple[str, ...]
) -> None:
    """Law: what all tiles have is what one piece as large as the panel has within them, to a micrometre, nothing more or less."""
    panel = panel_from(tmp_path, *sets)
    laid = lay_panel(panel)
    large = lay_out(panel.job(panel.woods[0][0], panel.pattern, size_mm=field_mm(panel)))

    tiles = shapely.union_all([drawn(laid.sorts[one.sort], one.x_mm, one.y_mm) for one in laid.tiles])
    whole = shapely.intersection(drawn(large), windows(laid))
    assert shapely.length(tiles) == pytest.approx(shapely.length(whole), abs=0.05)
    assert shapely.length(shapely.difference(tiles, whole.buffer(2e-3))) == pytest.approx(0.0, abs=1e-9)
    assert shapely.length(shapely.difference(whole, tiles.buffer(2e-3))) == pytest.approx(0.0, abs=0.02)


def test_lines_that_run_on_meet_at_the_joint(tmp_path: Path) -> None:
    """Without a gap the ends of lines on both sides of a joint are the same places within a nanometre."""
    panel = panel_from(
        tmp_path, "pattern={name: asanoha, pitch: 23.7, run-on: true, edge: plain}", "panel.gap=0"
    )
    laid = lay_panel(panel)
    left, right = (
        next(one for one in laid.tiles if (one.column, one.row) == (column, 2)) for column in (1, 2)
    )
    ends = []
    for tile, side in ((left, 50_000_000), (right, -50_000_000)):
        network = laid.sorts[tile.sort].network
        used = np.unique(np.concatenate([network.tail[network.cut], network.head[network.cut]]))
        ends.append(np.sort(network.y_nm[used[network.x_nm[used] == side]]))

    assert len(ends[0]) > 4
    assert np.abs(ends[0] - ends[1]).max() <= 1


def test_a_drawing_runs_on(tmp_path: Path) -> None:
    """A drawing as large as the panel is cut into windows, and nothing is said of its lines on other tiles."""
    (tmp_path / "d.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="303mm" height="303mm" viewBox="0 0 303 303">'
        '<path d="M3 3L300 300M3 300L300 3M151 5V298M5 151H298"/></svg>'
    )
    panel = panel_from(tmp_path, "pattern={drawing: d.svg, run-on: true}", "groove.depth=1")
    laid = lay_panel(panel)
    large = lay_out(panel.job(panel.woods[0][0], panel.pattern, size_mm=field_mm(panel)))
    tiles = shapely.union_all([drawn(laid.sorts[one.sort], one.x_mm, one.y_mm) for one in laid.tiles])
    whole = shapely.intersection(drawn(large), windows(laid))

    assert shapely.length(shapely.difference(whole, tiles.buffer(2e-3))) == pytest.approx(0.0, abs=0.02)
    assert shapely.length(shapely.difference(tiles, whole.buffer(2e-3))) == pytest.approx(0.0, abs=1e-9)
    codes = {one.code for layout in laid.sorts for one in job_findings(layout)}
    assert not codes & {"drawing-lost", "drawing-clipped", "pitch-unusual"}


def test_a_tile_that_a_drawing_leaves_plain_is_told(tmp_path: Path) -> None:
    """Where no line of a drawing that runs on lies on one of the tiles, the drawing's key is named with its line."""
    (tmp_path / "d.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="303mm" height="303mm" viewBox="0 0 303 303"><path d="M3 3L90 90"/></svg>'
    )
    text = CHECKER.replace("{name: kaku-asanoha, across: 2}", "{drawing: d.svg, run-on: true}")
    with pytest.raises(
        InputError, match=r"panel\.yaml:4: pattern\.drawing: 'd\.svg': no line .* on one of the tiles;"
    ):
        lay_panel(panel_from(tmp_path, text=text))


def test_windows_that_show_the_same_share_a_program(tmp_path: Path) -> None:
    """Where the pitch divides tile and gap evenly, tiles that run on are cut alike but at the panel's rim."""
    laid = lay_panel(
        panel_from(tmp_path, "pattern={name: kaku-asanoha, pitch: 10, run-on: true}", "panel.gap=0")
    )

    assert len(laid.sorts) == 2
