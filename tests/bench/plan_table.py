"""Print how near plans are to the least possible: every catalogue pattern at three pitches, and growth with size.

Run from the repository: ``python tests/bench/plan_table.py [table|hemp|sizes]``; without a word, all three.
Shares and ratios come from this one run.  ``clock`` times are those of the written program, read back.
"""

from __future__ import annotations

import itertools
import math
import resource
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from small_job import small_job
from small_network import build
from vcarve.cuts.grooves import groove_cuts
from vcarve.dryrun.clock import run
from vcarve.job.bench import names
from vcarve.mount.flat import mount_of
from vcarve.pattern.model import pattern
from vcarve.plan.bound import best_pairing
from vcarve.plan.nest import Nest
from vcarve.plan.pairing import pair
from vcarve.plan.planner import candidates, plan, record
from vcarve.plan.tour import cell_by_cell, nearest_end
from vcarve.plan.web import rates, weave
from vcarve.plane.region import rectangle
from vcarve.program.reader import read_program
from vcarve.program.writer import write

DEPTH_MM = 2.0
LOOSE = ("masu-tsunagi", "komochi-kikko", "bishamon-komochi", "yotsu-waribishi", "tatewaku", "tsumi-kikko")


def network_of(name, size_mm, pitch_mm):
    return build(pattern(name), region=rectangle(size_mm, size_mm), pitch_mm=pitch_mm)


def clock_s(job, cuts, made):
    return run(read_program(write(job, cuts, made, [])).moves, job.machine).total_s


def one(name, size_mm, pitch_mm, hop_mm=1.0):
    """Plan, bound, and the clock's times of ours and of the three simple plans."""
    job = small_job(size_mm, hop_mm=hop_mm)
    network = network_of(name, size_mm, pitch_mm)
    depth = np.full(len(network.tail), DEPTH_MM)
    cuts, rings = groove_cuts(network, np.stack([depth, depth]), job.step_mm)
    began = time.perf_counter()
    # as the pipeline does: of the planner's best, the quickest by the real clock
    timed = [(clock_s(job, cuts, each), each) for each in candidates(cuts, job, rings)]
    least = min(seconds for seconds, _ in timed) * (1.0 + 1e-9)
    ours_s, ours = min((each for each in timed if each[0] <= least), key=lambda each: each[1].lifts)
    spent = time.perf_counter() - began
    steady, start = rates(job), mount_of(job).zero_mm
    web = weave(cuts, steady)
    nest = Nest(web, steady)
    found, _ = best_pairing(nest.skeleton, steady, recut=True, start_mm=start)
    fewest = nest.tour(pair(nest.skeleton, steady, recut=False, start_mm=start), start)
    simple = [
        record(web, steady, each, start)
        for each in (*cell_by_cell(web, nest.lines, rings), nearest_end(web, start), fewest)
    ]
    times = [ours_s, *(clock_s(job, cuts, each) for each in simple)]
    return network, ours, len(found[0].even), times, spent


def table():
    print(
        f"{'pattern':18}{'pitch':>7}{'edges':>7}{'parts':>6}{'plan s':>10}{'bound s':>10}{'above':>8}", end=""
    )
    print(f"{'clock s':>9}{'cells':>7}{'nearest':>8}{'fewest':>7}{'spent s':>8}")
    worst = {"connected": 0.0, "others": 0.0}
    slower = []
    for name in names("pattern"):
        for repeats in (3, 6, 12):
            size = 120.0
            pitch = size / repeats / (math.sqrt(pattern_area(name)) if pattern_area(name) > 4 else 1.0)
            network, ours, parts, times, spent = one(name, size, pitch)
            above = 100.0 * (ours.proof.plan_s / ours.proof.bound_s - 1.0)
            kind = "connected" if parts == 1 else "others"
            worst[kind] = max(worst[kind], above)
            ratios = [times[0] / each for each in times[1:]]
            if max(ratios) > 1.0 + 1e-9:
                slower.append((name, round(pitch, 2), [round(r, 4) for r in ratios]))
            print(f"{name:18}{pitch:7.2f}{network.edges:7}{parts:6}{ours.proof.plan_s:10.2f}", end="")
            print(f"{ours.proof.bound_s:10.2f}{above:7.3f}%", end="")
            print(f"{times[0]:9.1f}" + "".join(f"{r:7.3f}" for r in ratios) + f"{spent:9.2f}", flush=True)
    print(f"worst above the bound: connected {worst['connected']:.3f} %, others {worst['others']:.3f} %")
    print("slower than a simple plan:", slower or "never")


def pattern_area(name):
    """Area of the unit cell in units of the pitch squared: large cells get a finer pitch."""
    a, b = pattern(name).cell.basis
    return abs(float(a[0] * b[1] - a[1] * b[0]))


def hemp():
    _, ours, _, times, _ = one("kaku-asanoha", 100.0, 50.0, hop_mm=5.0)
    print("100 mm square hemp leaf, hop 5 mm:", ours.proof)
    print(f"  clock: ours {times[0]:.2f} s = {times[0] / times[1]:.4f} of cell by cell,", end=" ")
    print(f"{times[0] / times[2]:.4f} of nearest end, {times[0] / times[3]:.4f} of fewest passes")


def sizes(limit=1_000_000):
    spent: list[tuple[int, float]] = []
    for name in ("kaku-asanoha", *LOOSE):
        spent.clear()
        for edges in (10_000, 100_000, 1_000_000):
            if edges > limit or (name in LOOSE and edges > 100_000):
                continue
            pitch = 10.0 / (math.sqrt(pattern_area(name)) if pattern_area(name) > 4 else 1.0)
            per_area = network_of(name, 200.0, pitch).edges / 200.0**2
            size = round(math.sqrt(edges / per_area) / pitch) * pitch
            began = time.perf_counter()
            network = network_of(name, size, pitch)
            stages, last = [("network", time.perf_counter() - began)], [time.perf_counter(), ""]

            def tell(stage, _share, last=last, stages=stages):
                now = time.perf_counter()
                if last[1]:
                    stages.append((last[1], now - last[0]))
                last[:] = [now, stage]

            depth = np.full(len(network.tail), DEPTH_MM)
            cuts, rings = groove_cuts(network, np.stack([depth, depth]), np.inf)
            made = plan(cuts, small_job(size, hop_mm=1.0), rings, progress=tell)
            total = time.perf_counter() - began
            spent.append((network.edges, total))
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
            above = 100.0 * (made.proof.plan_s / made.proof.bound_s - 1.0)
            print(
                f"{name} {network.edges} edges: {total:.1f} s, peak {peak:.2f} GB, {above:.3f} % above,",
                end=" ",
            )
            print(", ".join(f"{stage} {s:.1f} s" for stage, s in stages), flush=True)
        for (e0, t0), (e1, t1) in itertools.pairwise(spent):
            print(
                f"  {e0} -> {e1} edges: time grows as edges to the power {math.log(t1 / t0) / math.log(e1 / e0):.2f}"
            )


if __name__ == "__main__":
    chosen = sys.argv[1:] or ["hemp", "table", "sizes"]
    for part in chosen:
        {"table": table, "hemp": hemp, "sizes": sizes}[part]()
