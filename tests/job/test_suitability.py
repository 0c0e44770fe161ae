"""What forbids cutting a job, told from its numbers alone, and all at once."""

from __future__ import annotations

from typing import Any

import pytest

from small_job import job_from
from vcarve.job.bench import bits, names, woods
from vcarve.job.records import Job
from vcarve.job.suitability import suitability

DEEPEST_MM = 3.175  # a sharp 90° bit 6.35 mm across: (6.35 - 0) / (2 tan 45°)


def job(*sets: str, machine: dict[str, Any] | None = None) -> Job:
    """Return a job that suits its machine (a mill that takes 6.35 mm shanks), with values changed."""
    text = """
piece: {width: 100, height: 100, thickness: 12, wood: maple-sugar}
pattern: {name: higaki, pitch: 20}
groove: {depth: 2}
bit: {angle: 90, diameter: 6.35, shank: 6.35}
machine: rs274-mill
"""
    return job_from(text, *sets, **machine or {})


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
        (["piece.width=250"], "travel-tight", "caution"),
        (["piece.width=255", "pattern.margin=9", "pattern.frame=[{distance: 2}]"], "travel", "refuse"),
        (["piece.width=240.1"], "travel-tight", "caution"),
        (["piece.height=150.1"], "travel", "refuse"),
        (["feed.cut=1001"], "feed-too-fast", "refuse"),
        (["feed.plunge=401"], "feed-too-fast", "refuse"),
        (["feed={cut: 441, spindle: 3333}"], "chip", "caution"),  # 2 edges, 0.06 mm: 400 mm/min, and a tenth
        (["feed={cut: 300, spindle: 9000}"], "chip", "caution"),  # 0.0167 mm: less than 0.02 mm by a sixth
        (["feed={cut: 300, plunge: 301, spindle: 5000}"], "plunge-fast", "caution"),
        (["groove={depth: 2.1, step: 2.5}"], "step-deep", "caution"),
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


def test_what_does_not_fit_the_machine_is_told_what_would() -> None:
    """A shank that no collet holds: bits of that angle that can be held; a clamp too high: the key to change."""
    sets = [
        "bit={angle: 60, diameter: 6, shank: 8}",
        "clamps=[{x: -20, y: 0, width: 10, height: 9, above: 8}]",
    ]
    small = {"collets_mm": (3.175,)}
    shank, clamp = (f.sentence for f in suitability(job(*sets, machine=small), 5.0))
    [none] = [f.sentence for f in suitability(job(sets[0], machine={"collets_mm": (10.0,)}), 5.0)]

    assert shank.endswith("Of 'mizo bits' these fit: v60-3.175.")
    assert "None of 'mizo bits' fits" in none
    assert "Raise 'safe-height' in the machine file" in clamp


def test_what_is_taken_at_once_is_a_level_and_not_the_step() -> None:
    """A step of 2.9 mm takes 3 mm in two levels of 1.5 mm, which is usual; one of 2.6 mm takes 5.1 mm in two of 2.55 mm."""
    [deep] = [f for f in suitability(job("groove={depth: 5.1, step: 2.6}"), 6.0) if f.code == "step-deep"]

    assert codes("groove={depth: 3, step: 2.9}") == []
    assert "takes 2.55 mm at once" in deep.sentence


@pytest.mark.parametrize(
    "sets",
    [
        ["bit.shank=6.38"],
        ["groove.depth=3.175"],
        ["groove.depth=0.001"],
        ["groove={depth: 0.005, step: 0.005}"],
        ["piece.thickness=3"],
        ["piece.width=240"],
        ["piece.height=140"],
        ["feed.cut=1000"],
        ["feed={cut: 399, spindle: 3333}"],
        ["feed={cut: 300, plunge: 300, spindle: 5000}"],
        ["groove={depth: 2.5, step: 2}"],
        ["feed.spindle=10000"],
        ["clamps=[{x: -20, y: 0, width: 10, height: 9, above: 7.9}]"],
        ["piece.width=260", "pattern.margin=10"],
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


def test_a_fine_tip_takes_half_the_chip() -> None:
    """What a plain bit takes breaks a tip of 0.1 mm at 20 degrees: 0.01 to 0.03 mm in maple, common practice."""
    fine = "bit={angle: 20, diameter: 3.175, shank: 3.175, tip: 0.1}"

    assert codes("groove.depth=1", "feed={cut: 400, spindle: 10000}") == []
    assert codes("groove.depth=1", "feed={cut: 800, spindle: 10000}") == []
    assert codes(fine, "groove.depth=1", "feed={cut: 400, spindle: 10000}") == []
    assert codes(fine, "groove.depth=1", "feed={cut: 800, spindle: 10000}") == [("chip", "caution")]


def test_the_cautions_say_what_would_be_usual() -> None:
    """Figures for the chip at this speed and at this feed, for the plunge and for the step."""
    feed, plunge = suitability(job("feed={cut: 300, plunge: 400, spindle: 2000}"), DEEPEST_MM)
    weak = ("groove={depth: 2, step: 2}", "machine=router-3018", "bit.shank=3.175")
    [step] = suitability(job(*weak), DEEPEST_MM)

    assert "takes 0.075 mm a turn; usual in Hard maple (sugar maple) is 0.02 to 0.06 mm" in feed.sentence
    assert "a feed of 80 to 240 mm/min; or at this feed, 2500 to 7500 rpm" in feed.sentence
    assert "at 400 mm/min, faster than it cuts, 300 mm/min" in plunge.sentence
    assert "30 % of the cut, 90 mm/min" in plunge.sentence
    assert "takes 2 mm at once" in step.sentence
    assert "1.5 mm or less" in step.sentence


def test_what_is_proposed_the_machine_can_do() -> None:
    """Speeds beyond the spindle's range and feeds beyond the largest are not proposed: rs274-mill has 2000 rpm and more."""
    slow = suitability(job("feed={cut: 100, plunge: 30, spindle: 10000}"), DEEPEST_MM)[0].sentence
    fast = suitability(job("feed={cut: 300, plunge: 30, spindle: 10000}"), DEEPEST_MM)[0].sentence

    assert (
        "To mend it, at this spindle speed, give a feed of 400 to 1000 mm/min; or at this feed, 2000 to 2500 rpm."
        in slow
    )
    assert "or at this feed, 2500 to 7500 rpm." in fast
    tiny = suitability(job("feed={cut: 10, plunge: 3, spindle: 10000}"), DEEPEST_MM)[0].sentence
    assert tiny.endswith("To mend it, at this spindle speed, give a feed of 400 to 1000 mm/min.")


def test_a_weak_machine_takes_less_at_once_by_itself() -> None:
    """Where the job gives no step, the share of the machine goes into it: 75 % of 2 mm."""
    assert job("machine=router-3018", "bit.shank=3.175").step_mm == pytest.approx(1.5)
    assert job().step_mm == pytest.approx(2.0)


@pytest.mark.slow
def test_speeds_that_are_left_out_are_never_cautioned() -> None:
    """No wood, bit and machine that come with Mizo give a caution by themselves."""
    for machine in names("machine"):
        for bit in bits():
            for wood in woods():
                found = suitability(
                    job(f"machine={machine}", f"bit={bit.name}", f"piece.wood={wood.name}"), 99
                )
                assert [f.code for f in found if f.severity == "caution"] == []


@pytest.mark.parametrize(
    ("outline", "expected"),
    [
        ("{shape: circle}", "centre"),
        ("{shape: ellipse}", "centre"),
        ("{shape: polygon, sides: 4}", "centre"),
        ("{shape: rounded, radius: 5}", "front-left"),
        ("{shape: rectangle}", "front-left"),
    ],
)
def test_zero_is_the_centre_of_a_piece_without_corners(outline: str, expected: str) -> None:
    """Only where the job says nothing: what is written stays."""
    assert job(f"piece.outline={outline}").zero.xy == expected
    assert job(f"piece.outline={outline}", "zero.z=bed").zero.xy == expected
    assert job(f"piece.outline={outline}", "zero.xy=back-left").zero.xy == "back-left"
    assert job(f"piece.outline={outline}", "zero.xy=center").zero.xy == "centre"
