"""The records of what lies on the bench: wood, bit and machine; millimetres, degrees, mm/min, seconds."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal, Self

from pydantic import Discriminator, Field, Tag, model_validator

from vcarve.job.fields import (
    AccelerationMmS2,
    BitAngleDeg,
    Colour,
    Factor,
    FeedMmMin,
    Flag,
    NotNegativeMm,
    PositiveMm,
    PositiveNumber,
    RapidMm,
    SecondsS,
    SpeedRpm,
    Text,
    whole,
)
from vcarve.job.record import Record, refuse
from vcarve.quantity import FIGURES, Figures, format_mm

NAMED, SPELLED_OUT = "a name", "spelled out"  # how a bit or a wood may be given


class Wood(Record):
    """What a wood takes, from the tables (see ``data/woods.yaml`` for the source of every figure) or from the job."""

    name: Text = "own"
    title: Text
    hardness_n: PositiveNumber | None = Field(None, alias="hardness")  # side hardness (Janka), newtons
    gravity: PositiveNumber | None = None  # specific gravity at 12 % moisture; None: not in the tables
    chip_low_mm: PositiveMm = Field(alias="chip-low")  # chip load per tooth, small V-bits
    chip_high_mm: PositiveMm = Field(alias="chip-high")
    plunge_share: Factor = Field(alias="plunge-share")  # plunge feed as a share of the cutting feed
    step_mm: PositiveMm = Field(alias="step")  # depth per level
    tint: Colour = "#d9bf94"  # of the planed surface
    note: Text = ""

    @model_validator(mode="after")
    def _chips_rise(self) -> Self:
        if self.chip_low_mm > self.chip_high_mm:
            raise refuse("chip-high", f"must be at least chip-low, {format_mm(self.chip_low_mm)}")
        return self


def _how_given(value: Any) -> str:
    return SPELLED_OUT if isinstance(value, dict | Record) else NAMED


WoodChoice = Annotated[
    Annotated[Wood, Tag(SPELLED_OUT)] | Annotated[Text, Tag(NAMED)], Discriminator(_how_given)
]


class Bit(Record):
    """A V-bit: full included angle, cutting diameter, shank, and a flat or a rounded tip."""

    name: Text | None = None
    angle_deg: BitAngleDeg = Field(alias="angle")
    diameter_mm: PositiveMm = Field(alias="diameter")
    shank_mm: PositiveMm = Field(alias="shank")
    tip_mm: NotNegativeMm = Field(0.0, alias="tip")  # width of the flat
    tip_radius_mm: NotNegativeMm = Field(0.0, alias="tip-radius")
    flutes: Annotated[int, *whole(1, 8)] = 2

    @model_validator(mode="after")
    def _tip_rules(self) -> Self:
        if self.tip_mm and self.tip_radius_mm:
            raise refuse(
                "tip-radius", "a tip is either flat ('tip') or rounded ('tip-radius'), not both", "tip"
            )
        wide = format_mm(self.diameter_mm)
        if self.tip_mm >= self.diameter_mm:
            raise refuse("tip", f"the flat of the tip must be narrower than the bit's diameter, {wide}")
        # the ball meets the cone where it is 2 r cos(angle / 2) wide
        if 2.0 * self.tip_radius_mm * math.cos(math.radians(self.angle_deg / 2.0)) >= self.diameter_mm:
            raise refuse("tip-radius", f"so round a tip leaves no cone on a bit of {wide} diameter")
        return self


BitChoice = Annotated[
    Annotated[Bit, Tag(SPELLED_OUT)] | Annotated[Text, Tag(NAMED)], Discriminator(_how_given)
]


class Axes(Record):
    """One length per axis."""

    x_mm: PositiveMm = Field(alias="x")
    y_mm: PositiveMm = Field(alias="y")
    z_mm: PositiveMm = Field(alias="z")


class AxesRate(Record):
    """One speed per axis."""

    x_mm_min: FeedMmMin = Field(alias="x")
    y_mm_min: FeedMmMin = Field(alias="y")
    z_mm_min: FeedMmMin = Field(alias="z")


class AxesAcceleration(Record):
    """One acceleration per axis."""

    x_mm_s2: AccelerationMmS2 = Field(alias="x")
    y_mm_s2: AccelerationMmS2 = Field(alias="y")
    z_mm_s2: AccelerationMmS2 = Field(alias="z")


class Spindle(Record):
    """The spindle's range, how long it takes to reach its speed, and whether the program can set it."""

    min_rpm: SpeedRpm = Field(alias="min")
    max_rpm: SpeedRpm = Field(alias="max")
    spin_up_s: SecondsS = Field(3.0, alias="spin-up")
    programmed: Flag = True  # false: a switch on the machine; the program then pauses and asks

    @model_validator(mode="after")
    def _range(self) -> Self:
        if self.max_rpm <= 0.0 or self.min_rpm > self.max_rpm:
            raise refuse("max", "the largest speed must be above zero and no less than 'min'")
        return self


class Machine(Record):
    """A class of machine, as its owner has measured or set it."""

    name: Text
    title: Text
    travel: Axes
    rapid: AxesRate
    acceleration: AxesAcceleration
    junction_deviation_mm: PositiveMm = Field(0.01, alias="junction-deviation")
    feed_max: AxesRate = Field(alias="feed-max")  # largest cutting feed per axis
    spindle: Spindle
    collets_mm: tuple[PositiveMm, ...] = Field(alias="collets", min_length=1)
    safe_height_mm: RapidMm = Field(5.0, alias="safe-height")
    step_share: Factor = Field(1.0, alias="step-share")  # of the wood's depth per level
    dialect: Literal["rs274ngc", "grbl-1.1", "linuxcnc"] = "rs274ngc"
    decimals: Annotated[int, *whole(2, 5)] = 3
    units: Literal["mm", "inch"] = "mm"
    arcs: Flag = True
    arc_tolerance_mm: PositiveMm = Field(0.002, alias="arc-tolerance")
    program_end: Literal["M2", "M30"] = Field("M2", alias="program-end")

    @model_validator(mode="after")
    def _sound(self) -> Self:
        rates = (
            ("x", self.rapid.x_mm_min, self.feed_max.x_mm_min),
            ("y", self.rapid.y_mm_min, self.feed_max.y_mm_min),
        )
        for axis, rapid, feed in (*rates, ("z", self.rapid.z_mm_min, self.feed_max.z_mm_min)):
            if feed > rapid:
                raise refuse(
                    f"feed-max.{axis}", "a cutting feed above the axis's rapid rate cannot be reached"
                )
        if self.safe_height_mm >= self.travel.z_mm:
            raise refuse("safe-height", f"must be less than the travel in Z, {format_mm(self.travel.z_mm)}")
        if self.units == "inch" and self.decimals < 4:
            raise refuse("decimals", "programs in inches need at least 4 decimals (0.0001 in is 2.5 µm)")
        if self.arc_tolerance_mm < 0.0005:
            raise refuse(
                "arc-tolerance", "chords finer than 0.0005 mm are lost in rounding; give that or more"
            )
        return self

    @property
    def last_decimal_mm(self) -> float:
        """The size of the last decimal in this machine's programs."""
        return 10.0**-self.decimals * FIGURES[self.units].unit_mm

    @property
    def figures(self) -> Figures:
        """How figures are written for people at this machine."""
        return FIGURES[self.units]
