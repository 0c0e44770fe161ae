"""The web: a multigraph of cuts with their costs, on vertices and nodes numbered without gaps.

Glossary
web     all of the cuts, or some of them, some perhaps twice
vertex  a spot in plan view where cuts end; in the web of all cuts they have the numbers of the cuts' spots
node    a place where cuts end, a vertex at a depth; nodes of one vertex follow each other from shallow to deep
line    cuts that lie below one another, from shallow to deep
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.cuts.model import Cuts
from vcarve.plan.costs import Rates, leaving, speed_limit
from vcarve.plane.arrays import NM_PER_MM, Bools, Floats, Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class Web:
    """Shapes: M edges, V vertices, N nodes."""

    cuts: Cuts
    edge: Ints  # (M,) index into the cuts' edges
    u: Ints  # (M,) vertex at the tail
    v: Ints  # (M,) vertex at the head
    tail: Ints  # (M,) node
    head: Ints  # (M,) node
    length_mm: Floats  # (M,) in plan view
    limit: Floats  # (M,) mm/s in plan view that the machine's X and Y allow
    cut_s: Floats  # (M,) seconds to cut each edge
    speed: Floats  # (M,) mm/s in plan view when cut
    away: Floats  # (2, M, 2) unit vectors leaving the tail and the head
    xy_mm: Floats  # (V, 2)
    spot: Ints  # (places of the cuts,) the vertex of each in the web of all cuts, whichever this is
    place: Ints  # (N,) index into the cuts' places
    depth_mm: Floats  # (N,)
    node_vertex: Ints  # (N,)
    first_node: Ints  # (V + 1,)

    @property
    def top_depth_mm(self) -> Floats:
        """Depth of the shallowest node at each vertex, shape (V,)."""
        return self.depth_mm[self.first_node[:-1]]

    @property
    def slopes(self) -> Bools:
        """Which edges are deeper at one end than at the other, shape (M,)."""
        return np.asarray(self.depth_mm[self.tail] != self.depth_mm[self.head])

    def along_s(self, edge: Ints, drop_mm: Floats, rates: Rates) -> Floats:
        """Return the seconds to go along edges, ``drop_mm`` higher or lower at their ends."""
        return rates.along_s(self.length_mm[edge], drop_mm, self.limit[edge])

    def node_of(self, place: Ints) -> Ints:
        """Return the nodes of places; of the web of all cuts alone."""
        node = np.empty(len(self.place), np.int64)
        node[self.place] = np.arange(len(node))
        return node[place]


def weave(cuts: Cuts, rates: Rates, edge: Ints | None = None) -> Web:
    """Return the web of all cuts, or of some."""
    edge = np.arange(len(cuts.tail)) if edge is None else edge
    spot, depth = cuts.spot, cuts.depth_mm
    order = np.lexsort((depth, spot))
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order))
    used, node = np.unique(np.stack([rank[cuts.tail[edge]], rank[cuts.head[edge]]]), return_inverse=True)
    place, (tail, head) = order[used], node.reshape(2, -1).astype(np.int64)
    vertex = np.unique(spot[place], return_inverse=True)[1].astype(np.int64)
    first = np.searchsorted(vertex, np.arange(int(vertex.max(initial=-1)) + 2))
    length, limit, drop = cuts.length_mm[edge], speed_limit(cuts, rates)[edge], cuts.chord_mm[edge, 2]
    cut_s = rates.along_s(length, drop, limit)
    return Web(
        cuts=cuts,
        edge=edge,
        u=vertex[tail],
        v=vertex[head],
        tail=tail,
        head=head,
        length_mm=length,
        limit=limit,
        cut_s=cut_s,
        speed=np.where(drop == 0.0, np.minimum(rates.cut, limit), length / np.maximum(cut_s, 1e-12)),
        away=leaving(cuts)[:, edge],
        xy_mm=cuts.place_nm[place[first[:-1]], :2] / NM_PER_MM,
        spot=spot,
        place=place,
        depth_mm=depth[place],
        node_vertex=vertex,
        first_node=first,
    )


@dataclass(frozen=True)
class Lines:
    """The cuts of each line: ``cut`` (L, levels) from shallow to deep, -1 where there are no more, ``count`` (L,) of them."""

    cut: Ints
    count: Ints

    @property
    def last(self) -> Ints:
        """The deepest cut of each line, shape (L,)."""
        return self.cut[np.arange(len(self.count)), self.count - 1]


def lines_of(cuts: Cuts) -> Lines:
    """Return the lines, in the order of their first cuts."""
    first, level = np.where(cuts.after >= 0, cuts.after, np.arange(len(cuts.after))), cuts.level
    while (first[first] != first).any():
        first = first[first]
    line = np.unique(first, return_inverse=True)[1]
    cut = np.full((int(line.max(initial=-1)) + 1, int(level.max(initial=-1)) + 1), -1)
    cut[line, level] = np.arange(len(line))
    return Lines(cut, np.bincount(line))
