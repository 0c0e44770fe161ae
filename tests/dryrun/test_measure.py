"""Widths and land measured on carved pieces against the numbers that made them."""

import math
from dataclasses import replace

import numpy as np
import pytest

from made_moves import moves_of
from small_network import network_of_lines
from vcarve.dryrun.carve import Surface, carve
from vcarve.dryrun.measure import Places, coarsest_step_mm, groove_widths, land, least_half_mm
from vcarve.groove.width import cone_line_mm, width_mm
from vcarve.job.bench import Bit
from vcarve.program.moves import Motion, Plane


def bit(angle=90.0, diameter=6.35, shank=3.175, **tip):
    """Return a bit; ``tip`` may hold ``tip`` (flat) or ``tip-radius``."""
    return Bit.model_validate({"angle": angle, "diameter": diameter, "shank": shank, **tip})


def cutting(net, depths):
    """Return level moves along every edge at its depth; arcs from the edges' bulges."""
    xy = net.xy_mm
    tail, head = xy[net.tail], xy[net.head]
    sweep = 4 * np.arctan(net.bulge)
    centre = np.full((len(net.tail), 3), math.nan)
    for i in np.flatnonzero(sweep):
        middle, chord = (tail[i] + head[i]) / 2, head[i] - tail[i]
        centre[i, :2] = middle + np.array([-chord[1], chord[0]]) / (2 * math.tan(sweep[i] / 2))
        centre[i, 2] = -depths[i]
    z = -np.asarray(depths, dtype=float)
    return moves_of(
        np.column_stack([tail, z]),
        np.column_stack([head, z]),
        motion=np.where(sweep > 0, Motion.ARC_CCW, np.where(sweep < 0, Motion.ARC_CW, Motion.FEED)),
        centre_mm=centre,
        sweep_rad=sweep,
    )


def hemp_leaf(half):
    """Return one square hemp leaf tile with border: mid-sides, corners and the incentres of its eight right
    triangles.
    """
    far, near = half * math.sqrt(0.5), half * (1 - math.sqrt(0.5))
    edges = []
    for quarter in range(4):
        c, s = [(1, 0), (0, 1), (-1, 0), (0, -1)][quarter]

        def turn(x, y, c=c, s=s):
            return (round(c * x - s * y, 6) + 0.0, round(s * x + c * y, 6) + 0.0)

        o, m, n, k = turn(0, 0), turn(half, 0), turn(0, half), turn(half, half)
        i, j = turn(far, near), turn(near, far)
        edges += [(o, m), (o, k), (m, k), (k, n), (i, o), (i, m), (i, k), (j, o), (j, n), (j, k)]
    return edges


def test_hemp_leaf_widths():
    """Every groove of a 100 mm hemp leaf tile 1 mm deep measures 2 mm within one grid step, border
    included.
    """
    net = network_of_lines(hemp_leaf(50.0))
    surface = carve(cutting(net, [1.0] * 40), bit(), width_mm=100, height_mm=100, step_mm=0.05)

    widths, _ = groove_widths(surface, Places.of(net, np.full(40, 1.0)))

    assert len(net.tail) == 40
    np.testing.assert_allclose(widths, 2.0, atol=0.05)


@pytest.mark.parametrize(
    "tool",
    [bit(60.0), bit(120.0, 12.7), bit(30.0, tip=0.3), bit(90.0, **{"tip-radius": 0.4})],
    ids=["60", "120", "flat", "rounded"],
)
@pytest.mark.parametrize("turn_deg", [0.0, 31.0, 90.0])
def test_width_of_one_groove(tool, turn_deg):
    """A single groove measures t + 2 d tan(θ/2), or its rounded kin, within one grid step at any angle."""
    half_rad, depth = math.radians(tool.angle_deg / 2), 1.5
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    net = network_of_lines([((round(-7 * c, 6), round(-7 * s, 6)), (round(7 * c, 6), round(7 * s, 6)))])
    surface = carve(cutting(net, [depth]), tool, width_mm=24, height_mm=24)
    r = tool.tip_radius_mm
    width = tool.tip_mm + 2 * (depth * math.tan(half_rad) + r * (1 / math.cos(half_rad) - math.tan(half_rad)))

    assert groove_widths(surface, Places.of(net, np.array([width / 2])))[0][0] == pytest.approx(
        width, abs=0.05
    )


def test_arcs_are_measured_square_to_the_curve():
    """Grooves along arcs, either way round, have the width of straight ones."""
    quarter = math.tan(math.pi / 8)
    net = network_of_lines([((6.0, 0.0), (0.0, 6.0)), ((-6.0, 0.0), (0.0, -6.0))], [quarter, -quarter])
    surface = carve(cutting(net, [1.0, 1.0]), bit(), width_mm=20, height_mm=20)

    np.testing.assert_allclose(groove_widths(surface, Places.of(net, np.ones(2)))[0], 2.0, atol=0.05)


def test_wrong_depth_shows():
    """A groove cut deeper than expected measures its true width, a missing one 0."""
    net = network_of_lines([((-8.0, -4.0), (8.0, -4.0)), ((-8.0, 4.0), (8.0, 4.0))])
    surface = carve(cutting(net, [1.3, 0.0]), bit(), width_mm=20, height_mm=20)

    widths, _ = groove_widths(surface, Places.of(net, np.ones(2)))

    assert widths[0] == pytest.approx(2.6, abs=0.05)
    assert widths[1] == 0.0


def test_no_clean_place_is_not_guessed():
    """Between two parallel grooves that overlap its rims an edge has no clean place; edges not asked for
    have none.
    """
    net = network_of_lines([((-8.0, y), (8.0, y)) for y in (-1.5, 0.0, 1.5)] + [((-8.0, 7.0), (8.0, 7.0))])
    surface = carve(cutting(net, [1.0] * 4), bit(), width_mm=20, height_mm=20)

    widths, _ = groove_widths(surface, Places.of(net, np.ones(4)), edges=np.array([1, 3]))

    assert np.isnan(widths[[0, 1, 2]]).all()
    assert widths[3] == pytest.approx(2.0, abs=0.05)


def test_clean_place_is_looked_for_along_the_edge():
    """An edge whose middle lies under a crossing groove is measured beside it."""
    net = network_of_lines([((-8.0, 0.0), (8.0, 0.0)), ((-0.5, -8.0), (0.5, 8.0))])
    surface = carve(cutting(net, [1.0, 1.5]), bit(), width_mm=20, height_mm=20)

    np.testing.assert_allclose(
        groove_widths(surface, Places.of(net, np.array([1.0, 1.5])))[0], [2.0, 3.0], atol=0.05
    )


def test_land_of_a_grid():
    """Between grooves 2 mm wide, 5 and 7 mm apart, islands are 3 and 5 mm wide; the border's are counted
    too.
    """
    lines = [((-10.0, y), (10.0, y)) for y in (-6.0, -1.0, 6.0)]
    net = network_of_lines(lines)
    surface = carve(cutting(net, [1.0] * 3), bit(), width_mm=20, height_mm=20)

    found = land(surface)

    assert found.islands == 4
    assert found.narrowest_mm == pytest.approx(3.0, abs=0.05)
    assert found.area_mm2 == pytest.approx(20 * (20 - 6), rel=0.01)


def heights(rows):
    """Return a carved surface in steps of 0.1 mm from rows of 0 (land) and 1 (cut a millimetre deep), the front row first."""
    return Surface(height_mm=-np.array(rows, dtype=float), step_mm=0.1, x0_mm=0.0, y0_mm=0.0)


def test_a_strip_is_as_wide_as_its_pixels():
    """Land nine pixels of 0.1 mm wide between two grooves is 0.9 mm wide, not a step more or less."""
    rows = np.ones((40, 19))
    rows[:, 5:14] = 0.0

    assert land(heights(rows)).narrowest_mm == pytest.approx(0.9)


def test_land_that_touches_over_a_corner_is_one_island():
    """Two squares of land that share a corner only are one island; a pixel further apart they are two."""
    for gap, islands in ((0, 1), (1, 2)):
        rows = np.ones((30, 30))
        rows[2:12, 2:12] = 0.0
        rows[12 + gap : 22, 12 + gap : 22] = 0.0

        assert land(heights(rows)).islands == islands


def test_land_within_an_outline():
    """Land outside the piece does not count, and a piece cut away has none."""
    net = network_of_lines([((-10.0, 0.0), (10.0, 0.0))])
    surface = carve(cutting(net, [1.0]), bit(), width_mm=20, height_mm=20)
    x, y = np.meshgrid(surface.x_mm, surface.y_mm)

    found = land(surface, inside=np.hypot(x, y) < 5.0)

    assert found.islands == 2
    # The largest circle between a chord 1 mm off the centre and a circle of 5 mm: its diameter is the
    # sagitta. sert found.narrowest_mm == pytest.approx(4.0, abs=0.1)
    assert math.isnan(land(surface, inside=np.zeros_like(x, dtype=bool)).narrowest_mm)


@pytest.mark.slow
def test_hemp_leaf_land():
    """The narrowest land of the tile is the cell's inscribed circle less the groove: 2 (6.719028 - 1) mm."""
    net = network_of_lines(hemp_leaf(50.0))
    surface = carve(cutting(net, [1.0] * 40), bit(), width_mm=100, height_mm=100)

    found = land(surface)

    assert found.islands == 24
    assert found.narrowest_mm == pytest.approx(2 * (6.719028 - 1.0), abs=0.1)


def test_upright_arc_dips_below_its_ends():
    """An arc standing on the piece is deep in its middle although it begins and ends at the top."""
    moves = moves_of(
        (2, 0, 0), (-2, 0, 0), motion=Motion.ARC_CCW, centre_mm=0.0, sweep_rad=math.pi, plane=Plane.XZ
    )

    surface = carve(moves, bit(), width_mm=10, height_mm=10)
    assert surface.deepest_mm == pytest.approx(2.0, abs=0.03)


@pytest.mark.parametrize("turn_deg", [0.0, 17.0, 45.0])
@pytest.mark.parametrize("gap_mm", [0.06, 0.11, 0.16, 0.21, 0.3])
def test_a_near_neighbour_is_never_measured_with_the_groove(gap_mm, turn_deg):
    """Beside a strip of land of a few grid steps a groove measures its own width or is left out."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    rows = [(-1.0 - gap_mm / 2, 8.0), (1.0 + gap_mm / 2, 8.0)]

    def end(x: float, y: float) -> tuple[float, float]:
        return round(x * c - y * s, 6), round(x * s + y * c, 6)

    net = network_of_lines([(end(-w, y), end(w, y)) for y, w in rows])
    surface = carve(cutting(net, [1.0, 1.0]), bit(), width_mm=24, height_mm=24)

    widths, _ = groove_widths(surface, Places.of(net, np.ones(2)))

    assert np.isnan(widths).all() or widths == pytest.approx(2.0, abs=0.05)
    assert gap_mm < 0.2 or not np.isnan(widths).any()


def test_an_arc_tighter_than_its_groove_is_left_out():
    """Inside an arc of radius 0.8 mm a groove 2 mm wide has no rim."""
    net = network_of_lines([((0.8, 0.0), (-0.8, 0.0)), ((6.0, 4.0), (-6.0, 4.0))], [1.0, 0.0])
    surface = carve(cutting(net, [1.0, 1.0]), bit(), width_mm=24, height_mm=24)

    widths, _ = groove_widths(surface, Places.of(net, np.ones(2)))

    assert np.isnan(widths[0])
    assert widths[1] == pytest.approx(2.0, abs=0.05)


@pytest.mark.parametrize("turn_deg", [0.0, 17.0, 45.0])
@pytest.mark.parametrize(
    ("tool", "depth"),
    [(bit(30.0, tip=0.2), 0.25), (bit(20.0, tip=0.1), 0.2), (bit(60.0, **{"tip-radius": 0.25}), 0.1)],
    ids=["flat", "steep", "ball"],
)
def test_little_wall_is_measured_on_the_grid_it_asks_for(tool, depth, turn_deg):
    """A shallow groove of a broad tip is nearly all bottom: on a grid fine enough for its wall it is good to one step."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    net = network_of_lines([((round(-4 * c, 6), round(-4 * s, 6)), (round(4 * c, 6), round(4 * s, 6)))])
    half = np.array([width_mm(tool, depth) / 2.0])
    step = float(coarsest_step_mm(half, tool)[0])
    surface = carve(cutting(net, [depth]), tool, width_mm=10, height_mm=10, step_mm=step)

    assert groove_widths(surface, Places.of(net, half))[0][0] == pytest.approx(2.0 * half[0], abs=step)


def sloping(depth, end_depth, *, length=12.0, turn_deg=0.0, bulge=0.0):
    """Return a network of one line or arc about the origin, and the move or helix along it from one depth to another."""
    c, s = math.cos(math.radians(turn_deg)) * length / 2, math.sin(math.radians(turn_deg)) * length / 2
    net = network_of_lines([((round(-c, 6), round(-s, 6)), (round(c, 6), round(s, 6)))], [bulge])
    backward = net.xy_mm[net.tail[0], 0] > 0.0
    ends = np.array([[depth], [end_depth]])[:: -1 if backward else 1]
    moves = cutting(net, [0.0])
    start, end = moves.start_mm.copy(), moves.end_mm.copy()
    start[0, 2], end[0, 2] = -ends[0, 0], -ends[1, 0]
    return net, ends, replace(moves, start_mm=start, end_mm=end)


@pytest.mark.parametrize("turn_deg", [0.0, 31.0, 90.0])
@pytest.mark.parametrize(
    ("tool", "depth", "end_depth"),
    [(bit(), 2.0, 0.0), (bit(60.0), 2.5, 0.5), (bit(90.0, tip=0.4), 2.0, 0.0), (bit(**{"tip-radius": 0.3}), 2.0, 0.0)],
    ids=["point", "60", "flat", "rounded"],
)  # fmt: skip
def test_width_along_a_slope(tool, depth, end_depth, turn_deg):
    """A groove that narrows is the hull of circles: half-way it is as wide as its circle there, square to its rims."""
    net, ends, moves = sloping(depth, end_depth, turn_deg=turn_deg)
    surface = carve(moves, tool, width_mm=24, height_mm=24, step_mm=0.025)
    start, more = cone_line_mm(tool)
    half = (start + more * ends) / 2.0
    places = Places.of(net, half)

    widths, wanted = groove_widths(surface, places, least_half_mm=least_half_mm(0.025, tool))

    assert wanted[0] == pytest.approx(half.sum(), abs=1e-9)
    assert widths[0] == pytest.approx(half.sum(), abs=0.025)


@pytest.mark.parametrize("turn_deg", [0.0, 31.0, 90.0])
@pytest.mark.parametrize(
    ("tool", "depth", "length"),
    [(bit(60.0), 1.5, 1.25), (bit(), 2.0, 2.2), (bit(), 1.21, 1.4), (bit(120.0, 12.7), 1.0, 2.0)],
)
def test_a_slope_nearly_as_steep_as_the_cone_is_measured(tool, depth, length, turn_deg):
    """Where the rims close in fast each circle still touches them: the width is good to one grid step on the usual grid."""
    net, ends, moves = sloping(depth, 0.0, length=length, turn_deg=turn_deg)
    surface = carve(moves, tool, width_mm=12, height_mm=12, step_mm=0.05)
    half = ends * math.tan(math.radians(tool.angle_deg / 2.0))

    widths, wanted = groove_widths(surface, Places.of(net, half), least_half_mm=least_half_mm(0.05, tool))

    assert wanted[0] == pytest.approx(half.sum())
    assert widths[0] == pytest.approx(wanted[0], abs=0.05)


def test_width_along_a_helix():
    """Along an arc that rises the width changes as evenly as along a line, and is good to one grid step too."""
    net, ends, moves = sloping(2.0, 0.0, bulge=math.tan(math.pi / 8))
    surface = carve(moves, bit(), width_mm=24, height_mm=24)

    widths, wanted = groove_widths(surface, Places.of(net, ends))

    assert widths[0] == pytest.approx(wanted[0], abs=0.05)
    assert wanted[0] == pytest.approx(2.0)


def test_a_slope_left_out_is_too_wide():
    """A line cut at full depth to the end measures 4 mm, a little askew, where half-way to its point it should measure 2."""
    net, ends, _ = sloping(2.0, 0.0)
    surface = carve(cutting(net, [2.0]), bit(), width_mm=24, height_mm=24)

    widths, wanted = groove_widths(surface, Places.of(net, ends))

    assert widths[0] == pytest.approx(4.0 / math.sqrt(1.0 - (2.0 / 12.0) ** 2), abs=0.05)
    assert wanted[0] == pytest.approx(2.0)


def test_a_slope_steeper_than_the_cone_is_left_out():
    """Where the bit's own circle reaches past the end of the slope there is no rim to measure."""
    net, ends, moves = sloping(3.0, 0.0, length=2.5)
    surface = carve(moves, bit(), width_mm=24, height_mm=24)

    assert np.isnan(groove_widths(surface, Places.of(net, ends))[0][0])
