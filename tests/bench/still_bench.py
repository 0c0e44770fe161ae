"""How long a browser takes to show the finished piece, and Python to tell it what to show: samples, 2,000 and 20,000 edges.

    python tests/bench/still_bench.py

Prints milliseconds, the least of seven and their median, on a stage of 1000 by 760 pixels without a graphics card: Python's
share; what the browser takes to read the answer, to paint the still anew at full size as "wood" and as "lines", and to start a
player with it.  Pixels are read back every time, so that nothing is put off.
"""

from __future__ import annotations

import json
import time
from pathlib import Path
from statistics import median
from typing import Any

from playwright.sync_api import sync_playwright

from vcarve.job.records import Job, load_job
from vcarve.layout.stages import lay_out
from vcarve.view.look import palette_css
from vcarve.view.page import part, player_js, stage_payload

ROOT = Path(__file__).resolve().parents[2]
MANY = 7
PAGE = """<!doctype html><style>{style} .stage {{ width: 1060px; height: 840px }}</style>
<section class="stage" id="stage"><svg id="under"></svg><canvas id="view"></canvas><svg id="over"></svg></section>"""
MEASURE = """([text, many]) => {
  const view = document.getElementById('view'), spent = {};
  const took = (name, act) => {
    const all = [];
    for (let k = 0; k < many; k++) {
      const begin = performance.now();
      act();
      view.getContext('2d').getImageData(0, 0, 1, 1);
      all.push(performance.now() - begin);
    }
    all.sort((a, b) => a - b);
    spent[name] = [all[0], all[many >> 1]];
  };
  took('read', () => JSON.parse(text));
  const data = JSON.parse(text);
  for (const how of ['wood', 'lines']) {
    let player;
    took(`start ${how}`, () => { if (player) player.stop(); player = show(JSON.parse(text), { how }); });
    player.stop();
    player = show(data, { how });
    took(how, () => player.arrange());
    player.stop();
  }
  return spent;
}"""


def tile(size_mm: float, pitch_mm: float) -> Job:
    """Return a square of hemp leaf."""
    return load_job(
        {
            "piece": {"width": size_mm, "height": size_mm, "thickness": 12, "wood": "cherry-black"},
            "pattern": {"name": "asanoha", "pitch": pitch_mm},
            "groove": {"depth": 0.4},
            "bit": "v60-3.175",
            "machine": "small-desktop",
        }
    )


def main() -> None:
    """Measure and print."""
    jobs = [load_job(str(path)) for path in sorted((ROOT / "samples").glob("*.yaml"))]
    jobs += [tile(186, 14), tile(350, 8)]
    columns = ("read", "wood", "lines", "start wood", "start lines")
    print(f"{'job':28}{'edges':>7}{'kB':>6}{'Python':>14}" + "".join(f"{name:>16}" for name in columns))
    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        for job in jobs:
            layout, told, spent = lay_out(job), dict[str, Any](), []
            for _ in range(MANY):
                begin = time.process_time()
                told = stage_payload(layout)
                spent.append(1000.0 * (time.process_time() - begin))
            text = json.dumps(told)
            page = browser.new_page(viewport={"width": 1440, "height": 900})
            page.set_content(PAGE.format(style=palette_css() + part("page.css")))
            page.add_script_tag(content=player_js())
            shown = page.evaluate(MEASURE, [text, MANY])
            row = f"{job.name[:27]:28}{layout.network.edges:7}{len(text) // 1000:6}"
            figures = [(min(spent), median(spent)), *(shown[name] for name in columns)]
            print(
                row
                + "".join(
                    f"{least:{8 + 2 * (k > 0)}.1f}{middle:6.1f}" for k, (least, middle) in enumerate(figures)
                )
            )
            page.close()
        browser.close()


if __name__ == "__main__":
    main()
