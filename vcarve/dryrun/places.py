"""Places along a network's edges, and which of them other grooves come near to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from vcarve.network.model import Network
from vcarve.plane.arcs import directions, left, points
from vcarve.plane.region import lines_along

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

SAG_MM = 0.001  # of the chords by which an arc's neighbourhood is judged


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
        tree = shapely.STRtree(lines_along(network.curves(members), SAG_MM))
        return cls(network, half_width_mm, members, tree)

    def at(self, edges: Ints, share: float) -> tuple[Floats, Floats]:
        """Points and unit normals (n, 2) at a share of the length of edges; the normal points to the left."""
        lines = self.network.curves(edges)
        return points(lines, share), left(directions(lines, share))

    def disturbed(self, edges: Ints, rims: Floats, clear_mm: float) -> Bools:
        """Which places (n, 2) on the rim of the groove of ``edges`` (n,) another groove is near."""
        result = np.zeros(len(edges), dtype=bool)
        if not len(edges):
            return result
        spots = np.atleast_1d(np.asarray(shapely.points(rims), dtype=object))
        widest = float(self.half_width_mm[self.members].max()) + clear_mm
        who, which = self.tree.query(spots, predicate="dwithin", distance=widest)
        other = self.members[which]
        foreign = other != edges[who]
        who, which, other = who[foreign], which[foreign], other[foreign]
        distance = shapely.distance(spots[who], self.tree.geometries[which])
        result[who[distance < self.half_width_mm[other] + clear_mm]] = True
        return result
