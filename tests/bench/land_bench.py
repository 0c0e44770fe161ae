"""How the time for land grows with the piece: ratios of time and of edges between neighbouring sizes, in one run."""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from small_network import build
from vcarve.groove.land import measure
from vcarve.groove.width import VBit
from vcarve.pattern.model import pattern
from vcarve.plane.region import rectangle

SIDES_MM = (550.0, 1100.0, 2200.0)
BIT = VBit(angle_deg=60.0)


def main() -> None:
    """Print one line per pattern, turn and size; land should grow with the border (ratio 2), not the area (ratio 4)."""
    for name in ("kaku-asanoha", "asanoha", "shippo"):
        for turn, leaf in ((0.0, 0.8), (7.0, 0.5)):
            before: tuple[int, float] | None = None
            for side in SIDES_MM:
                region = rectangle(side, side)
                network = build(pattern(name), region=region, pitch_mm=20.0, rotate_deg=turn)
                start = time.perf_counter()
                measure(network, BIT, {0: 0.8, 1: leaf, 2: 0.8, 3: 0.8})
                took = time.perf_counter() - start
                ratios = (
                    ""
                    if before is None
                    else f"edges x{network.edges / before[0]:.2f}, time x{took / before[1]:.2f}"
                )
                print(
                    f"{name:14} turned {turn:g}: {network.edges:7} edges {took:6.2f} s  {ratios}", flush=True
                )
                before = (network.edges, took)


if __name__ == "__main__":
    main()
