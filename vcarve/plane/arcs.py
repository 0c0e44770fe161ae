"""Lines and circular arcs, many at once.

A curve is a row of five numbers: x and y of its start, x and y of its end, and its bulge.  Functions take curves (..., 5) and
answer in the same shape, so one is asked like a million.

Glossary
bulge      tan(sweep / 4): 0 is a straight line, 1 half a circle; the sweep is positive counter-clockwise
share      how far along a line or an arc, from 0 at its start to 1 at its end, evenly by its length
sag        the largest distance between an arc and a chord of it
"""

from __future__ import annotations

from math import pi

import numpy as np

from vcarve.plane.arrays import Floats, Ints

Point = tuple[float, float]

TURN = 2.0 * pi
COARSEST = 0.5**0.5  # cosine of half of what one chord may stand for: a quarter of a turn
BACK = np.array([2, 3, 0, 1, 4])
HANDS = np.array([1.0, 1.0, 1.0, 1.0, -1.0])


def left(vector: Floats) -> Floats:
    """Return vectors (..., 2) turned left by a quarter of a turn."""
    return np.stack([-vector[..., 1], vector[..., 0]], axis=-1)


def cross(u: Floats, v: Floats) -> Floats:
    """Return the cross products of vectors (..., 2): positive where ``v`` points to the left of ``u``."""
    return np.asarray(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0])


def size(vector: Floats) -> Floats:
    """Return the lengths of vectors (..., 2)."""
    return np.asarray(np.hypot(vector[..., 0], vector[..., 1]))


def curves(a: Floats, b: Floats, bulge: Floats) -> Floats:
    """Return the curves (..., 5) between places (..., 2) with these bulges (...)."""
    return np.concatenate([a, b, np.asarray(bulge)[..., None]], axis=-1)


def turned(curve: Floats) -> Floats:
    """Return the same curves walked the other way."""
    return np.asarray(curve[..., BACK] * HANDS)


def mapped(curve: Floats, matrix: Floats, shift: Floats | Point = (0.0, 0.0)) -> Floats:
    """Return curves (..., 5) turned, mirrored or scaled evenly by a matrix (2, 2) for row vectors, then shifted."""
    start, end = (curve[..., k : k + 2] @ matrix + np.asarray(shift) for k in (0, 2))
    return curves(start, end, np.sign(np.linalg.det(matrix)) * curve[..., 4])


def _given(curve: Floats) -> tuple[Floats, Floats, Floats]:
    """Return start, chord and bulge."""
    return curve[..., :2], curve[..., 2:4] - curve[..., :2], curve[..., 4]


def sweeps(curve: Floats) -> Floats:
    """Return the signed angles (...), in radians, by which curves turn."""
    return 4.0 * np.arctan(curve[..., 4])


def stretches(bulge: Floats) -> Floats:
    """Return by how much (...) arcs are longer than their chords: half the sweep over its sine, 1 for straight lines."""
    # numpy's sinc(x) is sin(pi x) / (pi x).
    return np.asarray(1.0 / np.sinc(2.0 * np.arctan(bulge) / pi))


def lengths(curve: Floats) -> Floats:
    """Return the lengths (...) along curves."""
    _, chord, bulge = _given(curve)
    return size(chord) * stretches(bulge)


def circles(curve: Floats) -> tuple[Floats, Floats]:
    """Return centres (..., 2) and radii (...) of arcs; infinite or not a number for straight lines.

    With b the bulge and s the chord the centre lies (1 - b²) / (4 b) · s to the left of the chord's middle and the radius is
    (1 + b²) / (4 |b|) · s: from sag = |b| s / 2 and the chord theorem.
    """
    a, chord, bulge = _given(curve)
    with np.errstate(divide="ignore", invalid="ignore"):
        off = (1.0 - bulge * bulge) / (4.0 * bulge)
        centre = (a + curve[..., 2:4]) / 2.0 + off[..., None] * left(chord)
        return centre, (1.0 + bulge * bulge) / (4.0 * np.abs(bulge)) * size(chord)


def points(curve: Floats, share: Floats | float) -> Floats:
    """Return the places (..., 2) at shares (...) of curves.

    By half angles about the chord: exact at both ends, and without the centre, which is far away for flat arcs.
    """
    a, chord, bulge = _given(curve)
    share = np.asarray(share)
    half = 2.0 * np.arctan(bulge)
    if half.any():
        with np.errstate(divide="ignore", invalid="ignore"):
            along = np.where(half == 0.0, share, np.sin(share * half) / np.sin(half))
        tilt = (share - 1.0) * half
        onward, aside = along * np.cos(tilt), along * np.sin(tilt)
        place = a + onward[..., None] * chord + aside[..., None] * left(chord)
    else:
        place = a + share[..., None] * chord
    return np.where((share == 1.0)[..., None], curve[..., 2:4], place)


def middles(curve: Floats) -> Floats:
    """Return the places (..., 2) half-way along: off the chord by half of it times the bulge, to its right."""
    a, chord, bulge = _given(curve)
    return np.asarray((a + curve[..., 2:4]) / 2.0 - 0.5 * bulge[..., None] * left(chord))


def directions(curve: Floats, share: Floats | float) -> Floats:
    """Return the unit vectors (..., 2) along curves at shares (...); not a number where the ends are one."""
    _, chord, _ = _given(curve)
    with np.errstate(divide="ignore", invalid="ignore"):
        unit = chord / size(chord)[..., None]
    tilt = (np.asarray(share) - 0.5) * sweeps(curve)
    return np.asarray(np.cos(tilt)[..., None] * unit + np.sin(tilt)[..., None] * left(unit))


def bulge_between(bulge: Floats, first: Floats | float, last: Floats | float) -> Floats:
    """Return the bulges (...) of the parts between two shares."""
    return np.asarray(np.tan((np.asarray(last) - first) * np.arctan(bulge)))


def parts(curve: Floats, first: Floats | float, last: Floats | float) -> Floats:
    """Return the parts (..., 5) of curves between two shares."""
    return curves(points(curve, first), points(curve, last), bulge_between(curve[..., 4], first, last))


def cut(curve: Floats, share: Floats, least: float) -> Floats:
    """Return one curve (5,) cut at shares (n,) as curves (m, 5); cuts no farther than ``least`` from each other are one."""
    kept = [0.0]
    for stop in np.unique(share).tolist():
        if stop - kept[-1] > least and 1.0 - stop > least:
            kept.append(stop)
    if len(kept) == 1:
        return curve[None]
    stops = np.array([*kept, 1.0])
    return parts(np.broadcast_to(curve, (len(kept), 5)), stops[:-1], stops[1:])


def halved(curve: Floats) -> tuple[Floats, Ints]:
    """Return curves (n, 5) with each that turns by more than half a circle in two halves, and which each row is a part of."""
    wide = np.abs(curve[:, 4]) > 1.0 + 1e-9
    source = np.repeat(np.arange(len(curve)), np.where(wide, 2, 1))
    rows = curve[source]
    first = np.flatnonzero(wide) + np.arange(np.count_nonzero(wide))
    rows[first, 2:4] = rows[first + 1, :2] = middles(curve[wide])
    rows[first, 4] = rows[first + 1, 4] = bulge_between(curve[wide, 4], 0.0, 0.5)
    return rows, source


def joined(first: Floats, second: Floats, tolerance: float) -> float | None:
    """Return the bulge of the one curve that two (5,) make where the second begins at the first's end, up to half a circle.

    ``None`` where they do not go on from each other: direction and turn per length may differ by the tolerance, in radians
    and of one over the chord.
    """
    both = np.stack([first, turned(second)])
    u, v = directions(both, 1.0)
    chord, half = size(both[:, 2:4] - both[:, :2]), np.arctan(both[:, 4]) * (1.0, -1.0)
    turn = 2.0 * np.sin(2.0 * half) / chord
    whole = float(half.sum())
    straight = abs(cross(u, v)) <= tolerance and (u * v).sum() < 0.0
    alike = bool(first[4]) == bool(second[4]) and abs(turn[0] - turn[1]) * chord.max() <= tolerance
    if not straight or not alike or abs(whole) > pi / 4.0 + tolerance:
        return None
    return float(np.copysign(1.0, whole) if abs(abs(whole) - pi / 4.0) < 1e-12 else np.tan(whole))


def shares(place: Floats, curve: Floats) -> Floats:
    """Return where along its line or circle each place (..., 2) stands: 0 at the start, 1 at the end, also beyond them.

    On a circle it is taken about the middle of the arc, so that both ends lie on the same side of the cut.
    """
    a, chord, bulge = _given(curve)
    with np.errstate(divide="ignore", invalid="ignore"):
        straight = ((place - a) * chord).sum(axis=-1) / (chord * chord).sum(axis=-1)
        if not bulge.any():
            return np.asarray(straight)
        centre, _ = circles(curve)
        arm, top = place - centre, middles(curve) - centre
        turn = np.arctan2(cross(top, arm), (top * arm).sum(axis=-1))
        return np.asarray(np.where(bulge == 0.0, straight, 0.5 + turn / sweeps(curve)))


def nearest(place: Floats, curve: Floats) -> tuple[Floats, Floats]:
    """Return the share (...) and the place (..., 2) on each curve that is nearest to a place (..., 2)."""
    share = np.clip(np.nan_to_num(shares(place, curve)), 0.0, 1.0)
    return share, points(curve, share)


def distances(place: Floats, curve: Floats) -> Floats:
    """Return how far each place (..., 2) is from its curve, ends included."""
    return size(place - nearest(place, curve)[1])


def beside(place: Floats, curve: Floats) -> Floats:
    """Return how far each place (..., 2) stands from the chord, times its length: positive to the left."""
    a, chord, _ = _given(curve)
    return cross(chord, place - a)


def boxes(curve: Floats) -> Floats:
    """Return upright boxes (..., 4) round curves: lowest x, lowest y, highest x, highest y."""
    a, b = curve[..., :2], curve[..., 2:4]
    low, high = np.minimum(a, b), np.maximum(a, b)
    bent = curve[..., 4] != 0.0
    if bent.any():
        arc = curve[bent]
        centre, radius = circles(arc)
        for axis, sign in ((0, 1.0), (0, -1.0), (1, 1.0), (1, -1.0)):
            tip = centre.copy()
            tip[..., axis] += sign * radius
            # On the circle, what lies beyond the chord on the bulging side belongs to the arc.
            on = beside(tip, arc) * arc[..., 4] < 0.0
            side, best = (high, np.maximum) if sign > 0.0 else (low, np.minimum)
            side[bent, axis] = best(side[bent, axis], np.where(on, tip[..., axis], arc[..., axis]))
    return np.concatenate([low, high], axis=-1)


def chord_counts(curve: Floats, sag: float) -> Ints:
    """Return into how many equal chords (...) each arc has to be cut to stray by at most ``sag`` from them; 1 for lines."""
    _, radius = circles(curve)
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        step = 2.0 * np.arccos(np.clip(1.0 - sag / radius, COARSEST, 1.0))
        count = np.where(curve[..., 4] == 0.0, 1.0, np.ceil(np.abs(sweeps(curve)) / step))
    return np.maximum(count, 1.0).astype(np.int64)


def ranges(starts: Ints, ends: Ints) -> Ints:
    """Return the numbers of all half-open ranges, one range after the other."""
    sizes = ends - starts
    before = np.cumsum(sizes) - sizes
    return np.asarray(np.arange(sizes.sum(), dtype=np.int64) + np.repeat(starts - before, sizes))


def evenly(count: Ints) -> tuple[Ints, Floats]:
    """Return where to cut curves (n,) into ``count`` (n,) equal parts: the curve of each part (m,) and the share it starts at."""
    owner = np.repeat(np.arange(len(count)), count)
    return owner, ranges(np.zeros_like(count), count) / count[owner]


def chords(curve: Floats, sag: float) -> tuple[Floats, Ints]:
    """Return points (m, 2) along curves (n, 5), each from its start to before its end, and how many each has (n,)."""
    count = chord_counts(curve, sag)
    owner, share = evenly(count)
    return points(curve[owner], share), count


def segment_areas(curve: Floats) -> Floats:
    """Return the signed areas (...) between arcs and their chords, r² (φ - sin φ) / 2, positive for positive bulges."""
    _, radius = circles(curve)
    sweep = sweeps(curve)
    with np.errstate(invalid="ignore"):
        return np.where(curve[..., 4] == 0.0, 0.0, 0.5 * radius**2 * (sweep - np.sin(sweep)))


def offsets(curve: Floats, distance: Floats | float) -> Floats:
    """Return curves (..., 5) moved to their left; an arc keeps its bulge.

    Moved by its radius or more towards its centre an arc turns inside out.
    """
    by = np.asarray(distance)[..., None]
    start, end = (left(directions(curve, share)) for share in (0.0, 1.0))
    return curves(curve[..., :2] + by * start, curve[..., 2:4] + by * end, curve[..., 4])
