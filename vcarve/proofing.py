"""The dry run of a program's text, with or without its job: read, judged, timed, carved and measured."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from vcarve.dryrun import clock
from vcarve.dryrun.carve import carve, tiles
from vcarve.dryrun.check import check
from vcarve.dryrun.codes import finding
from vcarve.dryrun.measure import Land, coarsest_step_mm, contacts, depths_mm, groove_widths, land
from vcarve.dryrun.measure import Summary as Measured
from vcarve.dryrun.places import Places
from vcarve.dryrun.setup import setup_of, waiting_mm
from vcarve.dryrun.surface import Surface, suitable_step_mm
from vcarve.dryrun.track import last_decimal_mm
from vcarve.errors import Finding, listed
from vcarve.groove.width import sensitivity
from vcarve.job.bench import Machine
from vcarve.job.records import Job
from vcarve.layout.stages import Layout, lay_out
from vcarve.plan.model import Plan
from vcarve.plane.arcs import boxes
from vcarve.plane.region import corners, polygon
from vcarve.program.moves import Motion
from vcarve.program.reader import Reading, read_program
from vcarve.quantity import Figures
from vcarve.report import corners_sentence, extents, job_findings, verdict_json
from vcarve.view.facts import GrooveFacts, PageFacts, passes

USUAL_STEP_MM = 0.05
LEAST_STEP_MM = 0.005
TILE_MM = 40.0
# So many are carved tile by tile where widths ask for a finer grid than fits memory.
MOST_TILED_PIXELS = 200_000_000
# Findings that rest on the machine's own figures.
OF_THE_MACHINE = {"feed-too-fast", "travel", "spindle-range", "spin-up"}
NO_JOB = "Without its job (--job) the program's lines, depths, piece and clamps are not judged; the top is taken to be at Z0."
# Where one of these is found the widths can only say the same again.
EXPLAINS_WIDTHS = {
    "other-job",
    "line-missed",
    "stray-cut",
    "wrong-depth",
    "rapid-in-wood",
    "through-the-piece",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class DryRun:
    """What the dry run of a text found.  ``layout`` and ``job`` are ``None`` for a text without its job, ``file`` for one
    without a name."""

    file: str | None
    reading: Reading
    times: clock.Times
    machine: Machine
    findings: tuple[Finding, ...]
    job: Job | None
    layout: Layout | None

    @property
    def figures(self) -> Figures:
        """How lengths and feeds are written for people."""
        return (self.job or self.machine).figures

    @property
    def passes(self) -> int:
        """How often the bit goes into the wood and out again."""
        return passes(self.reading.moves, self.top_mm)

    @property
    def top_mm(self) -> float:
        """The height of the piece's top in work coordinates."""
        return setup_of(self.job).top_mm


def dry_run(
    text: str | bytes, *, file: str, machine: Machine, job: Job | None = None, assumed: bool = False
) -> DryRun:
    """Read and judge a text; with its job its lines, depths, piece and clamps are compared as well.

    A machine that is only ``assumed`` forbids nothing: what rests on its figures is a caution.  Raises InputError with every
    fault if the text cannot be read for the machine's controller.
    """
    if job is not None:
        machine = job.machine
    layout = None if job is None else lay_out(job)

    def read(*, block_delete: bool) -> tuple[Machine, Reading, tuple[Finding, ...]]:
        start = waiting_mm(machine, job)
        reading = read_program(
            text, dialect=machine.dialect, file=file, start_mm=start, block_delete=block_delete
        )
        mill = _as_used(machine, reading) if assumed else machine
        findings = check(
            reading,
            machine=mill,
            job=job,
            network=None if layout is None else layout.network,
            grooves=None if layout is None else layout.grooves,
            outline=None if layout is None else polygon(layout.outline),
        )
        if assumed:
            resting = OF_THE_MACHINE if mill.spindle.programmed else OF_THE_MACHINE | {"spindle-off"}
            findings = tuple(
                replace(one, severity="caution") if one.code in resting else one for one in findings
            )
        return mill, reading, findings

    mill, reading, findings = read(block_delete=True)
    if any(event.kind == "switched" for event in reading.moves.events):
        # The operator's switch decides what runs, and the text does not say how it stands.
        other = [one for one in read(block_delete=False)[2] if one not in findings]
        run = (replace(one, sentence=f"With the lines after / run: {one.sentence}") for one in other)
        findings = tuple(sorted((*findings, *run), key=lambda one: (one.line or 0, one.code)))
    times = clock.run(reading.moves, mill)
    known: tuple[Finding, ...] = (finding("no-job", NO_JOB),)
    if job is not None and layout is not None:
        known = job_findings(job, layout)
    return DryRun(
        file=file,
        reading=reading,
        times=times,
        machine=mill,
        findings=(*known, *findings),
        job=job,
        layout=layout,
    )


def _as_used(machine: Machine, reading: Reading) -> Machine:
    """Return an assumed machine with a spindle that the program switches, where the program does."""
    switched = any(event.kind in ("spindle-cw", "spindle-ccw") for event in reading.moves.events)
    return machine.model_copy(update={"spindle": machine.spindle.model_copy(update={"programmed": switched})})


def carved(job: Job, reading: Reading, step_mm: float | None = None, layout: Layout | None = None) -> Surface:
    """Return the surface that the text's moves leave of the job's piece.

    Without a step it is the finest that fits memory, fine enough (where the lines are known) for the narrowest groove.
    """
    if step_mm is None:
        step_mm = suitable_step_mm(
            job.piece.width_mm, job.piece.height_mm, finest_mm=_wanted_step_mm(job, layout)
        )
    return carve(
        reading.moves,
        job.bit,
        width_mm=job.piece.width_mm,
        height_mm=job.piece.height_mm,
        setup=setup_of(job),
        step_mm=step_mm,
    )


def _wanted_step_mm(job: Job, layout: Layout | None) -> float:
    """Return the step at which every groove can be measured."""
    if layout is None or not layout.network.cut.any():
        return USUAL_STEP_MM
    finest = float(coarsest_step_mm(layout.grooves.half_width_mm[layout.network.cut], job.bit).min())
    return float(np.clip(finest, LEAST_STEP_MM, USUAL_STEP_MM))


def measured(
    job: Job,
    layout: Layout,
    reading: Reading,
    surface: Surface,
    *,
    with_land: bool = True,
    finer: bool = False,
) -> Measured:
    """Return what was measured on a carved surface: widths against the formula, volume, contacts.

    The land, which takes longest, is only measured ``with_land``; without, there are no islands and their width is not a number.
    Grooves too narrow for the surface's grid are measured on a ``finer`` one, tile by tile, within reason.
    """
    half = layout.grooves.half_width_mm
    cut = layout.network.cut
    coarsest = coarsest_step_mm(half, job.bit)
    fine = cut & (coarsest >= surface.step_mm - 1e-9)
    places = Places.of(layout.network, half)
    widths = groove_widths(surface, places, edges=np.flatnonzero(fine))
    step = _wanted_step_mm(job, layout)
    area = job.piece.width_mm * job.piece.height_mm
    if finer and not fine[cut].all() and area / step**2 <= MOST_TILED_PIXELS:
        left = cut & ~fine & (coarsest >= step - 1e-9)
        fine |= left
        low, high = np.hsplit(boxes(layout.network.curves(np.arange(len(cut)))), 2)
        for tile in tiles(
            reading.moves,
            job.bit,
            width_mm=job.piece.width_mm,
            height_mm=job.piece.height_mm,
            setup=setup_of(job),
            step_mm=step,
            tile_mm=TILE_MM,
        ):
            near = (low <= (tile.x_mm[-1], tile.y_mm[-1])) & (high >= (tile.x_mm[0], tile.y_mm[0]))
            here = np.flatnonzero(left & np.isnan(widths) & near.all(axis=1))
            widths[here] = groove_widths(tile, places, edges=here)[here]
    off = widths - 2.0 * half
    known = np.flatnonzero(np.isfinite(off))
    worst = int(known[np.argmax(np.abs(off[known]))]) if len(known) else -1
    nothing = Land(islands=0, narrowest_mm=np.nan, narrowest_at_mm=(np.nan, np.nan), area_mm2=np.nan)
    return Measured(
        removed_mm3=surface.removed_mm3,
        # The tip's own depth: the grid has no pixel where a plunge comes to its point.
        deepest_mm=float(depths_mm(reading.moves, top_mm=setup_of(job).top_mm).max(initial=0.0)),
        land=land(surface, inside=_inside(layout, surface)) if with_land else nothing,
        widths_mm=widths,
        measured=len(known),
        too_fine=int(np.count_nonzero(cut & ~fine)),
        crowded=int(np.count_nonzero(fine)) - len(known),
        worst_edge=worst,
        worst_mm=float(off[worst]) if len(known) else float("nan"),
        contacts=contacts(reading.moves, job.bit, top_mm=setup_of(job).top_mm),
    )


def _inside(layout: Layout, surface: Surface) -> np.ndarray | None:
    """Return which pixels belong to the piece; ``None`` means all, for a plain rectangle."""
    rings = outline_rings(layout)
    if len(rings) == 1 and len(rings[0]) == 4:
        return None
    from PIL import Image, ImageDraw

    rows, columns = surface.height_mm.shape
    image = Image.new("1", (columns, rows), 0)
    pen = ImageDraw.Draw(image)
    for k, ring in enumerate(rings):
        pixels = (ring - [surface.x0_mm, surface.y0_mm]) / surface.step_mm
        pen.polygon([(float(x), float(y)) for x, y in pixels], fill=0 if k else 1)
    return np.array(image, dtype=bool)


def with_surface_findings(run: DryRun, surface: Surface, facts: Measured) -> DryRun:
    """Return the dry run with what the carved surface adds: grooves too wide or narrow, a shank in the wood."""
    found = list(run.findings)
    if run.job is None or run.layout is None:
        return run
    found.extend(_contact_findings(run, facts))
    if not {one.code for one in found} & EXPLAINS_WIDTHS:
        found.extend(_width_findings(run.job, run.layout, surface, facts))
    found.sort(key=lambda one: one.line or 0)
    return replace(run, findings=tuple(found))


def _contact_findings(run: DryRun, facts: Measured) -> list[Finding]:
    """Moves that bring a shank wider than the cone into the wood, each line where it gets there."""
    reached: dict[int, float] = {}
    deepest = 0.0
    for one in facts.contacts:
        if one.kind == "shank" and one.beyond_mm > 1e-3 and one.depth_mm > deepest:
            reached[one.line], deepest = one.beyond_mm, one.depth_mm
    lines = list(reached)
    return listed(
        range(len(lines)),
        lambda k: finding(
            "shank-contact",
            f"The shank, wider than the cone, goes {run.figures.length(reached[lines[k]])} into the wood.",
            line=lines[k],
        ),
    )


def _width_findings(job: Job, layout: Layout, surface: Surface, facts: Measured) -> list[Finding]:
    """Grooves that differ from the formula by more than a grid step and the rounding of depths."""
    wanted = 2.0 * layout.grooves.half_width_mm
    # on a rounded tip the shallowest groove widens most with its depth
    shallowest = float(layout.grooves.depth_mm[layout.network.cut].min())
    rounding = 2.0 * last_decimal_mm(job.machine) * max(sensitivity(job.bit, shallowest), 1.0)
    if not job.machine.arcs:
        rounding += (
            2.0 * job.machine.arc_tolerance_mm
        )  # chords stand off the arc that is measured, by so much on either side
    step = np.minimum(surface.step_mm, coarsest_step_mm(layout.grooves.half_width_mm, job.bit))
    with np.errstate(invalid="ignore"):
        off = np.abs(facts.widths_mm - wanted) > step + rounding
    xy, network = layout.network.xy_mm, layout.network

    def make(edge: int) -> Finding:
        middle = xy[[network.tail[edge], network.head[edge]]].mean(axis=0)
        return finding(
            "width-off",
            f"This groove came out {job.figures.length(float(facts.widths_mm[edge]))} wide; bit and depth make it "
            f"{job.figures.length(float(wanted[edge]))}.",
            at_mm=(float(middle[0]), float(middle[1])),
        )

    return listed(np.flatnonzero(off).tolist(), make)


def outline_rings(layout: Layout) -> tuple[np.ndarray, ...]:
    """Return the piece's outline and holes as fine polygons, each (n, 2)."""
    return tuple(corners(ring, 0.01) for ring in layout.outline.rings)


def page_facts(run: DryRun, plan: Plan | None = None) -> PageFacts:
    """Return what the page shows of a dry run."""
    job, layout, moves = run.job, run.layout, run.reading.moves
    facts = PageFacts(
        title="Dry run" if job is None else job.name,
        file=None if run.file is None else Path(run.file).name,
        z_mm=extents(moves)["z"] if len(moves) else None,
        moves=moves,
        start_s=run.times.start_s,
        duration_s=run.times.move_s,
        total_s=run.times.total_s,
        corners=corners_sentence(run.machine, run.figures),
        program=run.reading.text_lines,
        machine=run.machine,
        findings=run.findings,
        figures=run.figures,
    )
    if job is None or layout is None:
        return facts
    kinds = layout.grooves.kinds(layout.network, layout.layers)
    return replace(
        facts,
        job=job,
        rings=outline_rings(layout),
        grooves=tuple(GrooveFacts(name=name, depth_mm=depth, width_mm=width) for name, depth, width in kinds),
        land_mm=layout.grooves.narrowest_mm,
        plan=plan,
        lines_mm=layout.network.cut_mm,
        setup=setup_of(job),
    )


def as_json(run: DryRun, facts: Measured | None, surface: Surface | None = None) -> dict[str, object]:
    """Return the dry run's figures as plain values; what could not be measured is ``None``."""
    moves = run.reading.moves
    length = moves.length_mm
    feed = moves.motion != int(Motion.RAPID)
    below = feed & moves.told & (np.minimum(moves.start("Z"), moves.end("Z")) < run.top_mm - 1e-6)
    values: dict[str, object] = {
        **verdict_json(run.findings, run.job),
        "machine": run.machine.name,
        "dialect": run.reading.dialect,
        "lines": moves.lines,
        "moves": len(moves),
        "passes": run.passes,
        "time_s": run.times.total_s,
        "corners": corners_sentence(run.machine, run.figures),
        "cut_time_s": run.times.cut_s,
        "plunge_time_s": run.times.plunge_s,
        "rapid_time_s": run.times.rapid_s,
        "dwell_s": run.times.dwell_s,
        "pauses": run.times.pauses,
        "below_surface_mm": float(length[below].sum()),
        "rapid_mm": float(length[~feed].sum()),
        "extents_mm": {axis: list(span) for axis, span in extents(moves).items()} if len(moves) else None,
        "measured": None,
    }
    if facts is not None and run.layout is not None:
        worst = None
        if facts.worst_edge >= 0:
            edge = facts.worst_edge
            worst = {
                "measured_mm": float(facts.widths_mm[edge]),
                "computed_mm": 2.0 * float(run.layout.grooves.half_width_mm[edge]),
                "error_mm": facts.worst_mm,
            }
        values["measured"] = {
            "step_mm": None if surface is None else surface.step_mm,
            "edges": facts.measured,
            "edges_not_measured": facts.crowded + facts.too_fine,
            "edges_crowded": facts.crowded,
            "edges_too_fine_for_step": facts.too_fine,
            "worst_width": worst,
            "removed_mm3": facts.removed_mm3,
            "deepest_mm": facts.deepest_mm,
            "land_islands": facts.land.islands,
            "land_mm2": _known(facts.land.area_mm2),
            "narrowest_land_mm": _known(facts.land.narrowest_mm),
            "computed_narrowest_land_mm": run.layout.grooves.narrowest_mm,
        }
    return values


def _known(value: float) -> float | None:
    return value if np.isfinite(value) else None
