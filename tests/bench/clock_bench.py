"""How fast the clock times a long program, in moves per second and against a bare Python loop over the
moves.
"""

import time

import numpy as np

from vcarve.dryrun import clock
from vcarve.job.bench import Machine
from vcarve.program.moves import Motion, Moves, Plane


def main(n: int = 1_000_000) -> None:
    rng = np.random.default_rng(1)
    points = np.cumsum(rng.normal(0, 1, (n + 1, 3)), axis=0)
    moves = Moves(
        motion=np.full(n, Motion.FEED, dtype=np.int8),
        line=np.arange(1, n + 1, dtype=np.int32),
        start_mm=points[:-1].copy(),
        end_mm=points[1:].copy(),
        centre_mm=np.full((n, 3), np.nan),
        sweep_rad=np.zeros(n),
        plane=np.full(n, Plane.XY, dtype=np.int8),
        feed_mm_min=np.full(n, 600.0),
        rpm=np.full(n, 10000.0),
        machine=np.zeros(n, dtype=bool),
        unknown=np.zeros(n + 1, dtype=np.int8),
        events=(),
        lines=n,
    )
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
