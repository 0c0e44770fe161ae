"""The page in a real browser: played, scrubbed, asked and printed, and compared with the moves."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from own_font import own_font
from small_job import with_job
from vcarve.dryrun import clock
from vcarve.dryrun.carve import carve
from vcarve.errors import Finding
from vcarve.job.sections import Clamp, Zero
from vcarve.program.moves import Motion, Moves
from vcarve.program.reader import read_program
from vcarve.proofing import check_program
from vcarve.quantity import INCH
from vcarve.run import DryRun, Made
from vcarve.view.page import page_html

NEAR = 2e-4  # mm; positions travel as 32-bit floats


@pytest.fixture(scope="module")
def artefacts() -> Path:
    """Return where screenshots are kept: MIZO_ARTIFACTS, or a folder that is not under version control."""
    folder = Path(os.environ.get("MIZO_ARTIFACTS", Path(__file__).parents[2] / "artifacts"))
    folder.mkdir(parents=True, exist_ok=True)
    return folder


Opener = Callable[..., Any]


@pytest.fixture
def show(browser: Any, tmp_path: Path) -> Iterator[Opener]:
    """Open a page by its file, as a double click does; at the end nothing was asked for or complained about."""
    contexts, asked, said = [], [], []

    def open_page(tile: DryRun, size: tuple[int, int] = (1440, 900), scheme: str = "light") -> Any:
        path = tmp_path / "page.html"
        path.write_text(page_html(tile), encoding="utf-8")
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]}, color_scheme=scheme, reduced_motion="reduce"
        )
        contexts.append(context)
        page = context.new_page()
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.goto(path.as_uri())
        page.wait_for_selector("html[data-ready]")
        return page

    yield open_page
    for context in contexts:
        context.close()

    assert said == []
    assert {url.rsplit("/", 1)[1] for url in asked} == {"page.html"}


def value(page: Any, name: str) -> float:
    """Return a read-out as a number."""
    return float(page.get_attribute(f"#read-{name}", "data-value"))


def scrub(page: Any, share: float) -> None:
    """Put the time line to a share of the whole, and wait until the picture has caught up."""
    page.eval_on_selector(
        "#scrub", "(e, v) => { e.value = v; e.dispatchEvent(new Event('input')); }", str(share)
    )
    settle(page)


def settle(page: Any) -> None:
    """Wait for two frames and for the carving to be done."""
    page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    page.wait_for_selector("#view[data-settled=yes]")


def expected(tile: Made, seconds: float) -> tuple[int, np.ndarray[Any, Any]]:
    """Return the move running at a time, and the place in work coordinates, from the moves alone."""
    moves: Moves = tile.reading.moves
    i = max(int(np.searchsorted(tile.times.start_s, seconds, side="right")) - 1, 0)
    takes = tile.times.move_s[i]
    share = min(max((seconds - tile.times.start_s[i]) / takes, 0.0), 1.0) if takes > 0 else 1.0
    start, end = moves.start_mm[i], moves.end_mm[i]
    place = start + (end - start) * share
    if moves.sweep_rad[i]:
        turn = moves.sweep_rad[i] * share
        u, v = start[:2] - moves.centre_mm[i][:2]
        place[0] = moves.centre_mm[i][0] + u * math.cos(turn) - v * math.sin(turn)
        place[1] = moves.centre_mm[i][1] + u * math.sin(turn) + v * math.cos(turn)
    return i, place


def picture(page: Any) -> str:
    """Return the picture's pixels as text, to compare two states of it."""
    return str(page.evaluate("() => document.getElementById('view').toDataURL()"))


def shades(page: Any) -> np.ndarray[Any, Any]:
    """Return the picture's pixels (n, 4), 0 to 255."""
    whole = """() => {
        const view = document.getElementById('view'), copy = document.createElement('canvas');
        copy.width = view.width; copy.height = view.height;
        const pen = copy.getContext('2d', { willReadFrequently: true });
        pen.drawImage(view, 0, 0);
        return [...pen.getImageData(0, 0, copy.width, copy.height).data];
    }"""
    return np.array(page.evaluate(whole)).reshape(-1, 4)


def test_a_page_plays_to_its_end(show: Opener, tile: Made, artefacts: Path) -> None:
    """At the highest speed it stops at the end: everything carved, nothing left to go, the bit where the text leaves it."""
    page = show(tile)
    for _ in range(12):
        page.click("#faster")
    before = picture(page)
    # Noted as it happens: at this speed it may be over before anybody asks.
    page.evaluate(
        """() => { const root = document.documentElement; window.seen = [];
        new MutationObserver(() => window.seen.push(root.dataset.state)).observe(root, {attributes: true}); }"""
    )
    page.click("#play")
    for _ in range(600):
        if page.evaluate("() => window.seen.includes('playing') && window.seen.at(-1) === 'paused'"):
            break
        page.wait_for_timeout(50)
    settle(page)

    assert page.evaluate("() => window.seen.includes('playing')")
    assert value(page, "elapsed") == pytest.approx(tile.times.total_s)
    assert value(page, "remaining") == pytest.approx(0.0, abs=1e-9)
    assert [value(page, axis) for axis in "xyz"] == pytest.approx(
        tile.reading.moves.end_mm[-1].tolist(), abs=NEAR
    )
    assert int(page.get_attribute("#view", "data-carved")) == len(tile.reading.moves)
    assert value(page, "line") == tile.reading.moves.line[-1]
    assert picture(page) != before
    page.screenshot(path=artefacts / "page-played.png")


@pytest.mark.parametrize("share", [0.02, 0.13, 0.371, 0.55, 0.86, 0.97])
def test_read_outs_follow_the_moves(show: Opener, tile: Made, share: float) -> None:
    """At any time the read-outs are what the moves say: place, depth, feed, spindle, line, time, moves carved."""
    page = show(tile)
    scrub(page, share)
    seconds = share * tile.times.total_s
    i, place = expected(tile, seconds)

    assert value(page, "elapsed") == pytest.approx(seconds, abs=1e-6)
    assert value(page, "remaining") == pytest.approx(tile.times.total_s - seconds, abs=1e-6)
    assert [value(page, axis) for axis in "xyz"] == pytest.approx(place.tolist(), abs=NEAR)
    assert value(page, "depth") == pytest.approx(max(0.0, -place[2]), abs=NEAR)
    assert value(page, "line") == tile.reading.moves.line[i]
    assert value(page, "rpm") == 10000
    assert (
        page.text_content("#program [aria-current]")
        == tile.reading.text_lines[tile.reading.moves.line[i] - 1]
    )
    if tile.reading.moves.motion[i] == Motion.RAPID:
        assert page.text_content("#read-feed") == "rapid"
    else:
        assert value(page, "feed") == tile.reading.moves.feed_mm_min[i]
    assert int(page.get_attribute("#view", "data-carved")) in (i, i + 1)


def test_read_outs_and_dimensions_speak_inches(show: Opener, tile: Made) -> None:
    """With inches asked for, what is shown is the same place and size in inches; the values for scripts stay as they are."""
    page = show(with_job(replace(tile, findings=()), units="inch"))
    share = next(
        share
        for share in (0.371, 0.13, 0.55, 0.86)
        if tile.reading.moves.motion[expected(tile, share * tile.times.total_s)[0]] != Motion.RAPID
    )
    scrub(page, share)
    i, place = expected(tile, share * tile.times.total_s)
    shown = [float(page.text_content(f"#read-{axis}").replace("−", "-")) for axis in "xyz"]

    assert shown == pytest.approx((place / 25.4).tolist(), abs=6e-5)
    assert [value(page, axis) for axis in "xyz"] == pytest.approx(place.tolist(), abs=NEAR)
    assert page.text_content("#read-feed") == INCH.feed(float(tile.reading.moves.feed_mm_min[i]))
    piece = tile.job.piece
    sizes = [f"{round(size / 25.4, 3):g} in" for size in (piece.width_mm, piece.height_mm)]
    assert page.eval_on_selector_all("#over text.figure", "all => all.map(one => one.textContent)") == sizes
    assert not re.search(r"[0-9] ?mm", page.inner_text("main"))


def test_before_the_first_move_nothing_is_carved(show: Opener, tile: Made) -> None:
    """While the spindle comes up to speed the bit waits and the piece is whole."""
    page = show(tile)
    scrub(page, 0.5 * tile.times.start_s[0] / tile.times.total_s)

    assert page.get_attribute("#view", "data-carved") == "0"
    assert value(page, "pass") == 0


def test_scrubbing_back_gives_the_same_picture_as_going_there(show: Opener, tile: Made) -> None:
    """What is carved depends on the time shown, not on the way there."""
    page = show(tile)
    scrub(page, 0.45)
    straight = shades(page)
    scrub(page, 1.0)
    scrub(page, 0.449)
    scrub(page, 0.45)

    # Where two cuts tie to a micrometre the first lights the pixel.
    assert np.abs(shades(page) - straight).max() <= 2

    scrub(page, 0.0)
    whole = picture(page)
    scrub(page, 0.9)
    scrub(page, 0.0)

    assert picture(page) == whole
    assert value(page, "elapsed") == 0


def test_carved_grooves_are_as_wide_as_the_bit_makes_them(show: Opener, tile: Made) -> None:
    """Across the groove along the X axis the picture changes over w = t + 2 d tan(angle / 2), to a pixel or so."""
    page = show(replace(tile, findings=()), size=(1440, 1000))
    page.uncheck("#air")
    scrub(page, 0.0)
    column = """() => {
        const view = document.getElementById('view'), copy = document.createElement('canvas');
        copy.width = 1; copy.height = view.height;
        const pen = copy.getContext('2d', { willReadFrequently: true });
        pen.drawImage(view, -Math.round(view.width * 0.3), 0);
        return [...pen.getImageData(0, 0, 1, view.height).data];
    }"""
    plain = np.array(page.evaluate(column), dtype=float).reshape(-1, 4)
    scrub(page, 1.0)
    carved = np.array(page.evaluate(column), dtype=float).reshape(-1, 4)
    middle = len(plain) // 2
    changed = np.abs(carved - plain).sum(axis=1)[middle - 20 : middle + 20] > 12
    box = page.evaluate("() => document.querySelector('.outline').getBBox().width")
    ratio = page.evaluate(
        "() => { const v = document.getElementById('view'); return v.width / v.clientWidth; }"
    )
    width_px = tile.layout.kinds[0].width_mm * box / 100.0 * ratio

    assert changed.sum() == pytest.approx(width_px, abs=2.0)


def sloping(tile: Made, *places: tuple[float, float, float], seconds: float = 40.0) -> Made:
    """Return the tile cut along one way alone by a wide 90 degree bit, which lifts at the end; every move takes as long."""
    (x, y, z), *others = places
    lines = ["G21 G90", "M3 S10000", f"G0 X{x} Y{y}", f"G1 Z{z} F200"]
    text = "\n".join([*lines, *(f"G1 X{a} Y{b} Z{c}" for a, b, c in others), "G0 Z5", "M2", ""])
    reading = read_program(text)
    bit = tile.job.bit.model_copy(update={"angle_deg": 90.0, "diameter_mm": 60.0, "tip_mm": 0.0})
    takes = np.full(len(reading.moves), seconds / len(reading.moves))
    times = replace(
        clock.run(reading.moves, tile.machine),
        start_s=np.cumsum(takes) - takes,
        move_s=takes,
        total_s=seconds,
    )
    run = replace(tile, reading=reading, times=times, findings=())
    return with_job(run, bit=bit, zero=Zero(xy="centre"))


@pytest.mark.parametrize(("long", "deep"), [(70.0, 28.0), (40.0, 24.0)])
def test_a_slope_is_carved_as_wide_as_the_dry_run_carves_it(
    show: Opener, tile: Made, long: float, deep: float
) -> None:
    """On its way down a cone takes more than its circle beside the line: round the first quarter the picture shows all of it."""
    tile = sloping(tile, (-long / 2.0, 0.0, 0.0), (long / 2.0, 0.0, -deep))
    page = show(tile, size=(1000, 800))
    page.uncheck("#air")
    whole, (tall, wide, shown) = (
        shades(page),
        page.evaluate("() => [view.height, view.width, view.clientWidth]"),
    )
    scrub(page, 0.999)  # all is cut, and not yet shown in the colours of its wood
    changed = (np.abs(shades(page) - whole).sum(axis=1) > 12).reshape(tall, wide)
    pixel_mm = (
        100.0 / page.evaluate("() => document.querySelector('.outline').getBBox().width") * shown / wide
    )
    x_mm = (np.arange(wide) - (wide - 1) / 2.0) * pixel_mm
    surface = carve(tile.reading.moves, tile.job.bit, width_mm=100.0, height_mm=100.0)
    gone_mm = (surface.height_mm < 0.0).sum(axis=0)[
        np.abs(surface.x_mm + long / 4.0) < long / 8.0
    ] * surface.step_mm

    assert changed.sum(axis=0)[np.abs(x_mm + long / 4.0) < long / 8.0].mean() * pixel_mm == pytest.approx(
        gone_mm.mean(), abs=2.0 * pixel_mm
    )


def test_the_time_line_draws_slopes_as_slopes(show: Opener, tile: Made) -> None:
    """A groove that goes down evenly and up again is a triangle on the time line, as high everywhere as it is deep there."""
    tile = sloping(tile, (-40.0, 0.0, 0.0), (0.0, 0.0, -8.0), (40.0, 0.0, 0.0))
    page = show(tile)
    scrub(page, 0.0)
    filled = page.evaluate(
        """() => { const strip = document.getElementById('strip');
        const data = strip.getContext('2d').getImageData(0, 0, strip.width, strip.height).data, found = [];
        for (let x = 0; x < strip.width; x++) {
            let deep = 0;
            for (let y = 20; y < strip.height; y++) if (data[4 * (y * strip.width + x) + 3]) deep += 1;
            found.push(deep);
        }
        return found; }"""
    )
    deep = np.array(filled, dtype=float) / max(filled)
    at = np.linspace(0.0, 1.0, len(deep))
    down, up, end = (tile.times.start_s[-3:] / tile.times.total_s).tolist()
    seen = (at > down + 0.01) & (at < end - 0.01)

    assert deep[seen] == pytest.approx(1.0 - np.abs(at[seen] - up) / (up - down), abs=0.12)


def test_a_chosen_finding_shows_its_place_and_line(show: Opener, tile: Made, artefacts: Path) -> None:
    """The mark stands at the finding's place on the piece, the program at its line, and choosing again lets go."""
    page = show(tile)
    page.click(".finding >> nth=0")
    settle(page)
    box = page.evaluate(
        "() => { const b = document.querySelector('.outline').getBBox(); return [b.x, b.y, b.width]; }"
    )
    moved = page.get_attribute("g.spot[data-chosen]", "transform")
    x, y = (float(part) for part in re.findall(r"-?[\d.]+", moved))

    assert x == pytest.approx(box[0] + (12.0 + 50.0) / 100.0 * box[2], abs=0.1)
    assert y == pytest.approx(box[1] + (50.0 + 20.0) / 100.0 * box[2], abs=0.1)
    assert value(page, "line") == 30
    assert page.get_attribute("#program [aria-current]", "data-line") == "30"
    assert page.get_attribute(".finding >> nth=0", "aria-pressed") == "true"
    page.screenshot(path=artefacts / "page-finding.png")

    page.click(".finding >> nth=1")
    settle(page)
    at = int(np.flatnonzero(tile.reading.moves.line == 44)[0])

    assert page.get_attribute("g.spot[data-chosen]", "data-spot") == "1"
    assert [value(page, axis) for axis in "xyz"] == pytest.approx(
        tile.reading.moves.start_mm[at].tolist(), abs=NEAR
    )

    page.click(".finding >> nth=1")
    settle(page)

    assert page.locator("g.spot[data-chosen]").count() == 0


def test_findings_of_one_sentence_share_a_button(show: Opener, tile: Made) -> None:
    """Pressed again and again by the keyboard, it shows one place after the other, and then lets go."""
    places = [(10.0, 0.0), (20.0, 0.0), (-30.0, 0.0)]
    same = [Finding("stray-cut", "Stray.", line=8, at_mm=place) for place in places]
    page = show(replace(tile, findings=(*same, *tile.findings)))
    button = page.locator(".finding >> nth=0")
    middle = page.evaluate(
        "() => { const b = document.querySelector('.outline').getBBox(); return [b.x + b.width / 2, b.width / 100]; }"
    )
    seen = []
    button.focus()
    for _ in places:
        page.keyboard.press("Enter")
        settle(page)
        moved = page.get_attribute("g.spot[data-chosen]", "transform")
        seen.append((float(re.findall(r"-?[\d.]+", moved)[0]) - middle[0]) / middle[1])
        assert f"place {len(seen)} of 3" in button.inner_text()
    page.keyboard.press("Enter")

    assert page.locator(".finding").count() == 1 + len(tile.findings)
    assert seen == pytest.approx([x for x, _ in places], abs=0.1)
    assert page.locator("g.spot[data-chosen]").count() == 0
    assert "3 places" in button.inner_text()


def test_the_keyboard_does_everything(show: Opener, tile: Made) -> None:
    """Space plays and stops, arrows step one move, brackets step passes, Home and End go to the ends."""
    page = show(tile)
    passes = tile.pass_of
    firsts = [int(np.flatnonzero(passes == p)[0]) for p in range(3)]

    page.keyboard.press("]")
    page.keyboard.press("]")
    settle(page)
    assert value(page, "elapsed") == pytest.approx(tile.times.start_s[firsts[1]])
    assert value(page, "pass") == 2

    page.keyboard.press("[")
    settle(page)
    assert value(page, "elapsed") == pytest.approx(tile.times.start_s[firsts[0]])

    page.keyboard.press("ArrowRight")
    settle(page)
    assert [value(page, axis) for axis in "xyz"] == pytest.approx(
        tile.reading.moves.end_mm[firsts[0]].tolist(), abs=NEAR
    )
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowLeft")
    settle(page)
    assert [value(page, axis) for axis in "xyz"] == pytest.approx(
        tile.reading.moves.end_mm[firsts[0]].tolist(), abs=NEAR
    )

    page.keyboard.press("End")
    settle(page)
    assert value(page, "elapsed") == pytest.approx(tile.times.total_s)
    page.keyboard.press("Home")
    settle(page)
    assert value(page, "elapsed") == 0

    speed = page.text_content("#speed")
    page.keyboard.press("ArrowUp")
    assert page.text_content("#speed") != speed
    page.keyboard.press("ArrowDown")
    assert page.text_content("#speed") == speed
    page.keyboard.press(" ")
    page.wait_for_selector("html[data-state=playing]")
    page.keyboard.press(" ")
    page.wait_for_selector("html[data-state=paused]")


def test_a_click_on_the_piece_goes_to_the_moment_it_is_cut(show: Opener, tile: Made) -> None:
    """A click near the circle of radius 20 moves the time to where the arc passes closest; far from lines nothing moves."""
    page = show(tile)
    box = page.evaluate(
        "() => { const b = document.querySelector('.outline').getBoundingClientRect(); return [b.x, b.y, b.width]; }"
    )

    def click(x_mm: float, y_mm: float) -> None:
        page.mouse.click(box[0] + (x_mm + 50.0) / 100.0 * box[2], box[1] + (50.0 - y_mm) / 100.0 * box[2])
        settle(page)

    turn = math.radians(-100.0)
    click(20.3 * math.cos(turn), 20.3 * math.sin(turn))
    place = [value(page, axis) - 50.0 for axis in "xy"]

    assert place == pytest.approx([20.0 * math.cos(turn), 20.0 * math.sin(turn)], abs=0.15)
    assert tile.reading.text_lines[int(value(page, "line")) - 1].startswith("G2")

    before = value(page, "elapsed")
    click(26.0, 36.0)
    assert value(page, "elapsed") == before


STAGE = "() => { const b = document.getElementById('stage').getBoundingClientRect(); return [b.x, b.y, b.width, b.height]; }"
RIM = "() => { const b = document.querySelector('.outline').getBoundingClientRect(); return [b.x, b.y, b.width, b.height]; }"


def test_the_wheel_zooms_about_the_pointer(show: Opener, tile: Made) -> None:
    """The place under the pointer stays there, the mouse moves what is zoomed, clicks still find it, and 0 goes back."""
    page = show(replace(tile, findings=()))
    before = page.evaluate(RIM)
    at = (before[0] + 0.7 * before[2], before[1] + 0.3 * before[3])
    page.mouse.move(*at)
    page.mouse.wheel(0, -700)
    page.wait_for_timeout(400)
    settle(page)
    after = page.evaluate(RIM)

    assert after[2] > 2.0 * before[2]
    assert [(at[k] - after[k]) / after[2 + k] for k in (0, 1)] == pytest.approx([0.7, 0.3], abs=0.002)
    assert after[2] / before[2] == pytest.approx(float(page.get_attribute("#stage", "data-zoom")), rel=0.01)

    elapsed = value(page, "elapsed")
    page.mouse.down()
    page.mouse.move(at[0] + 60, at[1] - 40, steps=5)
    page.mouse.up()
    page.wait_for_timeout(400)
    settle(page)
    moved = page.evaluate(RIM)

    assert [moved[k] - after[k] for k in (0, 1)] == pytest.approx([60.0, -40.0], abs=1.0)
    assert value(page, "elapsed") == elapsed  # a drag is no click

    # On the diagonal of the piece, 20 mm right of its middle and as far back.
    page.mouse.click(moved[0] + 0.7 * moved[2], moved[1] + 0.3 * moved[3])
    settle(page)
    assert [value(page, axis) - 50.0 for axis in "xy"] == pytest.approx([20.0, 20.0], abs=0.3)

    page.keyboard.press("0")
    page.wait_for_timeout(400)
    assert page.evaluate(RIM) == pytest.approx(before, abs=0.5)
    page.click("#zoom-in")
    assert page.evaluate(RIM)[2] == pytest.approx(1.5 * before[2], rel=0.01)


def test_two_fingers_zoom(browser: Any, tile: Made, tmp_path: Path) -> None:
    """Spreading two fingers makes the piece larger by as much."""
    (tmp_path / "page.html").write_text(page_html(tile), encoding="utf-8")
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True)
    page = context.new_page()
    page.goto((tmp_path / "page.html").as_uri())
    page.wait_for_selector("html[data-ready]")
    x, y, wide, _ = page.evaluate(RIM)
    touch = context.new_cdp_session(page)

    def fingers(kind: str, *places: float) -> None:
        points = [{"x": x + at, "y": y + 100.0, "id": k} for k, at in enumerate(places)]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    fingers("touchStart", 100.0, 150.0)
    for spread in (10.0, 20.0, 30.0, 40.0, 50.0):
        fingers("touchMove", 100.0 - spread / 2.0, 150.0 + spread / 2.0)
    fingers("touchEnd")
    after = page.evaluate(RIM)
    context.close()

    assert after[2] == pytest.approx(2.0 * wide, rel=0.1)


def test_the_finished_piece_is_all_wood(show: Opener, tile: Made) -> None:
    """While it plays grooves are indigo; at the end nothing on the piece is bluer than it is red."""
    page = show(replace(tile, findings=()))
    page.uncheck("#air")

    def blue() -> int:
        seen = shades(page)
        return int(((seen[:, 2] > seen[:, 0] + 8) & (seen[:, 3] == 255)).sum())

    scrub(page, 0.9)
    assert blue() > 1000
    scrub(page, 1.0)
    assert blue() < 20  # what is left of hairlines under an edge
    scrub(page, 0.9)
    assert blue() > 1000


@pytest.mark.parametrize("title", ["Tile", "A long title of a piece that runs over more than one line " * 3])
def test_nothing_is_covered(show: Opener, tile: Made, title: str) -> None:
    """At 1280 x 900 head, piece, column and time line stand beside each other, and the page does not scroll."""
    page = show(with_job(replace(tile, findings=tile.findings * 8), title=title), size=(1280, 900))
    boxes = page.evaluate(
        """() => ['.head', '#stage', '.column', '.time'].map(n => document.querySelector(n).getBoundingClientRect())
        .map(b => [b.left, b.top, b.right, b.bottom])"""
    )
    head, stage, column, time = boxes
    drawn = page.evaluate(
        "() => [...document.querySelectorAll('#over .dim, #over .figure, #over .outline')].map(e => e.getBoundingClientRect())"
        ".map(b => [b.left, b.top, b.right, b.bottom])"
    )

    assert (
        page.evaluate(
            "() => { const b = document.querySelector('#theme'); return b.scrollHeight - b.clientHeight; }"
        )
        <= 0
    )
    assert head[3] <= stage[1] + 1
    assert stage[3] <= time[1] + 1
    assert column[3] <= time[1] + 1
    assert stage[2] <= column[0]
    assert time[3] <= 900
    assert page.evaluate("() => document.documentElement.scrollHeight") <= 900
    assert all(
        box[0] >= stage[0] and box[1] >= stage[1] and box[2] <= stage[2] and box[3] <= stage[3]
        for box in drawn
    )


def test_a_long_name_of_lines_leaves_room_for_their_sizes(show: Opener, tile: Made) -> None:
    """A layer's name with more letters than its column holds is broken, so that half of the row is left for width and depth."""
    name = "decorative-border-lines-of-the-outermost-frame-and-corners"
    features = tuple(replace(one, name=name) for one in tile.layout.features)
    page = show(replace(tile, layout=replace(tile.layout, features=features)), size=(1280, 900))
    row = "[...document.querySelectorAll('.column .rows > div')].find(e => e.textContent.includes('decorative'))"
    sizes = "[...[...row.children, row].map(one => one.clientWidth), row.scrollWidth]"
    term, value, whole, wide = page.evaluate(f"() => {{ const row = {row}; return {sizes}; }}")

    assert term <= 0.46 * whole
    assert value >= 0.45 * whole
    assert wide <= whole


@pytest.mark.parametrize("size", [(390, 844), (1280, 900)])
def test_clamps_and_dimensions_stand_apart(show: Opener, tile: Made, size: tuple[int, int]) -> None:
    """Clamps that stand out of the piece are inside the drawing, and no dimension runs through one."""
    clamps = tuple(
        Clamp(x_mm=x, y_mm=y, width_mm=16.0, height_mm=20.0, above_mm=5.0)
        for x, y in ((-12.0, 40.0), (96.0, 40.0), (40.0, -14.0))
    )
    page = show(with_job(tile, clamps=clamps), size=size)
    found = page.evaluate(
        """() => ['rect.clamp', '#over .figure', '#stage'].map(n => [...document.querySelectorAll(n)]
        .map(e => e.getBoundingClientRect()).map(b => [b.left, b.top, b.right, b.bottom]))"""
    )
    held, figures, (stage,) = found

    assert len(held) == 3
    assert len(figures) == 2
    for box in (*held, *figures):
        assert stage[0] <= box[0] < box[2] <= stage[2]
        assert stage[1] <= box[1] < box[3] <= stage[3]
    for a in held:
        for b in figures:
            assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


@pytest.mark.parametrize("size", [(390, 844), (1280, 900)])
@pytest.mark.parametrize("xy", ["back-right", "back-left", "front-right", "front-left"])
def test_the_arrows_of_zero_are_in_sight(show: Opener, tile: Made, xy: str, size: tuple[int, int]) -> None:
    """At whatever corner zero is, and however the piece lies, both arrows and their letters are inside the drawing."""
    for turn_deg in (0.0, 30.0, -30.0):
        page = show(with_job(tile, zero=Zero(xy=xy, z="top", turn_deg=turn_deg)), size=size)
        stage, *drawn = page.evaluate(
            """() => ['#stage', '.zero-mark .axis', '.zero-mark text'].flatMap(n => [...document.querySelectorAll(n)])
            .map(e => e.getBoundingClientRect()).map(b => [b.left, b.top, b.right, b.bottom])"""
        )

        assert len(drawn) == 4
        for box in drawn:
            assert stage[0] <= box[0] < box[2] <= stage[2]
            assert stage[1] <= box[1] < box[3] <= stage[3]


def test_signs_are_told_in_words(show: Opener, tile: Made) -> None:
    """The time line has a legend, passed is a tick, the button says what it does, and times are written in one way."""
    page = show(replace(tile, findings=()))
    legend = page.inner_text(".legend")
    before = page.inner_text("#theme")
    page.click("#theme")
    page.keyboard.press("End")
    settle(page)
    tick = page.evaluate(
        "() => getComputedStyle(document.getElementById('verdict'), '::before').borderRadius"
    )

    assert all(word in legend for word in ("cut", "still to come", "in the air"))
    assert "finding" not in legend
    assert (before, page.inner_text("#theme")) == ("Dark look", "Light look")
    assert tick == "0px"
    running = page.locator("dt", has_text="Running time").first.locator("xpath=../dd").inner_text()
    assert page.inner_text("#read-elapsed") == running


def test_those_who_listen_are_told(show: Opener, tile: Made) -> None:
    """After a step the spoken line gives program line, depth and time, and the time line its own value."""
    page = show(tile)
    page.keyboard.press("End")
    page.wait_for_function(
        "() => document.getElementById('spoken').textContent.includes('0\u00a0s to go')", timeout=5000
    )

    assert f"Line {tile.reading.moves.line[-1]} of" in page.text_content("#spoken")
    assert " of " in page.get_attribute("#scrub", "aria-valuetext")
    unnamed = page.evaluate(
        "() => [...document.querySelectorAll('button, input')].filter(e => !(e.textContent.trim() ||"
        " e.getAttribute('aria-label') || e.closest('label'))).length"
    )
    assert unnamed == 0


def set_in(page: Any, font: bytes) -> None:
    """Set everything on the page in a font of the test's own."""
    page.evaluate(
        """async bytes => {
            const font = new FontFace("Own", new Uint8Array(bytes));
            document.fonts.add(await font.load());
            document.styleSheets[0].insertRule("* { font-family: Own !important }", 0);
        }""",
        list(font),
    )


# Average advances of a narrow face, of the sans faces most machines have, and of one wider than any of them (thousandths).
FACES = {"narrow": 400, "usual": 520, "wide": 680}


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("face", FACES)
def test_the_sheet_shows_every_line_in_any_font(show: Opener, tile: Made, face: str, paper: str) -> None:
    """Whatever the font, no line of the bench sheet is cut off; it is one page, and with a very wide font at most two."""
    page = show(replace(tile, findings=tile.findings * 5))
    set_in(page, own_font(FACES[face]))
    printed = page.pdf(format=paper, print_background=True)
    pages = len(re.findall(rb"/Type\s*/Page\b(?!s)", printed))

    assert pages == 1 or (face == "wide" and pages == 2)
    assert page.evaluate("() => document.getElementById('sheet-picture').width") > 100

    page.set_viewport_size({"width": 705 if paper == "A4" else 727, "height": 1000})  # paper less its margins
    page.emulate_media(media="print")
    hidden = page.evaluate("""() => {
        const found = [], sheet = document.querySelector('.sheet'), room = sheet.getBoundingClientRect();
        const walk = document.createTreeWalker(sheet, NodeFilter.SHOW_TEXT), range = document.createRange();
        while (walk.nextNode()) {
            const node = walk.currentNode;
            if (!node.textContent.trim()) continue;
            range.selectNodeContents(node);
            for (const line of range.getClientRects()) {
                let box = node.parentElement, out = line.right > room.right + 1 || line.bottom > room.bottom + 1;
                for (; box !== sheet.parentElement; box = box.parentElement) {
                    const at = box.getBoundingClientRect();
                    if (getComputedStyle(box).overflowY !== 'visible' && line.bottom > at.bottom + 1) out = true;
                }
                if (out) found.push(node.textContent);
            }
        }
        return found;
    }""")
    assert hidden == []


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_sheet_of_an_installed_font_is_kept(
    show: Opener, tile: Made, paper: str, artefacts: Path
) -> None:
    """In whatever font this machine has, the bench sheet has the finished piece on it, even right after opening."""
    page = show(replace(tile, findings=tile.findings * 5))
    page.pdf(format=paper, path=artefacts / f"sheet-{paper.lower()}.pdf", print_background=True)

    assert page.evaluate("() => document.getElementById('sheet-picture').width") > 100


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_narrow_screen_needs_no_sideways_scrolling(
    show: Opener, tile: Made, scheme: str, artefacts: Path
) -> None:
    """At the width of a telephone the column stands below the piece and nothing sticks out."""
    page = show(tile, size=(390, 844), scheme=scheme)
    scrub(page, 0.6)

    assert page.evaluate("() => document.documentElement.scrollWidth") <= 390
    assert page.locator(".column").bounding_box()["y"] > page.locator("#stage").bounding_box()["y"] + 200
    page.screenshot(path=artefacts / f"page-narrow-{scheme}.png")


def test_on_a_narrow_screen_the_line_being_run_is_in_sight_while_playing(
    show: Opener, tile: Made, artefacts: Path
) -> None:
    """The bar of the player, which lies over the column there, has the program line of the moment itself."""
    page = show(tile, size=(390, 800))
    scrub(page, 0.4)
    page.locator("#play").click()
    page.wait_for_function("() => document.getElementById('view').dataset.carved > 20")
    page.locator("#play").click()
    box = page.locator("#read-text").bounding_box()
    number, text = page.locator("#read-text").inner_text().split(" ", 1)
    page.screenshot(path=artefacts / "page-narrow-playing.png")

    assert box["y"] + box["height"] <= 800
    assert text.strip() == tile.reading.text_lines[int(number) - 1]
    assert int(number) == int(page.locator("#read-line").get_attribute("data-value"))
    wide = show(tile, size=(1280, 900))
    assert not wide.locator("#read-text").is_visible()  # the column has it


def test_dark_and_light_can_be_switched(show: Opener, tile: Made) -> None:
    """The page begins as the system asks and the switch changes it."""
    page = show(tile, scheme="dark")
    ground = "() => getComputedStyle(document.documentElement).backgroundColor"
    dark = page.evaluate(ground)
    page.click("#theme")

    assert page.get_attribute("html", "data-theme") == "light"
    assert page.evaluate(ground) != dark


def test_a_program_without_its_job_is_shown_all_the_same(show: Opener, bare: DryRun) -> None:
    """With no piece, bit or plan known the moves still play."""
    page = show(bare)
    page.keyboard.press("End")
    settle(page)

    assert int(page.get_attribute("#view", "data-carved")) == len(bare.reading.moves)


def test_a_program_without_moves_is_shown_all_the_same(show: Opener) -> None:
    """An empty program gives a still page, not an error."""
    page = show(replace(check_program("G21\nM2\n"), findings=()))
    page.keyboard.press("End")
    settle(page)

    assert value(page, "elapsed") == 0
