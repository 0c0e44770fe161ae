"""Whether a job suits its bit, its piece and its machine: what can be told from the numbers alone, all at once."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import partial

from vcarve.errors import Finding
from vcarve.job.bench import Cutter, EndMill, Machine, bits, end_mills
from vcarve.job.records import Job, Speeds, chips_mm
from vcarve.quantity import format_number, format_rpm

# Wood left under the deepest groove: common practice, no source.
FLOOR_LEAST_MM = 1.0
# Levels nearer to each other than some last decimals are one and the same once written.
STEP_LEAST_MM = 0.01
STEP_LEAST_DECIMALS = 10.0
# Travel to spare when the piece is set up, together on both sides: common practice, no source.
SETUP_ROOM_MM = 10.0
CHIP_SLACK = 0.1  # of the usual chip: rounding of feeds and speeds
SHANK_PLAY_MM = 0.05  # a 1/8 inch shank is 3.175 mm; profiles may say 3.18 or 3.2


OF_SPEEDS = frozenset(
    {"chip", "plunge-fast", "step-deep", "step-too-small", "feed-too-fast", "spindle-range"}
)  # findings that speeds and step alone bring


def asked_depths_mm(job: Job) -> tuple[float, ...]:
    """Return every depth that the job names: of ground and leaf lines, of frames, of layers."""
    frames = [frame.depth_mm for frame in job.pattern.frame if frame.depth_mm is not None]
    return (*job.depths_mm, *frames, *job.pattern.depths.values())


def at_once_mm(job: Job) -> float:
    """Return how deep the bit cuts at once: levels share the depth, so it may be less than the step (see ``cuts.grooves``)."""
    deepest = max(asked_depths_mm(job))
    return deepest / max(math.ceil(deepest / job.step_mm - 1e-9), 1)


def suitability(
    job: Job, deepest_mm: float, reach_mm: tuple[float, float] | None = None
) -> tuple[Finding, ...]:
    """Return what forbids cutting the job, and what is worth a look.

    ``deepest_mm`` is the deepest cut of the bit's cone (see ``groove.width``), ``reach_mm`` how much room the lines of a turned
    piece take along X and Y.
    """
    asked_mm = asked_depths_mm(job)
    depths = _depths(job, deepest_mm, min(asked_mm), max(asked_mm))
    return (
        *depths,
        *_travel(job, reach_mm),
        *_taken(job, job.bit, job.speeds),
        *_heights(job, max(asked_mm)),
        *(replace(one, sentence=f"Cutting out: {one.sentence}") for one in _cut_out(job)),
    )


def _depths(job: Job, cone_mm: float, shallowest: float, deepest: float) -> Iterator[Finding]:
    length = job.figures.length
    bit, machine = job.bit, job.machine
    deep, thick = f"The groove is {length(deepest)} deep", length(job.piece.thickness_mm)
    yield from _collet(job, bit)
    if shallowest < machine.last_decimal_mm:
        heights = f"programs for {machine.name} give heights to {length(machine.last_decimal_mm, 6)}"
        yield Finding("too-shallow", f"A groove {length(shallowest, 6)} deep is none: {heights}.")
    if deepest > cone_mm + 1e-9:
        ends = f"but this bit's cone ends at {length(cone_mm)}; take a wider bit or a shallower groove"
        yield Finding("bit-too-short", f"{deep}, {ends}.")
    left = job.piece.thickness_mm - deepest
    if left <= 0:
        yield Finding("through-the-piece", f"{deep} in a piece {thick} thick: it would go through.")
    elif left < FLOOR_LEAST_MM:
        yield Finding("thin-floor", f"Only {length(left)} of wood is left under the deepest groove.")


def _cut_out(job: Job) -> Iterator[Finding]:
    """Yield what forbids the end mill of a cut-out, and what it is asked to take."""
    cut_out, length = job.cut_out, job.figures.length
    if cut_out is None:
        return
    mill, deep = cut_out.bit, job.piece.thickness_mm + cut_out.through_mm
    yield from _collet(job, mill)
    if deep > mill.cutting_length_mm + 1e-9:
        through = f"The piece is {length(job.piece.thickness_mm)} thick, and {length(cut_out.through_mm)} more is cut"
        ends = f"but this end mill's cutting edges end at {length(mill.cutting_length_mm)}; take a longer one"
        yield Finding("bit-too-short", f"{through}, {ends}.")
    if job.cut_out_step_mm > max(job.usual_step_mm, 0.5 * mill.diameter_mm) + 1e-9:
        usual = (
            f"usual in {job.piece.wood.title} on {job.machine.name} is {length(job.usual_step_mm)} or less"
        )
        yield Finding("step-deep", f"The end mill takes {length(job.cut_out_step_mm)} at once; {usual}.")
    yield from _taken(job, mill, job.cut_out_speeds)


def _collet(job: Job, bit: Cutter) -> Iterator[Finding]:
    length, machine = job.figures.length, job.machine
    if not _held(bit, machine):
        held = ", ".join(length(collet) for collet in machine.collets_mm)
        shank = f"The bit's shank is {length(bit.shank_mm)}; {machine.name} has collets for {held}."
        yield Finding("collet", f"{shank} {_bits_that_fit(bit, machine)}")


def _held(bit: Cutter, machine: Machine) -> bool:
    return any(abs(bit.shank_mm - collet) <= SHANK_PLAY_MM for collet in machine.collets_mm)


def _bits_that_fit(bit: Cutter, machine: Machine) -> str:
    """Return which of the bits that come with Mizo can be held, of the same kind and angle where there are such."""
    if isinstance(bit, EndMill):
        fit = alike = [mill.name for mill in end_mills() if _held(mill, machine)]
    else:
        held = [each for each in bits() if _held(each, machine)]
        fit = [each.name for each in held]
        alike = [each.name for each in held if each.angle_deg == bit.angle_deg]
    if not fit:
        return "None of 'mizo bits' fits; give the measures of a bit that does."
    return f"Of 'mizo bits' these fit: {', '.join(str(name) for name in alike or fit)}."


def _travel(job: Job, reach_mm: tuple[float, float] | None) -> Iterator[Finding]:
    length = job.figures.length
    travel, machine = job.machine.travel, job.machine.name
    # nothing is cut nearer to the piece's edge
    border = min(job.pattern.margin_mm, *(frame.distance_mm for frame in job.pattern.frame), math.inf)
    less = f", less its border of {length(border)}," if border else ""
    what, cure = f"The piece{less} measures", ""
    if reach_mm is None:
        reach_mm = job.piece.width_mm - 2.0 * border, job.piece.height_mm - 2.0 * border
    else:
        what = "The lines, on a piece that lies turned, measure"
        cure = " Lay the piece straighter, or write pattern.rotate where only the pattern lies aslant."
    for axis, size, room in (("X", reach_mm[0], travel.x_mm), ("Y", reach_mm[1], travel.y_mm)):
        spare = room - size
        measures = f"{what} {length(size)} along {axis}; {machine} travels {length(room)} that way"
        if spare < -1e-9:
            yield Finding("travel", f"{measures}.{cure}")
        elif spare < SETUP_ROOM_MM - 1e-9:
            ways = "with a wider margin or a smaller piece, or try the corners with the bit raised"
            leaves = f"which leaves {length(spare)} to set it up in. Leave {length(SETUP_ROOM_MM)}"
            yield Finding("travel-tight", f"{measures}, {leaves}, {ways}.")


def _heights(job: Job, deepest: float) -> Iterator[Finding]:
    length, machine = job.figures.length, job.machine
    need = machine.safe_height_mm + deepest
    if need > machine.travel.z_mm + 1e-9:
        travels = f"{machine.name} travels {length(machine.travel.z_mm)} in Z"
        rise = f"From the bottom of the groove to the safe height is {length(need)}"
        yield Finding("travel", f"{rise}; {travels}.")
    for clamp, (x_mm, y_mm, *_) in zip(job.clamps, job.clamps_mm, strict=True):
        if clamp.above_mm >= machine.safe_height_mm:
            yield Finding(
                "clamp",
                f"The clamp at X {length(clamp.x_mm)}, Y {length(clamp.y_mm)} stands "
                f"{length(clamp.above_mm)} above the piece; the machine's safe height of "
                f"{length(machine.safe_height_mm)} does not clear it. Raise 'safe-height' in the machine file "
                "('mizo new --machine' writes one of your own), or use a lower clamp.",
                at_mm=(x_mm, y_mm),
            )
    least = max(STEP_LEAST_MM, STEP_LEAST_DECIMALS * machine.last_decimal_mm)
    at_once = at_once_mm(job)
    usual = job.usual_step_mm
    if job.step_mm < min(least, deepest):
        alike = f"{length(job.step_mm, 6)} each cannot be told apart in a program for {machine.name}"
        more = f"give a step of {job.figures.at_least(least, 6)} or more"
        yield Finding("step-too-small", f"Levels of {alike}; {more}.")
    elif at_once > usual + 1e-9:
        less = f"usual in {job.piece.wood.title} on {machine.name} is {length(usual)} or less"
        cure = "Set 'step' under 'groove' to that, or leave it out."
        yield Finding("step-deep", f"The bit takes {length(at_once)} at once; {less}. {cure}")


def _taken(job: Job, bit: Cutter, speeds: Speeds) -> list[Finding]:
    """Return what is wrong with a bit's speeds or, where nothing is, what it is asked to take."""
    return list(_speeds(job, speeds)) or list(_load(job, bit, speeds))


def _speeds(job: Job, speeds: Speeds) -> Iterator[Finding]:
    machine = job.machine
    for what, does, asked, most in (
        ("cutting", "cuts", speeds.cut_mm_min, machine.largest_feed_mm_min),
        ("plunge", "plunges", speeds.plunge_mm_min, machine.feed_max.z_mm_min),
    ):
        if asked > most + 1e-9:
            feed = partial(job.figures.feed, decimals=3)
            limit = f"{machine.name} {does} at {feed(most)} at most"
            yield Finding("feed-too-fast", f"The {what} feed is {feed(asked)}; {limit}.")
    spindle = machine.spindle
    if not max(spindle.min_rpm, 1.0) <= speeds.spindle_rpm <= spindle.max_rpm:
        runs = f"runs from {format_number(spindle.min_rpm)} to {format_rpm(spindle.max_rpm)}"
        asked_rpm = format_rpm(speeds.spindle_rpm)
        yield Finding("spindle-range", f"The spindle is set to {asked_rpm}; that of {machine.name} {runs}.")


def _load(job: Job, bit: Cutter, speeds: Speeds) -> Iterator[Finding]:
    """Yield cautions about what the bit is asked to take; the usual figures are common practice (see ``woods.yaml``)."""
    wood, figures = job.piece.wood, job.figures
    low, high = chips_mm(wood, bit)
    turns, feed = bit.flutes * speeds.spindle_rpm, speeds.cut_mm_min
    chip = feed / turns
    if not (1.0 - CHIP_SLACK) * low <= chip <= (1.0 + CHIP_SLACK) * high:
        harm = "it rubs and scorches" if chip < low else "it may break"
        largest = job.machine.largest_feed_mm_min
        spindle, per_edge = job.machine.spindle, feed / bit.flutes
        ways = []
        if low * turns <= largest:
            most = min(high * turns, largest)
            feeds = f"{figures.number(low * turns, 0)} to {figures.feed(most, 0)}"
            ways.append(f"at this spindle speed, give a feed of {feeds}")
        slowest, fastest = max(per_edge / high, spindle.min_rpm), min(per_edge / low, spindle.max_rpm)
        if slowest <= fastest:
            least, most_rpm = format_number(math.ceil(slowest)), format_rpm(math.floor(fastest))
            ways.append(f"at this feed, {least} to {most_rpm}")
        cure = f" To mend it, {'; or '.join(ways)}." if ways else ""
        usual = f"usual in {wood.title} is {figures.number(low)} to {figures.length(high)}"
        takes = f"Each of the bit's cutting edges takes {figures.small(chip)} a turn"
        yield Finding("chip", f"{takes}; {usual}: {harm}.{cure}")
    if speeds.plunge_mm_min > feed + 1e-9:
        plunges = f"The bit plunges at {figures.feed(speeds.plunge_mm_min)}, faster than it cuts"
        usual = f"{format_number(wood.plunge_share * 100)} % of the cut, {figures.feed(wood.plunge_share * feed, 0)}"
        hardly = f"{figures.feed(feed)}; its point hardly cuts"
        yield Finding("plunge-fast", f"{plunges}, {hardly}. Usual in {wood.title} is {usual}.")
