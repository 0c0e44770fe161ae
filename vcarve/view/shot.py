"""The finished piece from an angle: carved, in its wood, lit from the upper left, with its shadow on the table.

Light is added up evenly and only at last turned into the brightness of a screen, so that shade keeps its warmth.  The wood is
worked out in space: growth rings go down into grooves and round onto the end grain.  Same piece, same bytes.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from PIL import Image, ImageDraw, ImageFilter

from vcarve.dryrun.carve import Surface
from vcarve.plane.arrays import Bools, Floats, Ints
from vcarve.view.camera import Camera, camera_on
from vcarve.view.look import LIGHT, SECOND, SUN, rgb
from vcarve.view.picture import banded, noise, shade
from vcarve.view.sight import TABLE, TOP, WALL, Scene, Sight, look, sampled

FINER = 2  # dots across for each of the picture, to smooth its edges
BAND_ROWS = 24  # a multiple of the weave's 4, see ``_screen``
MARGIN = 0.07
LEAST_HIGH, MOST_HIGH = 0.5, 1.0  # of the width, where the piece decides

DIRECT, SKY, FILL = 0.60, 0.24, 0.16  # shares of the light on the flat top
LAMP_RAD = 0.09  # half of how wide the light is: shadows are softer the farther they fall
LAMPS = 32
TABLE_LIGHT = 0.95  # of the paper's own colour
# What is in the shade looks warmer: red light is lost last, in wood more than in paper.
WOOD_SHADE, TABLE_SHADE = np.array([0.86, 1.04, 1.2]), np.array([0.9, 1.02, 1.12])
SHINE = 0.04
EASED_MM = 0.5  # over so much below the top a wall's edge is eased


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """From where the piece is seen: how high the eye stands above the table, and how far it is turned from the piece's front.

    Without a height the picture is as high as the piece needs.
    """

    rise_deg: float = 42.0
    turn_deg: float = -24.0
    width_px: int = 1600
    height_px: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Woods:
    """Several woods side by side: which of them each pixel of a map is of.

    Each has its tint (``#rrggbb``), where in the tree it comes from, mm (k, 3), and whether its grain runs along Y, (k,).
    """

    map: Surface
    which: Ints
    tints: tuple[str, ...]
    shifts_mm: Floats
    upright: Bools

    def at(self, place: Floats) -> tuple[Floats, Floats]:
        """Return where in the tree places (n, 3) are, and the light of their wood (n, 3)."""
        first = np.array([self.map.x0_mm, self.map.y0_mm])
        most = np.array(self.which.shape[::-1]) - 1
        column, row = np.clip(np.rint((place[:, :2] - first) / self.map.step_mm), 0, most).astype(np.int64).T
        wood = self.which[row, column]
        lying = np.where(self.upright[wood, None], place[:, (1, 0, 2)], place) + self.shifts_mm[wood]
        return np.asarray(lying), np.array([_linear(tint) for tint in self.tints])[wood]


def shot_png(
    surface: Surface,
    rings: Sequence[Floats],
    thickness_mm: float,
    tint: str | Woods,
    view: View,
    *,
    mark: str = "",
    progress: Callable[[float], None] = lambda share: None,
) -> bytes:
    """Return PNG (RGB) of a carved piece from an angle; ``rings`` are its outline and holes (n, 2), ``tint`` is ``#rrggbb``, or
    of what woods it is.

    ``mark`` is written on a band along the top.
    """
    scene = Scene(surface, rings, thickness_mm)
    camera, (width, height) = camera_for(scene, view)
    lit = _Lit.of(scene)
    rows = []
    for first in range(0, height, BAND_ROWS):
        last = min(first + BAND_ROWS, height)
        sight = look(scene, camera, range(first * FINER, last * FINER), width * FINER)
        colour = _coloured(scene, camera, lit, sight, tint)
        rows.append(_screen(colour.reshape(last - first, FINER, width, FINER, 3).mean(axis=(1, 3))))
        progress(last / height)
    image = Image.fromarray(np.concatenate(rows))
    if mark:
        image = banded(image, mark)
    buffer = io.BytesIO()
    image.save(buffer, format="PNG", compress_level=6)
    return buffer.getvalue()


def camera_for(scene: Scene, view: View) -> tuple[Camera, tuple[int, int]]:
    """Return the camera that sees the whole piece and its shadow, and the picture's size; its dots are ``FINER`` for each."""
    low = np.insert(
        np.vstack([scene.start, scene.start + fallen(scene.thickness_mm)]), 2, -scene.thickness_mm, axis=1
    )
    places = np.vstack([np.insert(scene.start, 2, 0.0, axis=1), low])
    angles, wide = (view.rise_deg, view.turn_deg), view.width_px * FINER
    high = None if view.height_px is None else view.height_px * FINER
    if high is None:
        right, down = np.ptp(camera_on(places, *angles, (wide, wide), 0.0).seen(places), axis=0)
        high = FINER * round(view.width_px * min(max(float(down / right), LEAST_HIGH), MOST_HIGH))
    return camera_on(places, *angles, (wide, high), MARGIN), (view.width_px, high // FINER)


def fallen(height_mm: float, light: Sequence[float] = SUN) -> Floats:
    """Return how far across (2,) the shadow of what stands so high falls."""
    return -height_mm * np.array(light[:2]) / light[2]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Lit:
    """The light on the top, pixel by pixel of its map, how it slopes, and the share of light on the table, on a coarser map."""

    top: Floats
    slope: tuple[Floats, Floats]
    table: Surface

    @classmethod
    def of(cls, scene: Scene) -> _Lit:
        from scipy.ndimage import gaussian_filter

        surface = scene.surface
        heights, step = surface.height_mm.astype(np.float32), surface.step_mm
        slope_y, slope_x = np.gradient(heights, step)
        steep = np.sqrt(1.0 + slope_x**2 + slope_y**2)
        first, fill = (
            np.clip((up - slope_x * right - slope_y * back) / (steep * up), 0.0, None)
            for right, back, up in (SUN, SECOND)
        )
        reach = math.ceil(surface.deepest_mm * math.hypot(*SUN[:2]) / SUN[2] / step)
        open_ = np.ones_like(heights)
        for wide in (0.4, 1.2):
            over = gaussian_filter(heights, wide * max(surface.deepest_mm, step) / step) - heights
            open_ *= 1.0 - 0.6 * np.clip(over / max(surface.deepest_mm, step), 0.0, 1.0)
        direct = first * (1.0 - shade(heights, step, reach))
        top = DIRECT * direct + FILL * fill + SKY * open_ * (0.5 + 0.5 / steep)
        return cls(top=top, slope=(np.asarray(slope_x), np.asarray(slope_y)), table=_table_light(scene))


def _table_light(scene: Scene) -> Surface:
    """Return the share of light on the table as a map: the piece's shadow, soft as the lamp is wide, and its nearness."""
    low, high = scene.start.min(axis=0), scene.start.max(axis=0)
    thick, far = scene.thickness_mm, float(np.linalg.norm(high - low))
    step = far / 900.0
    room = 3.0 * thick + 0.1 * far
    size = tuple(np.ceil((high - low + 2.0 * room) / step).astype(int).tolist())
    corner = low - room
    shadow = np.zeros(size[::-1])
    for k in range(LAMPS):
        # Sunflower seeds fill the lamp's disk evenly.
        radius, turn = LAMP_RAD * math.sqrt((k + 0.5) / LAMPS), k * math.pi * (3.0 - math.sqrt(5.0))
        light = (SUN[0] + radius * math.cos(turn), SUN[1] + radius * math.sin(turn), SUN[2])
        shadow += np.asarray(_cast(scene, fallen(thick, light), corner, step, size), dtype=np.float64) / 255.0
    blocked = _cast(scene, np.zeros(2), corner, step, size)
    near = blocked.filter(ImageFilter.GaussianBlur(0.8 * thick / step))
    close = np.asarray(near, dtype=np.float64) / 255.0
    share = 1.0 - (0.62 * shadow / LAMPS) - 0.30 * close * (1.0 - 0.3 * shadow / LAMPS)
    return Surface(
        height_mm=share, step_mm=step, x0_mm=float(corner[0]) + step / 2, y0_mm=float(corner[1]) + step / 2
    )


def _cast(scene: Scene, by_mm: Floats, corner: Floats, step: float, size: tuple[int, int]) -> Image.Image:
    """Return the shadow on the table, 0 or 255 and row 0 at the front: the piece swept along to where its top's shadow falls."""
    corners = np.stack([scene.start, scene.end, scene.end + by_mm, scene.start + by_mm], axis=1)
    ends = shapely.transform(scene.outline, lambda xy: xy + by_mm)
    swept = shapely.union_all(np.concatenate([[scene.outline, ends], shapely.polygons(corners)]))
    swept = shapely.buffer(swept, -1.5 * step)  # the dots' own steps stay under the piece
    made = Image.new("L", size, 0)
    pen = ImageDraw.Draw(made)
    for part in shapely.get_parts(shapely.orient_polygons(swept)):
        for ring, fill in ((part.exterior, 255), *((hole, 0) for hole in part.interiors)):
            pen.polygon(((shapely.get_coordinates(ring) - corner) / step).ravel().tolist(), fill=fill)
    return made


def _coloured(scene: Scene, camera: Camera, lit: _Lit, sight: Sight, tint: str | Woods) -> Floats:
    """Return the light (n, 3) that comes from what is seen, 1 for a white sheet in full light."""
    place, xy = sight.place_mm, sight.place_mm[:, :2]
    light, shine = np.zeros(len(place)), np.zeros(len(place))
    table, top, wall = (np.flatnonzero(sight.what == kind) for kind in (TABLE, TOP, WALL))
    light[table] = TABLE_LIGHT * sampled(lit.table, lit.table.height_mm, xy[table])
    light[top] = sampled(scene.surface, lit.top, xy[top])
    normal = np.ones((len(top), 3))
    for axis in (0, 1):
        normal[:, axis] = -sampled(scene.surface, lit.slope[axis], xy[top])
    shine[top] = _shine(camera, place[top], normal) * np.minimum(light[top], 1.0)
    facing = np.insert(scene.outward[sight.edge[wall]], 2, 0.0, axis=1)
    eased = np.clip(1.0 + place[wall, 2] / EASED_MM, 0.0, 1.0)[:, None]
    facing = facing + eased * (0.0, 0.0, 1.0)
    facing /= np.linalg.norm(facing, axis=1, keepdims=True)
    falls, fill = (np.clip(facing @ np.array(one), 0.0, None) / one[2] for one in (SUN, SECOND))
    down = -place[wall, 2] / scene.thickness_mm
    light[wall] = DIRECT * falls + FILL * fill + SKY * (0.95 - 0.35 * down) + 0.05
    shine[wall] = _shine(camera, place[wall], facing)
    wood = sight.what != TABLE
    colour = np.empty((len(place), 3))
    colour[table] = _linear(LIGHT.paper) * _vignette(scene, xy[table])[:, None]
    colour[wood] = _timber(place[wood], tint)
    shaded = np.maximum(light, 1e-3)[:, None] ** np.where(wood[:, None], WOOD_SHADE, TABLE_SHADE)
    return np.asarray(colour * shaded + SHINE * shine[:, None])


def _shine(camera: Camera, place: Floats, normal: Floats) -> Floats:
    """Return how much of the light is mirrored from places (n, 3) to the eye, as oiled wood does."""
    toward = camera.eye_mm - place
    half = toward / np.linalg.norm(toward, axis=1, keepdims=True) + SUN
    straight = (half * normal).sum(axis=1) / (np.linalg.norm(half, axis=1) * np.linalg.norm(normal, axis=1))
    return np.asarray(np.clip(straight, 0.0, 1.0) ** 24)


def _vignette(scene: Scene, xy: Floats) -> Floats:
    low, high = scene.start.min(axis=0), scene.start.max(axis=0)
    far = np.linalg.norm((xy - (low + high) / 2.0) / np.linalg.norm(high - low), axis=1)
    return np.asarray(1.0 / (1.0 + 0.16 * far**2))


def _timber(place: Floats, tint: str | Woods) -> Floats:
    """Return the colour (n, 3) of wood at places (n, 3): rings about a heart that lies below and leans, and fibres along X."""
    place, base = (place, _linear(tint)) if isinstance(tint, str) else tint.at(place)
    x, y, z = place.T.astype(np.float32)
    bend = 5.0 * noise(x * 0.013 + 3.0) + 0.7 * noise(x * 0.09 + 90.0)
    ring = np.hypot(y + 18.0 + bend, z - 46.0 - 0.08 * x + 3.0 * noise(x * 0.02 + 40.0))
    late = 0.6 * noise(ring * 0.42) + 0.3 * noise(ring * 1.3 + 400.0) + 0.1 * noise(ring * 5.1 + 900.0)
    fibre = noise(y * 7.0 + 11.0 * noise(x * 0.03 + 7.0) + z * 5.0) * noise(x * 0.35 + y * 3.0 + 20.0)
    dark = 0.9 * (late - 0.5) + 0.36 * (fibre - 0.25)
    return np.asarray(base * np.exp(-dark[:, None] * np.array([0.55, 0.75, 0.95])))


def _linear(colour: str) -> Floats:
    """Return the light (3,) of a colour on a screen (IEC 61966-2-1)."""
    share = np.array(rgb(colour)) / 255.0
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def _screen(light: Floats) -> npt.NDArray[np.uint8]:
    """Return the bytes that show light (..., 3) on a screen; what is brighter than white comes near it slowly."""
    knee = 0.8
    soft = np.where(light > knee, knee + (1.0 - knee) * (1.0 - np.exp(-(light - knee) / (1.0 - knee))), light)
    share = np.where(soft <= 0.0031308, soft * 12.92, 1.055 * np.maximum(soft, 1e-9) ** (1.0 / 2.4) - 0.055)
    # Between two bytes a fine weave decides, or the table would show rings.
    across = np.array([[0, 8, 2, 10], [12, 4, 14, 6], [3, 11, 1, 9], [15, 7, 13, 5]]) / 16.0 + 1.0 / 32.0
    weave = np.tile(across, (light.shape[0] // 4 + 1, light.shape[1] // 4 + 1))[
        : light.shape[0], : light.shape[1], None
    ]
    return np.asarray(np.clip(share * 255.0 + weave, 0.0, 255.0).astype(np.uint8))
