"""The page as text: complete, without requests, and safe against what people write."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from importlib.resources import files

import numpy as np
import pytest

from contrasts import SHAPE_CONTRAST, TEXT_CONTRAST, contrast
from small_job import job_from, with_job
from vcarve.errors import Finding, grouped
from vcarve.job.bench import Bit
from vcarve.job.sections import Clamp, Zero
from vcarve.layout.stages import lay_out
from vcarve.proofing import check_program
from vcarve.run import DryRun, Made
from vcarve.view.facts import GROOVE, PLAN, PROGRAM, STOCK, SUMMARY, TOOL, chosen, facts
from vcarve.view.look import palette_css
from vcarve.view.page import embed, page_html, payload
from vcarve.view.sheet import rows, verdict
from vcarve.view.still import pack

CROWDED = """
piece: {width: 30 mm, height: 30 mm, thickness: 9 mm, wood: beech}
pattern: {name: asanoha, pitch: 4 mm}
groove: {depth: 2 mm, lost-land: allow}
bit: v60-3.175
machine: small-desktop
"""


class Outline(HTMLParser):
    """Collects the tags of a page and the text inside script elements."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[str] = []
        self.title = ""
        self._inside = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep a tag with its attributes."""
        self.tags.append((tag, dict(attrs)))
        self._inside = tag
        if tag == "script":
            self.scripts.append("")

    def handle_endtag(self, tag: str) -> None:
        """Leave an element."""
        self._inside = ""

    def handle_data(self, data: str) -> None:
        """Keep text that stands in a script or the title."""
        if self._inside == "script":
            self.scripts[-1] += data
        elif self._inside == "title":
            self.title += data


def outline(text: str) -> Outline:
    """Parse a page."""
    result = Outline()
    result.feed(text)
    return result


def test_a_page_asks_for_nothing(tile: Made) -> None:
    """No element of the page has an address to fetch, and no style fetches one."""
    text = page_html(tile)
    page = outline(text)

    assert not [
        a for _, attrs in page.tags for a in attrs if a in {"src", "href", "srcset", "action", "style"}
    ]
    assert "url(" not in text
    assert "@import" not in text


def test_titles_and_sentences_stay_text(tile: Made) -> None:
    """A title that closes scripts, opens tags or names a slot of the template comes out as written."""
    page = outline(page_html(tile))

    assert page.title == "Must not be cut: " + tile.job.name
    assert "u" not in {tag for tag, _ in page.tags}
    assert len(page.scripts) == 2


def test_the_policy_names_the_very_script_and_style(tile: Made) -> None:
    """The digests in the page's policy are those of its own script and style, and nothing else is allowed."""
    text = page_html(tile)
    policy = next(a["content"] for t, a in outline(text).tags if t == "meta" and "http-equiv" in a)
    script = outline(text).scripts[1]
    style = text.split("<style>")[1].split("</style>")[0]

    assert policy is not None
    assert policy.startswith("default-src 'none'")
    for part in (script, style):
        digest = base64.b64encode(hashlib.sha256(part.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy


def test_the_same_facts_give_the_same_bytes(tile: Made) -> None:
    """No clock and no chance gets into a page."""
    assert page_html(tile) == page_html(tile)


def test_the_program_is_in_the_page_line_by_line(tile: Made) -> None:
    """The data read back from the page hold the text's lines and every move's end."""
    data = json.loads(outline(page_html(tile)).scripts[0])
    ends = np.frombuffer(base64.b64decode(data["end"]), dtype="<f4").reshape(-1, 3)

    assert data["program"] == list(tile.reading.text_lines)
    assert ends == pytest.approx(tile.reading.moves.end_mm, abs=1e-5)


def test_a_page_without_a_job_says_so(bare: DryRun) -> None:
    """Piece, zero, bit and groove are shown as not given, and the picture takes the space of the cuts."""
    text = page_html(bare)
    piece = payload(bare)["piece"]

    assert text.count("not given") == 7  # the groove on the sheet only
    assert outline(text).title == "Dry run"
    assert not piece["known"]
    assert piece["width"] == pytest.approx(110.0)  # the tile and 5 mm on each side


def test_moves_that_start_elsewhere_are_listed() -> None:
    """A change of work coordinates makes the next move start where the one before did not end."""
    run = check_program("G21 G90 G94 F100\nG1 X10\nG92 X0\nG1 X5\nM2\n")

    assert payload(run)["jumps"] == [[1, [0.0, 0.0, 8.0]]]  # waiting at the usual machine's safe height


def test_machine_moves_have_no_known_place() -> None:
    """A move in machine coordinates is nowhere on the piece, and JSON still holds."""
    run = check_program("G21 G90 G94\nG0 X1 Y2 Z3\nG53 G0 Z0\nG0 X0 Y0\nM2\n")
    ends = np.frombuffer(base64.b64decode(payload(run)["end"]), dtype="<f4").reshape(-1, 3)

    assert np.isnan(ends[run.reading.moves.machine]).all()
    assert "NaN" not in embed(payload(run))


def test_packing_keeps_values() -> None:
    """Numbers come back from base64 as they went in."""
    values = np.array([1.5, -2.25, 1e6])

    assert np.frombuffer(base64.b64decode(pack(values, "f8")), dtype="<f8").tolist() == values.tolist()


@pytest.mark.parametrize("text", ["</script>", "<!--", "]]>", "\u2028", "&amp;"])
def test_embedded_json_cannot_end_its_element(text: str) -> None:
    """No sign that HTML or scripts treat specially is left, and the value is unchanged."""
    inside = embed([text])

    assert not re.search("[<>&\u2028\u2029]", inside)
    assert json.loads(inside) == [text]


def test_the_verdict_counts_what_forbids_cutting() -> None:
    """One finding that refuses outweighs any number of cautions."""
    refuse = Finding("travel", "A.")
    caution = Finding("chip", "B.")

    assert verdict(()) == ("clean", "Every check passed")
    assert verdict(grouped((caution, caution))) == ("caution", "No check forbids cutting: 1 caution")
    assert verdict(grouped((caution, refuse, refuse))) == ("refuse", "Must not be cut: 1 reason")


def test_every_rounded_or_flat_tip_is_named(tile: Made) -> None:
    """The bench sheet says what the tip is like."""
    ball = Bit(angle_deg=60, diameter_mm=6, shank_mm=6, tip_radius_mm=0.25)
    rounded = with_job(tile, bit=ball)

    assert "tip rounded to 0.25" in page_html(rounded)
    assert "0.1\u00a0mm flat tip" in page_html(tile)


@pytest.mark.parametrize("name", sorted(part.name for part in (files("vcarve.view") / "parts").iterdir()))
def test_no_part_of_the_page_has_a_colour_of_its_own(name: str) -> None:
    """Every colour comes from the look, so that none escapes its contrast."""
    text = (files("vcarve.view") / "parts" / name).read_text(encoding="utf-8")

    assert re.findall(r"#[0-9a-fA-F]{3}\b|#[0-9a-fA-F]{6}\b|rgba?\(|hsla?\(", text) == []


def test_every_colour_used_is_set() -> None:
    """The style sheet and the scripts name only custom properties that the palette defines."""
    sheets = ("page.css", "gallery.css", "still.js", "drawing.js", "player.js", "hands.js")
    parts = [(files("vcarve.view") / "parts" / name).read_text() for name in sheets]
    used = set(re.findall(r"var\(--([a-z-]+)\)|\"--([a-z-]+)\"", "".join(parts)))
    names = {first or second for first, second in used}

    assert names - set(re.findall(r"--([a-z-]+):", palette_css())) == set()


@pytest.mark.parametrize(("front", "back"), [("ink", "wood-cut"), ("indigo", "wood-cut")])
def test_the_section_is_legible_on_its_wood(front: str, back: str) -> None:
    """Dimensions and walls stand out from the cut wood by day, by night and on paper (WCAG 2.x, 1.4.3 and 1.4.11)."""
    least = TEXT_CONTRAST if front == "ink" else SHAPE_CONTRAST
    rules = re.findall(r"\{ (--[^}]*)\}", palette_css())

    assert len(rules) == 3
    for rule in rules:
        colours = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", rule))
        assert contrast(colours[front], colours[back]) >= least


def test_sections_have_names_of_their_own_and_the_sheet_tells_of_corners(tile: Made) -> None:
    """No two cards of the page share a heading; what the times take for granted of corners stands on page and sheet."""
    said = "corners are timed by a junction deviation of 0.01 mm; LinuxCNC rounds them by a rule of its own"
    machine = tile.machine.model_copy(update={"dialect": "linuxcnc", "junction_deviation_mm": 0.01})
    text = page_html(replace(tile, machine=machine)).replace("\u00a0", " ")
    page, sheet = text.split('<section class="sheet"')
    headings = re.findall(r"<h2>([^<]*?) ?<", page)

    assert len(headings) == len(set(headings)) >= 5
    assert said in page
    assert said in sheet


def test_each_groove_is_told_by_its_name(tile: Made) -> None:
    """Beside the sizes of a groove, on page and sheet, stands what it is, and no label stands twice."""
    page = page_html(tile).replace("\u00a0", " ")
    labels = re.findall(r"<dt>(.*?)</dt>", page.split('<section class="sheet"')[1])

    assert page.count("<dt>Groove, ground</dt><dd>0.8 mm deep, 1.024 mm wide</dd>") == 2
    assert page.count("<dt>Groove, leaf</dt><dd>0.6 mm deep, 0.793 mm wide</dd>") == 2
    assert len(labels) == len(set(labels))


def test_page_and_sheet_tell_every_fact_in_its_place(tile: Made) -> None:
    """What there is to say of a run stands with the stock, the tool, the groove, the program or the plan, in one order."""
    assert tile.job is not None
    clamp = Clamp(x_mm=80.0, y_mm=-20.0, width_mm=20.0, height_mm=20.0, above_mm=8.0)
    bit, machine = tile.job.bit.model_copy(update={"name": "v60-tip01"}), {"dialect": "linuxcnc"}
    run = with_job(tile, clamps=(clamp,), zero=Zero(turn_deg=2.0), bit=bit)
    run = replace(run, machine=tile.machine.model_copy(update=machine))
    told = {part: [label for label, _ in those] for part, those in rows(run).items()}

    assert told == {
        STOCK: ["Piece", "Zero", "Turn", "Clamps"],
        TOOL: ["Machine", "Kind of bit", "Bit", "Speeds"],
        GROOVE: ["Groove, ground", "Groove, leaf", "Land"],
        PROGRAM: ["Running time", "Program", "Passes", "Z", "Safe height", "Corners"],
        PLAN: ["Lines", "Lifts", "At even speed", "Proven least"],
    }


def test_land_that_no_cell_keeps_is_told_in_words() -> None:
    """Where the grooves of every cell meet, no land of 0 mm is called the narrowest."""
    layout = lay_out(job_from(CROWDED))

    assert layout.grooves.vanished == layout.network.cells > 1
    assert ("Land", f"none of {layout.network.cells} cells keeps any") in chosen(facts(layout), SUMMARY)


def test_the_printed_sheet_tells_how_many_passes_there_are(tile: Made, bare: DryRun) -> None:
    """Of a program just made and of one read without its job the bench sheet counts the passes, in one place."""
    for run in (tile, bare):
        _, sheet = page_html(run).split('<section class="sheet"')

        assert re.findall(r"<dt>Passes</dt><dd>(.*?)</dd>", sheet) == ["21"]


def test_the_space_of_a_program_without_its_job_holds_its_arcs() -> None:
    """Two half circles of radius 20 that begin and end on the X axis take 40 mm both ways, and 5 mm are to spare on each side."""
    run = check_program("G21 G90 G94 F100\nG0 X20 Y0 Z1\nG1 Z-1\nG2 X-20 I-20\nG2 X20 I20\nG0 Z5\nM2\n")
    piece = payload(run)["piece"]

    assert [piece["width"], piece["height"], *piece["centre"]] == pytest.approx([50.0, 50.0, 0.0, 0.0])


@pytest.mark.parametrize(("units", "said"), [("mm", "0.1 mm recut, 900.0 mm"), ("inch", "35.43 in")])
def test_a_way_too_short_for_its_figures_is_not_told(tile: Made, units: str, said: str) -> None:
    """0.1 mm cut again are told in millimetres; in inches of two decimals nothing would be left of them."""
    run = with_job(tile, units=units)
    told = dict(chosen(facts(run.layout, replace(tile.plan, recut_mm=0.1)), SUMMARY))["Passes"]

    assert told.endswith(f"; {said} of rapids")
