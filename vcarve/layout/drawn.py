"""The lines on the piece, the outlines of their grooves and the land as a page to draw.

Layers: ``ground``, ``leaf``, ``frame`` and those of a drawing hold the lines the bit follows, ``outline`` the edges that are
not cut, ``groove`` the edges of the grooves at the surface and ``land`` what is left between them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from vcarve.drawing.write import Page
from vcarve.groove.land import closed_cells, outer_rings
from vcarve.groove.model import Grooves
from vcarve.network.model import Feature, Network
from vcarve.plane.arcs import curves, turned
from vcarve.plane.arrays import Floats, Ints
from vcarve.plane.fit import with_arcs
from vcarve.plane.region import rings_of

SPECK_MM = 0.001  # corners that stand out less are left out


def drawn_page(
    network: Network,
    grooves: Grooves,
    features: Sequence[Feature],
    piece_mm: tuple[float, float],
) -> Page:
    """Return the page of a network and its grooves, in millimetres from the piece's centre.

    ``features`` are what the network's lines are for; ``piece_mm`` is the page's size.
    """
    chosen: dict[str, list[Ints]] = {}
    for index in np.unique(network.feature[network.cut]).tolist():
        chosen.setdefault(features[index].key, []).append(np.flatnonzero(network.feature == index))
    if len(plain := np.flatnonzero(~network.cut)):
        chosen.setdefault("outline", []).append(plain)
    # Cells of one shape share their land: its arcs are sought once.
    sides = [[_sides(ring) for ring in rings_of(land)] for land in grooves.lands]
    closed = closed_cells(network)
    groove = [_sides(ring) for ring in rings_of(outer_rings(network, grooves, closed))]
    land: list[Floats] = []
    for (x, y), shape, round_it in zip(
        grooves.corner_mm.tolist(), grooves.shape.tolist(), closed.tolist(), strict=True
    ):
        for ring in sides[shape]:
            land.append(ring + np.array([x, y, x, y, 0.0]))
            if round_it:
                # The land's outline is the grooves' own, walked the other way.
                groove.append(turned(land[-1])[::-1])
    shapes = {"groove": groove, "land": land}
    return Page(
        lines={name: network.curves(np.concatenate(edges)) for name, edges in chosen.items()},
        shapes={name: found for name, found in shapes.items() if found},
        box=(-piece_mm[0] / 2.0, -piece_mm[1] / 2.0, piece_mm[0] / 2.0, piece_mm[1] / 2.0),
    )


def _sides(ring_mm: Floats) -> Floats:
    """Return the sides (n, 5) of an outline in mm: arcs found again, between them no corners that nobody could see.

    Where a groove narrows along an arc, its outline is that of many short hulls, with a speck wherever two meet.
    """
    sides = with_arcs(ring_mm).curves
    bent = sides[:, 4] != 0.0
    # An arc, or a run of straight sides.
    starts = np.flatnonzero(np.concatenate([[True], bent[1:] | bent[:-1]]))
    parts = []
    for run in np.split(sides, starts[1:]):
        if len(run) > 1:
            line = shapely.linestrings(np.vstack([run[:, :2], run[-1:, 2:4]]))
            xy = shapely.get_coordinates(shapely.simplify(line, SPECK_MM, preserve_topology=False))
            run = curves(xy[:-1], xy[1:], np.zeros(len(xy) - 1))
        parts.append(run)
    made = np.vstack(parts)
    return made if len(made) > 2 or bent.any() else sides  # a shape smaller than a speck stays one
