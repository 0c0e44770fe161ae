"""The carved surface as a 16-bit grey PNG, for those who want the heights themselves.

Scale: the brightest value, 65535, is the untouched top (height 0), 0 is the floor; the values between are
even, so ``height_mm = floor_mm * (1 - value / 65535)``.  The floor, the size of a pixel and the place of
the picture's lower left pixel are stored in the file as text (``floor-mm``, ``step-mm``, ``x0-mm``,
``y0-mm``).  The picture lies as the piece does on the bench: the back edge is its upper edge.
"""

from __future__ import annotations

import io

import numpy as np
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from vcarve.dryrun.surface import Surface

WHITE = 65535


def png16(surface: Surface) -> bytes:
    """Encode a surface as PNG; the deepest cut becomes 0."""
    floor = -surface.deepest_mm
    share = np.zeros(surface.height_mm.shape) if floor == 0.0 else surface.height_mm / floor
    values = np.rint(WHITE * (1.0 - share)).astype(np.uint16)
    about = PngInfo()
    for name, value in (
        ("floor-mm", floor),
        ("step-mm", surface.step_mm),
        ("x0-mm", surface.x0_mm),
        ("y0-mm", surface.y0_mm),
    ):
        about.add_text(name, f"{value:.6f}")
    out = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(values[::-1])).save(out, format="PNG", pnginfo=about)
    return out.getvalue()


def heights_file(surface: Surface, ending: str) -> bytes:
    """Encode a surface as it is written to files with this ending: ``.npy`` (mm, row 0 at the front) or ``.png``."""
    if ending == ".png":
        return png16(surface)
    out = io.BytesIO()
    np.save(out, surface.height_mm, allow_pickle=False)
    return out.getvalue()
