"""The network record: arrays only, read-only, integer nanometres.

Glossary
half-edge   an edge walked in one direction; half-edge ``2 e`` runs tail to head of edge ``e``, ``2 e + 1`` back
ring        a closed run of half-edges with the cell on its left: counter-clockwise outside, clockwise round a hole
cell        its outer ring and the rings of its holes
bulge       tan(sweep / 4) of an arc from tail to head; 0 is a straight line, positive turns counter-clockwise
feature     what a line is for: a place in the table of whoever gave the lines (see ``Feature``), or ``OUTLINE``
class       cells or edges that are translated copies of each other share a class; -1 is a class of its own
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vcarve.plane.arcs import bulge_between, curves, points, ranges, stretches, turned
from vcarve.plane.arrays import NM_PER_MM, Bools, Floats, Ints, ReadOnly

OUTLINE = -1  # what edges are for that only close cells

ALL = slice(None)
OF_EDGES = ("tail", "head", "bulge", "feature", "edge_class", "rim")


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """What some lines are for, and what is cut along them.

    ``key`` names them in files, where features of one key go together, and ``name`` in sentences.
    """

    key: str
    name: str
    depth_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edges(ReadOnly):
    """Edges between vertices, E and V of them: what a network and the graph that it is built from have in common."""

    tail: Ints  # (E,)
    head: Ints  # (E,)
    bulge: Floats  # (E,)
    feature: Ints  # (E,) an index, or OUTLINE
    edge_class: Ints  # (E,)

    def places(self, vertices: Ints | slice) -> Floats:
        """Return where vertices (n,) are in millimetres, shape (n, 2)."""
        raise NotImplementedError

    @property
    def cut(self) -> Bools:
        """Which edges the bit cuts, shape (E,)."""
        return np.asarray(self.feature != OUTLINE)

    def curves(self, which: Ints | slice = ALL) -> Floats:
        """Return some or all edges from tail to head as curves (n, 5), see ``plane.arcs``, in mm."""
        return curves(self.places(self.tail[which]), self.places(self.head[which]), self.bulge[which])

    def walked(self, half_edges: Ints) -> Floats:
        """Return half-edges (n,) in the sense they are walked as curves (n, 5), in mm."""
        forward = self.curves(half_edges >> 1)
        return np.where((half_edges & 1).astype(bool)[:, None], turned(forward), forward)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Network(Edges):
    """Vertices, unique edges and closed cells of every line on the piece.

    Coordinates have their origin at the piece's centre, X to the right, Y to the back.
    Shapes: V vertices, E edges, R rings, H half-edges in rings, C cells.
    Edges for ``OUTLINE`` belong to the piece's outline: they close cells but the bit never goes there.
    """

    x_nm: Ints  # (V,)
    y_nm: Ints  # (V,)
    ring_half_edge: Ints  # (H,)
    ring_start: Ints  # (R + 1,) offsets into ring_half_edge
    cell_ring_start: Ints  # (C + 1,) offsets into rings; the first ring of a cell is its outer one
    cell_class: Ints  # (C,)

    @property
    def xy_mm(self) -> Floats:
        """Vertex places in millimetres, shape (V, 2)."""
        return self.places(ALL)

    def places(self, vertices: Ints | slice) -> Floats:
        """Return where vertices (n,) are in millimetres, shape (n, 2)."""
        return np.column_stack([self.x_nm[vertices], self.y_nm[vertices]]) / NM_PER_MM

    @property
    def chord_mm(self) -> Floats:
        """Straight distance between the ends of each edge, shape (E,)."""
        dx, dy = self.x_nm[self.head] - self.x_nm[self.tail], self.y_nm[self.head] - self.y_nm[self.tail]
        return np.hypot(dx / NM_PER_MM, dy / NM_PER_MM)

    @property
    def length_mm(self) -> Floats:
        """Length along each edge, shape (E,)."""
        return self.chord_mm * stretches(self.bulge)

    @property
    def edges(self) -> int:
        """How many edges the bit cuts."""
        return int(np.count_nonzero(self.cut))

    @property
    def vertices(self) -> int:
        """How many vertices have an edge to cut."""
        return len(np.union1d(self.tail[self.cut], self.head[self.cut]))

    @property
    def cells(self) -> int:
        """How many closed cells there are."""
        return len(self.cell_ring_start) - 1

    @property
    def cell_by_cell_mm(self) -> float:
        """How long it would be to cut the outline of every cell on its own."""
        edge = self.ring_half_edge // 2
        return float((self.length_mm[edge] * self.cut[edge]).sum())

    @property
    def cells_enclosed(self) -> int:
        """How many cells have a groove all round: only where there are some could one cut cell by cell."""
        closed = np.logical_and.reduceat(self.cut[self.ring_half_edge >> 1], self.ring_start[:-1])
        return int(np.count_nonzero(closed[self.cell_ring_start[:-1]]))

    @property
    def cell_start(self) -> Ints:
        """Where the half-edges of each cell begin in ``ring_half_edge``, and where the last ends, shape (C + 1,)."""
        return self.ring_start[self.cell_ring_start]

    @property
    def cell_of(self) -> Ints:
        """The cell to which each half-edge of the rings belongs, shape (H,)."""
        return np.repeat(np.arange(self.cells), np.diff(self.cell_start))

    def of_cells(self, cells: Ints) -> Network:
        """Return the network with all of its lines and these of its cells (n,) only, in this order."""
        low, high = self.cell_ring_start[cells], self.cell_ring_start[cells + 1]
        rings = ranges(low, high)
        begin, end = self.ring_start[rings], self.ring_start[rings + 1]
        return replace(
            self,
            ring_half_edge=self.ring_half_edge[ranges(begin, end)],
            ring_start=np.concatenate([[0], np.cumsum(end - begin)]),
            cell_ring_start=np.concatenate([[0], np.cumsum(high - low)]),
            cell_class=self.cell_class[cells],
        )

    @property
    def cut_mm(self) -> float:
        """Total length of all edges to cut."""
        return float(self.length_mm[self.cut].sum())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Graph(Edges):
    """A planar graph while it is being built: places in millimetres, no cells yet.

    ``rim`` (E,) tells edges on the region's outline: 1 where the region lies to the left, -1 where it lies to the right, else 0.
    Where lines run off the piece its own edge lies inside the region: there it is 2 or -2 in the same way.
    """

    xy: Floats  # (V, 2)
    rim: Ints

    def places(self, vertices: Ints | slice) -> Floats:
        """Return where vertices (n,) are in millimetres, shape (n, 2)."""
        return self.xy[vertices]

    def take(self, keep: Bools | Ints) -> Graph:
        """Return the graph with these edges only; vertices stay as they are."""
        return replace(self, **{name: getattr(self, name)[keep] for name in OF_EDGES})

    def compact(self) -> Graph:
        """Return the graph without vertices that no edge touches; their order is kept."""
        used = np.zeros(len(self.xy), dtype=bool)
        used[self.tail] = True
        used[self.head] = True
        return self.renumbered(self.xy[used], np.cumsum(used) - 1)

    def renumbered(self, xy: Floats, number: Ints) -> Graph:
        """Return the graph on other vertices: ``number`` (V,) tells which each of its own becomes."""
        return replace(self, xy=xy, tail=number[self.tail], head=number[self.head])

    def join(self, other: Graph) -> Graph:
        """Return the edges of both graphs, which have the same vertices."""
        both = {name: np.concatenate([getattr(self, name), getattr(other, name)]) for name in OF_EDGES}
        return replace(self, **both)


# --- edges split into parts, with a vertex where one part leads on to the next ----------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """Which part of which edge each of P parts is: from ``start`` to ``stop``, shares of its ``owner``'s length."""

    owner: Ints  # (P,)
    start: Floats  # (P,)
    stop: Floats  # (P,)

    def walked(self, half_edge: Ints) -> tuple[Ints, Ints]:
        """Return the parts' half-edges along half-edges (n,) of their owners, and how many each of those has (n,)."""
        order = np.lexsort((self.start, self.owner))
        first = np.searchsorted(self.owner[order], np.arange(int(self.owner.max(initial=-1)) + 2))
        edge, size = half_edge >> 1, np.diff(first)[half_edge >> 1]
        nth = ranges(np.zeros_like(size), size)
        back = np.repeat(half_edge & 1, size)
        at = np.repeat(first[edge], size) + np.where(back == 0, nth, np.repeat(size, size) - 1 - nth)
        return 2 * order[at] + back, size


def split(network: Network, edge: Ints, share: Floats) -> tuple[Network, Parts]:
    """Return the network with edges (n,) split at shares (n,) of their length, and what its edges are parts of.

    An edge's first part keeps its number; the others come after all edges.  Parts are no copies of anything.
    """
    order = np.lexsort((share, edge))
    edge, share = edge[order], share[order]
    count = len(network.tail)
    owner = np.concatenate([np.arange(count), edge])
    start = np.concatenate([np.zeros(count), share])
    tail = np.concatenate([network.tail, len(network.x_nm) + np.arange(len(edge))])
    in_turn = np.lexsort((start, owner))
    head, stop = network.head[owner], np.ones(len(owner))
    goes_on = np.flatnonzero(owner[in_turn[1:]] == owner[in_turn[:-1]])
    this, following = in_turn[goes_on], in_turn[goes_on + 1]
    head[this], stop[this] = tail[following], start[following]
    xy = np.column_stack([network.x_nm, network.y_nm]).astype(float)
    line = curves(xy[network.tail[edge]], xy[network.head[edge]], network.bulge[edge])
    spot = np.rint(points(line, share)).astype(np.int64)
    bulge = network.bulge[owner]
    parts = Parts(owner=owner, start=start, stop=stop)
    half_edge, size = parts.walked(network.ring_half_edge)
    edge_class = network.edge_class[owner]
    edge_class[stop - start < 1.0] = -1
    return replace(
        network,
        x_nm=np.concatenate([network.x_nm, spot[:, 0]]),
        y_nm=np.concatenate([network.y_nm, spot[:, 1]]),
        tail=tail,
        head=head,
        bulge=np.where(stop - start == 1.0, bulge, bulge_between(bulge, start, stop)),
        feature=network.feature[owner],
        edge_class=edge_class,
        ring_half_edge=half_edge,
        ring_start=np.concatenate([[0], np.cumsum(size)])[network.ring_start],
    ), parts
