"""Records of columns: arrays of equal length, one row for each thing."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Self

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, slots=True)
class Columns:
    """What all records of columns can do."""

    def take(self, rows: npt.NDArray[np.bool_] | npt.NDArray[np.int64]) -> Self:
        """Return some of the rows."""
        return replace(self, **{field.name: getattr(self, field.name)[rows] for field in fields(self)})
