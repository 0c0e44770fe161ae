"""What forbids cutting a job, told from its numbers alone, and all at once."""

from __future__ import annotations

from typing import Any

import pytest

from vcarve.job.check import record_from
from vcarve.job.document import parse_document
from vcarve.job.load import resolve
from vcarve.job.records import Job, JobFile
from vcarve.job.suitability import suitability

DEEPEST_MM = 3.175  # a sharp 90° bit 6.35 mm across: (6.35 - 0) / (2 tan 45°)


def job(*sets: str, machine: dict[str, Any] | None = None) -> Job:
    """Return a job that suits its machine (a mill that takes 6.35 mm shanks), with values changed."""
    text = b"""
piece: {width: 100, height: 100, thickness: 12, wood: maple-sugar}
pattern: {name: higaki, pitch: 20}
groove: {depth: 2}
bit: {angle: 90, diameter: 6.35, shank: 6.35}
machine: rs274-mill
"""
    document = parse_document(text, file="try.yaml", folder=".", sets=sets)
    found = resolve(record_from(document, JobFile), ".", document)
    return found.model_copy(update={"machine": found.machine.model_copy(update=machine or {})})


def codes(*sets: str, machine: dict[str, Any] | None = None) -> list[tuple[str, str]]:
    """Return code and severity of every finding."""
    return [(f.code, f.severity) for f in suitability(job(*sets, machine=machine), DEEPEST_MM)]


def test_a_suitable_job_has_no_findings() -> None:
    """Nothing is found where nothing is wrong."""
    assert codes() == []


@pytest.mark.parametrize(
    ("sets", "code", "severity"),
    [
        (["bit.shank=8"], "collet", "refuse"),
        (["groove={ground: 1, leaf: 0.0009}"], "too-shallow", "refuse"),
        (["pattern.frame=[{distance: 5, depth: 0.0009}]"], "too-shallow", "refuse"),
        (["groove.step=0.0099"], "step-too-small", "refuse"),
        (["groove.depth=3.18"], "bit-too-short", "refuse"),
        (["piece.thickness=2"], "through-the-piece", "refuse"),
        (["piece.thickness=2.99"], "thin-floor", "caution"),
        (["piece.width=250.1"], "travel", "refuse"),
        (["piece.height=150.1"], "travel", "refuse"),
        (["feed.cut=1001"], "feed-too-fast", "refuse"),
        (["feed.plunge=401"], "feed-too-fast", "refuse"),
        (["feed.spindle=10001"], "spindle-range", "refuse"),
        (["feed.spindle=1999"], "spindle-range", "refuse"),
        (["clamps=[{x: -20, y: 0, width: 10, height: 9, above: 8}]"], "clamp", "refuse"),
        (["pattern.frame=[{distance: 5, depth: 3.18}]"], "bit-too-short", "refuse"),
        (["groove={ground: 1, leaf: 3.2}"], "bit-too-short", "refuse"),
        (["bit.shank=6.41"], "collet", "refuse"),
        (["pattern={drawing: a.svg, depths: {thick: 3.18}}"], "bit-too-short", "refuse"),
        (["pattern={drawing: a.svg, depths: {thin: 0.0009}}"], "too-shallow", "refuse"),
    ],
)
def test_each_finding(sets: list[str], code: str, severity: str) -> None:
    """A value just beyond its limit gives its finding and no other."""
    assert codes(*sets) == [(code, severity)]


@pytest.mark.parametrize(
    "sets",
    [
        ["bit.shank=6.38"],
        ["groove.depth=3.175"],
        ["groove.depth=0.001"],
        ["groove={depth: 0.005, step: 0.005}"],
        ["piece.thickness=3"],
        ["piece.width=250"],
        ["piece.height=150"],
        ["feed.cut=1000"],
        ["feed.spindle=10000"],
        ["clamps=[{x: -20, y: 0, width: 10, height: 9, above: 7.9}]"],
        ["piece.width=270", "pattern.margin=10"],
    ],
)
def test_at_the_limit_nothing_is_found(sets: list[str]) -> None:
    """A value at its limit is taken; a border without lines needs no travel."""
    assert codes(*sets) == []


@pytest.mark.parametrize("slow", ["x_mm_min", "y_mm_min"])
def test_the_slower_axis_sets_the_largest_feed(slow: str) -> None:
    """Lines run in every direction, so the cutting feed may be no more than either axis takes."""
    rates = job().machine.feed_max.model_copy(update={"x_mm_min": 1200.0, "y_mm_min": 1200.0, slow: 900.0})

    assert codes("feed.cut=900", machine={"feed_max": rates}) == []
    assert codes("feed.cut=901", machine={"feed_max": rates}) == [("feed-too-fast", "refuse")]


def test_levels_are_ten_last_decimals_apart() -> None:
    """A program with two decimals cannot tell levels apart that are nearer than 0.1 mm."""
    assert codes("groove.step=0.1", machine={"decimals": 2}) == []
    assert codes("groove.step=0.099", machine={"decimals": 2}) == [("step-too-small", "refuse")]


def test_travel_in_z() -> None:
    """From the bottom of the groove to the safe height must fit the travel: 2 + 8 mm here."""
    assert codes(machine={"travel": job().machine.travel.model_copy(update={"z_mm": 9.9})}) == [
        ("travel", "refuse")
    ]
    assert codes(machine={"travel": job().machine.travel.model_copy(update={"z_mm": 10.0})}) == []


def test_a_hop_above_the_safe_height() -> None:
    """A machine that lifts less than the job's hop is refused."""
    assert codes("plan.hop=3", machine={"safe_height_mm": 2.9}) == [("hop", "refuse")]


def test_a_spindle_that_stands_still() -> None:
    """No speed at all is refused even where the machine's range begins at nothing."""
    spindle = job().machine.spindle.model_copy(update={"min_rpm": 0.0})

    assert codes("feed.spindle=0", machine={"spindle": spindle}) == [("spindle-range", "refuse")]


def test_everything_at_once() -> None:
    """All findings are told together, each with the numbers that clash."""
    changes = ["bit.shank=8", "groove.depth=12", "piece.width=260", "feed.cut=1001", "feed.spindle=1"]
    found = suitability(job(*changes), DEEPEST_MM)
    said = " ".join(finding.sentence for finding in found)

    assert [finding.code for finding in found] == [
        "collet",
        "bit-too-short",
        "through-the-piece",
        "travel",
        "feed-too-fast",
        "spindle-range",
    ]
    for number in ("8 mm", "3.175 mm", "12 mm", "260 mm", "250 mm", "1001 mm/min", "1 rpm"):
        assert number in said


@pytest.mark.parametrize(
    ("sets", "hop_mm"),
    [
        ([], 1.0),
        (["plan.hop=0.5"], 0.5),
        (["clamps=[{x: -20, y: 0, width: 10, height: 9, above: 3}]"], 4.0),
        (["plan.hop=6", "clamps=[{x: -20, y: 0, width: 10, height: 9, above: 3}]"], 6.0),
        (["clamps=[{x: -20, y: 0, width: 10, height: 9, above: 7.5}]"], 8.0),
    ],
)
def test_the_hop_clears_the_clamps(sets: list[str], hop_mm: float) -> None:
    """Between passes the bit rises a millimetre above the tallest clamp, at most to the machine's safe height of 8 mm."""
    assert job(*sets).hop_mm == hop_mm
