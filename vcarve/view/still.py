"""The still: the finished piece before there is any program, as packed numbers from which a page paints it at once.

Lines keep their true width and their arcs, walls the share of the light that falls on them, so that the page chooses colours
and scale alone.  Arrays are little-endian and in base64, row by row; lengths are mm in piece coordinates.
"""

from __future__ import annotations

import base64
import math
from typing import Any

import numpy as np
import numpy.typing as npt

from vcarve.groove.land import narrowing
from vcarve.groove.model import Grooves
from vcarve.layout.stages import Layout
from vcarve.network.model import Network
from vcarve.plane.arcs import left, size
from vcarve.plane.arrays import Floats, Ints
from vcarve.view.look import SECOND, SECOND_SHARE, SUN
from vcarve.view.walls import SAG_MM, walls

TONES = 40  # shades of light that walls are sorted by, from none to that on the flat top
FAN_RAD = 0.2  # round ends in finer slices than a picture's: a page is looked at from near
MOST_SIDES = 60_000  # of cells: beyond, grooves are too fine for their walls to be seen apart


def pack(values: npt.NDArray[Any], kind: str) -> str:
    """Return array as base64 of ``kind``: ``f4``, ``f8``, ``i4`` or ``i1``, little-endian, row by row."""
    data = np.ascontiguousarray(values, dtype=np.dtype("<" + kind))
    return base64.b64encode(data.tobytes()).decode("ascii")


def still(layout: Layout) -> dict[str, Any]:
    """Return everything that the finished piece is painted from, as plain JSON values.

    ``grooves`` are the kinds of groove, shallowest first: ``[depth, half width, how many lines]``; ``lines`` (n, 5) are theirs
    one after the other, as curves (see ``plane.arcs``).  ``slim`` (m, 7) are chords of grooves that narrow: both ends, the half
    widths there, and the depth in the middle.  ``walls`` (w, 6, 2) are polygons, sorted by the light they get, and ``tones``
    tells how many get how much: ``[share of the light on the flat top, how many walls]``.  ``tip`` is the width of its flat.
    """
    network, grooves, bit = layout.network, layout.grooves, layout.job.bit
    half, depth = np.round(grooves.ends_half_mm, 6), np.round(grooves.ends_depth_mm.mean(axis=0), 6)
    even = network.cut & (half[0] == half[1])
    kinds, kind = np.unique(np.column_stack([depth, half[0]])[even], axis=0, return_inverse=True)
    lines = np.flatnonzero(even)[np.argsort(kind, kind="stable")]
    slim = np.flatnonzero(network.cut & ~even)
    owner, (a, b), halves = narrowing(network.curves(slim), half[:, slim], SAG_MM)
    told = {
        "deepest": layout.deepest_mm,
        "tip": bit.tip_mm,
        "grooves": _counted(kinds.tolist(), np.bincount(kind, minlength=len(kinds))),
        "lines": pack(network.curves(lines), "f4"),
        "slim": pack(np.column_stack([a, b, *halves, depth[slim][owner]]), "f4"),
        "walls": "",
        "tones": [],
    }
    if len(network.ring_half_edge) <= MOST_SIDES:
        inner, outer = walls(network, grooves, FAN_RAD), _outer_walls(network, grooves)
        corner, toward = (
            np.concatenate(both) for both in zip(outer, (inner.corner_mm, inner.toward), strict=True)
        )
        tone = np.rint(_light(toward, bit.angle_deg) * TONES).astype(np.int64)
        shade, many = np.unique(tone, return_counts=True)
        told["walls"] = pack(corner[np.argsort(tone, kind="stable")], "f4")
        told["tones"] = _counted((shade[:, None] / TONES).tolist(), many)
    return told


def _counted(kinds: list[list[float]], many: Ints) -> list[list[float]]:
    return [[*kind, number] for kind, number in zip(kinds, many.tolist(), strict=True)]


def _outer_walls(network: Network, grooves: Grooves) -> tuple[Floats, Floats]:
    """Return the walls of grooves on sides where there is no cell, such as a frame's outer one, as ``walls`` does; unmitred."""
    sides = 2 * np.flatnonzero(network.cut)[:, None] + [0, 1]
    side = np.setdiff1d(sides, network.ring_half_edge)
    halves = grooves.ends_half_mm[np.stack([side & 1, 1 - (side & 1)]), side >> 1]
    _, (a, b), half = narrowing(network.walked(side), halves, SAG_MM)
    out = left(b - a) / np.maximum(size(b - a), 1e-9)[:, None]
    rims = (b + half[1][:, None] * out, a + half[0][:, None] * out)
    return np.stack([a, a, b, b, *rims], axis=1), out


def _light(toward: Floats, angle_deg: float) -> Floats:
    """Return the light on walls whose rims lie ``toward`` (n, 2) of their bottoms, as shares (n,) of that on the flat top."""
    lean = math.radians(angle_deg) / 2.0
    first, second = (
        np.maximum(z * math.sin(lean) - toward @ np.array([x, y]) * math.cos(lean), 0.0)
        for x, y, z in (SUN, SECOND)
    )
    whole = SUN[2] + SECOND_SHARE * SECOND[2]
    return np.asarray((first + SECOND_SHARE * second) / whole)
