"""What there is to say of a job and its program: the notes in a program's header, what commands print, and their figures."""

from __future__ import annotations

import re
from dataclasses import asdict
from itertools import takewhile
from typing import Any

import numpy as np

from vcarve.errors import Finding, grouped, refuses
from vcarve.groove.width import tip_words
from vcarve.job.records import Job
from vcarve.layout.stages import Kind, Layout
from vcarve.mount.flat import mount_of
from vcarve.network.model import Network
from vcarve.plan.model import Plan
from vcarve.plane.arrays import NM_PER_MM
from vcarve.program.moves import Motion
from vcarve.quantity import Figures, counted, format_deg, format_duration, format_mm, format_rpm
from vcarve.run import DryRun, Made
from vcarve.view.wording import lines_cut

Rows = list[tuple[str, str]]  # labels and texts

# The usual cautions (common practice), short enough for a program's header; the bench sheet has them in full.
HEADER_CAUTIONS = (
    "Protect eyes, ears and lungs. Hold the piece fast. Stay with it.",
    "Manuals of mill and bit, and local rules, come first.",
)


def zero_sentence(job: Job) -> str:
    """Return where the work zero is, in words."""
    return f"X0 Y0 at the {job.zero.corner}, Z0 on the {job.zero.level}"


def pattern_sentence(layout: Layout) -> str:
    """Return the pattern and its pitch in words."""
    pattern, pitch_mm = layout.lines.pattern, layout.lines.pitch_mm
    if pattern is None or pitch_mm is None:
        return f"drawing {layout.job.pattern.drawing}"
    return f"{pattern.key}, pitch {layout.job.figures.length(pitch_mm)}"


def _deep_and_wide(kind: Kind, figures: Figures) -> str:
    return f"{figures.length(kind.depth_mm)} deep, {figures.length(kind.width_mm)} wide"


def _extents(ends_mm: dict[str, tuple[float, float]], figures: Figures) -> str:
    """Return from where to where something reaches on each axis, in words."""
    spans = (
        f"{axis.upper()} {figures.number(low)} to {figures.number(high)}"
        for axis, (low, high) in ends_mm.items()
    )
    return f"{', '.join(spans)} {figures.unit}"


# --- a program's header ---


def header(layout: Layout, plan: Plan, findings: tuple[Finding, ...]) -> Rows:
    """Return the program's comment header as (label, text) pairs."""
    job, piece, bit, figures = layout.job, layout.job.piece, layout.job.bit, layout.job.figures
    top_mm = mount_of(job).top_nm / NM_PER_MM
    across, shank, tip = *map(figures.length, (bit.diameter_mm, bit.shank_mm)), tip_words(bit, figures.length)
    size = figures.size(piece.width_mm, piece.height_mm, piece.thickness_mm)
    left, front, right, back = layout.reach_mm
    low, high = top_mm - layout.deepest_mm, top_mm + job.machine.safe_height_mm
    ends = {"x": (left, right), "y": (front, back), "z": (low, high)}
    notes = [
        ("Mizo", job.title or "V-groove engraving"),
        ("Piece", f"{size}, {job.piece.wood.title}"),
        ("Pattern", pattern_sentence(layout)),
        *((f"Groove, {kind.name}", _deep_and_wide(kind, figures)) for kind in layout.kinds),
        ("Taper", layout.taper),
        ("Bit", f"{format_deg(bit.angle_deg)} V, {across} across, {tip}, {shank} shank"),
        ("Machine", f"{job.machine.name}, {job.machine.dialect}"),
        ("Zero", zero_sentence(job)),
        ("Turn", job.zero.turn),
        ("Extents", _extents(ends, figures)),
        ("Cut", f"{figures.way(plan.cut_mm)} in {counted(plan.passes, 'pass', 'passes')}"),
    ]
    notes = [(label, text) for label, text in notes if text]
    if job.units == "inch" and job.machine.units != "inch":
        notes.append(("Moves below are in millimetres", ""))
    notes.extend(("Caution", group.first.sentence) for group in grouped(findings))
    notes.extend(("Caution", sentence) for sentence in HEADER_CAUTIONS)
    return notes


_MACHINE = re.compile(r"\(Machine: (.+), (rs274ngc|grbl-1\.1|linuxcnc)\)\s*")


def machine_in_header(text: str) -> tuple[str, str] | None:
    """Return the name and the dialect of the machine that a program's comment header says it was made for, or ``None``."""
    comments = takewhile(lambda line: line.startswith("("), text.splitlines())
    found = next(filter(None, map(_MACHINE.fullmatch, comments)), None)
    return None if found is None else (found[1], found[2])


def verdict(findings: tuple[Finding, ...], job: Job | None) -> dict[str, Any]:
    """Return as plain values whether the findings let the piece be cut, and each of them, its place as X and Y of the program."""
    axes_mm = (lambda *at_mm: at_mm) if job is None else mount_of(job).axes_mm
    return {
        "clean": not refuses(findings),
        "findings": [
            _of(one, "code", "severity", "sentence", "more", "line")
            | {"at_mm": None if one.at_mm is None else list(axes_mm(*one.at_mm))}
            for one in findings
        ],
    }


# --- a program ---------------------------------------------------------------------------------------------------------


def _of(record: object, *fields: str) -> dict[str, Any]:
    return {field: getattr(record, field) for field in fields}


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


def program_json(made: Made) -> dict[str, Any]:
    """Return the figures of a program, in millimetres and seconds: lines once, cuts once for each level."""
    job, layout, plan = made.job, made.layout, made.plan
    network, grooves, rises = layout.network, layout.grooves, layout.rises
    ends = 0 if rises is None else len(rises.short)
    return {
        "title": job.title,
        "pattern": pattern_sentence(layout),
        **_of(network, "cells", "vertices", "edges"),
        "cells_enclosed": cells_enclosed(network),
        "lines_mm": network.cut_mm,
        **_of(plan, "cut_mm", "recut_mm", "rapid_mm", "passes", "lifts", "levels"),
        "cell_by_cell_mm": cell_by_cell_mm(network),
        "grooves": [kind._asdict() for kind in layout.kinds],
        "tapered_ends": ends,
        "tapered_short": int(np.count_nonzero(rises.short)) if rises else 0,
        "taper_least_mm": float(rises.reach_mm.min()) if rises and ends else None,
        "land_min_mm": grooves.narrowest_mm,
        **{f"land_{key}": value for key, value in _of(grooves, "vanished", "broken", "weak").items()},
        "time_s": made.times.total_s,
        "corners": made.corners,
        **asdict(plan.proof),
        "turn_deg": job.zero.turn_deg,
        "extents_mm": made.extents_mm,
        "pitch_mm": layout.lines.pitch_mm,
        "program_lines": len(made.reading.text_lines),
        "sentences": made.sentences,
        **verdict(made.told, job),
    }


def program_rows(made: Made) -> Rows:
    """Return what there is to say of a program; what there is none of is left out."""
    job, layout, plan, figures = made.job, made.layout, made.plan, made.job.figures
    network = layout.network
    counts = f"{counted(network.cells, 'cell')}, {counted(network.edges, 'edge')}"
    counts += f", {counted(network.vertices, 'vertex', 'vertices')}"
    taper = layout.taper or "no line ends in nothing, so none tapers"
    feeds = (
        f"cut {figures.number(job.speeds.cut_mm_min, 1)}, plunge {figures.feed(job.speeds.plunge_mm_min, 1)}"
    )
    rows = [
        ("pattern", f"{pattern_sentence(layout)}; {counts}"),
        *(("", sentence) for sentence in made.sentences),
        *(
            ("groove", f"{kind.name}: {_deep_and_wide(kind, figures)} at the surface")
            for kind in layout.kinds
        ),
        ("taper", taper if job.taper_mm else ""),
        ("land", _land(made)),
        ("lines", _lines(made)),
        ("passes", f"{counted(plan.passes, 'pass', 'passes')}, {_lifts(made)}"),
        ("extents", _extents(made.extents_mm, figures)),
        ("zero", zero_sentence(job)),
        ("turn", job.zero.turn),
        ("speeds", f"{feeds}, spindle {format_rpm(job.speeds.spindle_rpm)}"),
        ("time", made.corners),
    ]
    return [(label, text) for label, text in rows if text]


def _lifts(made: Made) -> str:
    job, plan = made.job, made.plan
    lifts = "no lifts"
    if plan.lifts:
        lifts = f"{counted(plan.lifts, 'lift')} of {job.figures.length(job.hop_mm)}"
        if job.clamps and job.hop_mm > max(clamp.above_mm for clamp in job.clamps):
            lifts += " to clear the clamps"
    ways = [
        f"{job.figures.way(length)} {what}"
        for length, what in ((plan.recut_mm, "recut"), (plan.rapid_mm, "of rapids"))
        if length >= 0.05
    ]
    return f"{lifts}; {', '.join(ways)}" if ways else lifts


def _land(made: Made) -> str:
    cells, lost = made.layout.network.cells, made.layout.grooves.vanished
    if not cells:
        return "the lines close no cell, so there is no land to measure"
    kept = cells - lost
    if cells == lost == 1:
        return "the only cell keeps none"
    figures, grooves = made.job.figures, made.layout.grooves
    narrowest = f"narrowest {figures.length(grooves.narrowest_mm)}"
    if grooves.weak_mm.min(initial=np.inf) < grooves.narrowest_mm - 1e-6:
        # A cell in islands counts by its widest.
        smallest = figures.small(float(grooves.weak_mm.min()))
        narrowest = f"narrowest cell {figures.length(grooves.narrowest_mm)}, smallest island {smallest}"
    if lost:
        return f"{narrowest}; {kept} of {cells} cells {'keeps' if kept == 1 else 'keep'} land"
    return f"{narrowest}; {'the cell keeps' if cells == 1 else f'all {cells} cells keep'} land"


def _lines(made: Made) -> str:
    network, figures = made.layout.network, made.job.figures
    told = lines_cut(network.cut_mm, made.plan.cut_mm, made.plan.levels, figures)
    by_cell = cell_by_cell_mm(network)
    saved = 1.0 - network.cut_mm / by_cell if by_cell > network.cut_mm else 0.0
    if saved < 0.005 or not cells_enclosed(network):
        return told
    return f"{told}; cell by cell the lines would be {figures.way(by_cell)} ({saved * 100.0:.0f} % of the length saved)"


def plan_sentence(made: Made) -> str:
    """Return the running time with its proof, such as ``plan: 3 min 05 s; 0.2 % above the least possible``.

    The time counts accelerations; both shares are of times at constant rates, where the least possible is proven.
    """
    proof, parts = made.plan.proof, [f"plan: {format_duration(made.times.total_s)}"]
    if proof.bound_s:
        parts.append(f"{proof.above_bound * 100.0:.1f} % above the least possible")
    if cells_enclosed(made.layout.network) and proof.cell_by_cell_s > proof.plan_s:
        share = proof.plan_s / proof.cell_by_cell_s
        parts.append(f"{share * 100.0:.0f} % of the time of cutting cell by cell")
    return parts[0] + ("; " + ", ".join(parts[1:]) if parts[1:] else "")


# --- a dry run ---------------------------------------------------------------------------------------------------------


def dry_run_json(run: DryRun) -> dict[str, Any]:
    """Return the dry run's figures as plain values; what could not be measured is ``None``."""
    moves, times = run.reading.moves, run.times
    feed = moves.motion != int(Motion.RAPID)
    below = feed & moves.told & (np.minimum(moves.start("Z"), moves.end("Z")) < run.setup.top_mm - 1e-6)
    return {
        **verdict(run.findings, run.job),
        "machine": run.machine.name,
        "dialect": run.reading.dialect,
        "lines": moves.lines,
        "moves": len(moves),
        "passes": run.passes,
        "time_s": times.total_s,
        "corners": run.corners,
        **{f"{what}_time_s": getattr(times, f"{what}_s") for what in ("cut", "plunge", "rapid")},
        **_of(times, "dwell_s", "pauses"),
        "below_surface_mm": float(moves.length_mm[below].sum()),
        "rapid_mm": float(moves.length_mm[~feed].sum()),
        "extents_mm": run.extents_mm or None,
        "measured": _measured(run),
    }


def _measured(run: DryRun) -> dict[str, Any] | None:
    facts, surface, layout = run.measured, run.surface, run.layout
    if facts is None or surface is None or layout is None:
        return None
    worst, land = facts.worst_edge, facts.land
    return {
        "step_mm": surface.step_mm,
        "edges": facts.measured,
        "edges_not_measured": facts.crowded + facts.too_fine,
        "edges_crowded": facts.crowded,
        "edges_too_fine_for_step": facts.too_fine,
        "worst_width": None
        if worst < 0
        else {
            "measured_mm": float(facts.widths_mm[worst]),
            "computed_mm": float(facts.wanted_mm[worst]),
            "error_mm": facts.worst_mm,
        },
        **_of(facts, "removed_mm3", "deepest_mm"),
        "land_islands": land.islands,
        "land_mm2": land.area_mm2 if np.isfinite(land.area_mm2) else None,
        "narrowest_land_mm": land.narrowest_mm if np.isfinite(land.narrowest_mm) else None,
        "computed_narrowest_land_mm": layout.grooves.narrowest_mm,
    }


def dry_run_rows(run: DryRun) -> Rows:
    """Return what there is to say of a dry run before its findings."""
    moves, times, figures = run.reading.moves, run.times, run.figures
    read = f"{counted(moves.lines, 'line')}, {counted(len(moves), 'move')}, {counted(run.passes, 'pass', 'passes')}"
    parts = (
        f"cutting {format_duration(times.cut_s)}",
        f"plunging {format_duration(times.plunge_s)}",
        f"rapids {format_duration(times.rapid_s)}",
        f"waiting {format_duration(times.dwell_s)}; if the sender keeps up",
    )
    rows = [("read", read), ("time", f"{format_duration(times.total_s)}: {', '.join(parts)}")]
    if run.corners:
        rows.append(("", run.corners))
    if times.pauses:
        rows.append(("stops", f"{counted(times.pauses, 'pause')} until you continue"))
    if run.measured is not None:
        deepest = figures.length(run.measured.deepest_mm)
        rows.append(("carved", f"{figures.volume(run.measured.removed_mm3)} removed, deepest {deepest}"))
        rows.append(("widths", widths_sentence(run)))
    return rows


def widths_sentence(run: DryRun) -> str:
    """Return how the measured widths compare with the computed ones, and why some were not measured."""
    facts = run.measured
    if facts is None:
        return "not measured"
    would_do = "" if facts.finer_mm is None else f" (--step {format_mm(facts.finer_mm)} would do)"
    why = ", ".join(
        f"{number} {reason}"
        for number, reason in (
            (facts.crowded, "nowhere clear of other grooves, joints and the piece's edge"),
            (facts.too_fine, f"too narrow for the grid{would_do}"),
        )
        if number
    )
    if facts.measured == 0:
        return f"no groove could be measured{why and f': {why}'}"
    missing = why and f"; not measured: {why}"
    edges = facts.measured + facts.crowded + facts.too_fine
    where = f"measured on {facts.measured} of {counted(edges, 'edge')}"
    worst = round(abs(facts.worst_mm), 3)
    if worst == 0.0:
        return f"{where}, as computed to within {run.figures.length(0.001, 4)}{missing}"
    more = "more" if facts.worst_mm > 0.0 else "less"
    return f"{where}, at most {run.figures.length(worst, 4)} {more} than computed{missing}"
