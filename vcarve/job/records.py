"""The records a job is made of: frozen, validated; millimetres, degrees, mm/min, seconds.

Each field's alias is the key a person writes in YAML; the field's own name carries the unit.  Rules that join
several keys of one section are checked here, as soon as every key of the section is right by itself.
"""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal, Self, get_args

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    WithJsonSchema,
    model_validator,
)
from pydantic_core import PydanticCustomError

from vcarve.job.fields import (
    BLANK,
    AccelerationMmS2,
    AngleDeg,
    BitAngleDeg,
    Colour,
    Factor,
    FeedMmMin,
    Flag,
    LengthMm,
    NotNegativeMm,
    PitchMm,
    PositiveMm,
    PositiveNumber,
    RapidMm,
    SecondsS,
    SpeedRpm,
    Text,
    whole,
)
from vcarve.quantity import FIGURES, Figures, format_mm

NAMED, SPELLED_OUT = "a name", "spelled out"  # how a bit or a wood may be given


def _refuse(key: str, sentence: str, *clash: str) -> PydanticCustomError:
    """Build the error of a rule that joins several keys; ``key`` is the one to point at, ``clash`` cannot stay with it."""
    return PydanticCustomError("rule", "{sentence}", {"sentence": sentence, "at": key, "clash": clash})


class Record(BaseModel):
    """A frozen record; unknown keys are errors; fields may be given by key or by field name."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    @model_validator(mode="before")
    @classmethod
    def _empty(cls, data: Any) -> Any:
        return {} if data is BLANK else data


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
            raise _refuse("chip-high", f"must be at least chip-low, {format_mm(self.chip_low_mm)}")
        return self


def _how_given(value: Any) -> str:
    return SPELLED_OUT if isinstance(value, dict | Record) else NAMED


WoodChoice = Annotated[
    Annotated[Wood, Tag(SPELLED_OUT)] | Annotated[Text, Tag(NAMED)], Discriminator(_how_given)
]


class Outline(Record):
    """The shape of a piece that is not a plain rectangle.  It fills the piece's width and height."""

    shape: Literal["rectangle", "rounded", "circle", "ellipse", "polygon", "drawing"] = "rectangle"
    radius_mm: PositiveMm | None = Field(None, alias="radius")  # rounded: the corners
    sides: Annotated[int, *whole(3, 360)] | None = None  # polygon
    turn_deg: AngleDeg = Field(0.0, alias="turn")  # polygon: 0 has a flat side at the front
    file: Text | None = None  # drawing: SVG or DXF with one closed path, and holes
    layer: Text | None = None

    @model_validator(mode="after")
    def _shape_rules(self) -> Self:
        needs = {"rounded": "radius", "polygon": "sides", "drawing": "file"}
        given = {"radius": self.radius_mm, "sides": self.sides, "file": self.file, "layer": self.layer}
        needed = needs.get(self.shape)
        if needed is not None and given[needed] is None:
            raise _refuse("shape", f"the shape {self.shape!r} needs the key {needed!r} as well")
        homes = {"radius": "rounded", "sides": "polygon", "file": "drawing", "layer": "drawing"}
        for key, shape in homes.items():
            if given[key] is not None and self.shape != shape:
                raise _refuse(
                    key, f"only the shape {shape!r} takes this key; leave it out, or change the shape"
                )
        if self.turn_deg and self.shape != "polygon":
            raise _refuse(
                "turn", "only the shape 'polygon' takes this key; leave it out, or change the shape"
            )
        return self


class Piece(Record):
    """The stock to be engraved."""

    width_mm: PositiveMm = Field(alias="width")
    height_mm: PositiveMm = Field(alias="height")
    thickness_mm: PositiveMm = Field(alias="thickness")
    wood: WoodChoice
    outline: Outline = Outline()

    @model_validator(mode="after")
    def _outline_fits(self) -> Self:
        shape, shorter = self.outline.shape, min(self.width_mm, self.height_mm)
        if shape == "circle" and self.width_mm != self.height_mm:
            raise _refuse(
                "outline.shape", "a circle is as wide as it is high; make them equal or write 'ellipse'"
            )
        if shape == "rounded" and (self.outline.radius_mm or 0.0) > shorter / 2.0:
            raise _refuse(
                "outline.radius", f"at most half the shorter side, {format_mm(shorter / 2.0)}, is possible"
            )
        return self


class Frame(Record):
    """Border lines at a distance inside the outline, with a depth of their own."""

    distance_mm: PositiveMm = Field(alias="distance")
    depth_mm: PositiveMm | None = Field(None, alias="depth")  # default: the ground lines' depth


class PatternChoice(Record):
    """Which pattern, how large, and how it lies on the piece."""

    name: Text | None = None  # from the catalogue, or a path to a pattern file
    drawing: Text | None = None  # SVG or DXF file of lines, instead of a pattern
    depths: dict[str, PositiveMm] = {}  # drawing: layer or colour -> depth
    close_gaps_mm: NotNegativeMm = Field(0.05, alias="close-gaps")  # drawing: tolerance for joining ends
    pitch_mm: PitchMm | None = Field(None, alias="pitch")  # PitchMm keeps "about 22 mm" as a wish
    across: Annotated[int, *whole(1, 1000)] | None = None  # repeats across the width instead of a pitch
    edge: Literal["groove", "plain"] = "groove"
    ends: Literal["outline", "run-off"] = (
        "outline"  # run-off: lines leave the piece by the groove's half-width
    )
    margin_mm: NotNegativeMm = Field(0.0, alias="margin")
    frame: tuple[Frame, ...] = ()
    rotate_deg: AngleDeg = Field(0.0, alias="rotate")
    shift_x_mm: LengthMm = Field(0.0, alias="shift-x")
    shift_y_mm: LengthMm = Field(0.0, alias="shift-y")
    mirror: Flag = False

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if (self.name is None) == (self.drawing is None):
            wanted = "give either 'name' or 'drawing', one of the two"
            raise _refuse("name", wanted, "drawing") if self.name else _refuse("", wanted)
        if self.name is not None:
            if (self.pitch_mm is None) == (self.across is None):
                wanted = "give either 'pitch' or 'across', one of the two"
                raise _refuse("", wanted) if self.across is None else _refuse("across", wanted, "pitch")
            if self.depths:
                raise _refuse(
                    "depths", "only a drawing has layers with depths; see 'ground' and 'leaf' in 'groove'"
                )
        else:
            for key, value in (("pitch", self.pitch_mm), ("across", self.across)):
                if value is not None:
                    raise _refuse(key, "a drawing keeps its own size; leave this key out", "drawing")
        return self


class Groove(Record):
    """How deep: ``depth`` for all lines, or ``ground`` and ``leaf`` apart; ``step`` is the depth per level."""

    depth_mm: PositiveMm | None = Field(None, alias="depth")
    ground_mm: PositiveMm | None = Field(None, alias="ground")
    leaf_mm: PositiveMm | None = Field(None, alias="leaf")
    step_mm: PositiveMm | None = Field(None, alias="step")
    lost_land: Literal["refuse", "allow"] = Field("refuse", alias="lost-land")  # where most cells keep none

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        wanted = "give 'depth' for all lines, or 'ground' and 'leaf' apart"
        if self.depth_mm is not None:
            apart = [
                key
                for key, value in (("ground", self.ground_mm), ("leaf", self.leaf_mm))
                if value is not None
            ]
            if apart:
                raise _refuse(apart[0], f"{wanted}, not both", *apart[1:], "depth")
        elif self.ground_mm is None and self.leaf_mm is None:
            raise _refuse("", wanted)
        elif self.ground_mm is None or self.leaf_mm is None:
            given, other = ("ground", "leaf") if self.leaf_mm is None else ("leaf", "ground")
            raise _refuse(
                given, f"{given!r} alone is not enough; give {other!r} as well, or 'depth' for all lines"
            )
        return self

    @property
    def depths_mm(self) -> tuple[float, float]:
        """Depth of ground lines and of leaf lines; the rule above sees to it that both are known."""
        return self.ground_mm or self.depth_mm or 0.0, self.leaf_mm or self.depth_mm or 0.0


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
            raise _refuse(
                "tip-radius", "a tip is either flat ('tip') or rounded ('tip-radius'), not both", "tip"
            )
        wide = format_mm(self.diameter_mm)
        if self.tip_mm >= self.diameter_mm:
            raise _refuse("tip", f"the flat of the tip must be narrower than the bit's diameter, {wide}")
        # the ball meets the cone where it is 2 r cos(angle / 2) wide
        if 2.0 * self.tip_radius_mm * math.cos(math.radians(self.angle_deg / 2.0)) >= self.diameter_mm:
            raise _refuse("tip-radius", f"so round a tip leaves no cone on a bit of {wide} diameter")
        return self


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
            raise _refuse("max", "the largest speed must be above zero and no less than 'min'")
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
                raise _refuse(
                    f"feed-max.{axis}", "a cutting feed above the axis's rapid rate cannot be reached"
                )
        if self.safe_height_mm >= self.travel.z_mm:
            raise _refuse("safe-height", f"must be less than the travel in Z, {format_mm(self.travel.z_mm)}")
        if self.units == "inch" and self.decimals < 4:
            raise _refuse("decimals", "programs in inches need at least 4 decimals (0.0001 in is 2.5 µm)")
        if self.arc_tolerance_mm < 0.0005:
            raise _refuse(
                "arc-tolerance", "chords finer than 0.0005 mm are lost in rounding; give that or more"
            )
        return self

    @property
    def figures(self) -> Figures:
        """How figures are written for people at this machine."""
        return FIGURES[self.units]


class Feed(Record):
    """Speeds of the job; whatever is left out comes from wood, bit and machine."""

    cut_mm_min: FeedMmMin | None = Field(None, alias="cut")
    plunge_mm_min: FeedMmMin | None = Field(None, alias="plunge")
    spindle_rpm: SpeedRpm | None = Field(None, alias="spindle")


ZeroPlace = Literal["front-left", "front-right", "back-left", "back-right", "centre"]
ZeroWord = Annotated[
    ZeroPlace,
    BeforeValidator(lambda word: "centre" if word == "center" else word),
    WithJsonSchema({"enum": [*get_args(ZeroPlace), "center"], "type": "string"}),
]


class Zero(Record):
    """Where the work origin is."""

    xy: ZeroPlace = "front-left"
    z: Literal["top", "bed"] = "top"


class ZeroChoice(Record):
    """Where the user sets the work origin; left out, where ``defaults.zero_xy`` says."""

    xy: ZeroWord | None = None
    z: Literal["top", "bed"] = "top"


class PlanChoice(Record):
    """How to order the cutting: ``hop`` is a lift's height, ``recut`` whether the bit may travel along grooves.

    ``never``: nothing is gone along where it is already as deep.  ``allow``: no line is gone along, at whatever depth, more
    than twice for each level of the job, once to cut and once to travel; the job has as many levels as its deepest line
    has steps.
    """

    recut: Literal["never", "allow"] = "allow"
    hop_mm: RapidMm | None = Field(None, alias="hop")  # default: 1 mm, or the safe height if that is lower


class Clamp(Record):
    """A clamp or screw head the bit must not touch: a rectangle from the piece's front left corner."""

    x_mm: LengthMm = Field(alias="x")
    y_mm: LengthMm = Field(alias="y")
    width_mm: PositiveMm = Field(alias="width")
    height_mm: PositiveMm = Field(alias="height")  # along Y
    above_mm: PositiveMm = Field(alias="above")  # how far it stands above the piece's top


BitChoice = Annotated[
    Annotated[Bit, Tag(SPELLED_OUT)] | Annotated[Text, Tag(NAMED)], Discriminator(_how_given)
]


class JobFile(Record):
    """A job as written: wood, bit, machine and pattern may still be names."""

    piece: Piece
    title: Text = ""
    units: Literal["mm", "inch"] | None = None  # of the figures people read; None: the machine's
    pattern: PatternChoice
    groove: Groove
    bit: BitChoice
    machine: Text
    feed: Feed = Feed()
    zero: ZeroChoice = ZeroChoice()
    plan: PlanChoice = PlanChoice()
    clamps: tuple[Clamp, ...] = ()

    @model_validator(mode="after")
    def _lines_fit(self) -> Self:
        half = min(self.piece.width_mm, self.piece.height_mm) / 2.0
        if self.pattern.margin_mm >= half:
            raise _refuse("pattern.margin", f"must be less than half the shorter side, {format_mm(half)}")
        for index, frame in enumerate(self.pattern.frame):
            if frame.distance_mm >= half:
                key = f"pattern.frame.{index}.distance"
                raise _refuse(key, f"must be less than half the shorter side, {format_mm(half)}")
            if frame.distance_mm < self.pattern.margin_mm:
                key = f"pattern.frame.{index}.distance"
                border = format_mm(self.pattern.margin_mm)
                raise _refuse(key, f"must be at least the margin, {border}: all lines lie inside it")
        return self


class Job(Record):
    """A job with every name looked up and every default filled in: what all later rooms work from."""

    title: str
    units: Literal["mm", "inch"] = "mm"  # of the figures people read
    piece: Piece
    wood: Wood
    pattern: PatternChoice
    ground_mm: float  # depth of ground lines
    leaf_mm: float  # depth of leaf lines
    step_mm: float  # deepest cut per level
    bit: Bit
    machine: Machine
    cut_mm_min: float
    plunge_mm_min: float
    spindle_rpm: float
    zero: Zero
    recut: Literal["never", "allow"]  # see PlanChoice
    hop_mm: float
    clamps: tuple[Clamp, ...] = ()
    lost_land: Literal["refuse", "allow"] = "refuse"
    folder: str = "."  # where paths inside the job are looked up
    files: tuple[str, ...] = ()  # paths of every file it is made of: nothing is ever written over them

    @property
    def figures(self) -> Figures:
        """How figures are written for people."""
        return FIGURES[self.units]
