"""Lines turned into shapes: arcs flattened, a groove's footprint, insets; all on the integer nanometre grid.

Arcs and round ends become chords that leave the true curve by at most ``SAG_NM``.  A groove's footprint is its line
widened by half the groove's width with round ends, because the bit is round.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import pyclipper

Path = list[tuple[int, int]]

SAG_NM = 400.0
# Sweeping over rings takes the square of their number: many are united first, in runs of neighbours as they were drawn.
MANY, RUN = 1000, 50


def flatten(x0: int, y0: int, x1: int, y1: int, bulge: float, sag_nm: float = SAG_NM) -> Path:
    """Return the points of a line or arc from its start to before its end, in nanometres."""
    if bulge == 0.0:
        return [(x0, y0)]
    sweep = 4.0 * math.atan(bulge)
    radius = math.hypot(x1 - x0, y1 - y0) / (2.0 * abs(math.sin(sweep / 2.0)))
    steps = max(math.ceil(abs(sweep) / (2.0 * math.acos(max(1.0 - sag_nm / radius, 0.0)))), 1)
    off = 0.5 / math.tan(sweep / 2.0)
    cx = 0.5 * (x0 + x1) - (y1 - y0) * off
    cy = 0.5 * (y0 + y1) + (x1 - x0) * off
    start = math.atan2(y0 - cy, x0 - cx)
    angle = start + sweep / steps * np.arange(1, steps)
    x, y = np.rint(cx + radius * np.cos(angle)), np.rint(cy + radius * np.sin(angle))
    return [(x0, y0), *zip(x.astype(np.int64).tolist(), y.astype(np.int64).tolist(), strict=True)]


def inset(rings: Iterable[Path], by_nm: float) -> list[Path]:
    """Return what is left of a region (outer rings counter-clockwise, holes clockwise) further than ``by_nm`` in."""
    offset = pyclipper.PyclipperOffset(2.0, SAG_NM)
    offset.AddPaths(list(rings), pyclipper.JT_ROUND, pyclipper.ET_CLOSEDPOLYGON)
    result: list[Path] = offset.Execute(-by_nm)
    return result


def widen(lines: Mapping[float, Sequence[Path]]) -> list[Path]:
    """Return the footprints of open lines, keyed by half-width in nanometres; different widths may overlap."""
    result: list[Path] = []
    for half_nm, paths in lines.items():
        offset = pyclipper.PyclipperOffset(2.0, SAG_NM)
        offset.AddPaths(list(paths), pyclipper.JT_ROUND, pyclipper.ET_OPENROUND)
        result.extend(offset.Execute(half_nm))
    return result


def subtract(rings: Sequence[Path], cut: Sequence[Path]) -> list[Path]:
    """Return a region less the footprints of grooves."""
    if len(cut) > MANY:
        cut = [ring for at in range(0, len(cut), RUN) for ring in union(cut[at : at + RUN])]
    clipper = pyclipper.Pyclipper()
    clipper.AddPaths(rings, pyclipper.PT_SUBJECT, True)
    clipper.AddPaths(cut, pyclipper.PT_CLIP, True)
    result: list[Path] = clipper.Execute(
        pyclipper.CT_DIFFERENCE, pyclipper.PFT_NONZERO, pyclipper.PFT_NONZERO
    )
    return result


def union(rings: Sequence[Path]) -> list[Path]:
    """Return the rings of everything that rings surround, which may overlap."""
    clipper = pyclipper.Pyclipper()
    clipper.AddPaths(rings, pyclipper.PT_SUBJECT, True)
    result: list[Path] = clipper.Execute(pyclipper.CT_UNION, pyclipper.PFT_NONZERO, pyclipper.PFT_NONZERO)
    return result


def group(rings: Sequence[Path]) -> list[list[Path]]:
    """Sort the rings of a region into connected parts: each its outer ring, then the holes inside it."""
    outers = [ring for ring in rings if pyclipper.Area(ring) > 0.0]
    if len(outers) == len(rings):
        return [[ring] for ring in outers]
    if len(outers) == 1:
        return [[outers[0], *(ring for ring in rings if ring is not outers[0])]]
    clipper = pyclipper.Pyclipper()
    clipper.AddPaths(rings, pyclipper.PT_SUBJECT, True)
    tree = clipper.Execute2(pyclipper.CT_UNION, pyclipper.PFT_NONZERO, pyclipper.PFT_NONZERO)
    parts: list[list[Path]] = []
    waiting = list(tree.Childs)
    while waiting:
        outer = waiting.pop(0)
        parts.append([outer.Contour, *(hole.Contour for hole in outer.Childs)])
        waiting.extend(island for hole in outer.Childs for island in hole.Childs)
    return parts
