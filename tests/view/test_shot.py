"""The picture from an angle: what is seen where, against the camera's closed form, and where light and shadow fall."""

from __future__ import annotations

import io
import math
from typing import Any

import numpy as np
import pytest
import shapely
from PIL import Image

from vcarve.dryrun.carve import Surface
from vcarve.plane.arrays import Floats
from vcarve.view.camera import camera_on
from vcarve.view.shot import FINER, View, camera_for, fallen, shot_png
from vcarve.view.sight import TABLE, TOP, WALL, Scene, look

WIDE, HIGH, THICK, STEP = 40.0, 30.0, 6.0, 0.1
RECTANGLE = np.array([(-WIDE, -HIGH), (WIDE, -HIGH), (WIDE, HIGH), (-WIDE, HIGH)]) / 2.0
SMALL = View(width_px=320)


def board(groove_mm: float = 0.0) -> Surface:
    """Return the top of a board, with a right-angled groove so deep along all of its middle."""
    nx, ny = round(WIDE / STEP), round(HIGH / STEP)
    y = (np.arange(ny) - (ny - 1) / 2.0) * STEP
    heights = -np.maximum(groove_mm - np.abs(y), 0.0)[:, None] * np.ones(nx)
    return Surface(
        height_mm=heights.astype(np.float32), step_mm=STEP, x0_mm=-(nx - 1) / 2.0 * STEP, y0_mm=float(y[0])
    )


def scene(groove_mm: float = 0.0, *holes: Floats) -> Scene:
    """Return the board on a table."""
    return Scene(board(groove_mm), [RECTANGLE, *holes], THICK)


def seen(view: View, of: Scene, *places: tuple[float, float, float]) -> list[tuple[int, Floats]]:
    """Return what the dots see that these places are seen in, and where that is."""
    camera, (width, height) = camera_for(of, view)
    sight = look(of, camera, range(height * FINER), width * FINER)
    column, row = camera.seen(np.array(places)).astype(int).T
    dot = row * width * FINER + column
    return [(int(sight.what[k]), sight.place_mm[k]) for k in dot]


def test_a_camera_sees_what_its_dots_look_at() -> None:
    """From 100 mm straight above a place 25 mm off is seen a quarter of the focal length off, and dots look back at it."""
    corners = np.array([(-1.0, -1.0, 0.0), (1.0, 1.0, 0.0)])
    above = camera_on(corners, 90.0, 0.0, (300, 300), 0.0)
    aslant = camera_on(corners, 35.0, 50.0, (300, 200), 0.1)
    far = above.eye_mm[2]
    place = np.array([0.6, -0.8, -0.3])
    slope = aslant.slopes(aslant.seen(place))
    turn, rise = math.radians(50.0), math.radians(35.0)

    np.testing.assert_allclose(
        above.seen(np.array([far / 4.0, 0.0, 0.0])) - above.middle_px, (above.focal_px / 4.0, 0.0), atol=1e-9
    )
    np.testing.assert_allclose(
        above.seen(np.array([0.0, far / 4.0, 0.0])) - above.middle_px, (0.0, -above.focal_px / 4.0), atol=1e-9
    )
    np.testing.assert_allclose(
        aslant.eye_mm[:2] + (aslant.eye_mm[2] - place[2]) * slope, place[:2], atol=1e-9
    )
    assert math.atan2(aslant.eye_mm[0], -aslant.eye_mm[1]) == pytest.approx(turn)
    assert math.asin(aslant.eye_mm[2] / np.linalg.norm(aslant.eye_mm)) == pytest.approx(rise)


@pytest.mark.parametrize(
    "view",
    [
        SMALL,
        View(rise_deg=25.0, turn_deg=130.0, width_px=300, height_px=240),
        View(rise_deg=90.0, turn_deg=0.0, width_px=300),
    ],
)
def test_the_silhouette_is_where_the_corners_are_seen(view: View) -> None:
    """A board covers the hull of its eight corners as the camera sees them, in every dot but those its border passes."""
    of = scene()
    camera, (width, height) = camera_for(of, view)
    corners = np.array([(*xy, z) for xy in RECTANGLE for z in (0.0, -THICK)])
    hull: Any = shapely.convex_hull(shapely.multipoints(camera.seen(corners)))
    sight = look(of, camera, range(height * FINER), width * FINER)
    dots = np.stack(
        np.meshgrid(np.arange(width * FINER) + 0.5, np.arange(height * FINER) + 0.5), axis=-1
    ).reshape(-1, 2)
    clear = ~shapely.dwithin(shapely.points(dots), hull.exterior, 0.75)

    assert 0.2 < hull.area / len(dots) < 0.9
    np.testing.assert_array_equal((sight.what != TABLE)[clear], shapely.contains_xy(hull, *dots.T)[clear])


def test_a_groove_is_as_deep_as_it_is_and_runs_out_at_the_edge() -> None:
    """In the groove its wall is met at its height; over the edge one looks into it, and below its bottom at the edge's wall."""
    view = View(turn_deg=-60.0, width_px=320)
    (inside, at), (out, _), (below, on), (land, _) = seen(
        view,
        scene(3.0),
        (0.0, 1.5, -1.5),
        (-WIDE / 2.0, 0.0, -1.5),
        (-WIDE / 2.0, 0.0, -4.5),
        (0.0, 8.0, 0.0),
    )

    assert (inside, out, below, land) == (TOP, TOP, WALL, TOP)
    assert at == pytest.approx((0.0, 1.5, -1.5), abs=0.15)
    assert on == pytest.approx((-WIDE / 2.0, 0.0, -4.5), abs=0.15)


def test_through_a_hole_one_sees_the_table() -> None:
    """Straight above a hole there is the table, from aslant the hole's far wall."""
    turn = np.linspace(0.0, -2.0 * np.pi, 64, endpoint=False)
    of = scene(0.0, 6.0 * np.column_stack([np.cos(turn), np.sin(turn)]))
    straight = seen(View(rise_deg=90.0, turn_deg=0.0, width_px=320), of, (0.0, 0.0, -THICK))
    aslant = seen(View(rise_deg=30.0, turn_deg=0.0, width_px=320), of, (0.0, 6.0, -2.0))

    assert [what for what, _ in (*straight, *aslant)] == [TABLE, WALL]


def brightness(png: bytes, view: View, of: Scene, *places: tuple[float, float, float]) -> list[float]:
    """Return how bright places are in a picture, about each of them."""
    grey = np.asarray(Image.open(io.BytesIO(png)).convert("L"), dtype=float)
    column, row = (camera_for(of, view)[0].seen(np.array(places)) / FINER).astype(int).T
    return [float(grey[y - 1 : y + 2, x - 1 : x + 2].mean()) for x, y in zip(column, row, strict=True)]


def test_shadow_falls_away_from_the_light() -> None:
    """Light comes from the upper left: the table is dark to the lower right, as far as the top's shadow reaches, no farther."""
    of, png = scene(), shot_png(board(), [RECTANGLE], THICK, "#c89a6a", SMALL)
    right, front = fallen(THICK)
    at = np.array([WIDE / 2.0, -HIGH / 2.0])
    within, beyond, left = (
        (*(at + 0.5 * np.array([right, front])), -THICK),
        (0.0, -HIGH / 2.0 + 1.6 * front, -THICK),
        (-WIDE / 2.0 - 3.0, 0.0, -THICK),
    )
    dark, *lit = brightness(png, SMALL, of, within, beyond, left)

    assert right > 0.0 > front
    assert dark < 0.8 * min(lit)


def test_a_groove_is_dark_where_its_wall_turns_from_the_light() -> None:
    """Its back wall, nearer to the light, faces away from it and is darker than its front wall, and both than none at all."""
    view = View(rise_deg=75.0, turn_deg=0.0, width_px=320)
    png = shot_png(board(3.0), [RECTANGLE], THICK, "#c89a6a", view)
    back, front, land = (
        np.mean(brightness(png, view, scene(3.0), *((x, y, z) for x in (-12.0, -4.0, 4.0, 12.0))))
        for y, z in ((1.5, -1.5), (-1.5, -1.5), (8.0, 0.0))
    )

    assert back < 0.75 * front
    assert back < 0.75 * land


def test_a_wall_in_the_light_is_brighter_than_one_in_the_shade() -> None:
    """Of two walls seen at once the left one gets light, the front one none."""
    png = shot_png(board(), [RECTANGLE], THICK, "#c89a6a", View(turn_deg=-45.0, width_px=320))
    left, front = brightness(
        png, View(turn_deg=-45.0, width_px=320), scene(), (-WIDE / 2.0, 0.0, -3.0), (0.0, -HIGH / 2.0, -3.0)
    )

    assert front < 0.8 * left


def test_the_same_piece_gives_the_same_bytes() -> None:
    """Nothing of chance is in a picture; its size is as asked for, or as the piece needs."""
    one, two = (shot_png(board(2.0), [RECTANGLE], THICK, "#c89a6a", SMALL) for _ in range(2))
    square = shot_png(board(), [RECTANGLE], THICK, "#c89a6a", View(width_px=200, height_px=200))

    assert one == two
    assert Image.open(io.BytesIO(one)).size[0] == 320
    assert Image.open(io.BytesIO(square)).size == (200, 200)
