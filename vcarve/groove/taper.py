"""Ends of lines that end in nothing rise to the surface, so that their grooves end in a point.

An end is a vertex with a single line to cut, inside the piece: ends that lie on its edge or beyond run off it at full depth.
The rise is measured along the line, round arcs and corners, up to where another line meets it.  There it stops: a shorter line
rises over all of its length, one with two such ends over half of it from each, and both more steeply, since the deepest place of
every line has the depth that was asked for.  A crumb too short to be split keeps its depth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from vcarve.network.model import Network
from vcarve.network.split import split
from vcarve.plane.arrays import Bools, Floats, Ints, ReadOnly
from vcarve.plane.region import Region, polygon

EDGE_MM = 0.01  # an end this near to the piece's edge lies on it
SNAP_MM = 0.01  # no line is split nearer than this to its end


@dataclass(frozen=True, slots=True, kw_only=True)
class Rises(ReadOnly):
    """The R ends that rise: where they are, over what length of line, what it is for, and whether it is too short."""

    at_mm: Floats  # (R, 2)
    reach_mm: Floats  # (R,)
    feature: Ints  # (R,)
    short: Bools  # (R,)


def taper(network: Network, length_mm: float, piece: Region) -> tuple[Network, Floats, Rises]:
    """Return the network, split where lines begin to rise, the share of its depth each edge has at tail and head, and the rises.

    The shares are of shape (2, E).
    """
    free = _free_ends(network, piece)
    share = np.ones((2, len(network.tail)))
    at: list[tuple[int, float]] = []
    rising: list[tuple[int, float, int]] = []
    walks = _Walks(network)
    for end in np.flatnonzero(free).tolist():
        line, stops_at = walks.from_end(end, 2.0 * length_mm)
        total = sum(walks.length[half >> 1] for half in line)
        # A crumb has no room for a deepest place between two rises.
        if free[stops_at] and total < 2.0 * SNAP_MM:
            continue
        reach = min(length_mm, total / 2.0 if free[stops_at] else total)
        done = 0.0
        for half in line:
            here, back = half >> 1, half & 1
            following = done + walks.length[here]
            if abs(following - reach) < SNAP_MM:
                reach = following
            share[back, here] = min(share[back, here], done / reach)
            if following > reach:
                part = (reach - done) / walks.length[here]
                at.append((here, 1.0 - part if back else part))
                break
            share[1 - back, here] = min(share[1 - back, here], following / reach)
            if following == reach:
                break
            done = following
        rising.append((end, reach, line[0] >> 1))
    edge, place = np.array([e for e, _ in at], np.int64), np.array([s for _, s in at])
    order = np.lexsort((place, edge))
    # Two rises that meet half-way split their edge once.
    met = (np.diff(edge[order]) == 0) & (np.diff(place[order]) * network.length_mm[edge[order[1:]]] < SNAP_MM)
    apart = order[np.concatenate([[True], ~met])[: len(order)]]
    made, parts = split(network, edge[apart], place[apart])
    # Where an edge is split it is at its full depth.
    ends: Floats = np.where([parts.start > 0.0, parts.stop < 1.0], 1.0, share[:, parts.owner])
    vertex, first = (np.array([one[k] for one in rising], np.int64) for k in (0, 2))
    reach_mm = np.array([reach for _, reach, _ in rising], np.float64)
    rises = Rises(
        at_mm=network.xy_mm[vertex],
        reach_mm=reach_mm,
        feature=network.feature[first],
        short=reach_mm < length_mm - SNAP_MM,
    )
    return _no_copies(made, np.asarray((ends < 1.0).any(axis=0))), ends, rises


def _free_ends(network: Network, piece: Region) -> Bools:
    """Return which vertices end one line to cut and lie within the piece."""
    ends = np.concatenate([network.tail[network.cut], network.head[network.cut]])
    free = np.bincount(ends, minlength=len(network.x_nm)) == 1
    at = np.flatnonzero(free)
    shape, spots = polygon(piece), shapely.points(network.xy_mm[at])
    shapely.prepare(shape)
    free[at] = shapely.contains(shape, spots) & (shapely.distance(shape.boundary, spots) > EDGE_MM)
    return np.asarray(free)


class _Walks:
    """Walks along lines, from vertex to vertex while no other line meets them."""

    def __init__(self, network: Network) -> None:
        edge = np.flatnonzero(network.cut)
        half = np.concatenate([2 * edge, 2 * edge + 1])
        start = np.concatenate([network.tail[edge], network.head[edge]])
        order = np.argsort(start, kind="stable")
        self.half = half[order].tolist()
        self.first = np.searchsorted(start[order], np.arange(len(network.x_nm) + 1)).tolist()
        self.length = network.length_mm.tolist()
        self.ends = network.tail.tolist(), network.head.tolist()

    def from_end(self, vertex: int, most_mm: float) -> tuple[list[int], int]:
        """Return the half-edges from a free end to where another line meets, or no line goes on, or beyond ``most_mm``."""
        line = [self.half[self.first[vertex]]]
        gone = 0.0
        while True:
            half = line[-1]
            here = self.ends[1 - (half & 1)][half >> 1]
            gone += self.length[half >> 1]
            around = self.half[self.first[here] : self.first[here + 1]]
            if gone >= most_mm or len(around) != 2:
                return line, here
            line.append(around[around[0] == half ^ 1])


def _no_copies(network: Network, changed: Bools) -> Network:
    """Return the network in which changed edges and the cells round them are no longer copies of others."""
    cell = np.repeat(np.arange(network.cells), np.diff(network.ring_start[network.cell_ring_start]))
    own: Ints = network.cell_class.copy()
    own[cell[changed[network.ring_half_edge >> 1]]] = -1
    return replace(network, edge_class=np.where(changed, -1, network.edge_class), cell_class=own)
