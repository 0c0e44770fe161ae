"""One cell of each kind amid a few repeats of a pattern: all that has to be looked at, whatever the grooves."""

from __future__ import annotations

from pathlib import Path

import pytest

from small_job import own_pattern
from small_network import build
from vcarve.groove.land import measure
from vcarve.groove.whole_cells import SAMPLE_PITCH_MM, cells_of
from vcarve.groove.width import VBit
from vcarve.pattern.model import pattern
from vcarve.plane.region import rectangle


# Cells of one translational unit: the rhombus; a hexagon and two triangles; a lens to either side of two edges and the star
# between; two triangles in thirds.
@pytest.mark.parametrize(("name", "kinds"), [("hishi", 1), ("kagome", 3), ("shippo", 3), ("asanoha", 6)])
def test_there_is_one_cell_of_each_kind(name: str, kinds: int) -> None:
    """However many repeats there are around them, no kind of cell is looked at twice, and no pattern is built twice."""
    cells = cells_of(pattern(name))

    assert cells is not None
    assert cells.network.cells == kinds
    assert cells_of(pattern(name)) is cells


@pytest.mark.slow
@pytest.mark.parametrize("name", ["asanoha", "yae-asanoha", "seigaiha", "sankuzushi"])
@pytest.mark.parametrize("widths_mm", [(0.4, 0.4), (1.6, 0.8), (0.3, 3.0)])
def test_the_one_has_the_land_of_all(name: str, widths_mm: tuple[float, float]) -> None:
    """The least land of all whole cells on a large sheet is that of the few, for grooves wider or narrower than others."""
    cells = cells_of(pattern(name))
    assert cells is not None
    depths = {feature: widths_mm[feature] / 2.0 for feature in cells.features}
    sheet = build(pattern(name), region=rectangle(210.0, 190.0), pitch_mm=SAMPLE_PITCH_MM)
    land = measure(sheet, VBit(angle_deg=90.0), depths).land_mm[sheet.cell_class >= 0]

    assert measure(cells.network, VBit(angle_deg=90.0), depths).land_mm.min() == pytest.approx(
        land.min(), abs=2e-3
    )


def test_a_pattern_of_ones_own_that_is_read_again_has_the_same_cells(tmp_path: Path) -> None:
    """Its whole cells are the same each time its file is read, whatever was worked out of it before."""
    (tmp_path / "own.yaml").write_text(own_pattern(), encoding="utf-8")
    read = [pattern("own.yaml", str(tmp_path)) for _ in range(2)]
    assert len({len(one.unit_network.tail) for one in read}) == 1
    first, again = map(cells_of, read)

    assert first is not None
    assert again is not None
    assert first.room == again.room
