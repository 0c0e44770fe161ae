"""The ``width`` command: what is asked at the bench and what it answers."""

from __future__ import annotations

import json
import math
import subprocess
import sys

import pytest
from click.testing import CliRunner

from vcarve.cli.width import width
from vcarve.errors import InputError


def ask(*words: str) -> str:
    """Run the command and return what it printed; errors are raised as they are."""
    result = CliRunner().invoke(width, list(words), catch_exceptions=False)
    assert result.exit_code == 0
    return result.stdout


def test_width_from_depth() -> None:
    """A right-angled bit cuts twice as wide as deep, and says so with units."""
    text = ask("--angle", "90", "--depth", "2")

    assert "depth 2.000 mm  cuts  width 4.000 mm" in text
    assert "0.1 mm in height changes the width by 0.200 mm" in text
    assert "1° in the bit's angle changes it by 0.070 mm" in text


def test_depth_from_width() -> None:
    """The same groove asked for by its width."""
    assert "width 4.000 mm  needs  depth 2.000 mm" in ask("--angle", "90", "--width", "4")


def test_deepest_cut_needs_the_diameter() -> None:
    """The cone of a quarter-inch right-angled bit is an eighth of an inch deep; else it is unknown."""
    assert "deepest cut 3.175 mm" in ask("--angle", "90", "--diameter", "1/4 in")
    assert "give --diameter" in ask("--angle", "90")


def test_units_are_read() -> None:
    """Inches and degrees may be written out."""
    facts = json.loads(ask("--angle", "90 deg", "--depth", '1/16"', "--json"))

    assert facts["width_mm"] == pytest.approx(25.4 / 8.0)


def test_json_carries_every_figure() -> None:
    """One JSON object with the answer, its sensitivities, the deepest cut and the table."""
    facts = json.loads(ask("--angle", "60", "--depth", "1", "--tip", "0.2", "--diameter", "6", "--json"))
    slope = 2.0 / math.sqrt(3.0)

    assert facts["width_mm"] == pytest.approx(0.2 + slope, abs=1e-6)
    assert facts["width_per_height_mm"] == pytest.approx(0.1 * slope, abs=1e-6)
    assert facts["deepest_mm"] == pytest.approx((6.0 - 0.2) / slope, abs=1e-6)
    assert facts["table"][-1]["width_mm"] == pytest.approx(6.0, abs=1e-6)


def test_beyond_the_cone_is_a_caution() -> None:
    """A depth below the cone is answered, with a caution."""
    assert "\ncaution  this is deeper" in ask("--angle", "90", "--diameter", "3", "--depth", "2")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--depth", "2"], "Which bit"),
        (["--angle", "90", "--depth", "2", "--width", "4"], "not both"),
        (["--angle", "90", "--depth", "two"], "--depth"),
        (["--angle", "90", "--tip", "1", "--width", "0.5"], "narrower than the bit's flat tip"),
    ],
)
def test_wrong_questions_are_bad_input(words: list[str], sentence: str) -> None:
    """Each wrong question is refused with a sentence and the exit code for bad input."""
    with pytest.raises(InputError, match=sentence) as caught:
        ask(*words)

    assert caught.value.exit_code == 2


def test_help_has_an_example() -> None:
    """The help shows how to ask."""
    assert "mizo width --angle 90 --depth 2" in ask("--help")


def test_the_command_loads_no_heavy_library() -> None:
    """Asking for a width imports neither numpy nor pydantic nor any other heavy library."""
    code = "import json, sys, vcarve.cli.width; print(json.dumps([*sys.modules]))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert not {"numpy", "pydantic", "yaml", "shapely", "scipy", "PIL"} & set(json.loads(done.stdout))


def test_a_bit_by_name_and_what_is_given_beside_it() -> None:
    """A named bit brings its shape; an option given beside it wins."""
    named = json.loads(ask("--bit", "v90-6.35", "--depth", "1", "--json"))
    changed = json.loads(ask("--bit", "v90-6.35", "--tip", "0.1", "--depth", "1", "--json"))

    assert (named["width_mm"], named["deepest_mm"]) == (pytest.approx(2.0), pytest.approx(3.175))
    assert changed["width_mm"] == pytest.approx(2.1)
