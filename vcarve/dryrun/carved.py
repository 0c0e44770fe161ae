"""The carved piece compared with its job: widths against the formula, land."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from vcarve.dryrun.carve import carve, tiles
from vcarve.dryrun.measure import (
    Land,
    Measured,
    Places,
    coarsest_step_mm,
    groove_widths,
    land,
    least_half_mm,
)
from vcarve.dryrun.setup import setup_of
from vcarve.dryrun.surface import Surface, suitable_step_mm
from vcarve.dryrun.track import track
from vcarve.errors import Finding, listed
from vcarve.groove.model import Grooves
from vcarve.groove.width import sensitivity
from vcarve.job.records import Job
from vcarve.network.model import Network
from vcarve.plane.arcs import boxes
from vcarve.plane.arrays import Bools, Floats, Ints
from vcarve.program.moves import Moves

USUAL_STEP_MM = 0.05
LEAST_STEP_MM = 0.005
TILE_MM = 40.0
# So many are carved tile by tile where widths ask for a finer grid than fits memory.
MOST_TILED_PIXELS = 200_000_000
# Where one of these is found the widths can only say the same again.
EXPLAINS = {"other-job", "line-missed", "stray-cut", "wrong-depth", "rapid-in-wood", "through-the-piece"}
_NO_LAND = Land(islands=0, narrowest_mm=np.nan, area_mm2=np.nan)


def carved(job: Job, moves: Moves, step_mm: float | None = None, grooves: Grooves | None = None) -> Surface:
    """Return the surface that moves leave of the job's piece.

    Without a step it is the finest that fits memory, fine enough (where the grooves are known) for the narrowest of them.
    """
    wide, high = job.piece.width_mm, job.piece.height_mm
    if step_mm is None:
        step_mm = suitable_step_mm(wide, high, finest_mm=_wanted_step_mm(job, grooves))
    return carve(moves, job.bit, width_mm=wide, height_mm=high, setup=setup_of(job), step_mm=step_mm)


def _wanted_step_mm(job: Job, grooves: Grooves | None) -> float:
    """Return the step at which every groove can be measured."""
    # Lines that rise to a point are measured where they are wide.
    half = np.zeros(0) if grooves is None else grooves.half_width_mm[grooves.ends_half_mm.min(axis=0) > 0.0]
    if not len(half):
        return USUAL_STEP_MM
    return float(np.clip(coarsest_step_mm(half, job.bit).min(), LEAST_STEP_MM, USUAL_STEP_MM))


def measured(
    job: Job,
    network: Network,
    grooves: Grooves,
    moves: Moves,
    surface: Surface,
    *,
    rings: Sequence[Floats] | None = None,
    finer: bool = False,
) -> Measured:
    """Return what was measured on a carved surface: widths against the formula, volume, land.

    The land, which takes longest, is only measured where ``rings``, the piece's outline and holes, are given.  Grooves too
    narrow for the surface's grid are measured on a ``finer`` one, tile by tile, within reason.
    """
    cut, setup = network.cut, setup_of(job)
    coarsest = coarsest_step_mm(grooves.half_width_mm, job.bit)
    fine = cut & (coarsest >= surface.step_mm - 1e-9)
    places = Places.of(network, grooves.ends_half_mm)
    step = _wanted_step_mm(job, grooves)

    def measure(part: Surface, edges: Ints) -> tuple[Floats, Floats]:
        return groove_widths(part, places, edges=edges, least_half_mm=least_half_mm(part.step_mm, job.bit))

    widths, wanted = measure(surface, np.flatnonzero(fine))
    wide, high = job.piece.width_mm, job.piece.height_mm
    left = cut & ~fine & (coarsest >= step - 1e-9)
    if finer and left.any() and wide * high / step**2 <= MOST_TILED_PIXELS:
        fine |= left
        lowest, highest = np.hsplit(boxes(network.curves(np.arange(len(cut)))), 2)
        for tile in tiles(
            moves, job.bit, width_mm=wide, height_mm=high, setup=setup, step_mm=step, tile_mm=TILE_MM
        ):
            near = (lowest <= (tile.x_mm[-1], tile.y_mm[-1])) & (highest >= (tile.x_mm[0], tile.y_mm[0]))
            here = np.flatnonzero(left & np.isnan(widths) & near.all(axis=1))
            widths[here], wanted[here] = (values[here] for values in measure(tile, here))
    off = widths - wanted
    seen = track(moves, setup, job.machine, job.figures)
    known = np.flatnonzero(np.isfinite(off))
    worst = int(known[np.argmax(np.abs(off[known]))]) if len(known) else -1
    return Measured(
        removed_mm3=surface.removed_mm3,
        # The tip's own depth: the grid has no pixel where a plunge comes to its point.
        deepest_mm=float(-seen.low_mm[seen.in_wood, 2].min(initial=0.0)),
        land=_NO_LAND if rings is None else land(surface, inside=_inside(rings, surface)),
        widths_mm=widths,
        wanted_mm=wanted,
        measured=len(known),
        too_fine=int(np.count_nonzero(cut & ~fine)),
        crowded=int(np.count_nonzero(fine)) - len(known),
        worst_edge=worst,
        worst_mm=float(off[worst]) if len(known) else float("nan"),
    )


def _inside(rings: Sequence[Floats], surface: Surface) -> Bools | None:
    """Return which pixels belong to the piece; ``None`` means all, for a plain rectangle."""
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


def carved_findings(
    job: Job, network: Network, grooves: Grooves, surface: Surface, facts: Measured, known: Collection[str]
) -> list[Finding]:
    """Return what the carved surface adds to findings of the ``known`` codes: grooves that came out too wide or narrow.

    They differ from the formula by more than a grid step and the rounding of depths.
    """
    if EXPLAINS & set(known):
        return []
    # On a rounded tip the shallowest groove widens most with its depth.
    shallowest = float(grooves.depth_mm[network.cut].min())
    rounding = 2.0 * job.machine.last_decimal_mm * max(sensitivity(job.bit, shallowest), 1.0)
    if not job.machine.arcs:
        # Chords stand off the arc that is measured, by so much on either side.
        rounding += 2.0 * job.machine.arc_tolerance_mm
    step = np.minimum(surface.step_mm, coarsest_step_mm(grooves.half_width_mm, job.bit))
    off = np.abs(facts.widths_mm - facts.wanted_mm) > step + rounding
    length, xy = job.figures.length, network.xy_mm

    def make(edge: int) -> Finding:
        x, y = xy[[network.tail[edge], network.head[edge]]].mean(axis=0).tolist()
        came, made = length(float(facts.widths_mm[edge])), length(round(float(facts.wanted_mm[edge]), 6))
        sentence = f"This groove came out {came} wide; bit and depth make it {made}."
        return Finding("width-off", sentence, at_mm=(x, y))

    return listed(np.flatnonzero(off).tolist(), make)
