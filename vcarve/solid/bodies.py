"""What the bit takes away along one line, as corners and triangles of a closed body.

Everything round becomes chords.  Their ends lie on the true curve and the corners between stand out by so little that the
polygon has exactly its area: walls beside straight lines are exact, and so is the volume of each body at any tolerance.

Glossary
profile    half of the bit's outline, from its lowest point to where the cone's straight line begins: rows (radius, height)
section    what is taken away across a line of one depth: a convex polygon, rows (to the left, height), counter-clockwise
            seen from where the line leads
top        how far bodies reach above the piece's surface, so that no two of their faces lie in it
"""

from __future__ import annotations

import math

import numpy as np

from vcarve.groove.width import Cone, cone_line_mm
from vcarve.plane.arcs import circles, left, size, sweeps
from vcarve.plane.arrays import Floats, Ints

Mesh = tuple[Floats, Ints]  # corners (V, 3) and triangles (T, 3), counter-clockwise seen from outside

ABOVE_MM = 0.25
WIDEST_RAD = math.pi / 6.0  # that one chord may stand for
WHOLE_RAD = 2.0 * math.pi
STEEPEST = 0.95  # a groove narrows by so much per mm at most: beyond, its wider end holds all of it


def parted(sweep_rad: float, radius_mm: float, tolerance_mm: float) -> tuple[Floats, Floats]:
    """Return the turns (m + 1,) at which an arc has corners, and at how many times its radius (m + 1,); at its ends 1.

    No place of the chords is farther than the tolerance from the arc.
    """
    # Of what chords alone would stray, the corners between them take at most four thirds to the other side.
    step = (
        2.0 * math.acos(max(1.0 - 0.75 * tolerance_mm / radius_mm, -1.0)) if radius_mm > 0.0 else WIDEST_RAD
    )
    many = max(math.ceil(abs(sweep_rad) / min(step, WIDEST_RAD) - 1e-9), 2)
    each = abs(sweep_rad) / many
    # Triangles of the areas k sin / 2 at both ends and k^2 sin / 2 between are together many times each / 2.
    whole = many / float(np.sinc(each / math.pi))
    out = np.full(many + 1, whole / (1.0 + math.sqrt(1.0 + (many - 2) * whole)))
    out[[0, -1]] = 1.0
    return np.linspace(0.0, sweep_rad, many + 1), out


def stations(curve: Floats, tolerance_mm: float) -> tuple[Floats, Floats]:
    """Return a line's or an arc's (5,) corners (m + 1, 2), ends included, and their shares (m + 1,)."""
    if not curve[4]:
        return curve[:4].reshape(2, 2), np.array([0.0, 1.0])
    centre, radius = circles(curve)
    turn, out = parted(float(sweeps(curve)), float(radius), tolerance_mm)
    spots = centre + float(radius) * out[:, None] * _arms(curve[:2] - centre, turn)
    spots[[0, -1]] = curve[:2], curve[2:4]
    return spots, turn / turn[-1]


def _arms(first: Floats, turn: Floats) -> Floats:
    """Return directions (n, 2): that of a vector (2,), turned."""
    at = math.atan2(first[1], first[0]) + turn
    return np.column_stack([np.cos(at), np.sin(at)])


def profile(bit: Cone, tolerance_mm: float) -> Floats:
    """Return a bit's profile (n, 2)."""
    radius = bit.tip_radius_mm
    if not radius:
        return np.array([(bit.tip_mm / 2.0, 0.0)])
    # Finer than asked for: a shallow groove is all tip.
    turn, out = parted(math.pi / 2.0 - math.radians(bit.angle_deg) / 2.0, radius, tolerance_mm / 10.0)
    return np.column_stack([radius * out * np.sin(turn), radius * (1.0 - out * np.cos(turn))])


def rising(bit: Cone, half: Floats, depth_mm: float) -> Floats:
    """Return a profile (n, 2) at a depth and up to the top: heights above the surface, and a row more (n + 1, 2)."""
    start, more = cone_line_mm(bit)
    top = ABOVE_MM + half[-1, 1]  # above what is round, so that all widths change evenly there
    return np.vstack([half - (0.0, depth_mm), (start / 2.0 + more / 2.0 * (depth_mm + top), top)])


def swept(line: Floats, raised: Floats, tolerance_mm: float) -> Mesh | None:
    """Return what is taken away along places (n, 2) of a line or along an arc (5,), at one depth, ending flat.

    ``None`` for an arc too tight for that.

    ``raised`` is the profile at that depth, see ``rising``.
    """
    section = np.vstack([raised, raised[::-1] * (-1.0, 1.0)])
    section = section[(section != np.roll(section, 1, axis=0)).any(axis=1)]  # a sharp tip is one corner
    if line.ndim == 1:
        centre, arc_mm = circles(line)
        widest, sweep = float(arc_mm) + raised[-1, 0], float(sweeps(line))
        if widest > 1.98 * float(arc_mm):
            return None
        turn, out = parted(sweep, widest, tolerance_mm)
        reach = out[:, None] * (float(arc_mm) - math.copysign(1.0, sweep) * section[:, 0])
        spots = centre + reach[..., None] * _arms(line[:2] - centre, turn)[:, None]
    else:
        along = line[-1] - line[0]
        spots = line[:, None] + section[:, :1] * left(along) / size(along)
    many, round_ = spots.shape[:2]
    corner = np.concatenate([spots, np.broadcast_to(section[:, 1:], (many, round_, 1))], axis=2)
    one = np.arange(round_)
    a, b = (np.arange(many - 1)[:, None] * round_ + step for step in (one, np.roll(one, -1)))
    sides = [
        np.stack(three, axis=-1).reshape(-1, 3) for three in ((a, b, b + round_), (a, b + round_, a + round_))
    ]
    end = np.column_stack([np.zeros(round_ - 2, np.int64), one[1:-1], one[2:]])
    return corner.reshape(-1, 3), np.vstack([*sides, end[:, ::-1], end + (many - 1) * round_])


def standing(at_mm: Floats, raised: Floats, arc: tuple[float, float], tolerance_mm: float) -> Floats:
    """Return the corners (n, 3) of the bit standing at a place (2,), as round as it is from one turn on and so far farther.

    What is left of it is less than the bit, by one corner that lies half as far out.
    """
    first, sweep = arc
    turn, out = parted(sweep, raised[-1, 0], tolerance_mm)
    if sweep < WHOLE_RAD:
        turn, out = np.append(turn, sweep / 2.0 + math.pi), np.append(out, 0.5)
    spots = at_mm + raised[:, :1, None] * out[:, None] * np.column_stack(
        [np.cos(first + turn), np.sin(first + turn)]
    )
    heights = np.broadcast_to(raised[:, None, 1:], (*spots.shape[:2], 1))
    return np.concatenate([spots, heights], axis=2).reshape(-1, 3)


def leaning(a_mm: Floats, b_mm: Floats, raised: tuple[Floats, Floats], tolerance_mm: float) -> Floats:
    """Return corners (n, 3) whose hull is what is taken away along a straight line that slopes, round at both ends."""
    chord = b_mm - a_mm
    narrower = (raised[0][-1, 0] - raised[1][-1, 0]) / max(float(size(chord)), 1e-9)
    arcs = [(0.0, WHOLE_RAD), (0.0, WHOLE_RAD)]
    if abs(narrower) < STEEPEST:
        # The walls touch both ends where they face out: square to the line where both are as wide, else towards the narrower.
        toward, facing = math.atan2(chord[1], chord[0]), math.acos(narrower)
        arcs = [(toward + facing, WHOLE_RAD - 2.0 * facing), (toward - facing, 2.0 * facing)]
    ends = zip((a_mm, b_mm), raised, arcs, strict=True)
    return np.vstack([standing(at, one, arc, tolerance_mm) for at, one, arc in ends])
