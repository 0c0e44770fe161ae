"""Tiles in a jig, each with a work offset of its own: every tile is cut where its system says, and nowhere else."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from panel_files import panel_from
from vcarve.dryrun.check import check
from vcarve.dryrun.jig import gathered
from vcarve.panel.boards import in_jig, lay_load
from vcarve.panel.tiles import lay_panel
from vcarve.pipeline import plan_panel
from vcarve.program.reader import read_program
from vcarve.proofing import target_of

SMALL = (
    "tile={width: 50, height: 50, thickness: 12}",
    "pattern={name: ichimatsu, pitch: 10}",
    "groove.depth=1",
)
JIG = "fixture={systems: [G55, G54], places: [{x: 0, y: 0}, {x: 60, y: 7}]}"


def test_tiles_of_a_jig_are_cut_from_the_zero_of_each(tmp_path: Path, rs274: Any) -> None:
    """With the offsets set as the panel says, the interpreter goes where the tiles lie, in both, and so does the dry run."""
    made = plan_panel(panel_from(tmp_path, *SMALL, JIG, "zero.xy=centre"))
    names = [(name, times) for name, _, times in made.programs]
    assert names == [("jig-A-maple-sugar", 2), ("jig-A-with-1-maple-sugar", 1), ("jig-B-walnut-black", 2)]
    assert not made.refused
    assert not made.findings

    one = made.programs[0][1]
    assert not one.findings
    assert [line for line in one.text.splitlines() if re.search("G5[4-9]", line) and line[0] != "("] == [
        "G17 G21 G40 G49 G55 G80 G90 G94",
        "G54",
    ]
    # The middle of the first tile is 25 mm from both sides of the space round both.
    run = rs274("G21\nG10 L2 P2 X25 Y25 Z0\nG10 L2 P1 X85 Y32 Z0\n" + one.text)
    assert run.accepted
    moves = one.reading.moves
    ends = np.array([np.add(move.end_mm, move.offset_mm) for move in run.moves])
    assert ends[1 - len(moves) :, :2] == pytest.approx(
        moves.end("XY")[1:], abs=1e-4
    )  # first the bit is lifted, wherever it stands
    cut = moves.end("Z") < 0.0
    assert np.count_nonzero(cut & (moves.end("X") < 50.001)) == np.count_nonzero(
        cut & (moves.end("X") > 59.999)
    )


def test_travel_of_a_jig_is_judged_where_its_places_are_known(tmp_path: Path) -> None:
    """A place beyond the machine's travel is a finding; where places are left out it is said that nobody judged them."""
    far = JIG.replace("x: 60", "x: 400")
    known = plan_panel(panel_from(tmp_path, *SMALL, far)).programs[0][1]
    assert {one.code for one in known.findings if one.severity == "refuse"} == {"travel"}

    unknown = plan_panel(
        panel_from(tmp_path, *SMALL, "fixture={systems: [G54, G55, G56, G57, G58, G59]}")
    ).programs[0][1]
    assert [one.code for one in unknown.findings] == ["jig-unknown"]


def test_a_tile_too_few_is_missed(tmp_path: Path) -> None:
    """A program that skips a tile of the jig, or cuts one of them twice, is told by the dry run."""
    panel = panel_from(tmp_path, *SMALL, JIG)
    laid = lay_panel(panel)
    assert panel.fixture is not None
    load = in_jig(laid, panel.fixture)[0]
    text = plan_panel(panel).programs[0][1].text
    target = target_of(lay_load(laid, load))
    origins = {2: (0.0, 0.0, 0.0), 1: (60.0, 7.0, 0.0)}

    def codes(program: str) -> set[str]:
        moves = gathered(read_program(program, start_mm=(0.0, 0.0, 5.0), origins_mm=origins).moves, origins)
        reading = read_program(program, start_mm=(0.0, 0.0, 5.0))
        return {one.code for one in check(replace(reading, moves=moves), panel.machine, target)}

    assert codes(text) == set()
    assert "line-missed" in codes(text.replace("\nG54\n", "\nG55\n"))
    assert "cut-twice" in codes(text.replace("\nG54\n", "\nG55\n"))


def test_loads_hold_one_sort_of_tile(tmp_path: Path) -> None:
    """Law: every tile lies in one load, as often as the load is run; loads are as full as they can be."""
    for systems in range(1, 7):
        words = ", ".join(f"G{54 + k}" for k in range(systems))
        panel = panel_from(tmp_path, *SMALL, f"fixture={{systems: [{words}]}}")
        laid = lay_panel(panel)
        assert panel.fixture is not None
        loads = in_jig(laid, panel.fixture)
        for sort, many in ((0, 5), (1, 4)):
            mine = [load for load in loads if load.lying[0].tile.sort == sort]
            assert {one.tile.sort for load in mine for one in load.lying} == {sort}
            assert sum(load.times * len(load.lying) for load in mine) == many
            assert sum(load.times for load in mine) == -(-many // systems)
