"""Lines and circular arcs, many at once.

Each is given by its ends ``a`` and ``b`` (..., 2) and its ``bulge`` (...); whatever is asked comes back in the same shape, so one
line is asked like a million.

Glossary
bulge      tan(sweep / 4): 0 is a straight line, 1 half a circle; the sweep is positive counter-clockwise
share      how far along a line or an arc, from 0 at ``a`` to 1 at ``b``, evenly by its length
sag        the largest distance between an arc and a chord of it
"""

from __future__ import annotations

from math import pi

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Point = tuple[float, float]

TURN = 2.0 * pi
COARSEST = 0.5**0.5  # cosine of half of what one chord may stand for: a quarter of a turn


def left(vector: Floats) -> Floats:
    """Return vectors (..., 2) turned left by a quarter of a turn."""
    return np.stack([-vector[..., 1], vector[..., 0]], axis=-1)


def cross(u: Floats, v: Floats) -> Floats:
    """Return the cross products of vectors (..., 2): positive where ``v`` points to the left of ``u``."""
    return np.asarray(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0])


def size(vector: Floats) -> Floats:
    """Return the lengths of vectors (..., 2)."""
    return np.asarray(np.hypot(vector[..., 0], vector[..., 1]))


def sweeps(bulge: Floats) -> Floats:
    """Return the signed angles (...), in radians, by which arcs turn."""
    return 4.0 * np.arctan(bulge)


def stretches(bulge: Floats) -> Floats:
    """Return by how much (...) arcs are longer than their chords: half the sweep over its sine, 1 for straight lines."""
    # numpy's sinc(x) is sin(pi x) / (pi x).
    return np.asarray(1.0 / np.sinc(2.0 * np.arctan(bulge) / pi))


def lengths(a: Floats, b: Floats, bulge: Floats) -> Floats:
    """Return the lengths (...) along lines and arcs."""
    return size(b - a) * stretches(bulge)


def circles(a: Floats, b: Floats, bulge: Floats) -> tuple[Floats, Floats]:
    """Return centres (..., 2) and radii (...) of arcs; infinite or not a number for straight lines.

    With b the bulge and s the chord the centre lies (1 - b²) / (4 b) · s to the left of the chord's middle and the radius is
    (1 + b²) / (4 |b|) · s: from sag = |b| s / 2 and the chord theorem.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        off = (1.0 - bulge * bulge) / (4.0 * bulge)
        centre = (a + b) / 2.0 + off[..., None] * left(b - a)
        return centre, (1.0 + bulge * bulge) / (4.0 * np.abs(bulge)) * size(b - a)


def points(a: Floats, b: Floats, bulge: Floats, share: Floats | float) -> Floats:
    """Return the places (..., 2) at shares (...) of lines and arcs.

    By half angles about the chord: exact at both ends, and without the centre, which is far away for flat arcs.
    """
    share = np.asarray(share)
    half = 2.0 * np.arctan(bulge)
    with np.errstate(divide="ignore", invalid="ignore"):
        along = np.where(half == 0.0, share, np.sin(share * half) / np.sin(half))
    tilt = (share - 1.0) * half
    chord = b - a
    return np.asarray(
        a + (along * np.cos(tilt))[..., None] * chord + (along * np.sin(tilt))[..., None] * left(chord)
    )


def middles(a: Floats, b: Floats, bulge: Floats) -> Floats:
    """Return the places (..., 2) half-way along: off the chord by half of it times the bulge, to its right."""
    return np.asarray((a + b) / 2.0 - 0.5 * bulge[..., None] * left(b - a))


def directions(a: Floats, b: Floats, bulge: Floats, share: Floats | float) -> Floats:
    """Return the unit vectors (..., 2) along lines and arcs at shares (...); not a number where the ends are one."""
    chord = b - a
    with np.errstate(divide="ignore", invalid="ignore"):
        unit = chord / size(chord)[..., None]
    tilt = (np.asarray(share) - 0.5) * sweeps(bulge)
    return np.asarray(np.cos(tilt)[..., None] * unit + np.sin(tilt)[..., None] * left(unit))


def bulge_between(bulge: Floats, first: Floats | float, last: Floats | float) -> Floats:
    """Return the bulges (...) of the parts between two shares."""
    return np.asarray(np.tan((np.asarray(last) - first) * np.arctan(bulge)))


def shares(place: Floats, a: Floats, b: Floats, bulge: Floats) -> Floats:
    """Return where along its line or circle each place (..., 2) stands: 0 at ``a``, 1 at ``b``, below and above beyond them.

    On a circle it is taken about the middle of the arc, so that both ends lie on the same side of the cut.
    """
    chord = b - a
    with np.errstate(divide="ignore", invalid="ignore"):
        straight = ((place - a) * chord).sum(axis=-1) / (chord * chord).sum(axis=-1)
        centre, _ = circles(a, b, bulge)
        arm, top = place - centre, middles(a, b, bulge) - centre
        turn = np.arctan2(cross(top, arm), (top * arm).sum(axis=-1))
        return np.asarray(np.where(bulge == 0.0, straight, 0.5 + turn / sweeps(bulge)))


def nearest(place: Floats, a: Floats, b: Floats, bulge: Floats) -> tuple[Floats, Floats]:
    """Return the share (...) and the place (..., 2) on each line or arc that is nearest to a place (..., 2)."""
    share = np.clip(np.nan_to_num(shares(place, a, b, bulge)), 0.0, 1.0)
    return share, points(a, b, bulge, share)


def distances(place: Floats, a: Floats, b: Floats, bulge: Floats) -> Floats:
    """Return how far each place (..., 2) is from its line or arc, ends included."""
    return size(place - nearest(place, a, b, bulge)[1])


def beside(place: Floats, a: Floats, b: Floats) -> Floats:
    """Return how far each place (..., 2) stands from the chord, times its length: positive to the left."""
    return cross(b - a, place - a)


def boxes(a: Floats, b: Floats, bulge: Floats) -> tuple[Floats, Floats]:
    """Return the lowest and the highest corners (..., 2) of upright boxes round lines and arcs."""
    low, high = np.minimum(a, b), np.maximum(a, b)
    if not np.any(bulge):
        return low, high
    centre, radius = circles(a, b, bulge)
    with np.errstate(invalid="ignore"):
        for axis, sign in ((0, 1.0), (0, -1.0), (1, 1.0), (1, -1.0)):
            tip = centre.copy()
            tip[..., axis] += sign * radius
            # On the circle, what lies beyond the chord on the bulging side belongs to the arc.
            on = beside(tip, a, b) * bulge < 0.0
            reach = np.where(on, tip[..., axis], a[..., axis])
            low[..., axis] = np.minimum(low[..., axis], reach)
            high[..., axis] = np.maximum(high[..., axis], reach)
    return low, high


def chord_counts(a: Floats, b: Floats, bulge: Floats, sag: float) -> Ints:
    """Return into how many equal chords (...) each arc has to be cut to stray by at most ``sag`` from them; 1 for lines."""
    _, radius = circles(a, b, bulge)
    with np.errstate(divide="ignore", invalid="ignore"):
        step = 2.0 * np.arccos(np.clip(1.0 - sag / radius, COARSEST, 1.0))
        count = np.where(bulge == 0.0, 1.0, np.ceil(np.abs(sweeps(bulge)) / step))
    return np.maximum(count, 1.0).astype(np.int64)


def chords(a: Floats, b: Floats, bulge: Floats, sag: float) -> tuple[Floats, Ints]:
    """Return points (m, 2) along lines and arcs (n,), each from ``a`` to before ``b``, and how many each has (n,)."""
    count = chord_counts(a, b, bulge, sag)
    owner = np.repeat(np.arange(len(count)), count)
    share = (np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)) / count[owner]
    return points(a[owner], b[owner], bulge[owner], share), count


def segment_areas(a: Floats, b: Floats, bulge: Floats) -> Floats:
    """Return the signed areas (...) between arcs and their chords, r² (φ - sin φ) / 2, positive for positive bulges."""
    _, radius = circles(a, b, bulge)
    sweep = sweeps(bulge)
    with np.errstate(invalid="ignore"):
        return np.where(bulge == 0.0, 0.0, 0.5 * radius**2 * (sweep - np.sin(sweep)))


def offsets(a: Floats, b: Floats, bulge: Floats, distance: Floats | float) -> tuple[Floats, Floats]:
    """Return the ends (..., 2) of lines and arcs moved to their left; an arc keeps its bulge.

    Moved by its radius or more towards its centre an arc turns inside out.
    """
    by = np.asarray(distance)[..., None]
    return a + by * left(directions(a, b, bulge, 0.0)), b + by * left(directions(a, b, bulge, 1.0))
