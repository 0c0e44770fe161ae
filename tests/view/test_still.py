"""The still: what a page paints the finished piece from, before there is a program."""

from __future__ import annotations

import base64
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from small_job import job_from
from vcarve.layout.stages import Layout, lay_out
from vcarve.plane.arcs import stretches
from vcarve.view.page import embed, stage_payload
from vcarve.view.still import still

TILE = """
piece: {width: 80 mm, height: 60 mm, thickness: 9 mm, wood: beech}
pattern: {name: %s, pitch: 20 mm}
groove: {ground: 1.2 mm, leaf: 0.8 mm}
bit: v90-6.35
machine: small-desktop
"""
LOOSE = """
piece: {width: 80 mm, height: 60 mm, thickness: 9 mm, wood: beech}
pattern: {drawing: loose.svg}
groove: {depth: 1.2 mm, taper: 5 mm}
bit: v90-6.35
machine: small-desktop
"""
LINES = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">'
    '<path d="M10 30H70M20 10A25 25 0 0 1 60 10"/></svg>'
)


def tile(name: str = "asanoha") -> Layout:
    """Return a tile with grooves of two depths."""
    return lay_out(job_from(TILE % name))


def read(text: str, columns: int) -> Any:
    """Return a packed array of so many columns."""
    return np.frombuffer(base64.b64decode(text), dtype="<f4").astype(float).reshape(-1, columns)


@pytest.mark.parametrize("name", ["asanoha", "shippo"])
def test_every_line_to_cut_is_in_the_still_once(name: str) -> None:
    """Lines of each kind together, straight or bowed, are as long as the network's and as wide as its grooves."""
    layout = tile(name)
    told = still(layout)
    lines = read(told["lines"], 5)
    length = np.hypot(*(lines[:, 2:4] - lines[:, :2]).T) * stretches(lines[:, 4])
    start = 0

    assert len(lines) == layout.network.edges
    for depth, half, many in told["grooves"]:
        mine = layout.network.cut & np.isclose(layout.grooves.depth_mm, depth)
        assert half == pytest.approx(layout.grooves.half_width_mm[mine].max(), abs=1e-6)
        assert length[start : start + many].sum() == pytest.approx(
            layout.network.length_mm[mine].sum(), rel=1e-5
        )
        start += many
    assert start == len(lines)
    assert told["deepest"] == pytest.approx(1.2)


def test_walls_get_the_light_that_their_side_of_the_sky_gives_them() -> None:
    """The upper left lights a wall more than the one across its groove, the right lights one too; tones go up."""
    told = still(tile())
    corners = read(told["walls"], 12).reshape(-1, 6, 2)
    light = np.repeat([tone for tone, _ in told["tones"]], [many for _, many in told["tones"]])
    toward = np.array([math.cos(math.radians(120.0)), math.sin(math.radians(120.0))])
    rise = corners[:, 4:].mean(axis=1) - corners[:, 1:3].mean(axis=1)
    rise /= np.maximum(np.hypot(*rise.T), 1e-9)[:, None]
    lit, shaded = rise @ toward < -0.9, rise @ toward > 0.9
    facing_right = (corners[:, 1] != corners[:, 2]).any(axis=1) & (rise[:, 0] < -0.9999)

    assert len(corners) == len(light)
    assert (np.diff(light) >= 0.0).all()
    assert light[lit].min() > light[shaded].max()
    # At 90 degrees, of the flat top's light: ((0.645 - 0.382) + 0.35 * (0.645 + 0.738)) * sin 45 / (1.35 * 0.645), in 40 tones.
    assert facing_right.any()
    assert light[facing_right] == pytest.approx(0.607, abs=0.5 / 40)
    assert shapely.total_bounds(shapely.polygons(corners)) == pytest.approx([-40, -30, 40, 30], abs=1.5)


def test_a_frame_has_walls_on_its_outer_side_too() -> None:
    """Where nothing is cut outside a frame, its outer walls reach half of its width beyond its line."""
    text = TILE % "asanoha" + "\n"
    layout = lay_out(
        job_from(text.replace("20 mm}", "20 mm, margin: 6 mm, edge: plain, frame: [{distance: 6 mm}]}", 1))
    )
    corners = read(still(layout)["walls"], 12).reshape(-1, 2)

    # 1.2 mm deep at 90 degrees: 1.2 mm to either side.
    assert np.abs(corners).max(axis=0) == pytest.approx([40 - 6 + 1.2, 30 - 6 + 1.2], abs=1e-3)


def test_grooves_that_narrow_are_told_by_their_chords(tmp_path: Path) -> None:
    """With a taper the lines that rise are chords with a half-width at each end; together nothing is lost."""
    (tmp_path / "loose.svg").write_text(LINES)
    layout = lay_out(job_from(LOOSE, folder=str(tmp_path)))
    told = still(layout)
    slim, lines = read(told["slim"], 7), read(told["lines"], 5)
    rising = layout.network.cut & (layout.grooves.ends_half_mm[0] != layout.grooves.ends_half_mm[1])

    assert rising.any()
    assert len(lines) + np.count_nonzero(rising) == layout.network.edges
    assert np.hypot(*(slim[:, 2:4] - slim[:, :2]).T).sum() == pytest.approx(
        layout.network.length_mm[rising].sum(), rel=1e-4
    )
    assert (slim[:, 4] != slim[:, 5]).all()
    assert slim[:, 4:6].max() == pytest.approx(1.2, abs=1e-6)  # as wide as deep on either side, at 90 degrees


def test_the_stage_is_told_as_for_a_dry_run() -> None:
    """Piece, zero, bit and clamps without a program are those that the page reads with one, and JSON holds them."""
    layout = tile()
    told = stage_payload(layout)

    assert told["count"] == 0
    assert told["piece"]["known"]
    assert embed(told)
    assert {"piece", "setup", "bit", "clamps", "figures", "lights", "findings", "still"} < set(told)
