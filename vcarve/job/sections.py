"""The sections of a job: frozen, validated; millimetres, degrees, mm/min, seconds.

Rules that join several keys of one section are checked here, as soon as every key of the section is right by itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, ClassVar, Literal, get_args

from pydantic import BeforeValidator, Field, WithJsonSchema

from vcarve.job.bench import EndMill, Wood, file_of, load_end_mill, load_wood
from vcarve.job.fields import (
    AngleDeg,
    FeedMmMin,
    Flag,
    LengthMm,
    NotNegativeMm,
    PitchMm,
    PositiveMm,
    RampDeg,
    RapidMm,
    SpeedRpm,
    Tab,
    TabSize,
    TaperMm,
    Text,
    TurnDeg,
    TurnMm,
    whole,
)
from vcarve.job.record import Broken, Named, Record
from vcarve.quantity import format_deg, format_mm


class Outline(Record):
    """The shape of a piece that is not a plain rectangle.  It fills the piece's width and height."""

    shape: Literal["rectangle", "rounded", "circle", "ellipse", "polygon", "drawing"] = Field(
        "rectangle", description="it fills the piece's width and height"
    )
    radius_mm: PositiveMm | None = Field(None, description="radius of the corners (rounded)")
    sides: Annotated[int, whole(3, 360)] | None = Field(None, description="number of sides (polygon)")
    turn_deg: AngleDeg = Field(0.0, description="turn of the polygon; 0 has a flat side at the front")
    file: Text | None = Field(None, description="SVG or DXF file with one closed path, and holes (drawing)")
    layer: Text | None = Field(None, description="only this layer of the file (drawing)")

    def _broken(self) -> Iterator[Broken]:
        given = {
            ("rounded", "radius"): self.radius_mm,
            ("polygon", "sides"): self.sides,
            ("polygon", "turn"): self.turn_deg or None,
            ("drawing", "file"): self.file,
            ("drawing", "layer"): self.layer,
        }
        for (shape, key), value in given.items():
            if value is None and self.shape == shape and key not in ("turn", "layer"):
                yield Broken("shape", f"the shape {shape!r} needs the key {key!r} as well")
            if value is not None and self.shape != shape:
                want = f"only the shape {shape!r} takes this key; leave it out, or change the shape"
                yield Broken(key, want)


class Piece(Record):
    """The stock to be engraved."""

    width_mm: PositiveMm = Field(description="size along X")
    height_mm: PositiveMm = Field(description="size along Y")
    thickness_mm: PositiveMm = Field(description="thickness of the stock")
    wood: Annotated[Wood, Named(lambda name, _: load_wood(name))] = Field(
        description="a name from 'mizo woods', or the figures of a wood of your own"
    )
    outline: Outline = Field(Outline(), description="the shape of a piece that is not a rectangle")

    def _broken(self) -> Iterator[Broken]:
        shape, shorter = self.outline.shape, min(self.width_mm, self.height_mm)
        if shape == "circle" and self.width_mm != self.height_mm:
            want = "a circle is as wide as it is high; make them equal or write 'ellipse'"
            yield Broken("outline.shape", want)
        if shape == "rounded" and (self.outline.radius_mm or 0.0) > shorter / 2.0:
            want = f"at most half the shorter side, {format_mm(shorter / 2.0)}, is possible"
            yield Broken("outline.radius", want)


class Frame(Record):
    """Border lines at a distance inside the outline, with a depth of their own."""

    distance_mm: PositiveMm = Field(description="distance of the border line from the outline")
    depth_mm: PositiveMm | None = Field(None, description="its own depth; left out, that of the ground lines")


def _known_pattern(name: str, _: str) -> str:
    """Return the name of a pattern; a path is taken on trust."""
    file_of("pattern", name)
    return name


CLOSE_GAPS_MM = 0.05  # where a drawing's lines are read and nothing else is said


class PatternChoice(Record):
    """Which pattern, how large, and how it lies on the piece."""

    name: Annotated[Text, Named(_known_pattern, spelled=False)] | None = Field(
        None, description="a name from 'mizo patterns', or the path of a pattern file"
    )
    drawing: Text | None = Field(
        None,
        description="SVG or DXF file of lines, instead of a pattern; they lie as on their page if that is "
        "as large as the piece, else centred",
    )
    depths: dict[str, PositiveMm] = Field(
        {}, description="drawing: depth for each layer or colour to cut; layers left out are not cut"
    )
    close_gaps_mm: NotNegativeMm = Field(
        CLOSE_GAPS_MM, description="drawing: ends nearer than this are joined"
    )
    lost_lines: Literal["refuse", "allow"] = Field(
        "refuse",
        description="drawing: allow cuts it even where most of its lines lie outside the piece or the margin",
    )
    pitch_mm: PitchMm | None = Field(
        None,
        description="length of the pattern's unit on the piece; 'about 22 mm' takes the nearest that fits",
    )
    across: Annotated[int, whole(1, 1000)] | None = Field(
        None, description="how many units across the width, instead of a pitch"
    )
    edge: Literal["groove", "plain"] = Field(
        "groove", description="groove cuts lines that lie on the piece's edge, plain leaves them"
    )
    ends: Literal["outline", "run-off"] = Field(
        "outline", description="where lines end: at the outline, or running off it by half the groove's width"
    )
    margin_mm: NotNegativeMm = Field(
        0.0, description="a border inside the outline without lines, but for frames"
    )
    frame: tuple[Frame, ...] = Field(
        (),
        max_length=50,  # each is another outline that every line is cut at
        description="border lines at a distance inside the outline; nearer than the margin they leave a plain band",
    )
    rotate_deg: AngleDeg = Field(0.0, description="turn of the pattern, counter-clockwise")
    shift_x_mm: LengthMm = Field(0.0, description="shift of the pattern to the right")
    shift_y_mm: LengthMm = Field(0.0, description="shift of the pattern to the back")
    mirror: Flag = Field(False, description="true mirrors the pattern left to right")

    def _broken(self) -> Iterator[Broken]:
        if (self.name is None) == (self.drawing is None):
            wanted = "give either 'name' or 'drawing', one of the two"
            yield Broken("name", wanted, "drawing") if self.name else Broken("", wanted)
        elif self.name is not None:
            if (self.pitch_mm is None) == (self.across is None):
                wanted = "give either 'pitch' or 'across', one of the two"
                yield Broken("", wanted) if self.across is None else Broken("across", wanted, "pitch")
            for key, given, want in (
                ("depths", self.depths, "layers with depths; see 'ground' and 'leaf' in 'groove'"),
                ("lost-lines", self.lost_lines == "allow", "lines to lose; leave this key out"),
                ("close-gaps", self.close_gaps_mm != CLOSE_GAPS_MM, "gaps to close; leave this key out"),
            ):
                if given:
                    yield Broken(key, f"only a drawing has {want}")
        else:
            for key, value in (("pitch", self.pitch_mm), ("across", self.across)):
                if value is not None:
                    yield Broken(key, "a drawing keeps its own size; leave this key out", "drawing")


DEPTH_WANTED = "give 'depth' for all lines, or 'ground' and 'leaf' apart"


class Groove(Record):
    """How deep: ``depth`` for all lines, or ``ground`` and ``leaf`` apart; ``step`` is the depth per level.

    None is given where all that is cut has a depth of its own: layers of a drawing, frames.
    """

    depth_mm: PositiveMm | None = Field(
        None, description="depth of all lines; needed unless all that is cut has a depth of its own"
    )
    ground_mm: PositiveMm | None = Field(
        None, description="depth of the base grid's lines, together with 'leaf'"
    )
    leaf_mm: PositiveMm | None = Field(
        None, description="depth of the infill's lines, together with 'ground'"
    )
    step_mm: PositiveMm | None = Field(
        None, description="deepest cut per level; left out, the usual one for wood and machine"
    )
    taper_mm: TaperMm | None = Field(
        None,
        description="ends of lines that end in nothing rise to the surface over this length, measured along the line, and so end "
        "in a point; a shorter line rises over all of its length, one with two such ends over half of it from each; ends at a "
        "margin are such ends unless a frame closes them, those at the piece's edge are not",
    )
    lost_land: Literal["refuse", "allow"] = Field(
        "refuse", description="allow cuts a job even where most cells keep no land between the grooves"
    )

    def _broken(self) -> Iterator[Broken]:
        if self.depth_mm is not None:
            both = {"ground": self.ground_mm, "leaf": self.leaf_mm}
            if apart := [key for key, value in both.items() if value is not None]:
                yield Broken(apart[0], f"{DEPTH_WANTED}, not both", *apart[1:], "depth")
        elif (self.ground_mm is None) != (self.leaf_mm is None):
            given, other = ("ground", "leaf") if self.leaf_mm is None else ("leaf", "ground")
            want = f"{given!r} alone is not enough; give {other!r} as well, or 'depth' for all lines"
            yield Broken(given, want)

    @property
    def depths_mm(self) -> tuple[float, float] | None:
        """Depth of ground lines and of leaf lines; ``None`` where none is given."""
        ground, leaf = self.ground_mm or self.depth_mm, self.leaf_mm or self.depth_mm
        return (ground, leaf) if ground and leaf else None


class Feed(Record):
    """Speeds of the job; whatever is left out comes from wood, bit and machine."""

    cut_mm_min: FeedMmMin | None = Field(None, description="feed along the grooves")
    plunge_mm_min: FeedMmMin | None = Field(None, description="feed straight down")
    spindle_rpm: SpeedRpm | None = Field(None, description="spindle speed")


ZeroPlace = Literal["front-left", "front-right", "back-left", "back-right", "centre"]
ZeroWord = Annotated[
    ZeroPlace,
    BeforeValidator(lambda word: "centre" if word == "center" else word),
    WithJsonSchema({"enum": [*get_args(ZeroPlace), "center"], "type": "string"}),
]


class Zero(Record):
    """Where the user sets the work origin, and how the piece lies there."""

    _worked_out: ClassVar[frozenset[str]] = frozenset({"xy"})
    xy: ZeroWord = Field(
        "front-left",
        description="the corner of the piece, or its centre, where X and Y are zero; left out, the front left "
        "corner, or the centre of a circle, ellipse or polygon",
    )
    z: Literal["top", "bed"] = Field(
        "top", description="where Z is zero: top of the piece, or the bed it lies on"
    )
    turn_deg: TurnDeg = Field(
        0.0,
        description="how far the piece lies turned about X0 Y0, counter-clockwise seen from above; measured along its "
        "front edge",
    )

    @property
    def corner(self) -> str:
        """Where X and Y are zero, in words."""
        return self.xy if self.xy == "centre" else f"{self.xy.replace('-', ' ')} corner"

    @property
    def level(self) -> str:
        """Where Z is zero, in words."""
        return "top of the piece" if self.z == "top" else "bed"

    @property
    def turn(self) -> str:
        """How the piece lies turned, in words; empty where it lies straight."""
        if not self.turn_deg:
            return ""
        way = "counter-clockwise" if self.turn_deg > 0 else "clockwise"
        return f"the piece lies turned {format_deg(abs(self.turn_deg), 6)} {way} about X0 Y0"


class Plan(Record):
    """How to order the cutting: ``hop`` is a lift's height, ``recut`` whether the bit may travel along grooves.

    ``never``: nothing is gone along where it is already as deep.  ``allow``: a line is gone along once for each level of the job,
    and at most once more to travel; the job has as many levels as its deepest line has steps.
    """

    recut: Literal["never", "allow"] = Field(
        "allow",
        description="allow lets the bit travel along grooves where that is quicker than lifting, along each line "
        "once at most; never forbids it",
    )
    hop_mm: RapidMm | None = Field(None, description="how high the bit rises between passes")


class Clamp(Record):
    """A clamp or screw head the bit must not touch: a rectangle from the piece's front left corner."""

    x_mm: LengthMm = Field(
        description="left side, from the piece's front left corner along its edge; it turns with the piece"
    )
    y_mm: LengthMm = Field(description="front side, from the piece's front left corner")
    width_mm: PositiveMm = Field(description="size along X")
    height_mm: PositiveMm = Field(description="size along Y")
    above_mm: PositiveMm = Field(description="how far it stands above the piece's top")


class CutOut(Record):
    """How the piece is cut out of its board: a second program for an end mill, round the holes and then round the outline."""

    bit: Annotated[EndMill, Named(lambda name, _: load_end_mill(name))] = Field(
        description="an end mill from 'mizo bits', or its own measures"
    )
    tabs: Annotated[int, whole(0, 100)] = Field(
        4,
        description="how many tabs hold the piece in its board; fewer in a hole that has no room for them, 0 for none",
    )
    tab: Tab = Field(TabSize(5.0, 1.0), description="how wide a tab is and how high above the piece's bottom")
    step_mm: TurnMm | None = Field(
        None,
        description="deepest cut per turn; left out, the usual one for wood and machine, half the diameter at most",
    )
    through_mm: NotNegativeMm = Field(
        0.3, description="how far below the piece the bit goes, into a spoil board that you lay under it"
    )
    ramp_deg: RampDeg = Field(
        10.0,
        description="steepest slope at which the bit goes down; it goes down along its way, never straight",
    )
    lead_in: Flag = Field(
        False,
        description="true begins beside the outline, in the waste, where there is room, and comes to it by an arc",
    )
    direction: Literal["climb", "conventional"] = Field(
        "climb",
        description="climb: the edge turns with the feed, which leaves the cleaner edge; conventional: against it, which "
        "pulls less on a machine with play",
    )
    feed: Feed = Field(
        Feed(), description="speeds of the end mill; what is left out comes from wood, bit and machine"
    )

    def _broken(self) -> Iterator[Broken]:
        known = isinstance(self.bit, EndMill)  # else a name that stands for nothing, told apart
        if known and self.step_mm is not None and self.step_mm > self.bit.diameter_mm + 1e-9:
            wide = format_mm(self.bit.diameter_mm)
            yield Broken("step", f"an end mill takes no more at once than it is wide, {wide}")

    @property
    def over_mm(self) -> float:
        """How far the middle of the bit goes level over a tab: a round bit reaches half of itself beyond either end."""
        return self.tab.width_mm + self.bit.diameter_mm

    @property
    def slope(self) -> float:
        """Steepest fall per mm of way."""
        return math.tan(math.radians(self.ramp_deg))

    @property
    def ramp_mm(self) -> float:
        """How long the way down behind a tab is."""
        return (self.tab.height_mm + self.through_mm) / self.slope

    def tabs_on(self, way_mm: float) -> int:
        """Return how many tabs there is room for on a way round."""
        return int(way_mm / (self.over_mm + 2.0 * self.ramp_mm))
