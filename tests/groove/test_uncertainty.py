"""How far a groove's width may be off: against draws, closed forms and the words of a job."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from small_job import job_from, own_job
from vcarve.cli.main import cli
from vcarve.errors import InputError
from vcarve.groove.width import Spread, VBit, uncertainty_mm, width_mm
from vcarve.layout.findings import job_findings
from vcarve.layout.stages import lay_out
from vcarve.pipeline import plan_program, write_program
from vcarve.report import program_json, program_rows
from vcarve.view.section import section_svg

KNOWN = "{angle: 1.2 deg, tip: 0.04 mm, correlation: -0.5}"


def job(*sets: str) -> Any:
    """Return a small job of hemp leaves, with what it sets."""
    return job_from(own_job("{name: asanoha, pitch: 10 mm}"), *sets)


BIT = ("bit={angle: 60, diameter: 3.175, shank: 3.175}", f"bit.uncertainty={KNOWN}")


def test_draws_spread_as_it_says() -> None:
    """Of 200,000 bits drawn with the angle, tip and height in question, 95 % cut a width within the figure, to a hundredth."""
    chance = np.random.default_rng(16)
    bit = VBit(
        angle_deg=60.0,
        tip_mm=0.3,
        uncertainty=Spread(angle_deg=1.2, tip_mm=0.04, correlation=-0.5, height_mm=0.02),
    )
    both = chance.multivariate_normal([0.0, 0.0], [[1.0, -0.5], [-0.5, 1.0]], 200_000) / 1.96
    angle, tip = np.radians(60.0 + 1.2 * both[:, 0]), 0.3 + 0.04 * both[:, 1]
    depth = 1.0 + chance.normal(0.0, 0.02 / 1.96, 200_000)
    off = np.abs(tip + 2.0 * depth * np.tan(angle / 2.0) - width_mm(bit, 1.0))

    assert np.mean(off <= uncertainty_mm(bit, 1.0)) == pytest.approx(0.95, abs=0.01)


@given(st.floats(10.0, 150.0), st.floats(0.0, 3.0), st.floats(0.0, 3.0), st.floats(0.0, 0.2))
def test_alone_each_adds_what_it_moves(angle: float, depth: float, off_deg: float, off_mm: float) -> None:
    """A tip alone adds itself, a height alone ``2 tan h`` of itself, an angle alone what the wider bit cuts, to first order."""
    half = math.radians(angle) / 2.0

    def alone(**keys: float) -> float:
        return uncertainty_mm(VBit(angle_deg=angle, uncertainty=Spread(**keys)), depth)

    assert alone(tip_mm=off_mm) == pytest.approx(off_mm)
    assert alone(height_mm=off_mm) == pytest.approx(2.0 * math.tan(half) * off_mm)
    step = width_mm(VBit(angle_deg=angle + 1e-4), depth) - width_mm(VBit(angle_deg=angle - 1e-4), depth)
    assert alone(angle_deg=off_deg) == pytest.approx(off_deg * step / 2e-4, rel=1e-5, abs=1e-9)
    together = alone(angle_deg=off_deg, tip_mm=off_mm, correlation=1.0)
    assert together == pytest.approx(alone(angle_deg=off_deg) + off_mm)
    assert uncertainty_mm(VBit(angle_deg=angle), depth) == 0.0


@given(st.floats(20.0, 120.0), st.floats(0.05, 0.5), st.floats(0.05, 1.5))
def test_a_ball_adds_what_it_moves(angle: float, radius: float, share: float) -> None:
    """Whether its ball or its cone cuts the edge, each figure of a rounded tip adds what the changed bit cuts, to first order."""
    half = math.radians(angle) / 2.0
    depth = share * radius * (1.0 - math.sin(half))

    def begins(deg: float) -> float:
        return 2.0 * (1.0 / math.cos(math.radians(deg) / 2.0) - math.tan(math.radians(deg) / 2.0))

    def wide(deg: float = 0.0, start: float = 0.0, down: float = 0.0) -> float:
        tip = (radius * begins(angle) + start) / begins(angle + deg)
        return width_mm(VBit(angle_deg=angle + deg, tip_radius_mm=tip), depth + down)

    for key, moved, tiny in (
        ("angle_deg", "deg", 1e-4),
        ("tip_mm", "start", 1e-7),
        ("height_mm", "down", 1e-7),
    ):
        bit = VBit(angle_deg=angle, tip_radius_mm=radius, uncertainty=Spread(**{key: 0.01}))
        step = (wide(**{moved: tiny}) - wide(**{moved: -tiny})) / (2.0 * tiny)
        assert uncertainty_mm(bit, depth) == pytest.approx(0.01 * abs(step), rel=1e-3, abs=1e-9)
    assert uncertainty_mm(bit, 0.0) == 0.0


def test_what_a_job_says_of_its_widths() -> None:
    """Summary, header, drawing and figures tell a width with how far it may be off, and land as its least."""
    plain, made = plan_program(job(BIT[0])), plan_program(job(*BIT))
    off = uncertainty_mm(made.job.bit, 0.5)
    wide = "0.577 ± 0.035 mm"
    told, figures = dict(program_rows(made)), program_json(made)

    assert f"0.5 mm deep, {wide} wide" in told["groove"]
    assert "60° ± 1.2° V" in write_program(made).replace(" deg", "°").replace("+/-", "±")
    assert f"0.5 mm deep, {wide} wide" in write_program(made).replace("+/-", "±")
    assert wide.replace(" ", "\u00a0") in section_svg(made.job, made.layout.kinds)
    assert figures["grooves"][0]["width_off_mm"] == pytest.approx(off)
    assert figures["land_least_mm"] == pytest.approx(figures["land_min_mm"] - off)
    assert f"narrowest at least {figures['land_least_mm']:.3f}".rstrip("0") in told["land"]
    moves = [row for row in made.text.splitlines() if not row.startswith("(")]
    assert moves == [row for row in plain.text.splitlines() if not row.startswith("(")]
    assert "±" not in json.dumps(program_rows(plain), ensure_ascii=False)


def test_land_that_could_vanish_is_a_finding() -> None:
    """Cells whose land is less than the widths may be off by are told, each where it lies; better known, none is."""
    doubtful = lay_out(job(BIT[0], "pattern.pitch=4", "bit.uncertainty.tip=0.5"))
    first = next(one for one in job_findings(doubtful) if one.code == "land-uncertain")
    few = int(np.count_nonzero((doubtful.grooves.land_mm > 0.0) & (doubtful.grooves.land_mm <= 0.5)))
    sure = lay_out(job(BIT[0], "pattern.pitch=4", "bit.uncertainty.tip=0.01"))

    assert (
        f"Widths are known to ± 0.5 mm: within that the land of {few} of {doubtful.network.cells} cells"
        in first.sentence
    )
    assert first.severity == "caution"
    assert first.at_mm is not None
    assert not [one for one in job_findings(sure) if one.code == "land-uncertain"]


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("angle=-1", "bit.uncertainty.angle: '-1': must be at least 0 degrees"),
        ("angle=40", "bit.uncertainty.angle: '40': must be at most 30 degrees"),
        ("tip=-0.1", "bit.uncertainty.tip: '-0.1': must be at least 0 mm"),
        ("correlation=1.5", "bit.uncertainty.correlation: '1.5': must be at most 1"),
        ("height=soon", "bit.uncertainty.height: 'soon': a length is wanted"),
        ("depth=0.1", "bit.uncertainty.depth: '0.1': unknown key"),
    ],
)
def test_wrong_uncertainties_of_a_job(written: str, said: str) -> None:
    """Each is answered with what would be right."""
    with pytest.raises(InputError) as error:
        job(BIT[0], f"bit.uncertainty.{written}")

    assert said in str(error.value)


def ask(*words: str) -> Any:
    """Ask for a width, and return the result."""
    return CliRunner().invoke(cli, ["width", *words])


ALL_THREE = "an angle, a length and a correlation are wanted, such as '0.6 deg, 0.03 mm, -0.9'"


def test_the_bench_question_with_its_uncertainty() -> None:
    """The worked example of the fit: 1.1005 mm, half of the line's 95 % interval 2.776 times 0.0069."""
    known = ("--angle", "58.5973", "--tip", "0.20267", "--uncertainty", "0.6534 deg, 0.0292 mm, -0.8987")
    figures = json.loads(ask(*known, "--depth", "0.8", "--json").stdout)

    assert figures["width_off_mm"] == pytest.approx(2.776 * 0.0069, abs=2e-4)
    assert "depth 0.800 mm  cuts  width 1.100 ± 0.019 mm" in ask(*known, "--depth", "0.8").stdout
    assert "width 0.0433 ± 0.0008 in (1.100 ± 0.019 mm)" in ask(*known, "--depth", "0.031496 in").stdout
    assert "width 1.101 ± 0.019 mm  needs  depth 0.800 mm" in ask(*known, "--width", "1.1005").stdout
    assert "±" not in ask("--angle", "60", "--depth", "1").stdout


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("0.6 mm", "'mm' is a unit of length; an angle is wanted"),
        ("0.6 deg, 2 deg", "'deg' is a unit of angle; a length is wanted"),
        ("-1 deg", ALL_THREE),
        ("1 deg, 0.1 mm, 2", ALL_THREE),
        ("1 deg, 0.1 mm, 0, 0", ALL_THREE),
    ],
)
def test_wrong_uncertainties_of_the_question(written: str, said: str) -> None:
    """Each is answered with what would be right."""
    result = ask("--angle", "60", "--depth", "1", "--uncertainty", written)

    assert result.exit_code == 2
    assert "--uncertainty: " in result.stderr
    assert said in result.stderr
