"""The web: cuts with their costs, on vertices and nodes numbered without gaps.

Glossary
web     all of the cuts, or those of one level
vertex  a spot in plan view where cuts end
node    a place where cuts end; nodes of one vertex follow each other from shallow to deep
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
    spot: Ints  # (places of the cuts,) the vertex of each in the web of all cuts
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

    def after(self, step: Ints) -> Ints:
        """Return the vertices at which steps end: ``2 * edge``, one more where it is walked from head to tail."""
        result: Ints = np.where(step & 1, self.u[step >> 1], self.v[step >> 1])
        return result

    def node_of(self, place: Ints) -> Ints:
        """Return the nodes of places; of the web of all cuts alone."""
        node = np.empty(len(self.place), np.int64)
        node[self.place] = np.arange(len(node))
        return node[place]

    def only(self, at: Ints) -> Web:
        """Return the web of some of its edges."""
        node, ends = np.unique(np.concatenate([self.tail[at], self.head[at]]), return_inverse=True)
        vertex, of = np.unique(self.node_vertex[node], return_inverse=True)
        tail, head = ends[: len(at)].astype(np.int64), ends[len(at) :].astype(np.int64)
        of = of.astype(np.int64)
        return Web(
            cuts=self.cuts,
            edge=self.edge[at],
            u=of[tail],
            v=of[head],
            tail=tail,
            head=head,
            length_mm=self.length_mm[at],
            limit=self.limit[at],
            cut_s=self.cut_s[at],
            speed=self.speed[at],
            away=self.away[:, at],
            xy_mm=self.xy_mm[vertex],
            spot=self.spot,
            place=self.place[node],
            depth_mm=self.depth_mm[node],
            node_vertex=of,
            first_node=np.searchsorted(of, np.arange(len(vertex) + 1)),
        )


def weave(cuts: Cuts, rates: Rates) -> Web:
    """Return the web of all cuts."""
    spot, depth = cuts.spot, cuts.depth_mm
    place = np.lexsort((depth, spot))
    node = np.empty(len(place), np.int64)
    node[place] = np.arange(len(place))
    first = np.searchsorted(spot[place], np.arange(int(spot.max(initial=-1)) + 2))
    length, limit, drop = cuts.length_mm, speed_limit(cuts, rates), cuts.chord_mm[:, 2]
    cut_s = rates.along_s(length, drop, limit)
    return Web(
        cuts=cuts,
        edge=np.arange(len(cuts.tail)),
        u=spot[cuts.tail],
        v=spot[cuts.head],
        tail=node[cuts.tail],
        head=node[cuts.head],
        length_mm=length,
        limit=limit,
        cut_s=cut_s,
        speed=np.where(drop == 0.0, np.minimum(rates.cut, limit), length / np.maximum(cut_s, 1e-12)),
        away=leaving(cuts),
        xy_mm=cuts.place_nm[place[first[:-1]], :2] / NM_PER_MM,
        spot=spot,
        place=place,
        depth_mm=depth[place],
        node_vertex=spot[place],
        first_node=first,
    )
