"""Carving: the surface the bit leaves, from the moves alone.

At every pixel the surface is the lowest the bit's cutting surface ever passes: exact per line and per level
arc in closed form, helices as very fine chords.  Strokes with windows of the same size are worked out
together, so that a few long grooves and a million short ones are both quick.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from vcarve.dryrun.setup import UNKNOWN, Setup
from vcarve.dryrun.strokes import Strokes, strokes
from vcarve.dryrun.surface import Surface, pixels
from vcarve.dryrun.tip import Tip
from vcarve.plane.arcs import circles, middles, sweeps
from vcarve.plane.arrays import Floats
from vcarve.program.moves import Moves

if TYPE_CHECKING:
    from vcarve.job.bench import Bit

Heights = npt.NDArray[np.floating[Any]]
Kernel = Callable[[Any, Floats, Floats, Tip, Any], Heights]

BATCH_PIXELS = 1 << 16  # pixels worked out together; small enough to stay near the processor
FLAT_ARC_MM = 100.0  # arcs of larger radius are worked out in double precision
WINDOW_PIXELS = 8  # windows are rounded up to multiples of this, so that many have the same size


def carve(moves: Moves, bit: Bit, *, setup: Setup = UNKNOWN, **grid: Any) -> Surface:
    """Carve a piece and return its whole surface: the one tile of ``tiles``, which says what it takes."""
    return next(tiles(moves, bit, setup=setup, **grid))


def tiles(
    moves: Moves,
    bit: Bit,
    *,
    width_mm: float,
    height_mm: float,
    setup: Setup = UNKNOWN,
    step_mm: float = 0.05,
    tile_mm: float = np.inf,
    dtype: npt.DTypeLike = np.float32,
) -> Iterator[Surface]:
    """Yield the carved surface tile by tile, row by row from the front left: memory is bounded by one tile.

    ``width_mm`` and ``height_mm`` are the piece's; without a ``setup`` the zero is at the centre of its top.  Beyond half the
    cutting diameter nothing is cut; deeper than the cone the wall is upright.  Tiles at the right and the back may be smaller.
    """
    tip = Tip.of(bit)
    nx, ny = pixels(width_mm, step_mm), pixels(height_mm, step_mm)
    x0, y0 = -(nx - 1) / 2.0 * step_mm, -(ny - 1) / 2.0 * step_mm
    size = pixels(min(tile_mm, max(width_mm, height_mm)), step_mm)
    made = strokes(moves, tip, setup)
    bent, sloping = made.curve[:, 4] != 0.0, made.z_mm[:, 0] != made.z_mm[:, 1]
    kinds: list[tuple[Strokes, Kernel]] = [
        (made.take(~bent & ~sloping), _level),
        (made.take(sloping), _sloping),
        (made.take(bent), _arc),
    ]
    boxed = [(part, kernel, *part.box()) for part, kernel in kinds]
    for j in range(0, ny, size):
        front, back = y0 + j * step_mm, y0 + (min(j + size, ny) - 1) * step_mm
        rows = [np.flatnonzero((low[:, 1] <= back) & (high[:, 1] >= front)) for _, _, low, high in boxed]
        for i in range(0, nx, size):
            left, right = x0 + i * step_mm, x0 + (min(i + size, nx) - 1) * step_mm
            heights = np.zeros((min(size, ny - j), min(size, nx - i)), dtype=dtype)
            for (part, kernel, low, high), row in zip(boxed, rows, strict=True):
                mine = row[(low[row, 0] <= right) & (high[row, 0] >= left)]
                _sweep(heights, left, front, step_mm, part.take(mine), kernel, tip)
            yield Surface(height_mm=heights, step_mm=step_mm, x0_mm=left, y0_mm=front)


def _sweep(
    heights: Heights, x0: float, y0: float, step: float, part: Strokes, kernel: Kernel, tip: Tip
) -> None:
    """Lower a height map by strokes of one kind."""
    low, high = part.box()
    size = np.array(heights.shape[::-1])
    origin = np.array([x0, y0])
    first = np.clip(np.ceil((low - origin) / step), 0, size).astype(np.int64)
    last = np.clip(np.floor((high - origin) / step) + 1, 0, size).astype(np.int64)
    hits = np.flatnonzero((last > first).all(axis=1))
    if not len(hits):
        return
    first = first[hits]
    window = -(-(last[hits] - first) // WINDOW_PIXELS) * WINDOW_PIXELS
    window = np.minimum(window, size)
    first = np.minimum(first, size - window)
    key = window[:, 0] * (int(size[1]) + 1) + window[:, 1]
    order = np.argsort(key, kind="stable")
    starts = np.flatnonzero(np.diff(key[order], prepend=-1))
    for group in np.split(order, starts[1:]):
        w, h = (int(v) for v in window[group[0]])
        many = max(BATCH_PIXELS // (w * h), 1)
        for begin in range(0, len(group), many):
            rows = group[begin : begin + many]
            at = first[rows]
            x = x0 + step * (at[:, :1] + np.arange(w))
            y = y0 + step * (at[:, 1:] + np.arange(h))
            cut = kernel(part.take(hits[rows]), x[:, None, :], y[:, :, None], tip, heights.dtype)
            for (i, j), lower in zip(at.tolist(), cut.astype(heights.dtype, copy=False), strict=True):
                view = heights[j : j + h, i : i + w]
                np.minimum(view, lower, out=view)


def _level(part: Strokes, x: Floats, y: Floats, tip: Tip, dtype: Any) -> Heights:
    """Return heights (n, h, w) left by level lines and plunges: the profile at the distance from the line."""
    ahead, across, length, z, _ = _beside(part, x, y, dtype)
    ahead -= np.clip(ahead, 0.0, length)
    ahead *= ahead
    across *= across
    ahead += across
    return _under_rim(np.sqrt(ahead, out=ahead), z, tip)


def _sloping(part: Strokes, x: Floats, y: Floats, tip: Tip, dtype: Any) -> Heights:
    """Return heights (n, h, w) left by sloping lines: the least of ``z(t) + rise(distance)``, a convex function of
    ``t``.

    It is least where its derivative vanishes or, if that is off the line or beyond the rim, at the nearest
    end.
    """
    ahead, across, length, z, rise = _beside(part, x, y, dtype)
    across = np.abs(across)
    half = np.sqrt(np.maximum(tip.rim_mm**2 - across * across, 0.0))
    first, last = np.maximum(ahead - half, 0.0), np.minimum(ahead + half, length)
    touched = (across <= tip.rim_mm) & (first <= last)
    place = np.minimum(np.maximum(ahead - tip.nearest(across, rise), first), last)
    rho = np.minimum(np.hypot(ahead - place, across), tip.rim_mm)
    return np.where(touched, z + rise * place + tip.rise(rho), 0.0)


def _arc(part: Strokes, x: Floats, y: Floats, tip: Tip, dtype: Any) -> Heights:
    """Return heights (n, h, w) left by level arcs: the profile at the distance from the arc."""
    centre, radius = circles(part.curve)
    if radius.max() > FLAT_ARC_MM:
        dtype = np.float64
    toward, half = (middles(part.curve) - centre) / radius[:, None], np.abs(sweeps(part.curve)) / 2.0
    ahead, across, r, half_rad, z = _turned(centre, toward, x, y, dtype, radius, half, part.z_mm[:, 0])
    across = np.abs(across)
    cos, sin = np.cos(half_rad), np.sin(half_rad)
    rho = np.where(
        across * cos <= ahead * sin,
        np.abs(np.hypot(ahead, across) - r),
        np.hypot(ahead - r * cos, across - r * sin),
    )
    return _under_rim(rho, z, tip)


def _beside(part: Strokes, x: Floats, y: Floats, dtype: Any) -> list[Heights]:
    """Return how far ahead of the starts of lines and to their left places are, and lengths, heights there and slopes."""
    chord, z = part.curve[:, 2:4] - part.curve[:, :2], part.z_mm
    length = np.hypot(*chord.T)
    whole = np.where(length > 0.0, length, 1.0)
    unit = np.where(length[:, None] > 0.0, chord / whole[:, None], (1.0, 0.0))
    return _turned(part.curve, unit, x, y, dtype, length, z[:, 0], (z[:, 1] - z[:, 0]) / whole)


def _turned(origin: Floats, unit: Floats, x: Floats, y: Floats, dtype: Any, *values: Floats) -> list[Heights]:
    """Return places seen along directions from origins, and one value per stroke, shaped to broadcast over its window."""
    ux, uy, *columns = (v[:, None, None].astype(dtype) for v in (*unit.T, *values))
    dx = (x - origin[:, 0, None, None]).astype(dtype)
    dy = (y - origin[:, 1, None, None]).astype(dtype)
    return [dx * ux + dy * uy, dy * ux - dx * uy, *columns]


def _under_rim(rho: Heights, z: Heights, tip: Tip) -> Heights:
    """Return heights at distances from a level path; beyond the rim the wood stays."""
    cut = tip.rise(rho)
    cut += z
    if float(z.min()) < -tip.cone_mm:
        cut[rho > tip.rim_mm] = 0.0
    return cut
