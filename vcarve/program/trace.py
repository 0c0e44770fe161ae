"""A program that shows where a job will be cut: round the piece, the cuts and the clamps, slowly, high above, spindle off."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise

import numpy as np

from vcarve.job.records import Job
from vcarve.plane.arrays import NM_PER_MM, Floats, Ints
from vcarve.program.text import Move, Section, comment, joined
from vcarve.program.writer import Frame, idle, opening

SLOW_MM_MIN = 600.0  # slow enough to stop by hand: common practice, no source


def trace(job: Job, rings_mm: Iterable[tuple[str, Floats]], cuts_mm: Floats, height_mm: float) -> str:
    """Return the text of a trace at a height above the piece.

    ``rings_mm`` are closed ways (n, 2) on the piece with what they go round; ``cuts_mm`` (m, 2) are places of all cuts, round
    which it goes along the machine's axes.
    """
    return joined(_sections(job, rings_mm, cuts_mm, height_mm))


def _sections(
    job: Job, rings_mm: Iterable[tuple[str, Floats]], cuts_mm: Floats, height_mm: float
) -> Iterator[Section]:
    frame, machine = Frame(job), job.machine
    low, high = frame.clear(height_mm), frame.clear(max(height_mm, machine.safe_height_mm))
    feed = frame.feed(min(SLOW_MM_MIN, machine.largest_feed_mm_min))
    down = frame.feed(min(SLOW_MM_MIN, machine.feed_max.z_mm_min))

    def axes(places_mm: Floats) -> Ints:
        nm = np.rint(places_mm * NM_PER_MM).astype(np.int64)
        return frame.axes(np.column_stack([nm, np.zeros(len(nm), dtype=np.int64)]))[:, :2]

    height = job.figures.length(height_mm)
    notes = (
        ("Mizo", f"trace of {job.name}: round piece, cuts and clamps, {height} above the piece"),
        ("Machine", f"{machine.name}, {machine.dialect}"),
        ("Caution", "The spindle stays off. Not for cutting. Keep your hand at the stop."),
    )
    header = [line for label, text in notes for line in comment(label, text)]
    yield (*header, *opening(job, arcs=False), *idle(job), Move("G0", z=high))
    zero = frame.line(0, 0)
    pause = [*comment(f"At X0 Y0, {height} above the piece"), *comment("Look, then continue"), "M0"]
    yield [Move("G0", zero), Move("G1", z=low, feed=down), *pause]
    box = axes(cuts_mm)
    (left, front), (right, back) = (box.min(axis=0), box.max(axis=0)) if len(box) else np.zeros((2, 2), int)
    around = np.array([(left, front), (right, front), (right, back), (left, back)])
    ways = [*((what, axes(ring)) for what, ring in rings_mm), ("all cuts", around)]
    here = [0, 0]
    for what, way in ways:
        places = [here, *way.tolist(), way[0].tolist()]
        moves = [Move("G1", frame.line(*to), low, feed) for at, to in pairwise(places) if to != at]
        yield [*comment(f"Round {what}"), *moves]
        here = places[-1]
    yield [Move("G0", z=high), Move("G0", zero)]
    yield [machine.program_end]
