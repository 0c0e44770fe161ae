"""Arrays: what they hold, and records of them, in which nobody writes to what another has been given."""

from __future__ import annotations

from dataclasses import fields

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
