"""Speeds that a job leaves out, against the published formula and the practice they follow."""

from __future__ import annotations

import math

import pytest

from small_job import changed, small_job
from vcarve.job import records
from vcarve.job.bench import bits, load_bit, load_machine, load_wood, machines, woods
from vcarve.job.sections import Feed


@pytest.mark.parametrize(
    ("surface_m_min", "diameter_mm", "teeth", "chip_mm", "published_mm_min"),
    [(25.0, 12.0, 2, 0.065, 86.0), (25.0, 12.0, 3, 0.065, 129.0), (25.0, 12.0, 4, 0.06, 159.0)],
)
def test_feed_formula_against_a_published_example(
    surface_m_min: float, diameter_mm: float, teeth: int, chip_mm: float, published_mm_min: float
) -> None:
    """Feed = teeth x chip x speed, with the worked examples of a cutting-tool supplier's note, which rounds to 1."""
    rpm = 1000.0 * surface_m_min / (math.pi * diameter_mm)

    assert records.feed_mm_min(teeth, chip_mm, rpm) == pytest.approx(published_mm_min, abs=0.5)


def test_feed_formula_against_router_charts() -> None:
    """Chip loads printed in a dealer's chart: 2 flutes, 100 in/min, 10 000 rpm is 0.005 in."""
    assert records.feed_mm_min(2, 0.005 * 25.4, 10_000) == pytest.approx(100 * 25.4)


def test_feed_formula_against_the_table_for_small_spindles() -> None:
    """At 10 000 rpm and 1 flute, softwood is fed 300 to 1000 and hardwood 200 to 600 mm/min (common practice)."""
    for name, low, high in (("pine-white", 300.0, 1000.0), ("maple-sugar", 200.0, 600.0)):
        wood = load_wood(name)
        assert records.feed_mm_min(1, wood.chip_low_mm, 10_000) == pytest.approx(low)
        assert records.feed_mm_min(1, wood.chip_high_mm, 10_000) == pytest.approx(high)


def test_every_default_is_within_machine_and_wood() -> None:
    """For every wood, bit and machine: inside the machine's ranges, the chip no thicker than the wood's figure."""
    for machine in machines():
        for bit in bits():
            for wood in woods():
                speeds = records.speeds_of(wood, bit, machine, Feed())
                chip = speeds.cut_mm_min / (bit.flutes * speeds.spindle_rpm)
                assert machine.spindle.min_rpm <= speeds.spindle_rpm <= machine.spindle.max_rpm
                assert speeds.cut_mm_min <= min(machine.feed_max.x_mm_min, machine.feed_max.y_mm_min)
                assert 0.0 < speeds.plunge_mm_min <= machine.feed_max.z_mm_min
                assert speeds.plunge_mm_min <= 0.5 * speeds.cut_mm_min
                assert 0.45 * wood.chip_low_mm <= chip <= wood.chip_high_mm


def test_fine_tips_take_half_the_chip() -> None:
    """A flat of at most 0.2 mm on at most 30 degrees is fine (common practice); a sharp 60 degree bit is not."""
    wood = load_wood("walnut-black")

    usual = wood.chip_low_mm, wood.chip_high_mm

    assert records.chips_mm(wood, load_bit("v30-tip02")) == (usual[0] / 2, usual[1] / 2)
    assert records.chips_mm(wood, load_bit("v60-3.175")) == usual
    assert records.chips_mm(wood, load_bit("v45-3.175")) == usual


def test_a_round_tip_is_as_wide_as_its_ball() -> None:
    """A tip is fine up to 0.2 mm across: a radius of 0.1 mm, not of 0.2 mm."""
    bit = load_bit("v30-tip02").model_copy(update={"tip_mm": 0.0})

    assert records.is_fine(bit.model_copy(update={"tip_radius_mm": 0.1}))
    assert not records.is_fine(bit.model_copy(update={"tip_radius_mm": 0.11}))


def test_a_very_fast_spindle_is_not_run_beyond_what_the_chip_loads_are_meant_for() -> None:
    """Chip loads are for up to 24 000 rpm (common practice), even where machine and feed would allow more."""
    machine = load_machine("gantry-router")
    spindle = machine.spindle.model_copy(update={"max_rpm": 60_000.0})
    speeds = records.speeds_of(
        load_wood("beech"),
        load_bit("v60-3.175"),
        machine.model_copy(update={"spindle": spindle}),
        Feed(),
    )

    assert speeds.spindle_rpm == 24_000.0


def test_given_values_stay_and_the_rest_follows() -> None:
    """A given speed sets the feed, a given feed sets the speed, and given values are never changed."""
    wood, bit, machine = load_wood("beech"), load_bit("v60-3.175"), load_machine("gantry-router")

    slow = records.speeds_of(wood, bit, machine, Feed(spindle_rpm=10_000))
    assert slow.cut_mm_min == pytest.approx(2 * 0.02 * 10_000)
    assert slow.plunge_mm_min == pytest.approx(0.30 * 400)
    fed = records.speeds_of(wood, bit, machine, Feed(cut_mm_min=500))
    assert fed.spindle_rpm == pytest.approx(500 / (2 * 0.02))
    wild = records.speeds_of(wood, bit, machine, Feed(cut_mm_min=9e5, plunge_mm_min=8e5, spindle_rpm=7e5))
    assert (wild.cut_mm_min, wild.plunge_mm_min, wild.spindle_rpm) == (9e5, 8e5, 7e5)


def test_a_slow_machine_slows_the_spindle_instead_of_rubbing() -> None:
    """Where the axes cannot keep up, the spindle is slowed so that the chip keeps its thickness."""
    wood, bit = load_wood("pine-white"), load_bit("v60-6.35")
    machine = load_machine("gantry-router").model_copy(
        update={"feed_max": load_machine("router-3018").feed_max}
    )
    speeds = records.speeds_of(wood, bit, machine, Feed())

    assert speeds.cut_mm_min <= 800
    assert speeds.cut_mm_min / (2 * speeds.spindle_rpm) == pytest.approx(wood.chip_low_mm, rel=0.01)


def test_the_hop_keeps_below_a_low_safe_height() -> None:
    """The hop is 1 mm, or the safe height where that is lower."""
    job = small_job(hop_mm=0.5, safe_height="0.6 mm")

    assert changed(job, "plan", hop_mm=None).hop_mm == 0.6
    assert changed(small_job(), "plan", hop_mm=None).hop_mm == 1.0
