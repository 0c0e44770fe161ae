"""How the wood of a panel moves with its moisture, and whether gaps and rebate give it room.

Change across the grain: ΔD = D · C · ΔM, with ΔM in percent points and C the dimensional change coefficient of the wood,
tangential for flat-sawn, radial for quarter-sawn boards, between 6 and 14 % of moisture (USDA Forest Products Laboratory, Wood
Handbook, FPL-GTR-190, 2010, equation 13-2 and table 13-5).  Along the grain wood moves so little that nothing is counted.  Real
boards are rarely quite flat- or quarter-sawn and move less than this across their width (there, chapter 13).

Every tile is taken to be held in its middle, so that each of two neighbours takes half of what it grows from their gap.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from vcarve.errors import Finding
from vcarve.panel.tiles import LaidPanel, Tile
from vcarve.plane.arrays import Floats

VALID = (0.06, 0.14)  # moisture for which the coefficients are meant
COVERED_MM = (
    1.0  # a rebate covers at least so much of a tile in the driest season: common practice, no source
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """How each tile moves, and what room that takes.

    ``grow_mm`` and ``shrink_mm`` (rows, columns, 2) are of each tile along X and along Y, until the dampest and the driest
    season; not a number where nothing is known of the wood.  ``gap_mm`` is the narrowest gap that takes the growth,
    ``rebate_mm`` the narrowest rebate that then covers the outer tiles in the driest season.  ``field_mm`` is by how much all
    tiles together become larger (in the first row) and smaller (in the second) along X and along Y.
    """

    grow_mm: Floats
    shrink_mm: Floats
    gap_mm: float
    rebate_mm: float
    field_mm: Floats


def change_mm(size_mm: float, per_point: float, points: float) -> float:
    """Return by how much a size across the grain changes over so many percent points of moisture."""
    return size_mm * per_point * points


def movement(laid: LaidPanel) -> Movement | None:
    """Return how a panel's wood moves; ``None`` where the panel does not say how moist it is and becomes."""
    panel, moisture = laid.panel, laid.panel.moisture
    if moisture is None:
        return None
    up, down = (100.0 * (moisture.most - moisture.now), 100.0 * (moisture.now - moisture.least))
    grow = np.zeros((panel.panel.rows, panel.panel.columns, 2))
    shrink = np.zeros_like(grow)
    for tile in laid.tiles:
        at = tile.row - 1, tile.column - 1, "xy".index(tile.moves_across)
        across = _per_point(laid, tile) * (
            panel.tile.height_mm if tile.grain == "along-x" else panel.tile.width_mm
        )
        grow[at], shrink[at] = across * up, across * down
    known = np.nan_to_num(grow), np.nan_to_num(shrink)
    # Half of what both neighbours grow; the rebate's wall does not move.
    pairs = [0.0]
    for axis in (0, 1):
        sizes = np.moveaxis(known[0][..., 1 - axis], axis, 0)
        padded = np.concatenate([np.zeros_like(sizes[:1]), sizes, np.zeros_like(sizes[:1])])
        ends = slice(None) if panel.panel.frame else slice(1, -1)
        pairs += (0.5 * (padded[1:] + padded[:-1]))[ends].ravel().tolist()
    gap = max(pairs)
    # The outer tiles are held in their middle as well.
    sides = [
        [
            (0.5 * (axis.take(0, 1 - k) + axis.take(-1, 1 - k))).max()
            for k, axis in enumerate((way[..., 0], way[..., 1]))
        ]
        for way in known
    ]
    outer = max(float(known[1][:, (0, -1), 0].max()), float(known[1][(0, -1), :, 1].max()))
    return Movement(
        grow_mm=grow,
        shrink_mm=shrink,
        gap_mm=gap,
        rebate_mm=max(panel.panel.gap_mm, gap) + 0.5 * outer + COVERED_MM,
        field_mm=np.array(sides),
    )


def _per_point(laid: LaidPanel, tile: Tile) -> float:
    wood = laid.wood(tile)
    found = wood.moves_flat_sawn if laid.panel.tile.sawn == "flat" else wood.moves_quarter_sawn
    return np.nan if found is None else found


def movement_findings(laid: LaidPanel) -> Iterator[Finding]:
    """Yield where the wood has too little room, and what is not known of it."""
    panel, found, length = laid.panel, movement(laid), laid.panel.figures.length
    grid, moisture = panel.panel, panel.moisture
    if found is None or moisture is None:
        return
    if found.gap_mm > grid.gap_mm + 1e-9:
        where = "a gap" if not grid.frame else "a gap, between tiles and along the frame,"
        least = panel.figures.at_least(found.gap_mm)
        yield Finding(
            "gap-too-narrow",
            f"In the dampest season the tiles press on each other or on the frame: {where} of {least} or more takes "
            f"what they grow; 'gap' is {length(grid.gap_mm)}.",
        )
    if grid.frame is not None and grid.frame.rebate_mm and found.rebate_mm > grid.frame.rebate_mm + 1e-9:
        least = panel.figures.at_least(found.rebate_mm)
        yield Finding(
            "rebate-too-narrow",
            f"In the driest season the rebate hardly covers the outer tiles any more: {least} or more does; 'rebate' "
            f"is {length(grid.frame.rebate_mm)}.",
        )
    unknown = dict.fromkeys(laid.wood(tile).name for tile in laid.tiles if np.isnan(_per_point(laid, tile)))
    if unknown:
        yield Finding(
            "movement-unknown", f"How {', '.join(unknown)} moves is not known: no gap was worked out for it."
        )
    if not VALID[0] <= moisture.least <= moisture.most <= VALID[1]:
        yield Finding(
            "moisture-far",
            "How wood moves is known for 6 to 14 % of moisture; beyond, the figures are a guess.",
        )
