"""Networks of drawn lines: crossings, touches and overlaps of lines and arcs, holes, features."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely

from drawn_lines import Line, Point, rows
from small_network import build_lines
from vcarve.errors import InputError
from vcarve.network.faces import cell_areas_mm2
from vcarve.network.model import Network
from vcarve.network.noding import SNAP_MM
from vcarve.plane.region import Region, Ring, rectangle, reversed_ring

FIELD = rectangle(100.0, 100.0)


def run(*points: Point, closed: bool = False, feature: int = 0) -> list[Line]:
    """Return the lines from point to point."""
    ends = [*points, points[0]] if closed else list(points)
    return [Line(start=a, end=b, feature=feature) for a, b in itertools.pairwise(ends)]


def round_about(x: float, y: float, radius: float, pieces: int = 2, turn_deg: float = 0.0) -> list[Line]:
    """Return a circle as arcs."""
    angles = [math.radians(turn_deg + 360.0 * k / pieces) for k in range(pieces + 1)]
    points = [(x + radius * math.cos(a), y + radius * math.sin(a)) for a in angles]
    bulge = math.tan(math.pi / 2.0 / pieces)
    return [Line(start=a, end=b, bulge=bulge) for a, b in itertools.pairwise(points)]


def network(*groups: list[Line], region: Region = FIELD, **options) -> Network:
    """Return the network of groups of lines."""
    return build_lines(*rows([line for group in groups for line in group]), region=region, **options)


def cut_vertices(made: Network) -> list[int]:
    """Return the degrees of the vertices that edges to cut touch, sorted."""
    ends = np.concatenate([made.tail[made.cut], made.head[made.cut]])
    return sorted(np.bincount(ends)[np.unique(ends)].tolist())


def test_crossing():
    """Two lines that cross are four edges on one vertex."""
    made = network(run((-10, 0), (10, 0)), run((0, -10), (0, 10)))

    assert (made.edges, made.vertices, made.cells) == (4, 5, 1)
    assert cut_vertices(made) == [1, 1, 1, 1, 4]


def test_a_cell_is_enclosed_where_its_outer_side_is_cut_all_round():
    """Of a square, the ring round it, the land round both and a half that the piece's edge closes, the first two are."""
    small, large = ([(-h, -h), (h, -h), (h, h), (-h, h)] for h in (5, 10))
    made = network(run(*small, closed=True), run(*large, closed=True), run((-50, 20), (50, 20)), edge="plain")

    assert (made.cells, made.cells_enclosed) == (4, 2)


@pytest.mark.parametrize("bulge", [1.0, 1.2, -1.4, 3.0])
def test_arcs_turn_by_half_a_circle_at_most(bulge):
    """An arc that turns further is in two: chord 10, so a radius of 10 (1 + b²) / (4 |b|) and a sweep of 4 atan |b|."""
    made = network([Line(start=(-5, 0), end=(5, 0), bulge=bulge)])
    radius = 10.0 * (1.0 + bulge**2) / (4.0 * abs(bulge))

    assert np.abs(made.bulge[made.cut]).max() <= 1.0 + 1e-9
    assert made.edges == (1 if abs(bulge) == 1.0 else 2)
    assert made.cut_mm == pytest.approx(radius * 4.0 * math.atan(abs(bulge)), abs=1e-5)


def test_nothing_is_left_beyond_the_piece_of_a_line_along_its_edge():
    """Where lines run off by 1 mm and the edge is plain, a line on the edge is left whole, the ends beyond it too."""
    field, piece = rectangle(62.0, 62.0), rectangle(60.0, 60.0)
    made = network(run((30, -40), (30, 40)), run((0, -40), (0, 40)), region=field, piece=piece, edge="plain")

    assert made.cut_mm == pytest.approx(62.0, abs=1e-6)
    assert made.xy_mm[made.tail[made.cut], 0].tolist() == pytest.approx([0.0] * made.edges, abs=1e-6)


@pytest.mark.parametrize(
    "ends",
    [
        [(0.0023, 0.999, 3.0, 3.0), (0.0032, -0.001, 1.0033, 2.9978), (0.0, 1.0, 3.0, 3.0)],
        [(2.0, 1.0, 0.0025, 1.0013), (0.0019, 0.9976, 3.0, 3.0), (0.0, 0.0, 0.0, 2.0)],
        [(0.0, 3.0, 3.0, 0.0), (0.0005, 3.0005, 3.0031, 0.0031), (1.0, 1.0, 0.0028, 3.0034)],
    ],
)
def test_what_moves_onto_its_neighbour_meets_others_there(ends):
    """Lines a few micrometres apart move onto each other, and then lie near a third: no vertex is left that near to a line."""
    made = network([Line(start=(x0, y0), end=(x1, y1)) for x0, y0, x1, y1 in ends])
    edges = np.flatnonzero(made.cut)
    used = np.unique(np.concatenate([made.tail[edges], made.head[edges]]))
    for edge in edges:
        others = np.setdiff1d(used, [made.tail[edge], made.head[edge]])
        line = shapely.LineString(made.xy_mm[[made.tail[edge], made.head[edge]]])

        assert shapely.distance(line, shapely.points(made.xy_mm[others])).min() > SNAP_MM


def test_tee():
    """A line that ends on another splits it."""
    made = network(run((-10, 0), (10, 0)), run((3, 0), (3, 8)))

    assert made.edges == 3
    assert cut_vertices(made) == [1, 1, 1, 3]
    assert made.cut_mm == pytest.approx(28.0, abs=1e-6)


@pytest.mark.parametrize(("gap", "meets"), [(1.5e-3, True), (-1.5e-3, True), (3e-3, False)])
def test_gap(gap, meets):
    """A gap of less than 2 µm is none; a larger one stays open, and an overshoot of less than that is cut off."""
    made = network(run((-10, 0), (10, 0)), run((3, gap), (3, 8)))

    assert made.edges == (3 if meets else 2)


def test_doubled():
    """A line drawn twice, once the other way round, is one edge."""
    made = network(run((-10, 1), (10, 2)), run((10, 2), (-10, 1)))

    assert (made.edges, made.vertices) == (1, 2)


def test_partly_overlapping():
    """Lines that overlap in part become edges from end to end of each, none doubled."""
    made = network(run((0, 0), (10, 5)), run((4, 2), (16, 8)), run((12, 6), (-2, -1)))

    assert made.edges == 5
    assert made.cut_mm == pytest.approx(math.hypot(18, 9), abs=1e-5)


def test_ground_wins_over_leaf():
    """Where lines of ground and leaf overlap the edge is the ground's; beyond it the leaf stays leaf."""
    made = network(run((0, 0), (10, 0), feature=1), run((6, 0), (2, 0), feature=0))
    lengths = {feature: made.length_mm[made.cut & (made.feature == feature)].sum() for feature in (0, 1)}

    assert lengths == pytest.approx({0: 4.0, 1: 6.0}, abs=1e-6)


def test_layers():
    """Of two layers of a drawing the lower number wins an overlap."""
    made = network(run((0, 0), (10, 0), feature=9), run((0, 0), (10, 0), feature=8))

    assert made.feature[made.cut].tolist() == [8]


def test_line_through_a_circle():
    """A line through a circle makes two cells of it, each a segment of known area, and two arcs."""
    made = network(round_about(0, 0, 10.0), run((-20, 6), (20, 6)))

    assert made.cells == 3
    assert made.cut_mm == pytest.approx(20.0 * math.pi + 40.0, abs=1e-5)
    # A segment of half angle a = acos(0.6) has R² (a - sin a cos a).
    smaller = 100.0 * (math.acos(0.6) - 0.6 * 0.8)
    areas = [smaller, 100.0 * math.pi - smaller, 100.0**2 - 100.0 * math.pi]
    assert sorted(cell_areas_mm2(made)) == pytest.approx(areas, abs=1e-4)
    # Ends of the two half circles, two crossings, two ends.
    assert cut_vertices(made) == [1, 1, 2, 2, 4, 4]


def test_tangent_line():
    """A line that touches a circle meets it once, without a sliver between them."""
    made = network(round_about(0, 0, 10.0), run((-20, 10), (20, 10)))

    assert cut_vertices(made) == [1, 1, 2, 2, 4]
    assert made.cells == 2


def test_tangent_circles():
    """Two circles side by side touch in one vertex of four arcs; one inside another that it touches does too."""
    beside = network(round_about(-10, 0, 10.0, 2, 90.0), round_about(6, 0, 6.0, 2, 90.0))
    within = network(round_about(0, 0, 10.0, 2, 90.0), round_about(4, 0, 6.0, 2, 90.0))

    for made in (beside, within):
        assert made.cells == 3
        assert cut_vertices(made).count(4) == 1
        assert made.cut_mm == pytest.approx(2.0 * math.pi * 16.0, abs=1e-5)


def test_crossing_circles():
    """Two circles through each other's centres make three cells and meet where the law of cosines says."""
    made = network(round_about(-5, 0, 10.0, 2, 20.0), round_about(5, 0, 10.0, 2, 50.0))

    assert made.cells == 4
    crossings = made.xy_mm[np.abs(made.xy_mm[:, 0]) < 1e-5]
    assert sorted(crossings[:, 1].tolist()) == pytest.approx([-math.sqrt(75.0), math.sqrt(75.0)], abs=2e-6)


def test_same_circle_twice():
    """A circle drawn in two arcs and again in five, begun elsewhere, is cut once."""
    made = network(round_about(3, -2, 10.0, 2, 10.0), round_about(3, -2, 10.0, 5, 33.0))

    assert made.edges == 7
    assert made.cut_mm == pytest.approx(20.0 * math.pi, abs=1e-5)
    assert made.cells == 2


def test_three_quarter_arc():
    """An arc of more than half a circle keeps its length and is never left as one edge."""
    bulge = math.tan(math.radians(270.0) / 4.0)
    made = network([Line(start=(10.0, 0.0), end=(0.0, -10.0), bulge=bulge)], run((10, 0), (0, 0), (0, -10)))

    assert made.cut_mm == pytest.approx(15.0 * math.pi + 20.0, abs=1e-5)
    assert np.abs(made.bulge).max() <= 1.0
    assert made.cells == 2


def test_nested():
    """Loops inside loops: each cell has the next loop as its hole."""
    loops = [run((-s, -s), (s, -s), (s, s), (-s, s), closed=True) for s in (5.0, 10.0, 20.0, 40.0)]
    made = network(*loops)

    assert made.cells == 5
    assert sorted(np.diff(made.cell_ring_start).tolist()) == [1, 2, 2, 2, 2]
    squares = np.diff([0.0, 10.0**2, 20.0**2, 40.0**2, 80.0**2, 100.0**2])
    assert sorted(cell_areas_mm2(made)) == pytest.approx(sorted(squares), abs=1e-4)


def test_many_loops_in_one_cell():
    """Loops side by side are all holes of the one cell round them, far or near."""
    loops = [round_about(x, y, 2.0) for x in range(-40, 41, 10) for y in range(-40, 41, 10)]
    made = network(*loops)

    assert made.cells == 82
    assert np.diff(made.cell_ring_start).max() == 82


@pytest.mark.parametrize("turn", range(0, 360, 15))
def test_half_moon(turn):
    """A half-moon loose in a ring is the hole of the cell round it whichever way it faces, with a post close by."""
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))

    def at(x: float, y: float) -> Point:
        return c * x - s * y, s * x + c * y

    moon = [
        Line(start=at(0, -4), end=at(0, 4), bulge=1.0),
        Line(start=at(0, -4), end=at(0, 4), bulge=0.6),
    ]
    post = [
        Line(start=at(-1.0, -0.5), end=at(-1.0, 0.5), bulge=1.0),
        Line(start=at(-1.0, 0.5), end=at(-1.0, -0.5), bulge=1.0),
    ]
    made = network(round_about(0, 0, 10.0, 3), moon, post)

    assert made.cells == 4
    # Outside, ring with two holes, moon, post.
    assert sorted(np.diff(made.cell_ring_start).tolist()) == [1, 1, 2, 3]


def test_on_the_outline():
    """A line on part of the outline is cut there, and only there; with a plain edge it is not."""
    lines = [*run((-50, -20), (-50, 30)), *run((-50, 0), (50, 0))]
    groove, plain = (
        build_lines(*rows(lines), region=FIELD),
        build_lines(*rows(lines), region=FIELD, edge="plain"),
    )

    assert groove.cut_mm == pytest.approx(150.0, abs=1e-6)
    assert plain.cut_mm == pytest.approx(100.0, abs=1e-6)
    assert groove.cells == plain.cells == 2


def test_round_outline_drawn_again():
    """A circle on a round outline, a little off it, lies on it."""
    region = Region(outer=Ring(xy_mm=np.array([(30.0, 0.0), (-30.0, 0.0)]), bulge=np.ones(2)))
    for radius in (30.0, 30.0012, 29.9988):
        made = network(round_about(0, 0, radius, 3, 40.0), region=region)

        assert made.cells == 1
        assert made.cut_mm == pytest.approx(60.0 * math.pi, abs=1e-5)


def test_beyond_the_piece():
    """Lines that miss the piece leave it whole; lines that run off it end at its outline."""
    missed = network(run((60, 60), (80, 60)))
    through = network(run((-80, 10), (80, 10)))

    assert (missed.cells, missed.edges) == (1, 0)
    assert through.cut_mm == pytest.approx(100.0, abs=1e-6)


def test_hole_cuts_lines():
    """A line across a square hole is cut on both sides of it; a loop inside the hole is gone."""
    hole = reversed_ring(rectangle(20.0, 20.0).outer)
    region = Region(outer=FIELD.outer, holes=(hole,))
    made = network(run((-80, 3), (80, 3)), round_about(0, 0, 4.0), region=region)

    assert made.cut_mm == pytest.approx(80.0, abs=1e-6)
    assert made.cells == 2


def test_touching_the_hole():
    """A loop drawn on the rim of a hole is cut there and makes no cell."""
    region = Region(outer=FIELD.outer, holes=(reversed_ring(rectangle(20.0, 20.0).outer),))
    made = network(run((-10, -10), (10, -10), (10, 10), (-10, 10), closed=True), region=region)

    assert made.cut_mm == pytest.approx(80.0, abs=1e-6)
    assert made.cells == 1
    assert np.diff(made.cell_ring_start).tolist() == [2]


@pytest.mark.slow
def test_star():
    """Forty lines through one point meet in one vertex although no two computed crossings are quite the same."""
    lines = [
        line
        for k in range(40)
        for a in [math.pi * k / 40.0]
        for line in run((-30 * math.cos(a), -30 * math.sin(a)), (30 * math.cos(a) / 3, 30 * math.sin(a) / 3))
    ]
    made = network(lines)

    assert made.edges == 80
    assert max(cut_vertices(made)) == 80


def test_specks():
    """Lines shorter than 2 µm are not cut."""
    made = network(run((0, 0), (1e-3, 0)), run((5, 5), (9, 5)))

    assert made.edges == 1


def test_nothing_drawn():
    """A drawing without lines is refused."""
    with pytest.raises(InputError, match="no lines"):
        build_lines(*rows([]), region=FIELD)


def test_lines_beyond_counting_are_refused(monkeypatch):
    """Crossings grow with the square of the lines; very many are refused before they fill the memory."""
    monkeypatch.setattr("vcarve.network.build.MOST_PAIRS", 99)
    across = [run((-20, y), (20, y)) for y in range(10)]
    assert network(*across, *(run((x, -20), (x, 20)) for x in range(9))).edges == 199
    with pytest.raises(InputError, match="over 99 pairs"):
        network(*across, *(run((x, -20), (x, 20)) for x in range(10)))
