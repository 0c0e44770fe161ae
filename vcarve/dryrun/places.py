"""Places along a network's edges, and which of them other grooves come near to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from vcarve.network.model import Network

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

ARC_CHORDS = 64  # an arc's neighbourhood is judged by this many chords


def along(network: Network, edges: Ints, share: float) -> tuple[Floats, Floats]:
    """Points and unit normals (n, 2) at a share of the length of edges; the normal points to the left."""
    xy = network.xy_mm
    tail, head = xy[network.tail[edges]], xy[network.head[edges]]
    chord = head - tail
    length = np.hypot(chord[:, 0], chord[:, 1])
    unit = chord / np.where(length > 0.0, length, 1.0)[:, None]
    left = np.column_stack([-unit[:, 1], unit[:, 0]])
    point = tail + share * chord
    normal = left.copy()
    bent = np.flatnonzero(network.bulge[edges])
    if len(bent):
        half = 2.0 * np.arctan(network.bulge[edges][bent])  # half of the sweep, signed
        radius = length[bent] / (2.0 * np.sin(half))  # negative where the arc turns clockwise
        centre = (tail + head)[bent] / 2.0 + left[bent] * (radius * np.cos(half))[:, None]
        turn = half * (2.0 * share - 1.0)
        out = -left[bent] * np.cos(turn)[:, None] + unit[bent] * np.sin(turn)[:, None]
        point[bent] = centre + out * radius[:, None]
        normal[bent] = -out
    return point, normal


def boxes(network: Network) -> tuple[Floats, Floats]:
    """Low and high corners (E, 2) of a box round every edge."""
    xy = network.xy_mm
    tail, head, bend = xy[network.tail], xy[network.head], np.abs(network.bulge)
    # An arc stays within bulge * chord / 2 of its chord, or within its diameter if it is more than half a circle.
    grow = (network.chord_mm * bend * np.maximum(bend, 1.0))[:, None]
    return np.minimum(tail, head) - grow, np.maximum(tail, head) + grow


@dataclass(frozen=True, slots=True)
class Places:
    """The grooves of a network, ready to be asked what is near."""

    network: Network
    half_width_mm: Floats
    members: Ints  # the edges that are cut, in the tree's order
    tree: shapely.STRtree

    @classmethod
    def of(cls, network: Network, half_width_mm: Floats) -> Places:
        """Gather every groove; ``half_width_mm`` has one value per edge."""
        members = np.flatnonzero(network.cut)
        straight = network.bulge[members] == 0.0
        xy = network.xy_mm
        shapes = np.empty(len(members), dtype=object)
        ends = np.stack([xy[network.tail[members[straight]]], xy[network.head[members[straight]]]], axis=1)
        shapes[straight] = shapely.linestrings(ends)
        if not straight.all():
            bent = members[~straight]
            points = [along(network, bent, i / ARC_CHORDS)[0] for i in range(ARC_CHORDS + 1)]
            shapes[~straight] = shapely.linestrings(np.stack(points, axis=1))
        return cls(network, half_width_mm, members, shapely.STRtree(shapes))

    def at(self, edges: Ints, share: float) -> tuple[Floats, Floats]:
        """Points and unit normals at a share of the length of edges."""
        return along(self.network, edges, share)

    def disturbed(self, edges: Ints, points: Floats, clear_mm: float) -> Bools:
        """Which points (n, 2) on the rim of the groove of ``edges`` (n,) another groove is near."""
        result = np.zeros(len(edges), dtype=bool)
        if not len(edges):
            return result
        spots = np.atleast_1d(np.asarray(shapely.points(points), dtype=object))
        widest = float(self.half_width_mm[self.members].max()) + clear_mm
        who, which = self.tree.query(spots, predicate="dwithin", distance=widest)
        other = self.members[which]
        foreign = other != edges[who]
        who, which, other = who[foreign], which[foreign], other[foreign]
        distance = shapely.distance(spots[who], self.tree.geometries[which])
        result[who[distance < self.half_width_mm[other] + clear_mm]] = True
        return result
