"""One function per command: the rooms put together, no files and no printing."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import shapely

from vcarve.cuts.cut_out import outline_cuts
from vcarve.cuts.grooves import groove_cuts, most_cuts
from vcarve.cuts.model import Cuts
from vcarve.dryrun import clock
from vcarve.dryrun.check import check, check_in_air
from vcarve.dryrun.jig import gathered
from vcarve.dryrun.track import waiting_mm
from vcarve.errors import Finding, InputError, Problem, RefusedError, of_each, refuses
from vcarve.job.bench import Machine
from vcarve.job.document import placed
from vcarve.job.panel import Fixture, Panel
from vcarve.job.records import Job
from vcarve.job.sections import Zero
from vcarve.job.surface import MOST_POINTS
from vcarve.layout.cut_out import cut_out_findings
from vcarve.layout.findings import job_findings
from vcarve.layout.probes import APART_MM, INSET_MM, probe_places
from vcarve.layout.proposals import proposals
from vcarve.layout.stages import Layout, laid_out
from vcarve.mount.flat import mount_of
from vcarve.panel.boards import Load, called, close_findings, in_jig, lay_load, nest
from vcarve.panel.movement import movement_findings
from vcarve.panel.tiles import LaidPanel, lay_panel, letter
from vcarve.plan.model import Plan, as_given
from vcarve.plan.planner import candidates
from vcarve.plane.arcs import chords
from vcarve.plane.arrays import NM_PER_MM, Floats
from vcarve.plane.region import corners
from vcarve.program.probing import probing
from vcarve.program.reader import Reading, read_program
from vcarve.program.text import joined, steps
from vcarve.program.trace import trace
from vcarve.program.writer import sections, write
from vcarve.proofing import of_cut_out, outline_target_of, target_of
from vcarve.quantity import format_mm
from vcarve.report import cut_out_header, header
from vcarve.run import DryRun, Made, MadeCutOut, PanelMade

CUTS_MOST = 1_000_000  # lines, or parts of lines that slope, times levels
OUTLINE_MOST = 100_000  # sides of an outline times turns down along them
# More than a way over a top that is not flat strays from it, with the rounding of its heights.
FOLLOWS_MM = 0.02
OUTLINE_SAG_MM = 0.02  # how near a trace follows what is round
FLOOR_MM = 1.0  # a probe goes no nearer to the bed
# Cautions that every program that probes has.
OF_PROBING = frozenset({"probe", "active-comment", "surface-unknown"})
TIE = 1e-9  # shares of a program's time that nobody could tell apart

Progress = Callable[[str, float], None]


def plan_program(given: Job | Layout, progress: Progress | None = None) -> Made:
    """Plan the order in which a job, laid out already or not, is cut, make its program, and dry-run the text.

    Whatever is found: what must not be cut can still be looked at.  ``plan`` has the order, its lengths in mm and its proof,
    ``times`` the running time in seconds.  ``progress`` is told each stage and the share of the whole that is done.  Raises
    InputError for what cannot be laid out or is too much.

    >>> made = vcarve.plan_program(vcarve.load_job("tile.yaml"))
    >>> made.refused, made.plan.passes, round(made.plan.cut_mm, 1), round(made.times.total_s / 60)
    (False, 36, 3330.4, 8)
    """
    tell = progress or (lambda stage, share: None)
    tell("laying out", 0.0)
    layout = laid_out(given)
    job = layout.job
    proposed = proposals(layout, lambda share: tell("trying other fits", 0.1 + 0.1 * share))
    known = job_findings(layout)
    tell("planning", 0.2)
    # Levels too thin to be told apart are without number; drawn as one, the job can be looked at.
    drawn = layout
    if any(finding.code == "step-too-small" for finding in known):
        groove = job.groove.model_copy(update={"step_mm": layout.deepest_mm})
        drawn = replace(layout, job=job.model_copy(update={"groove": groove}))
    with placed(job.document):
        _refuse_too_many_cuts(drawn)
    cuts, rings = groove_cuts(layout.network, layout.grooves.ends_depth_mm, drawn.job.step_mm)
    plans = candidates(cuts, job, rings, progress=lambda stage, share: tell(stage, 0.2 + 0.5 * share))
    tell("writing", 0.7)
    # The planner only estimates what accelerations cost; the clock of the dry run decides, and between ties fewer lifts.
    tried = [_written(layout, cuts, plan, known) for plan in plans]
    least = min(made.times.total_s for made in tried)
    made = min(
        (made for made in tried if made.times.total_s <= least * (1.0 + TIE)),
        key=lambda made: made.plan.lifts,
    )
    tell("dry run", 0.8)
    found = check(made.reading, job.machine, target_of(drawn))
    # What is refused of the whole job is true of each of its lines; what has a place is told of that place only.
    already = {one.code for one in known if one.severity == "refuse" and one.at_mm is None}
    findings = (*known, *(finding for finding in found if finding.code not in already))
    outline = cut_out_program(layout)
    if outline is not None:
        findings = (*findings, *of_cut_out(one for one in outline.findings if one.code not in already))
    tell("done", 1.0)
    return replace(made, findings=findings, sentences=(*made.sentences, *proposed), cut_out=outline)


def cut_out_program(layout: Layout, neighbours: tuple[shapely.Polygon, ...] = ()) -> MadeCutOut | None:
    """Return the program that cuts a job's piece out of its board, dry-run; ``None`` where none is asked for or none can be.

    It must keep clear of ``neighbours``, other pieces on the board, as polygons about the centre of this one.
    """
    job, cut_out = layout.job, layout.job.cut_out
    known = tuple(cut_out_findings(layout))
    if cut_out is None or refuses(known):
        return None
    sides = sum(len(ring.curves) for outline in layout.outlines for ring in outline.rings)
    turns = math.ceil((job.piece.thickness_mm + cut_out.through_mm) / job.cut_out_step_mm)
    if sides * turns > OUTLINE_MOST:
        many = f"the {sides:,} sides of the outline in {turns} turns are more than {OUTLINE_MOST:,} cuts"
        want = f"{many}; draw it with fewer, or give a larger step"
        with placed(job.document):
            raise InputError(Problem(key="cut-out.step", want=want))
    cuts, pass_start = outline_cuts(layout.outlines, cut_out, job.piece.thickness_mm, job.cut_out_step_mm)
    plan = as_given(cuts, pass_start, job.hop_mm)
    text = write(job, cuts, plan, cut_out_header(layout, cuts, plan, known), speeds=job.cut_out_speeds)
    reading = _read(job, text)
    return MadeCutOut(
        machine=job.machine,
        layout=layout,
        cuts=cuts,
        plan=plan,
        text=text,
        reading=reading,
        times=clock.run(reading.moves, job.machine),
        findings=check(reading, job.machine, outline_target_of(layout, neighbours)),
    )


def plan_panel(panel: Panel, progress: Progress | None = None) -> PanelMade:
    """Plan every program of a panel: one for each board, or for each sort of tile that is cut to size already.

    Raises InputError for what cannot be laid out, and for tiles that find no place on the boards.
    """
    tell = progress or (lambda stage, share: None)
    laid, fixture = lay_panel(panel), panel.fixture
    loads = nest(laid) if fixture is None else in_jig(laid, fixture)
    on_boards = bool(panel.boards)
    count = len(loads) if on_boards else len(laid.sorts)

    def made_of(index: int, name: str, layout: Layout) -> Made:
        return plan_program(layout, lambda stage, share: tell(f"{name}: {stage}", (index + share) / count))

    names = [f"tile {letter(sort)}" for sort in range(len(laid.sorts))]
    own: list[Finding] = []
    if on_boards:
        # What there is to say of a tile is said of it, and not of its lines beside others.
        alone = ((name, job_findings(one)) for name, one in zip(names, laid.sorts, strict=True))
        own = list(of_each((name, [replace(one, at_mm=None) for one in found]) for name, found in alone))
        said = {(one.code, one.severity) for one in own}
        boards = [made_of(k, load.name, lay_load(laid, load)) for k, load in enumerate(loads)]
        programs = [
            (
                load.called,
                replace(one, findings=tuple(f for f in one.findings if (f.code, f.severity) not in said)),
                1,
            )
            for load, one in zip(loads, boards, strict=True)
        ]
    else:
        tiles = [made_of(sort, names[sort], layout) for sort, layout in enumerate(laid.sorts)]
        programs = [
            (called(names[sort], one.job.piece.wood), one, len(laid.of_sort(sort)))
            for sort, one in enumerate(tiles)
        ]
        if fixture is not None:
            programs = [
                (load.called, _in_jig(laid, load, fixture, tiles[load.lying[0].tile.sort]), load.times)
                for load in loads
            ]
    close = of_each((load.called, close_findings(laid, load)) for load in loads)
    found = (*movement_findings(laid), *own, *close)
    return PanelMade(laid=laid, loads=loads, programs=tuple(programs), findings=found)


def _in_jig(laid: LaidPanel, load: Load, fixture: Fixture, made: Made) -> Made:
    """Return the program that cuts the tiles of a jig one after the other, made from that of one tile, and its dry run."""
    job, layout = made.job, lay_load(laid, load)
    # The board round all tiles has its zero at its front left corner.
    layout = replace(layout, job=layout.job.model_copy(update={"zero": Zero(xy="front-left", z=job.zero.z)}))
    x, y = mount_of(job).axes_mm(-job.piece.width_mm / 2.0, -job.piece.height_mm / 2.0)
    systems = fixture.systems[: len(load.lying)]
    origins = {
        int(name[1:]) - 53: (one.x_mm - x, one.y_mm - y, 0.0)
        for name, one in zip(systems, load.lying, strict=True)
    }
    told = f"{', '.join(systems)}: the zero of each, on the tile that lies there"
    notes = [("Jig", told), *header(made.layout, made.plan, made.findings)]
    text = joined(sections(job, made.cuts, made.plan, notes, systems=systems))
    start = waiting_mm(job.machine, job)
    reading = read_program(text, dialect=job.machine.dialect, start_mm=start, origins_mm=origins)
    reading = replace(reading, moves=gathered(reading.moves, origins))
    found = [*made.findings, *check(reading, job.machine, target_of(layout))]
    if not fixture.places:
        said = "Where the zeros of the jig are is not said ('places'): see that all of them lie within the machine's travel."
        found = [*(one for one in found if one.code != "travel"), Finding("jig-unknown", said)]
    return replace(
        made,
        layout=layout,
        text=text,
        reading=reading,
        times=clock.run(reading.moves, job.machine),
        findings=tuple(dict.fromkeys(found)),
    )


def write_program(made: Made) -> str:
    """Return the text of a program that may be cut: plain ASCII, the same for the same job.

    Raises RefusedError with every finding where it must not be cut.

    >>> vcarve.write_program(vcarve.plan_program(vcarve.load_job("tile.yaml"))).splitlines()[-2:]
    ['M5', 'M2']
    >>> vcarve.write_program(vcarve.plan_program(vcarve.load_job("tile.yaml", ["piece.thickness=0.5"])))
    Traceback (most recent call last):
    vcarve.errors.RefusedError: The groove is 0.8 mm deep in a piece 0.5 mm thick: it would go through. [through-the-piece]
    """
    if made.refused:
        raise RefusedError(made.told)
    return made.text


def air_program(made: Made, air_mm: float) -> tuple[str, DryRun]:
    """Return a made program moved up so far that all of it stays this high above the wood, with the spindle off, and its dry run.

    Raises InputError where the machine has no such room above, RefusedError for a job that must not be cut.
    """
    if made.refused:
        raise RefusedError(made.told)
    job = made.job
    step_nm = round(job.machine.last_decimal_mm * NM_PER_MM)
    mount, inch = mount_of(job), job.machine.units == "inch"
    lowest = np.array([mount.top_nm - round(made.layout.deepest_mm * NM_PER_MM)])
    follows = 0.0 if mount.top is None else FOLLOWS_MM
    aim = math.ceil((mount.top_nm + (air_mm + follows) * NM_PER_MM) / step_nm - 1e-6)
    lift_nm = (aim - int(steps(lowest, job.machine.decimals, inch=inch)[0])) * step_nm
    _room_above(made.layout, lift_nm / NM_PER_MM + job.machine.safe_height_mm, "--air", air_mm)
    told = (
        f"every move stays {job.figures.length(air_mm)} or more above the wood, spindle off. Not for cutting;"
    )
    told += " what follows is of the program that cuts."
    notes = [("In the air", told), *header(made.layout, made.plan, made.findings)]
    text = write(job, made.cuts, made.plan, notes, lift_nm=lift_nm)
    return text, _in_air(made.layout, text, air_mm)


def trace_program(layout: Layout, height_mm: float | None = None) -> tuple[str, DryRun]:
    """Return a program that goes slowly round piece, cuts and clamps so high above the piece, spindle off, and its dry run.

    Without a height it is the machine's safe one.  Raises InputError for one that does not clear the clamps, or beyond the
    machine's room above.
    """
    job = layout.job
    height = job.machine.safe_height_mm if height_mm is None else height_mm
    step = job.machine.last_decimal_mm
    tallest = max((clamp.above_mm for clamp in job.clamps), default=0.0)
    if height <= tallest + step:
        stands = f"a clamp stands {job.figures.length(tallest)} above the piece; " if tallest else ""
        raise InputError(
            Problem(key="--height", value=format_mm(height), want=f"{stands}give more than that")
        )
    _room_above(layout, height, "--height", height)
    rings = [
        ("the outline of the piece", corners(ring, OUTLINE_SAG_MM)) for ring in layout.field.outline.rings
    ]
    for number, (x, y, wide, high) in enumerate(job.clamps_mm, 1):
        sides = np.array([(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)])
        rings.append((f"clamp {number}", sides))
    lines = layout.network.curves(np.flatnonzero(layout.network.cut))
    cuts = np.vstack([chords(lines, OUTLINE_SAG_MM)[0], lines[:, 2:4]])
    text = trace(job, rings, cuts, height)
    return text, _in_air(layout, text, height - step)


def probe_program(
    layout: Layout,
    *,
    spacing: float | None = None,
    inset: float | None = None,
    clear: float | None = None,
    limit: float | None = None,
) -> tuple[str, DryRun, Floats]:
    """Return a program that touches the piece's top on a grid, its dry run, and the places (n, 2) it touches after X0 Y0.

    In mm: how far apart places are at most, how far inside the outline they lie, how high the bit goes across, how far below the
    top a probe goes at most.  Raises InputError for one that is out of reach, named as the command's option, and RefusedError
    for what forbids the run, such as a clamp that stands higher than the bit can go across.
    """
    job = layout.job
    length, floor_mm = job.figures.length, job.piece.thickness_mm - FLOOR_MM
    fitting_mm = 1.15 * math.sqrt(job.piece.width_mm * job.piece.height_mm / MOST_POINTS)
    mm = []
    for key, asked_mm, usual_mm, least, most in (
        ("spacing", spacing, max(APART_MM, fitting_mm), 1.0, 1000.0),
        ("inset", inset, INSET_MM, 0.0, 1000.0),
        (
            "clear",
            clear,
            max(2.0, job.hop_mm),
            max(0.5, job.hop_mm if job.clamps else 0.5),
            job.machine.safe_height_mm,
        ),
        ("limit", limit, 2.0, 0.1, max(floor_mm, 0.1)),
    ):
        mm.append(min(usual_mm, most) if asked_mm is None else asked_mm)
        if not least <= mm[-1] <= most:
            want = f"a length from {length(least)} to {length(most)} is wanted"
            raise InputError(Problem(key=f"--{key}", value=length(mm[-1]), want=want))
    with placed(job.document):
        places = probe_places(layout, *mm[:2])
    text = probing(job, places, *mm[2:])
    reading = _read(job, text)
    clamps = (one for one in job_findings(layout) if one.code == "clamp")
    judged = check(reading, job.machine)
    findings = (*clamps, *(one for one in judged if one.severity == "refuse" or one.code not in OF_PROBING))
    if refuses(findings):
        raise RefusedError(findings)
    return text, _run(reading, job.machine, findings, None), places


def _room_above(layout: Layout, height_mm: float, key: str, asked_mm: float) -> None:
    """Raise InputError where the machine cannot reach from the deepest groove so high above the piece."""
    travel, length = layout.job.machine.travel.z_mm, layout.job.figures.length
    need = height_mm + layout.deepest_mm
    if need > travel + 1e-9:
        travels = f"{layout.job.machine.name} travels {length(travel)} in Z"
        want = f"the deepest groove and the moves above it take {length(need)} in all; {travels}"
        raise InputError(Problem(key=key, value=length(asked_mm), want=want))


def _in_air(layout: Layout, text: str, height_mm: float) -> DryRun:
    """Return the dry run of a program that stays so high above the piece; raises RefusedError for what it forbids."""
    reading = _read(layout.job, text)
    findings = check_in_air(reading, layout.job.machine, target_of(layout), height_mm)
    if refuses(findings):
        raise RefusedError(findings)
    return _run(reading, layout.job.machine, findings, layout)


def _read(job: Job, text: str) -> Reading:
    """Read a program as the job's machine does, from where it waits."""
    return read_program(text, dialect=job.machine.dialect, start_mm=waiting_mm(job.machine, job))


def _run(reading: Reading, machine: Machine, findings: tuple[Finding, ...], layout: Layout | None) -> DryRun:
    times = clock.run(reading.moves, machine)
    return DryRun(reading=reading, times=times, machine=machine, findings=findings, layout=layout)


def _refuse_too_many_cuts(layout: Layout) -> None:
    """Count what the levels come to, before any is planned."""
    job, cut = layout.job, layout.network.cut
    deep = layout.grooves.depth_mm[cut]
    count, parts = most_cuts(layout.grooves.ends_depth_mm[:, cut], layout.network.length_mm[cut], job.step_mm)
    if count.sum() > CUTS_MOST:
        if len(deep) > CUTS_MOST:
            way = "in one level as well: draw fewer lines, or make the pitch larger"
        else:
            # Each part takes one cut more than its depth holds whole steps; at the full depth all lines take one.
            least = min(float((parts * deep).sum()) / max(CUTS_MOST - parts.sum(), 1), layout.deepest_mm)
            way = f"a step of {job.figures.at_least(least)} or more is possible"
        want = f"in levels of this depth the {len(deep):,} lines on the piece would be more than {CUTS_MOST:,} cuts; {way}"
        usual = None if job.groove.step_mm else job.figures.length(job.step_mm)
        raise InputError(Problem(key="groove.step", value=usual, want=want))


def _written(layout: Layout, cuts: Cuts, plan: Plan, known: tuple[Finding, ...]) -> Made:
    """Write a plan, and read and time its text; ``known`` is what there is to say of the job."""
    job = layout.job
    text = write(job, cuts, plan, header(layout, plan, known))
    reading = _read(job, text)
    return Made(
        machine=job.machine,
        layout=layout,
        cuts=cuts,
        plan=plan,
        text=text,
        reading=reading,
        times=clock.run(reading.moves, job.machine),
        findings=known,
        sentences=layout.lines.sentences,
    )
