"""Unit cells against figures derived outside the code: vertices, edges, cells, lengths, angles, areas."""

from __future__ import annotations

import math
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
import yaml

from drawn_lines import Line, rows
from small_network import build
from vcarve.network.model import Network
from vcarve.pattern.entries import evaluate
from vcarve.pattern.model import pattern
from vcarve.pattern.symmetry import Lattice
from vcarve.pattern.unit import UnitNetwork, unit_network
from vcarve.plane.region import rectangle

FIGURES = yaml.safe_load((Path(__file__).parents[1] / "pattern" / "figures.yaml").read_text(encoding="utf-8"))
KEYS = sorted(FIGURES)


def directions(cell: Lattice, unit: UnitNetwork) -> list[list[float]]:
    """Return for each vertex the directions, in radians, in which its edges leave it."""
    basis = cell.basis
    leaving: list[list[float]] = [[] for _ in unit.uv]
    for tail, head, step, bulge in zip(unit.tail, unit.head, unit.step, unit.bulge, strict=True):
        dx, dy = (unit.uv[head] + step - unit.uv[tail]) @ basis
        chord, half = math.atan2(dy, dx), 2.0 * math.atan(bulge)
        leaving[tail].append(chord - half)
        leaving[head].append(chord + math.pi + half)
    return leaving


def gaps(angles: list[float]) -> list[float]:
    """Return the angles in degrees between neighbouring directions, all the way round."""
    ordered = sorted(math.degrees(angle) % 360.0 for angle in angles)
    return [
        (after - before) % 360.0
        for before, after in zip(ordered, [*ordered[1:], ordered[0] + 360.0], strict=True)
    ]


def smooth(angles: list[float]) -> bool:
    """Tell whether a vertex only carries one line smoothly on, which no figure counts as a vertex."""
    return len(angles) == 2 and abs(abs(gaps(angles)[0]) - 180.0) < 1e-4


def edge_lengths(cell: Lattice, unit: UnitNetwork) -> np.ndarray:
    """Return the length of each unit edge: chord, or radius times angle."""
    basis = cell.basis
    chord = np.hypot(*((unit.uv[unit.head] + unit.step - unit.uv[unit.tail]) @ basis).T)
    half = 2.0 * np.arctan(np.abs(unit.bulge))
    return chord / np.sinc(half / np.pi)


def ring_measures(network: Network, cell: int) -> tuple[float, float]:
    """Return area and boundary of a cell by the shoelace formula and circular segments, in mm² and mm.

    A tail that ends inside the cell, and so has it on both sides, is no part of its boundary.
    """
    xy = network.xy_mm
    area = boundary = 0.0
    lengths = network.length_mm
    first, last = network.cell_ring_start[cell], network.cell_ring_start[cell + 1]
    sides = network.ring_half_edge[network.ring_start[first] : network.ring_start[last]]
    once = np.bincount(sides // 2) == 1
    for ring in range(first, last):
        for half_edge in network.ring_half_edge[network.ring_start[ring] : network.ring_start[ring + 1]]:
            edge, back = divmod(int(half_edge), 2)
            a, b = xy[network.tail[edge]], xy[network.head[edge]]
            bulge = float(network.bulge[edge])
            if back:
                a, b, bulge = b, a, -bulge
            area += (a[0] * b[1] - a[1] * b[0]) / 2.0
            boundary += lengths[edge] if once[edge] else 0.0
            if bulge:
                sweep = 4.0 * math.atan(bulge)
                radius = math.dist(a, b) / (2.0 * math.sin(abs(sweep) / 2.0))
                area += radius**2 * (sweep - math.sin(sweep)) / 2.0
    return area, boundary


def test_every_pattern_has_figures():
    """The table of figures covers the catalogue, so nothing below is skipped."""
    assert len(KEYS) >= 32
    for key in KEYS:
        assert pattern(key).key == key


@pytest.mark.parametrize("key", KEYS)
def test_vertices_and_edges(key):
    """Vertices by degree, edges and odd vertices per unit cell are the table's, smooth joints not counted."""
    made, wanted = pattern(key), FIGURES[key]
    unit = made.unit_network
    leaving = directions(made.cell, unit)
    joints = sum(smooth(angles) for angles in leaving)
    degrees = Counter(len(angles) for angles in leaving if not smooth(angles))

    assert dict(degrees) == wanted["vertices"]
    assert len(unit.tail) - joints == wanted["edges"]
    assert sum(count for degree, count in degrees.items() if degree % 2) == wanted["odd"]


@pytest.mark.parametrize("key", KEYS)
def test_length(key):
    """The length of the unit cell's edges is the closed form."""
    made, wanted = pattern(key), FIGURES[key]
    tolerance = 1e-8 if isinstance(wanted["length"], int | str) else 1e-6

    assert edge_lengths(made.cell, made.unit_network).sum() == pytest.approx(
        evaluate(wanted["length"]), rel=tolerance
    )


@pytest.mark.parametrize("key", [key for key in KEYS if FIGURES[key]["least-angle"] is not None])
def test_least_angle(key):
    """The smallest angle between two lines at a vertex is the table's, 0 where arcs touch."""
    made = pattern(key)
    leaving = directions(made.cell, made.unit_network)
    least = min(
        min(gap, 360.0 - gap)
        for angles in leaving
        if len(angles) > 1 and not smooth(angles)
        for gap in gaps(angles)
    )

    assert least == pytest.approx(FIGURES[key]["least-angle"], abs=0.06)


@pytest.mark.slow
@pytest.mark.parametrize("key", KEYS)
def test_cells_of_a_patch(key):
    """Away from the rim of a patch there are as many classes of cells as the table has, of its areas and boundaries."""
    made, wanted = pattern(key), FIGURES[key]
    pitch = 10.0
    side = 6.0 * pitch * math.sqrt(made.cell.area) + 2.0 * pitch
    network = build(made, region=rectangle(side, side), pitch_mm=pitch, shift_mm=(0.713, -0.391))
    found: dict[int, tuple[float, float]] = {}
    for cell in np.flatnonzero(network.cell_class >= 0):
        klass = int(network.cell_class[cell])
        area, boundary = ring_measures(network, int(cell))
        if klass in found:
            assert (area, boundary) == pytest.approx(found[klass], rel=1e-6)
        found[klass] = (area, boundary)

    assert len(found) == wanted["faces"]
    left = sorted((area / pitch**2, boundary / pitch) for area, boundary in found.values())
    for cell in wanted["cells"]:
        # Places are whole nanometres: half of one all round a cell of 10 mm pitch; figures given as numbers have four digits.
        area, tolerance = evaluate(cell["area"]), 5e-7 if isinstance(cell["area"], int | str) else 6e-5
        like = [
            pair
            for pair in left
            if abs(pair[0] - area) < tolerance and abs(pair[1] - cell["boundary"]) < 6e-5
        ]
        assert len(like) == cell["count"], (cell, left)
        left = [pair for pair in left if pair not in like]
    assert not left


def test_overlapping_lines_are_one():
    """A line drawn twice, a part of it drawn again, and one that ground and leaf share are one edge, of the ground."""
    curves, feature = rows(
        [
            Line(start=(0.0, 0.0), end=(1.0, 0.0), feature=1),
            Line(start=(0.2, 0.0), end=(0.7, 0.0), feature=0),
            Line(start=(3.0, 0.0), end=(2.0, 0.0), feature=1),
            Line(start=(0.0, 0.0), end=(0.0, 1.0), feature=0),
        ]
    )
    square = Lattice((1.0, 0.0), (0.0, 1.0))
    unit = unit_network(curves, feature, square)

    assert edge_lengths(square, unit).sum() == pytest.approx(2.0, abs=1e-9)
    assert sorted(zip(unit.feature.tolist(), edge_lengths(square, unit).round(9).tolist(), strict=True)) == [
        (0, 0.5),
        (0, 1.0),
        (1, 0.2),
        (1, 0.3),
    ]
