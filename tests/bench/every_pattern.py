"""A job of a hundred thousand edges of every pattern, from job to program: seconds, peak memory, and where the time goes.

Wanted: under 20 s and 1.5 GB each.  Every pattern runs in a process of its own, so that the peak is its own.

Usage: every_pattern.py [--edges N] [PATTERN ...]
"""

from __future__ import annotations

import json
import math
import resource
import subprocess
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

SIDE_MM = 590.0
WANTED_S, WANTED_MB = 20.0, 1500.0
JOB = """\
piece: {{width: {side}, height: {side}, thickness: 12, wood: maple-sugar}}
title: bench
pattern: {{name: {name}, pitch: {pitch:.4f}, edge: plain}}
groove: {{depth: {depth:.3f}}}
bit: {{angle: 30, diameter: 3.175, shank: 3.175}}
machine: gantry-router
"""


def measure(name: str, edges: int) -> dict[str, object]:
    """Make one program of about this many edges; return seconds by stage, the peak in MB and what was made."""
    from small_job import job_from
    from vcarve.pattern.model import pattern
    from vcarve.pipeline import plan_program

    drawn = pattern(name)
    per_cell = len(drawn.unit_network.tail)
    pitch = SIDE_MM / math.sqrt(edges / per_cell * drawn.cell.area)
    # Shallow against the typical edge, so that the bench is about the lines and not about lost land.
    depth = 0.12 * pitch * math.sqrt(drawn.cell.area / per_cell)
    text = JOB.format(side=SIDE_MM, name=name, pitch=pitch, depth=depth)
    job = job_from(text)
    stages: list[tuple[str, float]] = []
    begun = time.perf_counter()
    made = plan_program(job, progress=lambda stage, _: stages.append((stage, time.perf_counter())))
    done = time.perf_counter()
    spent: dict[str, float] = {}
    ends = [at for _, at in stages[1:]] + [done]
    for (stage, at), end in zip(stages, ends, strict=True):
        spent[stage] = spent.get(stage, 0.0) + end - at
    return {
        "edges": made.network.edges,
        "seconds": done - begun,
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0,
        "above": made.plan.proof.plan_s / made.plan.proof.bound_s - 1.0,
        "spent": spent,
    }


def main(arguments: list[str]) -> None:
    """Print a line for each pattern, then the slowest with their stages."""
    from vcarve.job.bench import names

    edges = 100_000
    if arguments[:1] == ["--edges"]:
        edges, arguments = int(arguments[1]), arguments[2:]
    found = []
    print(f"{'pattern':18} {'edges':>8} {'s':>7} {'MB':>6} {'above bound':>12}")
    for name in arguments or names("pattern"):
        run = subprocess.run(
            [sys.executable, __file__, "--one", name, str(edges)], capture_output=True, text=True, check=False
        )
        if run.returncode:
            print(f"{name:18} failed: {run.stderr.strip().splitlines()[-1]}", flush=True)
            continue
        one = json.loads(run.stdout)
        found.append((one["seconds"], name, one["spent"]))
        over = "  too slow" * (one["seconds"] > WANTED_S) + "  too much" * (one["peak_mb"] > WANTED_MB)
        print(
            f"{name:18} {one['edges']:>8} {one['seconds']:7.2f} {one['peak_mb']:6.0f} {one['above']:>11.2%} {over}",
            flush=True,
        )
    for seconds, name, spent in sorted(found, reverse=True)[:5]:
        longest = sorted(spent.items(), key=lambda item: -item[1])[:4]
        print(f"{name:18} {seconds:6.2f} s: " + ", ".join(f"{stage} {part:.2f}" for stage, part in longest))


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        print(json.dumps(measure(sys.argv[2], int(sys.argv[3]))))
    else:
        main(sys.argv[1:])
