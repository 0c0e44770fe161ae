"""The bit's shape as the wood feels it: how high its cutting surface stands above its lowest point.

With ``h`` half of the full included angle, at a distance ``rho`` from the bit's axis:

flat tip      0 out to half the flat, then the cone, ``(rho - t / 2) cot h``
end mill      a flat of its whole diameter, 0 out to the rim
rounded tip   the ball ``r - sqrt(r^2 - rho^2)`` out to ``r cos h``, where the cone touches it, then the cone
rim           half of the cutting diameter: the wall stands upright, so nothing farther out is touched

Plane trigonometry, written here anew: the dry run shares no formula with what planned the cut.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from vcarve.job.bench import Cutter, EndMill
from vcarve.plane.arrays import Floats

Heights = npt.NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tip:
    """A bit's profile: ``steep`` is the cone's rise per mm of radius, the rest are lengths.

    ``flat_mm`` is half the tip's flat, ``ball_mm`` the tip's radius, ``joint_mm`` the radius where ball and
    cone touch and ``joint_rise_mm`` its height, ``rim_mm`` half the cutting diameter, ``side_mm`` how far up straight
    sides cut.
    """

    steep: float
    flat_mm: float
    ball_mm: float
    joint_mm: float
    joint_rise_mm: float
    rim_mm: float
    side_mm: float = 0.0

    @classmethod
    def of(cls, bit: Cutter) -> Tip:
        """Return the profile of a bit; a rounded tip goes before a flat one where both are given."""
        if isinstance(bit, EndMill):
            half = bit.diameter_mm / 2.0  # where the flat ends there is no cone to rise
            return cls(
                steep=1.0,
                flat_mm=half,
                ball_mm=0.0,
                joint_mm=0.0,
                joint_rise_mm=0.0,
                rim_mm=half,
                side_mm=bit.cutting_length_mm,
            )
        half = math.radians(bit.angle_deg) / 2.0
        ball = bit.tip_radius_mm
        return cls(
            steep=1.0 / math.tan(half),
            flat_mm=0.0 if ball else bit.tip_mm / 2.0,
            ball_mm=ball,
            joint_mm=ball * math.cos(half),
            joint_rise_mm=ball * (1.0 - math.sin(half)),
            rim_mm=bit.diameter_mm / 2.0,
        )

    @property
    def edge_mm(self) -> float:
        """Height of the cutting edge: deeper than this the upright wall rubs and the shank comes near."""
        return float(self.rise(np.array(self.rim_mm))) + self.side_mm

    def rise(self, rho: Heights) -> Heights:
        """Return height above the lowest point at distances ``rho`` up to the rim; shape and type as given."""
        if self.ball_mm:
            inside = np.maximum(self.ball_mm**2 - rho * rho, 0.0)
            cone = (rho - self.joint_mm) * self.steep + self.joint_rise_mm
            return np.where(rho <= self.joint_mm, self.ball_mm - np.sqrt(inside), cone)
        if self.flat_mm:
            rho = np.maximum(rho - self.flat_mm, 0.0)
        return np.asarray(rho * self.steep)

    def reach_mm(self, depth_mm: Floats) -> Floats:
        """Return half of the groove's width at depths, 0 or more; shape as given."""
        depth = np.maximum(depth_mm, 0.0)
        ball = np.sqrt(np.maximum(depth * (2.0 * self.ball_mm - depth), 0.0))
        cone = self.joint_mm + (depth - self.joint_rise_mm) / self.steep
        reach = self.flat_mm + np.where(depth <= self.joint_rise_mm, ball, cone)
        return np.minimum(reach, self.rim_mm)

    def nearest(self, across: Heights, fall: Heights) -> Heights:
        """Return where on a sloping path the bit cuts a point deepest, if the path were endless.

        ``across`` is the point's distance from the path's line, ``fall`` the path's rise per mm,
        broadcast together.  The result is how far before the point, along the path, the bit then stands;
        infinite (with the sign of ``fall``) where the path is as steep as the cone.  Found where the
        derivative of ``fall t + rise`` vanishes.
        """
        sine = np.abs(fall) / self.steep
        with np.errstate(divide="ignore", invalid="ignore"):
            lag = np.where(sine < 1.0, across * sine / np.sqrt(np.maximum(1.0 - sine * sine, 0.0)), np.inf)
        if self.flat_mm:
            lag = np.maximum(lag, np.sqrt(np.maximum(self.flat_mm**2 - across * across, 0.0)))
        elif self.ball_mm:
            square = (self.ball_mm**2 - across * across) * (fall * fall / (1.0 + fall * fall))
            on_ball = (square >= 0.0) & (square + across * across <= self.joint_mm**2)
            lag = np.where(on_ball, np.sqrt(np.maximum(square, 0.0)), lag)
        return np.copysign(lag, fall)
