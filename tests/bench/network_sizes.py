"""How long networks of growing size take, and how much memory: seconds, peak, and the ratio per edge from size to size.

Run with ``python tests/bench/network_sizes.py [pattern ...]``; each size runs in a process of its own, so that the peak is too.
"""

from __future__ import annotations

import math
import resource
import subprocess
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

SIZES = (10_000, 100_000, 1_000_000)
KEYS = ("kaku-asanoha", "seigaiha", "masu-tsunagi", "komochi-kikko", "yotsu-waribishi", "sayagata")


def measure(key: str, edges: int) -> tuple[int, float, float]:
    """Return edges, seconds and peak memory in MB of one network of about this many edges."""
    from small_network import build
    from vcarve.pattern.model import pattern
    from vcarve.plane.region import rectangle

    made = pattern(key)
    pitch = 3.0
    side = pitch * math.sqrt(edges * made.cell.area / len(made.unit_network.tail))
    began = time.perf_counter()
    network = build(made, region=rectangle(side, side), pitch_mm=pitch, shift_mm=(0.37, 0.21))
    seconds = time.perf_counter() - began
    return len(network.tail), seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def main(keys: tuple[str, ...]) -> None:
    """Print a line for each pattern and size."""
    print(f"{'pattern':18} {'edges':>9} {'s':>7} {'MB':>6} {'µs/edge':>8} {'ratio':>6}")
    for key in keys:
        before = None
        for size in SIZES:
            run = [sys.executable, __file__, "--one", key, str(size)]
            edges, seconds, peak = subprocess.run(
                run, capture_output=True, text=True, check=True
            ).stdout.split()
            each = float(seconds) / int(edges) * 1e6
            ratio = "" if before is None else f"{each / before:6.2f}"
            print(
                f"{key:18} {edges:>9} {float(seconds):7.2f} {float(peak):6.0f} {each:8.2f} {ratio:>6}",
                flush=True,
            )
            before = each


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        print(*measure(sys.argv[2], int(sys.argv[3])))
    else:
        main(tuple(sys.argv[1:]) or KEYS)
