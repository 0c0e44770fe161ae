"""The carved piece as a picture: its height map lit from the upper left, in the colour of its wood.

Light falls at 40° from the upper left, and a third of it, without shadows, from the right; a point is in shadow where the
wood between it and the light stands higher.  Deep places get less light from the sky than open ones.  Same surface, same
bytes.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageChops, ImageDraw, ImageFilter, ImageFont

from vcarve.dryrun.surface import Surface
from vcarve.view.look import LIGHT, SECOND, SECOND_SHARE, SUN, VALLEY, rgb

Floats = npt.NDArray[np.floating[Any]]
Array32 = npt.NDArray[np.float32]

SKY = 0.36  # share of the light that comes from everywhere
SOFT_MM = 0.06  # how far above a shadow's edge its half-light reaches
SKY_DEPTH_MM = 1.2  # depth at which the sky's light has fallen by 63 % of what it loses
GRAIN = 0.07
MARGIN = 0.06  # of the longer side, all round
BAND = 0.05  # of the longer side, for words along the top
MOST_STEPS = 96
BAND_ROWS = 512


def picture_png(
    surface: Surface,
    tint: str,
    *,
    rings: Sequence[Floats] = (),
    size_mm: tuple[float, float] | None = None,
    ground: str = LIGHT.paper,
    longest_px: int = 2000,
    mark: str = "",
) -> bytes:
    """Return PNG (RGB) of the piece on a plain ground, its longer side at most ``longest_px``.

    ``tint`` and ``ground`` are ``#rrggbb``.  ``rings`` are the piece's outline and holes in piece coordinates (n, 2),
    by default the whole map; ``size_mm`` (default: that of the map) is the piece's size, and says with ``rings``
    where the piece lies: its centre is the origin.  ``mark`` is written on a band along the top.
    """
    factor = max(1, math.ceil(max(surface.height_mm.shape) / longest_px))
    wood = _lit(surface, rgb(tint), factor)
    image = Image.fromarray(wood[::-1].copy())
    mask = _mask(image.size, surface.step_mm * factor, rings, size_mm)
    sheet = _mounted(image, mask, rgb(ground))
    if mark:
        sheet = _banded(sheet, mark)
    buffer = io.BytesIO()
    sheet.save(buffer, format="PNG", compress_level=6)
    return buffer.getvalue()


def _lit(surface: Surface, tint: tuple[int, int, int], factor: int) -> npt.NDArray[np.uint8]:
    """Return shaded wood (rows, columns, 3), front row first, ``factor`` pixels of the map averaged into one."""
    heights = surface.height_mm
    rows, columns = heights.shape
    wide = -(-columns // factor)
    reach = _shadow_steps(heights, surface.step_mm)
    band = max(factor, BAND_ROWS // factor * factor)
    result = np.empty((-(-rows // factor), wide, 3), dtype=np.uint8)
    for first in range(0, rows, band):
        last = min(first + band, rows)
        low, high = max(0, first - 1), min(rows, last + reach + 1)
        part = np.ascontiguousarray(heights[low:high], dtype=np.float32)
        light = _light(part, surface.step_mm, reach)[first - low : last - low]
        x = np.arange(columns, dtype=np.float32) * np.float32(surface.step_mm)
        y = np.arange(first, last, dtype=np.float32) * np.float32(surface.step_mm)
        light *= 1.0 + np.float32(GRAIN) * _grain(x, y)
        small = _average(light, factor)
        colours = small[:, :, None] * np.array(tint, dtype=np.float32)
        result[first // factor : first // factor + len(small)] = np.clip(colours + 0.5, 0, 255).astype(
            np.uint8
        )
    return result


def _shadow_steps(heights: Floats, step_mm: float) -> int:
    """How many pixels the longest shadow can be, at most ``MOST_STEPS``."""
    deepest = -float(heights.min(initial=0.0))
    climb = SUN[2] / math.hypot(SUN[0], SUN[1])
    return min(MOST_STEPS, math.ceil(deepest / climb / step_mm))


def _light(heights: Array32, step_mm: float, reach: int) -> Array32:
    """Return light on every pixel as a share of that on the flat top, same shape."""
    if min(heights.shape) < 2:
        return np.ones_like(heights)
    slope_y, slope_x = np.gradient(heights, np.float32(step_mm))
    steep = np.sqrt(1.0 + slope_x**2 + slope_y**2)

    def direct(light: tuple[float, float, float]) -> Array32:
        facing = (-slope_x * light[0] - slope_y * light[1] + light[2]) / (steep * light[2])
        return np.asarray(np.clip(facing, 0.0, None))

    first = direct(SUN) * (1.0 - _shade(heights, step_mm, reach))
    both = (first + SECOND_SHARE * direct(SECOND)) / (1.0 + SECOND_SHARE)
    sky = (0.55 + 0.45 * np.exp(heights / np.float32(SKY_DEPTH_MM))) * (0.5 + 0.5 / steep)
    result: Array32 = (SKY * sky + (1.0 - SKY) * both).astype(np.float32)
    return result


def _shade(heights: Array32, step_mm: float, reach: int) -> Array32:
    """How much of the direct light is held back, 0 to 1: the wood towards the light is followed pixel by pixel."""
    along = math.hypot(SUN[0], SUN[1])
    climb = SUN[2] / along * step_mm
    over = np.zeros_like(heights)
    rows, columns = heights.shape
    for k in range(1, reach + 1):
        right = round(k * SUN[0] / along)
        back = round(k * SUN[1] / along)
        to_y, to_x = rows - back, -right
        if to_y <= 0 or to_x >= columns:
            break
        here = heights[:to_y, to_x:]
        there = heights[back:, : columns - to_x]
        mine = over[:to_y, to_x:]
        np.maximum(mine, there - here - np.float32(k * climb), out=mine)
    result: Array32 = np.clip(over / np.float32(SOFT_MM), 0.0, 1.0)
    return result


def _noise(values: Array32) -> Array32:
    """Return smooth noise along a line, between 0 and 1, the same for the same value."""
    cell = np.floor(values)
    share = values - cell
    share = share * share * (3.0 - 2.0 * share)

    def pick(n: Floats) -> Array32:
        mixed = (n.astype(np.int64) * 2654435761) & 0xFFFFFFFF
        mixed = ((mixed ^ (mixed >> 15)) * 2246822519) & 0xFFFFFFFF
        return ((mixed ^ (mixed >> 13)) & 0xFFFF).astype(np.float32) / np.float32(65535)

    result: Array32 = (pick(cell) * (1.0 - share) + pick(cell + 1.0) * share).astype(np.float32)
    return result


def _grain(x_mm: Array32, y_mm: Array32) -> Array32:
    """Return streaks along X, about -0.5 to 0.5, shape (len(y), len(x))."""
    bend = 2.4 * _noise(x_mm * 0.03 + 3.0) + 0.8 * _noise(x_mm * 0.11 + 90.0)
    across = y_mm[:, None] + bend[None, :]
    table_mm = np.arange(float(across.min()) - 1.0, float(across.max()) + 1.0, 0.02, dtype=np.float32)
    streaks = (
        0.5 * _noise(table_mm * 0.45)
        + 0.3 * _noise(table_mm * 1.7 + 400.0)
        + 0.2 * _noise(table_mm * 6.3 + 900.0)
    )
    index = np.clip(((across - table_mm[0]) / 0.02).astype(np.int64), 0, len(table_mm) - 1)
    result: Array32 = streaks[index] - np.float32(0.5)
    return result


def _average(values: Array32, factor: int) -> Array32:
    """Return mean over squares of ``factor`` pixels; the last ones are filled up with their neighbours."""
    if factor == 1:
        return values
    rows, columns = values.shape
    padded = np.pad(values, ((0, -rows % factor), (0, -columns % factor)), mode="edge")
    result: Array32 = padded.reshape(padded.shape[0] // factor, factor, -1, factor).mean(axis=(1, 3))
    return result


def _mask(
    size: tuple[int, int], step_mm: float, rings: Sequence[Floats], size_mm: tuple[float, float] | None
) -> Image.Image:
    """Return where the piece is, 0 to 255, smooth along its outline."""
    wide, tall = size_mm or (size[0] * step_mm, size[1] * step_mm)
    if not rings:
        return Image.new("L", size, 255)
    fine = 4
    mask = Image.new("L", (size[0] * fine, size[1] * fine), 0)
    for ring in rings:
        points = np.asarray(ring, dtype=np.float64)
        x = (points[:, 0] + wide / 2) / step_mm * fine
        y = size[1] * fine - (points[:, 1] + tall / 2) / step_mm * fine
        one = Image.new("L", mask.size, 0)
        ImageDraw.Draw(one).polygon([(float(a), float(b)) for a, b in zip(x, y, strict=True)], fill=255)
        mask = ImageChops.difference(mask, one)  # a ring within a ring is a hole
    return mask.resize(size, Image.Resampling.BOX)


def _mounted(image: Image.Image, mask: Image.Image, ground: tuple[int, int, int]) -> Image.Image:
    """Return the piece on its ground with a soft shadow to the lower right."""
    longest = max(image.size)
    margin = max(2, round(longest * MARGIN))
    size = (image.width + 2 * margin, image.height + 2 * margin)
    sheet = Image.new("RGB", size, ground)
    shadow = Image.new("L", size, 0)
    away = max(1, round(longest * 0.009))
    shadow.paste(mask.point(lambda value: value * 0.45), (margin + away, margin + away))
    shadow = shadow.filter(ImageFilter.GaussianBlur(max(1.0, longest * 0.008)))
    sheet.paste(rgb(VALLEY), (0, 0), shadow)
    sheet.paste(image, (margin, margin), mask)
    return sheet


def _banded(sheet: Image.Image, mark: str) -> Image.Image:
    """Return the sheet under a band of words in the colour of findings."""
    tall = max(20, round(max(sheet.size) * BAND))
    result = Image.new("RGB", (sheet.width, sheet.height + tall), rgb(LIGHT.finding))
    result.paste(sheet, (0, tall))
    pen = ImageDraw.Draw(result)
    font = ImageFont.load_default(size=0.6 * tall)
    pen.text((sheet.width / 2, tall / 2), mark, fill=rgb(LIGHT.on_finding), font=font, anchor="mm")
    return result
