"""A piece, or a panel as solids put together: its tiles where they lie, and the bars of its frame."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from vcarve.layout.stages import Layout
from vcarve.panel.tiles import LaidPanel
from vcarve.solid.model import Part, Solid
from vcarve.solid.piece import carved_solid, solid_of

Size = tuple[float, float]


def piece_parts(layout: Layout, **how: Any) -> list[Part]:
    """Return a piece by itself; ``how`` as for ``carved_solid``."""
    job = layout.job
    return [Part(name=job.name, colour=job.piece.wood.tint, solid=carved_solid(layout, **how))]


def panel_parts(
    laid: LaidPanel,
    frame: tuple[Size, Size, Size] | None,
    *,
    tolerance_mm: float,
    hollow_mm: float | None = None,
    scale: float = 1.0,
    progress: Callable[[str, float], None] = lambda stage, share: None,
) -> list[Part]:
    """Return the tiles of a panel and the bars round them; all stand on their backs, the panel's middle at X0 Y0.

    What is said of a piece goes for each tile, see ``carved_solid``.  ``frame`` are its outside, the opening of its rebate, and
    what is seen between its bars.
    """
    made: list[Solid] = []
    for sort, layout in enumerate(laid.sorts):

        def tell(stage: str, share: float, done: int = sort) -> None:
            progress(stage, (done + share) / len(laid.sorts))

        made.append(
            carved_solid(layout, tolerance_mm=tolerance_mm, hollow_mm=hollow_mm, scale=scale, progress=tell)
        )
    parts = [
        Part(
            name=f"row {tile.row}, column {tile.column}: {laid.wood(tile).title}",
            colour=laid.wood(tile).tint,
            solid=made[tile.sort],
            at_mm=(tile.x_mm * scale, tile.y_mm * scale, 0.0),
            turn_deg=float(tile.turn_deg),
        )
        for tile in laid.tiles
    ]
    return parts if frame is None else [*parts, *_bars(laid, frame, scale)]


def _bars(laid: LaidPanel, frame: tuple[Size, Size, Size], scale: float) -> Iterator[Part]:
    """Yield the four bars, mitred, with the rebate in which the tiles lie; their backs are flush with those of the tiles."""
    from manifold3d import CrossSection, Manifold

    said, thick = laid.panel.panel.frame, laid.panel.tile.thickness_mm
    assert said is not None
    wood = laid.frame_wood
    (a, b), (w, h), (c, d) = (np.array(size) / 2.0 for size in frame)
    rebate = Manifold.extrude(CrossSection([[(-w, -h), (w, -h), (w, h), (-w, h)]]), thick)
    for name, corners in (
        ("front", [(-a, -b), (a, -b), (c, -d), (-c, -d)]),
        ("right", [(a, -b), (a, b), (c, d), (c, -d)]),
        ("back", [(a, b), (-a, b), (-c, d), (c, d)]),
        ("left", [(-a, b), (-a, -b), (-c, -d), (-c, d)]),
    ):
        bar = Manifold.extrude(CrossSection([corners]), said.thickness_mm) - rebate
        yield Part(name=f"{name} bar, {wood.title}", colour=wood.tint, solid=solid_of(bar, scale))
