"""Arrays: what they hold, records of them, in which nobody writes to what another has been given, and what they join."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Self

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

NM_PER_MM = 1_000_000  # places are kept in whole nanometres


class ReadOnly:
    """A base for frozen records: the arrays in their fields can be read only."""

    __slots__ = ()

    def __post_init__(self) -> None:
        for field in fields(self):  # type: ignore[arg-type]  # every record of this base is a dataclass
            value = getattr(self, field.name)
            if isinstance(value, np.ndarray):
                value.setflags(write=False)


@dataclass(frozen=True, slots=True)
class Columns:
    """A base for records of arrays of equal length, one row for each thing."""

    def take(self, rows: Bools | Ints) -> Self:
        """Return some of the rows."""
        return replace(self, **{field.name: getattr(self, field.name)[rows] for field in fields(self)})


def connected(count: int, a: Ints, b: Ints) -> tuple[int, Ints]:
    """Return how many parts so many things make that are joined in pairs (n,), and which part each belongs to."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    links = coo_array((np.ones(len(a)), (a, b)), shape=(count, count))
    parts, label = connected_components(links, directed=False)
    return parts, label.astype(np.int64)
