"""A panel on the bench page, in a real browser: woods laid by pressing tiles, tiles added, everything taken away."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import pytest

from on_the_page import SIZES, Opener, answer, download, field, mizo, planned
from panel_files import CHECKER

QUICK = CHECKER.replace("name: kaku-asanoha, across: 2", "name: hishi, pitch: 40").replace(
    "depth: 2", "depth: 1"
)


def woods(page: Any) -> list[str]:
    """Return what each tile is called."""
    return [str(tile.get_attribute("aria-label")) for tile in page.locator(".tile").all()]


def test_a_panel_from_woods_to_its_folder(visit: Opener, tmp_path: Path) -> None:
    """A tile is pressed, a column added, and the folder taken away is what the command makes of the file taken away."""
    page = visit(QUICK)
    assert len(woods(page)) == 9
    assert answer(page, "Panel") == "346 × 346 mm"

    page.click("[data-tile='woods.1.1']")  # the next wood in use
    planned(page)
    assert "column 2: Black walnut" in woods(page)[4]
    page.select_option("#key-woods", "cherry-black")
    page.locator("[data-tile='woods.0.0']").focus()
    page.keyboard.press("Enter")
    planned(page)
    assert "Black cherry" in woods(page)[0]
    assert page.evaluate("() => document.activeElement.getAttribute('data-tile')") == "woods.0.0"
    field(page, "panel.columns").fill("4")
    planned(page)
    assert len(woods(page)) == 12
    assert answer(page, "Panel") == "447.5 × 346 mm"

    name, data = download(page, "#take-program")
    job_name, job = download(page, "#take-job")
    (tmp_path / "taken").mkdir()
    (tmp_path / "taken" / job_name).write_bytes(job)
    made = mizo(tmp_path / "taken", "panel", job_name, "-o", "out")
    assert made.returncode == 0, made.stderr
    with zipfile.ZipFile(io.BytesIO(data)) as pack:
        assert {one: pack.read(one) for one in pack.namelist()} == {
            path.name: path.read_bytes() for path in (tmp_path / "taken" / "out").iterdir()
        }
    assert name.endswith(".zip")

    for _ in range(3):
        page.click("#undo")
        planned(page)
    assert woods(page)[0].endswith("Hard maple (sugar maple), A")
    assert len(woods(page)) == 9


def test_wrong_numbers_of_a_panel_are_told_in_place(visit: Opener) -> None:
    """A rebate wider than its bar is answered beside it, the panel stays in sight; put right, all goes on."""
    page = visit(QUICK)
    field(page, "panel.frame.rebate").fill("30 mm")
    page.locator(
        "[data-path='panel.frame.rebate'] .wrong", has_text="less than the bar's width, 25 mm"
    ).wait_for()
    assert len(woods(page)) == 9
    field(page, "panel.frame.rebate").fill("6 mm")
    planned(page)
    assert answer(page, "Panel") == "344 × 344 mm"


def test_a_panel_and_a_job_by_turns(visit: Opener) -> None:
    """Another text, of the other kind, brings its own fields and its own picture, and back again."""
    page = visit(QUICK)
    page.click("#words")
    panel = page.input_value("#ask-text")
    tile = "piece: {width: 40, height: 40, thickness: 9, wood: beech}\npattern: {name: asanoha, pitch: 20}\n"
    page.fill("#ask-text", tile + "groove: {depth: 0.8}\nbit: v60-3.175\nmachine: small-desktop\n")
    page.click("text=Take this text")
    planned(page)
    assert field(page, "piece.width").input_value() == "40"
    assert page.locator("#view").is_visible()
    assert not page.locator("#panel").is_visible()
    page.click("#words")
    page.fill("#ask-text", panel)
    page.click("text=Take this text")
    planned(page)
    assert field(page, "panel.gap").input_value() == "1.5 mm"
    assert not page.locator("#view").is_visible()
    assert len(woods(page)) == 9


def test_no_title_or_wood_becomes_script(visit: Opener) -> None:
    """Texts that a person wrote are shown as they are."""
    evil = "<img src=x onerror=alert(1)></title><script>alert(1)</script>"
    own = f'{{title: "{evil}", chip-low: 0.02, chip-high: 0.06, plunge-share: 0.3, step: 2}}'
    text = QUICK.replace("title: Checker of hemp leaves", f'title: "{evil}"').replace(
        "[maple-sugar, walnut-black, maple-sugar]", f"[{own}, beech, beech]", 1
    )
    page = visit(text)
    alerts: list[str] = []
    page.on("dialog", lambda dialog: alerts.append(dialog.message))

    assert evil in woods(page)[0]
    assert page.locator("#panel img, #panel script").count() == 0
    assert alerts == []


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_of_a_panel_hinders_anybody(visit: Opener, size: str, scheme: str, artefacts: Path) -> None:
    """In both looks and at three sizes axe finds nothing."""
    from axe_playwright_python.sync_playwright import Axe

    page = visit(QUICK, size=size, scheme=scheme)
    for more in page.locator("details.more > summary:visible").all():
        more.click()
    page.screenshot(path=artefacts / f"bench-panel-{size}-{scheme}.png")
    found = [
        (one["id"], [node["target"] for node in one["nodes"]])
        for one in Axe().run(page).response["violations"]
    ]
    assert found == []
    assert page.evaluate("() => document.documentElement.scrollWidth") <= SIZES[size][0]
