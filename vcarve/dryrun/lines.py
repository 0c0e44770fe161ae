"""Checks of the program against the network: lines missed, cut again, cut where there are none, cut at the wrong depth or
too deep at once.

The depth a line is to have changes evenly along it, and so does a move's: where two places of a stretch are right, all of it is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import cKDTree

from vcarve.dryrun.coverage import TOUCH, Covered, again, covered, union
from vcarve.dryrun.track import Track, entry, last_decimal_mm
from vcarve.errors import Finding, listed
from vcarve.groove.model import Grooves
from vcarve.job.records import Job
from vcarve.network.model import Network
from vcarve.plane.arcs import boxes, nearest, points, size
from vcarve.plane.arrays import Bools, Floats, Ints
from vcarve.plane.region import lines_along, upright

CHORDS_OFF_MM = 0.01  # from an edge, where the place is told at which a move leaves it
OTHER_JOB = 0.5  # from this share of strays and of missed lines on, it is the program of another job


@dataclass(frozen=True, slots=True, kw_only=True)
class _Compared:
    """The program's cuts beside the lines there are to be.

    ``room_mm`` (E,) is how far a depth may be from that asked for, ``excess_mm`` (n, 2) by how much the ends of each stretch are
    deeper than that, and shorter stretches than ``least_mm`` count for nothing.
    """

    seen: Track
    network: Network
    grooves: Grooves
    cover: Covered
    excess_mm: Floats
    room_mm: Floats
    tolerance_mm: float
    least_mm: float

    def union(self, rows: Bools | None = None) -> Floats:
        """Return how much of each edge these stretches, or all, cover together."""
        chosen = self.cover if rows is None else self.cover.take(rows)
        return union(chosen.edge, chosen.ends, len(self.network.tail))

    def place(self, edge: int, share: float = 0.5) -> tuple[float, float]:
        """Return where a share of an edge's length is."""
        x, y = points(self.network.curves(np.array([edge])), share)[0].tolist()
        return x, y

    def once(self, code: str, rows: Ints, sentence: Callable[[int], str]) -> list[Finding]:
        """Return a finding of each move that made these stretches, at the line of the first of them."""
        rows = rows[np.argsort(self.cover.move[rows], kind="stable")]
        rows = rows[np.flatnonzero(np.diff(self.cover.move[rows], prepend=-1))]
        edge, move = self.cover.edge, self.cover.move
        return listed(
            rows.tolist(),
            lambda row: Finding(
                code, sentence(row), line=self.seen.line(int(move[row])), at_mm=self.place(int(edge[row]))
            ),
        )

    def wrong_depth(self, row: int, end: int) -> Finding:
        """Return the finding of a stretch that is cut at the wrong depth at one of its ends."""
        edge, length = int(self.cover.edge[row]), self.seen.figures.length
        depth = float(self.cover.depth_mm[row, end])
        slope = bool(np.ptp(self.grooves.ends_depth_mm[:, edge]))
        wanted = length(max(round(depth - float(self.excess_mm[row, end]), 6), 0.0))
        return Finding(
            "wrong-depth",
            f"This line is cut {length(depth)} deep{' here' if slope else ''}; the job asks for {wanted}.",
            line=self.seen.line(int(self.cover.move[row])),
            at_mm=self.place(edge, float(self.cover.ends[row, end]) if slope else 0.5),
        )


def line_findings(
    seen: Track, network: Network, grooves: Grooves, job: Job, tolerance_mm: float
) -> list[Finding]:
    """Compare the program's grooves with the network's lines."""
    cutting = seen.feed & seen.in_wood & ~seen.upright & ~seen.blind
    which = np.flatnonzero(cutting & seen.across)
    cover, stray = covered(seen, which, network, tolerance_mm)
    slack = 1e-3 + 0.51 * last_decimal_mm(job.machine)
    steep = np.abs(np.diff(grooves.ends_depth_mm, axis=0)[0]) / np.maximum(network.length_mm, 1e-9)
    lines = _Compared(
        seen=seen,
        network=network,
        grooves=grooves,
        cover=cover,
        excess_mm=cover.depth_mm - grooves.depth_at_mm(cover.edge[:, None], cover.ends),
        room_mm=slack + steep * tolerance_mm,
        tolerance_mm=tolerance_mm,
        least_mm=2.0 * TOUCH * max(tolerance_mm, 0.5 * slack),
    )
    untouched = int(np.count_nonzero(network.cut & (lines.union() == 0.0)))
    if len(stray) > OTHER_JOB * max(len(which), 1) and untouched > OTHER_JOB * network.edges:
        sentence = (
            f"The program does not cut this job's lines: {len(stray)} of its {len(which)} moves in the wood lie on "
            f"none of them, and {untouched} of the {network.edges} lines are not cut. "
            "Is it the program of another job, or was it made for another zero or turn?"
        )
        m = int(stray[0])
        return [Finding("other-job", sentence, line=seen.line(m), at_mm=seen.at(m))]
    return [
        *_stray(lines, stray, "This move cuts where the pattern has no line."),
        *_ends(lines, np.flatnonzero(cutting & _brief(seen, tolerance_mm))),
        *_too_deep(lines),
        *_lacking(lines),
        *_walks(lines, job),
    ]


def _stray(lines: _Compared, rows: Ints, sentence: str) -> list[Finding]:
    return listed(
        rows.tolist(),
        lambda m: Finding("stray-cut", sentence, line=lines.seen.line(m), at_mm=_off_the_lines(lines, m)),
    )


def _off_the_lines(lines: _Compared, move: int) -> tuple[float, float]:
    """Return where a move first is beside every line."""
    seen, network = lines.seen, lines.network
    low, high = seen.low_mm[move, :2] - 1.0, seen.high_mm[move, :2] + 1.0
    cut = network.curves(np.flatnonzero(network.cut))
    near = cut[shapely.intersects(upright(boxes(cut), lines.tolerance_mm), shapely.box(*low, *high))]
    room = lines.tolerance_mm + CHORDS_OFF_MM
    on = shapely.union_all(shapely.buffer(lines_along(near, CHORDS_OFF_MM), room))
    return entry(seen, move, shapely.difference(shapely.box(*low, *high), on))


def _brief(seen: Track, tolerance_mm: float) -> Bools:
    """Tell which moves are judged by where they end: plunges, and moves too short to be told along which line they lie."""
    gap = size(seen.high_mm - seen.low_mm)
    return np.where(seen.across, gap <= 3.0 * TOUCH * tolerance_mm, seen.down)


def _ends(lines: _Compared, rows: Ints) -> list[Finding]:
    """Find plunges and short moves that end beside every line, or deeper than any line there is to be."""
    if not len(rows):
        return []
    seen, network, grooves, room = lines.seen, lines.network, lines.grooves, lines.room_mm
    cut = np.flatnonzero(network.cut)
    # Of every vertex, and then of every place, the depth of the deepest line there and how deep the bit may go.
    deepest = np.full((len(network.x_nm), 2), -1.0)
    for vertex, depth in zip((network.tail, network.head), grooves.ends_depth_mm, strict=True):
        np.maximum.at(deepest, vertex[cut], np.column_stack([depth, depth + room])[cut])
    used = np.flatnonzero(deepest[:, 0] >= 0.0)
    place = seen.end_mm[rows, :2]
    away, at = cKDTree(network.xy_mm[used]).query(place, distance_upper_bound=lines.tolerance_mm)
    known = np.isfinite(away)
    allowed = np.where(known[:, None], deepest[used[np.minimum(at, len(used) - 1)]], -1.0)
    loose = np.flatnonzero(~known)
    if len(loose):
        curve = network.curves(cut)
        tree = shapely.STRtree(upright(boxes(curve), lines.tolerance_mm))
        point, hit = tree.query(shapely.points(place[loose]))
        share, foot = nearest(place[loose[point]], curve[hit])
        on = size(place[loose[point]] - foot) <= lines.tolerance_mm
        edge, depth = cut[hit[on]], grooves.depth_at_mm(cut[hit[on]], share[on])
        np.maximum.at(allowed, loose[point[on]], np.column_stack([depth, depth + room[edge]]))
    depth = -seen.end_mm[rows, 2]
    deep = (allowed[:, 0] >= 0.0) & (depth > allowed[:, 1])
    write = seen.figures.length

    def too_deep(k: int) -> Finding:
        wanted = write(round(float(allowed[k, 0]), 6))
        sentence = f"The bit goes {write(float(depth[k]))} deep; the lines there are to be {wanted}."
        m = int(rows[k])
        return Finding("wrong-depth", sentence, line=seen.line(m), at_mm=seen.at(m))

    return [
        *_stray(lines, rows[allowed[:, 0] < 0.0], "The bit cuts where the pattern has no line."),
        *listed(np.flatnonzero(deep).tolist(), too_deep),
    ]


def _too_deep(lines: _Compared) -> list[Finding]:
    """Find moves that cut a line too deep, each told once, at the worse end of the first stretch that it does so on."""
    deep = np.flatnonzero(lines.excess_mm.max(axis=1) > lines.room_mm[lines.cover.edge])
    _, first = np.unique(lines.cover.move[deep], return_index=True)
    return listed(
        deep[first].tolist(), lambda row: lines.wrong_depth(row, int(lines.excess_mm[row].argmax()))
    )


def _lacking(lines: _Compared) -> list[Finding]:
    """Find edges that no move covers from end to end, and edges that are covered but somewhere too shallow."""
    cover, network = lines.cover, lines.network
    lack = np.round(-lines.excess_mm.min(axis=1), 6)
    short = lack > lines.room_mm[cover.edge]
    # Edges shorter than the program's own rounding cannot be told from points.
    length = network.length_mm
    share = 1.0 - lines.least_mm / np.maximum(length, 1e-9)
    edges = np.flatnonzero(network.cut & (length > lines.least_mm) & (lines.union(~short) < share))
    touched = lines.union()
    whole = touched[edges] >= share[edges]

    def missed(edge: int) -> Finding:
        part = "A part of this line" if touched[edge] > 0.0 else "This line"
        return Finding("line-missed", f"{part} of the pattern is not cut.", at_mm=lines.place(edge))

    # Of each edge the move that came nearest to its depth, the last of several.
    rows = np.flatnonzero(short)
    rows = rows[np.lexsort((cover.move[rows], -lack[rows], cover.edge[rows]))]
    rows = rows[np.flatnonzero(np.diff(cover.edge[rows], append=-1))]
    rows = rows[np.isin(cover.edge[rows], edges[whole])]
    return [
        *listed(edges[~whole].tolist(), missed),
        *listed(rows.tolist(), lambda row: lines.wrong_depth(row, int(lines.excess_mm[row].argmin()))),
    ]


def _walks(lines: _Compared, job: Job) -> list[Finding]:
    """Compare each walk along a line with those before it: travel where they had cut already, and too much at once."""
    cover, room = lines.cover, lines.room_mm[lines.cover.edge]
    least = lines.least_mm / np.maximum(lines.network.length_mm[cover.edge], 1e-9)
    share, deeper_mm = again(cover, room, least)
    # Both depths are rounded.  What is deeper than the line is to be has been told.
    hasty = (deeper_mm > job.step_mm + 2.0 * room) & (lines.excess_mm.max(axis=1) <= room)
    return [*_recuts(lines, job, share), *_hasty(lines, job, np.flatnonzero(hasty), deeper_mm)]


def _hasty(lines: _Compared, job: Job, rows: Ints, deeper_mm: Floats) -> list[Finding]:
    """Return the findings of moves that cut deeper at once than the job's step, each told where it does most."""
    length = lines.seen.figures.length

    def sentence(row: int) -> str:
        more, step = length(round(float(deeper_mm[row]), 6)), length(job.step_mm)
        return f"This move cuts {more} deep at once; the job's step is {step}."

    return lines.once("step-too-deep", rows[np.argsort(-deeper_mm[rows], kind="stable")], sentence)


def _recuts(lines: _Compared, job: Job, share: Floats) -> list[Finding]:
    """Find travel along a line where a move before has been as deep or deeper already, beyond what ``Job.recut`` allows.

    ``share`` (n,) is how much of its edge each stretch goes along again.
    """
    cover, length = lines.cover, lines.network.length_mm
    rows = np.flatnonzero(share * length[cover.edge] > lines.least_mm)
    if not len(rows):
        return []
    if job.plan.recut == "allow":
        deepest = float(lines.grooves.depth_mm[lines.network.cut].max())
        levels = max(np.ceil(round(deepest / job.step_mm, 9)), 1.0)
        walks = np.bincount(cover.edge, weights=cover.share, minlength=len(length))
        rows = rows[(walks > 2.0 * levels + 0.5)[cover.edge[rows]]]
        rows = rows[np.lexsort((cover.move[rows], cover.edge[rows]))]
        rows = rows[np.flatnonzero(np.diff(cover.edge[rows], append=-1))]  # the last of each edge
    sentence = "This move goes again along a line that is already cut to this depth."
    return lines.once("cut-twice", rows, lambda row: sentence)
