"""Checks of the moves against the piece: rapids in the wood, too deep, beyond its edge, through a clamp."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

import numpy as np
import shapely

from vcarve.dryrun.target import Aim, OutlineTarget, Target
from vcarve.dryrun.tip import Tip
from vcarve.dryrun.track import SAG_MM, Track, chords_within, entry, laid
from vcarve.errors import Finding
from vcarve.job.bench import Cutter
from vcarve.plane.arcs import Point
from vcarve.plane.arrays import Floats, Ints

CHORDS_MM = 5e-4
LOW_MM = 0.1  # a planed board is flat to about so much: common practice, no source
FAR_MM = 1e6  # farther than any machine reaches
SECTIONS = 16  # sloping moves are compared with clamps in so many parts, each at its lowest


def rapid_findings(seen: Track) -> Iterator[Finding]:
    """Find rapids that move across, or down, below the surface, or too low over it.

    Straight up is how the bit leaves a groove.
    """
    height, moves = seen.low_mm[:, 2], seen.moves
    rapid = ~seen.feed & (seen.across | seen.down)
    thickness = np.inf if seen.target is None else seen.target.job.piece.thickness_mm
    bad = rapid & seen.in_wood
    through = bad & (height < -thickness - 1e-6)
    flying = rapid & ~seen.in_wood & moves.told & ~moves.is_lost("Z")[1:]
    touching = flying & (height <= seen.slack_mm)
    scratching = seen.feed & seen.across & ~seen.in_wood & moves.told & ~seen.blind
    scratching &= height <= seen.slack_mm

    def near(m: int) -> str:
        above = seen.figures.length(round(float(height[m]), 3))
        return f"A rapid moves across only {above} above the surface; few boards are so flat."

    for code, rows, sentence in (
        ("through-the-piece", through, "A rapid goes through the piece."),
        ("rapid-in-wood", bad & ~through & seen.across, "A rapid moves across below the surface."),
        ("rapid-plunge", bad & ~through & ~seen.across, "The bit goes down into the wood at rapid."),
        ("rapid-low", touching, "A rapid touches the surface; stop above it, and go down at a feed."),
        ("feed-low", scratching, "The bit moves across on the surface and scratches it."),
    ):
        yield from seen.tell(code, rows, sentence, at=seen.at)
    low = flying & ~touching & seen.across & (height < LOW_MM - 1e-9)
    yield from seen.tell("rapid-low", low, near, at=seen.at, mild=True)


def surface_findings(seen: Track) -> list[Finding]:
    """Tell that without a job the top is taken to be at Z0: where no feed goes below it, nothing in the wood has been judged."""
    moves = seen.moves
    if not len(moves) or seen.in_wood.any():
        return []
    sentence = (
        "Nothing goes below Z0, where the surface is taken to be: cuts, rapids and spindle were not judged. "
        "If the zero is on the bed, give the job (--job)."
    )
    return [Finding("surface-unknown", sentence)]


def depth_findings(seen: Track, target: Aim) -> Iterator[Finding]:
    """Find moves deeper than the bit's cone, or than the piece is thick, and those that bring a wide shank into the wood."""
    bit, floor, write = target.bit, target.job.piece.thickness_mm, seen.figures.length
    edge, ends, bears = Tip.of(bit).edge_mm, "its cone ends", 1e-6
    thick, wide = f"the piece is {write(floor)} thick", "wider than the cone"
    if isinstance(target, OutlineTarget):
        more, bears = target.cut_out.through_mm, seen.slack_mm + seen.bears_mm
        floor, thick = floor + more, f"{thick}, and {write(more)} more is asked for"
        ends, wide = "its cutting edges end", "above the cutting edges"
    below = np.where(seen.in_wood, -seen.low_mm[:, 2], 0.0)
    depth = np.where(seen.feed, below, 0.0)
    before = np.where(seen.in_wood, -seen.start_mm[:, 2], 0.0)
    before[:1] = 0.0
    arrives = depth > before + 1e-9
    through = arrives & (depth > floor + bears)
    short = arrives & ~through & (depth > edge + 1e-3 + seen.bears_mm)
    shank = np.where(seen.in_wood & (bit.shank_mm > bit.diameter_mm), below - edge, 0.0)
    sofar = np.maximum.accumulate(np.concatenate([[1e-3], shank]))[:-1]

    def deep(limit: str) -> Callable[[int], str]:
        return lambda m: f"The bit goes {write(round(float(depth[m]), 3))} deep; {limit}."

    def rubs(m: int) -> str:
        return f"The shank, {wide}, goes {write(round(float(shank[m]), 6))} into the wood."

    for code, rows, limit_mm, words in (
        ("through-the-piece", through, floor, deep(thick)),
        ("bit-too-short", short, edge, deep(f"{ends} at {write(round(edge, 3))}")),
        ("shank-contact", shank > sofar, edge, rubs),
    ):
        yield from seen.tell(code, rows, words, at=partial(seen.at, depth_mm=limit_mm))


def piece_findings(seen: Track, target: Target) -> list[Finding]:
    """Find moves below the surface beyond the piece; lines may run off by the groove's half-width where the job asks for it."""
    job = target.job
    allowed = 2.0 * seen.slack_mm
    if job.pattern.ends == "run-off":
        allowed += float(Tip.of(job.bit).reach_mm(np.array(max(job.depths_mm))))
    half = np.array([job.piece.width_mm, job.piece.height_mm]) / 2.0 + allowed
    bent = seen.moves.sweep_rad != 0.0
    out = (np.abs(seen.end_mm[:, :2]) > half).any(axis=1)
    out |= bent & ((seen.low_mm[:, :2] < -half) | (seen.high_mm[:, :2] > half)).any(axis=1)
    leaves = ~seen.across & (seen.end_mm[:, 2] > seen.start_mm[:, 2])  # straight up: said where it went in
    below = seen.in_wood & ~leaves & ~seen.blind
    # The outline's chords and those of the arcs stand off them by a little.
    room = shapely.buffer(target.outline, allowed + CHORDS_MM, quad_segs=64)
    if job.piece.outline.shape != "rectangle":
        shapely.prepare(room)
        owner, lines, _ = _parts(seen, np.flatnonzero(below & ~out))
        out[owner[~shapely.covers(room, shapely.linestrings(lines))]] = True
    beyond = shapely.difference(shapely.box(-FAR_MM, -FAR_MM, FAR_MM, FAR_MM), room)
    sentence = "The bit is below the surface beyond the piece's edge."
    return seen.tell("outside-piece", below & out, sentence, at=lambda m: entry(seen, m, beyond))


def clamp_findings(seen: Track, target: Aim) -> Iterator[Finding]:
    """Find moves, rapids too, whose bit comes through a clamp: its rectangle grown by the bit's radius at the clamp's top.

    Of a move whose start the text has not given nobody knows the way: it has to be above every clamp.
    """
    job, length = target.job, seen.figures.length
    for clamp in job.clamps:
        x, y = clamp.x_mm - job.piece.width_mm / 2.0, clamp.y_mm - job.piece.height_mm / 2.0
        rectangle = shapely.box(x, y, x + clamp.width_mm, y + clamp.height_mm)

        def meets(m: int, above: float = clamp.above_mm, rectangle: shapely.Polygon = rectangle) -> Point:
            radius = float(_radius_mm(target.bit, above - seen.low_mm[m, 2]))
            return entry(seen, m, shapely.buffer(rectangle, radius))

        sentence = f"The bit runs into the clamp at X {length(clamp.x_mm)}, Y {length(clamp.y_mm)}."
        yield from seen.tell("clamp", _hits(seen, target.bit, clamp.above_mm, rectangle), sentence, at=meets)
    tallest_mm = max((clamp.above_mm for clamp in job.clamps), default=-np.inf)
    come = seen.across & seen.moves.is_found("XY") & seen.moves.told & ~seen.moves.is_lost("Z")[1:]
    come &= seen.low_mm[:, 2] < tallest_mm - 1e-9
    where = "from wherever it stands, lower than a clamp"
    sentence = f"The bit comes across {where}; lift it over the clamps first."
    yield from seen.tell("clamp", come, sentence, at=seen.at)


def _hits(seen: Track, bit: Cutter, above_mm: float, rectangle: shapely.Polygon) -> Ints:
    """Return which moves bring the bit into what stands so high on the piece."""
    x0, y0, x1, y1 = rectangle.bounds
    widest = max(bit.diameter_mm, bit.shank_mm) / 2.0
    low, high = seen.low_mm, seen.high_mm
    near = (low < (x1 + widest, y1 + widest, above_mm - 1e-9)).all(axis=1)
    near &= (high[:, :2] > (x0 - widest, y0 - widest)).all(axis=1) & seen.moves.told & ~seen.blind
    owner, lines, lowest = _parts(seen, np.flatnonzero(near))
    # Of the bit, the widest part at or below the clamp's top counts: the cone up to there, or the shank.
    rise = np.round(above_mm - lowest, 6)
    away = shapely.distance(shapely.linestrings(lines), rectangle)
    return np.unique(owner[(away < _radius_mm(bit, rise) + 1e-9) & (rise > 0.0)])


def _parts(seen: Track, rows: Ints) -> tuple[Ints, Floats, Floats]:
    """Return (move, ends, lowest Z) of straight parts of moves: level ones whole, sloping ones in sections, arcs in chords."""
    sloping = (seen.start_mm[:, 2] != seen.end_mm[:, 2]) & seen.across & (seen.moves.sweep_rad == 0.0)
    count = np.where(sloping[rows], SECTIONS, chords_within(seen.moves, rows, SAG_MM))
    count = np.maximum(count, seen.parts[rows])
    owner, curve, z = laid(seen.moves, rows, count, seen.setup)
    return owner, curve[:, :4].reshape(-1, 2, 2), z.min(axis=1)


def _radius_mm(bit: Cutter, rise_mm: Floats) -> Floats:
    """Return the bit's radius at heights above its tip; shape as given."""
    tip = Tip.of(bit)
    return np.where(rise_mm > tip.edge_mm, max(bit.diameter_mm, bit.shank_mm) / 2.0, tip.reach_mm(rise_mm))


def upright_findings(seen: Track, _: Aim) -> list[Finding]:
    """Find arcs of the XZ and YZ planes that cut: their depth changes on the way, and no line asks for that."""
    sentence = "An upright arc cuts into the wood: its depth changes on the way, and no line asks for that."
    return seen.tell("wrong-depth", seen.upright & seen.in_wood, sentence, at=seen.at)
