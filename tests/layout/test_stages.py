"""Stages of a layout: what is made again when a value changes, and what is kept."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from vcarve.errors import InputError
from vcarve.job.records import load_job
from vcarve.layout.stages import Kept, Layout, lay_out

JOB = """
title: Coaster
piece: {width: 90 mm, height: 90 mm, thickness: 9 mm, wood: cherry-black}
pattern: {name: asanoha, pitch: about 20 mm, margin: 3 mm, frame: [{distance: 3 mm, depth: 1 mm}]}
groove: {depth: 0.8 mm}
bit: v60-3.175
machine: small-desktop
"""
DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="40mm" viewBox="0 0 40 40">
<g id="star"><path d="M0 0L40 40M0 20H40"/></g></svg>"""


def both(tmp_path: Path, change: str, *first: str) -> tuple[Layout, Layout]:
    """Return a job's layout and that of the job with one more value set, laid out with what the first kept."""
    file = tmp_path / "job.yaml"
    file.write_text(JOB)
    kept = Kept()
    before = lay_out(load_job(str(file), first), kept)
    return before, lay_out(load_job(str(file), [*first, change]), kept)


def same(before: Layout, after: Layout) -> list[str]:
    """Return the names of the stages that were kept."""
    stages = ("field", "lines", "network", "grooves")
    return [name for name in stages if getattr(before, name) is getattr(after, name)]


@pytest.mark.parametrize(
    ("change", "kept"),
    [
        ("title=Trivet", ["field", "lines", "network", "grooves"]),
        ("piece.thickness=12 mm", ["field", "lines", "network", "grooves"]),
        ("piece.wood=maple-sugar", ["field", "lines", "network", "grooves"]),
        ("groove.depth=0.5", ["field", "lines", "network"]),
        ("pattern.frame.0.depth=0.5", ["field", "lines", "network"]),
        ("bit=v90-6.35", ["field", "lines", "network"]),
        ("pattern.frame.0.distance=5", []),
        ("pattern.rotate=90", ["field"]),
        ("pattern.margin=4", []),
        ("piece.width=80 mm", []),
    ],
)
def test_only_what_a_value_touches_is_made_again(tmp_path: Path, change: str, kept: list[str]) -> None:
    """A later value leaves the earlier stages as they were, down to the same objects."""
    before, after = both(tmp_path, change)
    fresh = lay_out(load_job(str(tmp_path / "job.yaml"), [change]))

    assert same(before, after) == kept
    assert after.grooves.half_width_mm.tolist() == fresh.grooves.half_width_mm.tolist()


def test_lines_that_run_off_the_piece_depend_on_the_depth(tmp_path: Path) -> None:
    """They run over the edge by half of the widest groove, so the field is another with the depth."""
    frame, ends = "pattern.frame=", "pattern.ends=run-off"

    assert same(*both(tmp_path, "groove.depth=0.5", frame, ends)) == []


@pytest.mark.parametrize(
    ("change", "kept"),
    [
        ("title=Trivet", ["field", "lines", "network", "grooves"]),
        ("groove.depth=0.5", ["field", "lines", "network"]),
        ("groove.taper=4 mm", ["field", "lines"]),
        ("pattern.margin=4", []),
    ],
)
def test_tapered_lines_are_kept_too(tmp_path: Path, change: str, kept: list[str]) -> None:
    """Lines that rise to the surface are a stage of their own between the network and the grooves."""
    assert same(*both(tmp_path, change, "groove.taper=6 mm")) == kept


def test_a_drawing_is_read_again_when_its_file_has_changed(tmp_path: Path) -> None:
    """The file's own state is one of the values; a layer's depth is not."""
    drawing = tmp_path / "lines.svg"
    drawing.write_text(DRAWING)
    file = tmp_path / "job.yaml"
    file.write_text(JOB)
    sets = ["pattern={drawing: lines.svg, depths: {star: 0.8}}"]
    kept = Kept()
    first = lay_out(load_job(str(file), sets), kept)
    deeper = lay_out(load_job(str(file), [*sets, "pattern.depths.star=1"]), kept)
    drawing.write_text(DRAWING.replace("M0 20H40", ""))
    other = lay_out(load_job(str(file), sets), kept)

    assert same(first, deeper) == ["field", "lines", "network"]
    assert same(first, other) == ["field"]
    assert other.network.edges < first.network.edges


def test_another_file_in_the_folder_is_nothing_to_a_layout(tmp_path: Path) -> None:
    """Saving the job beside its drawings lays nothing out anew."""
    (tmp_path / "job.yaml").write_text(JOB)
    kept, job = Kept(), load_job(str(tmp_path / "job.yaml"))
    before = lay_out(job, kept)
    os.utime(tmp_path, (1, 1))

    assert same(before, lay_out(job, kept)) == ["field", "lines", "network", "grooves"]


def test_an_unknown_layer_is_answered_with_layers_and_colours(tmp_path: Path) -> None:
    """Lines go by their group and by their colour, so both are named where a depth is given to neither."""
    drawing = (
        '<g id="rays" stroke="red"><path d="M5 5H35"/></g><path id="path7" stroke="#0000ff" d="M5 9H35"/>'
    )
    (tmp_path / "lines.svg").write_text(DRAWING.replace("</svg>", f"{drawing}</svg>"))
    file = tmp_path / "job.yaml"
    file.write_text(JOB)
    with pytest.raises(InputError) as caught:
        lay_out(load_job(str(file), ["pattern={drawing: lines.svg, depths: {rays: 1, blue: 0.8}}"]))
    (problem,) = caught.value.problems

    assert problem.value == "blue"
    assert {"#ff0000", "rays", "path7", "#0000ff"} <= set(re.findall(r"[#\w]+", problem.want))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("pattern.margin=1.7716 in", "--set pattern.margin: '1.7716 in': less than 0.5 mm is left"),
        (
            "pattern.pitch=about 100 um",
            "--set pattern.pitch: 'about 100 um': this gives more than 1,000,000 lines",
        ),
        (
            "pattern.frame=[{distance: 4.4999 cm}]",
            "--set pattern.frame: pattern.frame.0.distance: '4.4999 cm': less than 0.5 mm is left",
        ),
    ],
)
def test_what_cannot_be_laid_out_is_told_as_it_was_written(tmp_path: Path, change: str, told: str) -> None:
    """A value that a maker looks for in the file is told in the words it has there, not converted."""
    with pytest.raises(InputError) as caught:
        both(tmp_path, change)

    assert str(caught.value).startswith(told)
