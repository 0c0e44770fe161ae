"""What is said of the land, and whether what is said to mend it does."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from vcarve.job.records import load_job
from vcarve.layout.findings import land_findings
from vcarve.layout.stages import Layout, lay_out
from vcarve.pipeline import plan_program
from vcarve.report import program_rows

JOB = """
piece: {{width: 100 mm, height: 60 mm, thickness: 10 mm, wood: cherry-black}}
pattern: {{name: {name}, pitch: 20 mm, edge: plain, shift-x: {shift} mm}}
groove: {{depth: 1 mm}}
bit: {{angle: 90 deg, diameter: 6 mm, shank: 6 mm}}
machine: small-desktop
"""

FINE = """
piece: {width: 60 mm, height: 60 mm, thickness: 9 mm, wood: cherry-black}
pattern: {name: asanoha, pitch: 2 mm, edge: plain}
groove: {depth: 0.8 mm}
bit: v60-3.175
machine: small-desktop
"""


def laid(file: Path, *sets: str) -> Layout:
    """Return a job's layout."""
    return lay_out(load_job(str(file), sets))


def drawn(folder: Path, side_mm: int, path: str) -> Path:
    """Write a job whose drawing has one path on a square page, and return its file."""
    size = f'width="{side_mm}mm" height="{side_mm}mm" viewBox="0 0 {side_mm} {side_mm}"'
    (folder / "lines.svg").write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" {size}><path d="{path}"/></svg>'
    )
    file = folder / "job.yaml"
    file.write_text(FINE.replace("name: asanoha, pitch: 2 mm, edge: plain", "drawing: lines.svg"))
    return file


def whole_cells_lost(layout: Layout) -> int:
    """Count the cells, of those that nothing clips, that keep no land."""
    return int((layout.grooves.land_mm[layout.network.cell_class >= 0] == 0.0).sum())


@pytest.mark.parametrize(("shift", "expected"), [(0.0, 0), (18.7, 1), (5.0, 0)])
def test_a_groove_along_the_edge_is_a_caution_with_its_place(
    tmp_path: Path, shift: float, expected: int
) -> None:
    """Lines at odd tens of millimetres, moved: 50 - 30 - 18.7 less the half-width of 1 leaves 0.3 mm."""
    file = tmp_path / "job.yaml"
    file.write_text(JOB.format(name="ichimatsu", shift=shift))
    found = [finding for finding in land_findings(laid(file)) if finding.code == "edge-sliver"]

    assert [finding.severity for finding in found] == ["caution"] * expected
    for finding in found:
        assert "0.3 mm" in finding.sentence
        assert finding.at_mm is not None
        assert finding.at_mm[0] == pytest.approx(48.7)


def test_a_drawing_s_groove_along_the_edge_is_told_what_a_drawing_has(tmp_path: Path) -> None:
    """A drawing has no pitch to change."""
    file = drawn(tmp_path, 60, "M0.8 10V50")
    (said,) = [finding.sentence for finding in land_findings(laid(file)) if finding.code == "edge-sliver"]

    assert said.endswith("Shift the drawing, or change the margin.")


@pytest.fixture
def fine(tmp_path: Path) -> Path:
    """Return a job whose grooves meet over every whole cell."""
    file = tmp_path / "fine.yaml"
    file.write_text(FINE)
    return file


@pytest.mark.parametrize("groove", ["{depth: 0.8}", "{ground: 1, leaf: 0.3}"])
def test_most_land_lost_is_refused_with_pitch_and_depth_that_keep_it(fine: Path, groove: str) -> None:
    """The pitch and the depths that the finding names leave every whole cell land; two hundredths of the pitch less do not."""
    [lost] = [f for f in land_findings(laid(fine, f"groove={groove}")) if f.code == "land-lost"]
    pitch, sound = re.findall(r"from a pitch of ([0-9.]+) mm, .* from ([0-9.]+) mm;", lost.sentence)[0]
    depths = re.findall(r"(?:depth of|ground|leaf) ([0-9.]+) mm", lost.sentence)
    shallower = f"groove={{ground: {depths[0]}, leaf: {depths[-1]}}}"

    assert lost.severity == "refuse"
    # The inscribed circle of a 30-30-120 triangle: pitch * tan 15°.
    assert "have room for 0.536 mm" in lost.sentence
    assert whole_cells_lost(laid(fine, f"groove={groove}", f"pattern.pitch={pitch}")) == 0
    assert whole_cells_lost(laid(fine, f"groove={groove}", f"pattern.pitch={0.98 * float(pitch)}")) > 0
    assert whole_cells_lost(laid(fine, shallower)) == 0
    land = laid(fine, f"groove={groove}", f"pattern.pitch={sound}")
    assert land.grooves.land_mm[land.network.cell_class >= 0].min() >= 0.499


def test_a_job_may_say_that_lost_land_is_meant(fine: Path) -> None:
    """With 'lost-land: allow' the same sentence is a caution."""
    [lost] = [f for f in land_findings(laid(fine, "groove.lost-land=allow")) if f.code == "land-lost"]

    assert lost.severity == "caution"
    assert "lost-land" not in lost.sentence


def test_lost_land_of_clipped_cells_is_laid_to_the_edge(fine: Path) -> None:
    """Where every whole cell keeps its land, the groove's width is not the cause."""
    [lost] = [f for f in land_findings(laid(fine, "pattern.pitch=3.6")) if f.code == "land-vanished"]

    assert lost.severity == "caution"
    assert "the piece's edge or a frame clips them" in lost.sentence


def test_clipped_cells_are_laid_to_the_margin_where_no_cell_is_whole(tmp_path: Path) -> None:
    """Cells with room for a circle of 18 mm, all of them clipped by the margin, do not lose land to a groove 1 mm wide."""
    file = tmp_path / "job.yaml"
    file.write_text(
        "piece: {width: 43, height: 45, thickness: 9, wood: cherry-black}\n"
        "pattern: {name: amime, pitch: 22.4, rotate: 15 deg, margin: 7}\n"
        "groove: {ground: 0.84, leaf: 0.97}\nbit: v60-3.175\nmachine: small-desktop\n"
    )
    [lost] = [f for f in land_findings(laid(file)) if f.code == "land-vanished"]

    assert "the margin or a frame clips them" in lost.sentence
    assert "depth of" not in lost.sentence


def test_a_pitch_is_said_to_do_for_whole_cells_only(fine: Path) -> None:
    """Clipped cells can lose their land at any pitch."""
    [lost] = [f for f in land_findings(laid(fine)) if f.code == "land-lost"]

    assert "Every whole cell keeps some land from a pitch of" in lost.sentence


def test_a_single_cell_is_not_counted(tmp_path: Path) -> None:
    """One cell, whose grooves meet: the sentence begins with a word, and not with '1 of 1 cell'."""
    file = drawn(tmp_path, 2, "M0 0H2V2H0Z")
    made = plan_program(load_job(str(file), ["groove.depth=2", "piece.width=2", "piece.height=2"]))
    [lost] = [f for f in land_findings(made.layout) if f.code == "land-lost"]

    assert lost.sentence.startswith("The only cell keeps no land:")
    assert dict(program_rows(made))["land"] == "the only cell keeps none"


def test_a_cell_in_islands_is_told_apart_from_its_smallest_island(tmp_path: Path) -> None:
    """Two chambers with a neck that the groove closes: the cell is as wide as the larger, the caution speaks of the smaller."""
    file = drawn(tmp_path, 60, "M5 5H25V14.75H30V14.3H31.4V15.7H30V15.25H25V25H5Z")
    made = plan_program(load_job(str(file)))
    [weak] = [f for f in land_findings(made.layout) if f.code == "weak-island"]
    told = re.match(
        r"narrowest cell ([0-9.]+) mm, smallest island ([0-9.]+ mm); ", dict(program_rows(made))["land"]
    )

    assert told is not None
    assert float(told[1]) > 19.0
    assert f"a circle of {told[2]} only" in weak.sentence


def test_the_smallest_island_is_told_with_the_summary_s_decimals(fine: Path) -> None:
    """The narrowest land of the summary and the smallest island of the caution are one figure."""
    layout = laid(fine, "pattern.pitch=4")
    narrowest = layout.job.figures.length(layout.grooves.narrowest_mm)
    weak = next(f for f in land_findings(layout) if f.code == "weak-island")

    assert re.fullmatch(r"0\.\d{3} mm", narrowest)
    assert f"the smallest has room for a circle of {narrowest} only." in weak.sentence


def test_weak_land_everywhere_names_the_pitch_that_ends_it(fine: Path) -> None:
    """At 4 mm every island is 0.15 mm wide; from the pitch that is named on, every whole cell keeps half a millimetre."""
    weak, *_ = [f for f in land_findings(laid(fine, "pattern.pitch=4")) if f.code == "weak-island"]
    [pitch] = re.findall(
        r"At a pitch of ([0-9.]+) mm or more every whole cell keeps land of 0.5 mm", weak.sentence
    )
    layout = laid(fine, f"pattern.pitch={pitch}")

    # the inscribed circle, pitch * tan 15°, less the groove's width, 2 * 0.8 * tan 30°, is 0.5 mm
    assert float(pitch) == pytest.approx((0.5 + 1.6 * 3**-0.5) / (2 - 3**0.5), abs=0.02)
    assert layout.grooves.land_mm[layout.network.cell_class >= 0].min() >= 0.499
