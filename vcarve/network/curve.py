"""One line or arc at a time: where two of them meet, and what a piece of one looks like.

A curve is ``(x0, y0, x1, y1, bulge)``; a parameter runs from 0 at its start to 1 at its end, evenly along the length.
Everything here is plain plane geometry: line by line, line by circle, circle by circle.
"""

from __future__ import annotations

import math

Curve = tuple[float, float, float, float, float]
Point = tuple[float, float]

TURN = 2.0 * math.pi


def centre_radius(curve: Curve) -> tuple[float, float, float]:
    """Return centre and radius of an arc (its bulge must not be 0)."""
    x0, y0, x1, y1, bulge = curve
    half_sweep = 2.0 * math.atan(bulge)
    dx, dy = x1 - x0, y1 - y0
    off = 0.5 / math.tan(half_sweep)
    cx = 0.5 * (x0 + x1) - dy * off
    cy = 0.5 * (y0 + y1) + dx * off
    return cx, cy, math.hypot(dx, dy) / (2.0 * abs(math.sin(half_sweep)))


def point_at(curve: Curve, t: float) -> Point:
    """Return the point at parameter ``t``."""
    x0, y0, x1, y1, bulge = curve
    if bulge == 0.0:
        return x0 + t * (x1 - x0), y0 + t * (y1 - y0)
    cx, cy, radius = centre_radius(curve)
    angle = math.atan2(y0 - cy, x0 - cx) + 4.0 * math.atan(bulge) * t
    return cx + radius * math.cos(angle), cy + radius * math.sin(angle)


def part_bulge(bulge: float, t0: float, t1: float) -> float:
    """Return the bulge of the part between two parameters of a curve with this bulge."""
    return math.tan(math.atan(bulge) * (t1 - t0)) if bulge else 0.0


def halves(curve: Curve) -> tuple[Curve, ...]:
    """Return the curve, or its two halves where it turns by more than half a circle: a network's arcs turn by that at most."""
    if abs(curve[4]) <= 1.0 + 1e-9:
        return (curve,)
    middle, bulge = point_at(curve, 0.5), part_bulge(curve[4], 0.0, 0.5)
    return (curve[0], curve[1], *middle, bulge), (*middle, curve[2], curve[3], bulge)


def bounds(curve: Curve) -> tuple[float, float, float, float]:
    """Return the smallest upright box round a curve: x low, y low, x high, y high."""
    x0, y0, x1, y1, bulge = curve
    xs, ys = [x0, x1], [y0, y1]
    if bulge:
        cx, cy, radius = centre_radius(curve)
        start = math.atan2(y0 - cy, x0 - cx)
        sweep = 4.0 * math.atan(bulge)
        for quarter in range(4):
            angle = quarter * math.pi / 2.0
            ahead = (angle - start) % TURN if sweep > 0 else (start - angle) % TURN
            if ahead < abs(sweep):
                xs.append(cx + radius * math.cos(angle))
                ys.append(cy + radius * math.sin(angle))
    return min(xs), min(ys), max(xs), max(ys)


def length(curve: Curve) -> float:
    """Return the length along a curve."""
    x0, y0, x1, y1, bulge = curve
    chord = math.hypot(x1 - x0, y1 - y0)
    if bulge == 0.0:
        return chord
    half = 2.0 * math.atan(abs(bulge))
    return chord * half / math.sin(half)


def parameter(
    curve: Curve, point: Point, tolerance: float, circle: tuple[float, float, float] | None = None
) -> float | None:
    """Return the parameter of a point that lies on the curve within ``tolerance``, else ``None``.

    ``circle`` is the centre and radius of an arc where the caller has them.
    """
    x0, y0, x1, y1, bulge = curve
    px, py = point
    if math.hypot(px - x0, py - y0) <= tolerance:
        return 0.0
    if math.hypot(px - x1, py - y1) <= tolerance:
        return 1.0
    if bulge == 0.0:
        dx, dy = x1 - x0, y1 - y0
        span = math.hypot(dx, dy)
        if abs(dx * (py - y0) - dy * (px - x0)) > tolerance * span:
            return None
        t = ((px - x0) * dx + (py - y0) * dy) / (span * span)
    else:
        cx, cy, radius = circle or centre_radius(curve)
        if abs(math.hypot(px - cx, py - cy) - radius) > tolerance:
            return None
        turn = math.atan2(py - cy, px - cx) - math.atan2(y0 - cy, x0 - cx)
        ahead = turn % TURN if bulge > 0 else (-turn) % TURN
        t = ahead / (4.0 * math.atan(abs(bulge)))
    return t if 0.0 < t < 1.0 else None


def _line_line(a: Curve, b: Curve) -> list[Point]:
    ux, uy = a[2] - a[0], a[3] - a[1]
    vx, vy = b[2] - b[0], b[3] - b[1]
    cross = ux * vy - uy * vx
    if abs(cross) <= 1e-9 * math.hypot(ux, uy) * math.hypot(vx, vy):
        return []  # parallel: what they share begins and ends at their own ends
    t = ((b[0] - a[0]) * vy - (b[1] - a[1]) * vx) / cross
    return [(a[0] + t * ux, a[1] + t * uy)]


def _line_circle(line: Curve, cx: float, cy: float, radius: float, tolerance: float) -> list[Point]:
    ux, uy = line[2] - line[0], line[3] - line[1]
    span = math.hypot(ux, uy)
    ux, uy = ux / span, uy / span
    along = (cx - line[0]) * ux + (cy - line[1]) * uy
    fx, fy = line[0] + along * ux, line[1] + along * uy  # foot of the perpendicular
    distance = math.hypot(cx - fx, cy - fy)
    if distance > radius + tolerance:
        return []
    if distance > radius - tolerance:
        return [(fx, fy)]
    half = math.sqrt(radius * radius - distance * distance)
    return [(fx - half * ux, fy - half * uy), (fx + half * ux, fy + half * uy)]


def _circle_circle(
    ax: float, ay: float, ar: float, bx: float, by: float, br: float, tolerance: float
) -> list[Point]:
    dx, dy = bx - ax, by - ay
    distance = math.hypot(dx, dy)
    if distance <= tolerance:
        return []  # same centre: the same circle, or none in common
    if distance > ar + br + tolerance or distance < abs(ar - br) - tolerance:
        return []
    ux, uy = dx / distance, dy / distance
    if distance > ar + br - tolerance:
        return [(ax + ar * ux, ay + ar * uy)]
    if distance < abs(ar - br) + tolerance:
        side = 1.0 if ar > br else -1.0
        return [(ax + side * ar * ux, ay + side * ar * uy)]
    along = (distance * distance + ar * ar - br * br) / (2.0 * distance)
    half = math.sqrt(max(ar * ar - along * along, 0.0))
    fx, fy = ax + along * ux, ay + along * uy
    return [(fx - half * uy, fy + half * ux), (fx + half * uy, fy - half * ux)]


def meetings(
    a: Curve, b: Curve, tolerance: float, reach: float | None = None
) -> list[tuple[Point, float, float]]:
    """Return every point where two curves meet, with its parameter on each.

    Ends that lie on the other curve within ``reach`` (``tolerance`` where none is given) count, so curves that share a stretch
    give the ends of that stretch.
    """
    found: list[tuple[Point, float, float]] = []
    reach = tolerance if reach is None else reach
    round_a = centre_radius(a) if a[4] else None
    round_b = centre_radius(b) if b[4] else None

    def take(point: Point, ta: float | None, tb: float | None, near: float) -> None:
        if ta is None or tb is None:
            return
        for other, _, _ in found:
            if math.hypot(point[0] - other[0], point[1] - other[1]) <= near:
                return
        found.append((point, ta, tb))

    # Ends first: they are exact, and a crossing found next to one is the same place.
    for end, own in ((a[0:2], 0.0), (a[2:4], 1.0)):
        take(end, own, parameter(b, end, reach, round_b), reach)
    for end, own in ((b[0:2], 0.0), (b[2:4], 1.0)):
        take(end, parameter(a, end, reach, round_a), own, reach)
    if round_a is None:
        points = _line_line(a, b) if round_b is None else _line_circle(a, *round_b, tolerance)
    elif round_b is None:
        points = _line_circle(b, *round_a, tolerance)
    else:
        points = _circle_circle(*round_a, *round_b, tolerance)
    for point in points:
        ta = parameter(a, point, tolerance, round_a)
        if ta is not None:
            take(point, ta, parameter(b, point, tolerance, round_b), tolerance)
    return found
