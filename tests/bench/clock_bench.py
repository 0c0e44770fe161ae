"""How fast the clock times a long program, in moves per second and against a bare Python loop over the
moves.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from made_moves import moves_of
from vcarve.dryrun import clock
from vcarve.job.bench import Machine


def main(n: int = 1_000_000) -> None:
    rng = np.random.default_rng(1)
    points = np.cumsum(rng.normal(0, 1, (n + 1, 3)), axis=0)
    moves = moves_of(points[:-1], points[1:], feed_mm_min=600.0)
    axes = {"x": 2000.0, "y": 2000.0, "z": 800.0}
    machine = Machine.model_validate(
        {
            "name": "m", "title": "m", "travel": {"x": 300.0, "y": 200.0, "z": 60.0}, "rapid": axes,
            "acceleration": {"x": 200.0, "y": 200.0, "z": 100.0}, "feed-max": axes,
            "spindle": {"min": 1000, "max": 10000}, "collets": [3.175],
        }
    )  # fmt: skip
    begin = time.perf_counter()
    loop = 0.0
    for value in moves.end_mm[:, 0].tolist():
        loop = min(value, loop + 1.0)
    bare = time.perf_counter() - begin
    begin = time.perf_counter()
    total = clock.run(moves, machine).total_s
    took = time.perf_counter() - begin
    print(
        f"clock: {n} moves in {took:.2f} s ({total:.0f} s of machine time), {took / bare:.1f} x a bare loop"
    )


if __name__ == "__main__":
    main()
