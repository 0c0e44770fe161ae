"""Laws of networks: what moving, turning, mirroring and rescaling may not change, and how counts grow."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from drawn_lines import Line, rows
from small_network import build, build_lines
from vcarve.job.bench import names
from vcarve.network.model import Network
from vcarve.network.noding import SNAP_MM
from vcarve.pattern.fit import rectangular_repeat
from vcarve.pattern.model import Pattern, pattern
from vcarve.pattern.shapes import rounded_rectangle
from vcarve.plane.inset import inset
from vcarve.plane.region import Region, Ring, area_mm2, corners, perimeter_mm, rectangle

LAW = settings(deadline=None, derandomize=True, max_examples=40)

keys = st.sampled_from(names("pattern"))
straight_keys = st.sampled_from([key for key in names("pattern") if not pattern(key).curves[:, 4].any()])
# Numbers without pattern, so that no vertex comes to lie on the outline by design.
sizes = st.integers(17_000, 61_000).map(lambda n: n / 1000.0 + 0.000317)
shifts = st.tuples(st.integers(-9999, 9999), st.integers(-9999, 9999)).map(
    lambda s: (s[0] / 1000.0 + 0.000217, s[1] / 1000.0 - 0.000413)
)
angles = st.one_of(
    st.sampled_from([0.0, 30.0, 45.0, 60.0, 90.0, 180.0]), st.floats(0.0, 360.0).map(lambda a: round(a, 3))
)
densities = st.floats(1.5, 6.0).map(lambda d: round(d, 2))


def pitch_for(made: Pattern, size: float, density: float) -> float:
    """Return a pitch at which about ``density`` cells lie along ``size``."""
    return size / density / math.sqrt(made.cell.area)


def degrees(network: Network) -> list[int]:
    """Return the degree of every vertex, sorted."""
    return sorted(np.bincount(np.concatenate([network.tail, network.head])).tolist())


def areas(network: Network) -> np.ndarray:
    """Return the area of each cell, sorted, by the shoelace formula and circular segments."""
    edge, back = np.divmod(network.ring_half_edge, 2)
    xy = network.xy_mm
    a, b = (
        xy[np.where(back, network.head[edge], network.tail[edge])],
        xy[np.where(back, network.tail[edge], network.head[edge])],
    )
    sweep = 4.0 * np.arctan(np.where(back, -1.0, 1.0) * network.bulge[edge])
    bent = sweep != 0.0
    radius = np.divide(np.hypot(*(b - a).T), 2.0 * np.sin(sweep / 2.0), out=np.zeros(len(sweep)), where=bent)
    part = 0.5 * (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0] + radius**2 * (sweep - np.sin(sweep)))
    rings = network.ring_start[network.cell_ring_start[:-1]]
    return np.sort(np.add.reduceat(part, rings)) if network.cells else np.zeros(0)


def class_sizes(classes: np.ndarray) -> list[int]:
    """Return how many members each class has, sorted; -1 is not a class."""
    return sorted(np.unique(classes[classes >= 0], return_counts=True)[1].tolist())


def same(one: Network, other: Network, scale: float = 1.0) -> None:
    """Assert that two networks differ in nothing but where they lie."""
    assert (other.vertices, other.edges, other.cells) == (one.vertices, one.edges, one.cells)
    assert degrees(other) == degrees(one)
    assert class_sizes(other.edge_class) == class_sizes(one.edge_class)
    assert class_sizes(other.cell_class) == class_sizes(one.cell_class)
    assert sorted(other.feature.tolist()) == sorted(one.feature.tolist())
    assert np.sort(other.length_mm) == pytest.approx(np.sort(one.length_mm) * scale, abs=2e-5)
    assert areas(other) == pytest.approx(areas(one) * scale**2, abs=2e-3)


def turned(region: Region, angle_deg: float) -> Region:
    """Return a region turned about the origin."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return Region(
        outer=Ring(xy_mm=region.outer.xy_mm @ np.array([[c, s], [-s, c]]), bulge=region.outer.bulge.copy())
    )


@LAW
@given(key=keys, size=sizes, density=densities, shift=shifts, i=st.integers(-9, 9), j=st.integers(-9, 9))
def test_lattice_vectors_change_nothing(key, size, density, shift, i, j):
    """Law: shifting the pattern by a vector of its lattice gives the same network."""
    made = pattern(key)
    pitch = pitch_for(made, size, density)
    region = rectangle(size, size * 0.7713)
    move = (
        shift[0] + pitch * (i * made.cell.a1[0] + j * made.cell.a2[0]),
        shift[1] + pitch * (i * made.cell.a1[1] + j * made.cell.a2[1]),
    )
    one = build(made, region=region, pitch_mm=pitch, shift_mm=shift)
    other = build(made, region=region, pitch_mm=pitch, shift_mm=move)

    same(one, other)
    assert np.sort(other.x_nm) == pytest.approx(np.sort(one.x_nm), abs=2)


@LAW
@given(key=keys, size=sizes, density=densities, shift=shifts, angle=angles)
def test_turning_changes_nothing(key, size, density, shift, angle):
    """Law: turning piece, pattern and shift together by any angle changes nothing but where things lie."""
    made = pattern(key)
    pitch = pitch_for(made, size, density)
    region = rectangle(size, size * 0.7713)
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    one = build(made, region=region, pitch_mm=pitch, shift_mm=shift)
    other = build(
        made,
        region=turned(region, angle),
        pitch_mm=pitch,
        rotate_deg=angle,
        shift_mm=(c * shift[0] - s * shift[1], s * shift[0] + c * shift[1]),
    )

    same(one, other)


@LAW
@given(key=keys, size=sizes, density=densities, shift=shifts)
def test_mirroring_changes_nothing(key, size, density, shift):
    """Law: mirroring piece, pattern and shift left to right changes nothing but where things lie."""
    made = pattern(key)
    pitch = pitch_for(made, size, density)
    region = rectangle(size, size * 0.7713)
    one = build(made, region=region, pitch_mm=pitch, shift_mm=shift)
    other = build(made, region=region, pitch_mm=pitch, shift_mm=(-shift[0], shift[1]), mirror=True)

    same(one, other)
    assert np.sort(-other.x_nm) == pytest.approx(np.sort(one.x_nm), abs=1)
    assert np.sort(other.y_nm) == pytest.approx(np.sort(one.y_nm), abs=1)


@LAW
@given(key=keys, size=sizes, density=densities, shift=shifts, scale=st.sampled_from([0.5, 1.7, 3.0]))
def test_rescaling_scales_lengths(key, size, density, shift, scale):
    """Law: a piece, pitch and shift all times s have the same counts, lengths times s and areas times s².

    It holds where no line comes nearer to the outline than what counts as on it, a length that does not grow with the piece:
    moving the outline by 0.02 mm must change no count.
    """
    made = pattern(key)
    pitch = pitch_for(made, size, density)
    one = build(made, region=rectangle(size, size * 0.7713), pitch_mm=pitch, shift_mm=shift)
    for wider in (-0.04, 0.04):
        moved = rectangle(size + wider, size * 0.7713 + wider)
        near = build(made, region=moved, pitch_mm=pitch, shift_mm=shift)
        assume((near.vertices, near.edges, near.cells) == (one.vertices, one.edges, one.cells))
    other = build(
        made,
        region=rectangle(size * scale, size * 0.7713 * scale),
        pitch_mm=pitch * scale,
        shift_mm=(shift[0] * scale, shift[1] * scale),
    )

    same(one, other, scale)


@LAW
@given(key=keys, x=st.integers(1, 399), y=st.integers(1, 399))
def test_repeats_multiply_edges(key, x, y):
    """Law: on n by n whole repeats E(n) = e n² + c n exactly, with e the edges of a repeat and c the lines its rim crosses.

    Cutting the torus of n by n repeats open along its rim splits one edge at each crossing, c for each repeat along the rim.
    It holds for edges, for lengths with c = 0, and for any place of the rim that misses every vertex.
    """
    made = pattern(key)
    width, height = rectangular_repeat(made.cell)
    assert width is not None
    assert height is not None
    pitch = 10.0
    # Steps of 0.0503 mm with remainders that keep corners of the piece off lines in the directions patterns have.
    shift = (0.0503 * x + 0.0031, 0.0503 * y + 0.0164)

    def on(n: int) -> Network:
        corner = (shift[0] - n * width * pitch / 2.0, shift[1] - n * height * pitch / 2.0)
        return build(
            made,
            region=rectangle(n * width * pitch, n * height * pitch),
            pitch_mm=pitch,
            shift_mm=corner,
            edge="plain",
        )

    one, two, three = on(1), on(2), on(3)
    unit = made.unit_network
    repeats = round(width * height / made.cell.area)

    assert three.edges == 3 * two.edges - 3 * one.edges
    assert two.edges - 2 * one.edges == 2 * repeats * len(unit.tail)
    assert two.cut_mm == pytest.approx(4.0 * one.cut_mm, abs=1e-6 * two.edges)
    assert three.cut_mm == pytest.approx(9.0 * one.cut_mm, abs=1e-6 * three.edges)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(
    key=straight_keys,
    size=sizes,
    share=st.floats(0.3, 1.0),
    density=densities,
    shift=shifts,
    angle=angles,
    mirror=st.booleans(),
    edge=st.sampled_from(["groove", "plain"]),
)
@example(  # a vertex 0.75 µm beyond a side, whose line leans on it by 5°
    key="goma",
    size=25.505317,
    share=0.4078952,
    density=5.37,
    shift=(0.000217, -0.000413),
    angle=5.375,
    mirror=False,
    edge="groove",
)
def test_edges_are_the_lines_once(key, size, share, density, shift, angle, mirror, edge):
    """Law: edges lie in the region, meet only at their ends, and are together what shapely cuts out of the same lines."""
    made = pattern(key)
    pitch = pitch_for(made, size, density)
    region = rectangle(size, round(size * share, 3) + 0.000111)
    network = build(
        made, region=region, pitch_mm=pitch, rotate_deg=angle, shift_mm=shift, mirror=mirror, edge=edge
    )
    xy = network.xy_mm
    strings: Any = shapely.linestrings(np.stack([xy[network.tail], xy[network.head]], axis=1))
    field = shapely.Polygon(corners(region.outer))
    noded = shapely.unary_union(strings, grid_size=1e-6)

    assert field.buffer(2e-6, join_style="mitre").covers(noded)
    assert shapely.get_num_geometries(noded) == len(strings)
    assert noded.length == pytest.approx(network.length_mm.sum(), abs=1e-6 * len(strings))
    # The same lines again, laid out one by one.
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    flip = -1.0 if mirror else 1.0
    most = math.ceil(3.0 * (size + math.hypot(*shift)) / (pitch * math.sqrt(made.cell.area))) + 3
    i, j = (grid.ravel() for grid in np.meshgrid(np.arange(-most, most + 1), np.arange(-most, most + 1)))
    moves = i[:, None] * np.array(made.cell.a1) + j[:, None] * np.array(made.cell.a2)
    ends = made.curves[:, :4].reshape(-1, 2, 2)
    ends = (ends[None] + moves[:, None, None, :]).reshape(-1, 2, 2) * (pitch * flip, pitch)
    ends = ends @ np.array([[c, s], [-s, c]]) + shift
    close = np.hypot(*ends.mean(axis=1).T) < 1.5 * size + 10.0 * pitch
    work = shapely.intersection(shapely.unary_union(shapely.linestrings(ends[close]), grid_size=1e-7), field)

    # An end so near to a side that it is put on it moves along a line that leans on the side by that much more.
    along = np.diff(ends[close], axis=1).reshape(-1, 2)
    lean = np.abs(along) / np.hypot(*along.T)[:, None]
    assert network.cut_mm == pytest.approx(work.length, rel=1e-6, abs=4.0 * SNAP_MM / lean[lean > 1e-6].min())
    cut = shapely.multilinestrings(list(strings[network.cut]))
    assert shapely.hausdorff_distance(cut, work) <= SNAP_MM


@settings(deadline=None, derandomize=True, max_examples=150)
@given(
    key=keys,
    size=st.sampled_from([100.0, 90.0, 40.0]),
    pitch=st.sampled_from([33.333, 25.0, 100.0 / 3.0, 12.5, 20.0, 49.9995, 50.0005, 500.0]),
    angle=st.sampled_from([0.0, 30.0, 45.0, 60.0, 90.0, 180.0]),
    half=st.sampled_from([(0.0, 0.0), (0.5, 0.0), (0.5, 0.5), (-1.5, 1.0)]),
    mirror=st.booleans(),
    edge=st.sampled_from(["groove", "plain"]),
)
def test_awkward_numbers(key, size, pitch, angle, half, mirror, edge):
    """Law: whatever lies on the outline or within a hair of it, the network proves itself and no edge is below 2 µm."""
    made = pattern(key)
    network = build(
        made,
        region=rectangle(size, size),
        pitch_mm=pitch,
        rotate_deg=angle,
        shift_mm=(half[0] * pitch, half[1] * pitch),
        mirror=mirror,
        edge=edge,
    )

    assert network.length_mm.min() > SNAP_MM - 1e-5
    assert areas(network).sum() == pytest.approx(size * size, rel=1e-6)
    assert np.abs(network.xy_mm).max() <= size / 2.0 + 1e-6


places = st.tuples(st.integers(-6, 6), st.integers(-6, 6), st.integers(-3, 3), st.integers(-3, 3)).map(
    lambda p: (p[0] * 50.0 / 6.0 + p[2] / 2000.0, p[1] * 50.0 / 6.0 + p[3] / 2000.0)
)
drawn = st.lists(
    st.tuples(places, places, st.sampled_from([0.0, 0.0, 1.0, -1.0, 0.5, math.tan(math.pi / 8.0)])).filter(
        lambda line: math.dist(line[0], line[1]) > 1.0
    ),
    min_size=1,
    max_size=25,
)


@settings(deadline=None, derandomize=True, max_examples=150)
@given(drawing=drawn, frame=st.booleans())
def test_careless_drawings(drawing, frame):
    """Law: lines and arcs whose ends meet only to a thousandth or two become a network that proves itself, without specks."""
    lines = [Line(start=start, end=end, bulge=bulge) for start, end, bulge in drawing]
    frames = ((rectangle(50.0, 50.0), 2),) if frame else ()
    network = build_lines(*rows(lines), region=rectangle(90.0, 90.0), frames=frames)

    assert network.length_mm.min() > SNAP_MM - 1e-5
    assert areas(network).sum() == pytest.approx(90.0**2, rel=1e-6)


@settings(deadline=None, derandomize=True, max_examples=100)
@given(drawing=drawn)
def test_straight_drawings_are_their_union(drawing):
    """Law: the edges of a drawing of straight lines meet only at their ends and are no longer than shapely's union of the lines.

    They may be shorter by what lies side by side within 2 µm, which becomes one.
    """
    lines = [Line(start=start, end=end) for start, end, _ in drawing]
    network = build_lines(*rows(lines), region=rectangle(110.0, 110.0), edge="plain")
    xy = network.xy_mm
    cut = network.cut
    ends = np.stack([xy[network.tail[cut]], xy[network.head[cut]]], axis=1)
    strings: Any = shapely.linestrings(ends)
    union = shapely.unary_union(shapely.linestrings([(line.start, line.end) for line in lines]))

    assert shapely.get_num_geometries(shapely.unary_union(strings, grid_size=1e-6)) == len(strings)
    assert network.cut_mm <= union.length + 4.0 * SNAP_MM * len(strings)
    together = shapely.multilinestrings(strings)
    assert shapely.hausdorff_distance(union, together, densify=0.02) < 6.0 * SNAP_MM


@settings(deadline=None, derandomize=True, max_examples=60)
@given(
    key=keys,
    size=sizes,
    density=densities,
    shift=shifts,
    angle=angles,
    margin=st.floats(0.5, 6.0),
    radius=st.floats(0.1, 0.48),
)
def test_frames_close_cells(key, size, density, shift, angle, margin, radius):
    """Law: frames and margins cut through any pattern anywhere without an open cell, a doubled line or a speck."""
    made = pattern(key)
    piece = rounded_rectangle(size, size * 0.8, round(radius * size * 0.8, 3))
    frame = inset(piece, round(margin, 3))[0]
    network = build(
        made,
        region=piece,
        pitch_mm=pitch_for(made, size, density),
        rotate_deg=angle,
        shift_mm=shift,
        frames=((frame, 2),),
    )
    bare = build(
        made, region=piece, pitch_mm=pitch_for(made, size, density), rotate_deg=angle, shift_mm=shift
    )

    assert network.length_mm.min() > SNAP_MM - 1e-5
    assert areas(network).sum() == pytest.approx(area_mm2(piece), rel=1e-6)
    # A line that touches a round corner of the frame is one with it where they are within 2 µm: sqrt(8 R h) long.
    shared = 8.0 * math.sqrt(8.0 * radius * size * SNAP_MM)
    added = network.cut_mm - bare.cut_mm
    assert perimeter_mm(frame) - shared < added < perimeter_mm(frame) + 20.0 * SNAP_MM
