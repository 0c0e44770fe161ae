"""Geometry of many lines and arcs at once, each given by its ends and its bulge, tan(sweep / 4)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

Floats = npt.NDArray[np.float64]


def lengths(a: Floats, b: Floats, bulge: Floats) -> Floats:
    """Return lengths (n,) along lines and arcs from a (n, 2) to b (n, 2)."""
    chord = np.hypot(*(b - a).T)
    half = 2.0 * np.arctan(np.abs(bulge))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(bulge == 0.0, chord, chord * half / np.sin(half)))


def centres(a: Floats, b: Floats, bulge: Floats) -> tuple[Floats, Floats]:
    """Return centres (n, 2) and radii (n,) of arcs; straight lines give not-a-number."""
    with np.errstate(divide="ignore", invalid="ignore"):
        off = np.where(bulge == 0.0, np.nan, 0.5 / np.tan(2.0 * np.arctan(bulge)))
        delta = b - a
        centre = 0.5 * (a + b) + off[:, None] * np.column_stack([-delta[:, 1], delta[:, 0]])
    return centre, np.hypot(*(a - centre).T)


def spots(a: Floats, b: Floats, bulge: Floats, share: Floats) -> Floats:
    """Return the place (n, 2) at a share (n,) of each line's or arc's length."""
    place = a + share[:, None] * (b - a)
    bent = np.flatnonzero(bulge)
    if len(bent):
        a, b, bulge, share = a[bent], b[bent], bulge[bent], share[bent]
        centre, radius = centres(a, b, bulge)
        angle = np.arctan2(a[:, 1] - centre[:, 1], a[:, 0] - centre[:, 0]) + share * 4.0 * np.arctan(bulge)
        place[bent] = centre + radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    return place


def shares(points: Floats, a: Floats, b: Floats, bulge: Floats) -> Floats:
    """Return where along its line or circle each point stands: 0 at a, 1 at b, below and above beyond them.

    On a circle it is taken about the middle of the arc, so that both of its ends lie on the same side of the cut.
    """
    delta = b - a
    with np.errstate(divide="ignore", invalid="ignore"):
        share = ((points - a) * delta).sum(axis=1) / (delta**2).sum(axis=1)
    bent = np.flatnonzero(bulge)
    if len(bent):
        a, b, bulge = a[bent], b[bent], bulge[bent]
        centre, _ = centres(a, b, bulge)
        arm, first = points[bent] - centre, a - centre
        sweep = 4.0 * np.arctan(bulge)
        turn = np.arctan2(arm[:, 1], arm[:, 0]) - np.arctan2(first[:, 1], first[:, 0])
        share[bent] = (np.mod(turn - 0.5 * sweep + np.pi, 2.0 * np.pi) - np.pi + 0.5 * sweep) / sweep
    return np.asarray(share)


def away_mm(points: Floats, a: Floats, b: Floats, bulge: Floats) -> Floats:
    """Return how far each point is from its line or arc, ends included."""
    share = np.clip(shares(points, a, b, bulge), 0.0, 1.0)
    return np.asarray(np.hypot(*(points - spots(a, b, bulge, share)).T))


def boxes(a: Floats, b: Floats, bulge: Floats, grow: float) -> npt.NDArray[np.object_]:
    """Return boxes round lines and arcs (of at most half a turn exact enough, of more generous), grown by a margin."""
    chord = np.hypot(*(b - a).T)
    wide = np.abs(bulge) > 1.0
    with np.errstate(divide="ignore", invalid="ignore"):
        radius = np.where(bulge == 0.0, 0.0, chord * (1.0 + bulge**2) / (4.0 * np.abs(bulge)))
    sag = np.where(wide, 2.0 * radius, 0.5 * np.abs(bulge) * chord) + grow
    low = np.minimum(a, b) - sag[:, None]
    high = np.maximum(a, b) + sag[:, None]
    return np.asarray(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]), dtype=object)
