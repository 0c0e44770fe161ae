"""The dry run of a program's text, with or without its job: read, judged, timed, carved and measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.dryrun import clock
from vcarve.dryrun.carve import carve
from vcarve.dryrun.check import check, placing_of, waiting_mm
from vcarve.dryrun.measure import Summary as Measured
from vcarve.dryrun.measure import summary as measure_surface
from vcarve.dryrun.surface import Surface
from vcarve.errors import Finding
from vcarve.groove.width import width_mm
from vcarve.job.records import Job, Machine
from vcarve.layout import Layout, lay_out
from vcarve.network.clip import flattened, ring_curves
from vcarve.program.moves import Motion
from vcarve.program.reader import Reading, read_program
from vcarve.report import SIDES, bit_sentence, extents, finding_json, grooves_by_depth
from vcarve.view.facts import BitFacts, GrooveFacts, PageFacts, PieceFacts, PlanFacts, SpeedFacts, ZeroFacts


@dataclass(frozen=True, slots=True, kw_only=True)
class DryRun:
    """What the dry run of a text found.  ``layout`` and ``job`` are ``None`` for a text without its job."""

    reading: Reading
    times: clock.Times
    machine: Machine
    findings: tuple[Finding, ...]
    job: Job | None
    layout: Layout | None

    @property
    def passes(self) -> int:
        """How often the bit goes into the wood and out again."""
        from vcarve.view.facts import pass_of

        return int(pass_of(self.reading.moves, self.top_mm).max(initial=-1)) + 1

    @property
    def top_mm(self) -> float:
        """The height of the piece's top in work coordinates."""
        return 0.0 if self.job is None else placing_of(self.job).top_mm


def dry_run(text: str | bytes, *, file: str, machine: Machine, job: Job | None = None) -> DryRun:
    """Read and judge a text; with its job its lines, depths, piece and clamps are compared as well.

    Raises InputError with every fault if the text cannot be read for the machine's controller.
    """
    if job is not None:
        machine = job.machine
    start = waiting_mm(machine, job)
    reading = read_program(text, dialect=machine.dialect, file=file, start_mm=start)
    layout = None if job is None else lay_out(job)
    findings = check(
        reading,
        machine=machine,
        job=job,
        network=None if layout is None else layout.network,
        grooves=None if layout is None else layout.grooves,
    )
    times = clock.run(reading.moves, machine)
    return DryRun(reading=reading, times=times, machine=machine, findings=findings, job=job, layout=layout)


def carved(job: Job, reading: Reading, step_mm: float | None = None) -> Surface:
    """Return the surface that the text's moves leave of the job's piece; ``None`` takes the finest step that fits memory."""
    placing = placing_of(job)
    return carve(
        reading.moves,
        job.bit,
        width_mm=job.piece.width_mm,
        height_mm=job.piece.height_mm,
        to_piece_mm=(-placing.x_mm, -placing.y_mm),
        top_mm=placing.top_mm,
        step_mm=step_mm,
    )


def measured(job: Job, layout: Layout, reading: Reading, surface: Surface) -> Measured:
    """Return what was measured on a carved surface: widths against the formula, land, volume, contacts."""
    return measure_surface(
        surface,
        layout.network,
        layout.grooves.half_width_mm,
        reading.moves,
        job.bit,
        top_mm=placing_of(job).top_mm,
    )


def outline_rings(layout: Layout) -> tuple[np.ndarray, ...]:
    """Return the piece's outline and holes as fine polygons, each (n, 2)."""
    return tuple(
        np.array([point for curve in ring_curves(ring) for point in flattened(curve, 0.01)])
        for ring in layout.outline.rings
    )


def page_facts(run: DryRun, plan: PlanFacts | None = None) -> PageFacts:
    """Return what the page shows of a dry run."""
    job, layout, moves = run.job, run.layout, run.reading.moves
    common = {
        "moves": moves,
        "start_s": run.times.start_s,
        "duration_s": run.times.move_s,
        "total_s": run.times.total_s,
        "program": run.reading.text_lines,
        "machine": run.machine.title,
        "findings": run.findings,
    }
    if job is None or layout is None:
        return PageFacts(title="Dry run", **common)  # type: ignore[arg-type]
    placing = placing_of(job)
    piece, bit = job.piece, job.bit
    z = "top of the piece" if job.zero.z == "top" else "bed"
    return PageFacts(
        title=job.title or "Untitled piece",
        piece=PieceFacts(
            width_mm=piece.width_mm,
            height_mm=piece.height_mm,
            thickness_mm=piece.thickness_mm,
            wood=job.wood.title,
            tint=job.wood.tint,
            rings=outline_rings(layout),
        ),
        zero=ZeroFacts(name=f"{SIDES[job.zero.xy]}, {z}", at_mm=(-placing.x_mm, -placing.y_mm), z=job.zero.z),
        bit=BitFacts(
            title=bit_sentence(job),
            angle_deg=bit.angle_deg,
            diameter_mm=bit.diameter_mm,
            shank_mm=bit.shank_mm,
            tip_mm=bit.tip_mm,
            tip_radius_mm=bit.tip_radius_mm,
        ),
        speeds=SpeedFacts(
            cut_mm_min=job.cut_mm_min, plunge_mm_min=job.plunge_mm_min, spindle_rpm=job.spindle_rpm
        ),
        grooves=tuple(
            GrooveFacts(name=name, depth_mm=depth, width_mm=width_mm(bit, depth))
            for name, depth, _ in grooves_by_depth(job, layout)
        ),
        land_mm=layout.grooves.narrowest_mm,
        plan=plan,
        offset_mm=(-placing.x_mm, -placing.y_mm, -placing.top_mm),
        **common,  # type: ignore[arg-type]
    )


def as_json(run: DryRun, surface_facts: Measured | None) -> dict[str, object]:
    """Return the dry run's figures as plain values."""
    moves = run.reading.moves
    length = moves.length_mm
    feed = moves.motion != int(Motion.RAPID)
    below = feed & (np.minimum(moves.start_mm[:, 2], moves.end_mm[:, 2]) < run.top_mm - 1e-6)
    values: dict[str, object] = {
        "lines": moves.lines,
        "moves": len(moves),
        "passes": run.passes,
        "time_s": run.times.total_s,
        "cut_time_s": run.times.cut_s,
        "plunge_time_s": run.times.plunge_s,
        "rapid_time_s": run.times.rapid_s,
        "dwell_s": run.times.dwell_s,
        "pauses": run.times.pauses,
        "below_surface_mm": float(length[below].sum()),
        "rapid_mm": float(length[~feed].sum()),
        "extents_mm": {axis: list(span) for axis, span in extents(moves).items()},
        "findings": [finding_json(finding) for finding in run.findings],
    }
    if surface_facts is not None:
        values["measured"] = {
            "edges": surface_facts.measured,
            "worst_width_error_mm": surface_facts.worst_mm,
            "removed_mm3": surface_facts.removed_mm3,
            "deepest_mm": surface_facts.deepest_mm,
        }
    return values
