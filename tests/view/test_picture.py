"""The lit picture of the carved piece."""

from __future__ import annotations

import io

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image

from vcarve.dryrun.carve import Surface
from vcarve.view.picture import picture_png

TINT = "#c8a878"
GROUND = (245, 240, 229)


def of(heights: npt.NDArray[np.float32]) -> Surface:
    """Return a map of these heights (ny, nx), front row first, in steps of 0.1 mm about the piece's centre."""
    high, wide = heights.shape
    return Surface(height_mm=heights, step_mm=0.1, x0_mm=0.05 - 0.05 * wide, y0_mm=0.05 - 0.05 * high)


def groove(angle_deg: float, depth_mm: float = 1.0) -> Surface:
    """Return a 45°-walled groove through the middle of a 20 mm square, running at an angle from the X axis."""
    c = np.arange(-9.95, 10.0, 0.1)
    x, y = np.meshgrid(c, c)
    turn = np.radians(angle_deg)
    away = np.abs(-np.sin(turn) * x + np.cos(turn) * y)
    return of(np.minimum(0.0, away - depth_mm).astype(np.float32))


def pixels(png: bytes) -> npt.NDArray[np.float64]:
    """Return brightness (rows, columns), back row first as on the picture."""
    return np.asarray(Image.open(io.BytesIO(png)).convert("L"), dtype=float)


@pytest.mark.parametrize("angle_deg", [0.0, 22.5, 45.0, 60.0, 67.5, 90.0])
def test_the_wall_that_looks_up_left_is_the_lighter_one(angle_deg: float) -> None:
    """Light comes from the upper left, so the lower right wall of every groove shines and the other is dark."""
    image = pixels(picture_png(groove(angle_deg), TINT))
    middle = np.array(image.shape) / 2.0
    turn = np.radians(angle_deg)
    right_down = np.array([np.sin(turn), -np.cos(turn)])  # X right, Y back, across the groove
    if right_down @ np.array([0.606, -0.465]) < 0:
        right_down = -right_down

    def light(side: float) -> float:
        column, row = middle[1] + side * right_down[0] * 6, middle[0] - side * right_down[1] * 6
        return float(image[round(row), round(column)])

    assert light(1.0) > light(-1.0) + 20


def test_both_diagonals_are_equally_plain() -> None:
    """A groove that runs along the light is told from the wood nearly as well as one across it."""

    def plain(angle_deg: float) -> float:
        image = pixels(picture_png(groove(angle_deg), TINT))
        middle = image[80:-80, 80:-80]
        return float(middle.std())

    one, other = sorted((plain(45.0), plain(-45.0)))
    assert one > 0.75 * other


def test_flat_wood_has_the_colour_of_its_tint() -> None:
    """Uncut wood is the tint, give or take its grain."""
    png = picture_png(of(np.zeros((200, 200), dtype=np.float32)), TINT)
    image = np.asarray(Image.open(io.BytesIO(png)), dtype=float)[40:-40, 40:-40]

    assert image.mean(axis=(0, 1)) == pytest.approx([0xC8, 0xA8, 0x78], abs=6)
    assert 0.5 < image[:, :, 0].std() < 12  # grain can be seen and does not shout


def test_the_front_is_at_the_bottom() -> None:
    """A pocket near the front edge of the piece is in the lower half of the picture."""
    heights = np.zeros((100, 100), dtype=np.float32)
    heights[10:20, 40:60] = -3.0
    image = pixels(picture_png(of(heights), TINT))
    row = np.unravel_index(np.argmin(image[6:-6, 20:-20]), image[6:-6, 20:-20].shape)[0]

    assert row > image.shape[0] / 2


def test_deep_walls_throw_their_shadow_away_from_the_light() -> None:
    """On the floor of a pocket the side near the light is in shadow and the far side is not."""
    heights = np.zeros((200, 200), dtype=np.float32)
    heights[50:150, 50:150] = -2.0
    image = pixels(picture_png(of(heights), TINT))
    margin = (image.shape[0] - 200) // 2
    floor = image[margin + 50 : margin + 150, margin + 50 : margin + 150]

    assert floor[8, 50] < 0.75 * floor[92, 50]
    assert floor[50, 8] < 0.75 * floor[50, 92]


def test_a_round_piece_stands_on_the_ground_colour() -> None:
    """Outside the outline, and inside a hole, the ground is seen; between them wood."""
    turn = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    png = picture_png(of(np.zeros((200, 200), dtype=np.float32)), "#6b4a34", rings=(10 * ring, 3 * ring))
    image = np.asarray(Image.open(io.BytesIO(png)), dtype=float)
    middle = image.shape[0] // 2

    assert image[0, 0] == pytest.approx(GROUND)
    assert image[middle, middle].mean() > 190
    assert image[middle, middle + 60].mean() < 110


def test_large_maps_become_smaller_pictures() -> None:
    """Whole pixels of the map are averaged, so that the longer side stays within what was asked."""
    heights = np.zeros((300, 701), dtype=np.float32)
    image = Image.open(io.BytesIO(picture_png(of(heights), TINT, longest_px=200)))

    assert image.width <= 200 + 2 * 12
    assert image.width / image.height == pytest.approx(701 / 300, rel=0.15)


def test_bands_leave_no_seams() -> None:
    """A groove longer than one band of rows is lit alike all along."""
    heights = np.zeros((1400, 40), dtype=np.float32)
    heights[:, 18:22] = -0.4
    image = pixels(picture_png(of(heights), TINT, longest_px=1400))
    inside = image[120:-120, image.shape[1] // 2 - 18 : image.shape[1] // 2 + 18]
    land = inside[:, :4].mean(axis=1, keepdims=True)

    assert (inside / land).std(axis=0).max() < 0.03


def test_the_same_surface_gives_the_same_bytes() -> None:
    """No chance gets into the grain."""
    assert picture_png(groove(30.0), TINT) == picture_png(groove(30.0), TINT)
