"""A panel from an angle: the carved tiles where they lie, in their woods, within the bars of their frame."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from vcarve.dryrun.carve import Surface
from vcarve.panel.tiles import LaidPanel, field_mm
from vcarve.plane.arrays import Floats
from vcarve.view.panel import bars_of
from vcarve.view.shot import Woods
from vcarve.view.sight import sampled

GAP_MM = 3.0  # so far below the tiles a gap is seen to go: deeper it is dark
SHIFT_MM = (37.0, 53.0, 11.0)  # from tile to tile in the tree: no two are of one place


class Shown(NamedTuple):
    """What is looked at: the front as a height map, its outline, how thick all is, and its wood."""

    surface: Surface
    rings: Sequence[Floats]
    thickness_mm: float
    wood: str | Woods  # a tint, or several woods


def shown(laid: LaidPanel, carved: Sequence[Surface], step_mm: float) -> Shown:
    """Return a panel as it will be seen; ``carved`` are the surfaces of its sorts of tiles."""
    panel, bars = laid.panel, bars_of(laid)
    frame, thick = panel.panel.frame, panel.tile.thickness_mm
    wide, high = field_mm(panel) if bars is None else bars.outside
    front = 0.0 if frame is None else max(frame.thickness_mm - thick, 0.0)
    nx, ny = (max(round(side / step_mm), 2) for side in (wide, high))
    surface = Surface(
        height_mm=np.full((ny, nx), -front - GAP_MM, dtype=np.float32),
        step_mm=step_mm,
        x0_mm=-(nx - 1) * step_mm / 2.0,
        y0_mm=-(ny - 1) * step_mm / 2.0,
    )
    x, y = surface.x_mm, surface.y_mm
    heights, which = surface.height_mm.copy(), np.zeros((ny, nx), dtype=np.int64)
    tints, upright = ["#000000"], [False]
    half_x, half_y = panel.tile.width_mm / 2.0, panel.tile.height_mm / 2.0
    for number, tile in enumerate(laid.tiles, 1):
        columns = np.flatnonzero(np.abs(x - tile.x_mm) <= half_x)
        rows = np.flatnonzero(np.abs(y - tile.y_mm) <= half_y)
        across, along = np.meshgrid(x[columns] - tile.x_mm, y[rows] - tile.y_mm)
        for _ in range(tile.turn_deg // 90):  # back to how it was cut
            across, along = along, -across
        found = carved[tile.sort]
        low = sampled(found, found.height_mm, np.column_stack([across.ravel(), along.ravel()]))
        part = np.ix_(rows, columns)
        heights[part] = low.reshape(len(rows), len(columns)) - front
        which[part] = number
        tints.append(laid.wood(tile).tint)
        upright.append(tile.moves_across == "x")
    if bars is not None:
        across, along = np.meshgrid(np.abs(x), np.abs(y))
        bar = (across > bars.sight[0] / 2.0) | (along > bars.sight[1] / 2.0)
        # Mitred: a bar at the side is nearer to its end than one at front or back.
        side = bar & (across - bars.sight[0] / 2.0 > along - bars.sight[1] / 2.0)
        heights[bar] = 0.0
        for mine, is_upright in ((bar & ~side, False), (side, True)):
            which[mine] = len(tints)
            tints.append(laid.frame_wood.tint)
            upright.append(is_upright)
    outline = np.array([(-wide, -high), (wide, -high), (wide, high), (-wide, high)]) / 2.0
    map_ = Surface(height_mm=heights, step_mm=step_mm, x0_mm=surface.x0_mm, y0_mm=surface.y0_mm)
    from_where = np.arange(len(tints))[:, None] * np.array(SHIFT_MM)
    woods = Woods(which=which, map=map_, tints=tuple(tints), shifts_mm=from_where, upright=np.array(upright))
    return Shown(map_, [outline], front + thick, woods)
