"""How fast a 100 mm square hemp leaf tile is carved, in seconds and against a plain pass over as many
pixels.
"""

import math
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from made_moves import moves_of
from vcarve.dryrun.carve import carve
from vcarve.job.bench import Bit


def hemp_leaf(half=50.0):
    """Every line of one square hemp leaf tile with its border, as (E, 2, 2) end points."""
    lines = []
    near, far = half * (1 - math.sqrt(0.5)), half * math.sqrt(0.5)
    for quarter in range(4):
        c, s = round(math.cos(quarter * math.pi / 2)), round(math.sin(quarter * math.pi / 2))

        def turn(x, y, c=c, s=s):
            return (c * x - s * y, s * x + c * y)

        o, m, n, k = turn(0, 0), turn(half, 0), turn(0, half), turn(half, half)
        i, j = turn(far, near), turn(near, far)
        lines += [(o, m), (o, k), (m, k), (k, n), *((i, p) for p in (o, m, k)), *((j, p) for p in (o, n, k))]
    return np.array(lines, dtype=float)


def cutting(lines, depth):
    """Level moves along lines, each cut once."""
    n = len(lines)
    z = np.full((n, 1), -depth)
    return moves_of(np.hstack([lines[:, 0], z]), np.hstack([lines[:, 1], z]), feed_mm_min=600.0)


def main() -> None:
    bit = Bit.model_validate({"angle": 90.0, "diameter": 6.35, "shank": 3.175})
    lines = hemp_leaf()
    moves = cutting(lines, 2.0)
    begin = time.perf_counter()
    surface = carve(moves, bit, width_mm=100.0, height_mm=100.0)
    took = time.perf_counter() - begin
    heights = surface.height_mm.copy()
    begin = time.perf_counter()
    np.minimum(np.sqrt(heights * heights), heights)
    bare = time.perf_counter() - begin
    print(
        f"carve: {moves.length_mm.sum():.1f} mm of groove, {heights.size} pixels in {took:.2f} s, "
        f"{took / bare:.1f} x one pass over the pixels; removed {surface.removed_mm3:.1f} mm³"
    )
    rng = np.random.default_rng(5)
    n = 200_000
    start = rng.uniform(-500, 500, (n, 2))
    short = np.stack([start, start + rng.normal(0, 1, (n, 2))], axis=1)
    begin = time.perf_counter()
    carve(cutting(short, 1.0), bit, width_mm=1000.0, height_mm=1000.0, step_mm=0.2)
    print(f"carve: {n} short moves on 1000 x 1000 mm at 0.2 mm in {time.perf_counter() - begin:.2f} s")


if __name__ == "__main__":
    main()
