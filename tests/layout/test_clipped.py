"""A drawing that reaches beyond the piece: what is cut off is said with figures."""

from __future__ import annotations

from pathlib import Path

import pytest

from vcarve.errors import Finding
from vcarve.job.records import load_job
from vcarve.layout.findings import job_findings
from vcarve.layout.stages import lay_out

JOB = """
piece: {width: 4 in, height: 4 in, thickness: 10 mm, wood: cherry-black}
pattern: {drawing: lines.svg}
groove: {depth: 1 mm}
bit: v60-3.175
machine: small-desktop
"""
SQUARE = """<svg xmlns="http://www.w3.org/2000/svg" width="SIZEin" height="SIZEin" viewBox="0 0 1 1">
<path d="M0 0H1V1H0Z M0 0.5H1"/></svg>"""


def clipped(tmp_path: Path, size_in: float, *sets: str) -> list[Finding]:
    """Return the findings of a drawing too large: a square of this size with a line across its middle."""
    (tmp_path / "lines.svg").write_text(SQUARE.replace("SIZE", str(size_in)))
    (tmp_path / "job.yaml").write_text(JOB)
    job = load_job(str(tmp_path / "job.yaml"), sets)
    return [
        finding
        for finding in job_findings(lay_out(job))
        if finding.code in ("drawing-clipped", "drawing-lost")
    ]


def test_a_drawing_larger_than_the_piece_is_told(tmp_path: Path) -> None:
    """Of 4.5 in, 114.3 mm, a piece of 101.6 mm holds only the line across: 4 x 114.3 + 12.7 of 571.5 mm are lost."""
    [found] = clipped(tmp_path, 4.5)
    [meant] = clipped(tmp_path, 4.5, "pattern.lost-lines=allow")

    assert (found.code, found.severity) == ("drawing-lost", "refuse")
    assert "'lost-lines: allow'" in found.sentence
    assert meant.severity == "caution"
    assert "lost-lines" not in meant.sentence
    assert "measures 114.3 mm by 114.3 mm, and the piece 101.6 mm by 101.6 mm" in found.sentence
    assert "469.8 mm of its lines (82.2 %) lie outside and are not cut" in found.sentence


@pytest.mark.parametrize(
    ("size_in", "sets"),
    [(4.0, ()), (3.0, ()), (3.0, ("pattern.margin=12",)), (2.8, ("piece.outline={shape: circle}",))],
)
def test_a_drawing_that_fits_is_not(tmp_path: Path, size_in: float, sets: tuple[str, ...]) -> None:
    """Lines on the edge itself lie on the piece, and so does a square inside a circle."""
    assert clipped(tmp_path, size_in, *sets) == []


def test_a_drawing_of_which_the_most_lies_on_the_piece_is_cut(tmp_path: Path) -> None:
    """Moved by 13 mm, a square of 3 in loses a side of 76.2 mm and 0.3 mm of the three lines that lead to it."""
    [found] = clipped(tmp_path, 3.0, "pattern.shift-x=13")

    assert (found.code, found.severity) == ("drawing-clipped", "caution")


@pytest.mark.parametrize(
    "sets",
    [
        ("pattern.margin=13",),
        ("pattern.shift-x=13",),
        ("pattern.rotate=45",),
        ("piece.outline={shape: circle}",),
    ],
)
def test_margin_shift_turn_and_outline_clip_too(tmp_path: Path, sets: tuple[str, ...]) -> None:
    """A drawing of 3 in fits a piece of 4 in only where it lies in the middle, straight, on a square without a border."""
    [found] = clipped(tmp_path, 3.0, *sets)

    assert ("inside the margin" in found.sentence) == ("margin" in sets[0])


@pytest.mark.parametrize(("size", "said"), [("4", "lie as on their page"), ("3", "are centred on the piece")])
def test_where_a_drawing_lies_is_told(tmp_path: Path, size: str, said: str) -> None:
    """On a page of the piece's size a line keeps its place; else its middle is the piece's."""
    (tmp_path / "lines.svg").write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size}in" height="{size}in" viewBox="0 0 {size} {size}">'
        '<path d="M0.5 0.5H1.5V1H0.5Z" fill="none" stroke="black"/></svg>'
    )
    (tmp_path / "job.yaml").write_text(JOB)
    layout = lay_out(load_job(str(tmp_path / "job.yaml")))
    across = layout.network.xy_mm[layout.network.tail[layout.network.cut], 0]

    assert said in layout.lines.sentences[0]
    assert (across.min() + across.max()) / 2.0 == pytest.approx(-25.4 if size == "4" else 0.0)
