"""The gallery: one page, no network, filters that say what they do, figures that can be checked by hand."""

from __future__ import annotations

import math
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from vcarve.pattern.model import pattern
from vcarve.view.gallery import angle_words, cut_length, gallery_html, vertex_figures


class Tags(HTMLParser):
    """Collects start tags with their attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.seen: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep a tag."""
        self.seen.append((tag, dict(attrs)))


@pytest.mark.parametrize(
    ("name", "angles", "odd"),
    [
        ("asanoha", (30.0, 120.0), 2),
        ("kaku-asanoha", (22.5, 45.0, 112.5, 135.0), 4),
        ("kikko", (120.0,), 2),
        ("mitsukude", (60.0,), 0),
        ("ichimatsu", (90.0,), 0),
        ("tatewaku", (), 0),
    ],
)
def test_angles_and_odd_vertices(name: str, angles: tuple[float, ...], odd: int) -> None:
    """The angles are those of the construction: halved corners and the spokes of an incentre or a centre."""
    found, count = vertex_figures(pattern(name))

    assert found == pytest.approx(angles, abs=0.01)
    assert count == odd


def test_cut_length_per_square_decimetre() -> None:
    """A square grid has one side each way in the square of a side; three-way lines lie at sqrt(3) / 2 of their side."""
    page = gallery_html([pattern("ichimatsu"), pattern("mitsukude")]).replace("\u00a0", " ")

    assert cut_length(pattern("ichimatsu")) == pytest.approx(2.0)
    assert cut_length(pattern("mitsukude")) == pytest.approx(3.0 / (math.sqrt(3.0) / 2.0))
    assert re.findall(r"<dt>to cut per dm²</dt><dd>(.*?)</dd>", page) == ["1000 mm", "1732 mm"]


def test_the_page_stands_alone() -> None:
    """No address is fetched: no links, no sources, and a policy that allows only its own style and script."""
    page = gallery_html([pattern("asanoha"), pattern("shippo")])
    tags = Tags()
    tags.feed(page)
    addresses = set(re.findall(r"https?://[^\"'\s<]+", page))

    assert addresses == {"http://www.w3.org/2000/svg"}
    assert not [tag for tag, attrs in tags.seen if {"src", "href", "style", "onclick"} & attrs.keys()]
    assert "default-src 'none'" in page


def test_each_pattern_has_a_card_and_each_filter_a_state() -> None:
    """Cards carry family and lattice; buttons say by aria-pressed whether they are chosen; Japanese is marked."""
    entries = [pattern("asanoha"), pattern("shippo"), pattern("kaku-asanoha")]
    tags = Tags()
    tags.feed(gallery_html(entries))
    cards = [attrs for tag, attrs in tags.seen if tag == "li"]
    pressed = [(attrs["value"], attrs["aria-pressed"]) for tag, attrs in tags.seen if tag == "button"]
    families, lattices = {e.family for e in entries}, {e.lattice.kind for e in entries}

    assert [(card["data-family"], card["data-lattice"]) for card in cards] == [
        (e.family, e.lattice.kind) for e in entries
    ]
    assert {value for value, _ in pressed} == {"", *families, *lattices}
    assert [state for value, state in pressed if value == ""] == ["true", "true"]
    assert sum(attrs.get("lang") == "ja" for _, attrs in tags.seen) == len(entries)


def test_names_are_escaped() -> None:
    """A pattern file's own words reach the page as text."""
    page = gallery_html([pattern("shippo").model_copy(update={"name": "<img src=x>", "note": "a & b"})])

    assert "<img" not in page
    assert "&lt;img src=x&gt;" in page
    assert "a &amp; b" in page


@pytest.mark.slow
def test_filters_work_by_keyboard(browser: Any, tmp_path: Path) -> None:
    """In a browser: the keyboard reaches a filter, pressing it hides what does not fit and says how many are left."""
    entries = [pattern("asanoha"), pattern("shippo"), pattern("kaku-asanoha")]
    file = tmp_path / "gallery.html"
    file.write_text(gallery_html(entries), encoding="utf-8")
    page = browser.new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.goto(file.as_uri())
    page.locator("button[data-of=lattice][value=triangular]").focus()
    page.keyboard.press("Enter")
    shown = page.locator("li:visible").count()
    words = page.locator("#count").inner_text()
    state = page.locator("button[data-of=lattice][value=triangular]").get_attribute("aria-pressed")
    page.reload()
    kept = page.locator("li:visible").count()
    page.close()

    assert (shown, kept, state) == (1, 1, "true")
    assert words == "1 of 3 patterns"
    assert faults == []


def test_it_prints_four_to_a_row(browser: Any, tmp_path: Path) -> None:
    """On paper four patterns stand beside each other, each as wide, in the page's one main part."""
    file = tmp_path / "gallery.html"
    file.write_text(gallery_html([pattern("asanoha"), pattern("shippo")] * 4), encoding="utf-8")
    page = browser.new_page(viewport={"width": 700, "height": 1000})
    page.goto(file.as_uri())
    page.emulate_media(media="print")
    cards = [page.locator("main li").nth(k).bounding_box() for k in range(8)]
    wide = page.evaluate("() => document.documentElement.scrollWidth")
    page.close()

    assert len({round(card["y"]) for card in cards[:4]}) == 1
    assert cards[4]["y"] > cards[0]["y"] + cards[0]["height"] - 1
    assert len({round(card["width"]) for card in cards}) == 1
    assert wide <= 700


def test_angles_are_told_in_words() -> None:
    """Straight on and reflex angles are left out, curves that touch are said to, and lines without corners have none."""
    assert angle_words((22.5, 90.0, 180.0, 270.0)) == "22.5°, 90°"
    assert angle_words((0.0, 180.0)) == "touching"
    assert angle_words((0.0, 60.0)) == "60°, touching"
    assert angle_words((180.0,)) == "none"


def test_a_card_tells_the_usual_pitch() -> None:
    """Each card has the smallest and the largest pitch that its pattern's file names."""
    low, high = pattern("asanoha").pitch_mm

    assert f"<dt>usual pitch</dt><dd>{low:g} to {high:g} mm</dd>" in gallery_html(
        [pattern("asanoha")]
    ).replace("\u00a0", " ")
