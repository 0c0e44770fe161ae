"""Checks of the program against the network: lines missed, cut again, cut where there are none, cut at the wrong depth, too
deep at once or in one level before the level above it.

The depth a line is to have changes evenly along it, and so does a move's: where two places of a stretch are right, all of it is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely

from vcarve.dryrun.coverage import TOUCH, Covered, again, covered, union, vertices
from vcarve.dryrun.target import Target
from vcarve.dryrun.track import Track, entry
from vcarve.errors import Finding, listed
from vcarve.groove.model import Grooves, between
from vcarve.job.records import Job
from vcarve.network.model import Network
from vcarve.plane.arcs import Point, boxes, nearest, points, size
from vcarve.plane.arrays import Bools, Floats, Ints
from vcarve.plane.region import lines_along, upright

CHORDS_OFF_MM = 0.01  # from an edge, where the place is told at which a move leaves it
# So many places that lie beside ends of lines by so little are not slips of single figures.
BESIDE_MM, SHIFTED = 0.1, 3
OTHER_JOB = 0.5  # from this share of strays and of missed lines on, it is the program of another job


@dataclass(frozen=True, slots=True, kw_only=True)
class _Compared:
    """The program's cuts beside the lines there are to be.

    ``room_mm`` (E,) is how far a depth may be from that asked for, and ``most_mm`` (E,) beyond which none may be; ``excess_mm``
    (n, 2) is by how much the ends of each stretch are deeper than asked for, and those under ``least_mm`` long count for nothing.
    """

    seen: Track
    network: Network
    grooves: Grooves
    cover: Covered
    excess_mm: Floats
    room_mm: Floats
    most_mm: Floats
    least_mm: float

    def bears(self, depth_mm: Floats, edge: Ints) -> Floats:
        """Return how deep the bit may be where edges are to be so deep."""
        return np.minimum(depth_mm + self.room_mm[edge], self.most_mm[edge])

    @property
    def too_deep(self) -> Bools:
        """Which stretches are deeper than they may be, shape (n,)."""
        depth = self.cover.depth_mm
        return np.asarray((depth > self.bears(depth - self.excess_mm, self.cover.edge[:, None])).any(axis=1))

    def union(self, rows: Bools | None = None) -> Floats:
        """Return how much of each edge these stretches, or all, cover together."""
        chosen = self.cover if rows is None else self.cover.take(rows)
        return union(chosen.edge, chosen.ends, len(self.network.tail))

    def place(self, edge: int, share: float = 0.5) -> Point:
        """Return where a share of an edge's length is."""
        x, y = points(self.network.curves(np.array([edge])), share)[0].tolist()
        return x, y

    def once(self, code: str, rows: Ints, sentence: str | Callable[[int], str]) -> list[Finding]:
        """Return a finding of each move that made these stretches, at the line of the first of them."""
        move = self.cover.move
        first = rows[np.unique(move[rows], return_index=True)[1]]
        return self.seen.tell(
            code, first, sentence, at=lambda row: self.place(int(self.cover.edge[row])), of=move
        )

    def wrong_depth(self, rows: Ints, worse: Callable[[Floats], np.intp]) -> list[Finding]:
        """Return the findings of stretches that are cut at the wrong depth, each at the ``worse`` of its ends."""
        cover, length = self.cover, self.seen.figures.length
        slope = np.ptp(self.grooves.ends_depth_mm, axis=0) != 0.0

        def sentence(row: int) -> str:
            end, here = worse(self.excess_mm[row]), " here" if slope[cover.edge[row]] else ""
            depth = float(cover.depth_mm[row, end])
            wanted = length(max(round(depth - float(self.excess_mm[row, end]), 6), 0.0))
            return f"This line is cut {length(depth)} deep{here}; the job asks for {wanted}."

        def at(row: int) -> Point:
            edge, end = int(cover.edge[row]), worse(self.excess_mm[row])
            return self.place(edge, float(cover.ends[row, end]) if slope[edge] else 0.5)

        return self.seen.tell("wrong-depth", rows, sentence, at=at, of=cover.move)


def line_findings(seen: Track, target: Target) -> list[Finding]:
    """Compare the program's grooves with the network's lines."""
    network, grooves, tolerance_mm = target.network, target.grooves, seen.tolerance_mm
    cutting = np.flatnonzero(seen.feed & seen.in_wood & ~seen.upright & ~seen.blind)
    told = seen.moves.told & ~seen.moves.is_lost("Z")[1:]
    if told.any() and not seen.in_wood.any() and network.cut.any():
        above = seen.figures.length(round(float(seen.low_mm[told, 2].min()), 3))
        sentence = f"The program cuts nothing: it stays {above} above the piece. A rehearsal in the air?"
        return [Finding("line-missed", sentence)]
    ends = vertices(network, np.stack([seen.start_mm, seen.end_mm], axis=1)[cutting, :, :2], tolerance_mm)
    across = seen.across[cutting]
    which = cutting[across]
    cover, stray = covered(seen, which, ends[across], network)
    slack = 1e-3 + 0.51 * seen.machine.last_decimal_mm + seen.bears_mm
    steep = np.abs(np.diff(grooves.ends_depth_mm, axis=0)[0]) / np.maximum(network.length_mm, 1e-9)
    lines = _Compared(
        seen=seen,
        network=network,
        grooves=grooves,
        cover=cover,
        excess_mm=cover.depth_mm - between(grooves.ends_depth_mm, cover.edge[:, None], cover.ends),
        room_mm=slack + steep * tolerance_mm,
        most_mm=slack + grooves.depth_mm,
        least_mm=2.0 * TOUCH * max(tolerance_mm, 0.5 * slack),
    )
    touched = lines.union()
    untouched = int(np.count_nonzero(network.cut & (touched == 0.0)))
    if len(stray) > OTHER_JOB * max(len(which), 1) and untouched > OTHER_JOB * network.edges:
        sentence = (
            f"The program does not cut this job's lines: {len(stray)} of its {len(which)} moves in the wood lie on "
            f"none of them, and {untouched} of the {network.edges} lines are not cut. "
            "Is it the program of another job, or was it made for another zero or turn?"
        )
        return seen.tell("other-job", stray[:1], sentence, at=seen.at)
    # Plunges, and moves too short to be told along which line they lie, are judged by where they end.
    brief = size((seen.high_mm - seen.low_mm)[cutting]) <= 3.0 * TOUCH * tolerance_mm
    brief = np.where(across, brief, seen.down[cutting])
    # Moves that cut a line too deep are told once, at the worse end of the first stretch that they do so on.
    deep = np.flatnonzero(lines.too_deep)
    _, first = np.unique(cover.move[deep], return_index=True)
    return [
        *_stray(lines, stray, "This move cuts where the pattern has no line."),
        *_ends(lines, cutting[brief], ends[brief, 1]),
        *lines.wrong_depth(deep[first], np.argmax),
        *_lacking(lines, touched),
        *_walks(lines, target.job),
    ]


def _stray(lines: _Compared, rows: Ints, sentence: str) -> list[Finding]:
    """Return the findings of moves beside every line, each where it first is so."""
    if not len(rows):
        return []
    seen, network = lines.seen, lines.network
    places = np.unique(np.round(seen.end_mm[rows, :2], 6), axis=0)
    away, close = (vertices(network, places, room) < 0 for room in (seen.tolerance_mm, BESIDE_MM))
    if np.count_nonzero(away & ~close) >= SHIFTED:
        sentence += " Several end just beside its lines: was the program made for another zero or turn?"
    cut = network.curves(np.flatnonzero(network.cut))
    box = boxes(cut) + seen.tolerance_mm * np.array([-1.0, -1.0, 1.0, 1.0])

    def off(move: int) -> Point:
        low, high = seen.low_mm[move, :2] - 1.0, seen.high_mm[move, :2] + 1.0
        near = cut[((box[:, :2] <= high) & (box[:, 2:] >= low)).all(axis=1)]
        room = seen.tolerance_mm + CHORDS_OFF_MM
        on = shapely.union_all(shapely.buffer(lines_along(near, CHORDS_OFF_MM), room))
        return entry(seen, move, shapely.difference(shapely.box(*low, *high), on))

    return seen.tell("stray-cut", rows, sentence, at=off)


def _ends(lines: _Compared, rows: Ints, vertex: Ints) -> list[Finding]:
    """Find plunges and short moves that end beside every line, or deeper than any line there is to be.

    ``vertex`` (n,) is the vertex that each ends at, or -1.
    """
    seen, network, grooves = lines.seen, lines.network, lines.grooves
    cut = np.flatnonzero(network.cut)
    # Of every vertex, and then of every place, the depth of the deepest line there and how deep the bit may go.
    deepest = np.full((len(network.x_nm) + 1, 2), -1.0)
    for at, depth in zip((network.tail, network.head), grooves.ends_depth_mm, strict=True):
        np.maximum.at(deepest, at[cut], np.column_stack([depth[cut], lines.bears(depth[cut], cut)]))
    allowed = deepest[vertex]
    loose = np.flatnonzero(vertex < 0)
    if len(loose):
        place, curve = seen.end_mm[rows[loose], :2], network.curves(cut)
        tree = shapely.STRtree(upright(boxes(curve), seen.tolerance_mm))
        point, hit = tree.query(shapely.points(place))
        share, foot = nearest(place[point], curve[hit])
        on = size(place[point] - foot) <= seen.tolerance_mm
        edge, depth = cut[hit[on]], between(grooves.ends_depth_mm, cut[hit[on]], share[on])
        np.maximum.at(allowed, loose[point[on]], np.column_stack([depth, lines.bears(depth, edge)]))
    depth = -seen.end_mm[rows, 2]
    deep = np.flatnonzero((allowed[:, 0] >= 0.0) & (depth > allowed[:, 1]))
    write = seen.figures.length

    def too_deep(k: int) -> str:
        wanted = write(round(float(allowed[k, 0]), 6))
        return f"The bit goes {write(float(depth[k]))} deep; the lines there are to be {wanted}."

    return [
        *_stray(lines, rows[allowed[:, 0] < 0.0], "The bit cuts where the pattern has no line."),
        *seen.tell("wrong-depth", deep, too_deep, at=lambda k: seen.at(int(rows[k])), of=rows),
    ]


def _lacking(lines: _Compared, touched: Floats) -> list[Finding]:
    """Find edges that no move covers from end to end, and edges that are covered but somewhere too shallow.

    ``touched`` (E,) is how much of each edge is covered at whatever depth.
    """
    cover, network = lines.cover, lines.network
    lack = np.round(-lines.excess_mm.min(axis=1), 6)
    short = lack > lines.room_mm[cover.edge]
    # Edges shorter than the program's own rounding cannot be told from points.
    length = network.length_mm
    share = 1.0 - lines.least_mm / np.maximum(length, 1e-9)
    edges = np.flatnonzero(network.cut & (length > lines.least_mm) & (lines.union(~short) < share))
    whole = touched[edges] >= share[edges]

    def missed(edge: int) -> Finding:
        part = "A part of this line" if touched[edge] > 0.0 else "This line"
        return Finding("line-missed", f"{part} of the pattern is not cut.", at_mm=lines.place(edge))

    # Of each edge the move that came nearest to its depth, the last of several.
    rows = np.flatnonzero(short)
    rows = rows[np.lexsort((cover.move[rows], -lack[rows], cover.edge[rows]))]
    rows = rows[np.flatnonzero(np.diff(cover.edge[rows], append=-1))]
    rows = rows[np.isin(cover.edge[rows], edges[whole])]
    return [*listed(edges[~whole].tolist(), missed), *lines.wrong_depth(rows, np.argmin)]


def _walks(lines: _Compared, job: Job) -> list[Finding]:
    """Compare each walk along a line with those before it: travel where they had cut already, too much at once, too early.

    Travel along a line where a move before has been as deep or deeper is told beyond what the job allows.
    """
    cover, length, figure = lines.cover, lines.network.length_mm, lines.seen.figures.length
    room = lines.room_mm[cover.edge]
    # The next level is deeper by most of a step.
    share, deeper_mm = again(
        cover, np.minimum(room, 0.5 * job.step_mm), lines.least_mm / np.maximum(length[cover.edge], 1e-9)
    )
    twice = np.flatnonzero(share * length[cover.edge] > lines.least_mm)
    if job.plan.recut == "allow":
        deepest = float(lines.grooves.depth_mm[lines.network.cut].max(initial=0.0))
        levels = max(np.ceil(round(deepest / job.step_mm, 9)), 1.0)
        walks = np.bincount(cover.edge, weights=cover.share, minlength=len(length))
        twice = twice[(walks > levels + 1.5)[cover.edge[twice]]]
        twice = twice[np.lexsort((cover.move[twice], cover.edge[twice]))]
        twice = twice[np.flatnonzero(np.diff(cover.edge[twice], append=-1))]  # the last of each edge
    # Both depths are rounded.  What is deeper than the line is to be has been told.
    hasty = (deeper_mm > job.step_mm + 2.0 * room) & ~lines.too_deep
    # Of each move where it cuts most.
    most = np.flatnonzero(hasty)[np.argsort(-deeper_mm[hasty], kind="stable")]

    def at_once(row: int) -> str:
        more, step = figure(round(float(deeper_mm[row]), 6)), figure(job.step_mm)
        return f"This move cuts {more} deep at once; the job's step is {step}."

    upper = np.full(len(cover.edge), -1)
    upper[most] = _less_deep_later(cover, most, room[most])

    def too_early(row: int) -> str:
        deep, line = figure(float(cover.depth_mm[row].max())), lines.seen.line(int(upper[row]))
        return f"This move cuts {deep} deep before the level above that, which comes in line {line}."

    early = upper[most] >= 0
    return [
        *lines.once(
            "cut-twice", twice, "This move goes again along a line that is already cut to this depth."
        ),
        *lines.once("level-too-early", most[early], too_early),
        *lines.once("step-too-deep", most[~early], at_once),
    ]


def _less_deep_later(cover: Covered, rows: Ints, room_mm: Floats) -> Ints:
    """Return the last move that cuts the edge of each of these stretches less deep, where it comes after it; else -1."""
    if not len(rows):
        return rows
    depth = cover.depth_mm.max(axis=1)
    order = np.lexsort((depth, cover.edge))
    span, moves = 1.0 + float(depth.max()), 1 + int(cover.move.max())
    key = cover.edge[order] * span + depth[order]
    # Of the edge so far, or of one before.
    last = np.maximum.accumulate(cover.edge[order] * moves + cover.move[order])
    place = np.searchsorted(key, cover.edge[rows] * span + np.maximum(depth[rows] - room_mm, 0.0)) - 1
    later = (place >= 0) & (last[place] > cover.edge[rows] * moves + cover.move[rows])
    return np.where(later, last[place] % moves, -1)
