"""The records a job is made of: frozen, validated, lengths in millimetres, angles in degrees, speeds in mm/min.

Each field's alias is the key a person writes in YAML; the field's own name carries the unit.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from vcarve.job.fields import (
    AccelerationMmS2,
    AngleDeg,
    Factor,
    FeedMmMin,
    LengthMm,
    PitchMm,
    PositiveMm,
    SecondsS,
    SpeedRpm,
    Text,
)


class Record(BaseModel):
    """A frozen record; unknown keys are errors; fields may be given by key or by field name."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Outline(Record):
    """The shape of a piece that is not a plain rectangle.  It fills the piece's width and height."""

    shape: Literal["rectangle", "rounded", "circle", "ellipse", "polygon", "drawing"] = "rectangle"
    radius_mm: PositiveMm | None = Field(None, alias="radius")  # rounded: the corners
    sides: int | None = Field(None, ge=3, le=360)  # polygon
    turn_deg: AngleDeg = Field(0.0, alias="turn")  # polygon: 0 has a flat side at the front
    file: Text | None = None  # drawing: SVG or DXF with one closed path, and holes
    layer: Text | None = None


class Piece(Record):
    """The stock to be engraved."""

    width_mm: PositiveMm = Field(alias="width")
    height_mm: PositiveMm = Field(alias="height")
    thickness_mm: PositiveMm = Field(alias="thickness")
    wood: Text
    outline: Outline = Outline()


class Frame(Record):
    """Border lines at a distance inside the outline, with a depth of their own."""

    distance_mm: PositiveMm = Field(alias="distance")
    depth_mm: PositiveMm | None = Field(None, alias="depth")  # default: the ground lines' depth


class PatternChoice(Record):
    """Which pattern, how large, and how it lies on the piece."""

    name: Text | None = None  # from the catalogue, or a path to a pattern file
    drawing: Text | None = None  # SVG or DXF file of lines, instead of a pattern
    depths: dict[str, PositiveMm] = {}  # drawing: layer or colour -> depth
    close_gaps_mm: LengthMm = Field(0.05, alias="close-gaps", ge=0.0)  # drawing: tolerance for joining ends
    pitch_mm: PitchMm | None = Field(None, alias="pitch")  # PitchMm keeps "about 22 mm" as a wish
    across: Annotated[int, Field(ge=1, le=1000)] | None = None  # repeats across the width instead of a pitch
    edge: Literal["groove", "plain"] = "groove"
    ends: Literal["outline", "run-off"] = "outline"  # run-off: lines leave the piece by the groove's half-width
    margin_mm: LengthMm = Field(0.0, alias="margin", ge=0.0)
    frame: tuple[Frame, ...] = ()
    rotate_deg: AngleDeg = Field(0.0, alias="rotate")
    shift_x_mm: LengthMm = Field(0.0, alias="shift-x")
    shift_y_mm: LengthMm = Field(0.0, alias="shift-y")
    mirror: bool = False


class Groove(Record):
    """How deep.  ``depth`` for all lines, or ``ground`` and ``leaf`` apart; ``step`` is the depth per level."""

    depth_mm: PositiveMm | None = Field(None, alias="depth")
    ground_mm: PositiveMm | None = Field(None, alias="ground")
    leaf_mm: PositiveMm | None = Field(None, alias="leaf")
    step_mm: PositiveMm | None = Field(None, alias="step")


class Bit(Record):
    """A V-bit: full included angle, cutting diameter, shank, and a flat or a rounded tip."""

    name: Text | None = None
    angle_deg: Annotated[AngleDeg, Field(ge=5.0, le=170.0)] = Field(alias="angle")
    diameter_mm: PositiveMm = Field(alias="diameter")
    shank_mm: PositiveMm = Field(alias="shank")
    tip_mm: Annotated[LengthMm, Field(ge=0.0)] = Field(0.0, alias="tip")  # width of the flat
    tip_radius_mm: Annotated[LengthMm, Field(ge=0.0)] = Field(0.0, alias="tip-radius")
    flutes: Annotated[int, Field(ge=1, le=8)] = 2


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
    programmed: bool = True  # false: a switch on the machine; the program then pauses and asks


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
    safe_height_mm: PositiveMm = Field(5.0, alias="safe-height")
    dialect: Literal["rs274ngc", "grbl-1.1", "linuxcnc"] = "rs274ngc"
    decimals: Annotated[int, Field(ge=2, le=5)] = 3
    units: Literal["mm", "inch"] = "mm"
    arcs: bool = True
    arc_tolerance_mm: PositiveMm = Field(0.002, alias="arc-tolerance")
    program_end: Literal["M2", "M30"] = Field("M2", alias="program-end")


class Feed(Record):
    """Speeds of the job; whatever is left out comes from wood, bit and machine."""

    cut_mm_min: FeedMmMin | None = Field(None, alias="cut")
    plunge_mm_min: FeedMmMin | None = Field(None, alias="plunge")
    spindle_rpm: SpeedRpm | None = Field(None, alias="spindle")


class Zero(Record):
    """Where the user sets the work origin."""

    xy: Literal["front-left", "front-right", "back-left", "back-right", "centre"] = "front-left"
    z: Literal["top", "bed"] = "top"


class PlanChoice(Record):
    """How to order the cutting: ``recut`` allows travelling along a groove already cut; ``hop`` is the lift's height."""

    recut: Literal["never", "allow"] = "allow"
    hop_mm: PositiveMm | None = Field(None, alias="hop")  # default: 1 mm, or the safe height if that is lower


class Clamp(Record):
    """A clamp or screw head the bit must not touch: a rectangle measured from the piece's front left corner."""

    x_mm: LengthMm = Field(alias="x")
    y_mm: LengthMm = Field(alias="y")
    width_mm: PositiveMm = Field(alias="width")
    height_mm: PositiveMm = Field(alias="height")  # along Y
    above_mm: PositiveMm = Field(alias="above")  # how far it stands above the piece's top


class JobFile(Record):
    """A job as written: bit, machine and pattern may still be names."""

    piece: Piece
    title: Text = ""
    pattern: PatternChoice
    groove: Groove
    bit: Bit | Text
    machine: Text
    feed: Feed = Feed()
    zero: Zero = Zero()
    plan: PlanChoice = PlanChoice()
    clamps: tuple[Clamp, ...] = ()


class Wood(Record):
    """What the tables say of a wood; see ``data/woods.yaml`` for the source of every figure."""

    name: Text
    title: Text
    hardness_n: float = Field(alias="hardness")  # side hardness (Janka), newtons
    gravity: float  # specific gravity at 12 % moisture
    chip_low_mm: PositiveMm = Field(alias="chip-low")  # chip load per tooth, small V-bits
    chip_high_mm: PositiveMm = Field(alias="chip-high")
    plunge_share: Factor = Field(alias="plunge-share")  # plunge feed as a share of the cutting feed
    step_mm: PositiveMm = Field(alias="step")  # depth per level
    tint: Text  # colour of the planed surface, #rrggbb
    note: Text = ""


class Job(Record):
    """A job with every name looked up and every default filled in: what all later rooms work from."""

    title: str
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
    recut: Literal["never", "allow"]
    hop_mm: float
    clamps: tuple[Clamp, ...] = ()
    folder: str = "."  # where paths inside the job are looked up
