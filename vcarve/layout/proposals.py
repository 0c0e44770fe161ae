"""Cells that the edge cuts off where a pattern was fitted, and what would leave fewer of them: each way is tried out."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from vcarve.errors import InputError
from vcarve.groove.whole_cells import SAMPLE_PITCH_MM, cells_of
from vcarve.job.fields import Pitch
from vcarve.job.records import Job
from vcarve.layout.stages import Laid, Layout, lay_lines
from vcarve.network.faces import cell_areas_mm2
from vcarve.pattern.fit import Fit

MOST_CELLS = 1000  # a larger network takes longer to try than anybody waits for a proposal
COUNTS, MARGINS = 3, 4  # how many are tried
OTHER_PITCH = 0.3  # how far the pitch may be off
WIDEST_MARGIN = 0.15  # of the shorter side
RESIZED = 0.1  # of the height
_ALIKE = 2e-3  # areas of cells that differ by less are the same

# Of what kind a way is, what it is called, what it changes in the pattern, and what in the piece.
Way = tuple[str, str, dict[str, Any], dict[str, Any]]


def clipped_cells(laid: Laid) -> int | None:
    """Return how many cells are not as large as a whole one of the pattern; ``None`` where its lines close no cell."""
    sample = None if laid.lines.pattern is None else cells_of(laid.lines.pattern)
    if sample is None or laid.lines.pitch_mm is None:
        return None
    scale = (laid.lines.pitch_mm / SAMPLE_PITCH_MM) ** 2
    whole = np.unique(cell_areas_mm2(sample.network).round(4)) * scale
    off = np.abs(cell_areas_mm2(laid.network)[:, None] - whole[None, :]) > _ALIKE * whole
    return int(np.count_nonzero(off.all(axis=1)))


def proposals(layout: Layout, progress: Callable[[float], None] = lambda share: None) -> tuple[str, ...]:
    """Return a sentence with the ways that leave fewer cells cut off, tried out one by one.

    There is one where whole repeats were fitted and do not fill the height, and where none were fitted and the cells cut off
    lost their land or keep so little that it may break out.
    """
    job, of, fit = layout.job, layout.network.cells, layout.lines.fit
    if of > MOST_CELLS or job.piece.outline.shape not in ("rectangle", "rounded"):
        return ()
    ways = _ways_of_pitch(layout) if fit is None else _ways_of_fit(job, fit)
    now = clipped_cells(layout) if ways else None
    if now is None:
        return ()
    best: dict[str, tuple[float, str]] = {}
    for number, (kind, words, pattern_change, piece_change) in enumerate(ways):
        progress(number / len(ways))
        tried = job.model_copy(
            update={
                "pattern": job.pattern.model_copy(update=pattern_change),
                "piece": job.piece.model_copy(update=piece_change),
            }
        )
        try:
            laid = lay_lines(tried)
        except InputError:
            continue
        left, cells = clipped_cells(laid) or 0, laid.network.cells
        if left < now and left / cells < best.get(kind, (now / of, ""))[0]:
            best[kind] = (left / cells, f"{words} ({f'{left} of {cells}' if left else 'none'})")
    if not best:
        return ()
    said = "; ".join(words for _, words in sorted(best.values()))
    return (f"The edge cuts off {now} of {of} cells. Fewer are cut off with: {said}.",)


def _ways_of_pitch(layout: Layout) -> list[Way]:
    """Return what may be tried where a pitch was not fitted."""
    pitch_mm = layout.lines.pitch_mm
    if pitch_mm is None or not (layout.grooves.vanished or layout.grooves.weak):
        return []
    words = f"pitch about {layout.job.figures.length(pitch_mm)}"
    return [("fit", words, {"pitch_mm": Pitch(pitch_mm, about=True)}, {})]


def _ways_of_fit(job: Job, fit: Fit) -> list[Way]:
    """Return what may be tried where whole repeats were fitted; the pitch is to stay much the same."""
    row = fit.row
    if row is None or fit.left_over_mm == 0.0:
        return []
    figures, margin = job.figures, job.pattern.margin_mm
    wide, high = job.piece.width_mm, job.piece.height_mm
    step = row * fit.pitch_mm
    digit = figures.unit_mm / 10.0 ** (3 + figures.finer)
    counts: list[Way] = []
    margins: list[Way] = []
    low, most = (round(fit.across * share) for share in (1.0 - OTHER_PITCH, 1.0 + OTHER_PITCH))
    for across in range(max(low, 1), most + 1):
        count = {"across": across, "pitch_mm": None}
        if across != fit.across:
            counts.append(("count", f"across {across}", count, {}))
        for wished in _margins(wide, high, across * fit.repeat, row):
            exact = round(wished / digit) * digit
            if (
                exact != margin
                and abs((wide - 2.0 * exact) / (across * fit.repeat) / fit.pitch_mm - 1.0) < OTHER_PITCH
            ):
                words = f"margin {figures.length(exact)} with across {across}"
                margins.append(("margin", words, {**count, "margin_mm": exact}, {}))
    counts.sort(key=lambda way: abs(way[2]["across"] - fit.across))
    margins.sort(key=lambda way: abs(way[2]["margin_mm"] - margin))
    shifts: list[Way] = [
        ("shift", f"shift-y {figures.length(to)}", {"shift_y_mm": to}, {})
        for by in (fit.left_over_mm / 2.0, -fit.left_over_mm / 2.0, step / 2.0)
        for to in (round((job.pattern.shift_y_mm + by) / digit) * digit,)
    ]
    rows = round((high - 2.0 * margin - fit.left_over_mm) / step)
    sizes = [round((2.0 * margin + count * step) / digit) * digit for count in (rows, rows + 1)]
    heights: list[Way] = [
        ("height", f"a piece {figures.length(size)} high with across {fit.across}",
         {"across": fit.across, "pitch_mm": None}, {"height_mm": size})
        for size in sizes
        if abs(size - high) <= RESIZED * high and size <= max(high, job.machine.travel.y_mm)
    ]  # fmt: skip
    return [*counts[: 2 * COUNTS], *margins[:MARGINS], *shifts, *heights]


def _margins(wide: float, high: float, repeats: float, row: float) -> Iterator[float]:
    """Yield the margins inside which whole repeats fill the width and whole rows the height.

    The pitch is ``(wide - 2 m) / repeats``, so rows fill the height where ``(high - 2 m) repeats = (wide - 2 m) rows row``.
    """
    most = math.ceil(2.0 * repeats * high / wide / row) + 1
    for rows in range(1, most):
        fall = 2.0 * (repeats - rows * row)
        if abs(fall) > 1e-9:
            margin = (high * repeats - wide * rows * row) / fall
            if 0.0 <= margin <= WIDEST_MARGIN * min(wide, high):
                yield margin
