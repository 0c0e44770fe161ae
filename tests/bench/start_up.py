"""How long ``mizo width`` takes to answer against starting Python with numpy and click, by turns in one run.

The answer should come within four times the other's time.

Usage: start_up.py [TIMES]
"""

from __future__ import annotations

import subprocess
import sys
import time

ANSWER = "from vcarve.cli.main import main; main()"
COMMANDS = {
    "mizo width": [sys.executable, "-c", ANSWER, "width", "--angle", "90", "--depth", "2"],
    "import numpy, click": [sys.executable, "-c", "import numpy, click"],
    "nothing at all": [sys.executable, "-c", "pass"],
}


def main() -> None:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    best = dict.fromkeys(COMMANDS, float("inf"))
    for _ in range(times):
        for name, command in COMMANDS.items():
            begun = time.perf_counter()
            subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
            best[name] = min(best[name], time.perf_counter() - begun)
    for name, seconds in best.items():
        print(f"{name:<20} {seconds * 1000:6.0f} ms, best of {times}")
    print(f"ratio {best['mizo width'] / best['import numpy, click']:.2f} (wanted: at most 4)")


if __name__ == "__main__":
    main()
