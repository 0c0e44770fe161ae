"""Speeds and steps a job leaves out, from wood, bit and machine.

Feed = flutes x chip load x spindle speed (Machinery's Handbook, speeds and feeds; every cutter maker's formula page).
The choice of chip load and speed is common practice for small spindles, without a single source: run wood as
fast as the spindle gives, start at the low end of the chip load, halve it for fine tips, which break first; and
when the machine cannot feed that fast, slow the spindle down rather than rub and scorch.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from vcarve.job.bench import Bit, Machine, Wood
from vcarve.job.records import Clamp, Feed, Outline, ZeroPlace

FINE_TIP_MM = 0.2  # common practice: a fine tip is at most this wide ...
FINE_ANGLE_DEG = 30.0  # ... on a bit at most this blunt
FINE_SHARE = 0.5  # of the usual chip load
FASTEST_RPM = 24_000.0  # upper end of the range the chip loads are meant for (common practice)
ROUND_RPM = 100.0
HOP_MM = 1.0
CLAMP_ROOM_MM = 1.0  # between the bit and the tallest clamp on its way across


@dataclass(frozen=True, slots=True, kw_only=True)
class Speeds:
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


def chip_mm(wood: Wood, bit: Bit) -> float:
    """Return chip load per tooth to start with."""
    return wood.chip_low_mm * (FINE_SHARE if is_fine(bit) else 1.0)


def speeds(feed: Feed, wood: Wood, bit: Bit, machine: Machine) -> Speeds:
    """Fill in what ``feed`` leaves out; a value that is given is kept even where the machine cannot reach it."""
    chip = chip_mm(wood, bit)
    largest = min(machine.feed_max.x_mm_min, machine.feed_max.y_mm_min)
    spindle = feed.spindle_rpm
    if spindle is None:
        top = min(machine.spindle.max_rpm, FASTEST_RPM)
        reach = (largest if feed.cut_mm_min is None else feed.cut_mm_min) / (bit.flutes * chip)
        wished = math.floor(min(top, reach) / ROUND_RPM) * ROUND_RPM
        spindle = min(max(wished, machine.spindle.min_rpm), machine.spindle.max_rpm)
    cut = feed.cut_mm_min
    if cut is None:
        cut = min(feed_mm_min(bit.flutes, chip, spindle), largest)
        cut = float(math.floor(cut + 1e-6)) if cut >= 1.0 else largest
    plunge = feed.plunge_mm_min
    if plunge is None:
        plunge = max(float(math.floor(min(wood.plunge_share * cut, machine.feed_max.z_mm_min) + 1e-6)), 1.0)
        plunge = min(plunge, machine.feed_max.z_mm_min)
    return Speeds(cut_mm_min=cut, plunge_mm_min=plunge, spindle_rpm=spindle)


def usual_step_mm(wood: Wood, machine: Machine) -> float:
    """Return depth per level: the wood's figure, less where the machine is not stiff."""
    return wood.step_mm * machine.step_share


def zero_xy(outline: Outline) -> ZeroPlace:
    """Return where X and Y are zero: the front left corner, or the centre of a piece whose corner would be in the air."""
    return "centre" if outline.shape in ("circle", "ellipse", "polygon") else "front-left"


def hop_mm(machine: Machine, wished_mm: float | None = None, clamps: Sequence[Clamp] = ()) -> float:
    """How high the bit rises between passes: as wished, or a millimetre; over the tallest clamp in any case.

    Never above the safe height: a clamp that stands higher is a finding of its own (see ``job.suitability``).
    """
    tallest = max((clamp.above_mm + CLAMP_ROOM_MM for clamp in clamps), default=0.0)
    return min(max(wished_mm or HOP_MM, tallest), machine.safe_height_mm)
