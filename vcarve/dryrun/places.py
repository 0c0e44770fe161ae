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
    ends_half_mm: Floats  # (2, E) at tails and at heads
    members: Ints  # the edges that are cut, in the tree's order
    tree: shapely.STRtree

    @classmethod
    def of(cls, network: Network, half_mm: Floats) -> Places:
        """Gather every groove; ``half_mm`` is half of the width of each edge, (E,) or at tails and at heads (2, E)."""
        members = np.flatnonzero(network.cut)
        tree = shapely.STRtree(lines_along(network.curves(members), SAG_MM))
        return cls(network, np.broadcast_to(half_mm, (2, len(network.cut))), members, tree)

    @property
    def half_width_mm(self) -> Floats:
        """Half of the width of each edge at its wider end, shape (E,)."""
        return np.asarray(self.ends_half_mm.max(axis=0))

    @property
    def narrowing(self) -> Floats:
        """By how much half of the width changes with each millimetre along each edge, shape (E,)."""
        return np.asarray(np.ptp(self.ends_half_mm, axis=0) / np.maximum(self.network.length_mm, 1e-9))

    def rims_mm(self, edges: Ints, share: float) -> Floats:
        """How far the rims (n,) are at a share of the length of edges, square to them; not a number where there is none.

        A groove that narrows is the hull of circles: what bounds it there is a circle nearer to its wider end, if there is one.
        """
        half = (1.0 - share) * self.ends_half_mm[0, edges] + share * self.ends_half_mm[1, edges]
        narrowing, length = self.narrowing[edges], self.network.length_mm[edges]
        first_wider = self.ends_half_mm[0, edges] > self.ends_half_mm[1, edges]
        to_wider = np.where(first_wider, share, 1.0 - share) * length
        some = (narrowing < 1.0) & (narrowing * half <= to_wider)
        return np.where(some, half / np.sqrt(np.where(some, 1.0 - narrowing**2, 1.0)), np.nan)

    def at(self, edges: Ints, share: float) -> tuple[Floats, Floats]:
        """Return points and unit normals (n, 2) at a share of the length of edges; the normal points to the left."""
        lines = self.network.curves(edges)
        return points(lines, share), left(directions(lines, share))

    def disturbed(self, edges: Ints, rims: Floats, clear_mm: float) -> Bools:
        """Return which places (n, 2) on the rim of the groove of ``edges`` (n,) another groove is near."""
        result = np.zeros(len(edges), dtype=bool)
        if not len(edges):
            return result
        spots = np.atleast_1d(np.asarray(shapely.points(rims), dtype=object))
        half = self.half_width_mm
        widest = float(half[self.members].max()) + clear_mm
        who, which = self.tree.query(spots, predicate="dwithin", distance=widest)
        other = self.members[which]
        foreign = other != edges[who]
        who, which, other = who[foreign], which[foreign], other[foreign]
        distance = shapely.distance(spots[who], self.tree.geometries[which])
        result[who[distance < half[other] + clear_mm]] = True
        return result
