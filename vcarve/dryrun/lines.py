"""Checks of the program against the network: lines missed, cut again, cut where there are none, cut at the wrong depth."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import cKDTree

from vcarve.dryrun.codes import finding
from vcarve.dryrun.coverage import TOUCH, Covered, again, covered, union
from vcarve.dryrun.track import Track, entry, last_decimal_mm
from vcarve.errors import Finding, listed
from vcarve.groove.model import Grooves
from vcarve.job.records import Job
from vcarve.network.model import Network
from vcarve.plane.arcs import boxes, distances, middles
from vcarve.plane.region import lines_along, upright
from vcarve.quantity import Figures

Bools = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

CHORDS_OFF_MM = 0.01  # from an edge, where the place is told at which a move leaves it
OTHER_JOB = 0.5  # from this share of strays and of missed lines on, it is the program of another job


def line_findings(
    seen: Track, network: Network, grooves: Grooves, job: Job, tolerance_mm: float
) -> list[Finding]:
    """Compare the program's grooves with the network's lines."""
    cutting = seen.feed & seen.in_wood & ~seen.upright & ~seen.blind
    which = np.flatnonzero(cutting & seen.across)
    cover = covered(seen, which, network, tolerance_mm)
    slack = 1e-3 + 0.51 * last_decimal_mm(job.machine)
    least = 2.0 * TOUCH * max(tolerance_mm, 0.5 * slack)  # shorter stretches count for nothing
    lacking, reach = _lacking(cover, network, grooves, slack, least)
    untouched = int(np.count_nonzero(network.cut & (reach == 0.0)))
    if len(cover.stray) > OTHER_JOB * max(len(which), 1) and untouched > OTHER_JOB * network.edges:
        sentence = (
            f"The program does not cut this job's lines: {len(cover.stray)} of its {len(which)} moves in the wood lie on "
            f"none of them, and {untouched} of the {network.edges} lines are not cut. Is it the program of another job, "
            "zero or turn?"
        )
        m = int(cover.stray[0])
        return [finding("other-job", sentence, line=seen.line(m), at_mm=seen.at(m))]
    return [
        *_stray(seen, cover.stray, "This move cuts where the pattern has no line.", network, tolerance_mm),
        *_ends(
            seen, np.flatnonzero(cutting & _brief(seen, tolerance_mm)), network, grooves, tolerance_mm, slack
        ),
        *_too_deep(seen, cover, network, grooves, slack),
        *_missed(seen, cover, network, grooves, lacking, slack, least),
        *_recuts(seen, cover, network, grooves, job, slack, least),
    ]


def _stray(seen: Track, rows: Ints, sentence: str, network: Network, tolerance_mm: float) -> list[Finding]:
    return listed(
        rows.tolist(),
        lambda m: finding(
            "stray-cut", sentence, line=seen.line(m), at_mm=_off_the_lines(seen, m, network, tolerance_mm)
        ),
    )


def _off_the_lines(seen: Track, move: int, network: Network, tolerance_mm: float) -> tuple[float, float]:
    """Return where a move first is beside every line."""
    low, high = seen.low_mm[move, :2] - 1.0, seen.high_mm[move, :2] + 1.0
    lines = network.curves(np.flatnonzero(network.cut))
    box = boxes(lines)
    near = (box[:, :2] <= high + tolerance_mm).all(axis=1) & (box[:, 2:] >= low - tolerance_mm).all(axis=1)
    on = shapely.union_all(
        shapely.buffer(lines_along(lines[near], CHORDS_OFF_MM), tolerance_mm + CHORDS_OFF_MM)
    )
    return entry(seen, move, shapely.difference(shapely.box(*low, *high), on))


def _middle(network: Network, edge: int) -> tuple[float, float]:
    [(x, y)] = middles(network.curves(np.array([edge]))).tolist()
    return x, y


def _depth_sentence(depth_mm: float, wanted_mm: float, figures: Figures) -> str:
    return f"This line is cut {figures.length(depth_mm)} deep; the job asks for {figures.length(wanted_mm)}."


def _brief(seen: Track, tolerance_mm: float) -> Bools:
    """Tell which moves are judged by where they end: plunges, and moves too short to be told along which line they lie."""
    gap = np.hypot(*(seen.high_mm - seen.low_mm)[:, :2].T)
    return np.where(seen.across, gap <= 3.0 * TOUCH * tolerance_mm, seen.down)


def _ends(
    seen: Track, rows: Ints, network: Network, grooves: Grooves, tolerance_mm: float, slack: float
) -> list[Finding]:
    """Plunges and short moves that end beside every line, or deeper than any line there is to be."""
    if not len(rows):
        return []
    cut = np.flatnonzero(network.cut)
    xy = network.xy_mm
    tail, head = network.tail[cut], network.head[cut]
    deepest = np.full(len(network.x_nm), -1.0)
    np.maximum.at(deepest, tail, grooves.depth_mm[cut])
    np.maximum.at(deepest, head, grooves.depth_mm[cut])
    used = np.flatnonzero(deepest >= 0.0)
    place = seen.end_mm[rows, :2]
    away, nearest = cKDTree(xy[used]).query(place, distance_upper_bound=tolerance_mm)
    known = np.isfinite(away)
    allowed = np.where(known, deepest[used[np.minimum(nearest, len(used) - 1)]], -1.0)
    loose = np.flatnonzero(~known)
    if len(loose):
        lines = network.curves(cut)
        tree = shapely.STRtree(upright(boxes(lines), tolerance_mm))
        point, hit = tree.query(shapely.points(place[loose]))
        on = distances(place[loose[point]], lines[hit]) <= tolerance_mm
        np.maximum.at(allowed, loose[point[on]], grooves.depth_mm[cut[hit[on]]])
    depth = -seen.end_mm[rows, 2]
    deep = (allowed >= 0.0) & (depth > allowed + slack)
    sentence = "The bit goes {} deep; the lines there are to be {}."
    return [
        *_stray(
            seen, rows[allowed < 0.0], "The bit cuts where the pattern has no line.", network, tolerance_mm
        ),
        *listed(
            np.flatnonzero(deep).tolist(),
            lambda k: finding(
                "wrong-depth",
                sentence.format(seen.figures.length(float(depth[k])), seen.figures.length(float(allowed[k]))),
                line=seen.line(int(rows[k])),
                at_mm=seen.at(int(rows[k])),
            ),
        ),
    ]


def _lacking(
    cover: Covered, network: Network, grooves: Grooves, slack: float, least: float
) -> tuple[Ints, Floats]:
    """Return the edges not cut to their depth from end to end, and how deep each edge is cut anywhere."""
    wanted, length = grooves.depth_mm, network.length_mm
    reach = np.zeros(len(length))
    np.maximum.at(reach, cover.edge, cover.deep_mm)
    full = cover.shallow_mm >= wanted[cover.edge] - slack
    whole = union(cover.edge[full], cover.low[full], cover.high[full], len(length))
    # Edges shorter than the program's own rounding cannot be told from points.
    open_ = network.cut & (length > least)
    return np.flatnonzero(open_ & (whole < 1.0 - least / np.maximum(length, 1e-9))), reach


def _too_deep(seen: Track, cover: Covered, network: Network, grooves: Grooves, slack: float) -> list[Finding]:
    wanted = grooves.depth_mm[cover.edge]
    deep = np.flatnonzero(cover.deep_mm > wanted + slack)
    _, first = np.unique(cover.move[deep], return_index=True)
    return listed(
        deep[first].tolist(),
        lambda row: finding(
            "wrong-depth",
            _depth_sentence(float(cover.deep_mm[row]), float(wanted[row]), seen.figures),
            line=seen.line(int(cover.move[row])),
            at_mm=_middle(network, int(cover.edge[row])),
        ),
    )


def _missed(
    seen: Track, cover: Covered, network: Network, grooves: Grooves, lacking: Ints, slack: float, least: float
) -> list[Finding]:
    """Edges that no move covers from end to end, and edges that are covered but somewhere too shallow."""
    wanted = grooves.depth_mm
    touched = union(cover.edge, cover.low, cover.high, len(wanted))
    whole = touched[lacking] >= 1.0 - least / network.length_mm[lacking]
    short = np.flatnonzero(cover.shallow_mm < wanted[cover.edge] - slack)
    depth, last = np.zeros(len(wanted)), np.full(len(wanted), -1)
    np.maximum.at(depth, cover.edge[short], cover.shallow_mm[short])
    np.maximum.at(last, cover.edge[short], cover.move[short])

    def missed(edge: int) -> Finding:
        part = "A part of this line" if touched[edge] > 0.0 else "This line"
        return finding("line-missed", f"{part} of the pattern is not cut.", at_mm=_middle(network, edge))

    def too_shallow(edge: int) -> Finding:
        return finding(
            "wrong-depth",
            _depth_sentence(float(depth[edge]), float(wanted[edge]), seen.figures),
            line=seen.line(int(last[edge])),
            at_mm=_middle(network, edge),
        )

    return [
        *listed(lacking[~whole].tolist(), missed),
        *listed(lacking[whole].tolist(), too_shallow),
    ]


def _recuts(
    seen: Track,
    cover: Covered,
    network: Network,
    grooves: Grooves,
    job: Job,
    slack: float,
    least: float,
) -> list[Finding]:
    """Travel along a line where a move before has been as deep or deeper already, beyond what ``Job.recut`` allows."""
    length = network.length_mm
    share = again(cover.edge, cover.move, cover.low, cover.high, cover.shallow_mm, cover.deep_mm, slack)
    rows = np.flatnonzero(share * length[cover.edge] > least)
    if not len(rows):
        return []
    if job.recut == "allow":
        levels = max(np.ceil(round(float(grooves.depth_mm[network.cut].max()) / job.step_mm, 9)), 1.0)
        walks = np.bincount(cover.edge, weights=cover.high - cover.low, minlength=len(length))
        rows = rows[(walks > 2.0 * levels + 0.5)[cover.edge[rows]]]
        rows = rows[np.lexsort((cover.move[rows], cover.edge[rows]))]
        rows = rows[np.flatnonzero(np.diff(cover.edge[rows], append=-1))]  # the last of each edge
    rows = rows[np.argsort(cover.move[rows], kind="stable")]
    rows = rows[np.flatnonzero(np.diff(cover.move[rows], prepend=-1))]  # each move once
    sentence = "This move goes again along a line that is already cut to this depth."
    return listed(
        rows.tolist(),
        lambda row: finding(
            "cut-twice",
            sentence,
            line=seen.line(int(cover.move[row])),
            at_mm=_middle(network, int(cover.edge[row])),
        ),
    )
