"""The land between grooves against closed forms and against shapely's own geometry."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from shapely.affinity import affine_transform

from drawn_lines import Line, Point, rows
from land_rings import footprint, islands_mm
from small_network import build, build_lines
from vcarve.errors import InternalError
from vcarve.groove.circle import LARGE, largest_circles
from vcarve.groove.land import SAG_MM, measure
from vcarve.groove.model import Grooves
from vcarve.groove.width import VBit
from vcarve.network.model import Network
from vcarve.pattern.model import pattern
from vcarve.plane.region import Region, Ring, lines_along, rectangle

MICROMETRE = 1e-3
RIGHT_ANGLE = VBit(angle_deg=90.0)  # cuts twice as wide as deep
FIELD = rectangle(100.0, 100.0)


def run(*points: Point, closed: bool = False) -> list[Line]:
    """Return the lines from point to point."""
    ends = [*points, points[0]] if closed else list(points)
    return [Line(start=a, end=b) for a, b in itertools.pairwise(ends)]


def square(side: float) -> list[Line]:
    """Return a square about the origin."""
    h = side / 2.0
    return run((-h, -h), (h, -h), (h, h), (-h, h), closed=True)


def carved(lines: list[Line], width_mm: float) -> tuple[Network, Grooves]:
    """Cut lines on the field with grooves of this width, all of feature 0."""
    network = build_lines(*rows(lines), region=FIELD, edge="plain")
    return network, measure(network, RIGHT_ANGLE, {0: width_mm / 2.0})


def cell_at(network: Network, grooves: Grooves, x_mm: float, y_mm: float) -> int:
    """Return the cell whose land holds a point."""
    for cell in range(network.cells):
        land = grooves.lands[grooves.shape[cell]]
        if land.covers(shapely.Point(np.array([x_mm, y_mm]) - grooves.corner_mm[cell])):
            return cell
    raise AssertionError("no land there")


def grooves_union(network: Network, grooves: Grooves) -> Any:
    """Return all lines widened and joined by shapely."""
    lines = lines_along(network.curves(np.flatnonzero(network.cut)), 2e-5)
    return shapely.union_all(shapely.buffer(lines, grooves.half_width_mm[network.cut], quad_segs=256))


def reference_land(network: Network, grooves: Grooves, piece: shapely.Polygon) -> float:
    """Return the area of a piece less all its grooves by shapely, independently of any cell."""
    return float(piece.difference(grooves_union(network, grooves)).area)


def sag_area_mm2(network: Network) -> float:
    """Return the area that chords can add or take along all grooves' edges and round ends at most."""
    ends = 2.0 * math.pi * float(network.cut.sum())
    return (2.0 * float(network.length_mm.sum()) + ends) * 2.0 * SAG_MM


def test_a_line_that_tapers_leaves_the_land_beside_its_point() -> None:
    """In a square, a line 4 mm wide at the side and nothing at its end takes the hull of a circle and its point."""
    network = build_lines(*rows([*square(30.0), *run((0.0, -15.0), (0.0, -5.0))]), region=FIELD, edge="plain")
    line = int(np.flatnonzero((network.x_nm[network.tail] == 0) & (network.x_nm[network.head] == 0))[0])
    share = np.ones((2, len(network.tail)))
    share[int(network.y_nm[network.head[line]] > network.y_nm[network.tail[line]]), line] = 0.0
    grooves = measure(network, RIGHT_ANGLE, {0: 2.0}, share)
    cell = cell_at(network, grooves, 0.0, 5.0)
    hull = shapely.union(shapely.Point(0, -15).buffer(2.0, quad_segs=512), shapely.Point(0, -5)).convex_hull
    left: Any = shapely.box(-13, -13, 13, 13).difference(hull)

    assert sorted(grooves.ends_half_mm[:, line]) == [0.0, pytest.approx(2.0)]
    assert grooves.land_area_mm2[cell] == pytest.approx(left.area, abs=0.02)
    radius = shapely.length(shapely.maximum_inscribed_circle(left, tolerance=1e-4))

    assert grooves.land_mm[cell] == pytest.approx(2.0 * radius, abs=0.001)


def test_a_groove_reaches_in_over_the_point_of_one_that_tapers() -> None:
    """Where a groove rises to a point at the piece's edge, one beside it that is as wide takes the land beyond the point."""
    ends = [((-20.0, 45.0), (4.0, 45.0)), *(((x, 45.0), (x, 50.0)) for x in (-20.0, 0.0, 1.0))]
    network = build_lines(*rows([Line(start=a, end=b) for a, b in ends]), region=FIELD, edge="plain")
    point = int(np.flatnonzero((network.xy_mm == (0.0, 50.0)).all(axis=1))[0])
    share = np.ones((2, len(network.tail)))
    share[0, network.tail == point] = share[1, network.head == point] = 0.0
    grooves = measure(network, RIGHT_ANGLE, {0: 1.2}, share)
    cell = cell_at(network, grooves, -10.0, 49.0)
    left: Any = shapely.box(-20, 45, 0, 50).difference(
        shapely.union_all(
            [shapely.LineString(line).buffer(1.2, quad_segs=256) for line in (*ends[:2], ends[3])]
        )
    )
    hull = shapely.union(shapely.Point(0, 45).buffer(1.2, quad_segs=256), shapely.Point(0, 50)).convex_hull

    assert grooves.land_area_mm2[cell] == pytest.approx(left.difference(hull).area, abs=0.01)


def test_a_kite_hardly_too_small_for_its_grooves_keeps_no_land() -> None:
    """The largest circle in this kite is 2.9256 mm wide; grooves of 2.944 mm leave nothing."""
    kite = [(0.0, 14.682017), (1.703487, 15.665526), (0.0, 22.023026), (-1.703487, 15.665526)]
    _, grooves = carved(run(*kite, closed=True), 2.944)

    assert grooves.vanished == 1


def test_square_keeps_a_smaller_square() -> None:
    """A square of side s with grooves of width g keeps a square of side s - g."""
    network, grooves = carved(square(30.0), 4.0)
    cell = cell_at(network, grooves, 0.0, 0.0)

    assert grooves.land_mm[cell] == pytest.approx(26.0, abs=MICROMETRE)
    assert grooves.land_area_mm2[cell] == pytest.approx(26.0**2, abs=MICROMETRE)
    assert grooves.land_at_mm[cell] == pytest.approx((0.0, 0.0), abs=MICROMETRE)
    assert grooves.islands[cell] == 1


def test_hexagon_keeps_its_apothem() -> None:
    """The largest circle in a regular hexagon of side a has the diameter a sqrt 3, less the groove."""
    corners = [(20 * math.cos(k * math.pi / 3), 20 * math.sin(k * math.pi / 3)) for k in range(6)]
    network, grooves = carved(run(*corners, closed=True), 3.0)
    inner = 20.0 - 3.0 / math.sqrt(3.0)  # side of the hexagon inset by half the groove
    cell = cell_at(network, grooves, 0.0, 0.0)

    assert grooves.land_mm[cell] == pytest.approx(20.0 * math.sqrt(3.0) - 3.0, abs=MICROMETRE)
    assert grooves.land_area_mm2[cell] == pytest.approx(1.5 * math.sqrt(3.0) * inner**2, abs=MICROMETRE)


def test_ring_keeps_a_frame_with_a_round_edged_hole() -> None:
    """Between two squares the land is a frame: sharp corners outside, quarter circles round the inner corners."""
    network, grooves = carved([*square(60.0), *square(30.0)], 4.0)
    cell = cell_at(network, grooves, 0.0, 22.5)
    area = 56.0**2 - (30.0**2 + 4.0 * 30.0 * 2.0 + math.pi * 2.0**2)
    # The circle in a corner touches two outer sides and the round end at the inner corner.
    span = 28.0 - 15.0
    radius = (span * math.sqrt(2.0) - 2.0) / (1.0 + math.sqrt(2.0))

    assert grooves.land_area_mm2[cell] == pytest.approx(area, abs=0.01)
    assert grooves.land_mm[cell] == pytest.approx(2.0 * radius, abs=2.0 * MICROMETRE)
    assert len(islands_mm(grooves, cell)) == 2


def test_dangling_line_takes_its_whole_footprint() -> None:
    """A line that ends inside a cell takes its width times its length and half a disk at its end."""
    network, grooves = carved([*square(60.0), *run((-30.0, 0.0), (0.0, 0.0))], 4.0)
    cell = cell_at(network, grooves, 20.0, 0.0)
    taken = (30.0 - 2.0) * 4.0 + math.pi * 2.0**2 / 2.0

    assert grooves.land_area_mm2[cell] == pytest.approx(56.0**2 - taken, abs=0.01)
    assert grooves.islands[cell] == 1


@pytest.mark.parametrize("bulge", [0.3, -0.131, 0.7])
def test_a_narrow_arc_that_dangles_amid_wide_grooves_takes_its_own_width(bulge: float) -> None:
    """An arc 0.2 mm wide that hangs in a cell with sides 4 mm wide takes 0.2 mm of the land, not 4 mm."""
    arc = Line(start=(-15.0, 3.137), end=(6.721, -1.913), bulge=bulge, feature=1)
    network = build_lines(*rows([*square(30.0), arc]), region=FIELD, edge="plain")
    grooves = measure(network, RIGHT_ANGLE, {0: 2.0, 1: 0.1})
    cell = cell_at(network, grooves, 12.0, 12.0)
    within = shapely.box(-13, -13, 13, 13).difference(
        shapely.buffer(lines_along(rows([arc])[0], 2e-5), 0.1, quad_segs=256)[0]
    )

    assert grooves.islands[cell] == len(shapely.get_parts(within))
    assert grooves.land_area_mm2[cell] == pytest.approx(within.area, abs=0.03)


@pytest.mark.parametrize("within_mm", [0.8, 1.4])
def test_a_side_far_shorter_than_its_groove_is_wide_moves_none_of_the_land(within_mm: float) -> None:
    """Beside a side of a hundredth of the groove's width the land ends where the grooves one by one leave it."""
    ends = [
        (-6.670897, -0.520953, 0.01145654), (-6.10029, -0.472545, 0.0), (-6.10029, 3.664634, 0.0),
        (-6.198793, 4.265764, 0.0), (-9.808214, 2.324377, 0.0), (-8.769759, -0.427834, 2.69036727e-4),
        (-8.761732, -0.429162, 0.01980057), (-8.111882, -0.510072, 0.02011167), (-7.391686, -0.54182, 0.01639043),
    ]  # fmt: skip
    sides = [
        Line(start=b[:2], end=a[:2], bulge=-a[2], feature=int(k in (1, 2)))
        for k, (a, b) in enumerate(itertools.pairwise([*ends, ends[0]]))
    ]
    network = build_lines(*rows(sides), region=FIELD, edge="plain")
    grooves = measure(network, RIGHT_ANGLE, {0: 1.4, 1: within_mm})
    cell = cell_at(network, grooves, -7.75, 1.6)
    walked = [corner for line in lines_along(rows(sides)[0], 2e-5) for corner in reversed(line.coords)]
    shape = shapely.Polygon(walked)

    assert grooves.land_area_mm2[cell] == pytest.approx(reference_land(network, grooves, shape), abs=0.0015)


def test_line_hanging_free_in_a_cell_and_a_bridge_to_a_hole() -> None:
    """Lines inside a cell count whether they hang free, or tie a hole to the outside."""
    free, grooves = carved([*square(60.0), *run((-10.0, 0.0), (10.0, 0.0))], 2.0)
    area = 58.0**2 - (20.0 * 2.0 + math.pi)
    assert grooves.land_area_mm2[cell_at(free, grooves, 0.0, 20.0)] == pytest.approx(area, abs=0.01)

    bridged, grooves = carved([*square(60.0), *square(20.0), *run((-30.0, 0.0), (-10.0, 0.0))], 2.0)
    area = 58.0**2 - (20.0**2 + 4.0 * 20.0 + math.pi) - 2.0 * (20.0 - 2.0)
    assert grooves.land_area_mm2[cell_at(bridged, grooves, 0.0, 20.0)] == pytest.approx(area, abs=0.01)


def test_cell_breaks_into_islands() -> None:
    """A waist narrower than the groove parts a cell into two islands, and the wide part names its land."""
    bar = run((-40, -10), (0, -1), (40, -15), (40, 15), (0, 1), (-40, 10), closed=True)
    network, grooves = carved(bar, 3.0)
    cell = cell_at(network, grooves, 35.0, 0.0)

    assert grooves.islands[cell] == 2
    assert grooves.broken == 1
    assert grooves.land_at_mm[cell, 0] > 0.0


def test_arc_cells_keep_a_concentric_disk() -> None:
    """A circle of radius R keeps a disk of radius R - g / 2."""
    half = [
        Line(start=(20.0, 0.0), end=(-20.0, 0.0), bulge=1.0),
        Line(start=(-20.0, 0.0), end=(20.0, 0.0), bulge=1.0),
    ]
    network, grooves = carved(half, 2.0)
    cell = cell_at(network, grooves, 0.0, 0.0)

    assert grooves.land_mm[cell] == pytest.approx(38.0, abs=2.0 * MICROMETRE)
    assert grooves.land_area_mm2[cell] == pytest.approx(math.pi * 19.0**2, abs=0.1)


# One square hemp leaf tile, half size 50: radii of the circles in its two kinds of cells, in closed form.  The flat
# triangle is I-O-C, the slender ones O-M-I; radius = 2 area / boundary.
OBTUSE_R = (
    2.0 * 1250.0 * (math.sqrt(2.0) - 1.0) / (50.0 * math.sqrt(2.0) + 100.0 * math.sqrt(2.0 - math.sqrt(2.0)))
)
SLENDER_R = (
    2.0
    * 625.0
    * (2.0 - math.sqrt(2.0))
    / (50.0 + 50.0 * math.sqrt(2.0 - math.sqrt(2.0)) + 50.0 * (math.sqrt(2.0) - 1.0))
)


def hemp_leaf(width_mm: float) -> Grooves:
    """Cut one square hemp leaf tile of 100 mm."""
    network = build(pattern("kaku-asanoha"), region=FIELD, pitch_mm=50.0)
    return measure(network, RIGHT_ANGLE, dict.fromkeys(range(4), width_mm / 2.0))


def test_square_hemp_leaf_land() -> None:
    """Both kinds of cells keep a circle of twice their radius less the groove."""
    sizes = np.sort(hemp_leaf(4.0).land_mm)

    assert len(sizes) == 24
    assert sizes[:16] == pytest.approx(np.full(16, 2.0 * SLENDER_R - 4.0), abs=MICROMETRE)
    assert sizes[16:] == pytest.approx(np.full(8, 2.0 * OBTUSE_R - 4.0), abs=MICROMETRE)


def test_square_hemp_leaf_vanishes_at_the_right_width() -> None:
    """Land goes when the groove is twice the radius: first the slender cells, then the flat ones."""
    assert (pytest.approx(13.438056), pytest.approx(14.065228)) == (2.0 * SLENDER_R, 2.0 * OBTUSE_R)
    assert hemp_leaf(13.43).vanished == 0
    assert hemp_leaf(13.44).vanished == 16
    assert hemp_leaf(14.06).vanished == 16
    gone = hemp_leaf(14.07)
    assert gone.vanished == 24
    assert gone.narrowest_mm == 0.0
    assert gone.narrowest_at_mm is None


def test_weak_islands_by_size_and_by_depth() -> None:
    """Land is weak below half a millimetre, or below half of the depth of its grooves."""
    network = build_lines(*rows(square(10.0)), region=FIELD, edge="plain")
    sharp = VBit(angle_deg=30.0)
    slope = 2.0 * math.tan(math.radians(15.0))
    for depth, land in ((0.6, 10.0 - 0.6 * slope), (17.7, 10.0 - 17.7 * slope)):
        grooves = measure(network, sharp, {0: depth})
        assert min(grooves.land_mm) == pytest.approx(land, abs=MICROMETRE)
        assert (grooves.weak == 1) == (land < max(0.5, depth / 2.0))


def test_wide_neighbour_reaches_in() -> None:
    """A wide groove outside reaches over a narrow line into the next cell."""
    lines = [*square(60.0), *run((0.0, -30.0), (0.0, 30.0))]
    lines.append(Line(start=(-1.0, -20.0), end=(-1.0, 20.0), feature=1))
    network = build_lines(*rows(lines), region=FIELD, edge="plain")
    grooves = measure(network, RIGHT_ANGLE, {0: 0.5, 1: 2.0})
    cell = cell_at(network, grooves, 15.0, 0.0)
    field = shapely.box(0.5, -29.5, 29.5, 29.5)
    wide = shapely.LineString([(-1.0, -20.0), (-1.0, 20.0)]).buffer(2.0, quad_segs=512)

    assert grooves.land_area_mm2[cell] == pytest.approx(field.difference(wide).area, abs=0.001)


def test_a_wide_neighbour_that_reaches_in_by_little_counts() -> None:
    """A groove beyond the cell that takes 0.03 mm of its land takes that much of its largest circle as well."""
    lines = [*square(60.0), *run((0.0, -30.0), (0.0, 30.0)), *run((20.0, -30.0), (20.0, 30.0))]
    lines.append(Line(start=(-1.47, -30.0), end=(-1.47, 30.0), feature=1))
    network = build_lines(*rows(lines), region=FIELD, edge="plain")
    grooves = measure(network, RIGHT_ANGLE, {0: 0.5, 1: 2.0})
    cell = cell_at(network, grooves, 10.0, 0.0)

    assert grooves.land_mm[cell] == pytest.approx(19.5 - (2.0 - 1.47), abs=MICROMETRE)


def test_a_groove_reaches_over_a_slot_of_the_piece() -> None:
    """Where the piece is not convex, a groove beside a slot takes wood on its other side, over an edge that is not cut."""
    corners = [(-20, -20), (20, -20), (20, 20), (0.5, 20), (0.5, -10), (-0.5, -10), (-0.5, 20), (-20, 20)]
    piece = Region(outer=Ring(xy_mm=np.array(corners, dtype=float), bulge=np.zeros(8)))
    lines = [*run((2.0, -20.0), (2.0, 20.0)), *run((-20.0, -10.0), (-0.5, -10.0))]
    network = build_lines(*rows(lines), region=piece, edge="plain")
    grooves = measure(network, RIGHT_ANGLE, {0: 3.0})

    expected = reference_land(network, grooves, shapely.Polygon(corners))
    assert grooves.land_area_mm2.sum() == pytest.approx(expected, abs=sag_area_mm2(network))
    arm = cell_at(network, grooves, -10.0, 10.0)
    # The arm is 19.5 mm wide and 30 mm long; the groove takes 0.5 mm of its width, the one across it 3 mm of its length.
    assert grooves.land_area_mm2[arm] == pytest.approx(19.0 * 27.0, abs=MICROMETRE)


def test_a_piece_without_cells_has_no_land() -> None:
    """Lines alone have width and depth, and nothing between them."""
    whole, _ = carved(square(30.0), 2.0)
    none, one = np.zeros(0, dtype=np.int64), np.zeros(1, dtype=np.int64)
    bare = replace(whole, ring_half_edge=none, ring_start=one, cell_ring_start=one, cell_class=none)
    grooves = measure(bare, RIGHT_ANGLE, {0: 1.0})

    assert grooves.half_width_mm[bare.cut] == pytest.approx([1.0] * 4)
    assert (len(grooves.land_mm), grooves.weak, grooves.narrowest_mm) == (0, 0, 0.0)
    assert len(footprint(bare, grooves)) == 2  # outside and inside of the frame


def test_an_island_is_weak_by_the_deepest_groove_round_it() -> None:
    """Land 0.8 mm wide beside one groove 2 mm deep breaks out (half the depth), whatever the other grooves measure."""
    for deep, x, weak in ((2.0, 1.7, [0.8]), (1.5, 2.2, [])):
        lines = run((5.0, 5.0), (-5.0, 5.0), (-5.0, -5.0), (5.0, -5.0))
        lines += [Line(start=(5.0, -5.0), end=(5.0, 5.0), feature=1), *run((x, -5.0), (x, 5.0))]
        network = build_lines(*rows(lines), region=FIELD, edge="plain")
        grooves = measure(network, RIGHT_ANGLE, {0: 0.5, 1: deep})

        assert grooves.narrowest_mm == pytest.approx(0.8, abs=MICROMETRE)
        assert grooves.weak_mm.tolist() == pytest.approx(weak, abs=MICROMETRE)


def test_missing_depth_is_our_own_fault() -> None:
    """A feature that is cut but has no depth is never guessed."""
    network = build_lines(*rows(square(10.0)), region=FIELD, edge="plain")

    with pytest.raises(InternalError, match="no depth for lines of feature 0"):
        measure(network, RIGHT_ANGLE, {1: 2.0})


@pytest.mark.slow
@pytest.mark.parametrize(
    "name",
    ["kaku-asanoha", "izutsu-tsunagi", "masu-tsunagi", "sayagata", "shippo", "higaki", "yotsu-waribishi"],
)
@pytest.mark.parametrize(("edge", "turn"), [("groove", 0.0), ("plain", 11.0)])
def test_land_is_the_piece_less_the_union_of_grooves(name: str, edge: str, turn: float) -> None:
    """Summed over all cells, land is what shapely leaves of the piece; ground and leaf differ in depth."""
    network = build(pattern(name), region=rectangle(90.0, 70.0), pitch_mm=16.0, rotate_deg=turn, edge=edge)
    grooves = measure(network, RIGHT_ANGLE, {0: 0.7, 1: 0.4, 2: 0.7, 3: 0.7})
    piece = shapely.box(-45.0, -35.0, 45.0, 35.0)

    expected = reference_land(network, grooves, piece)
    assert grooves.land_area_mm2.sum() == pytest.approx(expected, abs=sag_area_mm2(network))


@pytest.mark.parametrize("name", ["asanoha", "seigaiha"])
def test_copies_keep_the_land_they_would_have_alone(name: str) -> None:
    """Working each kind of cell out once gives what working out every single cell gives."""
    whole = build(pattern(name), region=rectangle(80.0, 70.0), pitch_mm=14.0)
    alone = Network(
        **{
            field: getattr(whole, field)
            for field in Network.__dataclass_fields__
            if field not in ("cell_class", "edge_class")
        },
        cell_class=np.full(whole.cells, -1),
        edge_class=np.full(len(whole.tail), -1),
    )
    depths = {0: 0.6, 1: 0.3, 2: 0.6, 3: 0.6}
    one, other = measure(whole, RIGHT_ANGLE, depths), measure(alone, RIGHT_ANGLE, depths)

    assert one.land_mm == pytest.approx(other.land_mm, abs=MICROMETRE)
    assert one.land_area_mm2 == pytest.approx(other.land_area_mm2, abs=MICROMETRE)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["masu-tsunagi", "kaku-asanoha", "seigaiha", "amime", "shippo"])
@pytest.mark.parametrize(("edge", "turn"), [("groove", 0.0), ("plain", 11.0)])
def test_footprint_is_the_union_of_grooves(name: str, edge: str, turn: float) -> None:
    """The outline encloses the area that shapely's union does, with as many rings."""
    network = build(pattern(name), region=rectangle(60.0, 50.0), pitch_mm=20.0, rotate_deg=turn, edge=edge)
    grooves = measure(network, RIGHT_ANGLE, {0: 0.7, 1: 0.4, 2: 0.7, 3: 0.7})
    rings = footprint(network, grooves)
    x, y = zip(*(ring.T for ring in rings), strict=True)
    area = sum(float(a @ np.roll(b, -1) - b @ np.roll(a, -1)) / 2.0 for a, b in zip(x, y, strict=True))
    union = grooves_union(network, grooves)

    assert area == pytest.approx(union.area, abs=sag_area_mm2(network))
    assert len(rings) == sum(1 + len(part.interiors) for part in shapely.get_parts(union))


def test_footprint_of_loose_lines_and_of_lines_within_a_cell() -> None:
    """A line hanging free has an outline of its own, within a cell, in a hole, and where there is no cell at all."""
    lines = [*square(60.0), *run((-5.0, 0.0), (5.0, 0.0))]
    network, grooves = carved(lines, 2.0)
    alone, few = carved(run((-5.0, 0.0), (5.0, 0.0)), 2.0)
    stroke_mm2 = 10.0 * 2.0 + math.pi
    frame_mm2 = 4.0 * 60.0 * 2.0 - 4.0 + math.pi  # corners: three quarters square, one quarter round

    def area(found: list[np.ndarray]) -> float:
        rings = [ring.T for ring in found]
        return sum(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2.0 for x, y in rings)

    assert area(footprint(alone, few)) == pytest.approx(stroke_mm2, abs=0.05)
    assert area(footprint(network, grooves)) == pytest.approx(stroke_mm2 + frame_mm2, abs=0.2)


def test_a_wide_groove_reaches_out_over_the_border_of_the_cells() -> None:
    """Beside a narrow border, a wide groove inside lies partly outside all cells; the outline goes round that as well."""
    lines = [*square(40.0), Line(start=(-20.0, 19.0), end=(20.0, 19.0), feature=1)]
    network = build_lines(*rows(lines), region=FIELD, edge="plain")
    grooves = measure(network, RIGHT_ANGLE, {0: 0.2, 1: 2.0})
    rings = [ring.T for ring in footprint(network, grooves)]
    area = sum(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2.0 for x, y in rings)

    assert max(float(y.max()) for _, y in rings) == pytest.approx(19.0 + 2.0, abs=MICROMETRE)
    assert area == pytest.approx(grooves_union(network, grooves).area, abs=sag_area_mm2(network))


@st.composite
def convex(draw: st.DrawFn) -> shapely.Polygon:
    """Draw a convex polygon of some width, often long and thin."""
    points = draw(st.lists(st.tuples(st.floats(-20, 20), st.floats(-20, 20)), min_size=3, max_size=10))
    squeeze = draw(st.floats(0.02, 1.0))
    hull: Any = shapely.MultiPoint([(x, y * squeeze) for x, y in points]).convex_hull
    return hull if hull.geom_type == "Polygon" and hull.area > 0.5 else shapely.box(0, 0, 30, squeeze)


@settings(deadline=None, derandomize=True, max_examples=60)
@example(shapely.Polygon([(12, -3 / 64), (0, -3 / 128), (0, 0), (1, 3 / 128), (7, 3 / 128), (12, -3 / 64)]))
@given(convex())
def test_largest_circle_of_convex_polygons_is_exact(polygon: shapely.Polygon) -> None:
    """The largest circle in a convex polygon is a linear programme; the answer agrees to a micrometre."""
    ring = shapely.get_coordinates(shapely.normalize(polygon).exterior)[::-1]
    side = np.diff(ring, axis=0)
    inward = np.column_stack([-side[:, 1], side[:, 0]]) / np.hypot(side[:, 0], side[:, 1])[:, None]
    best = linprog(
        [0, 0, -1],
        A_ub=np.column_stack([-inward, np.ones(len(inward))]),
        b_ub=-(inward * ring[:-1]).sum(axis=1),
        bounds=[(None, None), (None, None), (0, None)],
    )
    assert best.x is not None
    size, _ = largest_circles(np.array([polygon], dtype=object))

    assert size[0] == pytest.approx(2.0 * best.x[2], abs=MICROMETRE)


def test_the_widest_place_of_a_long_channel_is_found():
    """A channel of 12,000 corners and even width, with one disc laid on it: the circle is the disc's own (closed form)."""
    x = np.linspace(0.0, 400.0, 6000)
    middle = np.column_stack([x, 2.0 * np.sin(x / 3.0)])
    place = middle[4123]
    band = shapely.LineString(middle).buffer(0.4).union(shapely.Point(place).buffer(0.55, quad_segs=64))
    assert shapely.get_num_coordinates(band) > LARGE

    size, centre = largest_circles(np.array([band]))

    assert size[0] == pytest.approx(1.1 * math.cos(math.pi / 256.0), abs=1e-5)
    assert centre[0] == pytest.approx(place, abs=1e-3)


@settings(deadline=None, derandomize=True, max_examples=100)
@given(
    corners=st.lists(
        st.tuples(st.integers(0, 900), st.integers(0, 500)), min_size=3, max_size=7, unique=True
    ),
    way=st.sampled_from([(x, y, swap) for x in (1, -1) for y in (1, -1) for swap in (False, True)]),
)
def test_polygons_that_lie_mirrored_have_their_circles_mirrored(
    corners: list[tuple[int, int]], way: tuple[int, int, bool]
) -> None:
    """Law: among others alike, a polygon mirrored and moved keeps the very circle, which lies mirrored in it and touches it."""
    ring = [
        corners[k] for k in np.argsort(np.arctan2(*(np.array(corners, float) - np.mean(corners, axis=0)).T))
    ]
    polygon = shapely.Polygon(np.array(ring) / 100.0)
    assume(polygon.is_valid and polygon.area > 0.05)
    x, y, swap = way
    lying = (0.0, y, x, 0.0) if swap else (x, 0.0, 0.0, y)
    other = affine_transform(polygon, [*lying, 31.25, -7.5])

    size, centre = largest_circles(np.array([polygon, other], dtype=object))

    assert size[0] == size[1]
    for shape, diameter, at in zip((polygon, other), size, centre, strict=True):
        assert shape.exterior.distance(shapely.Point(at)) == pytest.approx(diameter / 2.0, abs=1e-4)
        assert shape.contains(shapely.Point(at))
