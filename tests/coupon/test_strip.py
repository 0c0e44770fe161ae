"""The strip: what fits it, what its program cuts, and that tilt is nothing to its slope."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vcarve.coupon.line import fit_line
from vcarve.coupon.strip import END_MM, LAND_MM, lay_strip, read_size, strip_of
from vcarve.errors import InputError
from vcarve.groove.width import deepest_mm, depth_mm, width_mm
from vcarve.job.bench import Bit, bits, load_end_mill
from vcarve.job.records import Job, load_job
from vcarve.job.sections import CutOut, Frame, Zero
from vcarve.job.surface import Surface
from vcarve.pipeline import plan_program
from vcarve.proofing import carve_piece

SAMPLES = Path(__file__).parent.parent.parent / "samples"
COASTER = load_job(SAMPLES / "coaster.yaml")


def with_bit(job: Job, **keys: float) -> Job:
    """Return a job with another bit."""
    return job.model_copy(
        update={"bit": Bit(**{"angle_deg": 60.0, "diameter_mm": 6.0, "shank_mm": 3.175, **keys})}
    )


@given(
    st.floats(15.0, 140.0), st.floats(2.0, 12.0), st.floats(0.0, 0.3), st.floats(4.0, 30.0), st.floats(0.3, 4.0)
)  # fmt: skip
def test_every_strip_can_be_measured(
    angle: float, wide: float, tip: float, thick: float, deep: float
) -> None:
    """Whatever the bit and the wood: depths there and back, land for the jaws between, on the cone, within strip and wood."""
    job = with_bit(COASTER, angle_deg=angle, diameter_mm=wide, tip_mm=round(tip, 3))
    piece, groove = ({"thickness_mm": thick}, {"depth_mm": deep})
    job = job.model_copy(
        update={"piece": job.piece.model_copy(update=piece), "groove": job.groove.model_copy(update=groove)}
    )
    if min(0.92 * deepest_mm(job.bit), 0.6 * thick) < 0.4:  # no room for steps of depth
        return
    strip = strip_of(job)
    depths, x = np.array(strip.depth_mm), np.array(strip.x_mm)
    half = np.array([width_mm(job.bit, depth) / 2.0 for depth in depths])

    assert (depths[1:] == depths[:0:-1]).all()
    assert len(set(depths)) >= 3
    assert (np.diff(x) - half[1:] - half[:-1] >= LAND_MM - 1e-9).all()
    assert x[0] - half[0] >= END_MM - 1e-9
    assert strip.width_mm - x[-1] - half[-1] >= END_MM - 1e-9
    assert strip.back_mm - strip.front_mm >= 12.0
    assert depths.max() < depth_mm(job.bit, wide)
    assert depths.max() <= 0.6 * thick + 1e-9


@given(st.floats(-0.5, 0.5), st.floats(-0.01, 0.01))
def test_a_strip_that_lies_aslant_is_no_other_bit(up: float, slope: float) -> None:
    """Tilted along its length, however much, a strip gives the same angle: depths and places are not correlated."""
    strip = strip_of(COASTER)
    depths = np.array(strip.depth_mm[1:])
    places = np.arange(len(depths)) - (len(depths) - 1) / 2.0
    level = fit_line(depths, 0.1 + 1.15 * (depths + up))
    tilted = fit_line(depths, 0.1 + 1.15 * (depths + up + slope * places))

    assert tilted.slope == pytest.approx(level.slope, abs=1e-12)
    assert tilted.start_mm == pytest.approx(level.start_mm, abs=1e-12)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["coaster", "trivet", "wall-panel"])
def test_the_program_cuts_what_the_table_says(name: str, rs274: Any) -> None:
    """In each dialect a coupon's program is clean and taken without a word, and its grooves are as wide as the bit makes them."""
    job = load_job(SAMPLES / f"{name}.yaml")
    strip = strip_of(job)
    made = carve_piece(plan_program(lay_strip(job, strip)))

    assert made.findings == ()
    assert made.measured is not None
    assert made.measured.measured == len(strip.depth_mm)
    assert abs(made.measured.worst_mm) < 0.005
    run = rs274(made.text)
    assert run.accepted
    assert run.message == ""


@pytest.mark.parametrize("bit", bits(), ids=lambda bit: str(bit.name))
def test_every_bit_that_comes_along_has_a_coupon(bit: Bit) -> None:
    """There is a strip for every bit of the list."""
    assert len(strip_of(COASTER.model_copy(update={"bit": bit})).depth_mm) >= 7


def test_a_smaller_strip_has_fewer_grooves() -> None:
    """A size that is asked for is kept, with as much of a lever as fits."""
    full, small = strip_of(COASTER), strip_of(COASTER, (45.0, 25.0))

    assert (small.width_mm, small.height_mm) == (45.0, 25.0)
    assert len(small.depth_mm) < len(full.depth_mm)
    assert small.x_mm[-1] < 45.0


@pytest.mark.parametrize(
    ("written", "size_mm"),
    [
        ("80 x 25 mm", (80.0, 25.0)),
        ("80×25", (80.0, 25.0)),
        ("80 X 25", (80.0, 25.0)),
        ("8 cm x 25", (80.0, 25.0)),
        ("3 x 1 in", (76.2, 25.4)),
        ("3 x 1 in.", (76.2, 25.4)),
        ("3 ½ x 1 in", (88.9, 25.4)),
    ],
)
def test_sizes(written: str, size_mm: tuple[float, float]) -> None:
    """A unit may stand once, for both."""
    assert read_size("--size", written) == pytest.approx(size_mm)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("80", "--size: '80': a length and a width are wanted, such as 80 x 25 mm"),
        ("80 x 25 x 9", "--size: '80 x 25 x 9': a length and a width are wanted, such as 80 x 25 mm"),
        (
            "80 x wide",
            "--size: '80 x wide': a length is wanted, such as 12 mm, 2.5 cm, 1/4 in or 1 1/4 in",
        ),
        ("0 x 25", "--size: '0 x 25': must be more than 0 mm"),
    ],
)
def test_wrong_sizes(written: str, said: str) -> None:
    """Each is answered with what would be right."""
    with pytest.raises(InputError) as error:
        read_size("--size", written)

    assert str(error.value) == said


def test_what_cannot_be_a_coupon() -> None:
    """A size that is too small is told the least, a cone that is too short as such."""
    with pytest.raises(
        InputError, match="'30 × 20 mm': too small for a coupon of this bit: 34 mm by 22 mm or more"
    ):
        strip_of(COASTER, (30.0, 20.0))
    with pytest.raises(InputError, match=r"^bit: the bit's cone .*: too little for a coupon's steps"):
        strip_of(with_bit(COASTER, angle_deg=150.0, diameter_mm=1.0))
    with pytest.raises(InputError, match=r"^bit: the bit's cone .*: too little for a coupon's steps"):
        strip_of(with_bit(COASTER, angle_deg=150.0, diameter_mm=8.0, tip_mm=7.5))
    piece = COASTER.piece.model_copy(update={"thickness_mm": 0.3})
    with pytest.raises(
        InputError, match=r"^piece\.thickness: grooves of 0\.18 mm at most are sound in 0\.3 mm: too little"
    ):
        strip_of(COASTER.model_copy(update={"piece": piece}))


def test_a_strip_has_nothing_of_the_piece_s_top() -> None:
    """The piece's bow and turn, and how it is cut out, are not the strip's, which is planed flat."""
    bowed = COASTER.model_copy(
        update={
            "surface": Surface(points_mm=((0.0, 0.0, 0.0), (90.0, 0.0, 0.3), (0.0, 90.0, -0.3))),
            "zero": Zero(turn_deg=2.0),
            "cut_out": CutOut(bit=load_end_mill("em-2"), tabs=0),
        }
    )
    plain, on_strip = (plan_program(lay_strip(job, strip_of(job))) for job in (COASTER, bowed))

    assert on_strip.text == plain.text


def test_the_deepest_line_of_a_job_sets_the_lever() -> None:
    """A frame deeper than the pattern's lines is a groove whose width is wanted, too."""
    pattern = COASTER.pattern.model_copy(update={"frame": (Frame(distance_mm=3.0, depth_mm=1.3),)})
    framed = COASTER.model_copy(update={"pattern": pattern})

    assert max(strip_of(framed).depth_mm) > max(strip_of(COASTER).depth_mm)
