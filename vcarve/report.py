"""What there is to say of a job and its program: the notes in a program's header, what commands print, and their figures."""

from __future__ import annotations

import re
from dataclasses import asdict
from itertools import takewhile
from typing import Any

import numpy as np

from vcarve.cuts.model import Cuts
from vcarve.errors import Finding, grouped, refuses
from vcarve.groove.width import uncertainty_mm
from vcarve.job.records import Job
from vcarve.layout.stages import Layout
from vcarve.layout.warp import warp_of
from vcarve.mount.flat import mount_of
from vcarve.panel.movement import movement
from vcarve.panel.tiles import field_mm, letter
from vcarve.plan.model import Plan
from vcarve.plane.arcs import boxes, curves
from vcarve.plane.arrays import NM_PER_MM
from vcarve.program.moves import Motion
from vcarve.quantity import counted, format_duration, format_mm, format_rpm
from vcarve.run import DryRun, Made, MadeCutOut, PanelMade
from vcarve.view.facts import HEADER, SUMMARY, Fact, Rows, chosen, facts, pattern_sentence
from vcarve.view.panel import bars_of

# The usual cautions (common practice), short enough for a program's header; the bench sheet has them in full.
HEADER_CAUTIONS = (
    "Protect eyes, ears and lungs. Hold the piece fast. Stay with it.",
    "Manuals of mill and bit, and local rules, come first.",
)
CUT_OUT_CAUTION = (
    "At the end the piece hangs on its tabs. Hold the board too, and saw the tabs with the spindle off."
)
OF_EVERY_BIT = ("Piece", "Machine", "Zero", "Turn", "Surface", "Cut-out")  # facts of either program


# --- a program's header ---


def header(layout: Layout, plan: Plan, findings: tuple[Finding, ...]) -> Rows:
    """Return the program's comment header as (label, text) pairs."""
    job = layout.job
    notes = [("Mizo", job.title or "V-groove engraving"), *chosen(facts(layout, plan), HEADER)]
    if job.units == "inch" and job.machine.units != "inch":
        notes.append(("Moves below are in millimetres", ""))
    notes.extend(("Caution", group.first.sentence) for group in grouped(findings))
    notes.extend(("Caution", sentence) for sentence in HEADER_CAUTIONS)
    return notes


def cut_out_header(layout: Layout, cuts: Cuts, plan: Plan, findings: tuple[Finding, ...]) -> Rows:
    """Return the comment header of the program that cuts a job's piece out, as (label, text) pairs."""
    job, cut_out, mount, figures = layout.job, layout.job.cut_out, mount_of(layout.job), layout.job.figures
    assert cut_out is not None
    told = {label: text for label, text in chosen(facts(layout), HEADER) if label in OF_EVERY_BIT}
    mill, speeds = cut_out.bit, job.cut_out_speeds
    x, y = mount.across_nm(*cuts.place_nm[:, :2].T)
    spots = np.column_stack([x, y]) / NM_PER_MM
    box = boxes(curves(spots[cuts.tail], spots[cuts.head], cuts.bulge))
    low = (*box[:, :2].min(axis=0), (mount.top_nm - cuts.place_nm[:, 2].max()) / NM_PER_MM)
    high = (*box[:, 2:].max(axis=0), mount.clear_nm(0) / NM_PER_MM + job.machine.safe_height_mm)
    spans = (
        f"{axis} {figures.number(float(a))} to {figures.number(float(b))}"
        for axis, a, b in zip("XYZ", low, high, strict=True)
    )
    feeds = f"cut {figures.number(speeds.cut_mm_min, 1)}, down {figures.feed(speeds.plunge_mm_min, 1)}"
    across = f"{figures.length(mill.diameter_mm)} across, cuts {figures.length(mill.cutting_length_mm)} deep"
    notes = [
        ("Mizo", f"cut-out of {job.name}"),
        *told.items(),
        ("End mill", f"{mill.name or 'of your own'}, {across}, {counted(mill.flutes, 'flute')}"),
        ("Speeds", f"{feeds}, spindle {format_rpm(speeds.spindle_rpm)}"),
        ("Extents", f"{', '.join(spans)} {figures.unit}"),
        ("Cut", f"{figures.way(plan.cut_mm)} in {counted(plan.passes, 'pass', 'passes')}"),
        ("First", "Run the engraving, leave the piece as it lies, change the bit, set Z0 again"),
        ("Below", f"{figures.length(cut_out.through_mm)} into a spoil board under the piece"),
    ]
    notes.extend(("Caution", group.first.sentence) for group in grouped(findings))
    notes.extend(("Caution", sentence) for sentence in (*HEADER_CAUTIONS, CUT_OUT_CAUTION))
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


def program_json(made: Made) -> dict[str, Any]:
    """Return the figures of a program, in millimetres and seconds: lines once, cuts once for each level."""
    job, layout, plan = made.job, made.layout, made.plan
    network, grooves, rises = layout.network, layout.grooves, layout.rises
    ends = 0 if rises is None else len(rises.short)
    warp = warp_of(layout)
    return {
        "title": job.title,
        "pattern": pattern_sentence(layout),
        **_of(network, "cells", "vertices", "edges", "cells_enclosed", "cell_by_cell_mm"),
        "lines_mm": network.cut_mm,
        **_of(plan, "cut_mm", "recut_mm", "rapid_mm", "passes", "lifts", "levels"),
        "grooves": [
            kind._asdict() | {"width_off_mm": uncertainty_mm(job.bit, kind.depth_mm)} for kind in layout.kinds
        ],
        "tapered_ends": ends,
        "tapered_short": int(np.count_nonzero(rises.short)) if rises else 0,
        "taper_least_mm": float(rises.reach_mm.min()) if rises and ends else None,
        "land_min_mm": grooves.narrowest_mm,
        "land_least_mm": max(grooves.narrowest_mm - layout.width_off_mm, 0.0),
        **{f"land_{key}": value for key, value in _of(grooves, "vanished", "broken", "weak").items()},
        "time_s": made.times.total_s,
        "corners": made.corners,
        **asdict(plan.proof),
        "turn_deg": job.zero.turn_deg,
        "surface": None if warp is None else warp._asdict(),
        "extents_mm": made.extents_mm,
        "pitch_mm": layout.lines.pitch_mm,
        "program_lines": len(made.reading.text_lines),
        "cut_out": None if made.cut_out is None else _cut_out(made.cut_out),
        "sentences": made.sentences,
        **verdict(made.told, job),
    }


def _cut_out(made: MadeCutOut) -> dict[str, Any]:
    job = made.layout.job
    cut_out = job.cut_out
    assert cut_out is not None
    return {
        "bit": cut_out.bit.name,
        "bit_diameter_mm": cut_out.bit.diameter_mm,
        "tabs": cut_out.tabs,
        "step_mm": job.cut_out_step_mm,
        "cut_mm": made.plan.cut_mm,
        "passes": made.plan.passes,
        "time_s": made.times.total_s,
        "extents_mm": made.extents_mm,
        "program_lines": len(made.reading.text_lines),
    }


def program_rows(made: Made) -> Rows:
    """Return what there is to say of a program; what there is none of is left out."""
    known = [*facts(made.layout, made.plan), Fact("Time", made.corners, SUMMARY)]
    if made.cut_out is not None:
        time, way = (
            format_duration(made.cut_out.times.total_s),
            made.job.figures.way(made.cut_out.plan.cut_mm),
        )
        known.append(
            Fact("Cut-out", f"{time}, {way} in {counted(made.cut_out.plan.passes, 'ring')}", SUMMARY)
        )
    pattern, *rows = [(label.lower(), text) for label, text in chosen(known, SUMMARY)]
    return [pattern, *(("", sentence) for sentence in made.sentences), *rows]


def plan_sentence(made: Made) -> str:
    """Return the running time with its proof, such as ``plan: 3 min 05 s; 0.2 % above the least possible``.

    The time counts accelerations; both shares are of times at constant rates, where the least possible is proven.
    """
    proof, parts = made.plan.proof, [f"plan: {format_duration(made.times.total_s)}"]
    if proof.bound_s:
        parts.append(f"{proof.above_bound * 100.0:.1f} % above the least possible")
    if made.network.cells_enclosed and proof.cell_by_cell_s > proof.plan_s:
        share = proof.plan_s / proof.cell_by_cell_s
        parts.append(f"{share * 100.0:.0f} % of the time of cutting cell by cell")
    return parts[0] + ("; " + ", ".join(parts[1:]) if parts[1:] else "")


# --- a dry run ---------------------------------------------------------------------------------------------------------


def dry_run_json(run: DryRun) -> dict[str, Any]:
    """Return the dry run's figures as plain values; what could not be measured is ``None``."""
    moves, times = run.reading.moves, run.times
    feed = moves.motion != int(Motion.RAPID)
    heights = (run.setup.on_top(places)[:, 2] for places in (moves.start_mm, moves.end_mm))
    below = feed & moves.told & (np.minimum(*heights) < -1e-6)
    return {
        **verdict(run.findings, run.job),
        "machine": run.machine.name,
        "dialect": run.reading.dialect,
        "lines": moves.lines,
        "moves": len(moves),
        "passes": run.passes,
        "passes_before": run.passes_before,
        "time_s": times.total_s,
        "corners": run.corners,
        **{f"{what}_time_s": getattr(times, f"{what}_s") for what in ("cut", "plunge", "rapid")},
        **_of(times, "dwell_s", "pauses"),
        "below_surface_mm": float(moves.length_mm[below].sum()),
        "rapid_mm": float(moves.length_mm[~feed].sum()),
        "extents_mm": run.extents_mm or None,
        "measured": _measured(run),
        "cut_out": None if run.cut_out is None else dry_run_json(run.cut_out),
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
    if run.before is not None:
        done = f"{counted(run.passes_before, 'pass', 'passes')} of the earlier program count as cut"
        rows.append(("before", done))
    if times.pauses:
        rows.append(("stops", f"{counted(times.pauses, 'pause')} until you continue"))
    if run.cut_out is not None:
        out = run.cut_out
        counts = f"{counted(out.reading.moves.lines, 'line')}, {counted(out.passes, 'ring')}"
        rows.append(("cut-out", f"{format_duration(out.times.total_s)}: {counts}"))
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


# --- a panel ------------------------------------------------------------------------------------------------------------


def panel_json(made: PanelMade) -> dict[str, Any]:
    """Return the figures of a panel, in millimetres and seconds."""
    laid, found, bars = made.laid, movement(made.laid), bars_of(made.laid)
    panel = laid.panel

    def plain(values: Any) -> Any:
        return [[[None if np.isnan(one) else one for one in tile] for tile in row] for row in values.tolist()]

    return {
        "title": panel.title,
        "size_mm": field_mm(panel) if bars is None else bars.outside,
        "frame": None if bars is None else {f"{name}_mm": size for name, size in bars._asdict().items()},
        "tiles": [
            {
                "column": tile.column,
                "row": tile.row,
                "sort": letter(tile.sort),
                "wood": laid.wood(tile).name,
                "turn_deg": tile.turn_deg,
                "at_mm": [tile.x_mm, tile.y_mm],
            }
            for tile in laid.tiles
        ],
        "programs": [
            {
                "name": name,
                "times": times,
                "time_s": one.times.total_s,
                "cut_out": None if one.cut_out is None else _cut_out(one.cut_out),
                **verdict(one.told, one.job),
            }
            for name, one, times in made.programs
        ],
        "time_s": made.total_s,
        "movement": None
        if found is None
        else {
            "grow_mm": plain(found.grow_mm),
            "shrink_mm": plain(found.shrink_mm),
            "field_mm": found.field_mm.tolist(),
            "gap_mm": found.gap_mm,
            "rebate_mm": found.rebate_mm,
        },
        **verdict(made.findings, None),
        "clean": not made.refused,
    }
