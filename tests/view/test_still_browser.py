"""The finished piece as the browser paints it, and the player as a function that another page calls again and again."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from small_job import with_job
from vcarve.job.sections import Clamp
from vcarve.run import Made
from vcarve.view.look import LIT, indigo, palette_css, rgb
from vcarve.view.page import embed, filled, player_js, program_payload, stage_payload
from vcarve.view.sheet import slots

CALLS = """
const data = JSON.parse(document.getElementById("data").textContent), told = [];
const tell = (name) => (...those) => told.push([name, ...those]);
const hooks = {
  onHow: tell("how"), onFinding: tell("finding"), onClampMoved: tell("clamp"), onZeroMoved: tell("zero"), onWord: tell("word"),
  onSight: tell("sight"),
};
const start = (options) => {
  window.player = show(data, { ...hooks, ...options });
  const view = document.getElementById("view"), quick = document.createElement("canvas"); // what is seen at once
  Object.assign(quick, { id: "quick", hidden: true, width: view.width, height: view.height });
  quick.getContext("2d").drawImage(view, 0, 0);
  document.body.append(quick);
};
Object.assign(window, { told, paintStill, start });
"""
Opener = Callable[..., Any]


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Iterator[Opener]:
    """Open a page that has the stage of a run and starts players when asked; nothing may be complained about."""
    contexts, said = [], []

    def open_page(run: Made, *, program: bool = True, **options: Any) -> Any:
        told = stage_payload(run.layout, run.findings) | (program_payload(run) if program else {})
        filling = {**slots(run), "unit": "mm", "data": embed(told)}
        path = tmp_path / "page.html"
        path.write_text(filled("page", player_js() + CALLS, filling, palette_css()), encoding="utf-8")
        context = browser.new_context(viewport={"width": 1440, "height": 900}, reduced_motion="reduce")
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.goto(path.as_uri())
        page.evaluate("(options) => start(options)", options)
        page.wait_for_selector("html[data-ready]")
        return page

    yield open_page
    for context in contexts:
        context.close()

    assert said == []


def pixels(page: Any, canvas: str = "view") -> np.ndarray[Any, Any]:
    """Return a canvas as rows of pixels (n, m, 4)."""
    wide, tall, data = page.evaluate(
        """(id) => {
            const view = document.getElementById(id), copy = document.createElement('canvas');
            copy.width = view.width; copy.height = view.height;
            const pen = copy.getContext('2d', { willReadFrequently: true });
            pen.drawImage(view, 0, 0);
            return [copy.width, copy.height, [...pen.getImageData(0, 0, copy.width, copy.height).data]];
        }""",
        canvas,
    )
    return np.array(data).reshape(tall, wide, 4).astype(int)


def heard(page: Any, name: str) -> list[Any]:
    """Return what hooks of this name were called with."""
    return [those for what, *those in page.evaluate("() => told") if what == name]


def test_the_finished_wood_is_that_of_the_program_at_its_end(opened: Opener, tile: Made) -> None:
    """Painted from the job alone, the piece looks as it does when the program has ended; a moment later it is carved alike."""
    page = opened(tile, how="wood")
    quick = pixels(page, "quick")
    page.wait_for_selector("#view[data-still=exact]")
    exact = pixels(page)
    page.uncheck("#air")
    page.keyboard.press("End")
    page.wait_for_selector("#view[data-settled=yes]")
    page.wait_for_timeout(100)
    carved = pixels(page)

    assert heard(page, "how") == [["run"]]
    # The program cuts a circle that the job does not ask for, and the grain of the wood is drawn finer.
    for still, share, most in ((quick, 0.05, 3), (exact, 0.03, 2)):
        assert still.shape == carved.shape
        apart = np.abs(still - carved)[..., :3].max(axis=2)
        assert np.median(apart) <= most
        assert np.mean(apart > 40) < share


def test_lines_are_indigo_of_their_true_width_on_pale_wood(opened: Opener, tile: Made) -> None:
    """Across an upright ground line as many pixels are of the deepest indigo as its 1.024 mm take, and beside it none is."""
    page = opened(tile, program=False, how="lines")
    picture = pixels(page)
    scale = float(page.evaluate("() => document.getElementById('view').clientWidth")) / 100.0
    row = picture[round(0.31 * len(picture))]  # away from where lines cross
    middle = picture.shape[1] // 2
    near = row[middle - 20 : middle + 21, :3]
    deep = np.abs(near - rgb(indigo(1.0))).max(axis=1) < 12

    assert deep.sum() == pytest.approx(1.024 * scale, abs=1.5)
    assert deep[20]
    assert near[0].min() > 150 > 100 > near[20].max()


def test_a_player_that_is_stopped_hears_nothing_and_the_next_keeps_its_zoom(
    opened: Opener, tile: Made
) -> None:
    """After stop() no key changes the stage; a new player with the zoom of the old shows as large a part of the same place."""
    page = opened(tile, program=False, how="lines")
    for _ in range(3):
        page.keyboard.press("+")
    page.wait_for_timeout(300)
    zoomed, before = page.get_attribute("#stage", "data-zoom"), pixels(page)
    page.evaluate("() => player.stop()")
    page.keyboard.press("+")
    page.mouse.wheel(0, -400)

    assert zoomed == "3.38"
    assert page.get_attribute("#stage", "data-zoom") == zoomed
    page.evaluate("() => start({ how: 'lines', before: player })")
    assert page.get_attribute("#stage", "data-zoom") == zoomed
    assert np.array_equal(pixels(page), before)
    page.keyboard.press("0")
    assert page.get_attribute("#stage", "data-zoom") == "1.00"


def test_one_of_many_players_plays(opened: Opener, tile: Made) -> None:
    """However often players were started and ended, a step is one step."""
    page = opened(tile)
    page.keyboard.press("ArrowRight")
    page.wait_for_timeout(100)
    once = float(page.get_attribute("#read-elapsed", "data-value"))
    page.evaluate("() => { for (let k = 0; k < 5; k++) { player.stop(); start({}); } }")
    page.keyboard.press("ArrowRight")
    page.wait_for_timeout(100)

    assert float(page.get_attribute("#read-elapsed", "data-value")) == once > 0.0


def test_playing_shows_the_run_and_lines_end_it(opened: Opener, tile: Made) -> None:
    """Play turns lines into the piece as it is cut and tells the page; asked for lines again, it halts."""
    page = opened(tile, how="lines")
    lines = pixels(page)
    page.click("#play")
    page.wait_for_timeout(300)

    assert page.get_attribute("html", "data-state") == "playing"
    assert heard(page, "how") == [["run"]]
    page.evaluate("() => player.how('lines')")
    page.wait_for_timeout(100)
    assert page.get_attribute("html", "data-state") == "paused"
    assert np.array_equal(pixels(page), lines)


def test_a_clamp_is_moved_by_dragging(opened: Opener, tile: Made) -> None:
    """Let go, the page is told where the clamp's corner lies from the piece's front left corner; given up, it lies as before."""
    clamp = Clamp(x_mm=20.0, y_mm=30.0, width_mm=20.0, height_mm=10.0, above_mm=8.0)
    page = opened(with_job(tile, clamps=(clamp,)), program=False, how="lines")
    box = page.locator("[data-clamp]").bounding_box()
    scale = box["width"] / 20.0
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 15.0 * scale, y - 7.0 * scale, steps=4)

    assert heard(page, "word")[-1] == ["Clamp 1 at X 35, Y 37 mm"]
    assert heard(page, "clamp") == []
    page.mouse.up()
    assert heard(page, "clamp") == [[0, pytest.approx(35.0), pytest.approx(37.0)]]
    page.mouse.down()
    page.mouse.move(x, y)
    page.keyboard.press("Escape")
    page.mouse.up()
    assert len(heard(page, "clamp")) == 1
    assert page.locator("[data-clamp]").bounding_box()["x"] == pytest.approx(box["x"] + 15.0 * scale, abs=1.5)


def test_a_player_goes_on_with_what_is_dragged(opened: Opener, tile: Made) -> None:
    """A clamp that is held when the page starts another player follows the mouse there, and is told once."""
    clamp = Clamp(x_mm=20.0, y_mm=30.0, width_mm=20.0, height_mm=10.0, above_mm=8.0)
    page = opened(with_job(tile, clamps=(clamp,)), program=False, how="lines")
    box = page.locator("[data-clamp]").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + box["width"] / 2, y)
    page.evaluate("() => start({ how: 'lines', before: player })")
    page.mouse.move(x + box["width"], y)
    page.mouse.up()

    assert heard(page, "clamp") == [[0, pytest.approx(40.0), pytest.approx(30.0)]]


def test_the_zero_is_moved_to_another_corner_or_the_centre(opened: Opener, tile: Made) -> None:
    """Dragged, it goes to the nearest place where a job can have it; dragged back to where it was, nothing is told."""
    page = opened(tile, program=False, how="lines")
    box = page.locator("#view").bounding_box()
    mark = page.locator(".grasp").bounding_box()
    start = mark["x"] + mark["width"] / 2, mark["y"] + mark["height"] / 2
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] - 30, box["y"] + 40, steps=3)
    page.mouse.move(*start)
    page.mouse.up()
    assert heard(page, "zero") == []

    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] - 30, box["y"] + 40, steps=3)
    page.mouse.up()

    assert heard(page, "word")[-1] == ["Zero at the back right corner"]
    assert heard(page, "zero") == [["back-right"]]


def test_a_place_of_a_finding_is_chosen_where_it_is(opened: Opener, tile: Made) -> None:
    """A click on a finding's mark chooses it, and the page is told which."""
    page = opened(tile, program=False, how="wood")
    box = page.locator(".spot .dot").first.bounding_box()
    page.mouse.click(box["x"] + 9, box["y"] + 9)

    chosen = page.locator("g.spot[data-chosen]")
    assert heard(page, "finding")[-1] == [
        int(chosen.get_attribute("data-spot")),
        int(chosen.get_attribute("data-nth")),
    ]


def test_keys_that_are_typed_into_a_field_are_left_to_it(opened: Opener, tile: Made) -> None:
    """In a field + and 0 are signs, and the picture keeps its size."""
    page = opened(tile, program=False, how="wood")
    page.evaluate("() => document.body.prepend(document.createElement('input'))")
    page.focus("input")
    page.keyboard.type("+0 ")

    assert page.input_value("input") == "+0 "
    assert page.get_attribute("#stage", "data-zoom") == "1.00"


def test_a_second_still_holds_the_whole_piece(opened: Opener, tile: Made) -> None:
    """A smaller canvas has the piece in its middle, as large as it fits, and nothing round it."""
    page = opened(tile, program=False, how="wood")
    page.evaluate(
        """() => {
            const small = document.body.appendChild(document.createElement('canvas'));
            small.id = 'small';
            small.style.width = '300px';
            small.style.height = '200px';
            paintStill(small, JSON.parse(document.getElementById('data').textContent), 'lines');
        }"""
    )
    picture = pixels(page, "small")
    filled_in = picture[..., 3] > 128

    assert picture.shape == (200, 300, 4)
    assert filled_in.sum(axis=0).max() == pytest.approx(194, abs=3)
    assert filled_in.sum(axis=1).max() == pytest.approx(194, abs=3)
    assert not filled_in[:, [0, 40, 259, 299]].any()


def test_a_second_still_is_no_larger_than_the_piece_on_the_stage(opened: Opener, tile: Made) -> None:
    """With the sight of a player a canvas shows the piece to the same scale, and zoomed the very part that the stage shows."""
    page = opened(tile, program=False, how="lines")
    paint = """(id) => {
        const box = document.getElementById('stage').getBoundingClientRect(), beside = document.createElement('canvas');
        document.body.append(beside);
        Object.assign(beside.style, { width: `${box.width}px`, height: `${box.height}px` });
        beside.id = id;
        const data = JSON.parse(document.getElementById('data').textContent);
        paintStill(beside, data, 'lines', told.findLast(([name]) => name === 'sight')[1]);
    }"""
    page.evaluate(paint, "whole")
    wide = 100.0 * heard(page, "sight")[-1][0]["scale"]
    for _ in range(3):
        page.keyboard.press("+")
    page.wait_for_function("() => told.some(([name, sight]) => name === 'sight' && sight.zoom > 3)")
    page.evaluate(paint, "part")
    x, y = page.evaluate(
        """() => ['left', 'top'].map((side) => document.getElementById('stage').getBoundingClientRect()[side]
            - document.getElementById('view').getBoundingClientRect()[side])"""
    )
    whole, part, stage = pixels(page, "whole"), pixels(page, "part"), pixels(page)[round(y) :, round(x) :]

    assert (whole[..., 3] > 128).sum(axis=1).max() == pytest.approx(wide, abs=3)
    dark, there = part[..., 0] < 100, stage[: part.shape[0], : part.shape[1], 0] < 100
    assert dark.any()
    assert np.mean(dark != there) < 0.02


def test_the_look_gives_the_lines_their_colours() -> None:
    """Lines of the still take the indigo of cuts, which no theme changes."""
    found = dict(re.findall(r"--(cut-[a-z]+): (#[0-9a-f]{6})", palette_css()))

    assert found == {"cut-shallow": indigo(0.0), "cut-deep": indigo(1.0)}
    assert LIT not in found.values()
