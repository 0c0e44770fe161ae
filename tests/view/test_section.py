"""The small drawings: the groove's cross-section and where zero is."""

from __future__ import annotations

import math
import re
from typing import get_args
from xml.etree import ElementTree

import numpy as np
import pytest

from small_job import job_from, own_job, with_job
from vcarve.job.bench import Bit
from vcarve.job.sections import Clamp, Zero, ZeroPlace
from vcarve.layout.stages import Kind
from vcarve.quantity import MM
from vcarve.run import DryRun, Made
from vcarve.view.facts import STOCK, kept, length
from vcarve.view.section import profile, section_svg, zero_svg
from vcarve.view.sheet import rows, slots

BIT = Bit(angle_deg=60.0, diameter_mm=3.175, shank_mm=3.175)


def _walls(svg: str) -> list[np.ndarray]:
    """Return points of every groove's wall in a drawing."""
    root = ElementTree.fromstring(svg)
    paths = [node.get("d", "") for node in root.iter("path") if node.get("class") == "wall"]
    return [np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+)", path), dtype=float) for path in paths]


def test_grooves_are_drawn_to_one_scale(tile: Made) -> None:
    """Widths and depths on paper stand in the same ratio as the grooves' own."""
    walls = _walls(section_svg(tile.job, tile.layout.kinds))
    scales = []
    for wall, groove in zip(walls, tile.layout.kinds, strict=True):
        wide, deep = np.ptp(wall, axis=0)
        scales += [wide / groove.width_mm, deep / groove.depth_mm]

    assert scales == pytest.approx([scales[0]] * 4, rel=0.01)


def test_the_section_names_width_depth_angle_and_what_is_left(tile: Made) -> None:
    """Every dimension stands on the drawing with its unit, and in words for those who cannot see it."""
    svg = section_svg(tile.job, tile.layout.kinds).replace("\u00a0", " ")

    for words in ("1.024 mm", "0.8 mm", "0.793 mm", "0.6 mm", "60°", "12 mm", "11.2 mm left"):
        assert words in svg
    assert "11.2 mm left below" in (ElementTree.fromstring(svg).get("aria-label") or "")


def test_depths_in_inches_keep_clear_of_the_next_groove(tile: Made) -> None:
    """Signs six units wide (half the letters' size) end before the next groove begins, and before the drawing does."""
    grooves = tuple(
        Kind(name=name, depth_mm=mm, width_mm=1.155 * mm)
        for name, mm in (("ground", 1.5875), ("frame", 1.2065), ("leaf", 0.7938))
    )
    svg = section_svg(tile.job.model_copy(update={"units": "inch"}), grooves)
    root = ElementTree.fromstring(svg)
    wide = float(root.attrib["viewBox"].split()[2])
    depths = [
        node
        for node in root.iter("text")
        if node.text in ("0.0625\u00a0in", "0.0475\u00a0in", "0.0313\u00a0in")
    ]
    ends = [float(node.attrib["x"]) + 6.0 * len(node.text or "") for node in depths]
    starts = [float(wall[:, 0].min()) for wall in _walls(svg)]

    assert len(ends) == len(starts) == 3
    for end, start in zip(ends, [*starts[1:], wide], strict=True):
        assert end <= start


def test_the_angle_stands_below_the_floor_of_a_flat_tip() -> None:
    """Figures of 11.5 units, whose signs are 0.73 of that high, are clear of the floor's line, which is 2 units wide."""
    bit = Bit(angle_deg=30.0, diameter_mm=3.175, shank_mm=3.175, tip_mm=0.1)
    job = job_from(own_job()).model_copy(update={"bit": bit})
    svg = section_svg(job, (Kind("ground", 0.3, 0.26),))
    angle = next(node for node in ElementTree.fromstring(svg).iter("text") if node.text == "30°")

    assert float(angle.attrib["y"]) - 0.73 * 11.5 >= _walls(svg)[0][:, 1].max() + 1.0


def test_no_section_without_a_job(bare: DryRun) -> None:
    """Nothing is drawn of what is not known; the sheet says so under its heading."""
    told = slots(bare)

    assert (told["card"], told["zero"], "<dt>Running time</dt>" in told["run"]) == ("", "", True)
    assert "<svg" not in told["groove"]
    assert "<dt>Groove</dt><dd>not given</dd>" in told["groove"]


@pytest.mark.parametrize("depth_mm", [0.05, 0.3, 1.0, 2.5])
def test_a_pointed_bit_widens_by_twice_the_tangent(depth_mm: float) -> None:
    """w = 2 d tan(angle / 2), plane trigonometry."""
    radius, height = profile(BIT, depth_mm)[-1]

    assert (2 * radius, height) == pytest.approx((2 * depth_mm * math.tan(math.radians(30)), depth_mm))


def test_a_bit_is_no_wider_than_its_cutting_diameter() -> None:
    """Deeper than its cone the bit leaves upright walls."""
    assert profile(BIT, 4.0)[-1] == pytest.approx((3.175 / 2, 4.0))


@pytest.mark.parametrize("depth_mm", [0.4, 1.0])
def test_a_rounded_tip_joins_its_cone_smoothly(depth_mm: float) -> None:
    """w = 2 [d tan h + r (1 / cos h - tan h)] beyond the rounding (tangent circle and cone)."""
    bit = Bit(angle_deg=60.0, diameter_mm=6.0, shank_mm=6.0, tip_radius_mm=0.25)
    h = math.radians(30)
    expected = depth_mm * math.tan(h) + 0.25 * (1 / math.cos(h) - math.tan(h))

    assert profile(bit, depth_mm)[-1][0] == pytest.approx(expected)


def test_zero_is_drawn_where_it_is(tile: Made) -> None:
    """The mark stands on the outline's front left corner, and on the middle for a zero in the centre."""

    def mark(xy: str) -> tuple[float, float]:
        root = ElementTree.fromstring(zero_svg(with_job(tile, zero=Zero.model_validate({"xy": xy}))))
        spot = next(node for node in root.iter("circle"))
        return float(spot.get("cx", "nan")), float(spot.get("cy", "nan"))

    outline = re.search(r'class="wood"[^>]*d="M([\d.]+) ([\d.]+)', zero_svg(tile))
    assert outline is not None
    corner = (float(outline[1]), float(outline[2]))
    middle, back_right = mark("centre"), mark("back-right")

    assert mark("front-left") == pytest.approx(corner, abs=0.11)
    assert middle == pytest.approx(
        ((corner[0] + back_right[0]) / 2, (corner[1] + back_right[1]) / 2), abs=0.11
    )
    assert back_right[0] > corner[0]
    assert back_right[1] < corner[1]  # the back of the piece is up on the drawing


@pytest.mark.parametrize("turn_deg", [0.0, 30.0, -30.0])
@pytest.mark.parametrize("xy", get_args(ZeroPlace))
def test_arrows_of_the_zero_are_seen_whole(tile: Made, xy: ZeroPlace, turn_deg: float) -> None:
    """Wherever zero is, the arrows of 24 and the names of X and Y, of signs up to 9 by 10, lie in the drawing."""
    root = ElementTree.fromstring(zero_svg(with_job(tile, zero=Zero(xy=xy, turn_deg=turn_deg))))
    left, top, wide, tall = (float(value) for value in root.attrib["viewBox"].split())
    spot = next(node for node in root.iter("circle"))
    names = [(float(node.attrib["x"]), float(node.attrib["y"])) for node in root.iter("text")]

    assert names[0][0] + 9.0 <= left + wide
    assert names[1][1] - 10.0 >= top
    assert float(spot.attrib["cx"]) + 24.0 <= left + wide
    assert names[0][1] + 2.0 <= top + tall
    assert names[1][0] - 9.0 >= left
    assert (float(root.attrib["width"]), float(root.attrib["height"])) == pytest.approx((wide, tall), abs=1.0)


def test_clamps_are_drawn_where_they_hold(tile: Made) -> None:
    """A clamp over the back right corner is an upright cross there, and the sheet says how far it stands up."""
    clamp = Clamp(x_mm=80.0, y_mm=80.0, width_mm=20.0, height_mm=20.0, above_mm=8.0)
    held = with_job(tile, clamps=(clamp,), zero=Zero(xy="centre"))
    svg = zero_svg(held)
    drawn = re.search(r'class="clamp" d="M([\d.]+) ([\d.]+)L([\d.]+) ([\d.]+)', svg)
    spot = re.search(r'class="spot" cx="([\d.]+)" cy="([\d.]+)"', svg)
    outline = re.search(r'class="wood"[^>]*d="M([\d.]+)', svg)
    assert drawn is not None
    assert spot is not None
    assert outline is not None
    scale = (float(spot[1]) - float(outline[1])) / 50.0

    assert float(drawn[1]) - float(spot[1]) == pytest.approx(30.0 * scale, abs=0.2)
    assert float(drawn[3]) - float(drawn[1]) == pytest.approx(20.0 * scale, abs=0.2)
    assert float(spot[2]) - float(drawn[2]) == pytest.approx(30.0 * scale, abs=0.2)
    assert ("Clamps", "1, up to 8 mm above the top") in rows(held)[STOCK]


@pytest.mark.parametrize("turn_deg", [0.0, 30.0])
@pytest.mark.parametrize("at_mm", [(-28.0, 40.0), (98.0, 40.0), (40.0, -28.0), (40.0, 98.0)])
def test_clamps_that_stand_far_out_are_seen_whole(
    tile: Made, at_mm: tuple[float, float], turn_deg: float
) -> None:
    """A clamp of 30 mm that holds a tile of 100 mm by 2 mm lies in the drawing, on each side and turned."""
    clamp = Clamp(x_mm=at_mm[0], y_mm=at_mm[1], width_mm=30.0, height_mm=30.0, above_mm=8.0)
    root = ElementTree.fromstring(zero_svg(with_job(tile, clamps=(clamp,), zero=Zero(turn_deg=turn_deg))))
    left, top, wide, tall = (float(value) for value in root.attrib["viewBox"].split())
    held = next(node.attrib["d"] for node in root.iter("path") if node.get("class") == "clamp")
    spots = np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+)", held), dtype=float)

    assert (spots > [left + 1.0, top + 1.0]).all()
    assert (spots < [left + wide - 1.0, top + tall - 1.0]).all()


def test_a_turned_piece_is_drawn_as_it_lies(tile: Made) -> None:
    """Turned by 30 degrees about its front left corner, the front edge rises to the right by half its length."""
    svg = zero_svg(with_job(tile, zero=Zero(turn_deg=30.0)))
    outline = re.search(r'class="wood"[^>]*d="M([\d.]+) ([\d.]+)L([\d.]+) ([\d.]+)', svg)
    spot = re.search(r'class="spot" cx="([\d.]+)" cy="([\d.]+)"', svg)
    axis = re.search(r'class="axis" d="M[\d.]+ [\d.]+h24', svg)
    assert outline is not None
    assert spot is not None
    x0, y0, x1, y1 = (float(outline[k]) for k in (1, 2, 3, 4))

    assert (float(spot[1]), float(spot[2])) == (x0, y0)
    assert math.degrees(math.atan2(y0 - y1, x1 - x0)) == pytest.approx(30.0, abs=0.2)
    assert axis is not None  # X lies as the machine moves


@pytest.mark.parametrize("count", [1, 2, 3])
def test_long_names_of_grooves_do_not_meet(tile: Made, count: int) -> None:
    """Names of forty letters keep to their own groove's part of the drawing, and are told whole to those who cannot see it."""
    names = [f"{k}-decorative-border-of-the-outermost-frame" for k in range(count)]
    kinds = [Kind(name=name, depth_mm=0.8 - 0.1 * k, width_mm=1.0 - 0.1 * k) for k, name in enumerate(names)]
    root = ElementTree.fromstring(section_svg(tile.job, kinds))
    shown = [node for node in root.iter() if node.get("class") == "name"]
    spans = [
        (float(node.attrib["x"]) + side * 3.0 * len(node.text or "")) for node in shown for side in (-1, 1)
    ]

    assert spans == sorted(spans)
    assert 0.0 <= spans[0] <= spans[-1] <= float(root.attrib["viewBox"].split()[2])
    assert [(node.text or "")[:12] for node in shown] == [name[:12] for name in names]
    assert all(name in root.attrib["aria-label"] for name in names)


def test_names_of_grooves_stay_text(tile: Made) -> None:
    """A layer's name with signs of HTML does not become an element."""
    groove = Kind(name="<g onload=1>", depth_mm=0.5, width_mm=0.6)
    root = ElementTree.fromstring(section_svg(tile.job, [groove]))

    assert "<g onload=1>" in [node.text for node in root.iter("text")]


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        ("stands 10 mm above", ["stands", "10_mm", "above"]),
        ("at X -5, Y 0.25 in.", ["at", "X_-5,", "Y_0.25_in."]),
        ("at 600 mm/min", ["at", "600_mm/min"]),
        ("18 of 65 mills", ["18", "of", "65", "mills"]),
    ],
)
def test_figures_of_a_sentence_are_kept_together(words: str, parts: list[str]) -> None:
    """Where a line may end, no number stands apart from its unit, and no axis from its place."""
    assert kept(words).replace("\u00a0", "_").split(" ") == parts


def test_lengths_carry_their_unit() -> None:
    """No trailing zeros, a true minus sign."""
    assert length(1.50, MM).replace("\u00a0", " ") == "1.5 mm"
    assert length(-0.0004, MM).replace("\u00a0", " ") == "0 mm"
    assert length(-1.25, MM).replace("\u00a0", " ") == "−1.25 mm"
