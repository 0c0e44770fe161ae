"""Single lines and arcs: making, moving, cutting and joining them."""

from __future__ import annotations

import math
from itertools import pairwise

from vcarve.pattern.model import Line, Point
from vcarve.pattern.symmetry import Isometry


def arcs(centre: Point, radius: float, from_deg: float, to_deg: float, feature: int) -> list[Line]:
    """Return the counter-clockwise arc between two directions, in equal pieces of at most half a circle.

    ``to_deg`` must be larger than ``from_deg``, by 360 at most.
    """
    sweep = to_deg - from_deg
    count = max(1, math.ceil(sweep / 180.0 - 1e-12))
    bulge = math.tan(math.radians(sweep / count / 4.0))
    if abs(sweep / count - 180.0) < 1e-9:
        bulge = 1.0
    places = [_on_circle(centre, radius, from_deg + sweep * step / count) for step in range(count + 1)]
    return [Line(start=start, end=end, bulge=bulge, feature=feature) for start, end in pairwise(places)]


def _on_circle(centre: Point, radius: float, angle_deg: float) -> Point:
    quarter = angle_deg / 90.0
    if abs(quarter - round(quarter)) < 1e-12:
        dx, dy = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarter) % 4]
    else:
        dx, dy = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return (centre[0] + radius * dx, centre[1] + radius * dy)


def moved(line: Line, move: Isometry) -> Line:
    """Return the line's image; a map that flips hands turns an arc the other way."""
    bulge = -line.bulge if move.flips else line.bulge
    return Line(start=move(line.start), end=move(line.end), bulge=bulge, feature=line.feature)


def shifted(line: Line, dx: float, dy: float) -> Line:
    """Return the line moved by (dx, dy)."""
    return Line(
        start=(line.start[0] + dx, line.start[1] + dy),
        end=(line.end[0] + dx, line.end[1] + dy),
        bulge=line.bulge,
        feature=line.feature,
    )


def turned(line: Line) -> Line:
    """Return the same line walked the other way."""
    return Line(start=line.end, end=line.start, bulge=-line.bulge, feature=line.feature)


def centre(line: Line) -> Point:
    """Return the centre of an arc (``bulge`` not 0)."""
    (x1, y1), (x2, y2) = line.start, line.end
    lift = (1.0 - line.bulge * line.bulge) / (4.0 * line.bulge)
    return ((x1 + x2) / 2.0 - lift * (y2 - y1), (y1 + y2) / 2.0 + lift * (x2 - x1))


def radius(line: Line) -> float:
    """Return the radius of an arc (``bulge`` not 0)."""
    bulge = abs(line.bulge)
    return math.dist(line.start, line.end) * (1.0 + bulge * bulge) / (4.0 * bulge)


def sweep(line: Line) -> float:
    """Return the signed angle an arc turns by, in radians."""
    return 4.0 * math.atan(line.bulge)


def point_at(line: Line, share: float) -> Point:
    """Return the point at a share (0 to 1) of the line's length."""
    (x1, y1), (x2, y2) = line.start, line.end
    if line.bulge == 0.0:
        return (x1 + share * (x2 - x1), y1 + share * (y2 - y1))
    # Half-angle form about the chord: exact at both ends and without the centre, which is far away for flat arcs.
    angle = sweep(line)
    along = math.sin(share * angle / 2.0) / math.sin(angle / 2.0)
    tilt = (share - 1.0) * angle / 2.0
    cosine, sine = along * math.cos(tilt), along * math.sin(tilt)
    dx, dy = x2 - x1, y2 - y1
    return (x1 + cosine * dx - sine * dy, y1 + cosine * dy + sine * dx)


def direction_at(line: Line, share: float) -> Point:
    """Return the unit vector along the line at a share of its length."""
    dx, dy = line.end[0] - line.start[0], line.end[1] - line.start[1]
    chord = math.hypot(dx, dy)
    tilt = (share - 0.5) * sweep(line)
    cosine, sine = math.cos(tilt) / chord, math.sin(tilt) / chord
    return (cosine * dx - sine * dy, cosine * dy + sine * dx)


def part(line: Line, first: float, last: float) -> Line:
    """Return the part of the line between two shares of its length."""
    bulge = math.tan((last - first) * math.atan(line.bulge)) if line.bulge else 0.0
    start = line.start if first == 0.0 else point_at(line, first)
    end = line.end if last == 1.0 else point_at(line, last)
    return Line(start=start, end=end, bulge=bulge, feature=line.feature)


def share_of(line: Line, point: Point) -> float:
    """Return where along the line a point on its carrier lies, as a share (below 0 or above 1: outside).

    On an arc the share is measured from the arc's middle and lies within half a circle either way.
    """
    (x1, y1), (x2, y2) = line.start, line.end
    if line.bulge == 0.0:
        dx, dy = x2 - x1, y2 - y1
        return ((point[0] - x1) * dx + (point[1] - y1) * dy) / (dx * dx + dy * dy)
    x, y = centre(line)
    middle = point_at(line, 0.5)
    mx, my, px, py = middle[0] - x, middle[1] - y, point[0] - x, point[1] - y
    angle = math.atan2(mx * py - my * px, mx * px + my * py)
    return 0.5 + angle / sweep(line)


def joined(first: Line, second: Line) -> Line | None:
    """Return one line for two that meet end to start, or ``None`` where they do not continue each other.

    ``first.end`` must be ``second.start``.  Arcs are joined up to half a circle.
    """
    feature = first.feature
    if feature != second.feature or (first.bulge == 0.0) != (second.bulge == 0.0):
        return None
    ahead, onward = direction_at(first, 1.0), direction_at(second, 0.0)
    cross = ahead[0] * onward[1] - ahead[1] * onward[0]
    if abs(cross) > 1e-9 or ahead[0] * onward[0] + ahead[1] * onward[1] < 0.0:
        return None
    if first.bulge == 0.0:
        return Line(start=first.start, end=second.end, feature=feature)
    half = math.atan(first.bulge) + math.atan(second.bulge)
    same = abs(radius(first) - radius(second)) <= 1e-9 * radius(first)
    if first.bulge * second.bulge < 0.0 or not same or abs(half) > math.pi / 4.0 + 1e-12:
        return None
    bulge = math.copysign(1.0, half) if abs(abs(half) - math.pi / 4.0) < 1e-12 else math.tan(half)
    return Line(start=first.start, end=second.end, bulge=bulge, feature=feature)
