"""How long a million ordinary lines take to read, and how much memory, against splitting the same text and parsing its numbers.

Usage: reader_speed.py [LINES]
"""

from __future__ import annotations

import random
import re
import resource
import sys
import time
from collections.abc import Callable

from vcarve.program.reader import read_program


def straight(count: int) -> str:
    rng = random.Random(1)
    lines = ["G21 G90 G94", "F600", "G0 X0 Y0 Z5"]
    for index in range(count):
        x, y = rng.uniform(0, 100), rng.uniform(0, 100)
        form = index % 5
        lines.append(f"G1 X{x:.3f} Y{y:.3f}" if form < 3 else (f"X{x:.3f}" if form == 3 else f"G0 Z{y:.3f}"))
    return "\n".join([*lines, "M2\n"])


def arcs(count: int) -> str:
    lines = ["G21 G90 G94", "F600", "G0 X0 Y0 Z5"]
    for index in range(count):
        start, end = (0, 10) if index % 2 == 0 else (10, 0)
        lines.append(f"G{2 + index % 2} X{end:.3f} Y0.000 I{(end - start) / 2:.4f} J0.0000")
    return "\n".join([*lines, "M2\n"])


def changing(count: int) -> str:
    """Every other line takes the long way."""
    lines = ["G21 G90 G94", "F600", "G0 X0 Y0 Z5"]
    lines += [f"G1 X{index % 97:.3f}" if index % 2 else f"S{index % 9000} (speed)" for index in range(count)]
    return "\n".join([*lines, "M2\n"])


def numbers_only(text: str) -> int:
    number = re.compile(r"[+-]?[0-9.]+")
    return sum(len([float(found) for found in number.findall(line)]) for line in text.split("\n"))


def seconds(work: Callable[[], object]) -> float:
    began = time.process_time()
    work()
    return time.process_time() - began


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    print(f"{'program':10} {'lines':>9} {'read s':>8} {'floor s':>8} {'ratio':>6} {'peak MB':>8}")
    for make in (straight, arcs, changing):
        text = make(count)
        floor = seconds(lambda text=text: numbers_only(text))  # type: ignore[misc]
        spent = seconds(lambda text=text: read_program(text, strict=False))  # type: ignore[misc]
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"{make.__name__:10} {count:9} {spent:8.2f} {floor:8.2f} {spent / floor:6.2f} {peak:8.0f}")


if __name__ == "__main__":
    main()
