"""A camera that looks down on the piece from an angle: where a place is seen, and what a dot of the picture looks at.

Places are piece coordinates, Z 0 at the top; dots are counted from the picture's upper left corner, to the right and down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vcarve.plane.arrays import Floats, ReadOnly

HORIZON = 0.02  # what would look over the table looks at its far end
FAR = 3.0  # how many times its own size the eye is away from the piece: as one looks at it in the hand


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera(ReadOnly):
    """A pinhole: where the eye is, the directions (3, 3) to the right, down and ahead, and what one radian is in dots."""

    eye_mm: Floats  # (3,)
    axes: Floats  # (3, 3)
    focal_px: float
    middle_px: Floats  # (2,) what lies straight ahead

    def seen(self, place_mm: Floats) -> Floats:
        """Return where places (..., 3) are seen, in dots (..., 2)."""
        right, down, ahead = np.moveaxis((place_mm - self.eye_mm) @ self.axes.T, -1, 0)
        return self.middle_px + self.focal_px * np.stack([right / ahead, down / ahead], axis=-1)

    def slopes(self, dot_px: Floats) -> Floats:
        """Return how far dots (..., 2) look across for each millimetre down: X and Y (..., 2); all look down."""
        right, down = np.moveaxis((dot_px - self.middle_px) / self.focal_px, -1, 0)
        way = right[..., None] * self.axes[0] + down[..., None] * self.axes[1] + self.axes[2]
        return np.asarray(way[..., :2] / np.maximum(-way[..., 2:], HORIZON))


def camera_on(
    place_mm: Floats, rise_deg: float, turn_deg: float, size_px: tuple[int, int], margin: float
) -> Camera:
    """Return the camera that sees places (n, 3) as large as fits, with a margin as a share of the picture's shorter side.

    The eye stands ``rise_deg`` above the table and is turned ``turn_deg`` counter-clockwise about the piece from its front.
    """
    rise, turn = math.radians(rise_deg), math.radians(turn_deg)
    back = np.array([math.sin(turn) * math.cos(rise), -math.cos(turn) * math.cos(rise), math.sin(rise)])
    right = np.array([math.cos(turn), math.sin(turn), 0.0])
    low, high = place_mm.min(axis=0), place_mm.max(axis=0)
    eye = (low + high) / 2.0 + back * FAR * float(np.linalg.norm(high - low))
    axes = np.stack([right, np.cross(-back, right), -back])
    plain = Camera(eye_mm=eye, axes=axes, focal_px=1.0, middle_px=np.zeros(2)).seen(place_mm)
    least, most = plain.min(axis=0), plain.max(axis=0)
    room = np.array(size_px) - 2.0 * margin * min(size_px)
    focal = float((room / (most - least)).min())
    middle = np.array(size_px) / 2.0 - focal * (least + most) / 2.0
    return Camera(eye_mm=eye, axes=axes, focal_px=focal, middle_px=middle)
