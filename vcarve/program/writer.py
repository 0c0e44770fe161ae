"""The plan as RS-274 text: pure, no file and no clock, the same bytes for the same job.

The common subset of the NIST interpreter (NISTIR 6556), Grbl 1.1 and LinuxCNC: one idea per line, modal words only where
they change, units and modes set before anything moves, the bit lifted alone before every rapid across, the spindle at speed
before the first plunge and stopped after the last lift.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from vcarve.cuts.model import NM_PER_MM, Cuts, Ints
from vcarve.errors import InternalError
from vcarve.job.records import Job
from vcarve.mount.flat import Mount, mount_of
from vcarve.plan.model import Plan
from vcarve.plane.arcs import stretches
from vcarve.program.comment import comment
from vcarve.program.numbers import decimal, plain, steps
from vcarve.program.sections import Move, Section, joined

MM_PER_INCH = 25.4
# Ends of an arc nearer than this many steps of the last decimal are joined by straight lines: rounding would bend
# so short an arc more than its own curve does.
SHORT_STEPS = 20.0
# An arc that leaves its chord by less than this is cut as the chord: no digit of the program would tell them apart.
FLAT_STEPS = 0.5


Place = tuple[int, int, int]  # X, Y and Z in steps of the last decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """How places on the piece become numbers in the program: the mount, the units, the decimals."""

    mount: Mount
    inch: bool
    decimals: int

    def axes(self, place_nm: Ints) -> Ints:
        """Return X, Y and Z of places on the piece (n, 3) as whole steps of the last decimal."""
        axes = np.column_stack(self.mount.axes_nm(*place_nm.T))
        return steps(axes, self.decimals, inch=self.inch)

    def height(self, above_mm: float) -> str:
        """Return the Z word's number for a height above the piece's top (negative inside it)."""
        return decimal(self._steps(above_mm), self.decimals)

    def clear(self, above_mm: float) -> str:
        """Return the same for a height that rapids go across at; raises InternalError if it is not above the top as written."""
        if self._steps(above_mm) <= self._steps(0.0):
            raise InternalError(
                f"rapids {above_mm!r} mm above the piece would be written at or below its top."
            )
        return self.height(above_mm)

    def _steps(self, above_mm: float) -> int:
        nm = np.array([self.mount.z_nm(-round(above_mm * NM_PER_MM))])
        return int(steps(nm, self.decimals, inch=self.inch)[0])

    def feed(self, mm_min: float) -> str:
        """Return the F word's number, never above the feed asked for and never zero."""
        value, decimals = (mm_min / MM_PER_INCH, 2) if self.inch else (mm_min, 1)
        if value < 1.0:
            decimals += 3
        return decimal(max(math.floor(value * 10**decimals + 1e-6), 1), decimals)


def frame_of(job: Job) -> Frame:
    """Return the frame that the job's zero and machine ask for."""
    inch = job.machine.units == "inch"
    return Frame(
        mount=mount_of(job),
        inch=inch,
        decimals=max(job.machine.decimals, 4) if inch else job.machine.decimals,
    )


def opening(job: Job, *, arcs: bool) -> list[str]:
    """Return the lines that set every mode used, before anything moves."""
    # G40 and what follows switch off what earlier work may have left on; no F beside the unit word, which some
    # controllers would read in the old unit and some in the new.
    units = "G20" if job.machine.units == "inch" else "G21"
    modes = ["G17", units, "G40", "G49", "G54", "G80", "G90", "G94"]
    dialect = job.machine.dialect
    if arcs and dialect in ("grbl-1.1", "linuxcnc"):
        modes.append("G91.1")
    lines = [" ".join(modes)]
    if dialect == "linuxcnc":
        # Without a bound this controller rounds corners as far as it likes; exact path (G61) would stop at each.
        lines.append("G64 P0.0004" if job.machine.units == "inch" else "G64 P0.01")
    else:
        lines.append("G61")
    return lines


def operation(job: Job) -> list[str]:
    """Return the lines that bring the spindle to the job's speed, with the bit lifted."""
    speed = plain(job.spindle_rpm, 0)
    if not job.machine.spindle.programmed:
        return [*comment("Start the spindle by hand", f"{speed} rpm. Then continue."), "M0"]
    lines = [f"S{speed} M3"]
    if job.machine.spindle.spin_up_s > 0:
        # rounded up: no cut begins before the spindle has its speed
        hundredths = math.ceil(round(100.0 * job.machine.spindle.spin_up_s, 6))
        lines.append(f"G4 P{plain(hundredths / 100.0, 2)}")
    return lines


def closing(job: Job) -> list[str]:
    """Return the lines that stop the spindle and end the program."""
    by_hand = comment("Stop the spindle by hand before reaching in")
    return [*(["M5"] if job.machine.spindle.programmed else by_hand), job.machine.program_end]


@dataclass(frozen=True, slots=True, kw_only=True)
class Program:
    """A program in sections that each stand alone (see ``sections``): opening, operation, passes, closing.

    ``passes`` are made when they are asked for.
    """

    opening: Section
    operation: Section
    passes: Passes
    closing: Section

    def sections(self, first_pass: int = 0) -> Iterator[Section]:
        """Yield the sections of the program that begins at a pass, counted from 0, and leaves out those before it."""
        yield self.opening
        yield self.operation
        for index in range(first_pass, len(self.passes)):
            yield self.passes[index]
        yield self.closing


def program(job: Job, cuts: Cuts, plan: Plan, notes: Sequence[tuple[str, str]]) -> Program:
    """Return the program in sections; ``notes`` are the (label, text) pairs of the comment header, in order."""
    frame = frame_of(job)
    bent = bool(len(plan.half_edge)) and bool((cuts.bulge[plan.half_edge // 2] != 0.0).any())
    header = [line for label, text in notes for line in comment(label, text)]
    lift = Move("G0", z=frame.clear(job.machine.safe_height_mm))
    return Program(
        opening=Section((*header, *opening(job, arcs=bent and job.machine.arcs), lift)),
        operation=Section(tuple(operation(job))),
        passes=Passes(job, cuts, plan, frame),
        closing=Section(tuple(closing(job))),
    )


def write(job: Job, cuts: Cuts, plan: Plan, notes: Sequence[tuple[str, str]]) -> str:
    """Return the whole program's text, lines ended by a single line feed; ``notes`` as for :func:`program`."""
    return joined(program(job, cuts, plan, notes).sections())


class Passes:
    """The passes of a plan, each a section: across to its start, down to the hop height, the cuts, and up again."""

    def __init__(self, job: Job, cuts: Cuts, plan: Plan, frame: Frame) -> None:
        self.job, self.frame = job, frame
        axes = frame.axes(cuts.place_nm)
        self.begin: list[Place] = [(x, y, z) for x, y, z in axes[plan.begin].tolist()]
        self.end: list[Place] = [(x, y, z) for x, y, z in axes[plan.end].tolist()]
        bulge = cuts.bulge[plan.half_edge // 2]
        self.bulge = np.where(plan.half_edge % 2 == 0, bulge, -bulge).tolist()
        self.bounds = plan.pass_start.tolist()
        self.plunge_feed = frame.feed(job.plunge_mm_min)
        self.hop = frame.clear(plan.hop_mm)
        self.safe = frame.clear(job.machine.safe_height_mm)

    def __len__(self) -> int:
        return len(self.bounds) - 1

    def __getitem__(self, index: int) -> Section:
        """Return a pass by its index; the last one lifts to the safe height."""
        first, last = self.bounds[index], self.bounds[index + 1]
        x, y, _ = self.begin[first]
        moves: list[Move | str] = [
            f"(Pass {index + 1} of {len(self)})",
            Move("G0", f"X{self.number(x)} Y{self.number(y)}"),
            Move("G0", z=self.hop),
        ]
        z: float = math.inf  # above the piece
        for step in range(first, last):
            start, end = self.begin[step], self.end[step]
            height = self.number(start[2])
            if start[2] < z:
                moves.append(Move("G1", z=height, feed=self.plunge_feed))
            elif start[2] > z:
                moves.append(Move("G0", z=height))
            self.step(moves, start, end, self.bulge[step])
            z = end[2]
        moves.append(Move("G0", z=self.hop if index < len(self) - 1 else self.safe))
        return Section(tuple(moves))

    def number(self, count: int) -> str:
        """Return steps of the last decimal as a number."""
        return decimal(count, self.frame.decimals)

    def step(self, moves: list[Move | str], start: Place, end: Place, bulge: float) -> None:
        """Append the move along one edge; nothing where rounding leaves none."""
        chord = math.dist(start[:2], end[:2])
        if 0.5 * abs(bulge) * chord < FLAT_STEPS and abs(bulge) <= 1.0:
            self.straight(moves, [start, end])
        elif not self.job.machine.arcs or chord < SHORT_STEPS:
            self.straight(moves, [start, *self.chords(start, end, bulge)])
        elif abs(bulge) > 1.0:
            # More than half a turn: in two, since centres of long arcs are ill-conditioned and full circles ambiguous.
            middle = self.middle(start, end, bulge)
            half = math.tan(0.5 * math.atan(bulge))
            moves.append(self.arc(start, middle, half))
            moves.append(self.arc(middle, end, half))
        else:
            moves.append(self.arc(start, end, bulge))

    def straight(self, moves: list[Move | str], places: list[Place]) -> None:
        """Append straight cuts from the first place through the others, all at the feed of the steepest."""
        cuts = [(a, b) for a, b in pairwise(places) if a != b]
        feed = min((self.feed(a, b, math.dist(a[:2], b[:2])) for a, b in cuts), default=0.0)
        for a, b in cuts:
            words = (f"{axis}{self.number(v)}" for axis, u, v in zip("XY", a, b, strict=False) if u != v)
            moves.append(Move("G1", " ".join(words), self.height(a, b), self.frame.feed(feed)))

    def height(self, start: Place, end: Place) -> str:
        """Return the number of Z at the end, none where it stays."""
        return "" if end[2] == start[2] else self.number(end[2])

    def feed(self, start: Place, end: Place, length: float) -> float:
        """Return the feed (mm/min) of a cut this long in plan view: on a slope Z keeps to the plunging feed."""
        drop = abs(end[2] - start[2])
        steepest = self.job.plunge_mm_min * math.hypot(length, drop) / drop if drop else math.inf
        return min(self.job.cut_mm_min, steepest)

    def middle(self, start: Place, end: Place, bulge: float) -> Place:
        """Return the place half way along an arc: it stands off the chord by half the chord times the bulge."""
        (x, y, z), (dx, dy, dz) = start, (b - a for a, b in zip(start, end, strict=True))
        return round(x + 0.5 * (dx + bulge * dy)), round(y + 0.5 * (dy - bulge * dx)), round(z + 0.5 * dz)

    def arc(self, start: Place, end: Place, bulge: float) -> Move:
        """Return a centre-format arc whose centre is equally far from both rounded ends, as NISTIR 6556 3.5.3.2 asks."""
        dx, dy = end[0] - start[0], end[1] - start[1]
        off = 0.5 / math.tan(2.0 * math.atan(bulge))
        unit = 10.0**-self.frame.decimals
        i, j = (0.5 * dx - dy * off) * unit, (0.5 * dy + dx * off) * unit
        decimals = self.frame.decimals
        fine = decimals + 2 if self.frame.inch else max(decimals, 4)
        words = f"X{self.number(end[0])} Y{self.number(end[1])} I{plain(i, fine)} J{plain(j, fine)}"
        feed = self.feed(start, end, math.hypot(dx, dy) * float(stretches(np.array(bulge))))
        return Move("G3" if bulge > 0.0 else "G2", words, self.height(start, end), self.frame.feed(feed))

    def chords(self, start: Place, end: Place, bulge: float) -> list[Place]:
        """Return the ends of the chords that follow an arc within the machine's arc tolerance, in steps."""
        x, y, z = start
        unit_mm = 10.0**-self.frame.decimals * (MM_PER_INCH if self.frame.inch else 1.0)
        dx, dy, dz = (b - a for a, b in zip(start, end, strict=True))
        sweep = 4.0 * math.atan(bulge)
        half = 0.5 * sweep
        radius = math.hypot(dx, dy) / (2.0 * abs(math.sin(half)))
        off = 0.5 / math.tan(half)
        cx, cy = x + 0.5 * dx - dy * off, y + 0.5 * dy + dx * off
        sag = min(self.job.machine.arc_tolerance_mm / (radius * unit_mm), 1.0) if radius else 1.0
        count = max(math.ceil(abs(sweep) / (2.0 * math.acos(1.0 - sag))), 1) if sag < 1.0 else 2
        first = math.atan2(y - cy, x - cx)
        points = [
            (
                round(cx + radius * math.cos(first + sweep * k / count)),
                round(cy + radius * math.sin(first + sweep * k / count)),
                round(z + dz * k / count),
            )
            for k in range(1, count)
        ]
        return [*points, end]
