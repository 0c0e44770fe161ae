"""A strip of an off-cut with straight grooves at stepped depths, laid out to be measured, and laid out as a job's piece is.

Every depth is cut twice, from shallow to deep and back: a strip that is tilted, or a depth that creeps while the strip is cut,
then adds to the scatter and not to the slope, and turned end for end the grooves have the same depths.  Between them stays land
for the caliper's jaws.  Of the strips that fit, the one is taken whose slope will be known best.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np

from vcarve.drawing.read import Drawing
from vcarve.errors import InputError, Problem
from vcarve.groove.land import measure
from vcarve.groove.width import ball_mm, cone_line_mm, deepest_mm, width_mm
from vcarve.job.records import Job
from vcarve.job.sections import Groove, Outline, PatternChoice, Zero
from vcarve.job.suitability import asked_depths_mm
from vcarve.layout.field import make_field
from vcarve.layout.lines import Lines
from vcarve.layout.stages import Layout, make_network
from vcarve.network.build import Placing
from vcarve.network.model import Feature
from vcarve.quantity import QuantityError, format_mm, length_mm, unit_of

# Common practice, no source: land that calipers stand on and that does not break out; room at the strip's ends; a groove long
# enough for three places clear of its round ends.
LAND_MM, END_MM, LONG_MM = 3.0, 4.0, 12.0
USUAL_MM = 25.0  # across
MARK_MM = 5.0  # how long the mark beside the first groove is
STEP_MM = 0.05  # depths are round
DEPTHS = (5, 4, 3)  # how many are tried
ON_CONE = 0.92  # of where the cone ends: a zero that is off must not bring the upright wall in
WIDEST_MM = 6.0  # unless the job's own grooves are wider
DEEPER = 3.0  # than the job's deepest groove: the longer the lever, the better is the angle known
LEAST_DEEP_MM = 1.5
SHALLOW = 0.3  # of the deepest
SOUND = 0.6  # of the strip's thickness


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """Grooves from the strip's left end on: their depths and where their middle lines are; the first is the mark.

    Measures in mm from the front left corner; grooves run along Y from ``front_mm`` to ``back_mm``, the mark as far as
    ``MARK_MM``.
    """

    width_mm: float
    height_mm: float
    depth_mm: tuple[float, ...]
    x_mm: tuple[float, ...]
    front_mm: float

    @property
    def back_mm(self) -> float:
        """Where the grooves end, as far from the back edge as their beginnings are from the front."""
        return self.height_mm - self.front_mm

    @property
    def spread(self) -> float:
        """The sum of squares of the measured grooves' depths about their mean: what the angle's uncertainty goes by."""
        depths = np.array(self.depth_mm[1:])
        return float(((depths - depths.mean()) ** 2).sum())


def read_size(option: str, written: str) -> tuple[float, float]:
    """Read the size of a strip such as ``80 x 25 mm``; a unit may stand once at the end.  Raises InputError."""
    parts = re.split(r"[xX×]", written)
    try:
        if len(parts) != 2:
            raise QuantityError("a length and a width are wanted, such as 80 x 25 mm")
        if not unit_of(parts[0]):
            parts[0] += unit_of(parts[1])
        long, across = (length_mm(part) for part in parts)
        if min(long, across) <= 0.0:
            raise QuantityError("must be more than 0 mm")
    except QuantityError as error:
        raise InputError(Problem(key=option, value=written, want=str(error))) from None
    return long, across


def strip_of(job: Job, size_mm: tuple[float, float] | None = None, option: str = "size") -> Strip:
    """Return the strip for a job's bit and wood, as long as it needs or of a size.

    Raises InputError where the bit's cone is too short or the wood too thin for steps of depth, and for a size that is too
    small, with the least.
    """
    bit, thick = job.bit, job.piece.thickness_mm
    cone, own = ON_CONE * deepest_mm(bit), max(asked_depths_mm(job))
    start, more = cone_line_mm(bit)
    lever = min(max(DEEPER * own, LEAST_DEEP_MM), max(own, (min(WIDEST_MM, bit.diameter_mm) - start) / more))
    deepest = min(cone, lever, SOUND * thick)
    least = max(SHALLOW * deepest, ball_mm(bit))
    found = []
    for count, share in product(DEPTHS, (1.0, 0.85, 0.7, 0.55)):
        first, last = math.ceil(least / STEP_MM - 1e-9), math.floor(share * deepest / STEP_MM + 1e-9)
        if last - first < 2 * (count - 1):
            continue
        rising = [round(step * STEP_MM, 6) for step in np.rint(np.linspace(first, last, count)).tolist()]
        depths = (rising[0], *rising, *rising[::-1])
        half = [width_mm(bit, depth) / 2.0 for depth in depths]
        x = [END_MM + half[0]]
        for before, after in pairwise(half):
            x.append(x[-1] + before + LAND_MM + after)
        front = END_MM + max(half)
        long, across = x[-1] + half[-1] + END_MM, LONG_MM + 2.0 * front
        wide, high = size_mm or (5.0 * math.ceil(long / 5.0), max(5.0 * math.ceil(across / 5.0), USUAL_MM))
        strip = Strip(width_mm=wide, height_mm=high, depth_mm=depths, x_mm=tuple(x), front_mm=front)
        found.append((strip, long, across))
    if not found:
        key, why = "bit", f"the bit's cone cuts from {format_mm(least)} to {format_mm(deepest)} deep here"
        if deepest == SOUND * thick:
            key = "piece.thickness"
            why = f"grooves of {format_mm(deepest)} at most are sound in {format_mm(thick)}"
        raise InputError(Problem(key=key, want=f"{why}: too little for a coupon's steps"))
    fitting = [
        one for one, long, across in found if long <= one.width_mm + 1e-9 and across <= one.height_mm + 1e-9
    ]
    if not fitting:
        long, across = (min(least) for least in zip(*[row[1:] for row in found], strict=True))
        figures = job.figures
        least_size = f"{figures.at_least(long, 0)} by {figures.at_least(across, 0)}"
        want = f"too small for a coupon of this bit: {least_size} or more is wanted"
        assert size_mm is not None
        raise InputError(Problem(key=option, value=figures.size(*size_mm), want=want))
    return max(fitting, key=lambda one: one.spread)


def lay_strip(job: Job, strip: Strip) -> Layout:
    """Return a strip laid out as a job's piece is, with the job's bit, wood, machine, speeds and step; zero at its front left."""
    depths = sorted(set(strip.depth_mm[1:]), reverse=True)
    numbers = [[str(n) for n, depth in enumerate(strip.depth_mm[1:], 1) if depth == each] for each in depths]
    layers = tuple(f"grooves {' and '.join(each)}" for each in numbers)
    size = {"width_mm": strip.width_mm, "height_mm": strip.height_mm, "outline": Outline()}
    kept = {key: getattr(job, key) for key in ("units", "bit", "machine", "feed", "plan")}
    job = Job.model_construct(
        **kept,
        piece=job.piece.model_copy(update=size),
        title=f"Coupon for {job.name}",
        pattern=PatternChoice(drawing="coupon", depths=dict(zip(layers, depths, strict=True))),
        groove=Groove(depth_mm=max(depths), step_mm=job.step_mm),
        zero=Zero(xy="front-left", z=job.zero.z),
    )
    x = np.array(strip.x_mm) - strip.width_mm / 2.0
    front, back = (np.full(len(x), y - strip.height_mm / 2.0) for y in (strip.front_mm, strip.back_mm))
    back[0] = front[0] + MARK_MM
    curves = np.column_stack([x, front, x, back, np.zeros(len(x))])
    drawing = Drawing(
        curves=curves,
        feature=np.array([depths.index(depth) for depth in strip.depth_mm]),
        layers=layers,
        known=layers,
        findings=(),
        mended=(),
        size_mm=(strip.width_mm, strip.height_mm),
        on_page=True,
    )
    field, lines = make_field(job), Lines(placing=Placing(pitch_mm=1.0), drawing=drawing)
    network = make_network(lines, field, "groove")
    return Layout(
        job=job,
        field=field,
        lines=lines,
        network=network,
        grooves=measure(network, job.bit, dict(enumerate(depths))),
        features=tuple(
            Feature(key=key, name=key, depth_mm=depth) for key, depth in zip(layers, depths, strict=True)
        ),
    )
