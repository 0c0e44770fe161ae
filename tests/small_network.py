"""Networks of a few lines, made by hand without cells or drawn from the catalogue, for tests of plans, writing and checks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from hypothesis import strategies as st

from vcarve.cuts.grooves import groove_cuts
from vcarve.cuts.model import Cuts
from vcarve.job.bench import names
from vcarve.network.build import Placing, drawn_graph, network_on, pattern_graph
from vcarve.network.model import Feature, Network
from vcarve.pattern.model import KINDS, Pattern, pattern
from vcarve.plane.arrays import NM_PER_MM, Floats, Ints
from vcarve.plane.region import Region, rectangle

Place = tuple[float, float]
# What the lines of a pattern are for, and a frame, all of one depth.
FEATURES = tuple(Feature(key=name, name=name, depth_mm=2.0) for name in (*KINDS, "frame"))


def small_network(
    places_mm: Sequence[Sequence[float]],
    edges: Sequence[Sequence[int]],
    bulges: Sequence[float] | None = None,
) -> Network:
    """Return a network of vertices (mm from the piece's centre) and edges (pairs of vertices), straight without bulges."""
    places = np.round(np.array(places_mm, float) * NM_PER_MM).astype(np.int64)
    ends = np.array(edges, np.int64).reshape(-1, 2)
    none = np.zeros(0, np.int64)
    return Network(
        x_nm=places[:, 0].copy(),
        y_nm=places[:, 1].copy(),
        tail=ends[:, 0].copy(),
        head=ends[:, 1].copy(),
        bulge=np.array([0.0] * len(ends) if bulges is None else bulges, float),
        feature=np.zeros(len(ends), np.int64),
        edge_class=np.full(len(ends), -1, np.int64),
        ring_half_edge=none,
        ring_start=np.zeros(1, np.int64),
        cell_ring_start=np.zeros(1, np.int64),
        cell_class=none.copy(),
    )


def network_of_lines(lines: Sequence[tuple[Place, Place]], bulges: Sequence[float] | None = None) -> Network:
    """Return the network of lines given by their ends in mm; equal ends are one vertex."""
    places = sorted({place for line in lines for place in line})
    at = {place: index for index, place in enumerate(places)}
    return small_network(places, [(at[a], at[b]) for a, b in lines], bulges)


def cuts_of(network: Network, depth_mm: float | Floats = 2.0, step_mm: float = np.inf) -> Cuts:
    """Return the cuts of a network's lines at depths (E,), or (2, E) at tails and heads, in levels of at most ``step_mm``."""
    depth = np.broadcast_to(np.asarray(depth_mm, float), (2, len(network.tail)))
    return groove_cuts(network, depth, step_mm)[0]


def build(
    pattern: Pattern,
    *,
    region: Region,
    piece: Region | None = None,
    edge: str = "groove",
    frames: Sequence[tuple[Region, int]] = (),
    **placing: Any,
) -> Network:
    """Return the network of a pattern that lies on a region as it is placed: ``pitch_mm`` and so on."""
    graph = pattern_graph(pattern, Placing(**placing), region)
    return network_on(region, graph, piece=piece, edge=edge, frames=frames)


def build_lines(curves: Floats, feature: Ints, *, region: Region, **border: Any) -> Network:
    """Return the network of drawn lines (n, 5) on a region."""
    return network_on(region, drawn_graph(curves, feature), **border)


def drawn_network(draw: Callable[..., Any], side_mm: float, most: int, *edge: str) -> Network:
    """Draw a pattern at a pitch on a square field, of no more than ``most`` edges; ``edge`` is what its lines may do there."""
    network = None
    while network is None or network.edges > most or not network.cut.any():
        shape = pattern(draw(st.sampled_from(names("pattern"))))
        pitch = draw(st.sampled_from([14.0, 21.5, 30.0])) / max(shape.cell.size / 2.0, 1.0)
        region = rectangle(side_mm, side_mm)
        network = build(shape, region=region, pitch_mm=pitch, edge=draw(st.sampled_from(edge)))
    return network
