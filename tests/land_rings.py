"""The rings of grooves and of land, cell by cell, shared by the tests of what is left standing and of how it is drawn."""

from __future__ import annotations

import numpy as np

from vcarve.groove import footprint as outlines
from vcarve.groove.model import Grooves
from vcarve.network.model import Network
from vcarve.plane.arrays import NM_PER_MM, Floats, Ints


def footprint(network: Network, grooves: Grooves) -> list[Ints]:
    """Return the outline of all grooves at the surface, as rings (n, 2) in nanometres.

    Rings with wood outside run counter-clockwise, rings round land clockwise.  The grooves may reach past the piece's edge.
    """
    closed = outlines.closed_cells(network)
    rings = outlines.outer_rings(network, grooves, closed)
    for cell in np.flatnonzero(closed).tolist():
        corner = grooves.corner_nm[cell]
        for island in grooves.lands[int(grooves.shape[cell])]:
            rings.extend(ring[::-1] + corner for ring in (island.outer_nm, *island.holes_nm))
    return rings


def islands_mm(grooves: Grooves, cell: int) -> list[list[Floats]]:
    """Return the islands of a cell as lists of rings in piece coordinates, each (n, 2): outer, then holes."""
    corner = grooves.corner_nm[cell]
    return [
        [(ring + corner) / NM_PER_MM for ring in (island.outer_nm, *island.holes_nm)]
        for island in grooves.lands[int(grooves.shape[cell])]
    ]
