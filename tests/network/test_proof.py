"""The proof of a network finds what is wrong with it: each of its sums, on a square with a diagonal that was tampered with."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vcarve.errors import InternalError
from vcarve.network.faces import prove, ring_areas, rings
from vcarve.network.model import Graph
from vcarve.plane.region import Region, rectangle

SQUARE = rectangle(10.0, 10.0)


def square(*diagonals: tuple[int, int]) -> Graph:
    """Return the sides of a square of 10 mm and diagonals, which are not split where they cross."""
    edges = np.array([(0, 1), (1, 2), (2, 3), (3, 0), *diagonals])
    count = len(edges)
    return Graph(
        xy=np.array([(-5.0, -5.0), (5.0, -5.0), (5.0, 5.0), (-5.0, 5.0)]),
        tail=edges[:, 0],
        head=edges[:, 1],
        bulge=np.zeros(count),
        feature=np.zeros(count, dtype=np.int64),
        edge_class=np.full(count, -1),
        rim=np.zeros(count, dtype=np.int64),
    )


def judge(graph: Graph, region: Region = SQUARE, walk: np.ndarray | None = None) -> None:
    """Prove a graph, with its own rings or with these half-edges in their place."""
    own, starts = rings(graph)
    area = ring_areas(graph.walked(own), starts)
    outer = area > 0.0
    prove(graph, own if walk is None else walk, starts, area, outer, np.zeros_like(outer), region)


def test_a_sound_network_is_proved() -> None:
    """A square with one diagonal: 4 vertices, 5 edges, 2 cells and the outside."""
    judge(square((0, 2)))


def test_lines_that_cross_without_a_vertex_are_no_plane_network() -> None:
    """Euler: two diagonals that cross unsplit leave too few faces for V - E + F = 2."""
    with pytest.raises(InternalError, match="do not form a plane network: 4 vertices, 6 edges"):
        judge(square((0, 2), (1, 3)))


def test_every_side_of_a_line_belongs_to_one_cell() -> None:
    """A side that is walked twice stands in the place of another."""
    graph = square((0, 2))
    walk, _ = rings(graph)
    walk[3] = walk[4]

    with pytest.raises(InternalError, match="belongs to no cell, or to two"):
        judge(graph, walk=walk)


def test_cells_cover_the_piece_and_no_more() -> None:
    """A piece wider by 0.1 micrometres is told, and so is a corner of the cells that lies 1 micrometre too far in."""
    with pytest.raises(InternalError, match=r"cover 100\.000000 mm² of a piece of 100\.00"):
        judge(square((0, 2)), rectangle(10.0001, 10.0))
    graph = square((0, 2))
    with pytest.raises(InternalError, match=r"cover 99\.99"):
        judge(replace(graph, xy=graph.xy - [(0.0, 0.0), (0.001, 0.0), (0.0, 0.0), (0.0, 0.0)]))
