"""Solids of pieces against closed forms of their grooves, against the dry run's height map, and against a second library."""

from __future__ import annotations

import io
import math
from pathlib import Path

import numpy as np
import pytest
import shapely
import trimesh

from small_job import job_from
from vcarve.errors import InputError
from vcarve.job.records import load_job
from vcarve.layout.stages import Layout, lay_out
from vcarve.pipeline import plan_program
from vcarve.plane.region import area_mm2
from vcarve.proofing import carve_piece
from vcarve.solid.files import solids_file
from vcarve.solid.model import Part, Solid
from vcarve.solid.piece import carved_solid

SAMPLES = Path(__file__).parents[2] / "samples"
SHARP = "{angle: 60, diameter: 12, shank: 6}"
FLAT = "{angle: 60, diameter: 12, shank: 6, tip: 0.4}"
ROUND = "{angle: 60, diameter: 12, shank: 6, tip-radius: 0.8}"
TAN = math.tan(math.radians(30.0))


def drawn(folder: Path, lines: str, *, bit: str = SHARP, depth: float = 1.5, more: str = "") -> Layout:
    """Lay lines out, written as an SVG path, on a piece of 40 by 30 by 8 mm whose front left corner is X0 Y0."""
    page = '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
    (folder / "lines.svg").write_text(f'{page}<path fill="none" stroke="black" d="{lines}"/></svg>')
    text = f"""\
piece: {{width: 40, height: 30, thickness: 8, wood: maple-sugar}}
pattern: {{drawing: lines.svg}}
groove: {{depth: {depth}{more}}}
bit: {bit}
machine: small-desktop
"""
    return lay_out(job_from(text, folder=str(folder)))


def taken(solid: Solid, whole_mm3: float = 40.0 * 30.0 * 8.0) -> float:
    """Return the volume of what is missing of the piece."""
    assert solid.closed
    return whole_mm3 - solid.volume_mm3


def across(bit: str, depth: float) -> float:
    """Return the area of a groove's section, worked out for each kind of tip."""
    if bit == FLAT:
        return depth * (0.4 + depth * TAN)
    if bit == ROUND:
        # The ball's segment up to where it touches the cone, and the trapezoid above.
        rise, half = 0.8 * (1.0 - math.sin(math.pi / 6.0)), 0.8 * math.cos(math.pi / 6.0)
        turn = 2.0 * (math.pi / 2.0 - math.pi / 6.0)
        return 0.32 * (turn - math.sin(turn)) + (depth - rise) * (2.0 * half + (depth - rise) * TAN)
    return depth**2 * TAN


def round_ends(bit: str, depth: float) -> float:
    """Return the volume that the bit takes away standing in one place: both round ends of a groove together."""
    if bit == FLAT:
        low, high = 0.2, 0.2 + depth * TAN
        return math.pi * depth / 3.0 * (low**2 + low * high + high**2)
    if bit == ROUND:
        rise, half = 0.4, 0.8 * math.cos(math.pi / 6.0)
        top = half + (depth - rise) * TAN
        cap = math.pi * rise**2 * (3.0 * 0.8 - rise) / 3.0
        return cap + math.pi * (depth - rise) / 3.0 * (half**2 + half * top + top**2)
    return math.pi * depth**3 * TAN**2 / 3.0


@pytest.mark.parametrize("tolerance", [0.1, 0.01])
@pytest.mark.parametrize("bit", [SHARP, FLAT])
@pytest.mark.parametrize(
    ("lines", "length"), [("M8 8L32 22", math.hypot(24, 14)), ("M10 15A10 10 0 0 1 30 15", 10 * math.pi)]
)
def test_one_groove_has_the_volume_of_its_closed_form(
    tmp_path: Path, bit: str, lines: str, length: float, tolerance: float
) -> None:
    """Section times length and both round ends, for lines and arcs, within 1e-6 at any tolerance."""
    solid = carved_solid(drawn(tmp_path, lines, bit=bit), tolerance_mm=tolerance)

    assert taken(solid) == pytest.approx(across(bit, 1.5) * length + round_ends(bit, 1.5), rel=1e-6)


@pytest.mark.parametrize(("tolerance", "off"), [(0.01, 1e-4), (0.0001, 1e-6)])
def test_a_round_tip_is_as_near_as_the_tolerance(tmp_path: Path, tolerance: float, off: float) -> None:
    """The section has the ball's own area; what is turned about its ends comes as near as the tolerance is small."""
    solid = carved_solid(drawn(tmp_path, "M8 8L32 22", bit=ROUND), tolerance_mm=tolerance)
    wanted = across(ROUND, 1.5) * math.hypot(24, 14) + round_ends(ROUND, 1.5)

    assert taken(solid) == pytest.approx(wanted, rel=off)


def test_a_shallow_groove_of_a_round_tip(tmp_path: Path) -> None:
    """A groove that is all ball, 0.2 mm deep, has its volume within 0.1 % at the usual tolerance, a tenth of its depth."""
    solid = carved_solid(drawn(tmp_path, "M8 8L32 22", bit=ROUND, depth=0.2))
    # The ball's segment, half as wide as sqrt(r^2 - (r - d)^2), and its cap.
    turn = 2.0 * math.acos(0.6 / 0.8)
    wanted = 0.32 * (turn - math.sin(turn)) * math.hypot(24, 14) + math.pi * 0.2**2 * (2.4 - 0.2) / 3.0

    assert taken(solid) == pytest.approx(wanted, rel=1e-3)


def test_a_line_that_rises_to_a_point(tmp_path: Path) -> None:
    """Over its slopes the sections are alike: a circle with its two tangents to a point, a third of the depth high in all."""
    depth, length, wide = 1.5, 10.0, 1.5 * TAN
    solid = carved_solid(drawn(tmp_path, "M8 15H32", depth=depth, more=", taper: 10"), tolerance_mm=1e-4)
    # Of each such body the half round lies in the groove between them.
    drop = wide**2 * (math.pi - math.acos(wide / length)) + wide * math.sqrt(length**2 - wide**2)
    slope = (drop - math.pi * wide**2 / 2.0) * depth / 3.0
    middle = across(SHARP, depth) * 4.0

    assert taken(solid) == pytest.approx(2.0 * slope + middle, rel=1e-6)


def test_where_grooves_meet_wood_is_taken_once(tmp_path: Path) -> None:
    """A crossing is counted once, a corner is cut off inside and round outside: each against its closed form."""
    depth, unit = 1.5, 1.5**3 * TAN**2
    crossing = carved_solid(drawn(tmp_path, "M10 15H30M20 5V25"))
    corner = carved_solid(drawn(tmp_path, "M10 10H30V24"))
    section, ends = across(SHARP, depth), round_ends(SHARP, depth)

    assert taken(crossing) == pytest.approx(40.0 * section + 2.0 * ends - 4.0 * unit / 3.0, rel=1e-6)
    assert taken(corner) == pytest.approx(
        34.0 * section + ends - unit / 3.0 + math.pi * unit / 12.0, rel=1e-6
    )


def test_grooves_run_off_the_piece(tmp_path: Path) -> None:
    """A groove right across leaves nothing but its section times the piece's width, at both edges."""
    assert taken(carved_solid(drawn(tmp_path, "M-5 15H45"))) == pytest.approx(
        40.0 * across(SHARP, 1.5), rel=1e-9
    )


@pytest.mark.slow
@pytest.mark.parametrize("name", ["coaster", "tea-box-lid", "trivet", "box-side"])
def test_samples_against_the_dry_run(name: str) -> None:
    """Wood left is the piece less what the dry run of its program carves out of it, within 0.1 % of the latter."""
    layout = lay_out(load_job(SAMPLES / f"{name}.yaml"))
    solid = carved_solid(layout)
    surface = carve_piece(plan_program(layout), step_mm=0.05).surface
    assert surface is not None
    outline = shapely.Polygon(layout.rings[0], layout.rings[1:])
    inside = shapely.contains_xy(outline, *np.meshgrid(surface.x_mm, surface.y_mm))
    carved = -float(surface.height_mm[inside].sum(dtype=float)) * surface.step_mm**2
    thick = layout.job.piece.thickness_mm

    assert solid.closed
    assert area_mm2(layout.field.outline) * thick - solid.volume_mm3 == pytest.approx(carved, rel=1e-3)


def test_levels_and_order_leave_the_same_piece(tmp_path: Path) -> None:
    """What is cut in three levels is the same solid as in one."""
    solids = [carved_solid(drawn(tmp_path, "M10 15H30M20 5V25", more=more)) for more in ("", ", step: 0.5")]

    np.testing.assert_array_equal(solids[0].corner_mm, solids[1].corner_mm)


def test_a_hollow_back_leaves_floor_and_walls(tmp_path: Path) -> None:
    """Two millimetres stay under the deepest groove and inside the edge; so does the groove itself."""
    layout = drawn(tmp_path, "M8 8L32 22")
    plain, hollowed = carved_solid(layout), carved_solid(layout, hollow_mm=2.0)

    assert plain.volume_mm3 - hollowed.volume_mm3 == pytest.approx(36.0 * 26.0 * (8.0 - 1.5 - 2.0), rel=1e-9)
    assert hollowed.closed


@pytest.mark.parametrize(("hollow", "said"), [(6.5, "leave nothing to hollow out"), (6.45, "leave nothing")])
def test_nothing_to_hollow_out(tmp_path: Path, hollow: float, said: str) -> None:
    """Where floor and groove take the whole thickness, it is said."""
    with pytest.raises(InputError, match=said):
        carved_solid(drawn(tmp_path, "M8 8L32 22"), hollow_mm=hollow)


def test_walls_that_meet_leave_nothing(tmp_path: Path) -> None:
    """A piece narrower than two walls has no back to hollow out."""
    text = "piece: {width: 60, height: 6, thickness: 30, wood: maple-sugar}\npattern: {name: asanoha, pitch: 12}\n"
    text += "groove: {depth: 0.5}\nbit: v60-3.175\nmachine: gantry-router\n"

    with pytest.raises(InputError, match="nothing is left of the piece inside walls so thick"):
        carved_solid(lay_out(job_from(text)), hollow_mm=3.0)


def test_scaled_is_the_same_solid_larger(tmp_path: Path) -> None:
    """Half as large, an eighth of the volume; it stands on Z 0 about X0 Y0."""
    layout = drawn(tmp_path, "M8 8L32 22")
    whole, half = carved_solid(layout), carved_solid(layout, scale=0.5)

    assert half.size_mm == pytest.approx((20.0, 15.0, 4.0), abs=1e-9)
    assert half.volume_mm3 == pytest.approx(whole.volume_mm3 / 8.0, rel=1e-9)
    np.testing.assert_allclose(half.corner_mm.min(axis=0), (-10.0, -7.5, 0.0), atol=1e-9)


def test_a_piece_with_a_hole(tmp_path: Path) -> None:
    """A drawn outline with a round hole is one solid of the shape of a ring, its volume that of the ring."""
    ring = '<path d="M0 0H40V30H0Z"/><circle cx="20" cy="15" r="6"/>'
    page = '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
    (tmp_path / "ring.svg").write_text(f"{page}{ring}</svg>")
    text = "piece: {width: 40, height: 30, thickness: 8, wood: maple-sugar, outline: {shape: drawing, file: ring.svg}}\n"
    text += (
        "pattern: {name: asanoha, pitch: 12}\ngroove: {depth: 0.5}\nbit: v60-3.175\nmachine: small-desktop\n"
    )
    layout = lay_out(job_from(text, folder=str(tmp_path)))
    solid = carved_solid(layout)
    corners, faces = len(solid.corner_mm), len(solid.triangle)

    assert corners - 3 * faces // 2 + faces == 0  # V - E + F of a body with one hole
    assert solid.volume_mm3 < (1200.0 - 36.0 * math.pi) * 8.0


@pytest.mark.parametrize(
    ("piece", "pattern", "groove", "bit"),
    [
        (
            "{width: 32.662876, height: 28.286881, thickness: 9, wood: maple-sugar, outline: {shape: polygon, sides: 6}}",
            "{name: sakura, across: 4, margin: 3.95}",
            "{depth: 2.345, taper: 2.69, lost-land: allow}",
            "{angle: 120, diameter: 12, shank: 6}",
        ),
        (
            "{width: 72.486915, height: 55.805228, thickness: 9, wood: maple-sugar}",
            "{name: mitsukude, across: 5, margin: 3.07, edge: groove, frame: [{distance: 3.21, depth: 0.96}]}",
            "{depth: 2.431, taper: 3.7, lost-land: allow}",
            "{angle: 60, diameter: 12, shank: 6}",
        ),
    ],
)
def test_grooves_that_all_but_touch_leave_no_open_side(
    piece: str, pattern: str, groove: str, bit: str
) -> None:
    """Where walls of several grooves nearly coincide, every side still belongs to two triangles, for another library as well."""
    text = f"piece: {piece}\npattern: {pattern}\ngroove: {groove}\nbit: {bit}\nmachine: gantry-router\n"
    solid = carved_solid(lay_out(job_from(text)))
    data = solids_file([Part(name="a", colour="#aabbcc", solid=solid)], ".stl", "t")
    read = trimesh.load_mesh(io.BytesIO(data), file_type="stl")

    assert read.is_watertight
    assert read.volume == pytest.approx(solid.volume_mm3, rel=1e-6)


def test_an_open_surface_is_not_closed(tmp_path: Path) -> None:
    """A solid without one of its triangles is not closed, nor is one with a triangle turned over."""
    solid = carved_solid(drawn(tmp_path, "M8 8L32 22"))
    turned = solid.triangle.copy()
    turned[0] = turned[0, ::-1]

    assert solid.closed
    assert not Solid(corner_mm=solid.corner_mm, triangle=solid.triangle[1:]).closed
    assert not Solid(corner_mm=solid.corner_mm, triangle=turned).closed
    assert not Solid(corner_mm=solid.corner_mm[:0], triangle=solid.triangle[:0]).closed
