"""The height picture read back with an image library."""

import io
from typing import Any

import numpy as np
import pytest
from PIL import Image

from vcarve.dryrun.surface import Surface
from vcarve.view.heights import png16


def slope():
    """Return a map that falls from the top at the back to 2 mm at the front."""
    heights = np.repeat(np.linspace(-2.0, 0.0, 5)[:, None], 3, axis=1).astype(np.float32)
    return Surface(height_mm=heights, step_mm=0.5, x0_mm=-0.5, y0_mm=-1.0)


def test_heights_come_back():
    """Undoing the documented scale gives the heights again, the back edge in the picture's first row."""
    picture: Any = Image.open(io.BytesIO(png16(slope())))
    values = np.asarray(picture, dtype=np.float64)
    floor = float(picture.text["floor-mm"])

    assert picture.size == (3, 5)
    np.testing.assert_allclose((floor * (1 - values / 65535))[::-1], slope().height_mm, atol=2e-5)
    assert float(picture.text["step-mm"]) == 0.5


def test_floor_can_be_set():
    """With a deeper floor the same map uses a smaller part of the scale; what is deeper than the floor is
    black.
    """
    deep = np.asarray(Image.open(io.BytesIO(png16(slope(), floor_mm=-4.0))))
    shallow = np.asarray(Image.open(io.BytesIO(png16(slope(), floor_mm=-1.0))))

    assert deep[-1, 0] == pytest.approx(65535 / 2, abs=1)
    assert shallow[-2, 0] == shallow[-1, 0] == 0


def test_untouched_piece_is_white():
    """A piece without grooves is white all over, and a floor at the top is refused."""
    flat = Surface(height_mm=np.zeros((2, 2), dtype=np.float32), step_mm=1.0, x0_mm=0.0, y0_mm=0.0)

    assert (np.asarray(Image.open(io.BytesIO(png16(flat)))) == 65535).all()
    with pytest.raises(ValueError, match="below 0 mm"):
        png16(flat, floor_mm=0.0)
