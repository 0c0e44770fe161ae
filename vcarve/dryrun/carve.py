"""Carving: the surface the bit leaves, from the moves alone.

At every pixel the surface is the lowest the bit's cutting surface ever passes: exact per line and per level arc in closed form,
helices as very fine chords.  What moves below the top is cut into short strokes; those with windows of the same size are
worked out together, so that a few long grooves and a million short ones are both quick.

Glossary
stroke    a short piece of path below the top of the piece: a line, level or sloping, or a level arc
level     at one depth all along

Places are piece coordinates: origin at the piece's centre, X to the right, Y to the back, Z 0 at its top.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from vcarve.dryrun.tip import Heights, Tip
from vcarve.dryrun.top import MAP_MM
from vcarve.dryrun.track import UNKNOWN, Setup, chords_within, laid
from vcarve.job.bench import Cutter
from vcarve.plane.arcs import boxes, circles, middles, sweeps, turned
from vcarve.plane.arrays import Bools, Columns, Floats, Ints, ReadOnly
from vcarve.program.moves import Moves, Plane

Kernel = Callable[[Any, Floats, Floats, Tip, Any], Heights]

BATCH_PIXELS = 1 << 16  # pixels worked out together; small enough to stay near the processor
FLAT_ARC_MM = 100.0  # arcs of larger radius are worked out in double precision
WINDOW_PIXELS = 8  # windows are rounded up to multiples of this, so that many have the same size
STROKE_MM = 5.0  # longer moves are parted, so that each stroke only meets a narrow band of the surface
HELIX_SAG_MM = 1e-4  # helices and upright arcs become chords that stay this near: far below any grid step
FLAT = 1e-9  # from this bulge on an arc is no line: far below any grid step
ABOVE_MM = 0.1  # more than the highest place of a top that is not flat, as it is found here, can be off
WIDEST_ARC_RAD = 0.5 * np.pi  # arcs are parted at least so often
MOST_PIXELS = 40_000_000  # what a whole piece may take before a coarser step is chosen
MOST_PIXELS_ASKED = 100_000_000  # of a grid that is asked for: some 2 to 4 GB


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface(ReadOnly):
    """The carved surface as a height map (ny, nx), read-only; ``x0_mm``, ``y0_mm`` is the centre of pixel (0, 0).

    ``height_mm[j, i]`` is the wood's height at the pixel's centre, ``x_mm[i]``, ``y_mm[j]``: row 0 is the front edge.  0 is the
    untouched top, what is cut is below 0.
    """

    height_mm: Heights  # (ny, nx)
    step_mm: float
    x0_mm: float
    y0_mm: float

    @property
    def x_mm(self) -> Floats:
        """X of the pixel centres, shape (nx,)."""
        return self.x0_mm + self.step_mm * np.arange(self.height_mm.shape[1], dtype=np.float64)

    @property
    def y_mm(self) -> Floats:
        """Y of the pixel centres, shape (ny,)."""
        return self.y0_mm + self.step_mm * np.arange(self.height_mm.shape[0], dtype=np.float64)

    @property
    def removed_mm3(self) -> float:
        """Volume of the wood removed: every pixel stands for its square."""
        return -float(self.height_mm.sum(dtype=np.float64)) * self.step_mm**2

    @property
    def deepest_mm(self) -> float:
        """The deepest cut below the top, 0 or more."""
        return -float(self.height_mm.min(initial=0.0))

    def shows(self, place_mm: Floats) -> Bools:
        """Tell which of places (..., 2) are on the map."""
        at = (place_mm - [self.x0_mm, self.y0_mm]) / self.step_mm
        return np.asarray(((at >= -0.5) & (at <= np.array(self.height_mm.shape[::-1]) - 0.5)).all(axis=-1))

    def pixel(self, place_mm: Floats) -> tuple[Floats, Floats]:
        """Return height and centre of the pixel nearest to places (..., 2); the height is NaN off the map."""
        index = np.rint((place_mm - [self.x0_mm, self.y0_mm]) / self.step_mm).astype(np.int64)
        x, y = np.moveaxis(np.clip(index, 0, np.array(self.height_mm.shape[::-1]) - 1), -1, 0)
        height = np.where(self.shows(place_mm), self.height_mm[y, x].astype(np.float64), np.nan)
        return height, index * self.step_mm + [self.x0_mm, self.y0_mm]


def pixels(length_mm: float, step_mm: float) -> int:
    """How many pixels cover a length; the last half pixel may stand over the edge."""
    return max(math.ceil(length_mm / step_mm - 1e-6), 1)


def suitable_step_mm(
    width_mm: float, height_mm: float, *, finest_mm: float = 0.05, most_pixels: int = MOST_PIXELS
) -> float:
    """Return the finest step, doubled until the whole piece fits into ``most_pixels``."""
    step = finest_mm
    while pixels(width_mm, step) * pixels(height_mm, step) > most_pixels:
        step *= 2.0
    return step


@dataclass(frozen=True, slots=True, kw_only=True)
class Strokes(Columns):
    """Curves (n, 5), see ``plane.arcs``, their heights at both ends (n, 2), and boxes (n, 4) round all that they can touch.

    Arcs are level; what stands upright cuts as its lowest place.
    """

    curve: Floats
    z_mm: Floats
    box: Floats


def strokes(moves: Moves, tip: Tip, setup: Setup) -> Strokes:
    """Return every stroke of a program, rapids included: whatever moves below the top cuts.

    Moves in machine coordinates and others whose end is not known are left out; of those whose start is not known only the
    end cuts.
    """
    start, end, sweep = setup.on_piece(moves.known_start_mm), setup.on_piece(moves.end_mm), moves.sweep_rad
    low, arc = np.minimum(start[:, 2], end[:, 2]), sweep != 0.0
    chord = end - start
    helix = arc & ((moves.plane != Plane.XY) | (chord[:, 2] != 0.0))
    slope = helix | ((chord[:, 2] != 0.0) & chord[:, :2].any(axis=1))
    # An upright arc may dip below both its ends.
    which = np.flatnonzero(((low < 0.0) | helix) & moves.told & ~moves.lost[1:].any(axis=1))
    level = which[~slope[which]]
    path = np.column_stack([start[level, :2], end[level, :2], sweep[level]])
    which = np.concatenate([which[slope[which]], level[_deepest(path, low[level])]])

    length = np.hypot(*chord[which, :2].T)
    length[arc[which]] = (np.abs(sweep) * moves.radius_mm)[which[arc[which]]]
    count = np.ceil(np.maximum(length / STROKE_MM, np.abs(sweep[which]) / WIDEST_ARC_RAD))
    many = np.where(helix[which], chords_within(moves, which, HELIX_SAG_MM), np.maximum(count, 1))
    owner, curve, z = laid(moves, which, many.astype(np.int64), setup)
    upright = (curve[:, :2] == curve[:, 2:4]).all(axis=1)
    curve[helix[owner] | upright | (np.abs(curve[:, 4]) < FLAT), 4] = 0.0
    z[upright] = z[upright].min(axis=1, keepdims=True)
    lowest = z.min(axis=1)
    box = boxes(curve) + tip.reach_mm(-lowest)[:, None] * (-1.0, -1.0, 1.0, 1.0)
    return Strokes(curve=curve, z_mm=z, box=box).take(lowest < 0.0)


def _deepest(path: Floats, z_mm: Floats) -> Ints:
    """Return the rows that are the lowest along their path, either way: levels above and recuts change nothing."""
    back = (path[:, 0] > path[:, 2]) | ((path[:, 0] == path[:, 2]) & (path[:, 1] > path[:, 3]))
    key = np.where(back[:, None], turned(path), path)
    order: Ints = np.lexsort((z_mm, *key.T))
    return np.asarray(order[(np.diff(key[order], axis=0, prepend=np.nan) != 0.0).any(axis=1)])


def carve(moves: Moves, bit: Cutter, **grid: Any) -> Surface:
    """Carve a piece and return its whole surface: the one tile of ``tiles``, which says what it takes."""
    return next(tiles(moves, bit, **grid))


def tiles(
    moves: Moves,
    bit: Cutter,
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
    # Of a top that is not flat, all is told from its highest place, and only at last from where it is.
    level = 0.0
    if setup.top is not None:
        whole = _top(setup, x0, y0, MAP_MM, (pixels(height_mm, MAP_MM), pixels(width_mm, MAP_MM)))
        level = max(float(whole.max()), 0.0) + ABOVE_MM
    made = strokes(moves, tip, replace(setup, top_mm=setup.top_mm + level, top=None))
    bent = made.curve[:, 4] != 0.0
    kinds: list[tuple[Strokes, Kernel]] = [(made.take(~bent), _line), (made.take(bent), _arc)]
    for j in range(0, ny, size):
        front, back = y0 + j * step_mm, y0 + (min(j + size, ny) - 1) * step_mm
        rows = [np.flatnonzero((part.box[:, 1] <= back) & (part.box[:, 3] >= front)) for part, _ in kinds]
        for i in range(0, nx, size):
            left, right = x0 + i * step_mm, x0 + (min(i + size, nx) - 1) * step_mm
            shape = min(size, ny - j), min(size, nx - i)
            below = (_top(setup, left, front, step_mm, shape) - level).astype(dtype)
            heights = np.full(shape, below)
            for (part, kernel), row in zip(kinds, rows, strict=True):
                mine = row[(part.box[row, 0] <= right) & (part.box[row, 2] >= left)]
                _sweep(heights, left, front, step_mm, part.take(mine), kernel, tip)
            heights -= below
            yield Surface(height_mm=heights, step_mm=step_mm, x0_mm=left, y0_mm=front)


def _top(setup: Setup, x0: float, y0: float, step: float, shape: tuple[int, int]) -> Floats:
    """Return how high the top of each pixel (ny, nx) stands above that at the zero; a single 0 where it is flat."""
    if setup.top is None:
        return np.zeros(())
    axes, shares = [], []
    for origin, count in ((y0, shape[0]), (x0, shape[1])):
        marks = np.linspace(0.0, (count - 1) * step, max(math.ceil(count * step / MAP_MM), 1) + 1)
        axes.append(origin + marks)
        shares.append(
            np.array([np.interp(step * np.arange(count), marks, one) for one in np.eye(len(marks))])
        )
    y, x = np.meshgrid(*axes, indexing="ij")
    height = setup.top.rise_mm(setup.in_work(np.stack([x, y], axis=-1)))
    return np.asarray(shares[0].T @ height @ shares[1])


def _sweep(
    heights: Heights, x0: float, y0: float, step: float, part: Strokes, kernel: Kernel, tip: Tip
) -> None:
    """Lower a height map by strokes of one kind."""
    low, high = np.hsplit(part.box, 2)
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


def _line(part: Strokes, x: Floats, y: Floats, tip: Tip, dtype: Any) -> Heights:
    """Return heights (n, h, w) left by lines and plunges: the least of ``z(t) + rise(distance)``, a convex function of ``t``.

    It is least where its derivative vanishes or, if that is off the line or beyond the rim, at the nearest end.
    """
    chord, z = part.curve[:, 2:4] - part.curve[:, :2], part.z_mm
    length = np.hypot(*chord.T)
    whole = np.where(length > 0.0, length, 1.0)
    unit = np.where(length[:, None] > 0.0, chord / whole[:, None], (1.0, 0.0))
    columns = (length, z[:, 0], (z[:, 1] - z[:, 0]) / whole)
    ahead, across, end, low, rise = _turned(part.curve, unit, x, y, dtype, *columns)
    across = np.abs(across)
    half = np.sqrt(np.maximum(tip.rim_mm**2 - across * across, 0.0))
    first, last = np.maximum(ahead - half, 0.0), np.minimum(ahead + half, end)
    touched = (across <= tip.rim_mm) & (first <= last)
    place = np.minimum(np.maximum(ahead - tip.nearest(across, rise), first), last)
    rho = np.minimum(np.hypot(ahead - place, across), tip.rim_mm)
    return np.where(touched, low + rise * place + tip.rise(rho), 0.0)


def _arc(part: Strokes, x: Floats, y: Floats, tip: Tip, dtype: Any) -> Heights:
    """Return heights (n, h, w) left by level arcs: the profile at the distance from the arc; beyond the rim the wood stays."""
    centre, radius = circles(part.curve)
    if radius.max() > FLAT_ARC_MM:
        dtype = np.float64
    toward, half = (middles(part.curve) - centre) / radius[:, None], np.abs(sweeps(part.curve)) / 2.0
    ahead, across, r, half_rad, z = _turned(centre, toward, x, y, dtype, radius, half, part.z_mm[:, 0])
    across = np.abs(across)
    cos, sin = np.cos(half_rad), np.sin(half_rad)
    by_end = np.hypot(ahead - r * cos, across - r * sin)
    rho = np.where(across * cos <= ahead * sin, np.abs(np.hypot(ahead, across) - r), by_end)
    return np.where(rho <= tip.rim_mm, z + tip.rise(rho), 0.0)


def _turned(origin: Floats, unit: Floats, x: Floats, y: Floats, dtype: Any, *values: Floats) -> list[Heights]:
    """Return how far ahead of origins and to the left places are along directions, and values, all shaped for windows."""
    ux, uy, *columns = (v[:, None, None].astype(dtype) for v in (*unit.T, *values))
    dx = (x - origin[:, 0, None, None]).astype(dtype)
    dy = (y - origin[:, 1, None, None]).astype(dtype)
    return [dx * ux + dy * uy, dy * ux - dx * uy, *columns]
