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

from vcarve.job.fields import TAPER_LEAST_MM
from vcarve.network.model import Network, split
from vcarve.plane.arrays import Bools, Floats, Ints, ReadOnly, connected
from vcarve.plane.region import Region, polygon

EDGE_MM = 0.01  # an end this near to the piece's edge lies on it
SNAP_MM = TAPER_LEAST_MM  # no line is split nearer than this to its end


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
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import dijkstra

    cut = np.flatnonzero(network.cut)
    size, ends = network.length_mm[cut], np.stack([network.tail[cut], network.head[cut]])
    met = np.bincount(ends.ravel(), minlength=len(network.x_nm))
    # Where other lines meet, each ends in a node of its own, and no way leads on from there.
    node = np.where(met[ends] > 2, len(met) + np.arange(ends.size).reshape(ends.shape), ends)
    count = len(met) + ends.size
    _, line = connected(count, *node)
    free = _free_ends(network, met, piece)
    total, loose = np.bincount(line[node[0]], size, count)[line[free]], np.bincount(line[free])[line[free]]
    # In a crumb a rise would end where it begins, and two would leave no deepest place between them.
    roomy = np.minimum(length_mm, total / loose - 1e-6) >= SNAP_MM
    free, reach = free[roomy], np.minimum(length_mm, total / loose)[roomy]
    links = coo_array((size, tuple(node)), shape=(count, count)).tocsr()
    far, _, source = dijkstra(
        links,
        directed=False,
        indices=free,
        limit=length_mm + SNAP_MM,
        min_only=True,
        return_predecessors=True,
    )
    end = np.searchsorted(free, source)
    end[source < 0] = len(free)
    reach = np.append(reach, 1.0)
    snapped = np.abs(far - reach[end]) < SNAP_MM
    reach[end[snapped]] = np.inf
    np.minimum.at(reach, end[snapped], far[snapped])
    from_end, stop = far[node], reach[end[node]]
    share = np.ones((2, len(network.tail)))
    share[:, cut] = np.minimum(from_end / stop, 1.0)
    # A rise ends on an edge that leads away from the end that it comes from.
    rest, away = stop - from_end, from_end < from_end[::-1] + size - 1e-9
    side, edge = np.nonzero(away & (rest > 0.0) & (rest < size - SNAP_MM))
    part = (rest / size)[side, edge]
    edge, place = cut[edge], np.where(side == 0, part, 1.0 - part)
    order = np.lexsort((place, edge))
    # Two rises that meet half-way split their edge once.
    met_there = np.diff(place[order]) * network.length_mm[edge[order[1:]]] < SNAP_MM
    apart = np.delete(order, 1 + np.flatnonzero((np.diff(edge[order]) == 0) & met_there))
    made, parts = split(network, edge[apart], place[apart])
    # Where an edge is split it is at its full depth.
    shares: Floats = np.where([parts.start > 0.0, parts.stop < 1.0], 1.0, share[:, parts.owner])
    feature = np.zeros_like(met)
    feature[ends] = network.feature[cut]
    reach = reach[:-1]
    short = reach < length_mm - SNAP_MM
    rises = Rises(at_mm=network.places(free), reach_mm=reach, feature=feature[free], short=short)
    return _no_copies(made, np.asarray((shares < 1.0).any(axis=0))), shares, rises


def _free_ends(network: Network, met: Ints, piece: Region) -> Ints:
    """Return the vertices within the piece at which a single line to cut ends; ``met`` (V,) is how many do at each."""
    lone = np.flatnonzero(met == 1)
    shape, spots = polygon(piece), shapely.points(network.places(lone))
    shapely.prepare(shape)
    off = shapely.distance(shape.boundary, spots) > EDGE_MM
    return np.asarray(lone[shapely.contains(shape, spots) & off])


def _no_copies(network: Network, changed: Bools) -> Network:
    """Return the network in which changed edges and the cells round them are no longer copies of others."""
    own: Ints = network.cell_class.copy()
    own[network.cell_of[changed[network.ring_half_edge >> 1]]] = -1
    return replace(network, edge_class=np.where(changed, -1, network.edge_class), cell_class=own)
