"""How wide a V-bit cuts at a depth, and how deep it must go for a width.

Only ``math`` is needed here, so the bench question can be answered at once.  Plane trigonometry throughout,
with ``h`` half of the full included angle:

flat tip      ``w = t + 2 d tan h``; a sharp bit has ``t = 0``.  Turned round, ``d = (w - t) / (2 tan h)`` is
              the depth rule published for countersinks and cut-off points, ``(D - T) / 2 * cot(h)``.
rounded tip   a circle of radius ``r`` tangent to the cone.  They touch at the depth ``r (1 - sin h)``; above
              it the bit is a ball, ``w = 2 sqrt(2 r d - d^2)``, below it
              ``w = 2 (d tan h + r (1 / cos h - tan h))``.
beyond        deeper than its cone the bit's walls are upright and ``w`` stays the cutting diameter.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from vcarve.errors import InputError
from vcarve.quantity import format_mm

if TYPE_CHECKING:
    from vcarve.job.bench import Bit, Uncertainty

# A depth or a width this near to the end of its range (mm) counts as the end itself: far below what a bench
# can measure, far above what floating point loses on the way.
SLACK_MM = 1e-9
HEIGHT_ERROR_MM = 0.1  # the error in height of which people are told what it does to the width


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How far a bit's figures may be off either way: half of 95 % intervals, and the correlation of angle and tip."""

    angle_deg: float = 0.0
    tip_mm: float = 0.0
    correlation: float = 0.0
    height_mm: float = 0.0  # of the zero, whenever it is set


@dataclass(frozen=True, slots=True, kw_only=True)
class VBit:
    """A V-bit's shape without anything else; an endless cone unless a diameter is given."""

    angle_deg: float  # full included angle
    diameter_mm: float = math.inf  # cutting diameter, where the cone ends
    tip_mm: float = 0.0  # width of the flat at the tip, 0 for none
    tip_radius_mm: float = 0.0  # radius of the rounded tip, 0 for none
    uncertainty: Spread | Uncertainty | None = None


Cone: TypeAlias = "VBit | Bit"


def tip_words(bit: Cone, length: Callable[[float], str]) -> str:
    """Return a bit's tip in words; ``length`` writes its measure."""
    if bit.tip_radius_mm:
        return f"tip rounded to {length(bit.tip_radius_mm)}"
    return f"{length(bit.tip_mm)} flat tip" if bit.tip_mm else "sharp"


def _half_angle(bit: Cone) -> float:
    """Return half of the included angle in radians, after checking that the shape is a bit at all."""
    if not 0.0 < bit.angle_deg < 180.0:
        raise InputError(f"A V-bit's angle lies between 0 and 180 degrees; {bit.angle_deg:g} does not.")
    if not bit.diameter_mm > 0.0:
        raise InputError("A bit's diameter must be more than 0 mm.")
    if not (bit.tip_mm >= 0.0 and bit.tip_radius_mm >= 0.0):
        raise InputError("A bit's tip cannot be less than 0 mm.")
    if bit.tip_mm > 0.0 and bit.tip_radius_mm > 0.0:
        raise InputError("A bit's tip is flat or rounded, not both: give its width or its radius.")
    half = math.radians(bit.angle_deg) / 2.0
    if bit.tip_mm >= bit.diameter_mm:
        flat, wide = format_mm(bit.tip_mm), format_mm(bit.diameter_mm)
        raise InputError(f"The tip's flat of {flat} must be narrower than the bit's diameter, {wide}.")
    if 2.0 * bit.tip_radius_mm * math.cos(half) >= bit.diameter_mm:
        radius, wide = format_mm(bit.tip_radius_mm), format_mm(bit.diameter_mm)
        less = f"at {bit.angle_deg:g} degrees it must be less than {format_mm(bit.diameter_mm / 2.0 / math.cos(half))}"
        raise InputError(f"A tip radius of {radius} leaves no cone on a bit of {wide}: {less}.")
    return half


def ball_mm(bit: Cone) -> float:
    """Return the depth down to which a rounded tip cuts as a ball: ``r (1 - sin h)``, 0 without a radius."""
    return bit.tip_radius_mm * (1.0 - math.sin(_half_angle(bit)))


def cone_line_mm(bit: Cone) -> tuple[float, float]:
    """Return the width of the cone's own line at depth 0, and by how much it widens with each millimetre of depth.

    It starts at the flat, or at ``2 r (1 / cos h - tan h)``, is never narrower than the groove, and where a rounded tip is not
    deep in the wood yet, wider.
    """
    half = _half_angle(bit)
    start = bit.tip_mm + 2.0 * bit.tip_radius_mm * (1.0 / math.cos(half) - math.tan(half))
    return start, 2.0 * math.tan(half)


def deepest_mm(bit: Cone) -> float:
    """Return the depth where the cone ends and the groove is as wide as the bit: ``(D - t) / (2 tan h)``."""
    start, more = cone_line_mm(bit)
    return (bit.diameter_mm - start) / more


def width_mm(bit: Cone, depth_mm: float) -> float:
    """Return the groove's width at the surface for a depth.

    At depth 0 this is the flat's own width.  Deeper than ``deepest_mm`` it is the bit's diameter.
    """
    start, more = cone_line_mm(bit)
    if not depth_mm >= 0.0:
        raise InputError(f"A depth of {format_mm(depth_mm)} is above the surface; it must be 0 mm or more.")
    if depth_mm < ball_mm(bit):
        return 2.0 * math.sqrt(depth_mm * (2.0 * bit.tip_radius_mm - depth_mm))
    return min(start + more * depth_mm, bit.diameter_mm)


def depth_mm(bit: Cone, width_mm: float) -> float:
    """Return the least depth whose groove has this width: the inverse of ``width_mm``."""
    half = _half_angle(bit)
    if not width_mm > 0.0:
        raise InputError(f"A groove cannot be {format_mm(width_mm)} wide; it must be more than 0 mm.")
    if width_mm < bit.tip_mm - SLACK_MM:
        narrow = (
            f"A groove of {format_mm(width_mm)} is narrower than the bit's flat tip, {format_mm(bit.tip_mm)}"
        )
        raise InputError(f"{narrow}: it needs a bit with a smaller tip.")
    if width_mm > bit.diameter_mm + SLACK_MM:
        wide = f"A groove of {format_mm(width_mm)} is wider than the bit's diameter, {format_mm(bit.diameter_mm)}"
        raise InputError(f"{wide}: one pass of this bit cannot cut it.")
    radius = bit.tip_radius_mm
    if width_mm < 2.0 * radius * math.cos(half):
        # r - sqrt(r^2 - w^2 / 4), written so that a shallow cut loses no digits.
        quarter = width_mm * width_mm / 4.0
        return quarter / (radius + math.sqrt(radius * radius - quarter))
    start, more = cone_line_mm(bit)
    return max((min(width_mm, bit.diameter_mm) - start) / more, 0.0)


def sensitivity(bit: Cone, depth_mm: float) -> float:
    """Return how much the width changes per millimetre of height error at a depth (mm per mm).

    ``2 tan h`` on the cone, ``2 (r - d) / sqrt(2 r d - d^2)`` on the ball (without limit where it just
    touches), 0 beyond the cone.
    """
    wide = width_mm(bit, depth_mm)
    if depth_mm < ball_mm(bit):
        return 4.0 * (bit.tip_radius_mm - depth_mm) / wide if wide else math.inf
    return 0.0 if depth_mm > deepest_mm(bit) + SLACK_MM else cone_line_mm(bit)[1]


def angle_sensitivity(bit: Cone, depth_mm: float) -> float:
    """Return how much the width changes per degree of error in the bit's angle at a depth (mm per degree).

    ``(d - r (1 - sin h)) / cos^2 h`` per radian: the part of the depth that lies on the cone.
    """
    half = _half_angle(bit)
    on_cone = depth_mm - ball_mm(bit)
    if on_cone <= 0.0 or depth_mm > deepest_mm(bit) + SLACK_MM:
        return 0.0
    return math.radians(on_cone / math.cos(half) ** 2)


def uncertainty_mm(bit: Cone, depth_mm: float) -> float:
    """Return how far a groove's width may be off at a depth, either way (half of a 95 % interval); 0 where nothing is said of it.

    As in the GUM (JCGM 100:2008, 5.2.2): ``u(w)^2 = (d / cos^2 h u(angle))^2 + u(t)^2 + 2 r d / cos^2 h u(angle) u(t) +
    (2 tan h u(z))^2``, the tip's flat being where the cone's own line begins.  A ball that cuts the edge follows from that
    beginning: angle and tip then move the width by a share of what they move where ball and cone meet.
    """
    known = bit.uncertainty
    slope = sensitivity(bit, depth_mm)
    if known is None or math.isinf(slope) or depth_mm > deepest_mm(bit) + SLACK_MM:
        return 0.0
    share, ball = 1.0, ball_mm(bit)
    if depth_mm < ball:
        share = 4.0 * depth_mm * bit.tip_radius_mm / (width_mm(bit, depth_mm) * cone_line_mm(bit)[0])
    by_angle = share * math.radians(known.angle_deg) * max(depth_mm, ball) / math.cos(_half_angle(bit)) ** 2
    by_tip, by_height = share * known.tip_mm, slope * known.height_mm
    together = 2.0 * known.correlation * by_angle * by_tip
    return math.sqrt(max(by_angle**2 + by_tip**2 + together + by_height**2, 0.0))


def table(bit: Cone) -> tuple[tuple[float, float], ...]:
    """Return rows of depth and width in millimetres: round depths from shallow to the deepest cut, the deepest last."""
    deepest = deepest_mm(bit)
    if math.isinf(deepest):
        deepest = 5.0
    step = next((s for s in (0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0) if deepest / s <= 12.0), 25.0)
    depths = [step * n for n in range(1, math.floor(deepest / step + SLACK_MM) + 1)]
    if not depths or deepest - depths[-1] > 0.01:
        depths.append(deepest)
    return tuple((depth, width_mm(bit, depth)) for depth in depths)
