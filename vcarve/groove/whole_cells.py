"""How much room a pattern's whole cells have for grooves: the least pitch for a groove, the deepest groove for a pitch.

A few repeats are built once; other pitches are the same picture with other grooves.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from vcarve.groove.land import measure
from vcarve.groove.width import Cone, VBit, width_mm
from vcarve.network.build import Placing, network_on, pattern_graph
from vcarve.network.model import Network
from vcarve.pattern.model import Pattern
from vcarve.plane.arcs import size
from vcarve.plane.region import rectangle

SAMPLE_PITCH_MM = 20.0
LEAST_LAND_MM = 0.01  # what is narrower is no land to anybody
_REPEATS = 4.0
_SCRATCH_MM = 0.01
_CLOSE = 2.0e-3  # of a pitch or a depth: nearer ones are not told apart
_BY_WIDTH = VBit(angle_deg=90.0)  # its grooves are as wide as twice their depth


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """One whole cell of each kind amid a few repeats of a pattern; the least holds a circle ``room`` pitches wide."""

    network: Network
    features: tuple[int, ...]
    room: float

    def keep(self, pitch_mm: float, widths_mm: Mapping[int, float], land_mm: float = LEAST_LAND_MM) -> bool:
        """Tell whether all of them keep land this wide at a pitch, between grooves of these widths (by feature)."""
        widths = {feature: widths_mm[feature] for feature in self.features}
        widest = max(widths.values())
        if min(widths.values()) == widest:
            return self.room * pitch_mm - widest >= land_mm
        scale = pitch_mm / SAMPLE_PITCH_MM
        return _narrowest_mm(self.network, {r: w / scale for r, w in widths.items()}) * scale >= land_mm


@lru_cache(maxsize=1)
def cells_of(pattern: Pattern) -> Cells | None:
    """Return the whole cells of a pattern; ``None`` where its lines close none."""
    side = _REPEATS * SAMPLE_PITCH_MM * (math.hypot(*pattern.cell.a1) + math.hypot(*pattern.cell.a2))
    field = rectangle(side, side)
    network = network_on(field, pattern_graph(pattern, Placing(pitch_mm=SAMPLE_PITCH_MM), field))
    if not (network.cell_class >= 0).any():
        return None
    network = _one_of_each(network)
    features = tuple(np.unique(network.feature[network.cut]).tolist())
    room = _narrowest_mm(network, dict.fromkeys(features, _SCRATCH_MM)) + _SCRATCH_MM
    return Cells(network=network, features=features, room=room / SAMPLE_PITCH_MM)


def _one_of_each(network: Network) -> Network:
    """Return the network with all its lines, and of each kind of whole cells the one nearest to the middle."""
    first = network.ring_half_edge[network.cell_start[:-1]]
    nearest = np.argsort(size(network.xy_mm[network.tail[first >> 1]]), kind="stable")
    nearest = nearest[network.cell_class[nearest] >= 0]
    return network.of_cells(nearest[np.unique(network.cell_class[nearest], return_index=True)[1]])


def _narrowest_mm(network: Network, widths_mm: Mapping[int, float]) -> float:
    depths = {feature: width / 2.0 for feature, width in widths_mm.items()}
    return float(measure(network, _BY_WIDTH, depths).land_mm.min())


def least_pitch_mm(cells: Cells, widths_mm: Mapping[int, float], land_mm: float = LEAST_LAND_MM) -> float:
    """Return the least pitch, rounded up to 0.01 mm, at which every whole cell keeps land this wide."""
    widths = [widths_mm[feature] for feature in cells.features]
    low, high = (min(widths) + land_mm) / cells.room, (max(widths) + land_mm) / cells.room
    _, least = _turn(low, high, lambda pitch: cells.keep(pitch, widths_mm, land_mm))
    return math.ceil(least * 100.0 - 1e-6) / 100.0


def deepest_depths_mm(
    cells: Cells, pitch_mm: float, bit: Cone, depths_mm: Mapping[int, float]
) -> dict[int, float] | None:
    """Return depths (by feature), all less by one factor and rounded down to 0.01 mm, that leave every whole cell land.

    ``None`` where no depth does.
    """

    def scaled(share: float) -> dict[int, float]:
        wished = {feature: depths_mm[feature] * share * 100.0 for feature in cells.features}
        return {feature: math.floor(hundredths + 1e-6) / 100.0 for feature, hundredths in wished.items()}

    def lost(share: float) -> bool:
        return not cells.keep(pitch_mm, {feature: width_mm(bit, d) for feature, d in scaled(share).items()})

    found = scaled(_turn(0.0, 1.0, lost)[0])
    return found if min(found.values()) > 0.0 else None


def _turn(low: float, high: float, holds: Callable[[float], bool]) -> tuple[float, float]:
    """Return two near values, by halving: something does not hold at the first and holds at the second, as at ``high``."""
    while high - low > _CLOSE * high:
        middle = (low + high) / 2.0
        low, high = (low, middle) if holds(middle) else (middle, high)
    return low, high
