"""Speeds and steps a job leaves out, from wood, bit and machine.

Feed = flutes x chip load x spindle speed (Machinery's Handbook, speeds and feeds; every cutter maker's formula page).
The choice of chip load and speed is common practice for small spindles, without a single source: run wood as
fast as the spindle gives, start at the low end of the chip load, halve it for fine tips, which break first; and
when the machine cannot feed that fast, slow the spindle down rather than rub and scorch.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from vcarve.job.bench import Bit, Machine, Wood
from vcarve.job.sections import Feed

FINE_TIP_MM = 0.2  # common practice: a fine tip is at most this wide ...
FINE_ANGLE_DEG = 30.0  # ... on a bit at most this blunt
FINE_SHARE = 0.5  # of the usual chip load
FASTEST_RPM = 24_000.0  # upper end of the range the chip loads are meant for (common practice)
ROUND_RPM = 100.0


class Speeds(NamedTuple):
    """Cutting feed, plunge feed and spindle speed of a job."""

    cut_mm_min: float
    plunge_mm_min: float
    spindle_rpm: float


def feed_mm_min(flutes: int, chip_mm: float, spindle_rpm: float) -> float:
    """Feed at which each of ``flutes`` teeth takes ``chip_mm`` per turn."""
    return flutes * chip_mm * spindle_rpm


def is_fine(bit: Bit) -> bool:
    """Say whether the tip is so fine that it breaks before the rest of the bit is loaded."""
    tip_mm = max(bit.tip_mm, 2.0 * bit.tip_radius_mm)
    return tip_mm <= FINE_TIP_MM and bit.angle_deg <= FINE_ANGLE_DEG


def chips_mm(wood: Wood, bit: Bit) -> tuple[float, float]:
    """Return the thinnest chip per tooth, which is the one to start with, and the thickest."""
    share = FINE_SHARE if is_fine(bit) else 1.0
    return wood.chip_low_mm * share, wood.chip_high_mm * share


def speeds(wood: Wood, bit: Bit, machine: Machine, given: Feed) -> Speeds:
    """Fill in what is left out; a value that is given is kept even where the machine cannot reach it."""
    chip, _ = chips_mm(wood, bit)
    largest = min(machine.feed_max.x_mm_min, machine.feed_max.y_mm_min)
    cut, plunge, spindle = given.cut_mm_min, given.plunge_mm_min, given.spindle_rpm
    if spindle is None:
        top = min(machine.spindle.max_rpm, FASTEST_RPM, (cut or largest) / (bit.flutes * chip))
        wished = math.floor(top / ROUND_RPM) * ROUND_RPM
        spindle = min(max(wished, machine.spindle.min_rpm), machine.spindle.max_rpm)
    if cut is None:
        cut = min(feed_mm_min(bit.flutes, chip, spindle), largest)
        cut = float(math.floor(cut + 1e-6)) if cut >= 1.0 else largest
    if plunge is None:
        plunge = max(float(math.floor(min(wood.plunge_share * cut, machine.feed_max.z_mm_min) + 1e-6)), 1.0)
        plunge = min(plunge, machine.feed_max.z_mm_min)
    return Speeds(cut, plunge, spindle)
