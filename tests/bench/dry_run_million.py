"""A program of a million lines read, checked against its network and timed: seconds of each stage, and the memory at its peak.

Three ways to cut one network: every edge with a lift of its own, edges one after the other in passes, and every straight run as
one long move, for which the comparison has to find the edges under it.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from small_job import job_from
from small_network import build
from vcarve.dryrun import clock
from vcarve.dryrun.check import check
from vcarve.dryrun.target import Target
from vcarve.dryrun.track import waiting_mm
from vcarve.groove.model import Grooves
from vcarve.network.model import Network
from vcarve.pattern.model import pattern
from vcarve.plane.region import polygon, rectangle
from vcarve.program.reader import read_program

DEPTH_MM = 0.6


def plain_grooves(network: Network) -> Grooves:
    """Depths alone: the land is of no concern to the checks."""
    depth = np.where(network.cut, DEPTH_MM, np.zeros((2, 1)))
    nothing, none = np.zeros(0), np.zeros(0, dtype=np.int64)
    return Grooves(
        ends_depth_mm=depth, ends_half_mm=depth.copy(), land_mm=nothing, land_at_mm=nothing.reshape(0, 2),
        land_area_mm2=nothing.copy(), islands=none, shape=none.copy(), corner_mm=nothing.reshape(0, 2), lands=none.astype(object),
        weak_mm=nothing.copy(), weak_at_mm=nothing.reshape(0, 2),
    )  # fmt: skip


def edge_by_edge(network: Network) -> str:
    """Every edge a move with a lift of its own."""
    cut = np.flatnonzero(network.cut)
    xy = network.xy_mm
    tail, head = xy[network.tail[cut]], xy[network.head[cut]]
    lines = ["G17 G21 G54 G90 G94", "G0 Z8", "M0"]
    for (ax, ay), (bx, by) in zip(tail.tolist(), head.tolist(), strict=True):
        lines += [f"G0 X{ax:.3f} Y{ay:.3f}", f"G1 Z-{DEPTH_MM} F90", f"G1 X{bx:.3f} Y{by:.3f} F300", "G0 Z1"]
    lines += ["G0 Z8", "M30"]
    return "\n".join(lines) + "\n"


def walked(network: Network) -> str:
    """Edges one after the other wherever one goes on from the last, so that almost every line is a cut."""
    cut = np.flatnonzero(network.cut)
    order = np.lexsort((network.head[cut], network.tail[cut]))
    left: dict[int, list[int]] = {}
    for e in cut[order].tolist():
        left.setdefault(int(network.tail[e]), []).append(e)
        left.setdefault(int(network.head[e]), []).append(e)
    used = np.zeros(len(network.tail), dtype=bool)
    ends = np.stack([network.tail, network.head], axis=1).tolist()
    xy = network.xy_mm.tolist()
    lines = ["G17 G21 G54 G90 G94", "G0 Z8", "M0"]
    starts = [vertex for vertex, edges in left.items() for _ in edges]
    for at in starts:
        started = False
        while True:
            mine = left[at]
            while mine and used[mine[-1]]:
                mine.pop()
            if not mine:
                break
            e = mine.pop()
            used[e] = True
            if not started:
                lines += [f"G0 X{xy[at][0]:.3f} Y{xy[at][1]:.3f}", f"G1 Z-{DEPTH_MM} F90", "F300"]
                started = True
            a, b = ends[e]
            at = b if a == at else a
            lines.append(f"G1 X{xy[at][0]:.3f} Y{xy[at][1]:.3f}")
        if started:
            lines.append("G0 Z1")
    lines += ["G0 Z8", "M30"]
    return "\n".join(lines) + "\n"


def long_runs(network: Network) -> str:
    """Every straight run of edges one move, as long as it goes on in one direction."""
    cut = np.flatnonzero(network.cut)
    xy = network.xy_mm
    a, b = xy[network.tail[cut]], xy[network.head[cut]]
    delta = b - a
    angle = np.round(np.mod(np.arctan2(delta[:, 1], delta[:, 0]), np.pi), 5)
    angle[angle >= np.round(np.pi, 5)] = 0.0
    unit = np.column_stack([np.cos(angle), np.sin(angle)])
    away = np.round(a[:, 0] * unit[:, 1] - a[:, 1] * unit[:, 0], 2)
    along = np.stack([(a * unit).sum(axis=1), (b * unit).sum(axis=1)])
    swap = along[0] > along[1]
    first, last = np.where(swap[:, None], b, a), np.where(swap[:, None], a, b)
    low, high = along.min(axis=0), along.max(axis=0)
    order = np.lexsort((low, away, angle))
    breaks = np.ones(len(order), dtype=bool)
    breaks[1:] = (
        (np.abs(low[order][1:] - high[order][:-1]) > 1e-4)
        | (away[order][1:] != away[order][:-1])
        | (angle[order][1:] != angle[order][:-1])
    )
    begin = np.flatnonzero(breaks)
    stop = np.append(begin[1:], len(order)) - 1
    lines = ["G17 G21 G54 G90 G94", "G0 Z8", "M0"]
    for (ax, ay), (bx, by) in zip(first[order][begin].tolist(), last[order][stop].tolist(), strict=True):
        lines += [f"G0 X{ax:.3f} Y{ay:.3f}", f"G1 Z-{DEPTH_MM} F90", f"G1 X{bx:.3f} Y{by:.3f} F300", "G0 Z1"]
    lines += ["G0 Z8", "M30"]
    return "\n".join(lines) + "\n"


def main(pitch_mm: float = 0.62) -> None:
    """Print the stages of three programs of one network."""
    job = job_from(
        f"""
piece: {{width: 240 mm, height: 140 mm, thickness: 12 mm, wood: cherry-black}}
pattern: {{name: kaku-asanoha, pitch: {pitch_mm} mm}}
groove: {{depth: {DEPTH_MM} mm}}
bit: v60-3.175
machine: rs274-mill
zero: {{xy: centre}}
plan: {{recut: never}}
"""
    )
    begin = time.perf_counter()
    network = build(pattern("kaku-asanoha", "."), region=rectangle(240.0, 140.0), pitch_mm=pitch_mm)
    grooves = plain_grooves(network)
    target = Target(job, network, grooves, polygon(rectangle(240.0, 140.0)))
    print(f"network: {network.edges:,} edges in {time.perf_counter() - begin:.1f} s")
    for name, text in (
        ("edges with lifts", edge_by_edge(network)),
        ("edges in passes", walked(network)),
        ("long runs", long_runs(network)),
    ):
        stages = [time.perf_counter()]
        reading = read_program(text, start_mm=waiting_mm(job.machine, job))
        stages.append(time.perf_counter())
        found = check(reading, job.machine, target)
        stages.append(time.perf_counter())
        total = clock.run(reading.moves, job.machine).total_s
        stages.append(time.perf_counter())
        read, judged, timed = np.diff(stages)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
        print(
            f"{name}: {reading.moves.lines:,} lines, {len(reading.moves):,} moves; read {read:.1f} s, checked {judged:.1f} s, "
            f"timed {timed:.1f} s ({total / 3600:.1f} h on the machine), {len(found)} findings; peak {peak:.2f} GiB"
        )
        for one in found[:3]:
            print(f"  {one}")


if __name__ == "__main__":
    main()
