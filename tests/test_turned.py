"""A piece that lies turned on the table: everything made for it, end to end."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, get_args

import numpy as np
import pytest

from small_job import job_from, make_program
from vcarve.dryrun.track import path, setup_of, track
from vcarve.errors import InputError, refuses
from vcarve.job.records import Job
from vcarve.job.sections import ZeroPlace
from vcarve.layout.stages import lay_out
from vcarve.mount.flat import mount_of
from vcarve.pipeline import plan_program
from vcarve.program.moves import Motion
from vcarve.program.reader import read_program
from vcarve.proofing import carve_piece, check_program, target_of
from vcarve.report import program_json
from vcarve.run import Made
from vcarve.view.sheet import slots

TILE = """\
piece: {width: 80 mm, height: 50 mm, thickness: 8 mm, wood: maple-sugar}
pattern: {name: shippo, pitch: 12 mm, margin: 4 mm}
groove: {depth: 0.5 mm}
bit: v60-3.175
machine: small-desktop
"""
ROUND = TILE.replace("80 mm", "50 mm").replace("maple-sugar}", "maple-sugar, outline: {shape: circle}}")
KINDS: dict[str, tuple[str, dict[str, Any]]] = {
    "tile": (TILE, {}),
    "round": (ROUND, {}),
    "inch machine": (TILE, {"units": "inch", "decimals": 4}),
    "no arcs": (TILE, {"arcs": False}),
    "LinuxCNC": (TILE, {"dialect": "linuxcnc"}),
}


def turned(text: str, turn_deg: float, *sets: str, **machine: Any) -> Job:
    """Make the job of a text, on a piece that lies turned."""
    return job_from(text, f"zero.turn={turn_deg:.9f} deg", *sets, **machine)


def codes(made: Made) -> list[str]:
    """Return the codes of what was found."""
    return [one.code for one in made.findings]


@pytest.mark.parametrize("xy", get_args(ZeroPlace))
@pytest.mark.parametrize("kind", KINDS)
def test_a_turned_piece_passes_every_check(kind: str, xy: str) -> None:
    """From every zero, on pieces and machines of several kinds, the program is clean and every groove as wide as computed."""
    text, machine = KINDS[kind]
    job = turned(text, 11.25, f"zero.xy={xy}", **machine)
    made = plan_program(job)

    run = check_program(made.text, file="a.nc", machine=job.machine, job=job)
    facts = carve_piece(run, step_mm=0.05).measured
    assert facts is not None

    assert codes(made) == codes(plan_program(turned(text, 0.0, f"zero.xy={xy}", **machine)))
    assert not refuses(run.findings)
    assert facts.measured > 0
    assert abs(facts.worst_mm) < 0.05


@pytest.mark.parametrize("kind", KINDS)
def test_an_interpreter_runs_it(kind: str, rs274: Callable[[str], object]) -> None:
    """The interpreter takes the program of a turned piece without a word."""
    text, machine = KINDS[kind]
    ran = rs274(make_program(turned(text, -7.3, **machine)).text)

    assert ran.accepted, ran.message  # type: ignore[attr-defined]
    assert ran.message == ""  # type: ignore[attr-defined]


def test_straight_is_as_it_was() -> None:
    """A turn of nothing gives the bytes of a job that says nothing of a turn."""
    assert plan_program(turned(TILE, 0.0)).text == plan_program(job_from(TILE)).text


def test_the_front_edge_rises_to_the_right() -> None:
    """Turned by 30 degrees about the front left corner, the front right one lies at cos 30 and sin 30 of the width."""
    job = turned(TILE, 30.0, "pattern.margin=", "pattern.name=kaku-asanoha", "pattern.pitch=10 mm")

    x, y = mount_of(job).axes_mm(40.0, -25.0)
    back = setup_of(job).on_piece(np.array([80.0 * math.cos(math.pi / 6), 40.0, 0.0]))

    assert (x, y) == pytest.approx((80.0 * math.cos(math.pi / 6), 40.0))
    assert back == pytest.approx([40.0, -25.0, 0.0])
    assert "X69.282 Y40" in plan_program(job).text


@pytest.mark.parametrize(("cut", "lies"), [(1.5, 0.0), (0.0, 1.5), (1.5, -1.5), (0.02, 0.0)])
def test_a_program_for_another_turn_is_found(cut: float, lies: float) -> None:
    """Cut for one turn and checked for another, even 0.02 degrees off, the program must not be run."""
    made = make_program(turned(TILE, cut))
    job = turned(TILE, lies)

    found = check_program(made.text, file="a.nc", machine=job.machine, job=job).findings

    assert {"stray-cut", "other-job"} & {one.code for one in found if one.severity == "refuse"}


@pytest.mark.parametrize("cut", [0.0015, 0.003])
def test_a_program_turned_by_next_to_nothing_is_asked_about(cut: float) -> None:
    """Where so slight a turn leaves some lines where they were, the cuts beside the others ask whether the turn is another."""
    job = turned(TILE, 0.0, "zero.xy=centre")
    made = make_program(turned(TILE, cut, "zero.xy=centre"))

    found = check_program(made.text, file="a.nc", machine=job.machine, job=job).findings

    asked = [one for one in found if one.code == "stray-cut"]
    assert asked
    assert all("made for another zero or turn?" in one.sentence for one in asked)


def test_it_is_told_wherever_the_zero_is() -> None:
    """Header, summary and figures for scripts say how the piece lies; the extents are those of the axes."""
    job = turned(TILE, -1.5)
    made = plan_program(job)
    figures = program_json(made)
    moves = made.reading.moves
    cut = moves.end_mm[moves.motion != int(Motion.RAPID), 1]

    assert "(Turn: the piece lies turned 1.5 deg clockwise about X0 Y0)" in made.text.splitlines()
    assert figures["turn_deg"] == -1.5
    assert figures["extents_mm"]["y"][0] == pytest.approx(float(cut.min()))
    assert "(Turn" not in plan_program(job_from(TILE)).text


def test_places_of_findings_are_those_of_the_axes() -> None:
    """A place at the piece's centre is told as X and Y of the program, turned about the zero."""
    job = turned(TILE, 30.0, "pattern.name=masu-tsunagi", "pattern.pitch=14 mm", "groove.depth=2 mm")
    made = plan_program(job)
    told = program_json(made)["findings"]
    placed = [(one.at_mm, row["at_mm"]) for one, row in zip(made.findings, told, strict=True) if one.at_mm]

    assert placed
    for (x, y), at in placed:
        right, back = x + 40.0, y + 25.0
        cos, sin = math.cos(math.pi / 6), math.sin(math.pi / 6)
        assert at == pytest.approx([right * cos - back * sin, right * sin + back * cos])


def test_clamps_turn_with_the_piece() -> None:
    """A clamp beside the front edge is met by a rapid there as the piece lies, and not by one where it would lie straight."""
    clamp = "clamps=[{x: 60 mm, y: -12 mm, width: 10 mm, height: 8 mm, above: 4 mm}]"
    job = turned(TILE, 30.0, clamp)
    made = plan_program(job)
    cos, sin = math.cos(math.pi / 6), math.sin(math.pi / 6)
    right, back = 65.0, -8.0

    def met(x: float, y: float) -> list[tuple[float, float] | None]:
        lines = made.text.splitlines()
        first = next(k for k, line in enumerate(lines) if line.startswith("(Pass 1"))
        low = [f"X{x:.3f} Y{y:.3f}", "Z3", f"X{x + 0.5:.3f}", "Z5"]
        text = "\n".join([*lines[:first], *low, *lines[first:]])
        found = check_program(text, file="a.nc", machine=job.machine, job=job).findings
        return [one.at_mm for one in found if one.code == "clamp"]

    assert codes(made) == codes(plan_program(turned(TILE, 30.0)))
    assert met(right, back) == []
    place = met(right * cos - back * sin, right * sin + back * cos)[0]
    assert place == pytest.approx((right - 40.0, back - 25.0), abs=0.6)


def test_travel_is_that_of_the_axes() -> None:
    """A piece that fits the machine straight, and not as it lies, is refused with the room its lines take."""
    wide = TILE.replace("80 mm", "260 mm").replace("50 mm", "120 mm")
    lying = [one.sentence for one in plan_program(turned(wide, 20.0)).findings if one.code == "travel"]

    assert not plan_program(turned(wide, 0.0)).refused
    assert any(one.startswith("The lines, on a piece that lies turned, measure") for one in lying)


def test_a_circle_takes_no_more_room_turned() -> None:
    """Of a round piece the lines decide, and not the square round it."""
    travel = {"travel": job_from(ROUND).machine.travel.model_copy(update={"x_mm": 61.0, "y_mm": 61.0})}

    assert codes(plan_program(turned(ROUND, 45.0, **travel))) == codes(
        plan_program(turned(ROUND, 0.0, **travel))
    )


@pytest.mark.parametrize("turn", ["50 deg", "-46", "a bit", "1.5 mm"])
def test_other_turns_are_refused(turn: str) -> None:
    """More than 45 degrees either way, and what is no angle, is a wrong value of that key."""
    with pytest.raises(InputError, match=r"zero\.turn"):
        job_from(TILE, f"zero.turn={turn}")


@pytest.mark.parametrize("turns", [1, 3])
@pytest.mark.parametrize("plane", ["G17", "G18", "G19"])
def test_boxes_hold_arcs_of_every_plane(plane: str, turns: int) -> None:
    """Seen from a turned piece, the box round an arc, which may go on across its plane, holds its path and touches it."""
    ends = {"G17": "X14 Y3 Z1 I2 J0", "G18": "X14 Y5 Z2 I2 K0", "G19": "X12 Y7 Z2 J2 K0"}[plane]
    text = f"G21 G90 G94 {plane}\nG0 Z2\nG0 X10 Y3\nG3 {ends} P{turns} F200\nM2"
    job = turned(TILE, 40.0)
    moves = read_program(text, dialect="linuxcnc").moves
    seen = track(moves, job.machine, target_of(lay_out(job)))
    way = path(seen, 2)

    assert (way >= seen.low_mm[2] - 1e-9).all()
    assert (way <= seen.high_mm[2] + 1e-9).all()
    assert way.min(axis=0) == pytest.approx(seen.low_mm[2], abs=1e-2)
    assert way.max(axis=0) == pytest.approx(seen.high_mm[2], abs=1e-2)


def test_another_zero_or_turn_is_asked_for() -> None:
    """Where hardly a line is met, the turn and the zero may be others as well as the job."""
    job = turned(TILE, 0.0)
    for made in (make_program(turned(TILE, 15.0)), make_program(turned(TILE, 0.0, "zero.xy=centre"))):
        found = check_program(made.text, file="a.nc", machine=job.machine, job=job).findings
        (other,) = [one for one in found if one.code == "other-job"]

        assert "another zero or turn" in other.sentence


@pytest.mark.parametrize(("xy", "said"), [("back-right", "back right corner"), ("centre", "centre")])
def test_the_sheet_has_the_turn_ticked(xy: str, said: str) -> None:
    """Of a turned piece the bench sheet asks for turn and zero place; of a straight one it does not."""
    tick = f"Turn measured, and X0 Y0 found at the {said} itself"
    sheets = [slots(make_program(turned(TILE, deg, f"zero.xy={xy}")))["ticks"] for deg in (5.0, 0.0)]

    assert [tick in sheet for sheet in sheets] == [True, False]


def test_turned_too_far_for_the_travel_says_what_to_do() -> None:
    """A long piece that only fits straight is refused with the way out; laid straight and too long, without it."""
    for deg, width, turned_too_far in ((40.0, 245, True), (0.0, 320, False)):
        job = turned(TILE, deg, f"piece.width={width} mm")
        said = [one.sentence for one in plan_program(job).findings if one.code == "travel"]

        assert said
        assert ["Lay the piece straighter" in one for one in said] == [turned_too_far] * len(said)


@pytest.mark.parametrize("turn_deg", [0.00001, -0.0002])
def test_a_turn_that_moves_nothing_is_none(turn_deg: float) -> None:
    """A turn that moves no place of the piece by half of the program's last decimal is neither told nor written."""
    straight, made = plan_program(turned(TILE, 0.0)), plan_program(turned(TILE, turn_deg))

    assert made.text == straight.text
    assert program_json(made)["turn_deg"] == 0.0
    assert turned(TILE, 0.001).zero.turn_deg == 0.001
