"""The records a job is made of: frozen, validated; millimetres, degrees, mm/min, seconds.

Each field's alias is the key a person writes in YAML; the field's own name carries the unit.  Rules that join
several keys of one section are checked here, as soon as every key of the section is right by itself.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self, get_args

from pydantic import (
    BeforeValidator,
    Field,
    ValidationInfo,
    WithJsonSchema,
    field_validator,
    model_validator,
)

from vcarve.job.bench import Bit, BitChoice, Machine, Wood, WoodChoice
from vcarve.job.fields import (
    AngleDeg,
    FeedMmMin,
    Flag,
    LengthMm,
    NotNegativeMm,
    PitchMm,
    PositiveMm,
    RapidMm,
    SpeedRpm,
    Text,
    whole,
)
from vcarve.job.record import Record, refuse
from vcarve.quantity import FIGURES, Figures, format_mm


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
            raise refuse("shape", f"the shape {self.shape!r} needs the key {needed!r} as well")
        homes = {"radius": "rounded", "sides": "polygon", "file": "drawing", "layer": "drawing"}
        for key, shape in homes.items():
            if given[key] is not None and self.shape != shape:
                raise refuse(
                    key, f"only the shape {shape!r} takes this key; leave it out, or change the shape"
                )
        if self.turn_deg and self.shape != "polygon":
            raise refuse("turn", "only the shape 'polygon' takes this key; leave it out, or change the shape")
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
            raise refuse(
                "outline.shape", "a circle is as wide as it is high; make them equal or write 'ellipse'"
            )
        if shape == "rounded" and (self.outline.radius_mm or 0.0) > shorter / 2.0:
            raise refuse(
                "outline.radius", f"at most half the shorter side, {format_mm(shorter / 2.0)}, is possible"
            )
        return self


MOST_FRAMES = 50  # each is another outline that every line is cut at


class Frame(Record):
    """Border lines at a distance inside the outline, with a depth of their own."""

    distance_mm: PositiveMm = Field(alias="distance")
    depth_mm: PositiveMm | None = Field(None, alias="depth")  # default: the ground lines' depth


class PatternChoice(Record):
    """Which pattern, how large, and how it lies on the piece."""

    name: Text | None = None  # from the catalogue, or a path to a pattern file
    drawing: Text | None = None  # SVG or DXF file of lines, instead of a pattern
    depths: dict[str, PositiveMm] = Field({})  # drawing: layer or colour -> depth
    close_gaps_mm: NotNegativeMm = Field(0.05, alias="close-gaps")  # drawing: tolerance for joining ends
    lost_lines: Literal["refuse", "allow"] = Field("refuse", alias="lost-lines")  # drawing: most lie outside
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
        if len(self.frame) > MOST_FRAMES:
            raise refuse("frame", f"give at most {MOST_FRAMES} frames")
        if (self.name is None) == (self.drawing is None):
            wanted = "give either 'name' or 'drawing', one of the two"
            raise refuse("name", wanted, "drawing") if self.name else refuse("", wanted)
        if self.name is not None:
            if (self.pitch_mm is None) == (self.across is None):
                wanted = "give either 'pitch' or 'across', one of the two"
                raise refuse("", wanted) if self.across is None else refuse("across", wanted, "pitch")
            if self.depths:
                raise refuse(
                    "depths", "only a drawing has layers with depths; see 'ground' and 'leaf' in 'groove'"
                )
            if self.lost_lines == "allow":
                raise refuse("lost-lines", "only a drawing has lines to lose; leave this key out")
        else:
            for key, value in (("pitch", self.pitch_mm), ("across", self.across)):
                if value is not None:
                    raise refuse(key, "a drawing keeps its own size; leave this key out", "drawing")
        return self


DEPTH_WANTED = "give 'depth' for all lines, or 'ground' and 'leaf' apart"


class Groove(Record):
    """How deep: ``depth`` for all lines, or ``ground`` and ``leaf`` apart; ``step`` is the depth per level.

    None is given where all that is cut has a depth of its own: layers of a drawing, frames.
    """

    depth_mm: PositiveMm | None = Field(None, alias="depth")
    ground_mm: PositiveMm | None = Field(None, alias="ground")
    leaf_mm: PositiveMm | None = Field(None, alias="leaf")
    step_mm: PositiveMm | None = Field(None, alias="step")
    lost_land: Literal["refuse", "allow"] = Field("refuse", alias="lost-land")  # where most cells keep none

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.depth_mm is not None:
            apart = [
                key
                for key, value in (("ground", self.ground_mm), ("leaf", self.leaf_mm))
                if value is not None
            ]
            if apart:
                raise refuse(apart[0], f"{DEPTH_WANTED}, not both", *apart[1:], "depth")
        elif (self.ground_mm is None) != (self.leaf_mm is None):
            given, other = ("ground", "leaf") if self.leaf_mm is None else ("leaf", "ground")
            raise refuse(
                given, f"{given!r} alone is not enough; give {other!r} as well, or 'depth' for all lines"
            )
        return self

    @property
    def depths_mm(self) -> tuple[float, float] | None:
        """Depth of ground lines and of leaf lines; ``None`` where none is given."""
        ground, leaf = self.ground_mm or self.depth_mm, self.leaf_mm or self.depth_mm
        return (ground, leaf) if ground and leaf else None


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

    @property
    def corner(self) -> str:
        """Where X and Y are zero, in words."""
        return self.xy if self.xy == "centre" else f"{self.xy.replace('-', ' ')} corner"

    @property
    def level(self) -> str:
        """Where Z is zero, in words."""
        return "top of the piece" if self.z == "top" else "bed"


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


class JobFile(Record):
    """A job as written: wood, bit, machine and pattern may still be names."""

    piece: Piece
    title: Text = ""
    units: Literal["mm", "inch"] | None = None  # of the figures people read; None: the machine's
    pattern: PatternChoice
    groove: Groove = Field(Groove(), validate_default=True)
    bit: BitChoice
    machine: Text
    feed: Feed = Feed()
    zero: ZeroChoice = ZeroChoice()
    plan: PlanChoice = PlanChoice()
    clamps: tuple[Clamp, ...] = ()

    @field_validator("groove")
    @classmethod
    def _depth_is_known(cls, groove: Groove, info: ValidationInfo) -> Groove:
        choice = info.data.get("pattern")  # none where the section is wrong or missing: then it is asked for
        if groove.depths_mm is None:
            if choice is None or choice.drawing is None:
                raise refuse("", DEPTH_WANTED)
            if not choice.depths:
                raise refuse("", "give 'depth', or 'depths' under 'pattern': a depth for each layer to cut")
            if any(frame.depth_mm is None for frame in choice.frame):
                raise refuse("", "give 'depth', or the frame a depth of its own")
        return groove

    @model_validator(mode="after")
    def _lines_fit(self) -> Self:
        half = min(self.piece.width_mm, self.piece.height_mm) / 2.0
        if self.pattern.margin_mm >= half:
            raise refuse("pattern.margin", f"must be less than half the shorter side, {format_mm(half)}")
        for index, frame in enumerate(self.pattern.frame):
            if frame.distance_mm >= half:
                key = f"pattern.frame.{index}.distance"
                raise refuse(key, f"must be less than half the shorter side, {format_mm(half)}")
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
    def name(self) -> str:
        """What the piece is called."""
        return self.title or "Untitled piece"

    @property
    def figures(self) -> Figures:
        """How figures are written for people."""
        return FIGURES[self.units]
