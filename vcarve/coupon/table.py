"""The table of measured widths as a person fills it in."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from vcarve.coupon.line import LEAST_POINTS
from vcarve.groove.width import ball_mm, deepest_mm
from vcarve.job.bench import Bit, load_bit
from vcarve.job.document import read_document
from vcarve.job.fields import LengthMm, NotNegativeMm, PositiveMm, Text
from vcarve.job.record import Broken, Named, Record, record_from
from vcarve.quantity import FIGURES, Figures, format_mm

UPRIGHT = 0.98  # of the bit's diameter: from there on the walls may be the upright ones
SHALLOW_MM = 0.25  # no coupon is so shallow, nor deeper in inches
_POINT = "write decimals with a point"


class Measured(Record):
    """One groove of a coupon: how deep the program cuts it, and its widths at the surface."""

    depth_mm: PositiveMm = Field(description="depth as the program cuts it")
    widths_mm: tuple[PositiveMm, ...] = Field(
        (), max_length=50, description="width at the surface, at several places; none leaves the groove out"
    )


class Known(Record):
    """A length that was measured in another way, with its standard uncertainty."""

    length_mm: LengthMm = Field(description="the length measured")
    uncertainty_mm: NotNegativeMm = Field(0.0, description="its standard uncertainty")


class Widths(Record):
    """The widths of a coupon's grooves, and the bit that cut them as it is sold."""

    title: Text = Field("", description="a line of your own")
    bit: Annotated[Bit, Named(lambda name, _: load_bit(name))] = Field(
        description="the bit as it is sold: a name from 'mizo bits', or its measures"
    )
    units: Literal["mm", "inch"] = Field("mm", description="mm or inch, for what is answered")
    read_to_mm: PositiveMm = Field(0.01, description="the smallest step that caliper or loupe shows")
    uncertainty_mm: PositiveMm | None = Field(
        None,
        description="standard uncertainty of a groove's width (the mean of its places); left out, from the scatter",
    )
    tip: Known | None = Field(
        None, description="the flat of the tip, of a rounded one its radius, measured under a loupe"
    )
    deeper: Known | None = Field(
        None,
        description="how much deeper than the program says the bit went, where the zero was touched again",
    )
    grooves: tuple[Measured, ...] = Field(
        max_length=200, description="the grooves, in the order of their numbers"
    )

    def _broken(self) -> Iterator[Broken]:
        depths = [groove.depth_mm for groove in self.grooves if groove.widths_mm]
        if len(depths) < LEAST_POINTS or len(set(depths)) < 2:
            yield Broken(
                "grooves", f"widths of {LEAST_POINTS} grooves or more are wanted, at two depths or more"
            )
        elif max(depths) < SHALLOW_MM:
            most = format_mm(max(depths), 4)
            want = f"{most} at most are too shallow to tell an angle; write inches with their unit, such as 0.05 in"
            yield Broken("grooves", want)
        if self.tip and self.deeper:
            yield Broken(
                "deeper", "give 'tip' or 'deeper', not both: the one is worked out from the other", "tip"
            )
        if not isinstance(self.bit, Bit):  # a name that stands for nothing, told apart
            return
        wide, shallow, deep = self.bit.diameter_mm, ball_mm(self.bit), deepest_mm(self.bit)
        if self.tip and not 0.0 <= self.tip.length_mm < wide:
            yield Broken(
                "tip.length", f"must be from 0 mm to less than the bit's diameter, {format_mm(wide)}"
            )
        if self.deeper and self.deeper.length_mm <= -min(depths, default=math.inf):
            want = f"so much less deep, the groove of {format_mm(min(depths))} would not have been cut"
            yield Broken("deeper.length", want)
        for index, groove in enumerate(self.grooves):
            if not shallow <= groove.depth_mm <= deep + 1e-9:
                want = f"the bit's cone cuts from {format_mm(shallow)} to {format_mm(deep)}; there alone widths tell its angle"
                yield Broken(f"grooves.{index}.depth", want)
            beyond = [place for place, across in enumerate(groove.widths_mm) if across >= UPRIGHT * wide]
            for place in beyond:
                want = f"from the bit's diameter on, {format_mm(wide)}, widths tell no angle; {_POINT}, or leave it out"
                yield Broken(f"grooves.{index}.widths.{place}", want)
            whole = all(across.is_integer() for across in groove.widths_mm)
            if not beyond and whole and len(set(groove.widths_mm)) > 1:  # 1,12 in a list is two widths
                want = f"places of one groove that differ by whole millimetres; {_POINT}"
                yield Broken(f"grooves.{index}.widths", want)

    @property
    def figures(self) -> Figures:
        """How lengths are written for people."""
        return FIGURES[self.units]


def load_widths(path: str) -> Widths:
    """Read a table of widths (``-``: standard input); raises InputError with every problem."""
    return record_from(read_document(path), Widths)
