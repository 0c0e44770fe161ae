"""Outlines, holes, frames and edges: what the piece does to the endless pattern."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from drawn_lines import lines_of
from small_network import build
from vcarve.job.bench import names
from vcarve.network.model import Network
from vcarve.network.noding import SNAP_MM
from vcarve.pattern.model import pattern
from vcarve.pattern.shapes import circle, ellipse, regular_polygon, rounded_rectangle
from vcarve.plane.inset import inset
from vcarve.plane.region import (
    Region,
    Ring,
    area_mm2,
    corners,
    inside,
    perimeter_mm,
    polygon,
    rectangle,
    reversed_ring,
)


def scaled(region: Region, factor: float) -> Region:
    """Return a region times a factor."""
    return Region(outer=Ring(xy_mm=region.outer.xy_mm * factor, bulge=region.outer.bulge.copy()))


def pierced(region: Region, *holes: Region) -> Region:
    """Return a region with holes in it."""
    return Region(outer=region.outer, holes=tuple(reversed_ring(hole.outer) for hole in holes))


REGIONS = {
    "rectangle": rectangle(71.3, 53.7),
    "circle": circle(67.3),
    "ellipse": ellipse(71.3, 43.7),
    "rounded": rounded_rectangle(71.3, 53.7, 9.1),
    "hexagon": scaled(regular_polygon(6, 15.0), 31.7),
    "triangle": scaled(regular_polygon(3, 0.0), 41.7),
    "ring": pierced(circle(67.3), circle(21.1)),
    "lid": pierced(rectangle(71.3, 53.7), rectangle(12.7, 17.9)),
}


FRAME = 2  # after ground and leaf


def length_by_feature(network: Network) -> dict[int, float]:
    """Return the length to cut of each feature."""
    return {
        int(feature): float(network.length_mm[network.cut & (network.feature == feature)].sum())
        for feature in np.unique(network.feature[network.cut])
    }


def grid(pitch: float, region: Region, shift_mm: tuple[float, float] = (0.0, 0.0), **options) -> Network:
    """Return a square grid on a region, two of its lines crossing at the shift (in the file they do so mid-cell)."""
    shift = (shift_mm[0] + pitch / 2.0, shift_mm[1] + pitch / 2.0)
    return build(pattern("ichimatsu"), region=region, pitch_mm=pitch, shift_mm=shift, **options)


@pytest.mark.slow
@pytest.mark.parametrize("shape", sorted(REGIONS))
@pytest.mark.parametrize("key", names("pattern"))
def test_every_outline(shape, key):
    """Every pattern fills every outline: areas add up, nothing lies outside, the outline is closed, no edge is a sliver."""
    made, region = pattern(key), REGIONS[shape]
    network = build(made, region=region, pitch_mm=11.7 / made.cell.area**0.4, rotate_deg=7.0, edge="plain")
    field = shapely.Polygon(corners(region.outer), [corners(hole) for hole in region.holes])
    rim = network.length_mm[~network.cut].sum()

    assert rim == pytest.approx(perimeter_mm(region), rel=1e-6)
    assert network.length_mm.min() > SNAP_MM - 1e-5
    points = shapely.points(network.xy_mm)
    assert shapely.distance(points, field).max() < 1e-3
    if region.holes:
        hole = shapely.Polygon(corners(region.holes[0])).buffer(-2e-3)
        assert not shapely.intersects(points, hole).any()
    # Every side of an edge but the outer sides of the outline bounds a cell.
    assert len(network.ring_half_edge) == 2 * len(network.tail) - np.count_nonzero(~network.cut)


def test_grid_in_a_circle():
    """Lines of a square grid in a circle are chords of it: 2 sqrt(R² - x²) each."""
    network = grid(7.0, circle(60.0), shift_mm=(2.3, 1.1))
    chord = [
        2.0 * math.sqrt(30.0**2 - x * x)
        for shift in (2.3, 1.1)
        for x in (shift + 7.0 * k for k in range(-9, 10))
        if abs(x) < 30.0
    ]

    assert network.cut_mm == pytest.approx(sum(chord), abs=1e-4)


def test_grid_round_a_hole():
    """A round hole takes a chord off every line that meets it."""
    network = grid(7.0, pierced(rectangle(60.0, 50.0), circle(20.0)), shift_mm=(2.3, 1.1))
    whole = grid(7.0, rectangle(60.0, 50.0), shift_mm=(2.3, 1.1))
    chord = [
        2.0 * math.sqrt(100.0 - x * x)
        for shift in (2.3, 1.1)
        for x in (shift + 7.0 * k for k in range(-3, 4))
        if abs(x) < 10.0
    ]

    assert whole.cut_mm - network.cut_mm == pytest.approx(sum(chord), abs=1e-4)


def test_edge_on_the_outline():
    """Lines of a 10 mm grid that lie on the outline of a 100 mm square are cut, or left where the edge is plain."""
    groove, plain = grid(10.0, rectangle(100.0, 100.0)), grid(10.0, rectangle(100.0, 100.0), edge="plain")

    assert groove.cut_mm == pytest.approx(22 * 100.0, abs=1e-6)
    assert plain.cut_mm == pytest.approx(18 * 100.0, abs=1e-6)
    assert (groove.edges, plain.edges) == (220, 180)
    assert groove.cells == plain.cells == 100


def test_margin():
    """On the field inside a margin lines end at the field's edge, rounded or not."""
    field = inset(rounded_rectangle(100.0, 80.0, 15.0), 5.0)[0]
    network = grid(8.0, field, shift_mm=(1.0, 0.5), edge="plain")
    # The field is 90 by 70 with corners of 10: lines within 10 of a side lose what the corners take.
    wanted = 0.0
    for half, other, shift in ((45.0, 35.0, 1.0), (35.0, 45.0, 0.5)):
        for x in (shift + 8.0 * k for k in range(-6, 7)):
            if abs(x) < half:
                deep = max(abs(x) - (half - 10.0), 0.0)
                wanted += 2.0 * (other - 10.0 + math.sqrt(100.0 - deep * deep))

    assert network.cut_mm == pytest.approx(wanted, abs=1e-4)


def test_frame_crosses_the_pattern():
    """A frame line crosses every line of the pattern and adds its own length, as a frame."""
    region = rectangle(100.0, 80.0)
    bare = grid(10.0, region, shift_mm=(3.0, 4.0))
    frame = inset(region, 5.0)[0]
    network = grid(10.0, region, shift_mm=(3.0, 4.0), frames=[(frame, FRAME)])
    lengths = length_by_feature(network)

    assert lengths[FRAME] == pytest.approx(2.0 * (90.0 + 70.0), abs=1e-6)
    assert network.cut_mm == pytest.approx(bare.cut_mm + 320.0, abs=1e-5)
    # Nine lines up and seven across cross the frame twice each.
    assert network.vertices - bare.vertices == 2 * (9 + 7) + 4


def test_frame_on_pattern_lines():
    """Where a frame lies on lines of the ground both are one edge, of the frame: its depth was asked for."""
    region = rectangle(100.0, 100.0)
    frame = inset(region, 10.0)[0]
    bare, network = grid(10.0, region), grid(10.0, region, frames=[(frame, FRAME)])

    assert network.cut_mm == pytest.approx(bare.cut_mm, abs=1e-6)
    assert network.edges == bare.edges
    assert length_by_feature(network)[FRAME] == pytest.approx(4 * 80.0, abs=1e-6)


def test_frame_on_the_outline():
    """A frame on the outline itself is cut, whether or not the pattern's own lines there are."""
    region = circle(60.0)
    groove = grid(9.0, region, frames=[(region, 8)])
    plain = grid(9.0, region, frames=[(region, 8)], edge="plain")

    assert length_by_feature(groove)[8] == pytest.approx(60.0 * math.pi, abs=1e-5)
    assert length_by_feature(plain)[8] == pytest.approx(60.0 * math.pi, abs=1e-5)
    assert groove.cut_mm == pytest.approx(plain.cut_mm, abs=1e-5)


def test_round_frames():
    """Two round frames cross a grid of arcs and close their cells; their lengths are pi times their diameters."""
    frames = [(circle(40.0), FRAME), (circle(52.0), 9)]
    network = build(
        pattern("shippo"), region=rectangle(60.0, 60.0), pitch_mm=11.0, shift_mm=(0.7, 0.4), frames=frames
    )
    lengths = length_by_feature(network)

    assert lengths[FRAME] == pytest.approx(40.0 * math.pi, abs=1e-5)
    assert lengths[9] == pytest.approx(52.0 * math.pi, abs=1e-5)


@pytest.mark.parametrize("away", [-1.9e-3, -5e-4, -1e-5, -1e-8, 1e-8, 1e-5, 5e-4, 1.9e-3])
def test_a_hair_off_the_outline(away):
    """Lines less than 2 µm inside or outside the outline lie on it: no slivers of cells or edges beside it."""
    network = grid(10.0, rectangle(100.0 + 2.0 * away, 100.0 + 2.0 * away))

    assert (network.cells, network.edges) == (100, 220)
    assert np.abs(network.xy_mm).max() == pytest.approx(50.0 + away, abs=1e-6)
    assert network.length_mm.min() > 9.99


@pytest.mark.parametrize("away", [-3e-3, 3e-3])
def test_more_than_a_hair(away):
    """Lines 3 µm off the outline are their own: cut inside it, gone outside."""
    network = grid(10.0, rectangle(100.0 + 2.0 * away, 100.0 + 2.0 * away), edge="plain")

    assert network.cells == (144 if away > 0 else 100)
    assert network.cut_mm == pytest.approx((22 if away > 0 else 18) * 100.0, abs=0.5)


def test_lines_through_the_corners():
    """Diagonals that end in the corners of the piece meet the outline there and nowhere else."""
    network = build(pattern("kaku-asanoha"), region=rectangle(60.0, 60.0), pitch_mm=30.0, edge="plain")

    corners = np.abs(np.abs(network.xy_mm) - 30.0).max(axis=1) < 1e-6
    assert np.count_nonzero(corners) == 4
    assert len(network.x_nm) == 17


@pytest.mark.slow
@pytest.mark.parametrize("key", names("pattern"))
def test_piece_between_the_lines(key):
    """A pitch far larger than the piece may leave no line on it: one cell, nothing to cut, no crash."""
    made = pattern(key)
    for shift in ((0.0, 0.0), (111.0, 57.0), (13.0, 29.0)):
        network = build(made, region=rectangle(4.0, 3.0), pitch_mm=900.0, shift_mm=shift, edge="plain")
        assert network.cells >= 1
        if network.edges == 0:
            assert network.cells == 1
            assert network.cut_mm == 0.0


def test_no_line_at_all():
    """A piece in the middle of one square of the grid is one cell whose rim is not cut."""
    network = grid(900.0, rectangle(4.0, 3.0), shift_mm=(450.0, 450.0))

    assert (network.cells, network.edges, network.vertices) == (1, 0, 0)
    assert network.cell_class.tolist() == [-1]


@pytest.mark.slow
@pytest.mark.parametrize("key", ["masu-tsunagi", "seigaiha", "futae-asanoha", "sakura"])
def test_tiny_pitch(key):
    """A pitch of 0.3 mm still proves itself and keeps its density of line."""
    made = pattern(key)
    network = build(made, region=rectangle(9.0, 9.0), pitch_mm=0.3, rotate_deg=11.0)
    density = sum(line.length for line in lines_of(made)) / made.cell.area / 0.3

    assert network.length_mm.min() > SNAP_MM - 1e-5
    assert network.cut_mm == pytest.approx(81.0 * density, rel=0.03)


@pytest.mark.slow
@pytest.mark.parametrize("shape", sorted(REGIONS))
def test_inside(shape):
    """Points are told in or out as by fine chords of the arcs, within a tenth of a micrometre of them too."""
    region = REGIONS[shape]
    rng = np.random.default_rng(7)
    points = [rng.uniform(-40.0, 40.0, (4000, 2))]
    for ring in region.rings:
        rim = corners(ring, 1e-5)
        points += [rim * (1.0 + share) for share in (-3e-6, 3e-6, -1e-4, 1e-4)]
    spots = np.vstack(points)

    fine = polygon(region, 1e-6)
    clear = shapely.distance(fine.boundary, shapely.points(spots)) > 2e-6

    assert np.count_nonzero(clear) > 0.9 * len(spots)
    assert (inside(region, spots) == shapely.contains_xy(fine, *spots.T))[clear].all()
    assert area_mm2(region) > 0


def test_short_side_of_the_outline():
    """A side of the outline of a quarter micrometre, left between two roundings, becomes a corner."""
    region = rounded_rectangle(17.0, 13.60025, 6.8)
    network = grid(4.0, region, shift_mm=(0.3, 0.2), edge="plain")

    assert network.length_mm.min() > SNAP_MM - 1e-5
    assert network.length_mm[~network.cut].sum() == pytest.approx(perimeter_mm(region), abs=1e-3)
