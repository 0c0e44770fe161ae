"""The lines before they meet the field: a pattern with its pitch and place, or a drawing as it lies on the piece."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from vcarve.drawing.read import Drawing, read_drawing
from vcarve.errors import InputError, Problem
from vcarve.job.fields import Pitch
from vcarve.layout.field import Field
from vcarve.network.repeat import Placing
from vcarve.network.unit import unit_network
from vcarve.pattern.catalogue import pattern as named_pattern
from vcarve.pattern.fit import Fit, fit, rectangular_repeat
from vcarve.pattern.model import KINDS, Line, Pattern, Point
from vcarve.plane.region import bounds
from vcarve.quantity import Figures

AS_ON_PAGE = "the drawing's page is as large as the piece, so the lines lie as on their page"
CENTRED = "the lines are centred on the piece; from a page as large as the piece they would keep their place"
EDGES_MOST = 1_000_000  # some 2.5 GB and two minutes from job to program


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lines:
    """A pattern and how it lies on the piece (``fit`` is there where whole repeats were fitted), or a drawing as it lies."""

    placing: Placing
    pattern: Pattern | None = None
    fit: Fit | None = None
    drawing: Drawing | None = None

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


def place_pattern(
    *,
    name: str,
    folder: str,
    state: object,
    field: Field,
    pitch: Pitch | None,
    across: int | None,
    placing: Placing,
    what: str,
    piece_mm: tuple[float, float],
    figures: Figures,
) -> Lines:
    """Return a pattern as it lies: ``placing`` has its turn and shift; its pitch is given, or fitted to the field.

    ``what`` is to be filled, in words; ``state`` tells one state of the pattern's file from another.  Raises InputError for a
    pitch that cannot be fitted or is far too small.
    """
    pattern = named_pattern(name, folder)
    if across is None and pitch is not None and not pitch.about:
        made = Lines(pattern=pattern, placing=replace(placing, pitch_mm=pitch.mm))
    else:
        wish = None if across is not None or pitch is None else pitch.mm
        made = _fitted(pattern, field, placing, across, wish, what, figures)
    # So small a pitch that the lines would be past counting is usually a slip of the units.
    cells_at_1_mm = piece_mm[0] * piece_mm[1] / pattern.cell_area
    least = math.sqrt(cells_at_1_mm * len(unit_network(pattern).tail) / EDGES_MOST)
    if made.placing.pitch_mm < least * (1.0 - 1e-9):
        raise InputError(
            Problem(
                key="pattern.pitch" if across is None else "pattern.across",
                value=figures.length(made.placing.pitch_mm) if across is None else str(across),
                want=f"this gives more than {EDGES_MOST:,} lines on the piece; a pitch of {figures.at_least(least)} or more "
                "is possible",
            )
        )
    return made


def _fitted(
    pattern: Pattern,
    field: Field,
    placing: Placing,
    across: int | None,
    wish_mm: float | None,
    what: str,
    figures: Figures,
) -> Lines:
    """Return the pattern with the pitch at which whole repeats fill the field's width."""
    still = replace(placing, shift_mm=(0.0, 0.0))
    a1, a2, corner = (_at(place, still) for place in (pattern.a1, pattern.a2, pattern.corner))
    lies = replace(
        pattern, a1=a1, a2=a2, corner=corner
    )  # its lattice mirrored and turned; its lines are left
    try:
        rectangular_repeat(lies)
    except InputError:
        turned = ", turned as it is," if placing.rotate_deg else ""
        want = f"the lattice of {pattern.key}{turned} does not repeat along the width, so whole repeats cannot fill it; "
        if across is not None:
            want += "give a pitch instead"
            raise InputError(Problem(key="pattern.across", value=str(across), want=want)) from None
        value = "" if wish_mm is None else f"about {figures.length(wish_mm)}"
        want += "give the pitch without 'about'"
        raise InputError(Problem(key="pattern.pitch", value=value, want=want)) from None
    left, front, right, back = bounds(field.fill)
    found = fit(lies, right - left, back - front, across=across, about_mm=wish_mm, what=what, figures=figures)
    middle = (left + right) / 2.0, (front + back) / 2.0
    x, y = (placing.shift_mm[axis] + (found.origin_mm[axis] + middle[axis]) for axis in (0, 1))
    return Lines(
        pattern=pattern, placing=replace(placing, pitch_mm=found.pitch_mm, shift_mm=(x, y)), fit=found
    )


def place_drawing(
    *,
    file: str,
    state: object,
    close_gaps_mm: float,
    layers: tuple[str, ...],
    piece_mm: tuple[float, float],
    placing: Placing,
) -> Lines:
    """Return a drawing whose lines, and places of what was mended, lie as on the piece.

    With ``layers`` only what is on them is read; ``state`` tells one state of the file from another.  Raises InputError for what
    cannot be read, and for layers without lines.
    """
    drawing = read_drawing(
        file, close_gaps_mm=close_gaps_mm, keys=layers, only=bool(layers), piece_mm=piece_mm
    )
    unknown = [name for name in layers if name not in drawing.layers]
    if unknown:
        there = ", ".join(read_drawing(file, close_gaps_mm=close_gaps_mm, piece_mm=piece_mm).layers)
        want = f"the drawing has no lines on such a layer or colour; it has {there}"
        raise InputError(Problem(key=f"pattern.depths.{name}", value=name, want=want) for name in unknown)
    flip = -1.0 if placing.mirror else 1.0
    lines = [
        Line(
            start=_at(line.start, placing),
            end=_at(line.end, placing),
            bulge=line.bulge * flip,
            feature=line.feature,
        )
        for line in drawing.lines
    ]
    mended = [replace(one, at_mm=_at(one.at_mm, placing)) for one in drawing.mended]
    drawing = replace(drawing, lines=tuple(lines), mended=tuple(mended))
    return Lines(placing=placing, drawing=drawing)


def _at(place: Point, placing: Placing) -> Point:
    """Return where a place comes to lie: mirrored, turned and shifted."""
    x, y = (np.asarray(place) @ placing.matrix).tolist()
    return x + placing.shift_mm[0], y + placing.shift_mm[1]
