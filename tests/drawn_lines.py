"""Lines one by one, as tests write them and look at them; the package holds them as arrays."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from vcarve.job.document import parse_document
from vcarve.job.record import record_from
from vcarve.pattern.model import Pattern
from vcarve.plane.arrays import Floats, Ints

Point = tuple[float, float]


def pattern_of(written: str) -> Pattern:
    """Return the pattern that the text of a file describes."""
    return record_from(parse_document(written.encode(), file="own.yaml"), Pattern)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line or an arc from ``start`` to ``end``; ``bulge`` is tan(sweep / 4)."""

    start: Point
    end: Point
    bulge: float = 0.0
    feature: int = 0

    @property
    def length(self) -> float:
        """Length along the line, or along the arc: radius times sweep."""
        chord, half = math.dist(self.start, self.end), 2.0 * math.atan(self.bulge)
        return chord * half / math.sin(half) if half else chord


class Drawn(Protocol):
    """What has lines: a pattern, or a drawing."""

    @property
    def curves(self) -> Floats:
        """The lines as rows (n, 5)."""

    @property
    def feature(self) -> Ints:
        """What each is for (n,)."""


def rows(lines: Iterable[Line]) -> tuple[Floats, Ints]:
    """Return lines as rows (n, 5), and their features (n,)."""
    lines = list(lines)
    curves = np.array([(*line.start, *line.end, line.bulge) for line in lines], dtype=float)
    return curves.reshape(-1, 5), np.array([line.feature for line in lines], dtype=np.int64)


def lines_of(made: Drawn) -> list[Line]:
    """Return the lines of a pattern or a drawing."""
    return [
        Line(start=(a, b), end=(c, d), bulge=bulge, feature=feature)
        for (a, b, c, d, bulge), feature in zip(made.curves.tolist(), made.feature.tolist(), strict=True)
    ]
