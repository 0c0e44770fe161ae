"""How the time for the grooves' outline and for a drawing of all lines grows: ratios between neighbouring sizes."""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from land_rings import footprint
from small_network import FEATURES, build
from vcarve.groove.land import measure
from vcarve.groove.width import VBit
from vcarve.pattern.model import pattern
from vcarve.plane.region import rectangle
from vcarve.view.lines import drawn_page, dxf_text, svg_text

SIDES_MM = (430.0, 860.0, 1720.0)
BIT = VBit(angle_deg=60.0)


def main() -> None:
    """Print one line per pattern, turn and size; both should grow no faster than the edges."""
    for name in ("kaku-asanoha", "asanoha", "shippo"):
        for turn, leaf in ((0.0, 0.8), (7.0, 0.5)):
            before: tuple[float, ...] | None = None
            for side in SIDES_MM:
                network = build(pattern(name), region=rectangle(side, side), pitch_mm=20.0, rotate_deg=turn)
                grooves = measure(network, BIT, {0: 0.8, 1: leaf, 2: 0.8, 3: 0.8})
                took: list[float] = [float(network.edges)]
                for work in (
                    footprint,
                    lambda network, grooves, size=(side, side): svg_text(
                        drawn_page(network, grooves, FEATURES, size)
                    ),
                    lambda network, grooves, size=(side, side): dxf_text(
                        drawn_page(network, grooves, FEATURES, size)
                    ),
                ):
                    start = time.perf_counter()
                    work(network, grooves)
                    took.append(time.perf_counter() - start)
                words = f"outline {took[1]:.2f} s, SVG {took[2]:.2f} s, DXF {took[3]:.2f} s"
                if before is not None:
                    edges, *rest = (now / then for now, then in zip(took, before, strict=True))
                    words += f"  edges x{edges:.2f}, times " + ", ".join(f"x{ratio:.2f}" for ratio in rest)
                print(f"{name:14} turned {turn:g}: {network.edges:7} edges {words}", flush=True)
                before = tuple(took)


if __name__ == "__main__":
    main()
