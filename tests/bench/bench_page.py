"""How soon the bench page answers: from a key press to the redrawn piece with its width and land, and to the plan.

Run by hand: ``python tests/bench/bench_page.py [JOB.yaml ...]``.  Without jobs the five samples and ten other patterns, each on
the starter tile.  For each job the depth is stepped up and down, then the pitch, in a real browser that is warm; the figures are
milliseconds in the page from the key press to the frame that shows the answer (median and worst), with the server's own share,
and seconds from the last key press to the plan.
"""

from __future__ import annotations

import re
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

from vcarve.job.records import load_job
from vcarve.job.starters import starter_text
from vcarve.layout.stages import lay_out

SAMPLES = sorted((Path(__file__).parents[2] / "samples").glob("*.yaml"))
PATTERNS = (
    "asanoha", "kaku-asanoha", "sayagata", "shippo", "seigaiha", "izutsu-tsunagi", "kikko", "mitsukude", "bishamon-kikko",
    "amime",
)  # fmt: skip
PRESSES = 6
WATCH = """() => {
  window.told = [];
  let pressed = 0, ready = 0;
  addEventListener("keydown", () => { pressed = performance.now(); }, true);
  const root = document.documentElement;
  new MutationObserver(() => {
    if (root.dataset.look === "shown" && pressed) {
      const from = pressed;
      pressed = 0;
      requestAnimationFrame(() => setTimeout(() => {
        const asked = performance.getEntriesByType("resource").filter((one) => one.name.endsWith("/look")).pop();
        window.told.push([performance.now() - from, asked.responseEnd - asked.startTime]);
        ready = performance.now();
      }));
    }
    if (root.dataset.plan === "done" && ready) window.planned = performance.now() - ready;
  }).observe(root, { attributes: true });
}"""


def main() -> None:
    """Print a row for each job."""
    jobs = [Path(name) for name in sys.argv[1:]]
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        if not jobs:
            jobs = [*SAMPLES]
            for pattern in PATTERNS:
                path = Path(folder, f"{pattern}.yaml")
                path.write_text(starter_text().replace("name: asanoha", f"name: {pattern}"), encoding="utf-8")
                jobs.append(path)
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium")
        print(
            f"{'job':22}{'edges':>7}{'depth ms':>10}{'worst':>7}{'pitch ms':>10}{'worst':>7}{'server':>8}{'plan s':>8}"
        )
        everything: list[float] = []
        for job in jobs:
            row = _measured(browser, job)
            everything += row["depth"] + row["pitch"]
            print(
                f"{job.stem:22}{row['edges']:>7}{statistics.median(row['depth']):>10.0f}{max(row['depth']):>7.0f}"
                f"{statistics.median(row['pitch'] or [0]):>10.0f}{max(row['pitch'] or [0]):>7.0f}"
                f"{statistics.median(row['server']):>8.0f}{row['plan']:>8.2f}",
                flush=True,
            )
        print(
            f"all: median {statistics.median(everything):.0f} ms, worst {max(everything):.0f} ms of {len(everything)}"
        )


def _measured(browser: Any, job: Path) -> dict[str, Any]:
    command = [sys.executable, "-m", "vcarve", "bench", str(job), "--no-open"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as server:
        assert server.stdout is not None
        address = None
        while address is None:
            address = re.search(r"http://\S+", server.stdout.readline())
        context = browser.new_context(viewport={"width": 1440, "height": 900})
        page = context.new_page()
        page.goto(address[0])
        page.wait_for_selector('html[data-plan="done"]', timeout=120_000)
        page.evaluate(WATCH)
        told: dict[str, Any] = {"server": []}
        for what, path in (("depth", "groove.depth"), ("depth", "groove.leaf"), ("pitch", "pattern.pitch")):
            field, times = page.locator(f'[data-path="{path}"] input').first, told.get(what, [])
            if field.count() and field.input_value():
                field.focus()
                for press in range(2 * PRESSES):
                    before = page.evaluate("window.told.length")
                    page.keyboard.press("ArrowUp" if press < PRESSES else "ArrowDown")
                    while page.evaluate("window.told.length") == before:
                        page.wait_for_timeout(20)
                    if press:  # the first warms what a change of this key needs
                        took, asked = page.evaluate("window.told.at(-1)")
                        times.append(took)
                        told["server"].append(asked)
            told[what] = times
        page.wait_for_selector('html[data-plan="done"]', timeout=300_000)
        told["plan"] = page.evaluate("window.planned") / 1000.0
        told["edges"] = lay_out(load_job(job)).network.edges
        context.close()
        server.terminate()
    return told


if __name__ == "__main__":
    main()
