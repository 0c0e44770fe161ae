"""The look: readable in both themes, and the same colours wherever they are used."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

from contrasts import SHAPE_CONTRAST, TEXT_CONTRAST, contrast, luminance, shape_pairs, text_pairs
from vcarve.view.look import DARK, LIGHT, Theme, indigo, mix, wall


def test_contrast_of_published_pairs() -> None:
    """Black on white is 21 by definition; #767676 is the best known grey that just passes 4.5 on white."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#ffffff", "#ffffff") == pytest.approx(1.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
def test_text_and_shapes_pass_wcag_aa(theme: Theme) -> None:
    """Every text stands out from its ground by 4.5, every shape with a meaning by 3."""
    poor = [pair for pair in text_pairs(theme) if contrast(*pair) < TEXT_CONTRAST]
    poor += [pair for pair in shape_pairs(theme) if contrast(*pair) < SHAPE_CONTRAST]

    assert not poor


def test_darker_is_deeper() -> None:
    """The indigo of cuts only gets darker with depth, and walls only lighter with light."""
    by_depth = [luminance(indigo(step / 10.0)) for step in range(11)]
    by_light = [luminance(wall(step / 10.0)) for step in range(11)]

    assert by_depth == sorted(by_depth, reverse=True)
    assert by_light == sorted(by_light)


def test_mixing_ends_at_both_colours() -> None:
    """Nothing of a colour, or all of it."""
    assert (mix("#102030", "#405060", 0.0), mix("#102030", "#405060", 1.0)) == ("#102030", "#405060")


SHEETS = (
    "view/drawing.py",
    "view/marks.py",
    "view/svg.py",
    "view/walls.py",
    "view/pattern.py",
    "view/gallery.py",
    "view/lines.py",
    "view/page.py",
    "view/still.py",
    "view/parts/page.css",
    "view/parts/gallery.css",
)


@pytest.mark.parametrize("name", SHEETS)
def test_colours_live_in_one_module(name: str) -> None:
    """Pictures and pages name no colour of their own; all come from the look."""
    text = files("vcarve").joinpath(name).read_text(encoding="utf-8")

    assert re.findall(r"#[0-9a-fA-F]{6}\b", text) == []
