"""Networks on the piece: the square hemp leaf's closed forms, and other geometry libraries for the rest."""

from __future__ import annotations

import itertools
import math
from collections import Counter

import networkx as nx
import numpy as np
import pytest
import shapely

from drawn_lines import lines_of
from small_network import build
from vcarve.job.bench import names
from vcarve.network.model import OUTLINE, Network
from vcarve.pattern.model import Pattern, pattern
from vcarve.pattern.shapes import circle
from vcarve.plane.region import Region, corners, rectangle, reversed_ring

LEAF_MM = (
    200.0 + 200.0 * math.sqrt(2.0) + 800.0 * math.sqrt(2.0 - math.sqrt(2.0)) + 400.0 * (math.sqrt(2.0) - 1.0)
)


def panel(across: int, along: int, edge: str = "groove") -> Network:
    """Return a panel of square hemp leaf tiles of 100 mm: half a tile is the pitch, a joint lies on each corner."""
    return build(
        pattern("kaku-asanoha"),
        region=rectangle(100.0 * across, 100.0 * along),
        pitch_mm=50.0,
        shift_mm=(-50.0 * across, -50.0 * along),
        edge=edge,
    )


def cut_degrees(network: Network) -> Counter[int]:
    """Return how many vertices have how many edges to cut."""
    ends = np.concatenate([network.tail[network.cut], network.head[network.cut]])
    return Counter(np.bincount(ends)[np.unique(ends)].tolist())


def boundaries(network: Network) -> np.ndarray:
    """Return the length of each cell's boundary."""
    along = network.length_mm[network.ring_half_edge // 2]
    return np.array(
        [
            along[network.ring_start[first] : network.ring_start[last]].sum()
            for first, last in itertools.pairwise(network.cell_ring_start)
        ]
    )


def polygons(network: Network) -> list[shapely.Polygon]:
    """Return the cells as polygons, arcs in chords of 1 degree at most."""
    found = []
    for first, last in itertools.pairwise(network.cell_ring_start):
        rings = []
        for ring in range(first, last):
            points: list[tuple[float, float]] = []
            for half_edge in network.ring_half_edge[network.ring_start[ring] : network.ring_start[ring + 1]]:
                edge, back = divmod(int(half_edge), 2)
                run = edge_points(network, edge)
                points += (run[::-1] if back else run)[:-1]
            rings.append(points)
        found.append(shapely.Polygon(rings[0], rings[1:]))
    return found


def arc_points(
    a: tuple[float, float], b: tuple[float, float], bulge: float, count: int
) -> list[tuple[float, float]]:
    """Return points along an arc from a to b; turning the tangent by half of what the arc turns gives each chord."""
    half = 2.0 * math.atan(bulge)
    points = []
    for k in range(count + 1):
        share = k / count
        along = math.sin(share * half) / math.sin(half) if bulge else share
        tilt = (share - 1.0) * half
        dx, dy = b[0] - a[0], b[1] - a[1]
        points.append(
            (
                a[0] + along * (dx * math.cos(tilt) - dy * math.sin(tilt)),
                a[1] + along * (dx * math.sin(tilt) + dy * math.cos(tilt)),
            )
        )
    return points


def edge_points(network: Network, edge: int) -> list[tuple[float, float]]:
    """Return points along an edge from tail to head."""
    xy = network.xy_mm
    a, b = xy[network.tail[edge]], xy[network.head[edge]]
    bulge = float(network.bulge[edge])
    count = max(math.ceil(4.0 * math.atan(abs(bulge)) / math.radians(1.0)), 1)
    return arc_points((float(a[0]), float(a[1])), (float(b[0]), float(b[1])), bulge, count)


def line_work(
    made: Pattern, pitch: float, shift: tuple[float, float], reach: float
) -> list[shapely.LineString]:
    """Return the pattern's lines within reach of the origin, laid out one by one without the code under test.

    Arcs are drawn in chords and have a corner wherever another line ends on them.
    """
    a1, a2 = made.cell.basis * pitch
    most = math.ceil(2.5 * (reach + math.hypot(*shift)) / math.sqrt(abs(a1[0] * a2[1] - a1[1] * a2[0]))) + 3
    placed = []
    for i, j in itertools.product(range(-most, most + 1), repeat=2):
        move = i * a1 + j * a2 + shift
        for line in lines_of(made):
            a, b = np.array(line.start) * pitch + move, np.array(line.end) * pitch + move
            if min(np.hypot(*a), np.hypot(*b)) < reach + 2.0 * math.dist(a, b):
                placed.append(((float(a[0]), float(a[1])), (float(b[0]), float(b[1])), line.bulge))
    ends = np.array([end for a, b, _ in placed for end in (a, b)])
    lines = []
    for start, end, bulge in placed:
        points = arc_points(start, end, bulge, 90 if bulge else 1)
        if bulge:
            string = shapely.LineString(points)
            near = ends[shapely.dwithin(shapely.points(ends), string, 1e-2)]
            # Order along the arc is order of the distance along the string; a place is put in exactly.
            marks = {round(string.project(shapely.Point(p)), 6): tuple(p) for p in near}
            marks |= {round(string.project(shapely.Point(p)), 6): p for p in (points[0], points[-1])}
            rest = {round(string.project(shapely.Point(p)), 6): p for p in points[1:-1]}
            places = {**rest, **marks}
            points = [places[t] for t in sorted(places)]
        lines.append(shapely.LineString(points))
    return lines


def test_tile():
    """One 100 mm tile with its border: 17 vertices, 40 edges, 24 cells and the length of the closed form."""
    network = panel(1, 1)

    assert (network.vertices, network.edges, network.cells) == (17, 40, 24)
    assert network.cut_mm == pytest.approx(LEAF_MM + 400.0, abs=1e-5)
    assert pytest.approx(1260.821629, abs=1e-6) == LEAF_MM
    assert cut_degrees(network) == {16: 1, 5: 8, 3: 8}


def test_tile_without_border():
    """The tile with a plain edge has 32 edges and still 24 cells: the outline closes those at the rim."""
    network = panel(1, 1, edge="plain")

    assert (network.edges, network.cells) == (32, 24)
    assert network.cut_mm == pytest.approx(LEAF_MM, abs=1e-5)
    assert cut_degrees(network) == {16: 1, 3: 16}
    assert set(network.feature[~network.cut].tolist()) == {OUTLINE}


def test_tile_cells():
    """Eight cells have 1250 (sqrt 2 - 1) mm², sixteen 625 (2 - sqrt 2); their boundaries add up to 2921.643 mm."""
    network = panel(1, 1)
    root = math.sqrt(2.0)
    areas = sorted(cell.area for cell in polygons(network))
    around = sorted(boundaries(network))

    assert areas == pytest.approx([625.0 * (2.0 - root)] * 16 + [1250.0 * (root - 1.0)] * 8, abs=1e-4)
    short, long = (
        50.0 + 50.0 * math.sqrt(2.0 - root) + 50.0 * (root - 1.0),
        50.0 * root + 100.0 * math.sqrt(2.0 - root),
    )
    assert around == pytest.approx([short] * 16 + [long] * 8, abs=1e-5)
    assert sum(around) == pytest.approx(2.0 * LEAF_MM + 400.0, abs=1e-4)
    assert sum(around) == pytest.approx(2921.643258, abs=1e-4)


@pytest.mark.parametrize(("across", "along"), [(1, 1), (2, 2), (2, 3), (3, 3), (4, 4)])
def test_panel(across, along):
    """A panel of N by M tiles obeys the counts worked out from its tiles, corners and sides."""
    network = panel(across, along)
    tiles = across * along
    sides = across * (along + 1) + along * (across + 1)
    degrees = cut_degrees(network)

    assert network.vertices == 9 * tiles + (across + 1) * (along + 1) + sides
    assert network.edges == 32 * tiles + 2 * sides
    assert network.cells == 24 * tiles
    assert network.cut_mm == pytest.approx(LEAF_MM * tiles + 100.0 * sides, abs=1e-3)
    assert boundaries(network).sum() == pytest.approx((2.0 * LEAF_MM + 400.0) * tiles, abs=1e-3)
    assert sum(n for degree, n in degrees.items() if degree % 2) == 8 * tiles + 4 * (across + along)
    rim = 2 * (across + along)
    inner = (across - 1) * (along - 1)
    assert (
        degrees
        == Counter({16: tiles + inner, 9: rim - 4, 8: sides - rim, 5: rim + 4, 3: 8 * tiles}) - Counter()
    )


FIELD = {
    "square": rectangle(61.3, 47.83),
    "ring": Region(outer=rectangle(61.3, 47.83).outer, holes=(reversed_ring(circle(20.2).outer),)),
}
SELECTION = [
    "higaki",
    "ajiro",
    "masu-tsunagi",
    "komochi-kikko",
    "izutsu-tsunagi",
    "sayagata",
    "yotsu-waribishi",
    "kaku-asanoha",
    "futae-asanoha",
    "bishamon-komochi",
    "matsukawa-bishi",
    "sankuzushi",
]


@pytest.mark.slow
@pytest.mark.parametrize("field", sorted(FIELD))
@pytest.mark.parametrize("key", [*SELECTION, "shippo", "seigaiha", "amime", "fundo-tsunagi", "tatewaku"])
def test_against_shapely(key, field):
    """Shapely polygonizes the union of the same lines and the outline into the same cells, and measures the same length."""
    made, region = pattern(key), FIELD[field]
    pitch, shift = 11.3 / math.sqrt(made.cell.area) ** 0.7, (0.917, -1.383)
    arcs = made.curves[:, 4].any()
    network = build(made, region=region, pitch_mm=pitch, shift_mm=shift, edge="plain")
    area = shapely.Polygon(corners(region.outer), [corners(hole) for hole in region.holes])
    # On a grid of 0.1 nm, so that ends which meet do so exactly.
    work = shapely.unary_union(line_work(made, pitch, shift, 40.0), grid_size=1e-7)
    lines = shapely.unary_union([work, area.boundary], grid_size=1e-7)
    wanted = [
        cell
        for cell in shapely.get_parts(shapely.polygonize([lines]))
        if area.contains(cell.representative_point())
    ]
    work = shapely.intersection(work, area)
    mine = polygons(network)

    assert len(mine) == len(wanted)
    tolerance = 1e-2 if arcs or region.holes else 1e-4
    assert sorted(c.area for c in mine) == pytest.approx(sorted(c.area for c in wanted), abs=tolerance)
    # Places are whole nanometres.
    slack = 5e-5 * work.length if arcs or region.holes else 1e-6 * network.edges
    assert network.cut_mm == pytest.approx(work.length, abs=slack)


@pytest.mark.parametrize("key", SELECTION)
def test_against_networkx(key):
    """Networkx finds the graph planar, and its parts and degrees give the number of cells by Euler's formula."""
    made = pattern(key)
    network = build(
        made, region=rectangle(70.0, 50.0), pitch_mm=12.0 / made.cell.area**0.4, shift_mm=(1.1, 0.3)
    )
    graph = nx.MultiGraph()
    graph.add_edges_from(zip(network.tail.tolist(), network.head.tolist(), strict=True))
    planar, embedding = nx.check_planarity(nx.Graph(graph))

    assert planar
    embedding.check_structure()
    assert graph.number_of_nodes() == len(network.x_nm)
    parts = nx.number_connected_components(graph)
    # V - E + F = 1 + parts, where F counts the outer face, which is no cell.
    assert network.cells == 1 + parts - graph.number_of_nodes() + graph.number_of_edges() - 1
    rings = len(network.ring_start) - 1
    assert rings - network.cells == parts - 1


@pytest.mark.parametrize("key", names("pattern"))
def test_every_side_once(key):
    """Each half-edge bounds one cell; only the outer sides of the outline bound none."""
    made = pattern(key)
    network = build(
        made, region=rectangle(60.0, 60.0), pitch_mm=13.0 / made.cell.area**0.4, shift_mm=(1.1, 0.3)
    )
    seen = np.bincount(network.ring_half_edge, minlength=2 * len(network.tail))
    missing = np.flatnonzero(seen == 0)

    assert seen.max() == 1
    places = network.xy_mm[np.concatenate([network.tail[missing // 2], network.head[missing // 2]])]
    assert np.abs(places).max(axis=1) == pytest.approx(np.full(len(places), 30.0), abs=1e-6)
    assert network.length_mm[missing // 2].sum() == pytest.approx(240.0, abs=1e-5)


@pytest.mark.slow
@pytest.mark.parametrize("key", names("pattern"))
def test_classes_are_copies(key):
    """Edges of one class have one length and one direction; cells of one class one area."""
    made = pattern(key)
    network = build(made, region=rectangle(60.0, 60.0), pitch_mm=9.0 / made.cell.area**0.4, rotate_deg=17.0)
    step = network.xy_mm[network.head] - network.xy_mm[network.tail]
    for klass in np.unique(network.edge_class[network.edge_class >= 0]):
        like = step[network.edge_class == klass]
        assert np.abs(like - like[0]).max() < 5e-6
        assert len(np.unique(network.bulge[network.edge_class == klass])) == 1
    areas = np.array([cell.area for cell in polygons(network)])
    for klass in np.unique(network.cell_class[network.cell_class >= 0]):
        like = areas[network.cell_class == klass]
        assert np.ptp(like) < 2e-4
