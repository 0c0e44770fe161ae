"""How wood moves: the Wood Handbook's worked example, and what a panel's gaps and rebate have to take."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from panel_files import panel_from
from vcarve.codes import OF_PANELS
from vcarve.job.bench import woods
from vcarve.panel.movement import change_mm, movement, movement_findings
from vcarve.panel.tiles import lay_panel

WITH_MDF = "woods=[[beech, beech, beech], [beech, mdf, beech], [beech, beech, beech]]"
MOIST = "moisture={now: 10 %, least: 7 %, most: 13 %}"


def test_the_worked_example_of_the_wood_handbook() -> None:
    """A flat-sawn board of white fir 232 mm wide grows by 1.7 mm from 8 to 11 % of moisture, to 233.7 mm; 9.15 in by 0.067 in.

    Wood Handbook (FPL-GTR-190, 2010), chapter 13, example to equation 13-2; species, start and its C_T = 0.00245 from memory.
    """
    assert round(change_mm(232.0, 0.00245, 3.0), 1) == 1.7
    assert round(232.0 + change_mm(232.0, 0.00245, 3.0), 1) == 233.7
    assert round(change_mm(9.15, 0.00245, 3.0), 3) == 0.067
    assert round(9.15 + change_mm(9.15, 0.00245, 3.0), 3) == 9.217


# Wood Handbook, table 13-5: tangential and radial coefficient.
@pytest.mark.parametrize(
    ("name", "flat", "quarter"),
    [
        ("maple-sugar", 0.00353, 0.00165),
        ("maple-red", 0.00289, 0.00137),
        ("cherry-black", 0.00248, 0.00126),
        ("walnut-black", 0.00274, 0.00190),
        ("oak-white", 0.00365, 0.00180),
        ("oak-red", 0.00369, 0.00158),
        ("ash-white", 0.00274, 0.00169),
        ("birch-yellow", 0.00338, 0.00256),
        ("beech", 0.00431, 0.00190),
        ("basswood", 0.00330, 0.00230),
    ],
)
def test_coefficients_are_those_of_the_table(name: str, flat: float, quarter: float) -> None:
    """Woods move as table 13-5 says."""
    wood = next(one for one in woods() if one.name == name)
    assert (wood.moves_flat_sawn, wood.moves_quarter_sawn) == (flat, quarter)


def test_every_wood_moves_more_flat_sawn_than_quarter_sawn() -> None:
    """No coefficients are exchanged; what is no solid wood has none."""
    known = [one for one in woods() if one.moves_flat_sawn is not None]
    assert len(known) >= 15
    assert all(
        one.moves_flat_sawn > one.moves_quarter_sawn
        for one in known
        if one.moves_flat_sawn and one.moves_quarter_sawn
    )
    assert not [one.name for one in known if one.name in ("mdf", "plywood-birch", "bamboo")]


def test_tiles_of_a_checker(tmp_path: Path) -> None:
    """Hard maple, 100 mm across the grain, three points: 1.059 mm; walnut 0.822 mm; along the grain nothing."""
    found = movement(lay_panel(panel_from(tmp_path, MOIST)))
    assert found is not None

    maple, walnut = found.grow_mm[0, 0], found.grow_mm[0, 1]
    assert maple.tolist() == pytest.approx([0.0, 1.059])
    assert walnut.tolist() == pytest.approx([0.0, 0.822])
    assert found.shrink_mm == pytest.approx(found.grow_mm)
    # A maple tile above a walnut one: half of what both grow.
    assert found.gap_mm == pytest.approx((1.059 + 0.822) / 2.0)
    assert found.rebate_mm == pytest.approx(1.5 + 1.059 / 2.0 + 1.0)
    assert list(movement_findings(lay_panel(panel_from(tmp_path, MOIST)))) == []


def test_only_what_the_rebate_covers_counts_for_it(tmp_path: Path) -> None:
    """A tile in the middle, or one that moves along the frame, asks for no rebate; the outer ones do, across the frame."""
    rim = "[walnut-black, walnut-black, walnut-black]"
    woods = f"woods=[{rim}, [beech, beech, beech], {rim}]"
    found = movement(lay_panel(panel_from(tmp_path, MOIST, woods)))
    assert found is not None
    assert found.rebate_mm == pytest.approx(1.5 + 0.822 / 2.0 + 1.0)
    # Held in the middle of each, all tiles together grow as far as the outer ones reach out.
    assert found.field_mm == pytest.approx(np.array([[0.0, 0.822], [0.0, 0.822]]))


def test_a_frame_without_a_rebate_covers_nothing(tmp_path: Path) -> None:
    """Where bars have no rebate, none is asked to cover anything."""
    told = [
        one.code for one in movement_findings(lay_panel(panel_from(tmp_path, MOIST, "panel.frame.rebate=0")))
    ]
    assert told == []


def test_an_oblong_tile_moves_across_its_grain(tmp_path: Path) -> None:
    """Grain along the height of a tile 80 by 50 mm moves its width, of 80 mm; along its width, the height of 50 mm."""
    for grain, want in (("along-y", [80.0, 0.0]), ("along-x", [0.0, 50.0])):
        tile = f"tile={{width: 80, height: 50, thickness: 12, grain: {grain}}}"
        found = movement(lay_panel(panel_from(tmp_path, MOIST, tile)))
        assert found is not None
        assert found.grow_mm[0, 0] == pytest.approx(np.array(want) * 0.00353 * 3.0)


def test_quarter_sawn_and_laid_across(tmp_path: Path) -> None:
    """Quarter-sawn maple moves by 0.165 mm a point and metre/10; a tile turned by a quarter moves along X."""
    panel = panel_from(tmp_path, MOIST, "tile.sawn=quarter", "tiles=[{column: 1, row: 1, turn: 90}]")
    found = movement(lay_panel(panel))
    assert found is not None
    assert found.grow_mm[0, 0].tolist() == pytest.approx([100.0 * 0.00165 * 3.0, 0.0])
    assert found.grow_mm[0, 2].tolist() == pytest.approx([0.0, 100.0 * 0.00165 * 3.0])


def test_without_moisture_nothing_is_said(tmp_path: Path) -> None:
    """A panel that does not say how moist its wood is has no movement."""
    laid = lay_panel(panel_from(tmp_path))
    assert movement(laid) is None
    assert list(movement_findings(laid)) == []


TIGHT = [
    (("panel.gap=0.5",), "gap-too-narrow", "0.95 mm or more"),
    (("panel.frame.rebate=2",), "rebate-too-narrow", "3.03 mm or more"),
    (("moisture.most=20 %",), "moisture-far", "6 to 14 %"),
    ((WITH_MDF,), "movement-unknown", "mdf"),
]


@pytest.mark.parametrize(("sets", "code", "figure"), TIGHT)
def test_what_is_too_tight_is_said(tmp_path: Path, sets: tuple[str, ...], code: str, figure: str) -> None:
    """Gaps and rebates that do not do are told with what would."""
    found = {
        one.code: one.sentence for one in movement_findings(lay_panel(panel_from(tmp_path, MOIST, *sets)))
    }
    assert figure in found[code]


def test_unknown_woods_have_no_figures(tmp_path: Path) -> None:
    """Of a wood that nothing is known of no figure is made up."""
    found = movement(lay_panel(panel_from(tmp_path, MOIST, WITH_MDF)))
    assert found is not None
    assert np.isnan(found.grow_mm[1, 1]).tolist() == [False, True]


def test_every_code_of_panels_is_brought_by_one() -> None:
    """The table of codes has those of panels that are provoked above, and in ``test_jig.py`` and ``test_boards.py``."""
    assert {code for _, code, _ in TIGHT} | {"jig-unknown", "tiles-too-close"} == set(OF_PANELS)
