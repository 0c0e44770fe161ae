"""Loose ends that taper, from the job to the checked program: a small one read by eye, and what is said of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from vcarve.cli.main import cli

# From the front, in a piece of 40 by 20: a line from X 10 to 30 at Y 10, and a branch from its middle down to Y 4.
LINES = '<path d="M10 10H30M20 10V16"/>'
JOB = """\
piece: {width: 40, height: 20, thickness: 10, wood: maple-sugar}
pattern: {drawing: lines.svg}
groove: {depth: 1, taper: 6}
bit: v60-3.175
machine: small-desktop
feed: {cut: 300, plunge: 100, spindle: 7000}
plan: {hop: 1}
"""


def run(folder: Path, *words: str, lines: str = LINES) -> str:
    """Run a command on the job and return what it says."""
    page = '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="20mm" viewBox="0 0 40 20">'
    (folder / "lines.svg").write_text(f"{page}{lines}</svg>")
    (folder / "job.yaml").write_text(JOB)
    said = CliRunner().invoke(
        cli, [word.replace("@", f"{folder}/") for word in words], catch_exceptions=False
    )
    assert said.exit_code == 0, said.output
    return said.output


def cut(folder: Path) -> list[str]:
    """Return the program's lines from the first pass to the last."""
    lines = (folder / "a.nc").read_text().splitlines()
    return lines[lines.index("X10 Y10") :]


def test_three_ends_rise_to_the_surface(tmp_path: Path, rs274: Any) -> None:
    """From the surface down over 6 mm, along, up the branch of 6 mm; then from the other end down, and up where lines meet."""
    said = run(tmp_path, "program", "@job.yaml", "-o", "@a.nc")

    one = ["X10 Y10", "Z1", "G1 Z0 F100", "X16 Z-1 F300", "X20", "Y4 Z0", "G0 Z1"]
    other = ["(Pass 2 of 2)", "X30 Y10", "G1 Z0 F100", "X24 Z-1 F300", "X20", "G0 Z5"]

    assert cut(tmp_path) == [*one, *other, "M5", "M2"]
    assert "loose ends taper to a point over 6 mm: 3 ends" in said
    assert "(Taper: loose ends taper to a point over 6 mm: 3 ends)" in (tmp_path / "a.nc").read_text()
    assert "every check passed" in run(tmp_path, "dry-run", "@a.nc", "--job", "@job.yaml")
    ran = rs274((tmp_path / "a.nc").read_text())

    assert (ran.accepted, ran.message) == (True, "")


def test_levels_clip_the_slopes(tmp_path: Path) -> None:
    """Of 1 mm in two levels, the second goes on from half-way down each slope, and nothing is cut twice at one depth."""
    run(tmp_path, "program", "@job.yaml", "-o", "@a.nc", "--set", "groove.step=0.6")
    lines = cut(tmp_path)

    assert {"X13 Z-0.5 F300", "Y4 Z0", "X30 Z0"} <= set(lines)
    assert "every check passed" in run(
        tmp_path, "dry-run", "@a.nc", "--job", "@job.yaml", "--set", "groove.step=0.6"
    )


@pytest.mark.parametrize(
    ("lines", "sets", "said", "ends"),
    [
        ('<path d="M10 5H30V15H10Z"/>', (), "no line ends in nothing, so none tapers", 0),
        ('<path d="M-1 10H41"/>', (), "no line ends in nothing, so none tapers", 0),
        (
            LINES,
            ("--set", "bit={angle: 60, diameter: 6, shank: 3.175, tip: 0.2}"),
            "to the tip's 0.2 mm over 6 mm: 3 ends",
            3,
        ),
        (LINES, ("--set", "units=inch"), "to a point over 0.2362 in: 3 ends", 3),
    ],
)
def test_what_tapers_is_told(tmp_path: Path, lines: str, sets: tuple[str, ...], said: str, ends: int) -> None:
    """Closed lines and lines that leave the piece have no loose end; a flat tip ends in its own width."""
    words = ("program", "@job.yaml", "-o", "@a.nc", *sets)

    assert said in run(tmp_path, *words, lines=lines)
    assert json.loads(run(tmp_path, *words, "--json", lines=lines).splitlines()[-1])["tapered_ends"] == ends


def test_ends_on_shorter_lines_are_told_by_what_they_rise_over(tmp_path: Path) -> None:
    """Of the three ends the branch has 6 mm and the others 10; summary, header, page, picture and JSON say so alike."""
    words = ("program", "@job.yaml", "-o", "@a.nc", "--set", "groove.taper=8 mm")
    said = run(tmp_path, *words, "--picture", "@a.svg", "--page", "@a.html")
    made = json.loads(run(tmp_path, *words, "--json").splitlines()[-1])
    told = "over 8 mm: 3 ends, 1 of them over less, down to 6 mm"

    assert told in " ".join(said.split())
    assert told in (tmp_path / "a.nc").read_text().replace(")\n(  ", " ")
    assert told in (tmp_path / "a.html").read_text().replace("\N{NO-BREAK SPACE}", " ")
    assert "1 of them over less" in " ".join((tmp_path / "a.svg").read_text().split())
    assert (made["tapered_ends"], made["tapered_short"], made["taper_least_mm"]) == (3, 1, 6.0)


@pytest.mark.parametrize(
    ("lines", "taper", "said"),
    [
        (LINES, "0.57", "At 3 of 3 loose ends"),  # a 60° bit's flank rises 1 mm in 0.5774 mm
        (LINES, "0.58", ""),
        ('<path d="M10 10H30M20 10V10.5"/>', "6", "At 1 of 3 loose ends"),
        ('<path d="M10 5H30V15H10Z"/>', "0.2", ""),
    ],
)
def test_ends_that_rise_steeply_are_told(tmp_path: Path, lines: str, taper: str, said: str) -> None:
    """What counts is how steeply an end does rise: asked for, or on a stub; where nothing tapers nothing is said."""
    words = ("program", "@job.yaml", "-o", "@a.nc", "--json", "--set", f"groove.taper={taper}")
    made = json.loads(run(tmp_path, *words, lines=lines).splitlines()[-1])
    found = [one for one in made["findings"] if one["code"] == "taper-too-short"]

    assert all(one["sentence"].startswith(said) for one in found)
    assert len(found) == len({tuple(one["at_mm"]) for one in found}) == (int(said.split()[1]) if said else 0)
    if "V10.5" in lines:
        assert [one["at_mm"] for one in found] == [[20.0, 9.5]]


def test_ends_at_a_margin_are_loose_and_makers_can_read_it(tmp_path: Path) -> None:
    """Lines that a margin cuts off taper, closed by a frame or run off the piece they do not; starter and key say so."""
    whole = '<path d="M0 10H40"/>'
    asked = ("program", "@job.yaml", "--set", "groove.taper=6")

    assert "no line ends in nothing" in run(tmp_path, *asked, lines=whole)
    margin = (*asked, "--set", "pattern.margin=3")
    assert "6 mm: 2 ends" in run(tmp_path, *margin, lines=whole)
    assert "no line ends in nothing" in run(
        tmp_path, *margin, "--set", "pattern.frame=[{distance: 3}]", lines=whole
    )
    schema = json.loads(run(tmp_path, "schema", "job"))
    said = schema["$defs"]["Groove"]["properties"]["taper"]["description"]
    commented = run(tmp_path, "new").split("# taper:")[1].split("# lost-land:")[0]
    for text in (said, commented):
        assert "at a margin" in " ".join(text.replace("#", " ").split())
