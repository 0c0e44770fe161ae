"""Every fact of a job and its plan in words, once: header, summary, picture, page and bench sheet choose among them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np

from vcarve.groove.width import tip_words, uncertainty_mm
from vcarve.job.records import Job
from vcarve.layout.stages import Layout
from vcarve.layout.warp import warp_of
from vcarve.mount.flat import mount_of
from vcarve.plan.model import Plan
from vcarve.plane.arrays import NM_PER_MM
from vcarve.quantity import Figures, counted, format_deg, format_duration, format_rpm

NBSP = "\u00a0"

Rows = list[tuple[str, str]]  # labels and texts

# Where a fact is told: in the program's header, in the summary that is printed, under the picture; on page and bench sheet
# with the stock, the tool, the groove, the program or the plan.
HEADER, SUMMARY, PICTURE, STOCK, TOOL, GROOVE, PROGRAM, PLAN = "hspktgrn"


class Fact(NamedTuple):
    """A label, what there is to say, and where."""

    label: str
    text: str
    told: str


def chosen(known: Iterable[Fact], where: str) -> Rows:
    """Return the facts that are told in one place; what there is none of is left out."""
    return [(one.label, one.text) for one in known if where in one.told and one.text]


def pattern_sentence(layout: Layout) -> str:
    """Return the pattern and its pitch in words."""
    pattern, pitch_mm = layout.lines.pattern, layout.lines.pitch_mm
    if pattern is None or pitch_mm is None:
        return layout.lines.words or f"drawing {layout.job.pattern.drawing}"
    return f"{pattern.key}, pitch {layout.job.figures.length(pitch_mm)}"


def facts(layout: Layout, plan: Plan | None = None) -> Iterator[Fact]:
    """Yield what there is to say of a job and what lies on its piece, and of its plan."""
    job, network, figures = layout.job, layout.network, layout.job.figures
    piece, bit, speeds, zero = job.piece, job.bit, job.speeds, job.zero
    size = figures.size(piece.width_mm, piece.height_mm, piece.thickness_mm)
    yield Fact("Piece", f"{size}, {piece.wood.title}", HEADER + STOCK)
    pattern = pattern_sentence(layout)
    yield Fact("Pattern", pattern, HEADER)
    counts = f"{counted(network.cells, 'cell')}, {counted(network.edges, 'edge')}"
    yield Fact("Pattern", f"{pattern}; {counts}, {counted(network.vertices, 'vertex', 'vertices')}", SUMMARY)
    for name, deep, wide in layout.kinds:
        said = f"{figures.length(deep)} deep, {width_words(job, deep, wide)} wide"
        yield Fact(f"Groove, {name}", said, HEADER + PICTURE + GROOVE)
        yield Fact("Groove", f"{name}: {said}", SUMMARY)
    yield Fact("Taper", layout.taper, HEADER + SUMMARY + PICTURE + GROOVE)
    if job.taper_mm and not layout.taper:
        yield Fact("Taper", "no line ends in nothing, so none tapers", SUMMARY)
    narrowest, keep = land_words(layout)
    yield Fact("Land", f"narrowest {narrowest}; {keep}" if narrowest else keep, SUMMARY + PICTURE + GROOVE)
    yield Fact("Kind of bit", bit.name or "", TOOL)
    across, shank = figures.length(bit.diameter_mm), figures.length(bit.shank_mm)
    off = f" ± {format_deg(bit.uncertainty.angle_deg)}" if bit.uncertainty else ""
    said = f"{format_deg(bit.angle_deg)}{off} V, {across} across, {tip_words(bit, figures.length)}, {shank} shank"
    yield Fact("Bit", said, HEADER + PICTURE + TOOL)
    yield Fact("Machine", f"{job.machine.name}, {job.machine.dialect}", HEADER)
    said = f"X0 Y0 at the {zero.corner}, Z0 on the {zero.level}"
    yield Fact("Zero", said, HEADER + SUMMARY + PICTURE + STOCK)
    yield Fact("Turn", zero.turn, HEADER + SUMMARY + PICTURE + STOCK)
    warp = warp_of(layout)
    yield Fact("Surface", "" if warp is None else warp.told(layout), HEADER + SUMMARY + STOCK)
    yield Fact("Cut-out", cut_out_words(job), HEADER + SUMMARY + PICTURE + STOCK)
    if job.clamps:
        tallest = figures.length(max(clamp.above_mm for clamp in job.clamps))
        yield Fact("Clamps", f"{len(job.clamps)}, up to {tallest} above the top", STOCK)
    feeds = f"cut {figures.number(speeds.cut_mm_min, 1)}, plunge {figures.feed(speeds.plunge_mm_min, 1)}"
    yield Fact("Speeds", f"{feeds}, spindle {format_rpm(speeds.spindle_rpm)}", SUMMARY + TOOL)
    left, front, right, back = layout.reach_mm
    mount = mount_of(job)
    low = mount.top_nm / NM_PER_MM - layout.deepest_mm + (warp.low_mm if warp else 0.0)
    high = mount.clear_nm(0) / NM_PER_MM + job.machine.safe_height_mm
    spans = (
        f"{axis} {figures.number(start)} to {figures.number(end)}"
        for axis, start, end in (("X", left, right), ("Y", front, back), ("Z", low, high))
    )
    yield Fact("Extents", f"{', '.join(spans)} {figures.unit}", HEADER + SUMMARY)
    if plan is None:
        return
    passes, cut = counted(plan.passes, "pass", "passes"), figures.way(plan.cut_mm)
    by_cell = network.cell_by_cell_mm
    yield Fact("Cut", f"{cut} in {passes}", HEADER)
    lines = f"{figures.way(network.cut_mm)}, each cut once"
    if plan.levels > 1:
        lines = f"{figures.way(network.cut_mm)}, cut in {plan.levels} levels: {cut}"
    yield Fact("Lines", lines, PICTURE)
    saved = 1.0 - network.cut_mm / by_cell if by_cell > network.cut_mm else 0.0
    if saved >= 0.005 and network.cells_enclosed:
        lines += f"; cell by cell the lines would be {figures.way(by_cell)} ({saved * 100.0:.0f} % of the length saved)"
    yield Fact("Lines", lines, SUMMARY + PLAN)
    lifts = _lifts(layout, plan)
    yield Fact("Passes", f"{passes}, {lifts}", SUMMARY + PICTURE)
    yield Fact("Lifts", lifts, PLAN)
    yield Fact("At even speed", format_duration(plan.proof.plan_s), PLAN)
    least = f"{format_duration(plan.proof.bound_s)} (plan {100.0 * plan.proof.above_bound:.1f} % above)"
    yield Fact("Proven least", least, PLAN)


def _lifts(layout: Layout, plan: Plan) -> str:
    job = layout.job
    lifts = "no lifts"
    if plan.lifts:
        lifts = f"{counted(plan.lifts, 'lift')} of {job.figures.length(job.hop_mm)}"
        if job.clamps and job.hop_mm > max(clamp.above_mm for clamp in job.clamps):
            lifts += " to clear the clamps"
    ways = [
        f"{job.figures.way(length)} {what}"
        for length, what in ((plan.recut_mm, "recut"), (plan.rapid_mm, "of rapids"))
        if float(job.figures.number(length, 1))
    ]
    return f"{lifts}; {', '.join(ways)}" if ways else lifts


def cut_out_words(job: Job) -> str:
    """Return how a job's piece is cut out of its board; empty where it is not."""
    cut_out, figures = job.cut_out, job.figures
    if cut_out is None:
        return ""
    mill = f"by a second program, with an end mill {figures.length(cut_out.bit.diameter_mm)} across"
    turns = f"down by {figures.length(job.cut_out_step_mm)} a turn at most, {cut_out.direction}"
    below = f"to {figures.length(cut_out.through_mm)} below the piece"
    tabs = f"{counted(cut_out.tabs, 'tab')} of {figures.size(cut_out.tab.width_mm, cut_out.tab.height_mm)}"
    return f"{mill}, {turns}, {below}; {tabs if cut_out.tabs else 'no tabs'}"


def land_words(layout: Layout) -> tuple[str, str]:
    """Return how narrow the land gets, empty where there is none, and how many cells keep any."""
    cells, grooves, figures = layout.network.cells, layout.grooves, layout.job.figures
    kept = cells - grooves.vanished
    if not cells:
        return "", "the lines close no cell, so there is no land to measure"
    if not kept:
        return "", "the only cell keeps none" if cells == 1 else f"none of {cells} cells keeps any"
    off = layout.width_off_mm
    narrowest = figures.length(max(grooves.narrowest_mm - off, 0.0))
    if off:
        narrowest = f"at least {narrowest}"
    if grooves.weak_mm.min(initial=np.inf) < grooves.narrowest_mm - 1e-6:
        # A cell in islands counts by its widest.
        narrowest = f"cell {narrowest}, smallest island {figures.small(float(grooves.weak_mm.min()))}"
    if kept < cells:
        return narrowest, f"{kept} of {cells} cells {'keeps' if kept == 1 else 'keep'} land"
    return narrowest, "the cell keeps land" if cells == 1 else f"all {cells} cells keep land"


def width_words(job: Job, depth_mm: float, width_mm: float) -> str:
    """Return a groove's width, with how far it may be off where the job says how well its bit is known."""
    off_mm = uncertainty_mm(job.bit, depth_mm)
    return job.figures.known(width_mm, off_mm) if off_mm else job.figures.length(width_mm)


# --- how figures are set: with their unit, which no line break parts from them ----------------------------------------


def length(value_mm: float, figures: Figures) -> str:
    """Return length with its unit."""
    return unbroken(figures.length(value_mm))


def unbroken(text: str) -> str:
    """Return a figure with its unit as it is set on a page: on one line, with a true minus sign."""
    return text.replace(" ", NBSP).replace("-", "−")


def kept(words: str) -> str:
    """Return a sentence in which no line ends between a number and its unit, or between an axis and its place."""
    return re.sub(
        r"(?<=[0-9]) (?=(?:mm|in|s|min|h|rpm|%)(?:[^a-z]|$))|(?<=\b[XYZ]) (?=[-−]?[0-9])", NBSP, words
    )
