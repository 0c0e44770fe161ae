"""What there is to say of a program: the header's notes, the summary's figures, and how they read."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from vcarve.dryrun.clock import Times
from vcarve.errors import Finding, grouped, refuses
from vcarve.groove.width import deepest_mm
from vcarve.job.bench import Machine
from vcarve.job.records import Job
from vcarve.job.suitability import suitability
from vcarve.layout.findings import layout_findings
from vcarve.layout.stages import Layout
from vcarve.mount.flat import mount_of
from vcarve.network.model import Network
from vcarve.plan.model import Plan
from vcarve.plane.arcs import boxes
from vcarve.program.moves import Motion, Moves
from vcarve.program.reader import Reading
from vcarve.quantity import Figures, counted, format_deg, format_duration, format_rpm
from vcarve.view.wording import lines_cut

# The usual cautions (common practice), short enough for a program's header; the bench sheet has them in full.
HEADER_CAUTIONS = (
    "Protect eyes, ears and lungs. Hold the piece fast. Stay with it.",
    "Manuals of mill and bit, and local rules, come first.",
)

# Grbl's own rule for corners is the clock's (see ``dryrun.clock``).
CORNERS = {
    "linuxcnc": "LinuxCNC rounds them by a rule of its own (G64)",
    "rs274ngc": "this controller may have another rule",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """The figures of a program, as ``--json`` prints them and as sentences are made from them."""

    title: str
    pattern: str
    cells: int
    cells_enclosed: int
    vertices: int
    edges: int
    lines_mm: float  # every line once
    cut_mm: float  # every line once for each level it is cut in
    recut_mm: float
    rapid_mm: float
    passes: int
    lifts: int
    levels: int
    cell_by_cell_mm: float
    grooves: tuple[tuple[str, float, float], ...]  # name, depth and width (mm) of each kind, deepest first
    land_min_mm: float
    land_vanished: int
    land_broken: int
    land_weak: int
    time_s: float
    corners: str
    plan_s: float
    bound_s: float
    cell_by_cell_s: float
    turn_deg: float
    extents_mm: dict[str, tuple[float, float]]
    pitch_mm: float | None
    program_lines: int
    sentences: tuple[str, ...]
    findings: tuple[Finding, ...]

    def as_json(self, job: Job) -> dict[str, Any]:
        """Return the summary as plain values, places of findings from the job's work zero."""
        values = {name: getattr(self, name) for name in self.__slots__}
        values["grooves"] = [
            {"name": name, "depth_mm": depth, "width_mm": width} for name, depth, width in self.grooves
        ]
        values["extents_mm"] = {axis: list(span) for axis, span in self.extents_mm.items()}
        return values | verdict_json(self.findings, job)


def job_findings(job: Job, layout: Layout) -> tuple[Finding, ...]:
    """Return what there is to say of a job before any program: its numbers, its drawing or pattern, its land."""
    reach = _reach_mm(job, layout.network) if job.zero.turn_deg else None
    return (*suitability(job, deepest_mm(job.bit), reach), *layout_findings(job, layout))


def _reach_mm(job: Job, network: Network) -> tuple[float, float]:
    """Return how much room the lines take along X and Y as the piece lies."""
    x_nm, y_nm, _ = mount_of(job).axes_nm(network.x_nm, network.y_nm)
    box = boxes(replace(network, x_nm=x_nm, y_nm=y_nm).curves(np.flatnonzero(network.cut)))
    wide, high = box[:, 2:].max(axis=0) - box[:, :2].min(axis=0)
    return float(wide), float(high)


def verdict_json(findings: tuple[Finding, ...], job: Job | None) -> dict[str, Any]:
    """Return as plain values whether the findings let the piece be cut, and each of them, its place as X and Y of the program."""
    mount = None if job is None else mount_of(job)

    def place(at_mm: tuple[float, float] | None) -> list[float] | None:
        if at_mm is None:
            return None
        return list(at_mm if mount is None else mount.axes_mm(*at_mm))

    return {
        "clean": not refuses(findings),
        "findings": [
            {
                "code": finding.code,
                "severity": finding.severity,
                "sentence": finding.sentence,
                "more": finding.more,
                "line": finding.line,
                "at_mm": place(finding.at_mm),
            }
            for finding in findings
        ],
    }


def cell_by_cell_mm(network: Network) -> float:
    """Return the length that cutting the outline of every cell on its own would cut."""
    edge = network.ring_half_edge // 2
    return float((network.length_mm[edge] * network.cut[edge]).sum())


def cells_enclosed(network: Network) -> int:
    """Return how many cells have a groove all round; the others lean on the piece's edge, where nothing is cut.

    Cutting cell by cell is a way to work only where there are such cells.
    """
    if not network.cells:
        return 0
    cut = network.cut[network.ring_half_edge // 2]
    all_round = np.logical_and.reduceat(cut, network.ring_start[:-1])
    return int(np.count_nonzero(all_round[network.cell_ring_start[:-1]]))


def extents(moves: Moves) -> dict[str, tuple[float, float]]:
    """Return how far the feed moves reach on each axis, in work coordinates, and how high Z rises."""
    feed = moves.motion != int(Motion.RAPID)
    spans = {}
    for axis in moves.axes:
        ends = np.concatenate([moves.start(axis)[feed], moves.end(axis)[feed]])
        if axis == "Z":
            ends = np.concatenate([ends, moves.end(axis)])
        spans[axis.lower()] = (float(ends.min()), float(ends.max())) if len(ends) else (0.0, 0.0)
    return spans


def corners_sentence(machine: Machine, figures: Figures) -> str:
    """Return how the running time takes corners, where the controller's own rule is another or not known."""
    if machine.dialect not in CORNERS:
        return ""
    deviation = figures.length(machine.junction_deviation_mm)
    return f"corners are timed by a junction deviation of {deviation}; {CORNERS[machine.dialect]}, so the real time will differ"


def zero_sentence(job: Job) -> str:
    """Return where the work zero is, in words."""
    return f"X0 Y0 at the {job.zero.corner}, Z0 on the {job.zero.level}"


def bit_sentence(job: Job) -> str:
    """Return the bit in words."""
    bit, figures = job.bit, job.figures
    tip = "sharp"
    if bit.tip_mm > 0:
        tip = f"{figures.length(bit.tip_mm)} flat tip"
    elif bit.tip_radius_mm > 0:
        tip = f"tip rounded to {figures.length(bit.tip_radius_mm)}"
    return (
        f"{format_deg(bit.angle_deg)} V, {figures.length(bit.diameter_mm)} across, {tip}, "
        f"{figures.length(bit.shank_mm)} shank"
    )


def pattern_sentence(job: Job, layout: Layout) -> str:
    """Return the pattern and its pitch in words."""
    if layout.pattern is None or layout.pitch_mm is None:
        return f"drawing {job.pattern.drawing}"
    return f"{layout.pattern.key}, pitch {job.figures.length(layout.pitch_mm)}"


def _span(low: float, high: float, figures: Figures) -> str:
    return f"{figures.number(float(low))} to {figures.number(float(high))}"


def header(job: Job, layout: Layout, plan: Plan, findings: tuple[Finding, ...]) -> list[tuple[str, str]]:
    """Return the program's comment header as (label, text) pairs."""
    piece, figures = job.piece, job.figures
    network = layout.network
    mount = mount_of(job)
    used = np.unique(np.concatenate([network.tail[network.cut], network.head[network.cut]]))
    x, y, _ = mount.axes_nm(network.x_nm[used], network.y_nm[used])
    top = mount.top_nm / 1e6
    notes = [("Mizo", job.title or "V-groove engraving")]
    notes.append(
        (
            "Piece",
            f"{figures.size(piece.width_mm, piece.height_mm, piece.thickness_mm)}, {job.wood.title}",
        )
    )
    notes.append(("Pattern", pattern_sentence(job, layout)))
    for name, depth, width in layout.grooves.kinds(network, layout.layers):
        notes.append((f"Groove, {name}", f"{figures.length(depth)} deep, {figures.length(width)} wide"))
    notes.append(("Bit", bit_sentence(job)))
    notes.append(("Machine", f"{job.machine.name}, {job.machine.dialect}"))
    notes.append(("Zero", zero_sentence(job)))
    if job.zero.turn:
        notes.append(("Turn", job.zero.turn))
    notes.append(
        (
            "Extents",
            f"X {_span(x.min() / 1e6, x.max() / 1e6, figures)}, Y {_span(y.min() / 1e6, y.max() / 1e6, figures)}, "
            f"Z {_span(top - layout.deepest_mm, top + job.machine.safe_height_mm, figures)} {figures.unit}",
        )
    )
    notes.append(("Cut", f"{figures.way(plan.cut_mm)} in {counted(plan.passes, 'pass', 'passes')}"))
    if job.units == "inch" and job.machine.units != "inch":
        notes.append(("Moves below are in millimetres", ""))
    notes.extend(("Caution", group.first.sentence) for group in grouped(findings))
    notes.extend(("Caution", sentence) for sentence in HEADER_CAUTIONS)
    return notes


_MACHINE = re.compile(r"\(Machine: (.+), (rs274ngc|grbl-1\.1|linuxcnc)\)\s*")


def machine_in_header(text: str) -> tuple[str, str] | None:
    """Return the name and the dialect of the machine that a program's comment header says it was made for, or ``None``."""
    for line in text.splitlines():
        if not line.startswith("("):
            return None
        if found := _MACHINE.fullmatch(line):
            return found.group(1), found.group(2)
    return None


def summary(
    job: Job,
    layout: Layout,
    plan: Plan,
    reading: Reading,
    times: Times,
    findings: tuple[Finding, ...],
    proposed: tuple[str, ...] = (),
) -> Summary:
    """Return the figures of a program."""
    network, grooves = layout.network, layout.grooves
    return Summary(
        title=job.title,
        pattern=pattern_sentence(job, layout),
        cells=network.cells,
        cells_enclosed=cells_enclosed(network),
        vertices=network.vertices,
        edges=network.edges,
        lines_mm=network.cut_mm,
        cut_mm=plan.cut_mm,
        recut_mm=plan.recut_mm,
        rapid_mm=plan.rapid_mm,
        passes=plan.passes,
        lifts=plan.lifts,
        levels=plan.levels,
        cell_by_cell_mm=cell_by_cell_mm(network),
        grooves=layout.grooves.kinds(network, layout.layers),
        land_min_mm=grooves.narrowest_mm,
        land_vanished=grooves.vanished,
        land_broken=grooves.broken,
        land_weak=grooves.weak,
        time_s=times.total_s,
        corners=corners_sentence(job.machine, job.figures),
        plan_s=plan.proof.plan_s,
        bound_s=plan.proof.bound_s,
        cell_by_cell_s=plan.proof.cell_by_cell_s,
        turn_deg=job.zero.turn_deg,
        extents_mm=extents(reading.moves),
        pitch_mm=layout.pitch_mm,
        program_lines=len(reading.text_lines),
        sentences=(*layout.sentences, *proposed),
        findings=findings,
    )


def sentences(job: Job, layout: Layout, s: Summary) -> list[tuple[str, str]]:
    """Return the summary as (label, text) lines for the terminal; what there is none of is left out."""
    figures = job.figures
    counts = ", ".join(
        (counted(s.cells, "cell"), counted(s.edges, "edge"), counted(s.vertices, "vertex", "vertices"))
    )
    rows = [("pattern", f"{s.pattern}; {counts}")]
    rows.extend(("", sentence) for sentence in s.sentences)
    for name, depth, width in s.grooves:
        rows.append(
            ("groove", f"{name}: {figures.length(depth)} deep, {figures.length(width)} wide at the surface")
        )
    rows.append(("land", _land(s, figures)))
    rows.append(("lines", _lines(s, figures)))
    rows.append(("passes", f"{counted(s.passes, 'pass', 'passes')}, {_lifts(job, s)}"))
    x, y, z = (_span(*s.extents_mm[axis], figures) for axis in "xyz")
    rows.append(("extents", f"X {x}, Y {y}, Z {z} {figures.unit}"))
    rows.append(("zero", zero_sentence(job)))
    if job.zero.turn:
        rows.append(("turn", job.zero.turn))
    feeds = f"cut {figures.number(job.cut_mm_min, 1)}, plunge {figures.feed(job.plunge_mm_min, 1)}"
    rows.append(("speeds", f"{feeds}, spindle {format_rpm(job.spindle_rpm)}"))
    if s.corners:
        rows.append(("time", s.corners))
    return rows


def _lifts(job: Job, s: Summary) -> str:
    if not s.lifts:
        lifts = "no lifts"
    else:
        lifts = f"{counted(s.lifts, 'lift')} of {job.figures.length(job.hop_mm)}"
        if job.clamps and job.hop_mm > max(clamp.above_mm for clamp in job.clamps):
            lifts += " to clear the clamps"
    ways = [
        f"{job.figures.way(length)} {what}"
        for length, what in ((s.recut_mm, "recut"), (s.rapid_mm, "of rapids"))
        if length >= 0.05
    ]
    return f"{lifts}; {', '.join(ways)}" if ways else lifts


def _land(s: Summary, figures: Figures) -> str:
    if not s.cells:
        return "the lines close no cell, so there is no land to measure"
    kept = s.cells - s.land_vanished
    if s.cells == s.land_vanished == 1:
        return "the only cell keeps none"
    narrowest = f"narrowest {figures.length(s.land_min_mm)}"
    if s.land_vanished:
        return f"{narrowest}; {kept} of {s.cells} cells {'keeps' if kept == 1 else 'keep'} land"
    return f"{narrowest}; {'the cell keeps' if s.cells == 1 else f'all {s.cells} cells keep'} land"


def _lines(s: Summary, figures: Figures) -> str:
    told = lines_cut(s.lines_mm, s.cut_mm, s.levels, figures)
    saved = 1.0 - s.lines_mm / s.cell_by_cell_mm if s.cell_by_cell_mm > s.lines_mm else 0.0
    if saved < 0.005 or not s.cells_enclosed:
        return told
    by_cell = figures.way(s.cell_by_cell_mm)
    return f"{told}; cell by cell the lines would be {by_cell} ({saved * 100.0:.0f} % of the length saved)"


def plan_sentence(s: Summary) -> str:
    """Return the running time with its proof, such as ``plan: 3 min 05 s; 0.2 % above the least possible``.

    The time counts accelerations; both shares are of times at constant rates, where the least possible is proven.
    """
    parts = []
    if s.bound_s:
        above = max(s.plan_s / s.bound_s - 1.0, 0.0)
        parts.append(f"{above * 100.0:.1f} % above the least possible")
    if s.cells_enclosed and s.cell_by_cell_s > s.plan_s:
        parts.append(f"{s.plan_s / s.cell_by_cell_s * 100.0:.0f} % of the time of cutting cell by cell")
    return f"plan: {format_duration(s.time_s)}" + (f"; {', '.join(parts)}" if parts else "")
