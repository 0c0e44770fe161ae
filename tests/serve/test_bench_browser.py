"""The bench page in a real browser: numbers tried, the piece seen, versions compared, and everything taken away."""

from __future__ import annotations

import math
import re
import socket
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

import vcarve
from form_nodes import every
from on_the_page import JOB, SIZES, Opener, answer, download, drop, field, mizo, planned, until

LEAF = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="40mm" viewBox="0 0 40 40">'
    '<path fill="none" stroke="#000" d="M5 5H35V35H5Z M5 5L35 35"/></svg>'
)


def picture(page: Any) -> str:
    """Return the pixels of the finished wood as text, once it is carved exactly, to compare two states of it."""
    page.wait_for_selector("#view[data-still=exact]")
    return str(page.evaluate("() => document.getElementById('view').toDataURL()"))


def test_a_first_tile_from_nothing(visit: Opener, tmp_path: Path, rs274: Any) -> None:
    """Without a file: a pattern, a few numbers, and the program taken away is what the command makes of the job taken away."""
    page = visit()
    page.click("#key-pattern--name")
    page.fill("#patterns-search", "plain honeycomb")
    page.locator("#patterns li:visible button").first.click()
    for path, value in {"piece.width": "60 mm", "piece.height": "60 mm", "groove.depth": "0.7 mm"}.items():
        field(page, path).fill(value)
    page.fill("#title", "first tile")
    planned(page)
    program_name, program = download(page, "#take-program")
    job_name, job = download(page, "#take-job")
    taken = tmp_path / "taken"
    taken.mkdir()
    (taken / job_name).write_bytes(job)
    made = mizo(taken, "program", job_name, "-o", program_name)

    assert made.returncode == 0, made.stderr
    assert (taken / program_name).read_bytes() == program
    assert rs274(program.decode()).accepted
    read = vcarve.load_job(str(taken / job_name))
    assert (read.piece.width_mm, read.depths_mm[0], read.name, read.pattern.name) == (
        60.0,
        0.7,
        "first tile",
        "kikko",
    )
    # 60 degrees: as wide as 2 d tan 30.
    assert f"{2 * 0.7 * math.tan(math.radians(30)):.3f} mm wide" in answer(page, "Groove")


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("groove.depth", "0.8 mn"),
        ("piece.width", "0 mm"),
        ("pattern.pitch", "twenty"),
        ("piece.thickness", ""),
        ("pattern.pitch", ""),
    ],
)
def test_a_wrong_number_is_told_where_it_stands(visit: Opener, tmp_path: Path, path: str, value: str) -> None:
    """It is answered in the words the command has for it, the picture stays, what was typed stays, and right numbers go on."""
    page = visit(JOB)
    before = picture(page)
    field(page, "piece.height").fill("44 mm")
    planned(page)
    right, seen = field(page, path).input_value(), picture(page)
    field(page, path).fill(value)
    page.wait_for_selector("html[data-look=wrong]")
    told = page.locator(".wrong:visible")
    told.first.wait_for()
    _, job = download(page, "#take-job")
    (tmp_path / "wrong.yaml").write_bytes(job)
    with pytest.raises(vcarve.InputError) as caught:
        vcarve.load_job(str(tmp_path / "wrong.yaml"))
    words = " ".join(told.all_inner_texts())

    assert all(problem.want in words for problem in caught.value.problems)
    assert page.is_visible("#stale")
    assert picture(page) == seen != before
    assert field(page, path).input_value() == value
    assert field(page, path).get_attribute("aria-invalid") == "true" or value == ""
    assert page.is_disabled("#take-program")

    page.reload()
    page.wait_for_selector("html[data-ready]")
    assert field(page, path).input_value() == value
    assert field(page, "piece.height").input_value() == "44 mm"
    field(page, path).fill(right)
    planned(page)
    assert page.locator(".wrong:visible").count() == 0


STEPS = [
    ("0.8 mm", "ArrowUp", "0.9 mm"),
    ("0.8 mm", "ArrowDown", "0.7 mm"),
    ("0.80 mm", "ArrowUp", "0.81 mm"),
    ("2 mm", "Shift+ArrowUp", "12 mm"),
    ("0.8 mm", "Alt+ArrowUp", "0.81 mm"),
    ("0.1 mm", "ArrowDown", "0.1 mm"),
    ("1/16 in", "ArrowUp", "1/8 in"),
    ("1 1/2 in", "ArrowDown", "1 in"),
    ("9.9 mm", "ArrowUp", "10.0 mm"),
]


def test_arrows_step_numbers_as_they_are_written(visit: Opener) -> None:
    """The last decimal written, ten of it with Shift, a tenth with Alt; of a fraction its denominator; never what cannot be."""
    page = visit(JOB)
    depth = field(page, "groove.depth")
    found = []
    for before, keys, _ in STEPS:
        depth.fill(before)
        depth.press(keys)
        found.append(depth.input_value())

    assert found == [after for *_, after in STEPS]
    # A fraction that comes out even keeps its denominator in mind.
    depth.fill("3/8 in")
    for _ in range(3):
        depth.press("ArrowUp")
    assert depth.input_value() == "3/4 in"


def test_undo_takes_a_burst_back_and_reload_loses_nothing(visit: Opener) -> None:
    """Steps on one key are one entry; texts before and after it outlive a reload, and a comment outlives them all."""
    page = visit(JOB)
    depth = field(page, "groove.depth")
    depth.focus()
    for _ in range(4):
        depth.press("ArrowUp")
    planned(page)
    field(page, "piece.width").fill("66 mm")
    planned(page)

    assert depth.input_value() == "1.2 mm"
    page.keyboard.press("Control+z")
    planned(page)
    assert (field(page, "piece.width").input_value(), depth.input_value()) == ("60 mm", "1.2 mm")
    page.reload()
    planned(page)
    assert depth.input_value() == "1.2 mm"
    page.click("#undo")
    planned(page)
    assert depth.input_value() == "0.8 mm"
    assert page.is_disabled("#undo")
    page.keyboard.press("Control+Shift+z")
    page.click("#redo")
    planned(page)
    assert (field(page, "piece.width").input_value(), depth.input_value()) == ("66 mm", "1.2 mm")
    job = download(page, "#take-job")[1].decode()
    assert job == JOB.replace("60 mm, h", "66 mm, h").replace("0.8 mm", "1.2 mm")


def test_two_versions_side_by_side(visit: Opener) -> None:
    """The kept one stands beside the present one with its figures and the numbers that differ; either can be taken."""
    page = visit(JOB)
    width, time = answer(page, "Groove"), answer(page, "Time")
    page.click("#keep")
    field(page, "groove.depth").fill("1.1 mm")
    planned(page)

    assert answer(page, "Groove", ".kept") == width != answer(page, "Groove")
    assert answer(page, "Time", ".kept") == time
    assert page.locator(".against li").all_inner_texts() == ["groove depth 0.8 mm 1.1 mm"]
    boxes = [page.locator(name).bounding_box() for name in ("#was", "#stage")]
    assert boxes[0]["x"] + boxes[0]["width"] <= boxes[1]["x"]
    ink = "() => { const c = document.getElementById('was-still'); return c.toDataURL().length; }"
    assert page.evaluate(ink) > 5000

    page.reload()
    page.wait_for_selector("#was:visible")
    page.wait_for_function(
        "t => [...document.querySelectorAll('#answers .kept .told')].some(e => e.innerText.replaceAll('\u00a0', ' ') === t)",
        arg=time,
    )
    page.click("#take-kept")
    planned(page)
    assert field(page, "groove.depth").input_value() == "0.8 mm"
    assert not page.is_visible("#was")
    page.click("#undo")
    planned(page)
    assert field(page, "groove.depth").input_value() == "1.1 mm"


def test_the_plan_of_the_kept_version_makes_room_for_that_of_new_numbers(visit: Opener) -> None:
    """After a reload it is asked for when all else is done, and given up as soon as a number changes."""
    page = visit(JOB)
    page.click("#keep")
    field(page, "groove.depth").fill("1.1 mm")
    planned(page)
    page.route(
        "**/plan", lambda route: None if route.request.post_data_json["text"] == JOB else route.continue_()
    )
    with page.expect_request(
        lambda asked: asked.url.endswith("/plan") and asked.post_data_json["text"] == JOB
    ):
        page.reload()
    planned(page)
    with page.expect_event("requestfailed", lambda asked: asked.post_data_json["text"] == JOB):
        download(page, "[data-take=picture]")  # which needs the process that plans
    with page.expect_event("requestfailed", lambda asked: asked.post_data_json["text"] == JOB):
        field(page, "groove.depth").fill("1.2 mm")
    planned(page)

    assert answer(page, "Time", ".kept") == "…"
    page.unroute_all()


def test_a_number_that_is_refused_leaves_all_as_it_was(visit: Opener) -> None:
    """A fault of the server's is told with the key; number and plan are those of the text that is kept, and work goes on."""
    page = visit(JOB)
    refused = {"status": 500, "json": {"want": "It cannot be written."}}
    page.route(
        "**/look",
        lambda route: route.fulfill(**refused) if "0.95 mm" in route.request.post_data else route.continue_(),
    )
    field(page, "groove.depth").fill("0.95 mm")
    page.wait_for_selector("#notice:has-text('groove.depth: It cannot be written.')")
    planned(page)

    assert field(page, "groove.depth").input_value() == "0.8 mm"
    field(page, "groove.depth").fill("0.9 mm")
    planned(page)
    assert page.is_hidden("#notice")


def test_a_plan_that_failed_is_forgotten_with_the_next(visit: Opener) -> None:
    """What is told of it goes when there is a plan."""
    page = visit(JOB)
    page.route("**/plan", lambda route: route.fulfill(status=500, json={"want": "It failed."}), times=1)
    field(page, "groove.depth").fill("0.9 mm")
    page.wait_for_selector("#notice:has-text('There is no plan: It failed.')")
    field(page, "groove.depth").fill("1 mm")
    planned(page)

    assert page.is_hidden("#notice")


def test_the_program_plays_on_the_page(visit: Opener) -> None:
    """Play carves the program's own moves; a number that changes ends it, and the finished wood is shown at once."""
    page = visit(JOB)
    program = download(page, "#take-program")[1].decode().splitlines()
    page.click("#faster")
    page.click("#play")
    page.wait_for_function("() => document.getElementById('view').dataset.carved > 5")
    page.click("#play")
    number, line = page.inner_text("#read-text").split(" ", 1) if page.is_visible("#read-text") else ("", "")
    number = number or page.locator("#read-text").text_content().split(" ", 1)[0]
    line = line or page.locator("#read-text").text_content().split(" ", 1)[1]

    assert line.strip() == program[int(number) - 1].strip()
    assert page.is_checked("[name=how][value=run]")
    field(page, "groove.depth").fill("0.9 mm")
    page.wait_for_selector("html[data-plan=asking]")
    assert not page.is_visible("#play")
    planned(page)
    assert page.get_attribute("html", "data-state") == "paused"


def test_lines_and_wood_are_two_pictures(visit: Opener) -> None:
    """Lines are blue on pale wood, the finished piece has no blue in it."""
    page = visit(JOB)
    blue = """() => { const c = document.getElementById('view'), copy = new OffscreenCanvas(c.width, c.height);
        const pen = copy.getContext('2d', { willReadFrequently: true });
        pen.drawImage(c, 0, 0);
        const p = pen.getImageData(0, 0, c.width, c.height).data;
        let n = 0; for (let i = 0; i < p.length; i += 4) if (p[i + 3] === 255 && p[i + 2] > p[i] + 20) n += 1; return n; }"""
    page.check("[name=how][value=wood]")
    wood = page.evaluate(blue)
    page.check("[name=how][value=lines]")

    assert wood == 0
    assert page.evaluate(blue) > 5000
    page.reload()
    planned(page)
    assert page.is_checked("[name=how][value=lines]")


def test_the_bench_sheet_is_printed(visit: Opener) -> None:
    """It is that of the dry-run page, on one sheet of paper, with the finished piece on it."""
    page = visit(JOB)
    page.evaluate(
        "() => { window.print = () => { dispatchEvent(new Event('beforeprint')); window.printed = true; }; }"
    )
    page.click("#take-sheet")
    page.wait_for_function("() => window.printed")
    pages = len(re.findall(rb"/Type\s*/Page\b(?!s)", page.pdf(format="A4", print_background=True)))
    sheet = page.locator("#sheet").text_content()

    assert pages == 1
    assert page.evaluate("() => document.getElementById('sheet-picture').width") > 100
    assert "lid" in sheet
    assert "Tick before the start" in sheet
    assert answer(page, "Time") in sheet.replace("\u00a0", " ")


def test_the_sheet_of_other_numbers_is_not_printed(visit: Opener) -> None:
    """Once a number has changed the browser's own printing has no sheet that tells the former one."""
    page = visit(JOB)
    page.evaluate("() => { window.print = () => { window.printed = true; }; }")
    page.click("#take-sheet")
    page.wait_for_function("() => window.printed")
    field(page, "groove.depth").fill("0.9 mm")
    planned(page)

    assert page.locator("#sheet").text_content() == ""
    page.pdf()


def test_nothing_is_lost_while_nobody_answers(visit: Opener) -> None:
    """What is typed meanwhile stays, the page says what is the matter, and goes on by itself."""
    page = visit(JOB)
    page.route("**/look", lambda route: route.abort())
    field(page, "groove.depth").fill("0.9 mm")
    page.wait_for_selector("#notice:visible")
    field(page, "piece.width").fill("61 mm")
    assert "does not answer" in page.inner_text("#notice")
    page.unroute("**/look")
    planned(page)

    assert not page.is_visible("#notice")
    job = download(page, "#take-job")[1].decode()
    assert job == JOB.replace("60 mm, h", "61 mm, h").replace("0.8 mm", "0.9 mm")


def test_other_files_are_those_of_the_commands(visit: Opener, tmp_path: Path) -> None:
    """Lines as SVG and DXF have the bytes that the command writes."""
    page = visit(JOB)
    for what in ("svg", "dxf"):
        name, data = download(page, f"[data-take=lines-{what}]")
        mizo(tmp_path, "lines", "lid.yaml", "-o", f"own.{what}")

        assert name.endswith(f".{what}")
        assert data == (tmp_path / f"own.{what}").read_bytes()


def test_a_dropped_drawing_is_cut(visit: Opener, tmp_path: Path) -> None:
    """It is kept in the folder and takes the pattern's place; the same bytes again are one file, others get another name."""
    page = visit(JOB)
    other = LEAF.replace("L35 35", "L35 34")
    for content, name in ((LEAF, "leaf.svg"), (LEAF, "leaf.svg"), (other, "leaf-2.svg")):
        drop(page, "leaf.svg", content)
        page.click("dialog[open] >> text=Lines to cut")
        page.wait_for_function(
            "name => document.getElementById('key-pattern--drawing').value === name", arg=name
        )
        planned(page)
    job = download(page, "#take-job")[1].decode()

    assert (tmp_path / "leaf.svg").read_text() == LEAF
    assert sorted(path.name for path in tmp_path.glob("*.svg")) == ["leaf-2.svg", "leaf.svg"]
    (tmp_path / "taken.yaml").write_text(job)
    assert vcarve.load_job(str(tmp_path / "taken.yaml")).pattern.drawing == "leaf-2.svg"
    for _ in range(2):  # the same file again was no change
        page.click("#undo")
        planned(page)
    assert download(page, "#take-job")[1].decode() == JOB
    drop(page, "evil.svg", "<svg><script>alert(1)</script>")
    page.wait_for_selector("#notice:visible")
    assert "evil.svg" in page.inner_text("#notice")
    assert not (tmp_path / "evil.svg").exists()


def test_own_files_are_brought_in(visit: Opener, tmp_path: Path) -> None:
    """A machine and a pattern of one's own take their keys' places; a job's text takes that of the job, and can be taken back."""
    page = visit(JOB)
    for kind in ("machine", "pattern"):
        mizo(tmp_path, "new", f"--{kind}", f"other-{kind}.yaml")
        content = (tmp_path / f"other-{kind}.yaml").read_text()
        (tmp_path / f"other-{kind}.yaml").unlink()
        drop(page, f"other-{kind}.yaml", content)
        page.wait_for_function(
            "name => document.getElementById('cards').innerHTML.includes(name)", arg=f"other-{kind}"
        )
        planned(page)
        assert (tmp_path / f"other-{kind}.yaml").read_text() == content
    job = download(page, "#take-job")[1].decode()
    (tmp_path / "taken.yaml").write_text(job)
    read = vcarve.load_job(str(tmp_path / "taken.yaml"))

    assert read.pattern.name == "other-pattern.yaml"
    assert "other-machine.yaml" in job
    drop(page, "second.yaml", JOB.replace("title: lid", "title: second").replace("0.8 mm", "0.6 mm"))
    page.wait_for_function("() => document.getElementById('title').value === 'second'")
    planned(page)
    assert page.inner_text("#file") == "second.yaml"
    assert field(page, "groove.depth").input_value() == "0.6 mm"
    page.click("#undo")
    planned(page)
    assert page.input_value("#title") == "lid"


def test_a_job_brought_in_and_taken_back_leaves_each_its_own_file(visit: Opener, tmp_path: Path) -> None:
    """A step back over a dropped job is a step to the former file: saving there writes that one, and not the dropped name."""
    page = visit(JOB)
    field(page, "groove.depth").fill("0.9 mm")
    planned(page)
    second = JOB.replace("title: lid", "title: second")
    drop(page, "second.yaml", second)
    page.wait_for_function("() => document.getElementById('title').value === 'second'")
    page.click("#undo")
    planned(page)

    assert page.inner_text("#file") == "lid.yaml"
    page.reload()
    planned(page)
    page.click("#save")
    page.wait_for_selector("#save:disabled")
    assert (tmp_path / "lid.yaml").read_text() == JOB.replace("0.8 mm", "0.9 mm")
    assert not (tmp_path / "second.yaml").exists()
    page.click("#redo")
    planned(page)
    assert page.inner_text("#file") == "second.yaml"
    page.click("#save")
    page.wait_for_selector("#save:disabled")
    assert (tmp_path / "second.yaml").read_text() == second


def test_a_plan_of_other_numbers_is_let_go(visit: Opener) -> None:
    """One that comes to its end after a number has changed is neither shown nor handed over, though it is heard."""
    page = visit(JOB)
    page.evaluate(
        "() => { const ask = window.fetch; window.fetch = (what, how) => ask(what, { ...how, signal: undefined }); }"
    )
    waiting = []
    page.route("**/plan", lambda route: waiting.append(route))
    field(page, "groove.depth").fill("0.9 mm")
    page.wait_for_selector("html[data-look=shown][data-plan=asking]")
    for _ in range(100):
        if waiting:
            break
        page.wait_for_timeout(50)
    field(page, "groove.depth").fill("1.0 mm")
    page.wait_for_selector("html[data-look=shown][data-plan=asking]")
    former = waiting[0].fetch()
    assert b"0.9 mm deep" in former.body()
    waiting[0].fulfill(response=former)
    page.wait_for_timeout(400)

    assert page.get_attribute("html", "data-plan") == "asking"
    assert page.is_disabled("#take-program")
    assert answer(page, "Time") == "…"
    page.unroute_all(behavior="ignoreErrors")


def test_measures_of_ones_own_begin_with_those_chosen_before(visit: Opener) -> None:
    """Neither a bit nor a wood of one's own changes the piece until one of its numbers does."""
    page = visit(JOB.replace("v60-3.175", "v30-tip01"))
    width, time = answer(page, "Groove"), answer(page, "Time")
    for path in ("bit", "piece.wood"):
        field(page, path).select_option(label="measures of my own")
        page.wait_for_selector(f"[data-path^='{path}.']")
        planned(page)
        assert (answer(page, "Groove"), answer(page, "Time")) == (width, time)

    assert field(page, "bit.tip").input_value() == "0.1 mm"
    assert field(page, "piece.wood.title").input_value() == "Black cherry"


def test_another_shape_takes_its_own_keys(visit: Opener) -> None:
    """What only the former shape takes goes with it, what the new one needs stands there; one step takes it back."""
    page = visit(JOB.replace("height: 40 mm", "height: 60 mm"))
    for shape, written in (("rounded", b"radius: 8 mm"), ("circle", b"circle"), ("", b"")):
        page.select_option("#key-piece--outline--shape", shape)
        planned(page)
        assert written in download(page, "#take-job")[1]
    page.select_option("#key-piece--outline--shape", "polygon")
    page.wait_for_selector("html[data-look=wrong]")
    assert "51.962 mm" in page.locator(".wrong:visible").inner_text()
    field(page, "piece.height").fill("51.962 mm")
    planned(page)
    for _ in range(5):
        page.click("#undo")
        planned(page) if page.get_attribute("html", "data-look") == "shown" else None
    planned(page)
    assert page.is_disabled("#undo")


def test_while_the_piece_takes_its_time_nothing_tells_of_the_former_one(visit: Opener) -> None:
    """Where laying out is slow the page says so, and the former program is not handed over under the new numbers."""
    page = visit(JOB)
    page.route("**/look", lambda route: None)
    field(page, "groove.depth").fill("0.9 mm")
    page.wait_for_function("() => document.getElementById('verdict').innerText === 'Laying out the piece'")

    assert page.is_disabled("#take-program")
    assert answer(page, "Time") == "…"
    page.unroute_all(behavior="ignoreErrors")


def test_a_layout_that_takes_long_is_given_up(visit: Opener) -> None:
    """Another number ends it, and a step back never has it laid out at all; both are in the texts to step through."""
    page = visit(JOB)
    field(page, "piece.width").fill("61 mm")
    planned(page)

    def held(route: Any) -> None:
        asked = route.request.post_data_json
        if asked["brief"] or not any(one["value"] == "9 mm" for one in asked["edits"]):
            route.continue_()

    page.route("**/look", held)
    with page.expect_event("requestfailed", lambda asked: asked.url.endswith("/look")):
        field(page, "pattern.pitch").fill("9 mm")
        until(page, "() => document.getElementById('verdict').innerText === 'Laying out the piece'")
        field(page, "groove.depth").fill("0.7 mm")
        page.click("#undo")
    planned(page)

    assert (field(page, "pattern.pitch").input_value(), field(page, "groove.depth").input_value()) == (
        "20 mm",
        "0.8 mm",
    )
    page.unroute_all(behavior="ignoreErrors")
    page.click("#redo")
    planned(page)
    assert (field(page, "pattern.pitch").input_value(), field(page, "groove.depth").input_value()) == (
        "9 mm",
        "0.7 mm",
    )


def test_a_server_started_anew_loses_nothing(visit: Opener, bench: Any, tmp_path: Path) -> None:
    """Ended and started at the same port: the page still open is told, and the new one has all that was changed meanwhile."""
    (tmp_path / "lid.yaml").write_text(JOB)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        served = ("lid.yaml", "--port", str(free.getsockname()[1]))
    page = visit(address=bench(*served))
    field(page, "piece.width").fill("66 mm")
    planned(page)
    bench.end()
    field(page, "groove.depth").fill("0.9 mm")
    page.wait_for_function("() => document.getElementById('notice').innerText.includes('does not answer')")
    address = bench(*served)
    page.wait_for_function("() => document.getElementById('notice').innerText.includes('started anew')")
    page.goto(address)
    planned(page)

    assert (field(page, "piece.width").input_value(), field(page, "groove.depth").input_value()) == (
        "66 mm",
        "0.9 mm",
    )
    page.click("#undo")
    planned(page)
    assert field(page, "groove.depth").input_value() == "0.8 mm"


def test_findings_show_their_places(visit: Opener) -> None:
    """What hinders is marked where it is as soon as the piece is laid out, and pressing it goes through its places."""
    page = visit(JOB.replace("0.8 mm", "1.1 mm"))
    finding = page.locator("#found .finding").first
    count = page.locator("#over .spot").count()
    finding.click()

    assert count > 1
    assert finding.get_attribute("aria-pressed") == "true"
    assert page.locator("#over .spot[data-chosen]").count() == 1
    first = page.locator("#over .spot[data-chosen]").get_attribute("transform")
    finding.click()
    assert page.locator("#over .spot[data-chosen]").get_attribute("transform") != first
    page.click("#verdict")
    assert page.evaluate("() => document.activeElement.matches('#found .finding')")


def test_a_second_page_is_told_that_the_file_has_changed(visit: Opener, tmp_path: Path) -> None:
    """It writes over nothing unasked, can save under another name, and what it has stays on it."""
    first = visit(JOB)
    second = visit(address=first.url)
    field(first, "groove.depth").fill("0.9 mm")
    planned(first)
    first.click("#save")
    first.wait_for_selector("#save:disabled")
    field(second, "groove.depth").fill("1.0 mm")
    planned(second)
    second.click("#save")
    second.wait_for_selector("dialog[open]")

    assert (tmp_path / "lid.yaml").read_text() == JOB.replace("0.8 mm", "0.9 mm")
    second.click("dialog[open] >> text=Save under another name")
    second.fill("#ask-name", "other.yaml")
    second.click("dialog[open] >> text='Save'")
    second.wait_for_selector("#save:disabled")
    assert (tmp_path / "lid.yaml").read_text() == JOB.replace("0.8 mm", "0.9 mm")
    assert (tmp_path / "other.yaml").read_text() == JOB.replace("0.8 mm", "1.0 mm")
    assert second.inner_text("#file") == "other.yaml"


def test_clamps_are_moved_by_hand_and_by_numbers(visit: Opener) -> None:
    """One is added, dragged on the drawing, and its numbers follow in the unit they are written in."""
    page = visit(JOB)
    page.click("text=Add a clamp")
    page.wait_for_selector("rect.clamp")
    planned(page)
    scale = page.evaluate("() => document.querySelector('.outline').getBoundingClientRect().width") / 60.0
    at = page.locator("rect.clamp").bounding_box()
    before = float(field(page, "clamps.0.y").input_value().split()[0])
    page.mouse.move(at["x"] + at["width"] / 2, at["y"] + at["height"] / 2)
    page.mouse.down()
    page.mouse.move(at["x"] + at["width"] / 2, at["y"] + at["height"] / 2 - 8 * scale, steps=4)
    page.mouse.up()
    planned(page)

    assert float(field(page, "clamps.0.y").input_value().split()[0]) == pytest.approx(before + 8.0, abs=0.3)
    page.click("[aria-label='Take clamp 1 out']")
    planned(page)
    assert page.locator("rect.clamp").count() == 0
    assert b"x:" not in download(page, "#take-job")[1]


def test_every_key_of_a_job_is_on_the_page(visit: Opener) -> None:
    """Each key that the schema has can be found by its path, with its meaning, and none is written in the page by hand."""
    from vcarve.serve.form import form

    page = visit(JOB)
    there = set(page.evaluate("() => [...document.querySelectorAll('[data-path]')].map(e => e.dataset.path)"))
    missing = [
        node["path"]
        for node in every(form())
        if node["kind"] != "section" and node["path"] not in there and not node["path"].startswith(OF_ITEMS)
    ]

    assert missing == ["title"]  # which is the page's head
    means = "e => document.getElementById(e.getAttribute('aria-describedby')).textContent"
    assert page.eval_on_selector("#key-pattern--margin", means).startswith("a border inside the outline")
    assert (
        page.eval_on_selector("#key-pattern--close-gaps", means)
        == "drawing: ends nearer than this are joined"
    )


# Keys of records that stand there once such an item, or measures of one's own, are wanted.
OF_ITEMS = ("clamps.", "pattern.frame.", "bit.", "cut-out.bit.", "piece.wood.")


def test_by_keyboard_alone(visit: Opener) -> None:
    """From the head to the program: pattern, depth, look and download without a mouse."""
    page = visit(JOB)

    def tab_to(selector: str) -> None:
        for _ in range(120):
            page.keyboard.press("Tab")
            if page.evaluate("s => document.activeElement.matches(s)", selector):
                ring = page.evaluate(
                    "() => { const e = document.activeElement, of = e.closest('.how label') || e, s = getComputedStyle(of);"
                    " return s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2; }"
                )
                assert ring, selector
                return
        raise AssertionError(f"{selector} is not reached")

    tab_to("#stage")
    page.keyboard.press("+")
    assert page.get_attribute("#stage", "data-zoom") == "1.50"
    page.keyboard.press("0")
    tab_to("[name=how]")
    page.keyboard.press("ArrowLeft")
    tab_to("#key-pattern--name")
    page.keyboard.press("Enter")
    page.wait_for_selector("#patterns[open]")
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Enter")
    page.wait_for_selector("#patterns:not([open])", state="attached")
    planned(page)
    assert b"asanoha" not in download_by(page, "#take-job", tab_to)
    tab_to("#key-groove--depth")
    page.keyboard.press("ArrowUp")
    planned(page)
    program = download_by(page, "#take-program", tab_to)
    assert b"0.9 mm deep" in program


def download_by(page: Any, button: str, tab_to: Callable[[str], None]) -> bytes:
    """Reach a button by keys and press it; return what it hands over."""
    tab_to(button)
    with page.expect_download() as caught:
        page.keyboard.press("Enter")
    return Path(caught.value.path()).read_bytes()


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_hinders_anybody(visit: Opener, size: str, scheme: str, artefacts: Path) -> None:
    """In both looks and at three sizes axe finds nothing: at first, with a wrong number, a kept version, patterns to choose."""
    from axe_playwright_python.sync_playwright import Axe

    page = visit(JOB, size=size, scheme=scheme)
    found = {}

    def look_through(state: str) -> None:
        page.screenshot(path=artefacts / f"bench-{state}-{size}-{scheme}.png")
        found[state] = [
            (one["id"], [node["target"] for node in one["nodes"]])
            for one in Axe().run(page).response["violations"]
        ]

    look_through("begun")
    page.click("#keep")
    field(page, "groove.depth").fill("1.1 mm")
    page.click("text=Add a clamp")
    planned(page)
    for more in page.locator("details.more > summary").all():
        more.click()
    look_through("kept")
    field(page, "groove.depth").fill("1.1 mn")
    page.locator("[data-path='groove.depth'] .wrong").wait_for()
    look_through("wrong")
    page.click("#key-pattern--name")
    look_through("patterns")

    assert found == {state: [] for state in found}


def test_with_one_hand_at_the_mill(visit: Opener, artefacts: Path) -> None:
    """At the width of a telephone nothing sticks out, the piece stays in sight, and what is touched is large enough."""
    page = visit(JOB, size="hand")
    field(page, "zero.z").scroll_into_view_if_needed()
    page.screenshot(path=artefacts / "bench-scrolled-hand.png")
    stage = page.locator("#stage").bounding_box()
    small = page.evaluate(
        """() => [...document.querySelectorAll('button, select, summary, input')]
        .filter(e => e.checkVisibility() && !e.disabled && !e.closest('.sr') && !/checkbox|range|radio/.test(e.type))
        .map(e => [e.id || e.className || e.tagName, e.getBoundingClientRect().height])
        .filter(([, high]) => high < 40).map(([what]) => what)"""
    )

    assert page.evaluate("() => document.documentElement.scrollWidth") <= 390
    assert 0 <= stage["y"] < 30
    assert stage["height"] >= 0.3 * 844
    assert set(small) <= {"title", "verdict busy", "verdict clean", "verdict"}
    more = page.locator("[data-path='groove.depth'] .nudge").last
    more.click()
    planned(page)
    assert field(page, "groove.depth").input_value() == "0.9 mm"


def test_a_name_that_cannot_be_is_not_kept(visit: Opener, tmp_path: Path) -> None:
    """The page says why, and the next Save asks for a name again."""
    page = visit()
    for name in ("../x.yaml", "tile.yaml"):
        page.click("#save")
        page.fill("#ask-name", name)
        page.click("dialog[open] >> text='Save'")
        page.wait_for_function("() => /Not saved|^$/.test(document.getElementById('notice').innerText)")
    page.wait_for_selector("#save:disabled")

    assert page.inner_text("#file") == "tile.yaml"
    assert (tmp_path / "tile.yaml").exists()


def test_answers_stand_clear_of_one_another(visit: Opener) -> None:
    """On a small screen the long names of two grooves and a frame take lines of their own, and lie on no neighbour."""
    job = JOB.replace("depth: 0.8 mm   # try 0.9", "ground: 1.0 mm\n  leaf: 0.6 mm")
    page = visit(job.replace("edge: plain", "margin: 4 mm, frame: [{distance: 4 mm}]"), size="small")
    spans = page.eval_on_selector_all(
        "#answers dt",
        """all => all.map(e => { const words = document.createRange(); words.selectNodeContents(e);
            const { left, right } = words.getBoundingClientRect(); return [left, right]; })""",
    )

    assert len(spans) >= 6
    assert all(right < left for (_, right), (left, _) in pairwise(spans))


def test_the_look_is_the_systems_until_it_is_chosen(visit: Opener) -> None:
    """Dark where the system is; the word switches, and a reload keeps what was chosen."""
    page = visit(JOB, scheme="dark")
    ground = "() => getComputedStyle(document.documentElement).backgroundColor"
    dark = page.evaluate(ground)
    page.click("#looks")
    light = page.evaluate(ground)
    page.reload()
    planned(page)

    assert dark != light == page.evaluate(ground)


def test_a_look_that_was_not_chosen_is_the_systems_of_the_moment(visit: Opener) -> None:
    """It follows the system while the page is open, with the word for the other one, and is not kept for the next time."""
    page = visit(JOB, scheme="dark")
    page.emulate_media(color_scheme="light")
    page.wait_for_selector("html[data-theme=light]")
    word = page.inner_text("#looks")
    page.emulate_media(color_scheme="dark")
    page.wait_for_selector("html[data-theme=dark]")
    page.emulate_media(color_scheme="light")
    page.reload()
    planned(page)

    assert word == "Dark look"
    assert page.get_attribute("html", "data-theme") == "light"


def test_what_is_typed_is_never_script(visit: Opener) -> None:
    """A title of tags is shown as it is written, on the page and on the sheet."""
    title = "<img src=x onerror=alert(1)><script>alert(2)</script>"
    page = visit(JOB)
    page.on("dialog", lambda dialog: pytest.fail(dialog.message))
    page.fill("#title", title)
    planned(page)
    page.evaluate("() => { window.print = () => { window.printed = true; }; }")
    page.click("#take-sheet")
    page.wait_for_function("() => window.printed")

    assert title in page.locator("#sheet").text_content()
    assert page.title().startswith(title)
    assert page.locator("img[src=x]").count() == 0
