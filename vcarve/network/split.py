"""Edges split into parts: the same lines, rings and cells, with a vertex where one part leads on to the next."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vcarve.network.model import Network
from vcarve.plane.arcs import bulge_between, curves, points, ranges
from vcarve.plane.arrays import Floats, Ints


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
