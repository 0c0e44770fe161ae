"""Checks of the program against the network: lines missed, cut again, cut where there are none, cut at the wrong depth."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from vcarve.dryrun.coverage import Covered, covered
from vcarve.errors import Finding
from vcarve.groove.model import Grooves
from vcarve.job.records import Job
from vcarve.network.model import Network
from vcarve.program.moves import Motion, Moves
from vcarve.quantity import format_mm

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
MOST_NAMED = 20  # findings of one kind that are listed one by one


def line_findings(
    moves: Moves,
    start: Floats,
    end: Floats,
    network: Network,
    grooves: Grooves,
    job: Job,
    tolerance_mm: float,
    recut_mm: float | None,
) -> tuple[Finding, ...]:
    """Compare the program's grooves with the network's lines.

    ``start`` and ``end`` (N, 3) are the moves' ends in piece coordinates, Z 0 at the top.  ``recut_mm`` is how much may be
    travelled along grooves already cut (``None``: as the job allows).
    """
    under = (np.minimum(start[:, 2], end[:, 2]) < -1e-6) & (moves.motion != int(Motion.RAPID))
    across = np.hypot(*(end - start)[:, :2].T) > 1e-9
    across |= moves.sweep_rad != 0.0
    which = np.flatnonzero(under & across)
    cover = covered(moves, which, start[which], end[which], network, tolerance_mm)
    plunges = np.flatnonzero(under & ~across & (end[:, 2] < start[:, 2]))
    found = [*_stray(cover.stray, moves, end), *_stray_plunges(plunges, moves, end, network, tolerance_mm)]
    found.extend(_depths_and_counts(cover, network, grooves, moves, job, recut_mm))
    return tuple(found)


def _stray(stray: Ints, moves: Moves, end: Floats) -> list[Finding]:
    return [
        Finding(
            code="stray-cut",
            sentence="This move cuts where the pattern has no line.",
            line=int(moves.line[m]),
            at_mm=(float(end[m, 0]), float(end[m, 1])),
        )
        for m in stray[:MOST_NAMED].tolist()
    ]


def _stray_plunges(
    plunges: Ints, moves: Moves, end: Floats, network: Network, tolerance_mm: float
) -> list[Finding]:
    """Plunges whose place is no vertex and on no line to cut."""
    if len(plunges) == 0:
        return []
    import shapely
    from scipy.spatial import cKDTree

    cut = np.flatnonzero(network.cut)
    used = np.unique(np.concatenate([network.tail[cut], network.head[cut]]))
    spots = end[plunges, :2]
    away, _ = cKDTree(network.xy_mm[used]).query(spots)
    loose = plunges[away > tolerance_mm]
    if len(loose) == 0:
        return []
    a, b = network.xy_mm[network.tail[cut]], network.xy_mm[network.head[cut]]
    straight = network.bulge[cut] == 0.0
    lines = np.asarray(shapely.linestrings(np.stack([a[straight], b[straight]], axis=1)), dtype=object)
    tree = shapely.STRtree(lines)
    points = shapely.points(end[loose, :2])
    on_line = np.unique(tree.query(points, predicate="dwithin", distance=tolerance_mm)[0])
    off = np.setdiff1d(np.arange(len(loose)), on_line)
    return [
        Finding(
            code="stray-cut",
            sentence="The bit plunges where the pattern has no line.",
            line=int(moves.line[m]),
            at_mm=(float(end[m, 0]), float(end[m, 1])),
        )
        for m in loose[off][:MOST_NAMED].tolist()
    ]


def _middle(network: Network, edge: int) -> tuple[float, float]:
    xy = network.xy_mm[[network.tail[edge], network.head[edge]]].mean(axis=0)
    return float(xy[0]), float(xy[1])


def _depths_and_counts(
    cover: Covered, network: Network, grooves: Grooves, moves: Moves, job: Job, recut_mm: float | None
) -> list[Finding]:
    wanted = grooves.depth_mm
    length = network.length_mm
    slack = 1e-3 + 0.51 * 10.0**-job.machine.decimals * (25.4 if job.machine.units == "inch" else 1.0)
    found: list[Finding] = []
    deep = np.flatnonzero(cover.depth_mm > wanted[cover.edge] + slack)
    for row in deep[:MOST_NAMED].tolist():
        edge = int(cover.edge[row])
        found.append(
            Finding(
                code="wrong-depth",
                sentence=f"This line is cut {format_mm(round(float(cover.depth_mm[row]), 3))} deep; "
                f"the job asks for {format_mm(float(wanted[edge]))}.",
                line=int(moves.line[cover.move[row]]),
                at_mm=_middle(network, edge),
            )
        )
    full = cover.depth_mm >= wanted[cover.edge] - slack
    reach = np.zeros(len(length))
    np.maximum.at(reach, cover.edge, cover.depth_mm)
    whole = _union(cover.edge[full], cover.low[full], cover.high[full], len(length))
    lacking = network.cut & (whole < 1.0 - np.minimum(4.0 * slack / np.maximum(length, 1e-9), 0.5))
    for edge in np.flatnonzero(lacking)[:MOST_NAMED].tolist():
        if reach[edge] > 0.0 and reach[edge] < wanted[edge] - slack:
            found.append(
                Finding(
                    code="wrong-depth",
                    sentence=f"This line is cut {format_mm(round(float(reach[edge]), 3))} deep; "
                    f"the job asks for {format_mm(float(wanted[edge]))}.",
                    line=_last_line(cover, moves, edge),
                    at_mm=_middle(network, edge),
                )
            )
        else:
            part = "A part of this line" if whole[edge] > 0.0 else "This line"
            found.append(
                Finding(
                    code="line-missed",
                    sentence=f"{part} of the pattern is not cut.",
                    at_mm=_middle(network, edge),
                )
            )
    found.extend(_recuts(cover, network, wanted, moves, job, recut_mm, slack))
    return found


def _last_line(cover: Covered, moves: Moves, edge: int) -> int:
    return int(moves.line[cover.move[cover.edge == edge]].max())


def _union(edge: Ints, low: Floats, high: Floats, count: int) -> Floats:
    """Return how much of each edge the stretches cover together, 0 to 1."""
    total = np.zeros(count)
    whole = (low == 0.0) & (high == 1.0)
    total[edge[whole]] = 1.0
    part = np.flatnonzero(~whole & (total[edge] < 1.0))
    order = part[np.lexsort((low[part], edge[part]))]
    current, upto = -1, 0.0
    for row in order.tolist():
        if edge[row] != current:
            current, upto = int(edge[row]), 0.0
        gain = high[row] - max(low[row], upto)
        if gain > 0.0:
            total[current] += gain
            upto = float(high[row])
    return total


def _recuts(
    cover: Covered,
    network: Network,
    wanted: Floats,
    moves: Moves,
    job: Job,
    recut_mm: float | None,
    slack: float,
) -> list[Finding]:
    """Travel along a line where a move before has been as deep or deeper already."""
    length = network.length_mm
    order = np.lexsort((cover.move, cover.edge))
    edge, depth, low, high = cover.edge[order], cover.depth_mm[order], cover.low[order], cover.high[order]
    again = np.zeros(len(order), dtype=bool)
    runs = np.bincount(edge, minlength=len(length))
    # Only edges covered by more than one stretch need a closer look.
    several = np.flatnonzero(runs[edge] > 1)
    deepest: list[tuple[float, float, float]] = []
    current = -1
    times = np.zeros(len(length))
    for row in several.tolist():
        if edge[row] != current:
            current, deepest = int(edge[row]), []
        lo, hi, d = float(low[row]), float(high[row]), float(depth[row])
        shared = [
            min(hi, h) - max(lo, s) for s, h, was in deepest if was >= d - slack and min(hi, h) > max(lo, s)
        ]
        if shared and max(shared) * length[current] > 4.0 * slack:
            again[row] = True
            times[current] += max(shared)
        deepest.append((lo, hi, d))
    rows = np.flatnonzero(again)
    travelled = float(((high[rows] - low[rows]) * length[edge[rows]]).sum())
    allowed = job.recut == "allow"
    if allowed and (recut_mm is None or travelled <= recut_mm + 1e-3 * (1 + len(rows))):
        levels = np.maximum(np.ceil(np.round(wanted / job.step_mm, 9)), 1.0)
        over = np.flatnonzero(times > levels + 0.5)
        rows = rows[np.isin(edge[rows], over)]
        last = {int(e): r for e, r in zip(edge[rows].tolist(), rows.tolist(), strict=True)}
        rows = np.array(sorted(last.values()), dtype=np.int64)
    return [
        Finding(
            code="cut-twice",
            sentence="This move goes again along a line that is already cut to this depth.",
            line=int(moves.line[cover.move[order[row]]]),
            at_mm=_middle(network, int(edge[row])),
        )
        for row in rows[:MOST_NAMED].tolist()
    ]
