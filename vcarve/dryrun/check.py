"""Every check of a program's moves, each with a stable code, a sentence and the line at fault.

The checks know the text's moves, the machine, and, where there is a job, its piece, bit, clamps and lines; they know nothing of
how the program was planned or written.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from vcarve.dryrun.lines import MOST_NAMED, line_findings
from vcarve.dryrun.safety import mode_findings, speed_findings, spindle_findings, travel_findings
from vcarve.errors import Finding
from vcarve.groove.model import Grooves
from vcarve.groove.width import deepest_mm, width_mm
from vcarve.job.records import Job, Machine
from vcarve.network.model import Network
from vcarve.program.moves import Motion, Moves
from vcarve.program.reader import Reading
from vcarve.quantity import format_mm

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placing:
    """Where the piece lies in work coordinates: those of its centre, and of its top."""

    x_mm: float
    y_mm: float
    top_mm: float

    def on_piece(self, work_mm: Floats) -> Floats:
        """Return places (n, 3) in piece coordinates: origin at the piece's centre, Z 0 at its top."""
        return np.asarray(work_mm - np.array([self.x_mm, self.y_mm, self.top_mm]))


def placing_of(job: Job) -> Placing:
    """Return where the job's zero puts the piece."""
    side_x = {"left": 0.5, "right": -0.5}.get(job.zero.xy.rpartition("-")[2], 0.0)
    side_y = {"front": 0.5, "back": -0.5}.get(job.zero.xy.partition("-")[0], 0.0)
    return Placing(
        x_mm=side_x * job.piece.width_mm,
        y_mm=side_y * job.piece.height_mm,
        top_mm=job.piece.thickness_mm if job.zero.z == "bed" else 0.0,
    )


def waiting_mm(machine: Machine, job: Job | None) -> tuple[float, float, float]:
    """Return where the bit is taken to wait before the program, in work coordinates: above the zero, at the safe height."""
    return 0.0, 0.0, (0.0 if job is None else placing_of(job).top_mm) + machine.safe_height_mm


def check(
    reading: Reading,
    *,
    machine: Machine,
    job: Job | None = None,
    network: Network | None = None,
    grooves: Grooves | None = None,
    recut_mm: float | None = None,
) -> tuple[Finding, ...]:
    """Return every finding of a program read without fault, in the order of its lines.

    Without a job the surface is taken to be at Z0.  ``recut_mm`` is how much may be travelled along grooves already
    cut; without it the job's own rule holds.
    """
    moves = reading.moves
    placing = Placing(x_mm=0.0, y_mm=0.0, top_mm=0.0) if job is None else placing_of(job)
    start, end = placing.on_piece(moves.start_mm), placing.on_piece(moves.end_mm)
    found = [
        *mode_findings(reading),
        *spindle_findings(moves, start, end, machine),
        *speed_findings(moves, machine),
        *travel_findings(moves, machine, job),
        *rapid_findings(moves, start, end, job),
    ]
    if job is not None:
        found.extend(depth_findings(moves, end, job))
        found.extend(piece_findings(moves, start, end, job))
        found.extend(clamp_findings(moves, start, end, job))
        if network is not None and grooves is not None:
            tolerance = place_tolerance_mm(machine)
            found.extend(line_findings(moves, start, end, network, grooves, job, tolerance, recut_mm))
    return tuple(sorted(found, key=lambda finding: (finding.line or 0, finding.code)))


def place_tolerance_mm(machine: Machine) -> float:
    """Return how far a place in the text may be from the true one: rounding on both axes, and an arc's chords."""
    last = 10.0**-machine.decimals if machine.units == "mm" else 25.4 * 10.0 ** -max(machine.decimals, 4)
    return 0.75 * last + (0.0 if machine.arcs else 1.1 * machine.arc_tolerance_mm) + 1e-6


def rapid_findings(moves: Moves, start: Floats, end: Floats, job: Job | None) -> list[Finding]:
    """Rapids that move across, or down, below the surface.  Straight up is how the bit leaves a groove."""
    rapid = (moves.motion == int(Motion.RAPID)) & ~moves.machine
    low = np.minimum(start[:, 2], end[:, 2]) < -1e-6
    delta = end - start
    across = np.hypot(delta[:, 0], delta[:, 1]) > 1e-6
    found = []
    for m in np.flatnonzero(rapid & low & (across | (delta[:, 2] < -1e-6)))[:MOST_NAMED].tolist():
        thickness = None if job is None else job.piece.thickness_mm
        through = thickness is not None and min(start[m, 2], end[m, 2]) < -thickness - 1e-6
        if through:
            code, sentence = "through-the-piece", "A rapid goes through the piece."
        elif across[m]:
            code, sentence = "rapid-in-wood", "A rapid moves across below the surface."
        else:
            code, sentence = "rapid-plunge", "The bit goes down into the wood at rapid."
        found.append(_at(code, sentence, moves, end, m))
    return found


def depth_findings(moves: Moves, end: Floats, job: Job) -> list[Finding]:
    """Moves deeper than the bit's cone, or than the piece is thick."""
    found = []
    cone, thickness = deepest_mm(job.bit), job.piece.thickness_mm
    depth = np.where(moves.machine, 0.0, -end[:, 2])
    slack = 1e-3
    arrives = np.ones(len(depth), dtype=bool)
    arrives[1:] = depth[1:] > depth[:-1] + 1e-9  # said once, where the bit gets there
    feed = moves.motion != int(Motion.RAPID)
    for m in np.flatnonzero(feed & arrives & (depth > thickness + 1e-9))[:MOST_NAMED].tolist():
        sentence = (
            f"The bit goes {format_mm(round(depth[m], 3))} deep; the piece is {format_mm(thickness)} thick."
        )
        found.append(_at("through-the-piece", sentence, moves, end, m))
    beyond = feed & arrives & (depth > cone + slack) & (depth <= thickness + 1e-9)
    for m in np.flatnonzero(beyond)[:MOST_NAMED].tolist():
        sentence = f"The bit goes {format_mm(round(depth[m], 3))} deep; its cone ends at {format_mm(round(cone, 3))}."
        found.append(_at("bit-too-short", sentence, moves, end, m))
    return found


def piece_findings(moves: Moves, start: Floats, end: Floats, job: Job) -> list[Finding]:
    """Moves below the surface beyond the piece; lines may run off by the groove's half-width where the job asks for it."""
    allowed = 10.0**-job.machine.decimals * (25.4 if job.machine.units == "inch" else 1.0)
    if job.pattern.ends == "run-off":
        deepest = min(max(job.ground_mm, job.leaf_mm), deepest_mm(job.bit))
        allowed += width_mm(job.bit, deepest) / 2.0
    half = np.array([job.piece.width_mm, job.piece.height_mm]) / 2.0 + allowed
    low = (np.minimum(start[:, 2], end[:, 2]) < -1e-6) & ~moves.machine
    out = np.asarray((np.abs(end[:, :2]) > half).any(axis=1), dtype=bool)
    bent = np.flatnonzero((moves.sweep_rad != 0.0) & low & ~out)
    if len(bent):
        box_low, box_high = arc_boxes(moves, bent)
        shift = end[bent, :2] - moves.end_mm[bent, :2]
        out[bent] = (np.abs(box_low + shift) > half).any(axis=1) | (np.abs(box_high + shift) > half).any(
            axis=1
        )
    return [
        _at("outside-piece", "The bit is in the wood's plane beyond the piece's edge.", moves, end, m)
        for m in np.flatnonzero(low & out)[:MOST_NAMED].tolist()
    ]


def clamp_findings(moves: Moves, start: Floats, end: Floats, job: Job) -> list[Finding]:
    """Moves, rapids too, whose bit comes through a clamp: the clamp's rectangle grown by the bit's radius at its height."""
    found = []
    corner = np.array([job.piece.width_mm, job.piece.height_mm]) / 2.0
    for clamp in job.clamps:
        low = np.minimum(start[:, 2], end[:, 2])
        # Of the bit, the widest part at or below the clamp's top counts: the cone up to there, or the shank.
        rise = np.clip(clamp.above_mm - low, 0.0, None)
        cone = deepest_mm(job.bit)
        reach = np.array([_radius(job, min(float(r), cone)) for r in np.unique(np.round(rise, 6))])
        index = np.searchsorted(np.unique(np.round(rise, 6)), np.round(rise, 6))
        radius = np.where(rise > cone, max(job.bit.diameter_mm, job.bit.shank_mm) / 2.0, reach[index])
        x0, y0 = clamp.x_mm - corner[0], clamp.y_mm - corner[1]
        x1, y1 = x0 + clamp.width_mm, y0 + clamp.height_mm
        touched = (low < clamp.above_mm - 1e-9) & ~moves.machine
        rows = np.flatnonzero(touched)
        hits = rows[_meets_box(start[rows], end[rows], moves, rows, radius[rows], (x0, y0, x1, y1))]
        for m in hits[:MOST_NAMED].tolist():
            sentence = f"The bit runs into the clamp at X {format_mm(clamp.x_mm)}, Y {format_mm(clamp.y_mm)}."
            found.append(_at("clamp", sentence, moves, end, m))
    return found


def _radius(job: Job, rise_mm: float) -> float:
    return width_mm(job.bit, rise_mm) / 2.0 if rise_mm > 0.0 else job.bit.tip_mm / 2.0


def _meets_box(
    start: Floats,
    end: Floats,
    moves: Moves,
    rows: npt.NDArray[np.int64],
    radius: Floats,
    box: tuple[float, float, float, float],
) -> npt.NDArray[np.bool_]:
    """Tell which moves come closer to a rectangle than their radius."""
    import shapely

    if len(rows) == 0:
        return np.zeros(0, dtype=bool)
    paths = np.asarray(shapely.linestrings(np.stack([start[:, :2], end[:, :2]], axis=1)), dtype=object)
    for k in np.flatnonzero(moves.sweep_rad[rows] != 0.0).tolist():
        m = int(rows[k])
        centre = moves.centre_mm[m, :2] + (start[k, :2] - moves.start_mm[m, :2])
        begin = np.arctan2(*(start[k, :2] - centre)[::-1])
        angles = begin + moves.sweep_rad[m] * np.linspace(0.0, 1.0, 65)
        size = np.hypot(*(start[k, :2] - centre))
        paths[k] = shapely.LineString(centre + size * np.column_stack([np.cos(angles), np.sin(angles)]))
    return np.asarray(shapely.distance(paths, shapely.box(*box)) < radius + 1e-9, dtype=bool)


def arc_boxes(moves: Moves, which: npt.NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Return the lower and upper corners (n, 2) of boxes round arcs of the XY plane, in work coordinates."""
    start, end, centre = moves.start_mm[which, :2], moves.end_mm[which, :2], moves.centre_mm[which, :2]
    sweep = moves.sweep_rad[which]
    radius = np.hypot(*(start - centre).T)
    begin = np.arctan2(*(start - centre).T[::-1])
    low, high = np.minimum(start, end), np.maximum(start, end)
    for quarter in range(4):
        angle = quarter * np.pi / 2.0
        ahead = np.where(sweep > 0, np.mod(angle - begin, 2 * np.pi), np.mod(begin - angle, 2 * np.pi))
        point = centre + radius[:, None] * np.array([np.cos(angle), np.sin(angle)])
        passed = (ahead <= np.abs(sweep))[:, None]
        low = np.where(passed, np.minimum(low, point), low)
        high = np.where(passed, np.maximum(high, point), high)
    return low, high


def _at(code: str, sentence: str, moves: Moves, end: Floats, m: int) -> Finding:
    return Finding(
        code=code, sentence=sentence, line=int(moves.line[m]), at_mm=(float(end[m, 0]), float(end[m, 1]))
    )
