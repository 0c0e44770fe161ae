"""A job of a hundred thousand edges from file to program: time of each stage and peak memory, in one run.

Wanted: under 20 s and 1.5 GB for all of it.  Reading a text of the same size is timed beside it as a measure of the machine.

Usage: main_job.py [EDGES]
"""

from __future__ import annotations

import math
import resource
import sys
import tempfile
import time
from pathlib import Path

from vcarve.job.records import load_job
from vcarve.pipeline import plan_program

# Two by two squares of square hemp leaf have 40 edges, 12 of them grid lines: 7 inside each square and 2 grid lines of its own.
EDGES_PER_SQUARE = 9
SIDE_MM = 590.0
JOB = """\
piece: {{width: {side}, height: {side}, thickness: 12, wood: maple-sugar}}
title: bench
pattern: {{name: kaku-asanoha, pitch: {pitch:.4f}, edge: plain}}
groove: {{depth: 0.3}}
bit: v60-3.175
machine: gantry-router
"""


def main() -> None:
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    squares = wanted / EDGES_PER_SQUARE
    stages: list[tuple[str, float]] = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.yaml"
        path.write_text(JOB.format(side=SIDE_MM, pitch=SIDE_MM / math.sqrt(squares)))
        begun = time.perf_counter()
        job = load_job(str(path))
        stages.append(("loading", time.perf_counter()))
        made = plan_program(job, progress=lambda stage, _: stages.append((stage, time.perf_counter())))
        (Path(folder) / "bench.nc").write_text(made.text)
        done = time.perf_counter()
    ends = [at for _, at in stages[1:]] + [done]
    print(f"{'reading the job':<20} {stages[0][1] - begun:7.2f} s")
    for (stage, at), end in zip(stages[1:], ends[1:], strict=True):
        print(f"{stage:<20} {end - at:7.2f} s")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    lines = made.text.splitlines()
    parsed = time.perf_counter()
    sum(float(word[1:]) for line in lines if line[0] != "(" for word in line.split())
    parsing = time.perf_counter() - parsed
    print(f"{made.network.edges} edges, {len(lines)} lines, {made.plan.passes} passes")
    print(f"{'all of it':<20} {done - begun:7.2f} s (wanted: at most 20)")
    print(f"{peak:.0f} MB at most (wanted: at most 1500)")
    print(f"splitting the text and reading its numbers takes {parsing:.2f} s")


if __name__ == "__main__":
    main()
