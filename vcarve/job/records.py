"""A job: what its file or a dict says, every name looked up, and what follows from it.

Feed = flutes x chip load x spindle speed (Machinery's Handbook, speeds and feeds; every cutter maker's formula page).
The choice of chip load and speed is common practice for small spindles, without a single source: run wood as
fast as the spindle gives, start at the low end of the chip load, halve it for fine tips, which break first; and
when the machine cannot feed that fast, slow the spindle down rather than rub and scorch.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from os import PathLike, fspath
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import Field, PrivateAttr, ValidationInfo, field_validator

from vcarve.job.bench import Bit, Cutter, Machine, Wood, file_of, is_file, load_bit, load_machine
from vcarve.job.document import STDIN_NAME, Document, document_of, read_document
from vcarve.job.fields import Text
from vcarve.job.record import SECOND_LOOK, Broken, Named, Record, record_from
from vcarve.job.sections import DEPTH_WANTED, Clamp, CutOut, Feed, Groove, PatternChoice, Piece, Plan, Zero
from vcarve.job.surface import Surface, load_surface
from vcarve.quantity import FIGURES, Figures, format_mm

HOP_MM = 1.0
CLAMP_ROOM_MM = 1.0  # between the bit and the tallest clamp on its way across
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


def is_fine(bit: Cutter) -> bool:
    """Say whether the tip is so fine that it breaks before the rest of the bit is loaded."""
    if not isinstance(bit, Bit):
        return False
    tip_mm = max(bit.tip_mm, 2.0 * bit.tip_radius_mm)
    return tip_mm <= FINE_TIP_MM and bit.angle_deg <= FINE_ANGLE_DEG


def chips_mm(wood: Wood, bit: Cutter) -> tuple[float, float]:
    """Return the thinnest chip per tooth, which is the one to start with, and the thickest."""
    share = FINE_SHARE if is_fine(bit) else 1.0
    return wood.chip_low_mm * share, wood.chip_high_mm * share


def speeds_of(wood: Wood, bit: Cutter, machine: Machine, given: Feed) -> Speeds:
    """Fill in what is left out; a value that is given is kept even where the machine cannot reach it."""
    chip, _ = chips_mm(wood, bit)
    largest = machine.largest_feed_mm_min
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


class Job(Record):
    """A job as its file says it, every name looked up, and what follows from it where the file leaves it out."""

    piece: Piece = Field(description="the stock to be engraved")
    title: Text = Field(
        "", description="a line of your own; it goes into the program's header and onto the bench sheet"
    )
    units: Literal["mm", "inch"] | None = Field(
        None,
        description="mm or inch, for summary, page and sheet; left out, the machine's; a bare number stays mm",
    )
    pattern: PatternChoice = Field(description="which lines, how large, and how they lie on the piece")
    groove: Groove = Field(Groove(), validate_default=True, description="how deep")
    bit: Annotated[Bit, Named(lambda name, _: load_bit(name))] = Field(
        description="a name from 'mizo bits', or the bit's own measures"
    )
    machine: Annotated[Machine, Named(load_machine, spelled=False)] = Field(
        description="a name from 'mizo machines', or the path of a machine file"
    )
    feed: Feed = Field(Feed(), description="speeds; what is left out comes from wood, bit and machine")
    zero: Zero = Field(Zero(), validate_default=True, description="where you set the work origin")
    plan: Plan = Field(Plan(), description="how the cutting is ordered")
    clamps: tuple[Clamp, ...] = Field((), description="places the bit must keep clear of")
    surface: Annotated[Surface | None, Named(load_surface, spelled=False, listed=False)] = Field(
        None,
        description="file of how high the top stands from place to place, which the program follows: the log or file of the "
        "probes of 'mizo probe', or a table of X, Y and height above the top at X0 Y0, a point to a line; left out, it is flat",
    )
    cut_out: CutOut | None = Field(
        None,
        description="how the piece is cut out of its board, by a second program; left out, it is the board",
    )

    _document: Document | None = PrivateAttr(None)  # as written

    @field_validator("groove")
    @classmethod
    def _depth_is_known(cls, groove: Groove, info: ValidationInfo) -> Groove:
        choice, written = info.data.get("pattern"), info.context
        # Where the section of a drawing is wrong, nobody can tell yet whether its layers have depths.
        drawn = isinstance(written, Document) and choice is None and written.written(("pattern", "drawing"))
        if groove.depths_mm is None and not drawn and written is not SECOND_LOOK:
            if choice is None or choice.drawing is None:
                raise Broken("", DEPTH_WANTED)
            if not choice.depths:
                raise Broken("", "give 'depth', or 'depths' under 'pattern': a depth for each layer to cut")
            if any(frame.depth_mm is None for frame in choice.frame):
                raise Broken("", "give 'depth', or the frame a depth of its own")
        return groove

    @field_validator("zero")
    @classmethod
    def _zero_lies_on_the_piece(cls, zero: Zero, info: ValidationInfo) -> Zero:
        """Take the centre of a piece whose corner would be in the air, and no turn that moves nothing."""
        piece, machine = info.data.get("piece"), info.data.get("machine")
        if piece is None or not isinstance(machine, Machine):
            return zero
        across_mm = math.hypot(piece.width_mm, piece.height_mm)
        moves = math.radians(abs(zero.turn_deg)) * across_mm >= 0.5 * machine.last_decimal_mm
        round_ = piece.outline.shape in ("circle", "ellipse", "polygon") and "xy" not in zero.model_fields_set
        update = {"xy": "centre" if round_ else zero.xy, "turn_deg": zero.turn_deg if moves else 0.0}
        return zero.model_copy(update=update)

    @field_validator("plan")
    @classmethod
    def _hop_is_safe(cls, plan: Plan, info: ValidationInfo) -> Plan:
        machine = info.data.get("machine")
        if isinstance(machine, Machine) and (plan.hop_mm or 0.0) > machine.safe_height_mm:
            safe = format_mm(machine.safe_height_mm)
            raise Broken("hop", f"must be at most the machine's safe height, {safe}")
        return plan

    def _broken(self) -> Iterator[Broken]:
        half = min(self.piece.width_mm, self.piece.height_mm) / 2.0
        want = f"must be less than half the shorter side, {format_mm(half)}"
        if self.pattern.margin_mm >= half:
            yield Broken("pattern.margin", want)
        for index, frame in enumerate(self.pattern.frame):
            if frame.distance_mm >= half:
                yield Broken(f"pattern.frame.{index}.distance", want)
        thick = self.piece.thickness_mm
        if self.cut_out is not None and self.cut_out.tabs and self.cut_out.tab.height_mm >= thick:
            yield Broken("cut-out.tab", f"a tab must be lower than the piece is thick, {format_mm(thick)}")

    def model_post_init(self, context: Any) -> None:
        """Keep the document that a job is read from."""
        self._document = context if isinstance(context, Document) else None

    @property
    def name(self) -> str:
        """What the piece is called."""
        return self.title or "Untitled piece"

    @property
    def figures(self) -> Figures:
        """How figures are written for people."""
        return FIGURES[self.units or self.machine.units]

    @property
    def depths_mm(self) -> tuple[float, float]:
        """Depth of ground lines and of leaf lines; where nothing is cut at the groove's own, the deepest of the others."""
        deepest_mm = max(self.pattern.depths.values(), default=0.0)
        return self.groove.depths_mm or (deepest_mm, deepest_mm)

    @property
    def usual_step_mm(self) -> float:
        """Depth per level: the wood's figure, less where the machine is not stiff."""
        return self.piece.wood.step_mm * self.machine.step_share

    @property
    def step_mm(self) -> float:
        """Deepest cut per level."""
        return self.groove.step_mm or self.usual_step_mm

    @property
    def taper_mm(self) -> float:
        """Over how long a way loose ends of lines rise to the surface; 0 for none."""
        return self.groove.taper_mm or 0.0

    @property
    def speeds(self) -> Speeds:
        """Feeds and spindle speed."""
        return speeds_of(self.piece.wood, self.bit, self.machine, self.feed)

    @property
    def cut_out_speeds(self) -> Speeds:
        """Feeds and spindle speed of the end mill; those of the job where nothing is cut out."""
        if self.cut_out is None:
            return self.speeds
        return speeds_of(self.piece.wood, self.cut_out.bit, self.machine, self.cut_out.feed)

    @property
    def cut_out_step_mm(self) -> float:
        """Deepest cut of the end mill per turn."""
        if self.cut_out is None:
            return self.step_mm
        return self.cut_out.step_mm or min(self.usual_step_mm, 0.5 * self.cut_out.bit.diameter_mm)

    @property
    def hop_mm(self) -> float:
        """How high the bit rises between passes: as wished, or a millimetre; over the tallest clamp in any case.

        Never above the safe height: a clamp that stands higher is a finding of its own (see ``job.suitability``).
        """
        tallest = max((clamp.above_mm + CLAMP_ROOM_MM for clamp in self.clamps), default=0.0)
        return min(max(self.plan.hop_mm or HOP_MM, tallest), self.machine.safe_height_mm)

    @property
    def clamps_mm(self) -> list[list[float]]:
        """Front left corner of each clamp from the piece's centre, and its size along X and Y."""
        half_x, half_y = self.piece.width_mm / 2.0, self.piece.height_mm / 2.0
        return [[one.x_mm - half_x, one.y_mm - half_y, one.width_mm, one.height_mm] for one in self.clamps]

    @property
    def document(self) -> Document | None:
        """The job as it was written; ``None`` for one put together by a script."""
        return self._document

    @property
    def folder(self) -> str:
        """Where paths inside the job are looked up."""
        return "." if self._document is None else self._document.folder

    @property
    def files(self) -> tuple[str, ...]:
        """The paths of every file that is read for the job: nothing is ever written over them."""
        if (document := self._document) is None:
            return ()
        pattern, outline = self.pattern, self.piece.outline
        named = [pattern.name if is_file(pattern.name or "") else None, pattern.drawing, outline.file]
        beside = [str(Path(document.folder) / name) for name in named if name]
        own = None if document.file == STDIN_NAME else document.file
        machine = document.written(("machine",))
        bench = [file_of("machine", machine.strip(), document.folder)] if machine else []
        heights = document.written(("surface",)) if self.surface else None
        beside += [str(Path(document.folder) / heights.strip())] if heights else []
        return tuple(path for path in (own, *bench, *beside) if path)


def load_job(
    source: str | PathLike[str] | Mapping[str, Any], sets: Iterable[str] = (), *, folder: str = "."
) -> Job:
    """Return a job from the path of its file, or from a dict of the same keys and values, with every name looked up.

    Values are numbers (mm, degrees, mm/min, rpm) or text with a unit.  Each of ``sets`` changes one key, as ``--set`` does.
    Paths inside a job are looked up from its file's folder, inside a dict from ``folder``.  Raises ``InputError`` with every
    problem and its key path; of a file with the line as well.

    >>> vcarve.load_job("tile.yaml", ["groove.depth=1/32 in"]).groove.depth_mm
    0.79375
    >>> job = {
    ...     "piece": {"width": 60, "height": "2 in", "thickness": 8, "wood": "cherry-black"},
    ...     "pattern": {"name": "asanoha", "pitch": "about 18 mm"},
    ...     "groove": {"depth": 0.8},
    ...     "bit": "v60-3.175",
    ...     "machine": "small-desktop",
    ... }
    >>> vcarve.load_job(job).piece.height_mm
    50.8
    >>> vcarve.load_job({**job, "groove": {"depth": -1}})
    Traceback (most recent call last):
    vcarve.errors.InputError: groove.depth: '-1': must be more than 0 mm
    """
    if isinstance(source, Mapping):
        return record_from(document_of(source, folder=folder, sets=sets), Job)
    return record_from(read_document(fspath(source), sets), Job)
