"""A panel from an angle: every place of its front is as high as it is, and of the wood that it is."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from panel_files import CHECKER, panel_from
from vcarve.cli.main import cli
from vcarve.panel.tiles import lay_panel
from vcarve.pipeline import plan_program
from vcarve.proofing import carve_piece
from vcarve.view.look import rgb
from vcarve.view.panel_shot import Shown, shown
from vcarve.view.shot import Woods

STEP = 0.5
SETS = ("pattern={name: seigaiha, pitch: 50}", "groove.depth=1", "tiles=[{column: 1, row: 1, turn: 90}]")


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> Shown:
    """Return a checker as it is looked at, with one turned tile."""
    laid = lay_panel(panel_from(tmp_path_factory.mktemp("panel"), *SETS))
    carved = [carve_piece(plan_program(layout), step_mm=STEP).surface for layout in laid.sorts]
    return shown(laid, [one for one in carved if one is not None], STEP)


def height(seen: Shown, x: float, y: float) -> float:
    """Return how high a place of the front is."""
    surface = seen.surface
    return float(surface.height_mm[round((y - surface.y0_mm) / STEP), round((x - surface.x0_mm) / STEP)])


def test_bars_stand_in_front_of_tiles_and_gaps_lie_behind(seen: Shown) -> None:
    """A frame 18 mm thick and tiles of 12 mm, flush at the back: the tiles lie 6 mm behind the bars, gaps deeper."""
    assert seen.thickness_mm == 18.0
    assert height(seen, 165.0, 0.0) == height(seen, 0.0, -165.0) == 0.0
    assert np.count_nonzero(seen.surface.height_mm == -6.0) > 0.3 * seen.surface.height_mm.size  # land
    assert height(seen, 50.75, 20.0) == height(seen, -20.0, -50.75) == -9.0
    assert seen.surface.height_mm.min() == -9.0
    assert np.ptp(seen.rings[0], axis=0) == pytest.approx([346.0, 346.0])


def test_a_turned_tile_is_seen_turned(seen: Shown) -> None:
    """What the third tile has at a place, the first, laid by a quarter, has at that place turned."""
    steps = np.arange(-40.0, 40.0, 1.0)
    straight = np.array([[height(seen, 101.5 + x, 101.5 + y) for x in steps] for y in steps])
    turned = np.array([[height(seen, -101.5 - y, 101.5 + x) for x in steps] for y in steps])
    assert (np.abs(straight - turned) < 0.6).mean() > 0.98
    assert np.ptp(straight) > 0.9


def test_each_place_is_of_its_wood(seen: Shown) -> None:
    """Tiles have the tints of their woods, bars that of theirs, and the grain of bars at the sides runs along them."""
    assert isinstance(seen.wood, Woods)
    places = np.array([(-101.5, 101.5, 0.0), (0.0, 101.5, 0.0), (165.0, 0.0, 0.0), (0.0, 165.0, 0.0)])
    tree, light = seen.wood.at(places)

    maple, walnut = (np.array(rgb(tint)) for tint in ("#e6cfa8", "#6f4e37"))
    brighter = [np.argsort(np.argsort(one)).tolist() for one in (maple, walnut)]
    assert np.ptp([light[0], light[2], light[3]], axis=0).max() == 0.0
    assert (light[0] > light[1]).all()
    assert [np.argsort(np.argsort(one)).tolist() for one in light[:2]] == brighter
    # A millimetre on along the bar is a millimetre along the grain.
    on = places + np.array([(0, 1, 0), (1, 0, 0), (0, 1, 0), (1, 0, 0)])
    assert (seen.wood.at(on)[0] - tree)[[0, 1, 2, 3], 0] == pytest.approx([1.0, 1.0, 1.0, 1.0])


@pytest.mark.slow
def test_the_command_shows_a_panel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """'mizo picture' takes a panel; straight from above dark and light tiles alternate; the same bytes twice."""
    monkeypatch.chdir(tmp_path)
    Path("screen.yaml").write_text(CHECKER, encoding="utf-8")
    words = [word for one in SETS for word in ("--set", one)]
    for name in ("one.png", "two.png"):
        call = [
            "picture",
            "screen.yaml",
            "-o",
            name,
            "--size",
            "400x400",
            "--rise",
            "90 deg",
            "--turn",
            "0 deg",
            *words,
        ]
        done = CliRunner().invoke(cli, call)
        assert done.exit_code == 0, done.output
    assert Path("one.png").read_bytes() == Path("two.png").read_bytes()
    dots = np.asarray(Image.open("one.png").convert("L"), dtype=float)
    middle = [
        [dots[y - 20 : y + 20, x - 20 : x + 20].mean() for x in (100, 200, 300)] for y in (100, 200, 300)
    ]
    light = np.array(middle) > np.mean(middle)
    assert light.tolist() == [[True, False, True], [False, True, False], [True, False, True]]
