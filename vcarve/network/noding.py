"""Noding: curves that cross, touch or overlap become unique edges that meet only at their ends.

Used for what the border clips, for frames and for drawings; the inside of a pattern never needs it.

Places closer than ``SNAP_MM`` are one vertex, and an end that close to a curve lies on it, so no edge comes out shorter than
that: a program is written to a thousandth of a millimetre, and anything less would be noise in it.  What a vertex keeps
of its several places is the one that must not move: a corner of the outline, then a place on the outline, then the same
of frames, then the ends of lines, then crossings.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from vcarve.errors import InputError
from vcarve.network.model import Graph
from vcarve.plane.arcs import boxes, bulge_between, points, size
from vcarve.plane.arrays import Bools, Floats, Ints
from vcarve.plane.meet import clusters, meetings
from vcarve.plane.region import upright

SNAP_MM = 2e-3  # 2 µm: closer than this is the same place
TOLERANCE_MM = 1e-5  # 10 nm: how exactly curves are said to touch
PAIRED_AT_ONCE = 1024
MOST_PASSES = 12  # rounds after which noding is taken as settled; one or two do

RIM, FRAME, LINE = 0, 1, 2  # ranks of curves: which of them gives way to which


@dataclass(frozen=True, slots=True, kw_only=True)
class Noded:
    """A noded graph and where its edges come from.

    ``source`` (E,) is the curve each edge is a part of, ``whole`` (E,) tells whether it is all of that curve.  ``fixed`` are the
    vertices that the given places have become.  ``rank`` (E,) is as given, ``weight`` (V,) how firmly a vertex keeps its place.
    """

    graph: Graph
    source: Ints
    whole: Bools
    fixed: Ints
    rank: Ints
    weight: Ints


def near_pairs(boxes: Floats, others: Floats | None = None, *, most: int | None = None) -> Ints:
    """Return index pairs (n, 2) of boxes (x low, y low, x high, y high) that meet.

    With one set, each pair once and no box with itself.  Raises ``InputError`` where one set has more than ``most`` pairs.
    """
    grown = upright(boxes, SNAP_MM)
    tree = shapely.STRtree(grown)
    if others is None:
        found, total = [], 0
        # So that too many are told before they fill the memory.
        for begin in range(0, len(grown), PAIRED_AT_ONCE):
            a, b = tree.query(grown[begin : begin + PAIRED_AT_ONCE])
            a = a + begin
            keep = a < b
            found.append(np.column_stack([a[keep], b[keep]]).astype(np.int64))
            total += len(found[-1])
            if most is not None and total > most:
                raise InputError(
                    f"so many lines lie so close together that over {most:,} pairs may meet; draw less at once"
                )
        return np.concatenate([np.empty((0, 2), dtype=np.int64), *found])
    probe, hit = tree.query(upright(others, SNAP_MM))
    order = np.lexsort((probe, hit))
    return np.column_stack([hit[order], probe[order]]).astype(np.int64)


def node(
    curves: Floats,
    feature: Ints,
    edge_class: Ints,
    pairs: Ints,
    *,
    rank: Ints | None = None,
    rim: Ints | None = None,
    fixed_xy: Floats | None = None,
) -> Noded:
    """Return the graph of these curves, rows (x0, y0, x1, y1, bulge), split where the given pairs of them meet.

    ``rank`` (n,) says of each curve whether it is the outline's, a frame's or a line (the default), ``rim`` (n,) is as in
    ``network.model`` (by default 1 for the outline's).  ``fixed_xy`` are places that take up every end close to them.  Of
    edges that coincide one is kept: the one to cut before the one that is not, then a frame's, then that of the first feature; it
    takes its curvature from the outline if that is among them.
    """
    ranks = np.full(len(curves), LINE, dtype=np.int64) if rank is None else rank
    fixed = np.empty((0, 2)) if fixed_xy is None else fixed_xy
    bare = Graph(
        xy=fixed,
        tail=np.zeros(len(curves), dtype=np.int64),
        head=np.zeros(len(curves), dtype=np.int64),
        bulge=np.zeros(len(curves)),
        feature=feature,
        edge_class=edge_class,
        rim=(ranks == RIM).astype(np.int64) if rim is None else rim,
    )
    weight, ends = np.full(len(fixed), 2 * LINE), np.repeat(2 * ranks, 2)
    done = _pass(curves, bare, ranks, pairs, weight, ends)
    # What has moved onto its neighbour may now meet others; as a rule nothing does.
    for _ in range(MOST_PASSES):
        graph = done.graph
        if not len(graph.tail):
            break  # every curve was shorter than a vertex is wide
        again = graph.curves()
        ends = np.column_stack([done.weight[graph.tail], done.weight[graph.head]]).ravel()
        new = _pass(again, graph, done.rank, near_pairs(boxes(again)), done.weight, ends)
        if len(new.graph.tail) == len(graph.tail) and len(new.graph.xy) == len(graph.xy):
            break
        done = replace(
            new,
            source=done.source[new.source],
            whole=done.whole[new.source] & new.whole,
            fixed=new.fixed[done.fixed],
        )
    return done


def _pass(curves: Floats, traits: Graph, rank: Ints, pairs: Ints, weight: Ints, end_weight: Ints) -> Noded:
    """Split curves once where the given pairs meet; ``traits`` has their feature, class and rim, and the fixed places."""
    owner, place, xy, corner = _stops(curves, pairs)
    # A place on the outline or on a frame lies on it exactly.
    firm = np.flatnonzero((rank[owner] < LINE) & ~corner)
    xy[firm] = points(curves[owner[firm]], place[firm])
    fresh_weight = 2 * rank[owner] + 1
    fresh_weight[: len(end_weight)] = end_weight
    vertices, label, held = _cluster(np.vstack([traits.xy, xy]), np.concatenate([weight, fresh_weight]))
    at = label[len(traits.xy) :]

    # Places of one curve that have become one vertex count once (arcs turn by half a circle at most, so none is lost).
    order = np.lexsort((place, owner))
    owner, at, place, xy = owner[order], at[order], place[order], xy[order]
    fresh = np.ones(len(order), dtype=bool)
    fresh[1:] = (owner[1:] != owner[:-1]) | (at[1:] != at[:-1])
    begin = np.flatnonzero(fresh)
    last = np.append(begin[1:], len(order)) - 1
    # Of several, the parameter that counts is an end's, else the one next to where the vertex is, so that arcs keep their circle.
    run = np.cumsum(fresh) - 1
    near = _first_of(run, np.lexsort((size(xy - vertices[at]), run)))
    t = np.where(place[begin] == 0.0, 0.0, np.where(place[last] == 1.0, 1.0, place[near]))
    owner, at = owner[begin], at[begin]
    edge = np.flatnonzero(owner[1:] == owner[:-1])
    source = owner[edge]
    split = replace(
        traits.take(source),
        xy=vertices,
        tail=at[edge],
        head=at[edge + 1],
        bulge=bulge_between(curves[source, 4], t[edge], t[edge + 1]),
    )
    whole = (t[edge] == 0.0) & (t[edge + 1] == 1.0)
    graph, keep, ranks = merged(split, rank[source])
    fixed = label[: len(traits.xy)]
    return Noded(graph=graph, source=source[keep], whole=whole[keep], fixed=fixed, rank=ranks, weight=held)


def _stops(curves: Floats, pairs: Ints) -> tuple[Ints, Floats, Floats, Bools]:
    """Return the places where curves begin, end or meet another: curve, share, place (n, 2), and whether it is an end."""
    count = len(curves)
    met = meetings(curves[pairs[:, 0]], curves[pairs[:, 1]], TOLERANCE_MM, SNAP_MM)
    # Straight lines before arcs, and of them ends before crossings: vertices are numbered in this order.
    bent = (curves[pairs, 4] != 0.0).any(axis=1)
    order = np.argsort(np.where(bent[met.pair], 6, met.kind), kind="stable")
    place = met.place[order]
    owner = np.concatenate([np.repeat(np.arange(count), 2), *pairs[met.pair[order]].T])
    return (
        owner,
        np.concatenate([np.tile([0.0, 1.0], count), met.first[order], met.second[order]]),
        np.vstack([curves[:, :4].reshape(-1, 2), place, place]),
        np.arange(len(owner)) < 2 * count,
    )


def _cluster(points: Floats, weight: Ints) -> tuple[Floats, Ints, Ints]:
    """Return vertices, the vertex of each point and each vertex's weight.

    Points within ``SNAP_MM`` are one, at the first of least weight among them.
    """
    first, label = clusters(points, SNAP_MM * 1.0001)
    lead = _first_of(label, np.lexsort((weight, label)))
    rank = np.empty(len(first), dtype=np.int64)
    by_place = np.argsort(lead, kind="stable")
    rank[by_place] = np.arange(len(first))
    kept = lead[by_place]
    return points[kept], rank[label], weight[kept]


def merged(graph: Graph, rank: Ints) -> tuple[Graph, Ints, Ints]:
    """Return the graph with one edge where several coincide, the numbers of the edges kept, and the first rank of each."""
    turned = graph.tail > graph.head
    low, high = np.where(turned, graph.head, graph.tail), np.where(turned, graph.tail, graph.head)
    chord = size(graph.xy[graph.head] - graph.xy[graph.tail])
    # Edges on the same ends are one if their middles are the same place (they stand off the chord by bulge * chord / 2).
    middle = 0.5 * chord * np.where(turned, -graph.bulge, graph.bulge)
    order = np.lexsort((middle, high, low))
    fresh = np.ones(len(order), dtype=bool)
    fresh[1:] = (
        (low[order][1:] != low[order][:-1])
        | (high[order][1:] != high[order][:-1])
        | (np.diff(middle[order]) > SNAP_MM)
    )
    group = np.empty(len(order), dtype=np.int64)
    group[order] = np.cumsum(fresh) - 1
    keep = _first_of(group, np.lexsort((graph.feature, rank != FRAME, ~graph.cut, group)))
    shape = _first_of(group, np.lexsort((~graph.cut, rank, group)))
    against = np.where(turned[keep] == turned[shape], 1, -1)
    kept = replace(graph.take(keep), bulge=graph.bulge[shape] * against, rim=graph.rim[shape] * against)
    order = np.argsort(keep, kind="stable")
    return kept.take(order), keep[order], rank[shape][order]


def _first_of(group: Ints, order: Ints) -> Ints:
    """Return the first member of each group in this order, by group."""
    return order[np.unique(group[order], return_index=True)[1]]
