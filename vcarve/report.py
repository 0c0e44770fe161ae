"""What there is to say of a job and its program, part by part; the notes in a program's header."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from vcarve.errors import Finding, grouped
from vcarve.groove.width import deepest_mm, tip_words
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
from vcarve.quantity import Figures, counted, format_deg

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
    tip, length = tip_words(bit, figures.length), figures.length
    return f"{format_deg(bit.angle_deg)} V, {length(bit.diameter_mm)} across, {tip}, {length(bit.shank_mm)} shank"


def pattern_sentence(job: Job, layout: Layout) -> str:
    """Return the pattern and its pitch in words."""
    if layout.lines.pattern is None or layout.lines.pitch_mm is None:
        return f"drawing {job.pattern.drawing}"
    return f"{layout.lines.pattern.key}, pitch {job.figures.length(layout.lines.pitch_mm)}"


def span(low: float, high: float, figures: Figures) -> str:
    """Return from where to where something reaches, in words."""
    return f"{figures.number(float(low))} to {figures.number(float(high))}"


def header(job: Job, layout: Layout, plan: Plan, findings: tuple[Finding, ...]) -> list[tuple[str, str]]:
    """Return the program's comment header as (label, text) pairs."""
    piece, figures = job.piece, job.figures
    network = layout.network
    mount = mount_of(job)
    used = np.unique(np.concatenate([network.tail[network.cut], network.head[network.cut]]))
    x, y, _ = mount.axes_nm(network.x_nm[used], network.y_nm[used])
    top = mount.top_nm / 1e6
    size = figures.size(piece.width_mm, piece.height_mm, piece.thickness_mm)
    extent = (
        f"X {span(x.min() / 1e6, x.max() / 1e6, figures)}, Y {span(y.min() / 1e6, y.max() / 1e6, figures)}, "
        f"Z {span(top - layout.deepest_mm, top + job.machine.safe_height_mm, figures)} {figures.unit}"
    )
    notes = [
        ("Mizo", job.title or "V-groove engraving"),
        ("Piece", f"{size}, {job.wood.title}"),
        ("Pattern", pattern_sentence(job, layout)),
        *(
            (f"Groove, {name}", f"{figures.length(depth)} deep, {figures.length(width)} wide")
            for name, depth, width in layout.kinds
        ),
        ("Taper", layout.taper),
        ("Bit", bit_sentence(job)),
        ("Machine", f"{job.machine.name}, {job.machine.dialect}"),
        ("Zero", zero_sentence(job)),
        ("Turn", job.zero.turn),
        ("Extents", extent),
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
    for line in text.splitlines():
        if not line.startswith("("):
            return None
        if found := _MACHINE.fullmatch(line):
            return found.group(1), found.group(2)
    return None
