"""The table of codes: each code of jobs is brought by one here.

Those of programs are in ``dryrun/test_checks.py``, those of panels in ``panel/test_movement.py``.
"""

from __future__ import annotations

from pathlib import Path

import ezdxf
import pytest

from small_job import job_from, own_pattern
from vcarve.codes import CODES, OF_BOTH, OF_JOBS, OF_PANELS, OF_PROGRAMS
from vcarve.errors import Finding, InternalError, refuses
from vcarve.layout.findings import job_findings
from vcarve.layout.stages import lay_out

JOB = """
piece: {width: 100, height: 100, thickness: 12, wood: maple-sugar}
pattern: {name: higaki, pitch: 15, margin: 5}
groove: {depth: 2}
bit: {angle: 90, diameter: 6.35, shank: 6.35}
machine: rs274-mill
"""
LINES = "{path: [[0, 0], [1, 0], [1, 1]]}"
OWN = "pattern={name: own.yaml, pitch: 20}"
DRAWN = "pattern={drawing: lines.svg}"
OUTLINE = "cut-out={bit: em-3.175}"
WARPED = "surface=heights.txt"
TOUCHED = "".join(f"{x} {y} 0\n" for x in range(5, 100, 15) for y in range(5, 100, 15))
FINE = ("piece.width=60", "piece.height=60", "bit={angle: 60, diameter: 6, shank: 6.35}", "groove.depth=0.8")
BELL = '<path d="M10 10H40V24H60V10H90V40H60V27H40V40H10Z"/>'
BROUGHT_BY: dict[str, tuple[str, ...]] = {
    "collet": ("bit.shank=8",),
    "too-shallow": ("groove={ground: 1, leaf: 0.0009}",),
    "thin-floor": ("piece.thickness=2.9",),
    "travel-tight": ("piece.width=255",),
    "chip": ("feed={cut: 900, spindle: 3333}",),
    "plunge-fast": ("feed={cut: 300, plunge: 301, spindle: 5000}",),
    "step-too-small": ("groove.step=0.0099",),
    "step-deep": ("groove={depth: 2.1, step: 2.5}",),
    "taper-too-short": ("groove={depth: 1, taper: 0.9}",),
    "surface-off-piece": (WARPED, "500 0 0\n600 0 0\n500 90 0\n90 90 0\n"),
    "surface-odd": (WARPED, TOUCHED.replace("50 50 0", "50 50 -0.6")),
    "surface-zero": (WARPED, TOUCHED.replace(" 0\n", " 12\n")),
    "surface-beyond": (WARPED, "10 10 0\n20 10 0\n10 90 0\n20 90 0\n"),
    "surface-bowed": (WARPED, TOUCHED.replace(" 95 0\n", " 95 14\n")),
    "surface-cut-off": (
        WARPED,
        "".join(f"[PRB:{x},{y},0:1]\n" for x, y in [(0, 0), (5, 5), (95, 5), (5, 95), (95, 95)]),
    ),
    "gap": (OWN, f"{LINES}, {{from: [0.3, 0], to: [0.3, 0.999]}}"),
    "group": (OWN, "{path: [[0, 0], [1, 0], [1, 1]]}"),
    "repeat": (OWN, "{from: [0, 0], to: [0.2, 0.1]}, {from: [0.5, 0.5], to: [0.7, 0.6]}"),
    "drawing-read": ("pattern={drawing: lines.dxf}",),
    "drawing-flattened": (DRAWN, '<path stroke-dasharray="4 2" d="M10 10H50"/>'),
    "drawing-ignored": (DRAWN, '<path d="M10 10H50"/><text>words</text>'),
    "gap-closed": (DRAWN, '<path d="M10 10H50"/><path d="M50.02 10V40"/>'),
    "doubled-line": (DRAWN, '<path d="M10 10H50"/><path d="M10 10H50"/>'),
    "drawing-clipped": (DRAWN, '<path d="M10 10H110"/>'),
    "drawing-lost": (DRAWN, '<path d="M90 10H310"/>'),
    "land-lost": ("pattern.pitch=4",),
    "land-vanished": (*FINE, "pattern={name: asanoha, pitch: 3.6, edge: plain}"),
    "land-uncertain": (*FINE, "pattern={name: asanoha, pitch: 5, edge: plain}", "bit.uncertainty={tip: 0.5}"),
    "land-broken": (DRAWN, BELL),
    "weak-island": (*FINE, "pattern={name: asanoha, pitch: 5, edge: plain}"),
    "edge-sliver": (DRAWN, '<path d="M2.1 10V90"/>'),
    "pitch-unusual": ("pattern.pitch=90",),
    "groove-hairline": ("groove.depth=0.04",),
    "cut-out-narrow": (OUTLINE, '<path d="M0 0H100V100H0Z"/><circle cx="50" cy="50" r="1"/>'),
    "cut-out-corner": (OUTLINE, '<path d="M0 0H100V50H50V100H0Z"/>'),
    "cut-out-tabs": ("cut-out={bit: em-6, tabs: 30}",),
    "cut-out-surface": (WARPED, TOUCHED, "cut-out={bit: em-6}"),
    "cut-out-loose": ("cut-out={bit: em-6, tabs: 0}",),
}


def findings(folder: Path, *sets: str) -> tuple[Finding, ...]:
    """Return what is found of the job; the second word may be the lines of its own pattern or drawing."""
    if sets[0] in (OWN, DRAWN, WARPED, OUTLINE) and len(sets) > 1:
        page = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100">'
        (folder / "own.yaml").write_text(own_pattern(sets[1]))
        (folder / "heights.txt").write_text(sets[1])
        (folder / "lines.svg").write_text(f"{page}{sets[1]}</svg>")
        drawn = ("piece.outline={shape: drawing, file: lines.svg}",) * (sets[0] == OUTLINE)
        sets = (sets[0], *drawn, *sets[2:])
    document = ezdxf.new(units=0)
    document.modelspace().add_line((10, 10), (50, 10))
    document.saveas(folder / "lines.dxf")
    job = job_from(JOB, *sets, folder=str(folder))
    return job_findings(lay_out(job))


@pytest.mark.parametrize("code", OF_JOBS)
def test_each_code_of_jobs_is_brought_by_one(tmp_path: Path, code: str) -> None:
    """A job with one fault has its finding, at the weight that the table gives it."""
    found = [one for one in findings(tmp_path, *BROUGHT_BY[code]) if one.code == code]

    assert found
    assert {one.severity for one in found} == {CODES[code][0]}


def test_a_sound_job_brings_none(tmp_path: Path) -> None:
    """The job that the others differ from has no finding."""
    assert findings(tmp_path, "title=sound") == ()


def test_codes_stand_in_the_table_once() -> None:
    """No code is listed twice, and none is brought by a job here that is not in the table."""
    assert len(CODES) == len(OF_JOBS) + len(OF_PANELS) + len(OF_BOTH) + len(OF_PROGRAMS)
    assert BROUGHT_BY.keys() == OF_JOBS.keys()


def test_a_finding_has_a_code_of_the_table_and_weighs_no_more() -> None:
    """An unknown code is a fault of our own; a finding may weigh less than its code."""
    with pytest.raises(InternalError, match="no-such-code"):
        Finding("no-such-code", "What is this?")

    assert refuses([Finding("travel", "Too far.")])
    assert not refuses([Finding("travel", "Too far.", mild=True), Finding("chip", "Thick.")])
