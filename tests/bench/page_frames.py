"""How much of a 16 ms frame the page's own work takes, at some 100,000 moves: playing fast, and jumping about.

    python tests/bench/page_frames.py [MOVES]

Prints shares of a frame (1.00 is a full one): median, 95 % and worst.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np
from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))


from small_job import job_from
from vcarve.proofing import check_program
from vcarve.run import DryRun
from vcarve.view.page import page_html

FRAME_MS = 16.0
MEASURE = """async (jump) => {
  const spent = [], next = window.requestAnimationFrame.bind(window);
  window.requestAnimationFrame = f => next(t => { const a = performance.now(); f(t); spent.push(performance.now() - a); });
  const scrub = document.getElementById('scrub');
  const wait = ms => new Promise(done => setTimeout(done, ms));
  if (jump) {
    for (const v of [0, 1, .5, .9, .2, .21, .205, .8, .1, 0]) {
      scrub.value = v; scrub.dispatchEvent(new Event('input')); await wait(400);
    }
  } else {
    for (let k = 0; k < 12; k++) document.getElementById('faster').click();
    document.getElementById('play').click();
    while (document.documentElement.dataset.state === 'playing') await wait(50);
  }
  window.requestAnimationFrame = next;
  return spent;
}"""


JOB = """
piece: {width: 200, height: 200, thickness: 12, wood: maple-sugar}
pattern: {name: higaki, pitch: 20}
groove: {depth: 0.5}
bit: v90-6.35
machine: rs274-mill
title: Frames
"""


def zigzags(count: int) -> DryRun:
    """Return the run of zigzags of short moves in 300 passes over a 200 mm piece."""
    lines = ["G17 G21 G40 G49 G80 G90 G94", "M3 S10000", "G0 Z5"]
    per_pass = count // 300
    for k in range(300):
        y = 2.0 + 196.0 * k / 300
        lines += [f"G0 X2 Y{y:.3f}", "G1 Z-0.5 F200"]
        for i in range(1, per_pass + 1):
            lines.append(f"G1 X{2 + 196 * i / per_pass:.3f} Y{y + 3 * (i % 2):.3f} F600")
        lines.append("G0 Z1")
    lines += ["M5", "M2"]
    return check_program("\n".join(lines), job_from(JOB))


def main() -> None:
    """Measure and print."""
    shown = zigzags(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        path = Path(folder) / "page.html"
        text = page_html(shown)
        path.write_text(text, encoding="utf-8")
        print(f"{len(shown.reading.moves)} moves, {len(text) / 1e6:.1f} MB")
        browser = driver.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        page.goto(path.as_uri())
        page.wait_for_selector("html[data-ready]")
        page.wait_for_timeout(3000)
        for name, jump in (("playing", False), ("jumping", True)):
            spent = np.sort(page.evaluate(MEASURE, jump)) / FRAME_MS
            middle, most, worst = np.quantile(spent, [0.5, 0.95, 1.0])
            print(
                f"{name}: {middle:.2f} median, {most:.2f} at 95 %, {worst:.2f} worst, of {len(spent)} frames"
            )
        browser.close()


if __name__ == "__main__":
    main()
