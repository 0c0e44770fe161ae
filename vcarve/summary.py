"""What commands say of their work, in figures (``--json``) and in words: a program made, a dry run."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from vcarve.errors import Finding, refuses
from vcarve.job.records import Job
from vcarve.mount.flat import mount_of
from vcarve.network.model import Network
from vcarve.program.moves import Motion
from vcarve.quantity import counted, format_duration, format_rpm
from vcarve.report import corners_sentence, extents, pattern_sentence, span, zero_sentence
from vcarve.view.wording import lines_cut

if TYPE_CHECKING:
    from vcarve.pipeline import Made
    from vcarve.proofing import DryRun

Rows = list[tuple[str, str]]  # labels and texts


def verdict(findings: tuple[Finding, ...], job: Job | None) -> dict[str, Any]:
    """Return as plain values whether the findings let the piece be cut, and each of them, its place as X and Y of the program."""
    mount = None if job is None else mount_of(job)

    def place(at_mm: tuple[float, float] | None) -> list[float] | None:
        if at_mm is None:
            return None
        return list(at_mm if mount is None else mount.axes_mm(*at_mm))

    return {
        "clean": not refuses(findings),
        "findings": [
            {key: getattr(one, key) for key in ("code", "severity", "sentence", "more", "line")}
            | {"at_mm": place(one.at_mm)}
            for one in findings
        ],
    }


# --- a program ---------------------------------------------------------------------------------------------------------


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
    network, grooves, rises, proof = layout.network, layout.grooves, layout.rises, plan.proof
    return {
        "title": job.title,
        "pattern": pattern_sentence(job, layout),
        "cells": network.cells,
        "cells_enclosed": cells_enclosed(network),
        "vertices": network.vertices,
        "edges": network.edges,
        "lines_mm": network.cut_mm,
        "cut_mm": plan.cut_mm,
        "recut_mm": plan.recut_mm,
        "rapid_mm": plan.rapid_mm,
        "passes": plan.passes,
        "lifts": plan.lifts,
        "levels": plan.levels,
        "cell_by_cell_mm": cell_by_cell_mm(network),
        "grooves": [
            {"name": name, "depth_mm": depth, "width_mm": width} for name, depth, width in layout.kinds
        ],
        "tapered_ends": 0 if rises is None else len(rises.short),
        "tapered_short": 0 if rises is None else int(np.count_nonzero(rises.short)),
        "taper_least_mm": None if rises is None or not len(rises.short) else float(rises.reach_mm.min()),
        "land_min_mm": grooves.narrowest_mm,
        "land_vanished": grooves.vanished,
        "land_broken": grooves.broken,
        "land_weak": grooves.weak,
        "time_s": made.times.total_s,
        "corners": corners_sentence(job.machine, job.figures),
        "plan_s": proof.plan_s,
        "bound_s": proof.bound_s,
        "cell_by_cell_s": proof.cell_by_cell_s,
        "turn_deg": job.zero.turn_deg,
        "extents_mm": {axis: list(ends) for axis, ends in extents(made.reading.moves).items()},
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
    rows = [("pattern", f"{pattern_sentence(job, layout)}; {counts}")]
    rows += [("", sentence) for sentence in made.sentences]
    for name, depth, width in layout.kinds:
        rows.append(
            ("groove", f"{name}: {figures.length(depth)} deep, {figures.length(width)} wide at the surface")
        )
    if job.taper_mm:
        rows.append(("taper", layout.taper or "no line ends in nothing, so none tapers"))
    rows.append(("land", _land(made)))
    rows.append(("lines", _lines(made)))
    rows.append(("passes", f"{counted(plan.passes, 'pass', 'passes')}, {_lifts(made)}"))
    ends = extents(made.reading.moves)
    spans = ", ".join(f"{axis.upper()} {span(*ends[axis], figures)}" for axis in "xyz")
    rows.append(("extents", f"{spans} {figures.unit}"))
    rows.append(("zero", zero_sentence(job)))
    if job.zero.turn:
        rows.append(("turn", job.zero.turn))
    feeds = f"cut {figures.number(job.cut_mm_min, 1)}, plunge {figures.feed(job.plunge_mm_min, 1)}"
    rows.append(("speeds", f"{feeds}, spindle {format_rpm(job.spindle_rpm)}"))
    if corners := corners_sentence(job.machine, figures):
        rows.append(("time", corners))
    return rows


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
    narrowest = f"narrowest {made.job.figures.length(made.layout.grooves.narrowest_mm)}"
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
    below = feed & moves.told & (np.minimum(moves.start("Z"), moves.end("Z")) < run.top_mm - 1e-6)
    ends = {axis: list(ends) for axis, ends in extents(moves).items()} if len(moves) else None
    return {
        **verdict(run.findings, run.job),
        "machine": run.machine.name,
        "dialect": run.reading.dialect,
        "lines": moves.lines,
        "moves": len(moves),
        "passes": run.passes,
        "time_s": times.total_s,
        "corners": corners_sentence(run.machine, run.figures),
        "cut_time_s": times.cut_s,
        "plunge_time_s": times.plunge_s,
        "rapid_time_s": times.rapid_s,
        "dwell_s": times.dwell_s,
        "pauses": times.pauses,
        "below_surface_mm": float(moves.length_mm[below].sum()),
        "rapid_mm": float(moves.length_mm[~feed].sum()),
        "extents_mm": ends,
        "measured": _measured(run),
    }


def _measured(run: DryRun) -> dict[str, Any] | None:
    facts, surface, layout = run.measured, run.surface, run.layout
    if facts is None or surface is None or layout is None:
        return None
    worst = None
    if facts.worst_edge >= 0:
        worst = {
            "measured_mm": float(facts.widths_mm[facts.worst_edge]),
            "computed_mm": float(facts.wanted_mm[facts.worst_edge]),
            "error_mm": facts.worst_mm,
        }
    return {
        "step_mm": surface.step_mm,
        "edges": facts.measured,
        "edges_not_measured": facts.crowded + facts.too_fine,
        "edges_crowded": facts.crowded,
        "edges_too_fine_for_step": facts.too_fine,
        "worst_width": worst,
        "removed_mm3": facts.removed_mm3,
        "deepest_mm": facts.deepest_mm,
        "land_islands": facts.land.islands,
        "land_mm2": facts.land.area_mm2 if np.isfinite(facts.land.area_mm2) else None,
        "narrowest_land_mm": facts.land.narrowest_mm if np.isfinite(facts.land.narrowest_mm) else None,
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
    if corners := corners_sentence(run.machine, figures):
        rows.append(("", corners))
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
    why = ", ".join(
        f"{number} {reason}"
        for number, reason in (
            (facts.crowded, "nowhere clear of other grooves, joints and the piece's edge"),
            (facts.too_fine, "too narrow for the grid"),
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
