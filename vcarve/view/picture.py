"""The carved piece as a picture: its height map lit from the upper left, in the colour of its wood; or its heights alone.

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
from PIL.PngImagePlugin import PngInfo

from vcarve.dryrun.carve import Surface
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
WHITE = 65535


def picture_png(
    surface: Surface, tint: str, *, rings: Sequence[Floats] = (), longest_px: int = 2000, mark: str = ""
) -> bytes:
    """Return PNG (RGB) of the piece on a plain ground, its longer side at most ``longest_px``.

    ``tint`` is ``#rrggbb``.  ``rings`` are the piece's outline and holes in piece coordinates (n, 2), by default the whole map.
    ``mark`` is written on a band along the top.
    """
    factor = max(1, math.ceil(max(surface.height_mm.shape) / longest_px))
    colours = _lit(surface, factor)[:, :, None] * np.array(rgb(tint), dtype=np.float32)
    image = Image.fromarray(np.clip(colours + 0.5, 0, 255).astype(np.uint8)[::-1].copy())
    sheet = _mounted(image, _mask(image.size, surface, factor, rings))
    if mark:
        sheet = banded(sheet, mark)
    buffer = io.BytesIO()
    sheet.save(buffer, format="PNG", compress_level=6)
    return buffer.getvalue()


def heights_file(surface: Surface, ending: str) -> bytes:
    """Encode a surface as it is written to files with this ending: ``.npy`` (mm, row 0 at the front) or ``.png``.

    The PNG is grey with 16 bits: 65535, the brightest, is the untouched top and 0 the deepest cut, evenly between them:
    ``height_mm = floor_mm * (1 - value / 65535)``.  The floor, the size of a pixel and the place of the lower left one are
    stored in it as text (``floor-mm``, ``step-mm``, ``x0-mm``, ``y0-mm``).  The back edge is its upper edge.
    """
    out = io.BytesIO()
    if ending != ".png":
        np.save(out, surface.height_mm, allow_pickle=False)
        return out.getvalue()
    floor = -surface.deepest_mm
    values = np.rint(WHITE * (1.0 - surface.height_mm / (floor or -1.0))).astype(np.uint16)
    about = PngInfo()
    facts = {"floor-mm": floor, "step-mm": surface.step_mm, "x0-mm": surface.x0_mm, "y0-mm": surface.y0_mm}
    for name, value in facts.items():
        about.add_text(name, f"{value:.6f}")
    Image.fromarray(values[::-1].copy()).save(out, format="PNG", pnginfo=about)
    return out.getvalue()


def _lit(surface: Surface, factor: int) -> Array32:
    """Return the light on the wood (rows, columns), front row first, ``factor`` pixels of the map averaged into one."""
    heights, step = surface.height_mm, surface.step_mm
    rows, columns = heights.shape
    climb = SUN[2] / math.hypot(SUN[0], SUN[1])
    reach = min(MOST_STEPS, math.ceil(surface.deepest_mm / climb / step))  # pixels the longest shadow takes
    band = max(factor, BAND_ROWS // factor * factor)
    x_mm, y_mm = (np.arange(count, dtype=np.float32) * np.float32(step) for count in (columns, rows))
    bands = []
    for first in range(0, rows, band):
        last, low = min(first + band, rows), max(0, first - 1)
        part = np.ascontiguousarray(heights[low : last + reach + 1], dtype=np.float32)
        light = _light(part, step, reach)[first - low : last - low]
        light *= 1.0 + np.float32(GRAIN) * _grain(x_mm, y_mm[first:last])
        bands.append(np.asarray(Image.fromarray(light).reduce(factor)))
    return np.vstack(bands)


def _light(heights: Array32, step_mm: float, reach: int) -> Array32:
    """Return light on every pixel as a share of that on the flat top, same shape."""
    if min(heights.shape) < 2:
        return np.ones_like(heights)
    slope_y, slope_x = np.gradient(heights, step_mm)
    steep = np.sqrt(1.0 + slope_x**2 + slope_y**2)
    first, second = (
        np.clip((up - slope_x * right - slope_y * back) / (steep * up), 0.0, None)
        for right, back, up in (SUN, SECOND)
    )
    both = (first * (1.0 - shade(heights, step_mm, reach)) + SECOND_SHARE * second) / (1.0 + SECOND_SHARE)
    sky = (0.55 + 0.45 * np.exp(heights / SKY_DEPTH_MM)) * (0.5 + 0.5 / steep)
    return np.asarray(SKY * sky + (1.0 - SKY) * both, dtype=np.float32)


def shade(heights: Array32, step_mm: float, reach: int) -> Array32:
    """How much of the direct light is held back, 0 to 1: the wood towards the light is followed pixel by pixel."""
    along = math.hypot(SUN[0], SUN[1])
    climb = SUN[2] / along * step_mm
    over = np.zeros_like(heights)
    rows, columns = heights.shape
    for k in range(1, reach + 1):
        right, back = round(k * SUN[0] / along), round(k * SUN[1] / along)
        to_y, to_x = rows - back, -right
        if to_y <= 0 or to_x >= columns:
            break
        mine = over[:to_y, to_x:]
        np.maximum(mine, heights[back:, : columns - to_x] - heights[:to_y, to_x:] - k * climb, out=mine)
    return np.asarray(np.clip(over / SOFT_MM, 0.0, 1.0))


def noise(values: Array32) -> Array32:
    """Return smooth noise along a line, between 0 and 1, the same for the same value."""
    cell = np.floor(values)
    share = values - cell
    share = share * share * (3.0 - 2.0 * share)

    mixed = (np.stack([cell, cell + 1.0]).astype(np.int64) * 2654435761) & 0xFFFFFFFF
    mixed = ((mixed ^ (mixed >> 15)) * 2246822519) & 0xFFFFFFFF
    one, other = ((mixed ^ (mixed >> 13)) & 0xFFFF).astype(np.float32) / np.float32(65535)
    return np.asarray(one * (1.0 - share) + other * share)


def _grain(x_mm: Array32, y_mm: Array32) -> Array32:
    """Return streaks along X, about -0.5 to 0.5, shape (len(y), len(x))."""
    bend = 2.4 * noise(x_mm * 0.03 + 3.0) + 0.8 * noise(x_mm * 0.11 + 90.0)
    across = y_mm[:, None] + bend[None, :]
    table_mm = np.arange(float(across.min()) - 1.0, float(across.max()) + 1.0, 0.02, dtype=np.float32)
    streaks = (
        0.5 * noise(table_mm * 0.45)
        + 0.3 * noise(table_mm * 1.7 + 400.0)
        + 0.2 * noise(table_mm * 6.3 + 900.0)
    )
    index = np.clip(((across - table_mm[0]) / 0.02).astype(np.int64), 0, len(table_mm) - 1)
    return np.asarray(streaks[index] - 0.5)


def _mask(size: tuple[int, int], surface: Surface, factor: int, rings: Sequence[Floats]) -> Image.Image:
    """Return where the piece is, 0 to 255, smooth along its outline."""
    if not rings:
        return Image.new("L", size, 255)
    fine = 4
    mask = Image.new("L", (size[0] * fine, size[1] * fine), 0)
    first = np.array([surface.x0_mm, surface.y0_mm]) - surface.step_mm / 2.0  # the map's corner
    for ring in rings:
        spots = (ring - first) / (surface.step_mm * factor) * (fine, -fine) + (0.0, mask.height)
        one = Image.new("L", mask.size, 0)
        ImageDraw.Draw(one).polygon(spots.ravel().tolist(), fill=255)
        mask = ImageChops.difference(mask, one)  # a ring within a ring is a hole
    return mask.resize(size, Image.Resampling.BOX)


def _mounted(image: Image.Image, mask: Image.Image) -> Image.Image:
    """Return the piece on its ground with a soft shadow to the lower right."""
    longest = max(image.size)
    margin = max(2, round(longest * MARGIN))
    size = (image.width + 2 * margin, image.height + 2 * margin)
    sheet = Image.new("RGB", size, rgb(LIGHT.paper))
    shadow = Image.new("L", size, 0)
    away = max(1, round(longest * 0.009))
    shadow.paste(mask.point(lambda value: value * 0.45), (margin + away, margin + away))
    shadow = shadow.filter(ImageFilter.GaussianBlur(max(1.0, longest * 0.008)))
    sheet.paste(rgb(VALLEY), (0, 0), shadow)
    sheet.paste(image, (margin, margin), mask)
    return sheet


def banded(sheet: Image.Image, mark: str) -> Image.Image:
    """Return the sheet under a band of words in the colour of findings."""
    tall = max(20, round(max(sheet.size) * BAND))
    result = Image.new("RGB", (sheet.width, sheet.height + tall), rgb(LIGHT.finding))
    result.paste(sheet, (0, tall))
    pen = ImageDraw.Draw(result)
    font = ImageFont.load_default(size=0.6 * tall)
    pen.text((sheet.width / 2, tall / 2), mark, fill=rgb(LIGHT.on_finding), font=font, anchor="mm")
    return result
