"""The carved surface against closed forms and a solid boolean.

``V`` is a 90 degree bit unless said otherwise: a groove of depth d is 2 d wide and d² in section, and each
end adds half of a cone.
"""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from made_moves import height_at, moves_of
from vcarve.dryrun.carve import carve, suitable_step_mm, tiles
from vcarve.dryrun.track import Setup
from vcarve.job.bench import Bit, EndMill
from vcarve.program.moves import Motion


def bit(angle=90.0, diameter=6.35, **tip):
    """Return a bit; ``tip`` may hold ``tip`` (flat) or ``tip-radius``."""
    return Bit.model_validate({"angle": angle, "diameter": diameter, "shank": 6.35, **tip})


def lines(*segments):
    """Return straight feed moves, each given by its two ends (x, y, z)."""
    return moves_of([s[0] for s in segments], [s[1] for s in segments])


def arc(radius, sweep, depth, *, begin=0.0, end_depth=None):
    """Return one arc in XY about the origin, level unless it ends at another depth."""
    end_depth = depth if end_depth is None else end_depth
    finish = begin + sweep
    return moves_of(
        (radius * math.cos(begin), radius * math.sin(begin), -depth),
        (radius * math.cos(finish), radius * math.sin(finish), -end_depth),
        motion=Motion.ARC_CCW if sweep > 0 else Motion.ARC_CW,
        centre_mm=0.0,
        sweep_rad=sweep,
    )


def carved(moves, tool=None, *, size=20.0, step=0.05, **more):
    """Return the surface of a square piece around the origin, in double precision."""
    return carve(moves, tool or bit(), width_mm=size, height_mm=size, step_mm=step, dtype=np.float64, **more)


@pytest.mark.parametrize("angle", [30.0, 60.0, 90.0, 120.0])
@pytest.mark.parametrize("turn_deg", [0.0, 90.0, 22.5, 77.0])
def test_single_groove_volume(angle, turn_deg):
    """A groove is a V prism with two half cones: L d² tan h + π (d tan h)² d / 3."""
    depth, length, slope = 1.5, 12.0, math.tan(math.radians(angle / 2))
    c, s = math.cos(math.radians(turn_deg)) * length / 2, math.sin(math.radians(turn_deg)) * length / 2

    surface = carved(lines(((-c, -s, -depth), (c, s, -depth))), bit(angle, 12.7))

    expected = length * depth**2 * slope + math.pi * (depth * slope) ** 2 * depth / 3
    assert surface.removed_mm3 == pytest.approx(expected, rel=2e-3)
    assert surface.deepest_mm == pytest.approx(depth, abs=0.05 / slope)


@pytest.mark.parametrize("angle_deg", [90.0, 45.0, 30.0])
def test_crossing_volume(angle_deg):
    """Two equal grooves crossing at α share 4 d³ / (3 sin α): together they take that much less."""
    # At height -z both are strips 2 (d - z) wide: their overlap is a rhombus of area (2 (d - z))² / sin α.
    depth, half, alpha = 1.5, 8.0, math.radians(angle_deg)
    c, s = half * math.cos(alpha), half * math.sin(alpha)
    moves = lines(((-half, 0, -depth), (half, 0, -depth)), ((-c, -s, -depth), (c, s, -depth)))

    surface = carved(moves)

    one = 2 * half * depth**2 + math.pi * depth**3 / 3
    assert surface.removed_mm3 == pytest.approx(2 * one - 4 * depth**3 / (3 * math.sin(alpha)), rel=2e-3)


@pytest.mark.parametrize("sweep_deg", [360.0, 270.0, -90.0, 15.0])
def test_arc_volume(sweep_deg):
    """An arc's groove is its section times the path of the section's centroid (Pappus), and two half
    cones.
    """
    depth, radius, sweep = 1.5, 6.0, math.radians(sweep_deg)

    surface = carved(arc(radius, sweep, depth, begin=0.3))

    ends = 0.0 if abs(sweep_deg) == 360.0 else math.pi * depth**3 / 3
    assert surface.removed_mm3 == pytest.approx(abs(sweep) * radius * depth**2 + ends, rel=2e-3)


def test_arc_heights_by_distance():
    """Over a full circle the height is the distance from it minus the depth; inside and outside alike."""
    surface = carved(arc(5.0, -2 * math.pi, 1.0))
    x, y = np.meshgrid(surface.x_mm, surface.y_mm)

    expected = np.minimum(np.abs(np.hypot(x, y) - 5.0) - 1.0, 0.0)
    np.testing.assert_allclose(surface.height_mm, expected, atol=1e-9)


def test_an_arc_whose_centre_is_rounded_is_cut_to_its_end():
    """The groove has its full depth at the end that the text says, though the centre is farther from it than from the start."""
    moves = moves_of((5, 0, -1), (0, 5.02, -1), motion=Motion.ARC_CCW, centre_mm=0.0, sweep_rad=math.pi / 2)

    surface = carved(moves, size=20.02, step=0.02)

    assert height_at(surface, 0.0, 5.02) == pytest.approx(-1.0, abs=1e-9)
    assert height_at(surface, 5.0, 0.0) == pytest.approx(-1.0, abs=1e-9)


def test_helix_lies_between_chords():
    """A helix falls evenly: below its path at angle φ the wood is cut to the depth the bit has there."""
    surface = carved(arc(6.0, math.pi, 0.5, end_depth=1.5), step=0.02)
    angles = np.linspace(0.3, math.pi - 0.3, 40)

    along = height_at(surface, 6 * np.cos(angles), 6 * np.sin(angles))

    # Where the path falls gently, behind the bit lies the deepest cut; the fall is 1 mm in 6 π.
    np.testing.assert_allclose(along, -(0.5 + angles / math.pi), atol=0.02)


def test_pass_over_the_top_cuts_nothing():
    """Moves at the top or above it leave no trace, and a program without motion leaves the piece whole."""
    assert carved(lines(((-5, 0, 0), (5, 0, 0)), ((0, 0, 5), (3, 0, 0)))).removed_mm3 == 0.0
    assert carved(lines()).removed_mm3 == 0.0


def test_rapids_cut_too():
    """A rapid below the surface carves like any other move."""
    moves = lines(((-5, 0, -1), (5, 0, -1)))
    rapid = replace(moves, motion=np.array([Motion.RAPID], dtype=np.int8))

    np.testing.assert_array_equal(carved(rapid).height_mm, carved(moves).height_mm)


@pytest.mark.parametrize("down", [True, False])
def test_plunge_is_a_cone(down):
    """A plunge leaves the bit's own cone, and lifting out of it changes nothing."""
    ends = ((1.0, 2.0, 5.0), (1.0, 2.0, -2.0))
    surface = carved(lines(ends if down else ends[::-1]))
    x, y = np.meshgrid(surface.x_mm, surface.y_mm)

    np.testing.assert_allclose(surface.height_mm, np.minimum(np.hypot(x - 1, y - 2) - 2.0, 0.0), atol=1e-12)


def test_flat_tip_section():
    """A flat tip leaves a floor of its own width: section t d + d² tan h."""
    tool, depth = bit(60.0, 6.35, tip=0.8), 1.2
    surface = carved(lines(((-40, 0.02, -depth), (40, 0.02, -depth))), tool)
    column = surface.height_mm[:, 200]

    assert -column.sum() * 0.05 == pytest.approx(
        0.8 * depth + depth**2 * math.tan(math.radians(30)), rel=2e-3
    )
    assert np.count_nonzero(column == -depth) == 16


def test_rounded_tip_section():
    """A rounded tip leaves a circular floor tangent to the walls."""
    radius, half, depth = 0.5, math.radians(45), 1.5
    surface = carved(
        lines(((-40, 0, -depth), (40, 0, -depth))), bit(90.0, **{"tip-radius": radius}), step=0.02
    )
    y = surface.y_mm
    joint = radius * math.cos(half)
    ball = radius - np.sqrt(radius**2 - np.minimum(np.abs(y), radius) ** 2)
    cone = radius * (1 - math.sin(half)) + (np.abs(y) - joint)

    expected = np.minimum(np.where(np.abs(y) < joint, ball, cone) - depth, 0.0)
    np.testing.assert_allclose(surface.height_mm[:, 500], expected, atol=1e-9)


def test_upright_wall_beyond_the_cone():
    """Deeper than the cone the groove is no wider than the bit, with upright walls above the cone."""
    surface = carved(lines(((-40, 0, -3), (40, 0, -3))), bit(90.0, 2.0))
    column, away = surface.height_mm[:, 100], np.abs(surface.y_mm)

    assert (column[away > 1.0] == 0.0).all()
    np.testing.assert_allclose(column[away < 1.0], away[away < 1.0] - 3.0, atol=1e-9)


TIPS = [{}, {"tip": 0.5}, {"tip-radius": 0.4}]


@pytest.mark.slow
@pytest.mark.parametrize("tip", TIPS, ids=["sharp", "flat", "rounded"])
@pytest.mark.parametrize("ends", [(0.5, -2.0), (-2.0, -0.3), (-0.2, -6.0), (3.0, -4.0)])
def test_sloping_line_is_the_least_over_its_path(tip, ends):
    """A sloping move leaves at every pixel the lowest of the bit's surfaces along it, found here by trying
    them all.
    """
    tool = bit(60.0, 3.0, **tip)
    start, end = np.array([-2.0, -0.5, ends[0]]), np.array([2.0, 0.7, ends[1]])
    surface = carved(lines((start, end)), tool, size=8.0, step=0.25)
    x, y = np.meshgrid(surface.x_mm, surface.y_mm)
    half = math.radians(30)
    least = np.zeros_like(x)
    for share in np.linspace(0, 1, 4001):
        cx, cy, cz = start + (end - start) * share
        rho = np.hypot(x - cx, y - cy)
        if "tip-radius" in tip:
            r = tip["tip-radius"]
            ball = r - np.sqrt(np.maximum(r * r - rho * rho, 0))
            cone = r * (1 - math.sin(half)) + (rho - r * math.cos(half)) / math.tan(half)
            profile = np.where(rho < r * math.cos(half), ball, cone)
        else:
            profile = np.maximum(rho - tip.get("tip", 0.0) / 2, 0) / math.tan(half)
        least = np.minimum(least, np.where(rho <= 1.5, cz + profile, 0.0))

    step = 4.2 * max(abs(ends[1] - ends[0]) / 4.2, 1 / math.tan(half)) / 4000
    # The wall at the rim is upright: a pixel there may be met between two places tried.
    off = np.abs(surface.height_mm - least) > step
    assert (surface.height_mm <= least + 1e-9).all()
    assert np.count_nonzero(off) <= 2


def test_place_and_top():
    """Work coordinates are shifted onto the piece, and Z is counted from the piece's top."""
    here = carved(lines(((-3, 1, -1), (3, 2, -1))))
    there = carved(lines(((7, 11, 9), (13, 12, 9))), setup=Setup(zero_mm=(-10.0, -10.0), top_mm=10.0))

    np.testing.assert_allclose(here.height_mm, there.height_mm, atol=1e-9)


def test_map_lies_on_the_piece():
    """Pixels are centred on the piece, row 0 at the front; a step that does not fit stands over both edges
    alike.
    """
    surface = carve(
        lines(((-1.9, -0.9, -0.3), (-1.9, -0.9, -0.3))),
        bit(),
        width_mm=4.1,
        height_mm=2.0,
        step_mm=0.2,
    )

    assert surface.height_mm.shape == (10, 21)
    assert surface.x_mm[[0, -1]] == pytest.approx([-2.0, 2.0])
    assert surface.y_mm[[0, -1]] == pytest.approx([-0.9, 0.9])
    assert np.unravel_index(surface.height_mm.argmin(), (10, 21))[0] == 0


def test_tiles_are_the_surface():
    """Tiles put side by side are the very pixels of the whole."""
    rng = np.random.default_rng(2)
    points = rng.uniform(-9, 9, (30, 3)) * (1, 1, 0.15) - (0, 0, 0.5)
    moves = lines(*pairwise(points))
    whole = carved(moves)

    pieces = list(
        tiles(
            moves,
            bit(),
            width_mm=20.0,
            height_mm=20.0,
            step_mm=0.05,
            tile_mm=7.0,
            dtype=np.float64,
        )
    )

    rows = [np.hstack([p.height_mm for p in pieces[i : i + 3]]) for i in range(0, 9, 3)]
    np.testing.assert_allclose(np.vstack(rows), whole.height_mm, atol=1e-12)
    assert pieces[4].x0_mm == pytest.approx(whole.x_mm[140])


def test_single_precision_is_enough():
    """The map in single precision differs from double precision by less than a hundredth of a micrometre
    per mm.
    """
    moves = lines(((-9, -7, -1), (8, 9, -2)), ((-9, 5, -1.5), (9, -5, -1.5)))
    fine = carve(moves, bit(), width_mm=20, height_mm=20)

    np.testing.assert_allclose(fine.height_mm, carved(moves).height_mm, atol=1e-5)
    assert fine.height_mm.dtype == np.float32


def test_step_for_large_pieces():
    """The step stays fine while the map fits, and doubles until it does."""
    assert suitable_step_mm(100, 100) == 0.05
    assert suitable_step_mm(1200, 800) == 0.2


def test_solid_boolean():
    """A small piece cut by hulls of cone pairs in an exact solid modeller has the same volume and the same
    heights.
    """
    import manifold3d as m3

    depth, cone = 1.2, 3.0
    paths = [((-6, -3, -depth), (5, 4, -depth)), ((-5, 5, -depth), (6, -4, -0.4)), ((0, -6, -2), (0, 6, -2))]

    def tool(x, y, z):
        return m3.Manifold.cylinder(cone, 0.0, cone, 256).translate((x, y, z))

    box = m3.Manifold.cube((16, 16, 4), True).translate((0, 0, -2))
    for a, b in paths:
        box -= m3.Manifold.batch_hull([tool(*a), tool(*b)])
    surface = carved(lines(*paths), size=16.0)

    # A cone of 256 sides is thinner than a round one by 1 - cos(π / 256), under one part in ten thousand.
    assert surface.removed_mm3 == pytest.approx(16 * 16 * 4 - box.volume(), rel=1e-3)
    for x, y in ((0.3, 0.2), (-3.0, -1.5), (4.0, -2.0), (2.2, 2.0), (-7.0, 7.0)):
        drill = m3.Manifold.cube((1e-3, 1e-3, 10.0), True).translate((x, y, 0))
        top = (box ^ drill).bounding_box()[5]

        assert float(height_at(surface, x, y)) == pytest.approx(top, abs=0.02)


MILL = EndMill(diameter_mm=3.0, shank_mm=3.0, cutting_length_mm=12.0)


@pytest.mark.parametrize("turn_deg", [0.0, 22.5, 77.0])
def test_a_slot_of_an_end_mill(turn_deg):
    """A slot is as wide as the mill at every depth, and round at its ends: D L d + π D² d / 4; beside it the wood stays."""
    depth, length = 4.0, 10.0
    c, s = math.cos(math.radians(turn_deg)) * length / 2, math.sin(math.radians(turn_deg)) * length / 2

    surface = carved(lines(((-c, -s, -depth), (c, s, -depth))), MILL)
    across = np.linspace(-2.0, 2.0, 4001)
    found = height_at(surface, -across * s / 5.0, across * c / 5.0)

    assert surface.removed_mm3 == pytest.approx((3.0 * length + 2.25 * math.pi) * depth, rel=2e-3)
    assert set(np.unique(surface.height_mm)) == {-depth, 0.0}
    assert np.ptp(across[found < -depth / 2]) == pytest.approx(3.0, abs=surface.step_mm)


@pytest.mark.parametrize("sweep_deg", [360.0, 120.0])
def test_a_round_slot_of_an_end_mill(sweep_deg):
    """A round slot takes D r φ of the surface, and two half discs where it is no whole circle (Pappus)."""
    sweep, ends = math.radians(sweep_deg), 2.25 * math.pi * (sweep_deg < 360.0)

    surface = carved(arc(6.0, sweep, 2.0), MILL)

    assert surface.removed_mm3 == pytest.approx(2.0 * (3.0 * 6.0 * sweep + ends), rel=2e-3)


def test_a_ramp_of_an_end_mill():
    """Going down a slope, a flat end leaves each place as deep as the lowest place of the way within its radius is."""
    fall, radius = 0.2, 1.5
    surface = carved(lines(((-5.0, 0.0, 0.0), (5.0, 0.0, -10.0 * fall))), MILL)
    x, y = np.meshgrid(surface.x_mm, surface.y_mm)
    chord = np.sqrt(np.maximum(radius**2 - y**2, 0.0))
    touched = (np.abs(y) < radius - 1e-6) & (np.abs(x) < 5.0 + chord - 1e-6)

    expected = -fall * (np.minimum(x + chord, 5.0) + 5.0)
    np.testing.assert_allclose(surface.height_mm[touched], expected[touched], atol=1e-9)
    assert not surface.height_mm[(np.abs(y) > radius + 1e-6) | (np.abs(x) > 5.0 + chord + 1e-6)].any()
