"""A panel as solids: every tile in its place, four mitred bars round them, nothing in the room of anything else."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from manifold3d import Manifold, Mesh64

from panel_files import CHECKER, panel_from
from vcarve.cli.main import cli
from vcarve.panel.tiles import lay_panel
from vcarve.solid.assembly import panel_parts
from vcarve.solid.model import Part
from vcarve.view.panel import bars_of

QUICK = ("pattern={name: sayagata, pitch: 40}", "groove.depth=1", "tiles=[{column: 1, row: 1, turn: 90}]")


@pytest.fixture(scope="module")
def parts(tmp_path_factory: pytest.TempPathFactory) -> list[Part]:
    """Return the parts of a checker with one turned tile."""
    laid = lay_panel(panel_from(tmp_path_factory.mktemp("panel"), *QUICK))
    return panel_parts(laid, bars_of(laid), tolerance_mm=0.02)


def body(part: Part) -> Manifold:
    """Return a part where it stands."""
    return Manifold(Mesh64(part.corner_mm, part.solid.triangle.astype(np.uint64)))


def test_tiles_and_bars_have_their_size(parts: list[Part]) -> None:
    """Nine tiles and four bars; the whole is as large as the list says.

    A bar is a trapezoid of 346 and 296 mm, 25 wide and 18 thick, less the rebate, one of 306 and 296 mm, 5 wide and 12 deep.
    """
    every = np.vstack([part.corner_mm for part in parts])

    assert len(parts) == 13
    assert np.ptp(every, axis=0) == pytest.approx([346.0, 346.0, 18.0])
    bar = (346.0 + 296.0) / 2.0 * 25.0 * 18.0 - (306.0 + 296.0) / 2.0 * 5.0 * 12.0
    assert [part.solid.volume_mm3 for part in parts[9:]] == pytest.approx([bar] * 4, rel=1e-9)
    assert all(part.solid.closed for part in parts)
    assert parts[0].solid.volume_mm3 < 100.0 * 100.0 * 12.0


def test_no_two_parts_share_any_room(parts: list[Part]) -> None:
    """Wherever tiles and bars lie, they touch at most."""
    bodies = [body(part) for part in parts]
    assert max((one ^ other).volume() for one, other in combinations(bodies, 2)) < 1e-6


def test_a_tile_that_is_laid_turned_is_turned(parts: list[Part]) -> None:
    """The first tile is the third one, turned by a quarter about its own middle, where it lies."""
    turned, straight = parts[0], parts[2]
    at = straight.corner_mm - straight.at_mm
    assert turned.corner_mm == pytest.approx(
        np.column_stack([-at[:, 1], at[:, 0], at[:, 2]]) + turned.at_mm, abs=1e-9
    )


def test_the_command_takes_a_panel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """'mizo solid' makes all parts one file; a panel that must not be cut is none."""
    monkeypatch.chdir(tmp_path)
    Path("screen.yaml").write_text(CHECKER, encoding="utf-8")
    words = [word for one in QUICK for word in ("--set", one)]
    done = CliRunner().invoke(cli, ["solid", "screen.yaml", "-o", "screen.3mf", "--scale", "50 %", *words])
    assert done.exit_code == 0, done.output
    assert "173 × 173 × 9 mm, 0.5 times its own" in done.output
    assert "13 parts, each closed" in done.output

    piped = CliRunner().invoke(
        cli, ["solid", "-", "-o", "piped.3mf", "--scale", "50 %", *words], input=CHECKER
    )
    assert piped.exit_code == 0, piped.output
    assert Path("piped.3mf").read_bytes() == Path("screen.3mf").read_bytes()
    wrong = CliRunner().invoke(cli, ["solid", "screen.yaml", "-o", "no.stl", *words, "--set", "panel.gap=-1"])
    assert (wrong.exit_code, wrong.output.splitlines()[0]) == (
        2,
        "wrong  --set panel.gap: '-1': must be at least 0 mm",
    )

    refused = CliRunner().invoke(
        cli, ["solid", "screen.yaml", "-o", "no.stl", *words, "--set", "tile.thickness=0.5"]
    )
    assert refused.exit_code == 1
    assert not Path("no.stl").exists()
