"""The plan as RS-274 text: pure, no file and no clock, the same bytes for the same job.

The common subset of the NIST interpreter (NISTIR 6556), Grbl 1.1 and LinuxCNC: one idea per line, modal words only where
they change, units and modes set before anything moves, the bit lifted alone before every rapid across, the spindle at speed
before the first plunge and stopped after the last lift.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from vcarve.cuts.model import Cuts
from vcarve.errors import InternalError
from vcarve.job.records import Job, Speeds
from vcarve.mount.flat import mount_of
from vcarve.plan.model import Plan
from vcarve.plane.arcs import bulge_between, chord_counts, evenly, points, size, stretches
from vcarve.plane.arrays import NM_PER_MM, Floats, Ints
from vcarve.program.grammar import MM_PER_INCH
from vcarve.program.text import Move, Section, comment, decimal, joined, plain, steps

# Ends of an arc nearer than this many steps of the last decimal are joined by straight lines: rounding would bend
# so short an arc more than its own curve does.
SHORT_STEPS = 20.0
# An arc that leaves its chord by less than this is cut as the chord: no digit of the program would tell them apart.
FLAT_STEPS = 0.5


class Frame:
    """How places on the piece become numbers in the program: the mount, the units, the decimals.

    ``lift_nm`` is by how much everything is moved up: in whole steps of the last decimal, so that it keeps its shape.
    """

    def __init__(self, job: Job, lift_nm: int = 0) -> None:
        mount, self.inch = mount_of(job), job.machine.units == "inch"
        self.mount = replace(mount, top_nm=mount.top_nm + lift_nm)
        self.decimals = job.machine.decimals

    def axes(self, place_nm: Ints) -> Ints:
        """Return X, Y and Z of places on the piece (n, 3) as whole steps of the last decimal."""
        return steps(np.column_stack(self.mount.axes_nm(*place_nm.T)), self.decimals, inch=self.inch)

    def clear(self, above_mm: float) -> str:
        """Return the Z word's number for a height that rapids go across at; raises InternalError if that is not above the top."""
        nm = np.array([self.mount.clear_nm(0), self.mount.clear_nm(round(above_mm * NM_PER_MM))])
        top, height = steps(nm, self.decimals, inch=self.inch).tolist()
        if height <= top:
            want = "would be written at or below its top"
            raise InternalError(f"rapids {above_mm!r} mm above the piece {want}.")
        return decimal(height, self.decimals)

    def line(self, x: int, y: int, dx: int | bool = True, dy: int | bool = True) -> str:
        """Return the words of the axes that a way leads along."""
        words = f"X{decimal(x, self.decimals)} " if dx else ""
        return f"{words}Y{decimal(y, self.decimals)}" if dy else words.rstrip()

    def arc(self, x: int, y: int, dx: int, dy: int, bulge: float) -> str:
        """Return the words of an arc whose centre is equally far from both rounded ends, as NISTIR 6556 3.5.3.2 asks."""
        off = 0.5 / math.tan(2.0 * math.atan(bulge))
        unit, fine = 10.0**-self.decimals, self.decimals + 2 if self.inch else max(self.decimals, 4)
        i, j = (0.5 * dx - dy * off) * unit, (0.5 * dy + dx * off) * unit
        return f"{self.line(x, y)} I{plain(i, fine)} J{plain(j, fine)}"

    def feed(self, mm_min: float) -> str:
        """Return the F word's number, never above the feed asked for and never zero."""
        value, decimals = (mm_min / MM_PER_INCH, 2) if self.inch else (mm_min, 1)
        if value < 1.0:
            decimals += 3
        return decimal(max(math.floor(value * 10**decimals + 1e-6), 1), decimals)


def opening(job: Job, *, arcs: bool, system: str = "G54") -> list[str]:
    """Return the lines that set every mode used, before anything moves."""
    # G40 and what follows switch off what earlier work may have left on; no F beside the unit word, which some
    # controllers would read in the old unit and some in the new.
    units = "G20" if job.machine.units == "inch" else "G21"
    modes = ["G17", units, "G40", "G49", system, "G80", "G90", "G94"]
    if arcs and job.machine.dialect in ("grbl-1.1", "linuxcnc"):
        modes.append("G91.1")
    # Without a bound LinuxCNC rounds corners as far as it likes; exact path (G61) would stop at each.
    bound = "G64 P0.0004" if job.machine.units == "inch" else "G64 P0.01"
    return [" ".join(modes), bound if job.machine.dialect == "linuxcnc" else "G61"]


def operation(job: Job, rpm: float) -> list[str]:
    """Return the lines that bring the spindle to its speed, with the bit lifted."""
    speed = plain(rpm, 0)
    if not job.machine.spindle.programmed:
        return [*comment("Start the spindle by hand", f"{speed} rpm. Then continue."), "M0"]
    lines = [f"S{speed} M3"]
    if job.machine.spindle.spin_up_s > 0:
        # rounded up: no cut begins before the spindle has its speed
        hundredths = math.ceil(round(100.0 * job.machine.spindle.spin_up_s, 6))
        lines.append(f"G4 P{plain(hundredths / 100.0, 2)}")
    return lines


def idle(job: Job) -> list[str]:
    """Return the lines that keep the spindle off."""
    return ["M5"] if job.machine.spindle.programmed else comment("Leave the spindle off")


def closing(job: Job) -> list[str]:
    """Return the lines that stop the spindle and end the program."""
    by_hand = comment("Stop the spindle by hand before reaching in")
    return [*(["M5"] if job.machine.spindle.programmed else by_hand), job.machine.program_end]


def write(
    job: Job,
    cuts: Cuts,
    plan: Plan,
    notes: Sequence[tuple[str, str]],
    *,
    lift_nm: int = 0,
    speeds: Speeds | None = None,
) -> str:
    """Return the whole program's text, lines ended by a single line feed; arguments as for :func:`sections`."""
    return joined(sections(job, cuts, plan, notes, lift_nm=lift_nm, speeds=speeds))


def sections(
    job: Job,
    cuts: Cuts,
    plan: Plan,
    notes: Sequence[tuple[str, str]],
    first_pass: int = 0,
    *,
    lift_nm: int = 0,
    systems: Sequence[str] = ("G54",),
    speeds: Speeds | None = None,
) -> Iterator[Section]:
    """Yield a program in sections that each stand alone (see ``text``): opening, operation, passes, closing.

    ``notes`` are the (label, text) pairs of the comment header, in order; the passes before ``first_pass`` are left out.
    A program moved up by ``lift_nm``, see :class:`Frame`, is run in the air, with the spindle off.  With several ``systems`` the
    same is cut from the zero of each.  ``speeds`` are those of another bit than the job's.
    """
    frame, speeds = Frame(job, lift_nm), speeds or job.speeds
    hop, safe = frame.clear(plan.hop_mm), frame.clear(job.machine.safe_height_mm)
    bent = bool(cuts.bulge[plan.half_edge // 2].any())
    header = [line for label, text in notes for line in comment(label, text)]
    yield (*header, *opening(job, arcs=bent and job.machine.arcs, system=systems[0]), Move("G0", z=safe))
    yield idle(job) if lift_nm else operation(job, speeds.spindle_rpm)
    ends, bulge, feed, bounds = pieces_of(job, cuts, plan, frame, speeds)
    feed_of = lru_cache(frame.feed)
    plunge = frame.feed(speeds.plunge_mm_min)
    last_pass = len(bounds) - 2
    passes: list[Section] = []
    for index in range(first_pass, last_pass + 1):
        moves: list[Move | str] = [f"(Pass {index + 1} of {last_pass + 1})"]
        pieces = slice(*bounds[index : index + 2])
        height = math.inf  # above the piece
        for (x, y, begins, to_x, to_y, z), bend, fed in zip(
            ends[pieces].tolist(), bulge[pieces].tolist(), feed[pieces].tolist(), strict=True
        ):
            if height == math.inf:
                moves += Move("G0", frame.line(x, y)), Move("G0", z=hop)
            if begins < height:
                moves.append(Move("G1", z=decimal(begins, frame.decimals), feed=plunge))
            elif begins > height:
                moves.append(Move("G0", z=decimal(begins, frame.decimals)))
            height = z
            code = "G1" if not bend else "G3" if bend > 0.0 else "G2"
            way = (to_x, to_y, to_x - x, to_y - y)
            across = frame.arc(*way, bend) if bend else frame.line(*way)
            moves.append(Move(code, across, decimal(z, frame.decimals), feed_of(fed)))
        moves.append(Move("G0", z=hop if index < last_pass else safe))
        passes.append(moves)
    for number, system in enumerate(systems):
        if number:
            yield [f"(Piece {number + 1} of {len(systems)})", system]
        yield from passes
    yield closing(job)


def pieces_of(
    job: Job, cuts: Cuts, plan: Plan, frame: Frame, speeds: Speeds
) -> tuple[Ints, Floats, Floats, list[int]]:
    """Return the pieces of a plan: both ends (m, 6) in steps, bulge (m,), feed (m,), and where each pass begins, and the end.

    Rounding comes first and the form follows from it: an arc so flat or so short that the rounded ends no longer say how it bends
    is a line, one for which the machine has no words is a row of chords, and one of more than half a turn is two.  On a top that
    is not flat, each is in as many parts as follow it.
    """
    axes, unit_mm = frame.axes(cuts.place_nm), job.machine.last_decimal_mm
    begin, end = axes[plan.begin], axes[plan.end]
    bulge = np.where(plan.half_edge % 2 == 0, 1.0, -1.0) * cuts.bulge[plan.half_edge // 2]
    curve = np.column_stack([begin[:, :2], end[:, :2], bulge])
    chord = size(curve[:, 2:4] - curve[:, :2])
    flat = (0.5 * np.abs(bulge) * chord < FLAT_STEPS) & (np.abs(bulge) <= 1.0)
    chorded = ~flat & (chord < SHORT_STEPS if job.machine.arcs else np.ones(len(flat), bool))
    # More than half a turn: in two, since centres of long arcs are ill-conditioned and full circles ambiguous.
    count = np.where(~flat & (np.abs(bulge) > 1.0), 2, 1)
    count[chorded] = chord_counts(curve[chorded], job.machine.arc_tolerance_mm / unit_mm)
    count = np.maximum(count, frame.mount.parts(curve * [*[unit_mm] * 4, 1.0]))
    owner, share = evenly(count)
    till = share + 1.0 / count[owner]
    last = np.append(owner[1:] != owner[:-1], True)[: len(owner)]
    ends = begin[owner] + np.rint(till[:, None] * (end - begin)[owner]).astype(np.int64)
    inner = np.flatnonzero(~last)
    ends[inner, :2] = np.rint(points(curve[owner[inner]], till[inner]))
    if frame.mount.top is not None:
        # Depth changes evenly along a piece; the top beneath it need not.
        t, each = till[inner], owner[inner]
        spots = (begin[each], end[each], ends[inner])
        low, high, here = (frame.mount.rise_mm(spot[:, :2] * np.float64(unit_mm)) for spot in spots)
        even = (1.0 - t) * begin[each, 2] + t * end[each, 2]
        ends[inner, 2] = np.rint(even + (here - low - t * (high - low)) / unit_mm)
    ends[last] = end
    starts = begin[owner]
    starts[1:][~last[:-1]] = ends[:-1][~last[:-1]]
    bends = np.where((flat | chorded)[owner], 0.0, bulge_between(bulge[owner], 0.0, 1.0 / count[owner]))
    # On a slope Z keeps to the plunging feed; pieces of one line all have the feed of the steepest.
    way = (ends - starts).astype(float)
    along, drop = size(way[:, :2]) * stretches(bends), np.abs(way[:, 2])
    with np.errstate(divide="ignore", invalid="ignore"):
        steepest = np.where(drop, speeds.plunge_mm_min * np.hypot(along, drop) / drop, np.inf)
    feed = np.minimum(speeds.cut_mm_min, steepest)
    if len(feed):
        feed = np.minimum.reduceat(feed, np.flatnonzero(np.append(True, last[:-1])))[owner]
    keep = way.any(axis=1)  # rounding may leave nothing of a piece
    bounds = np.append(0, np.cumsum(keep))[np.append(0, np.cumsum(count))[plan.pass_start]]
    return np.hstack([starts, ends])[keep], bends[keep], feed[keep], bounds.tolist()
