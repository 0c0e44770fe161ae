"""Numbers as RS-274 words: plain decimals, no exponent, no plus sign, no minus zero, no needless zeros."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

NM_PER_INCH = 25_400_000
NM_PER_MM = 1_000_000


@lru_cache(maxsize=1 << 16)  # a lattice has few coordinates, and each is written many times
def decimal(count: int, decimals: int) -> str:
    """Return ``count`` steps of ``10 ** -decimals`` as a decimal number."""
    sign = "-" if count < 0 else ""
    whole, part = divmod(abs(count), 10**decimals)
    if part == 0:
        return f"{sign}{whole}"
    return f"{sign}{whole}.{part:0{decimals}d}".rstrip("0")


def steps(nm: npt.NDArray[np.int64], decimals: int, *, inch: bool = False) -> npt.NDArray[np.int64]:
    """Return lengths in nanometres as whole steps of the last decimal written; shape as given.

    Halves go up, below zero as well (-0.5 becomes 0): a line that is moved by whole steps keeps its shape to the last
    digit.
    """
    unit = NM_PER_INCH if inch else NM_PER_MM
    scale = 10**decimals
    # Whole numbers throughout: floor((nm * scale) / unit + 1/2).
    return np.asarray((2 * nm * scale + unit) // (2 * unit), dtype=np.int64)


def plain(value: float, decimals: int) -> str:
    """Return a float rounded to ``decimals`` as a plain decimal number; it must be finite."""
    return decimal(round(value * 10**decimals), decimals)
