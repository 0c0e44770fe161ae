"""What lies on the bench: wood, bit and machine, found by name or path; millimetres, degrees, mm/min, seconds."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Annotated, Literal, TypeAlias, TypeVar

from pydantic import Field

import vcarve
from vcarve.errors import InputError, Problem
from vcarve.job.document import Document, read_document
from vcarve.job.fields import (
    AccelerationMmS2,
    BitAngleDeg,
    ChordMm,
    Colour,
    Correlation,
    Factor,
    FeedMmMin,
    Flag,
    NotNegativeMm,
    PositiveMm,
    PositiveNumber,
    RapidMm,
    SecondsS,
    SpeedRpm,
    SpreadDeg,
    Text,
    whole,
)
from vcarve.job.record import Broken, Record, record_from, unknown_name
from vcarve.quantity import FIGURES, Figures, format_mm

_PACKAGE = Path(vcarve.__file__).parent
_SUFFIXES = (".yaml", ".yml")
_BY_PATH = " (a file of your own is given by its path, ending in .yaml)"


class Wood(Record):
    """What a wood takes, from the tables (see ``data/woods.yaml`` for the source of every figure) or from the job."""

    name: Text = Field("own", description="the wood's short name")
    title: Text = Field(description="the wood in words, for the program's header and the bench sheet")
    hardness_n: PositiveNumber | None = Field(
        None, description="side hardness (Janka) in newtons; nothing is worked out from it"
    )
    gravity: PositiveNumber | None = Field(
        None, description="specific gravity at 12 % moisture; nothing is worked out from it"
    )
    moves_flat_sawn: PositiveNumber | None = Field(
        None,
        description="change across the grain of flat-sawn wood per percent point of moisture, as a share of it",
    )
    moves_quarter_sawn: PositiveNumber | None = Field(None, description="the same of quarter-sawn wood")
    chip_low_mm: PositiveMm = Field(
        description="thinnest chip per cutting edge and turn; speeds that are left out start here"
    )
    chip_high_mm: PositiveMm = Field(description="thickest chip per cutting edge and turn; more is a caution")
    plunge_share: Factor = Field(description="plunge feed as a share of the cutting feed")
    step_mm: PositiveMm = Field(description="depth per level, on a machine that is stiff")
    tint: Colour = Field("#d9bf94", description="colour of the planed wood in pictures")
    note: Text = Field("", description="a remark; nothing is worked out from it")

    def _broken(self) -> Iterator[Broken]:
        if self.chip_low_mm > self.chip_high_mm:
            yield Broken("chip-high", f"must be at least chip-low, {format_mm(self.chip_low_mm)}")


class Uncertainty(Record):
    """How far a bit's figures may be off either way, as 'mizo fit' tells it: half of 95 % intervals."""

    angle_deg: SpreadDeg = Field(0.0, description="of the angle")
    tip_mm: NotNegativeMm = Field(
        0.0, description="of the tip's flat; of a rounded tip where its cone's line begins"
    )
    correlation: Correlation = Field(0.0, description="how angle and tip go together, from -1 to 1")
    height_mm: NotNegativeMm = Field(
        0.0, description="of the height at which the zero is set, each time anew"
    )


class Bit(Record):
    """A V-bit: full included angle, cutting diameter, shank, and a flat or a rounded tip."""

    name: Text | None = Field(None, description="the bit's name")
    angle_deg: BitAngleDeg = Field(description="full included angle of the V")
    diameter_mm: PositiveMm = Field(description="cutting diameter, where the cone ends")
    shank_mm: PositiveMm = Field(description="diameter of the shank that the collet holds")
    tip_mm: NotNegativeMm = Field(0.0, description="width of the flat at the tip")
    tip_radius_mm: NotNegativeMm = Field(0.0, description="radius of a rounded tip")
    flutes: Annotated[int, whole(1, 8)] = Field(2, description="number of cutting edges")
    uncertainty: Uncertainty | None = Field(
        None, description="how far these figures may be off; widths are then told with how far they may be"
    )

    def _broken(self) -> Iterator[Broken]:
        if self.tip_mm and self.tip_radius_mm:
            want = "a tip is either flat ('tip') or rounded ('tip-radius'), not both"
            yield Broken("tip-radius", want, "tip")
        wide = format_mm(self.diameter_mm)
        if self.tip_mm >= self.diameter_mm:
            yield Broken("tip", f"the flat of the tip must be narrower than the bit's diameter, {wide}")
        # the ball meets the cone where it is 2 r cos(angle / 2) wide
        if 2.0 * self.tip_radius_mm * math.cos(math.radians(self.angle_deg / 2.0)) >= self.diameter_mm:
            yield Broken("tip-radius", f"so round a tip leaves no cone on a bit of {wide} diameter")


class EndMill(Record):
    """An end mill: straight sides and a flat end; it cuts pieces out of their board."""

    name: Text | None = Field(None, description="the end mill's name")
    diameter_mm: PositiveMm = Field(description="cutting diameter")
    shank_mm: PositiveMm = Field(description="diameter of the shank that the collet holds")
    cutting_length_mm: PositiveMm = Field(
        description="how far up its cutting edges reach, which is as deep as it cuts"
    )
    flutes: Annotated[int, whole(1, 8)] = Field(2, description="number of cutting edges")


Cutter: TypeAlias = Bit | EndMill


class Axes(Record):
    """One length per axis."""

    x_mm: PositiveMm = Field(description="along X, to the right")
    y_mm: PositiveMm = Field(description="along Y, to the back")
    z_mm: PositiveMm = Field(description="along Z, upwards")


class AxesRate(Record):
    """One speed per axis."""

    x_mm_min: FeedMmMin = Field(description="along X, to the right")
    y_mm_min: FeedMmMin = Field(description="along Y, to the back")
    z_mm_min: FeedMmMin = Field(description="along Z, upwards")


class AxesAcceleration(Record):
    """One acceleration per axis."""

    x_mm_s2: AccelerationMmS2 = Field(description="along X, to the right")
    y_mm_s2: AccelerationMmS2 = Field(description="along Y, to the back")
    z_mm_s2: AccelerationMmS2 = Field(description="along Z, upwards")


class Spindle(Record):
    """The spindle's range, how long it takes to reach its speed, and whether the program can set it."""

    min_rpm: SpeedRpm = Field(description="slowest speed")
    max_rpm: SpeedRpm = Field(description="fastest speed")
    spin_up_s: SecondsS = Field(3.0, description="time from standstill to full speed")
    programmed: Flag = Field(
        True, description="false where a switch on the machine starts the spindle: the program then pauses"
    )

    def _broken(self) -> Iterator[Broken]:
        if self.max_rpm <= 0.0 or self.min_rpm > self.max_rpm:
            yield Broken("max", "the largest speed must be above zero and no less than 'min'")


class Machine(Record):
    """A class of machine, as its owner has measured or set it."""

    name: Text = Field(description="short name")
    title: Text = Field(description="the machine in a few words")
    travel: Axes = Field(description="how far each axis can go")
    rapid: AxesRate = Field(description="speed of moves in the air, per axis")
    acceleration: AxesAcceleration = Field(description="acceleration per axis")
    junction_deviation_mm: PositiveMm = Field(
        0.01, description="the controller's setting for speed in corners"
    )
    feed_max: AxesRate = Field(description="largest cutting feed per axis")
    spindle: Spindle = Field(description="the spindle's range")
    collets_mm: tuple[PositiveMm, ...] = Field(min_length=1, description="shank diameters that can be held")
    safe_height_mm: RapidMm = Field(
        5.0, description="height above the piece for the first and the last move; must clear clamps"
    )
    step_share: Factor = Field(
        1.0, description="how much of a wood's usual depth per level the machine is stiff enough for"
    )
    dialect: Literal["rs274ngc", "grbl-1.1", "linuxcnc"] = Field(
        "rs274ngc", description="the controller's words: the common subset, or one of two named controllers"
    )
    decimals: Annotated[int, whole(2, 5)] = Field(3, description="decimals of coordinates in the program")
    units: Literal["mm", "inch"] = Field("mm", description="units of the program, and of what is said of it")
    arcs: Flag = Field(
        True, description="true where the controller takes G2 and G3; false cuts arcs as short straight lines"
    )
    arc_tolerance_mm: ChordMm = Field(0.002, description="how far such short lines may stray from the arc")
    program_end: Literal["M2", "M30"] = Field("M2", description="the program's last word")

    def _broken(self) -> Iterator[Broken]:
        for (axis, feed), (_, rapid) in zip(self.feed_max, self.rapid, strict=True):
            if feed > rapid:
                want = "a cutting feed above the axis's rapid rate cannot be reached"
                yield Broken(f"feed-max.{axis[0]}", want)
        if self.safe_height_mm >= self.travel.z_mm:
            yield Broken("safe-height", f"must be less than the travel in Z, {format_mm(self.travel.z_mm)}")
        if self.units == "inch" and self.decimals < 4:
            yield Broken("decimals", "programs in inches need at least 4 decimals (0.0001 in is 2.5 µm)")

    @property
    def largest_feed_mm_min(self) -> float:
        """The fastest it cuts along X and Y alike."""
        return min(self.feed_max.x_mm_min, self.feed_max.y_mm_min)

    @property
    def last_decimal_mm(self) -> float:
        """The size of the last decimal in this machine's programs."""
        return 10.0**-self.decimals * FIGURES[self.units].unit_mm

    @property
    def figures(self) -> Figures:
        """How figures are written for people at this machine."""
        return FIGURES[self.units]


# --- by name or path ---

_Named = TypeVar("_Named", Wood, Bit, EndMill)


def machines_folder() -> Path:
    """Return where the machine files are: inside the installed package, or beside it in a source checkout."""
    inside = _PACKAGE / "machines"
    return inside if inside.is_dir() else _PACKAGE.parent / "machines"


Filed = Literal["machine", "pattern"]  # what has a file of its own
_FOLDERS: dict[Filed, Path] = {"machine": machines_folder(), "pattern": _PACKAGE / "pattern" / "data"}


@cache
def names(what: Filed) -> tuple[str, ...]:
    """Return the names of the machines, or the patterns, that come with Mizo, sorted."""
    return tuple(sorted(path.stem for path in _FOLDERS[what].glob("*.yaml")))


def is_file(name: str) -> bool:
    """Tell whether a pattern or a machine is named by the path of its file."""
    return name.lower().endswith(_SUFFIXES)


def file_of(what: Filed, name: str, folder: str = ".") -> str:
    """Return the path of a file: of a machine or pattern that comes with Mizo by its name, of one's own by a path in ``folder``.

    Raises ``InputError`` for an unknown name.
    """
    spelled = "-".join(name.lower().replace("_", " ").replace("-", " ").split())
    if spelled in names(what):
        return str(_FOLDERS[what] / f"{spelled}.yaml")
    if not is_file(name):
        raise _unknown(what, name, dict.fromkeys(names(what), ""))
    return str(Path(folder) / name)


@cache
def machines() -> tuple[Machine, ...]:
    """Return the machines that come with Mizo, by name."""
    return tuple(load_machine(name) for name in names("machine"))


@cache
def bits() -> tuple[Bit, ...]:
    """Return the V-bits that come with Mizo, in the order of their file."""
    return _table("bits.yaml", Bit)


@cache
def end_mills() -> tuple[EndMill, ...]:
    """Return the end mills that come with Mizo, in the order of their file."""
    return _table("end-mills.yaml", EndMill)


@cache
def woods() -> tuple[Wood, ...]:
    """Return the woods that come with Mizo, in the order of their file."""
    return _table("woods.yaml", Wood)


def _table(name: str, kind: type[_Named]) -> tuple[_Named, ...]:
    rows = read_document(str(_PACKAGE / "job" / "data" / name)).tree
    trees = ({"name": key, **row} for key, row in rows.items())
    return tuple(record_from(Document(file=name, folder=".", tree=tree), kind) for tree in trees)


def load_bit(name: str) -> Bit:
    """Find a V-bit by its name; raises ``InputError`` with the nearest name."""
    if any(mill.name == name for mill in end_mills()):
        want = "this is an end mill, which cuts no V; a V-bit is wanted here ('mizo bits' lists them)"
        raise InputError(Problem(value=name, want=want))
    return _named("bit", name, bits())


def load_end_mill(name: str) -> EndMill:
    """Find an end mill by its name; raises ``InputError`` with the nearest name."""
    if any(bit.name == name for bit in bits()):
        known = ", ".join(str(mill.name) for mill in end_mills())
        want = f"this is a V-bit, whose cut leaves slanting edges; an end mill is wanted here: one of {known}"
        raise InputError(Problem(value=name, want=want))
    own = " (one of your own is given by its measures: diameter, shank, cutting-length, flutes)"
    return _named("bit", name, end_mills(), own)


def load_wood(name: str) -> Wood:
    """Find a wood by its name; raises ``InputError`` with the names that match, or the nearest one."""
    own = " (a wood of your own is given by its figures: 'mizo new' shows how)"
    return _named("wood", name, woods(), own)


def _named(what: str, name: str, known: tuple[_Named, ...], own: str = "") -> _Named:
    for one in known:
        if one.name == name:
            return one
    raise _unknown(what, name, {str(one.name): getattr(one, "title", "") for one in known}, own)


def _unknown(what: str, name: str, known: Mapping[str, str], own: str = _BY_PATH) -> InputError:
    """Return the answer to an unknown name; ``known`` as for ``unknown_name``, ``own`` says how to give one of your own."""
    return InputError(Problem(value=name, want=unknown_name(what, name, known) + own))


def load_machine(name: str, folder: str = ".") -> Machine:
    """Read a machine that comes with Mizo, or a YAML file by its path, looked up from ``folder``.

    A machine of one's own is called after its file: a copy of one that comes with Mizo is no longer that one.  Raises
    ``InputError`` with every problem of the file, or with the nearest name.
    """
    path = file_of("machine", name, folder)
    if not is_file(name):
        return _supplied(path)
    return _machine(path).model_copy(update={"name": Path(name).name})


def _machine(path: str) -> Machine:
    return record_from(read_document(path), Machine)


_supplied = cache(_machine)
