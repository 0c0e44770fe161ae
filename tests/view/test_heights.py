"""The height picture read back with an image library."""

import io
from typing import Any

import numpy as np
from PIL import Image

from vcarve.dryrun.carve import Surface
from vcarve.view.picture import heights_file


def slope():
    """Return a map that falls from the top at the back to 2 mm at the front."""
    heights = np.repeat(np.linspace(-2.0, 0.0, 5)[:, None], 3, axis=1).astype(np.float32)
    return Surface(height_mm=heights, step_mm=0.5, x0_mm=-0.5, y0_mm=-1.0)


def test_heights_come_back():
    """Undoing the documented scale gives the heights again, the back edge in the picture's first row."""
    picture: Any = Image.open(io.BytesIO(heights_file(slope(), ".png")))
    values = np.asarray(picture, dtype=np.float64)
    floor = float(picture.text["floor-mm"])

    assert picture.size == (3, 5)
    np.testing.assert_allclose((floor * (1 - values / 65535))[::-1], slope().height_mm, atol=2e-5)
    assert float(picture.text["step-mm"]) == 0.5


def test_untouched_piece_is_white():
    """A piece without grooves is white all over."""
    flat = Surface(height_mm=np.zeros((2, 2), dtype=np.float32), step_mm=1.0, x0_mm=0.0, y0_mm=0.0)

    assert (np.asarray(Image.open(io.BytesIO(heights_file(flat, ".png")))) == 65535).all()
