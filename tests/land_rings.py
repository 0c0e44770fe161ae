"""The rings of grooves and of land, cell by cell, shared by the tests of what is left standing and of how it is drawn."""

from __future__ import annotations

import numpy as np

from vcarve.groove.land import closed_cells, outer_rings
from vcarve.groove.model import Grooves
from vcarve.network.model import Network
from vcarve.plane.arrays import Floats
from vcarve.plane.region import rings_of


def footprint(network: Network, grooves: Grooves) -> list[Floats]:
    """Return the outline of all grooves at the surface, as rings (n, 2) in mm.

    Rings with wood outside run counter-clockwise, rings round land clockwise.  The grooves may reach past the piece's edge.
    """
    closed = closed_cells(network)
    rings = rings_of(outer_rings(network, grooves, closed))
    for cell in np.flatnonzero(closed).tolist():
        rings.extend(ring[::-1] for ring in islands_mm(grooves, cell))
    return rings


def islands_mm(grooves: Grooves, cell: int) -> list[Floats]:
    """Return the rings of a cell's islands in piece coordinates, each (n, 2): outer ones counter-clockwise, holes clockwise."""
    return [ring + grooves.corner_mm[cell] for ring in rings_of(grooves.lands[grooves.shape[cell]])]
