"""The web: the edges to cut with their costs, on vertices numbered without gaps.

Glossary
web     the part of a network the bit cuts, with one depth per edge
level   a distinct depth; ``levels_mm`` lists them from shallow to deep
node    a vertex at one of the depths of its edges; nodes of one vertex follow each other from shallow to deep
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.network.model import Floats, Ints, Network
from vcarve.plan.costs import Rates, cut_speed, leaving


@dataclass(frozen=True, slots=True, kw_only=True)
class Web:
    """Shapes: M edges, V vertices, N nodes, L levels."""

    edge: Ints  # (M,) index into the network's edges
    u: Ints  # (M,) vertex at the tail
    v: Ints  # (M,) vertex at the head
    length_mm: Floats  # (M,)
    speed: Floats  # (M,) mm/s
    away: Floats  # (2, M, 2) unit vectors leaving the tail and the head
    level: Ints  # (M,) index into levels_mm
    levels_mm: Floats  # (L,)
    xy_mm: Floats  # (V, 2)
    node_vertex: Ints  # (N,)
    node_level: Ints  # (N,)
    first_node: Ints  # (V + 1,)

    @property
    def cut_s(self) -> Floats:
        """Seconds to cut each edge, shape (M,)."""
        return self.length_mm / self.speed

    def node(self, vertex: Ints, level: Ints) -> Ints:
        """The node of each (vertex, level); every pair must exist."""
        key = self.node_vertex * len(self.levels_mm) + self.node_level
        return np.searchsorted(key, vertex * len(self.levels_mm) + level)

    def has_node(self, vertex: Ints, level: Ints) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Whether each (vertex, level) is a node."""
        key = self.node_vertex * len(self.levels_mm) + self.node_level
        want = vertex * len(self.levels_mm) + level
        at = np.minimum(np.searchsorted(key, want), len(key) - 1)
        return np.asarray(key[at] == want)

    @property
    def top_depth_mm(self) -> Floats:
        """Depth of the shallowest edge at each vertex, shape (V,)."""
        return self.levels_mm[self.node_level[self.first_node[:-1]]]


def weave(network: Network, depth_mm: Floats, rates: Rates) -> Web:
    """The web of a network's edges to cut at ``depth_mm`` (E,)."""
    edge = np.flatnonzero(network.cut & (network.tail != network.head) | network.cut & (network.bulge != 0.0))
    tail, head = network.tail[edge], network.head[edge]
    used, compact = np.unique(np.concatenate([tail, head]), return_inverse=True)
    u, v = compact[: len(edge)].astype(np.int64), compact[len(edge) :].astype(np.int64)
    levels, level = np.unique(np.round(np.asarray(depth_mm, float)[edge], 6), return_inverse=True)
    key = np.unique(np.concatenate([u, v]) * max(len(levels), 1) + np.concatenate([level, level]))
    node_vertex = key // max(len(levels), 1)
    away_tail, away_head = leaving(network)
    return Web(
        edge=edge,
        u=u,
        v=v,
        length_mm=network.length_mm[edge],
        speed=cut_speed(network, rates)[edge],
        away=np.stack([away_tail[edge], away_head[edge]]),
        level=level.astype(np.int64),
        levels_mm=levels,
        xy_mm=network.xy_mm[used],
        node_vertex=node_vertex,
        node_level=key % max(len(levels), 1),
        first_node=np.searchsorted(node_vertex, np.arange(len(used) + 1)),
    )
