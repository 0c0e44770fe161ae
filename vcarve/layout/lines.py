"""The lines before they meet the field: a pattern with its pitch and place, or a drawing as it lies on the piece."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from vcarve.drawing.read import Drawing, read_drawing
from vcarve.errors import InputError, Problem
from vcarve.job.records import Job
from vcarve.layout.field import Field
from vcarve.network.build import Placing
from vcarve.pattern.fit import Fit, fit
from vcarve.pattern.model import KINDS, Pattern
from vcarve.pattern.model import pattern as named_pattern
from vcarve.plane.arcs import mapped
from vcarve.plane.region import bounds

AS_ON_PAGE = "the drawing's page is as large as the piece, so the lines lie as on their page"
CENTRED = "the lines are centred on the piece; from a page as large as the piece they would keep their place"
EDGES_MOST = 1_000_000  # some 2.5 GB and two minutes from job to program


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lines:
    """A pattern and how it lies on the piece (``fit`` is there where whole repeats were fitted), or a drawing as it lies.

    ``window`` says that they go on beyond the piece, which shows a part of them.  What is neither, such as the tiles of a board,
    says in ``words`` what it is.
    """

    placing: Placing
    pattern: Pattern | None = None
    fit: Fit | None = None
    drawing: Drawing | None = None
    words: str = ""
    window: bool = False

    @property
    def pitch_mm(self) -> float | None:
        """The pattern's pitch."""
        return None if self.pattern is None else self.placing.pitch_mm

    @property
    def kinds(self) -> tuple[str, ...]:
        """Of what kinds the lines are, in the order of their features: a pattern's, or the layers of the drawing."""
        return KINDS if self.drawing is None else self.drawing.layers

    @property
    def sentences(self) -> tuple[str, ...]:
        """What was chosen or left over."""
        if self.drawing is not None:
            return (AS_ON_PAGE if self.drawing.on_page else CENTRED,)
        return () if self.fit is None else (self.fit.sentence,)


def moved(lines: Lines, x_mm: float, y_mm: float) -> Lines:
    """Return the same lines moved, for a window on them: of whole repeats, fitted to where they lay before, nothing is said."""
    shift_x, shift_y = lines.placing.shift_mm
    drawing = lines.drawing
    if drawing is not None:
        by = np.array([x_mm, y_mm])
        drawing = replace(drawing, curves=mapped(drawing.curves, np.eye(2), by), mended=())
    placing = replace(lines.placing, shift_mm=(shift_x + x_mm, shift_y + y_mm))
    return replace(lines, placing=placing, drawing=drawing, fit=None, window=True)


def expected_edges(lines: Lines, wide_mm: float, high_mm: float) -> float:
    """Return how many edges lines give on a piece of this size, about, before any of them is laid."""
    if lines.pattern is None:
        return 0.0 if lines.drawing is None else len(lines.drawing.curves)
    cells = wide_mm * high_mm / (lines.pattern.cell.area * lines.placing.pitch_mm**2)
    return cells * len(lines.pattern.unit_network.tail)


def place_lines(job: Job, field: Field) -> Lines:
    """Return the lines of a job as they lie on its piece.

    Raises InputError for a pitch that cannot be fitted to the field or is far too small, for a drawing that cannot be read,
    and for layers without lines.
    """
    choice = job.pattern
    placing = Placing(
        pitch_mm=1.0,
        rotate_deg=choice.rotate_deg,
        shift_mm=(choice.shift_x_mm, choice.shift_y_mm),
        mirror=choice.mirror,
    )
    if choice.drawing is not None:
        return _drawing(job, str(Path(job.folder) / choice.drawing), placing)
    across, figures = choice.across, job.figures
    pattern = named_pattern(str(choice.name), job.folder)
    if across is None and choice.pitch_mm is not None and not choice.pitch_mm.about:
        made = Lines(pattern=pattern, placing=replace(placing, pitch_mm=choice.pitch_mm.mm))
    else:
        made = _fitted(job, pattern, field, placing)
    # So small a pitch that the lines would be past counting is usually a slip of the units.
    at_1_mm = replace(made, placing=replace(placing, pitch_mm=1.0))
    least = math.sqrt(expected_edges(at_1_mm, job.piece.width_mm, job.piece.height_mm) / EDGES_MOST)
    if made.placing.pitch_mm < least * (1.0 - 1e-9):
        raise InputError(
            Problem(
                key="pattern.pitch" if across is None else "pattern.across",
                want=f"this gives more than {EDGES_MOST:,} lines on the piece; a pitch of {figures.at_least(least)} or more "
                "is possible",
            )
        )
    return made


def _fitted(job: Job, pattern: Pattern, field: Field, placing: Placing) -> Lines:
    """Return the pattern with the pitch at which whole repeats fill the field's width."""
    wish = job.pattern.pitch_mm
    left, front, right, back = bounds(field.fill)
    found = fit(
        pattern,
        right - left,
        back - front,
        across=job.pattern.across,
        about_mm=None if wish is None else wish.mm,
        what="the field inside the margin" if job.pattern.margin_mm else "the piece",
        lies=placing.matrix,
        figures=job.figures,
    )
    middle = np.array([left + right, front + back]) / 2.0
    x, y = (placing.shift_mm + (found.origin_mm + middle)).tolist()
    placed = replace(placing, pitch_mm=found.pitch_mm, shift_mm=(x, y))
    return Lines(pattern=pattern, placing=placed, fit=found)


def _drawing(job: Job, file: str, placing: Placing) -> Lines:
    """Return a drawing, what is on the layers chosen or all of it, with its lines and mended places as on the piece."""
    layers = tuple(job.pattern.depths)
    drawing = read_drawing(
        file,
        close_gaps_mm=job.pattern.close_gaps_mm,
        keys=layers,
        piece_mm=(job.piece.width_mm, job.piece.height_mm),
    )
    if unknown := [name for name in layers if name not in drawing.layers]:
        want = "the drawing has no lines on such a layer or colour; its layers and colours are "
        want += ", ".join(drawing.known[:20])
        raise InputError(Problem(key=f"pattern.depths.{name}", value=name, want=want) for name in unknown)
    spots = np.array([one.at_mm for one in drawing.mended]).reshape(-1, 2) @ placing.matrix + placing.shift_mm
    mended = [replace(one, at_mm=(x, y)) for one, (x, y) in zip(drawing.mended, spots.tolist(), strict=True)]
    curves = mapped(drawing.curves, placing.matrix, placing.shift_mm)
    drawing = replace(drawing, curves=curves, mended=tuple(mended))
    return Lines(placing=placing, drawing=drawing)
