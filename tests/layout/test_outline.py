"""Outlines of pieces: their sizes against closed forms, and drawn ones that bound something or not."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.special import ellipe

from vcarve.errors import InputError
from vcarve.job.sections import Outline
from vcarve.layout.field import outline_of
from vcarve.pattern.shapes import ellipse, regular_polygon
from vcarve.plane.region import (
    area_mm2,
    bounds,
    corners,
    inside,
    perimeter_mm,
)


def piece(width: float, height: float, **outline: object) -> dict[str, Any]:
    """Return a piece of this size and outline."""
    return {"outline": Outline.model_validate(outline), "width_mm": width, "height_mm": height}


def test_a_rectangle_has_its_own_area_and_perimeter() -> None:
    """The plain outline is a rectangle about the centre."""
    region = outline_of(**piece(80.0, 50.0))

    assert area_mm2(region) == pytest.approx(4000.0, rel=1e-12)
    assert perimeter_mm(region) == pytest.approx(260.0, rel=1e-12)
    assert bounds(region) == (-40.0, -25.0, 40.0, 25.0)


def test_a_circle_has_the_area_and_perimeter_of_a_circle() -> None:
    """Area pi r², perimeter 2 pi r, and the box touches it on four sides."""
    region = outline_of(**piece(90.0, 90.0, shape="circle"))

    assert area_mm2(region) == pytest.approx(math.pi * 45.0**2, rel=1e-12)
    assert perimeter_mm(region) == pytest.approx(math.pi * 90.0, rel=1e-12)
    assert bounds(region) == pytest.approx((-45.0, -45.0, 45.0, 45.0), abs=1e-12)


def test_a_rounded_rectangle_loses_only_its_corners() -> None:
    """Four corner squares of side r become quarter circles: (4 - pi) r² less area, (8 - 2 pi) r less perimeter."""
    region = outline_of(**piece(80.0, 50.0, shape="rounded", radius=6.0))

    assert area_mm2(region) == pytest.approx(4000.0 - (4.0 - math.pi) * 36.0, rel=1e-12)
    assert perimeter_mm(region) == pytest.approx(260.0 - (8.0 - 2.0 * math.pi) * 6.0, rel=1e-12)


def test_the_largest_radius_makes_a_stadium_without_sides_of_no_length() -> None:
    """Where the radius is half the height, the straight sides at the ends are gone."""
    region = outline_of(**piece(80.0, 50.0, shape="rounded", radius=25.0))

    assert len(region.outer.bulge) == 6
    assert area_mm2(region) == pytest.approx(30.0 * 50.0 + math.pi * 625.0, rel=1e-12)


@pytest.mark.parametrize(("width", "height"), [(100.0, 60.0), (40.0, 90.0), (200.0, 20.0), (60.0, 59.9)])
def test_an_ellipse_has_the_area_and_perimeter_of_an_ellipse(width: float, height: float) -> None:
    """Area pi a b and perimeter 4 a E(m), E the complete elliptic integral of the second kind."""
    region = outline_of(**piece(width, height, shape="ellipse"))
    a, b = max(width, height) / 2.0, min(width, height) / 2.0

    perimeter = 4.0 * a * float(ellipe(1.0 - (b / a) ** 2))
    assert area_mm2(region) == pytest.approx(math.pi * a * b, abs=0.0005 * perimeter)
    assert perimeter_mm(region) == pytest.approx(perimeter, abs=0.001)
    assert bounds(region) == pytest.approx((-width / 2, -height / 2, width / 2, height / 2), abs=1e-9)


def test_an_ellipse_strays_less_than_half_a_micrometre() -> None:
    """Every point of the arcs lies within 0.5 µm of the true ellipse, found by Newton's method along the normal."""
    region = ellipse(100.0, 60.0)
    points = corners(region.outer, 1e-6)
    a, b = 50.0, 30.0

    t = np.arctan2(points[:, 1] / b, points[:, 0] / a)
    for _ in range(20):
        dx, dy = points[:, 0] - a * np.cos(t), points[:, 1] - b * np.sin(t)
        first = dx * a * np.sin(t) - dy * b * np.cos(t)
        second = dx * a * np.cos(t) + dy * b * np.sin(t) + (a * np.sin(t)) ** 2 + (b * np.cos(t)) ** 2
        t -= first / second
    stray = np.hypot(points[:, 0] - a * np.cos(t), points[:, 1] - b * np.sin(t))
    assert float(stray.max()) <= 0.0005 + 1e-6


@pytest.mark.parametrize("sides", [3, 4, 5, 6, 8, 12])
def test_a_regular_polygon_has_its_closed_form_area(sides: int) -> None:
    """Area n/2 R² sin(2 pi / n), one flat side at the front, the box centred."""
    unit = bounds(regular_polygon(sides, 0.0))
    width, height = 60.0, 60.0 * (unit[3] - unit[1]) / (unit[2] - unit[0])
    region = outline_of(**piece(width, height, shape="polygon", sides=sides))

    side = float(np.hypot(*(region.outer.xy_mm[1] - region.outer.xy_mm[0])))
    radius = side / (2.0 * math.sin(math.pi / sides))
    assert area_mm2(region) == pytest.approx(
        sides / 2.0 * radius**2 * math.sin(2.0 * math.pi / sides), rel=1e-12
    )
    assert bounds(region) == pytest.approx((-width / 2, -height / 2, width / 2, height / 2), abs=1e-9)
    front = np.sort(region.outer.xy_mm[:, 1])[:2]
    assert front == pytest.approx([-height / 2, -height / 2])


def test_a_turned_hexagon_stands_on_a_corner() -> None:
    """Thirty degrees turn the flat side at the front into a corner."""
    region = outline_of(**piece(50.0, 50.0 * 2.0 / math.sqrt(3.0), shape="polygon", sides=6, turn=30.0))

    assert np.count_nonzero(np.isclose(region.outer.xy_mm[:, 1], bounds(region)[1])) == 1


@pytest.mark.parametrize("sides", [3, 5, 6, 7, 12])
def test_a_polygon_that_cannot_be_says_what_to_write(sides: int) -> None:
    """The numbers of the message, a height and a width, each make the polygon; a hexagon is √3 / 2 as high as wide."""
    with pytest.raises(InputError, match=r"write height: .*, or width: ") as caught:
        outline_of(**piece(80.0, 95.0, shape="polygon", sides=sides))
    high, wide = (
        float(number) for number in re.findall(r"(?:height|width): ([0-9.]+) mm", str(caught.value))
    )

    assert sides != 6 or high == pytest.approx(40.0 * math.sqrt(3.0), abs=5e-4)
    for size in ((80.0, high), (wide, 95.0)):
        assert bounds(outline_of(**piece(*size, shape="polygon", sides=sides)))[2:] == pytest.approx(
            (size[0] / 2.0, size[1] / 2.0), abs=1e-3
        )


def test_a_drawn_outline_with_a_hole(tmp_path: Path) -> None:
    """The largest closed path is the outline, the other a hole; areas add up."""
    (tmp_path / "tray.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="120mm" height="90mm" viewBox="0 0 120 90">'
        '<rect x="10" y="10" width="100" height="70" rx="5"/><circle cx="60" cy="45" r="12"/></svg>'
    )
    region = outline_of(**piece(100.0, 70.0, shape="drawing", file="tray.svg"), folder=str(tmp_path))

    assert len(region.holes) == 1
    assert area_mm2(region) == pytest.approx(7000.0 - (4.0 - math.pi) * 25.0 - math.pi * 144.0, rel=1e-7)
    assert inside(region, np.array([(0.0, 0.0), (20.0, 20.0), (60.0, 0.0)])).tolist() == [
        False,
        True,
        False,
    ]


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ('<rect width="50" height="40"/>', "50.00 mm by 40.00 mm, but the piece is 100 mm by 70 mm"),
        ('<path d="M 0 0 H 100 V 70 H 0"/>', "outline ends at"),
        ('<path d="M 0 0 H 100 V 70 H 0 Z M 0 0 L 100 70"/>', "outline branches at"),
        ('<path d="M 0 0 L 100 70 V 0 L 0 70 Z"/>', "crosses itself at"),
        ('<rect width="60" height="70"/><rect x="70" width="30" height="70"/>', "second outline"),
        ('<rect width="100" height="70"/><circle cx="50" cy="35" r="9"/><circle cx="50" cy="35" r="5"/>', "hole"),
    ],
)  # fmt: skip
def test_a_drawn_outline_that_bounds_nothing_is_refused(tmp_path: Path, body: str, words: str) -> None:
    """Wrong size, open, branching, crossing, doubled or nested outlines are told apart, with places and sizes."""
    (tmp_path / "bad.svg").write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="70mm" viewBox="0 0 100 70">{body}</svg>'
    )
    with pytest.raises(InputError, match=words):
        outline_of(**piece(100.0, 70.0, shape="drawing", file="bad.svg"), folder=str(tmp_path))
