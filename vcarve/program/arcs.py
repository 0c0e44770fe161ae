"""Arc geometry: from the words of a G2 or G3 line to a centre and a signed angle.

Every function works in the arc's plane with axes (u, v) such that positive angles are counter-clockwise seen from the
plane's positive normal: XY for G17, ZX for G18, YZ for G19 (NISTIR 6556 §2.1.2.6, §3.5.3).  What cannot be an arc is
answered with a sentence instead of a result.
"""

from __future__ import annotations

from math import atan2, hypot, pi, sqrt

from vcarve.program.grammar import LEAST_RADIUS_MM, Dialect

# Plane code -> index of (u, v, normal) among X, Y, Z.
PLANE_AXES = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}


def sweep_rad(
    *,
    start: tuple[float, float],
    end: tuple[float, float],
    centre: tuple[float, float],
    clockwise: bool,
    full_rad: float,
) -> float:
    """The signed angle from start to end about the centre; equal ends, or nearer than ``full_rad``, are a full turn."""
    if start == end:
        return -2.0 * pi if clockwise else 2.0 * pi
    angle = atan2(end[1] - centre[1], end[0] - centre[0]) - atan2(start[1] - centre[1], start[0] - centre[0])
    if clockwise:
        angle = -angle
    angle %= 2.0 * pi
    if angle <= full_rad:
        angle += 2.0 * pi
    return -angle if clockwise else angle


def centre_arc(
    *,
    start: tuple[float, float],
    end: tuple[float, float],
    centre: tuple[float, float],
    clockwise: bool,
    inch: bool,
    dialect: Dialect,
) -> float | str:
    """The signed sweep of an arc given by its centre (§3.5.3.2), or why it is none."""
    first = hypot(start[0] - centre[0], start[1] - centre[1])
    last = hypot(end[0] - centre[0], end[1] - centre[1])
    if first < LEAST_RADIUS_MM or last < LEAST_RADIUS_MM:
        return "the arc's radius is zero"
    slack = dialect.arc_slack_inch_mm if inch else dialect.arc_slack_mm
    gap = abs(first - last)
    # The last nanometre is rounding in the decimal words themselves, not in the arc.
    if gap > slack * dialect.arc_slack_far + 1e-9 or (
        gap > slack + 1e-9 and gap > dialect.arc_slack_share * max(first, last)
    ):
        return (
            f"the arc does not close: its radius is {first:.5f} mm at the start and {last:.5f} mm at the end"
        )
    return sweep_rad(
        start=start, end=end, centre=centre, clockwise=clockwise, full_rad=dialect.full_circle_rad
    )


def radius_arc(
    *,
    start: tuple[float, float],
    end: tuple[float, float],
    radius_mm: float,
    clockwise: bool,
    slack_mm: float,
) -> tuple[tuple[float, float], float] | str:
    """Centre and signed sweep of an arc given by its radius (§3.5.3.1), or why it is none.

    A positive radius takes the arc of at most half a turn, a negative one the other.  ``slack_mm`` is how much the
    radius may fall short of half the chord; the arc is then half a turn.
    """
    du, dv = end[0] - start[0], end[1] - start[1]
    half = 0.5 * hypot(du, dv)
    if half == 0.0:
        return "an arc given by its radius must end elsewhere than it starts"
    size = abs(radius_mm)
    if size < LEAST_RADIUS_MM:
        return "the arc's radius is zero"
    if half - size > slack_mm:
        return f"the radius is too short: the ends are {2.0 * half:.5f} mm apart"
    rise = sqrt(max(size * size - half * half, 0.0))
    # The centre lies to the right of the chord for a short clockwise arc, to the left for a short counter-clockwise one.
    side = -1.0 if clockwise == (radius_mm > 0.0) else 1.0
    centre = (
        start[0] + 0.5 * du - side * rise * dv / (2.0 * half),
        start[1] + 0.5 * dv + side * rise * du / (2.0 * half),
    )
    return centre, sweep_rad(start=start, end=end, centre=centre, clockwise=clockwise, full_rad=0.0)
