"""What comes back from the mill, in a real browser: a program that broke off, and widths that were measured."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

import vcarve
from on_the_page import JOB, SIZES, Opener, answer, download, drop, field, mizo, planned, until
from vcarve.serve.edit import edited

EVIL = "<img src=x onerror=alert(1)><script>alert(2)</script>"
SAYS = "([id, words]) => document.getElementById(id).innerText.replaceAll('\u00a0', ' ').includes(words)"


def at_the_bench(page: Any, what: str) -> None:
    """Open what stands under "at the bench"."""
    page.click("#take details.more summary")
    page.click(f"#open-{what}")
    page.wait_for_selector(f"#{what}[open]")


def broke(page: Any, how: str, where: str) -> None:
    """Tell where the program broke off, and wait for what is said of its rest."""
    page.fill(f"#rest--{how}", where)
    page.wait_for_timeout(350)
    until(page, "() => !/Looking through/.test(document.getElementById('rest-told').innerText)")


def test_going_on_after_a_break(visit: Opener, tmp_path: Path, rs274: Any) -> None:
    """From the program on the page to its rest: the bytes of the command, judged with the job, told in all three ways."""
    page = visit(JOB)
    name, program = download(page, "#take-program")
    at_the_bench(page, "rest")
    assert page.is_disabled("#take-rest")
    page.click("#rest-own")
    until(page, SAYS, ["rest-file", name])
    broke(page, "pass", "3")
    (tmp_path / name).write_bytes(program)
    said = mizo(tmp_path, "resume", name, "--pass", "3", "-o", "own.nc")
    rest_name, rest = download(page, "#take-rest")
    told = page.inner_text("#rest-told")
    line, after = (page.get_attribute(f"#rest--{how}", "placeholder") for how in ("line", "after"))

    assert said.returncode == 0
    assert rest_name == "lid-rest.nc"
    assert rest == (tmp_path / "own.nc").read_bytes()
    assert rs274(rest.decode()).accepted
    assert "No check forbids cutting" in told
    assert "set Z0 again" in told
    assert "2 passes of the earlier program count as cut" in told.replace("\u00a0", " ")
    for how, where in (("line", line), ("after", after)):
        broke(page, how, where)
        assert page.input_value("#rest--pass") == ""
        assert page.get_attribute("#rest--pass", "placeholder") in ("2", "3")
    broke(page, "after", "1/2 min")
    assert page.is_enabled("#take-rest")


def test_a_rest_that_cannot_be_is_told_why_in_its_place(visit: Opener) -> None:
    """A wrong number beside it, a doubt of the program with its line, and a program too large before it is sent."""
    page = visit(JOB)
    program = download(page, "#take-program")[1].decode()
    drop(page, "lid.nc", program)
    page.wait_for_selector("#rest[open]")
    for how, where, want in (
        ("pass", "700", "passes"),
        ("pass", "two", "a whole number is wanted, such as 4"),
        ("after", "7 mm", "is a unit of length"),
    ):
        broke(page, how, where)
        assert want in page.inner_text(f"#rest--{how}-wrong")
        assert page.get_attribute(f"#rest--{how}", "aria-invalid") == "true"
        assert page.is_disabled("#take-rest")
    broke(page, "pass", "1")
    assert "run the program itself from its beginning" in page.inner_text("#rest-told")
    broke(page, "pass", "3")
    assert page.is_enabled("#take-rest")

    lines = program.splitlines()
    at = max(k for k, words in enumerate(lines) if re.match("(G1 )?X", words))
    lines[at] = "G1 X3.3 Y4.4"
    drop(page, "lid.nc", "\n".join(lines))
    until(page, SAYS, ["rest-told", "Must not be cut"])
    assert page.is_disabled("#take-rest")
    drop(page, "lid.nc", program.replace("M5", "G20\nM5", 1))
    until(page, SAYS, ["rest-told", "the units change on the way"])
    assert "lid.nc:" in page.inner_text("#rest-told")
    assert page.is_disabled("#take-rest")
    drop(page, "large.nc", "G1 X1\n" * 3_000_000)
    until(page, SAYS, ["rest-told", "large.nc is too large"])
    drop(page, "piece.png", "\x89PNG\0")
    until(page, SAYS, ["rest-told", "this is no text"])
    page.keyboard.press("Escape")
    assert not page.is_visible("#rest")


def test_a_program_of_another_job_is_judged_alone(visit: Opener) -> None:
    """Its rest can be had, and what was not looked at is said; so it is while a number on the page is wrong."""
    page = visit(JOB)
    program = download(page, "#take-program")[1].decode()
    field(page, "pattern.pitch").fill("15 mm")
    planned(page)
    drop(page, "lid.nc", program)
    page.wait_for_selector("#rest[open]")
    broke(page, "pass", "3")
    assert "does not fit the job on this page" in page.inner_text("#rest-told")
    assert page.is_enabled("#take-rest")
    page.keyboard.press("Escape")
    field(page, "pattern.pitch").fill("15 mn")
    page.wait_for_selector("html[data-look=wrong]")
    page.click("#open-rest") if page.is_visible("#open-rest") else at_the_bench(page, "rest")
    until(page, SAYS, ["rest-told", "There is no job on this page whose numbers are right"])


def measured(page: Any) -> None:
    """Type widths of a bit of 58 degrees into every groove of the table."""
    count = page.locator("#fit-grooves tr").count()
    for k in range(count):
        depth = float(page.input_value(f"#fit-grooves-{k}-depth").split()[0])
        wide = 0.06 + 1.109 * depth + 0.003 * (-1) ** k
        page.fill(f"#fit-grooves-{k}-widths", f"{wide:.3f}, {wide + 0.008:.3f}; {wide + 0.004:.3f} mm")


def test_the_bit_from_measured_widths(visit: Opener, tmp_path: Path) -> None:
    """From the empty table to the bit in the job, as the command prints it; widths are then told with their uncertainty."""
    page = visit(JOB)
    at_the_bench(page, "fit")
    page.wait_for_selector("#fit-grooves-2-depth")
    assert "widths of 3 grooves or more" in page.inner_text("#fit-told")
    assert page.is_disabled("#take-fit")
    measured(page)
    until(page, SAYS, ["fit-told", "uncertainty: {angle"])
    name, table = download(page, "#fit-table")
    (tmp_path / name).write_bytes(table)
    said = mizo(tmp_path, "fit", name).stdout.decode()
    line = page.inner_text("#fit-told code")

    assert line in said
    assert "widths alone do not tell the two apart" in page.inner_text("#fit-told")
    assert page.locator("#fit-told svg circle.dot").count() == 2 * page.locator("#fit-grooves tr").count()
    page.reload()
    planned(page)
    at_the_bench(page, "fit")
    until(page, SAYS, ["fit-told", line])
    page.click("#take-fit")
    planned(page)
    assert "±" in answer(page, "Groove")
    assert line in download(page, "#take-job")[1].decode()
    page.click("#undo")
    planned(page)
    assert download(page, "#take-job")[1].decode() == JOB


def test_a_table_is_answered_in_its_place(visit: Opener, tmp_path: Path) -> None:
    """Wrong widths beside their groove, an outlier by its name, a tip that was measured; units may stand everywhere."""
    page = visit(
        JOB.replace(
            "bit: v60-3.175",
            "bit: {angle: 60 deg, diameter: 3.175 mm, shank: 3.175 mm, uncertainty: {height: 0.02 mm}}",
        )
    )
    table = mizo(tmp_path, "coupon", "lid.yaml", "--table", "-").stdout.decode()
    grooves = [k for k, line in enumerate(table.splitlines()) if "widths: []" in line]
    for k in range(len(grooves)):
        depth = float(table.splitlines()[grooves[k]].split("depth: ")[1].split()[0])
        table = edited(table, f"grooves.{k}.widths", [f"{1.109 * depth + 0.05 + 0.002 * (-1) ** k:.3f} mm"])
    drop(page, "mine.yaml", edited(table, "title", EVIL))
    page.wait_for_selector("#fit[open]")
    until(page, SAYS, ["fit-told", "uncertainty: {angle"])
    page.fill("#fit-grooves-1-widths", "1,12 mm")
    until(page, SAYS, ["fit-grooves-1-widths-wrong", "did you mean '1.12 mm'?"])
    assert page.is_disabled("#take-fit")
    page.fill("#fit-grooves-1-widths", "0.1 in")
    until(page, SAYS, ["fit-told", "groove 2, "])
    assert "Measure it again, or take it out" in page.inner_text("#fit-told")
    page.fill("#fit-grooves-1-widths", "")
    page.fill("#fit-tip-length", "0.004 in")
    page.fill("#fit-tip-uncertainty", "10 um")
    until(page, SAYS, ["fit-told", "than the program says"])
    page.fill("#fit-tip-uncertainty", "")
    page.fill("#fit-tip-length", "")
    until(page, SAYS, ["fit-told", "widths alone do not tell"])
    assert page.locator("img[src=x], #fit script").count() == 0
    assert EVIL in (page.locator("#fit-told svg title").text_content() or "")
    page.click("#fit-words")
    page.wait_for_selector("#ask[open]")
    text = page.input_value("#ask-text")
    assert EVIL in text
    page.fill("#ask-text", text.replace("units: mm", "units: inch"))
    page.click("#ask >> text=Take this text")
    until(page, SAYS, ["fit-told", " in at no depth"])
    page.click("#take-fit")
    planned(page)
    (tmp_path / "taken.yaml").write_bytes(download(page, "#take-job")[1])
    bit = vcarve.load_job(str(tmp_path / "taken.yaml")).bit
    assert bit.uncertainty is not None
    assert bit.uncertainty.height_mm == pytest.approx(0.02)


def test_a_refused_file_is_told_where_it_can_be_seen(visit: Opener) -> None:
    """While the table is open, above it; other files that are brought close it."""
    page = visit(JOB)
    at_the_bench(page, "fit")
    page.wait_for_selector("#fit-grooves-2-depth")
    drop(page, "nothing.yaml", "a: 1\n")
    until(page, SAYS, ["fit-told", "nothing.yaml was not taken"])
    drop(page, "other.yaml", JOB.replace("title: lid", "title: other"))
    until(page, "() => document.getElementById('title').value === 'other'")
    assert not page.is_visible("#fit")


def test_the_rest_by_keyboard_alone(visit: Opener) -> None:
    """Opened, told and taken without a mouse; what it was opened by has the focus afterwards."""
    page = visit(JOB)
    page.focus("#take details.more summary")
    page.keyboard.press("Enter")
    page.focus("#open-rest")
    page.keyboard.press("Enter")
    page.wait_for_selector("#rest[open]")
    for selector in ("[data-choose]", "#rest-own"):
        assert page.evaluate("s => document.activeElement.matches(s)", selector)
        page.keyboard.press("Tab") if selector != "#rest-own" else page.keyboard.press("Enter")
    until(page, "() => document.activeElement.id === 'rest--pass'")
    page.keyboard.type("2")
    until(page, "() => !document.getElementById('take-rest').disabled")
    for _ in range(3):
        page.keyboard.press("Tab")
    with page.expect_download():
        page.keyboard.press("Enter")
    page.keyboard.press("Escape")
    assert page.evaluate("() => document.activeElement.id") == "open-rest"


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_hinders_anybody(visit: Opener, size: str, scheme: str, artefacts: Path) -> None:
    """In both looks and at three sizes axe finds nothing, nothing sticks out, and what is touched is large enough."""
    from axe_playwright_python.sync_playwright import Axe

    page = visit(JOB, size=size, scheme=scheme)
    found = {}

    def look_through(state: str) -> None:
        page.screenshot(path=artefacts / f"bench-{state}-{size}-{scheme}.png")
        found[state] = [
            (one["id"], [node["target"] for node in one["nodes"]])
            for one in Axe().run(page).response["violations"]
        ]
        wide = page.evaluate(
            "() => [...document.querySelectorAll('dialog[open]')].map(e => [e.scrollWidth, e.clientWidth])"
        )
        assert all(inner <= outer for inner, outer in wide)

    at_the_bench(page, "rest")
    page.click("#rest-own")
    broke(page, "pass", "3")
    look_through("rest")
    broke(page, "pass", "two")
    look_through("rest-wrong")
    if size == "hand":
        small = """() => [...document.querySelectorAll('#rest button, #rest input')]
            .filter(e => e.getBoundingClientRect().height < 40).map(e => e.id)"""
        assert page.evaluate(small) == []
    page.keyboard.press("Escape")
    page.click("#open-fit")
    page.wait_for_selector("#fit-grooves-2-depth")
    measured(page)
    page.fill("#fit-grooves-1-widths", "3 mm")
    until(page, SAYS, ["fit-told", "Measure it again"])
    look_through("fit")
    page.fill("#fit-grooves-0-widths", "3 mn")
    until(page, SAYS, ["fit-grooves-0-widths-wrong", "mn"])
    look_through("fit-wrong")

    assert found == {state: [] for state in found}
