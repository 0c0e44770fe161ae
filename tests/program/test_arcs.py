"""Arc geometry against NISTIR 6556's worked arcs and closed forms."""

from __future__ import annotations

from math import acos, degrees, pi, sqrt

import pytest

from vcarve.program.arcs import centre_arc, radius_arc, sweep_rad
from vcarve.program.grammar import DIALECTS


def test_centre_format_example() -> None:
    """NISTIR 6556 §3.5.3.2: from (7, 7), G2 X10 Y16 I3 J4 has its centre at (10, 11) and radius 5."""
    sweep = centre_arc(
        start=7 + 7j, end=10 + 16j, centre=10 + 11j, clockwise=True, inch=False, dialect=DIALECTS["rs274ngc"]
    )

    assert isinstance(sweep, float)
    # From the left below the centre clockwise to straight above it: half a turn less the angle to straight down.
    assert sweep == pytest.approx(-(pi - acos(4 / 5)))


def test_radius_format_transcript() -> None:
    """NISTIR 6556 table 10: from (3, 1), G2 X0 (Y1) R7.01 has its centre at (1.5, 7.8476)."""
    answer = radius_arc(start=3 + 1j, end=0 + 1j, radius_mm=7.01, clockwise=True, slack_mm=0.0)

    assert not isinstance(answer, str)
    centre, sweep = answer
    assert centre == pytest.approx(complex(1.5, 1 + sqrt(7.01**2 - 1.5**2)))
    assert centre.imag == pytest.approx(7.8476, abs=5e-5)
    assert -pi < sweep < 0


def test_engraved_letter_arcs() -> None:
    """Angles worked out for the arcs of NISTIR 6556 appendix C.1: the letters e, r and d."""
    e = sweep_rad(start=16 + 2.5j, end=13.5 + 0j, centre=13.5 + 2.5j, clockwise=False, full_rad=0.0)
    r = radius_arc(start=64 + 4j, end=69 + 4j, radius_mm=4, clockwise=True, slack_mm=0.0)
    d = sweep_rad(start=79.5 + 0j, end=79.5 + 5j, centre=79.5 + 2.5j, clockwise=True, full_rad=0.0)

    assert not isinstance(r, str)
    assert degrees(e) == pytest.approx(270)
    assert r[0] == pytest.approx(66.5 + 0.8775j, abs=5e-5)
    assert degrees(r[1]) == pytest.approx(-77.364, abs=5e-4)
    assert 4 * abs(r[1]) == pytest.approx(5.4011, abs=5e-5)
    assert degrees(d) == pytest.approx(-180)


@pytest.mark.parametrize(
    ("start", "end", "centre", "degrees_expected"),
    [
        (1.5 + 4j, 2 + 3.5j, 2 + 4j, 90),
        (2 + 3.5j, 3.5 + 2j, 2 + 2j, -90),
        (3.5 - 1j, 2 - 2.5j, 2 - 1j, -90),
        (-2 - 2.5j, -2.9 + 0.2j, -2 - 1j, -143.1301),
        (1.1 + 3.2j, 2 + 3.5j, 2 + 2j, -36.8699),
    ],
)
def test_contour_of_the_compensation_program(
    start: complex, end: complex, centre: complex, degrees_expected: float
) -> None:
    """The arcs of NISTIR 6556 table 13 close exactly and turn by the angles worked out for them."""
    sweep = centre_arc(
        start=start,
        end=end,
        centre=centre,
        clockwise=degrees_expected < 0,
        inch=False,
        dialect=DIALECTS["rs274ngc"],
    )

    assert isinstance(sweep, float)
    assert degrees(sweep) == pytest.approx(degrees_expected, abs=1e-4)


@pytest.mark.parametrize(
    ("dialect", "radius", "inch", "taken", "refused"),
    [
        ("rs274ngc", 5.0, False, 0.0019, 0.0021),
        ("rs274ngc", 5.0, True, 0.0050, 0.0052),
        ("grbl-1.1", 4.0, False, 0.0049, 0.0051),
        ("grbl-1.1", 100.0, False, 0.09, 0.11),
        ("grbl-1.1", 1000.0, False, 0.49, 0.51),
        ("linuxcnc", 5.0, False, 0.0282, 0.0284),
        ("linuxcnc", 100.0, False, 0.09, 0.11),
        ("linuxcnc", 5000.0, False, 2.82, 2.84),
    ],
)
def test_how_far_an_arc_may_miss(
    dialect: str, radius: float, inch: bool, taken: float, refused: float
) -> None:
    """§3.5.3.2: 0.002 mm or 0.0002 inch; Grbl and LinuxCNC each have their own limits, absolute and by radius."""

    def answer(gap: float) -> float | str:
        return centre_arc(
            start=complex(radius, 0.0),
            end=complex(0.0, radius + gap),
            centre=0.0 + 0.0j,
            clockwise=False,
            inch=inch,
            dialect=DIALECTS[dialect],
        )

    assert answer(taken) == pytest.approx(pi / 2)
    assert "does not close" in str(answer(refused))


def test_equal_ends_are_a_full_turn() -> None:
    """§3.5.3.2: the end may equal the start, which is a full circle, in the sense of the code."""
    for clockwise, expected in ((True, -2 * pi), (False, 2 * pi)):
        assert (
            sweep_rad(start=1 + 0j, end=1 + 0j, centre=0 + 0j, clockwise=clockwise, full_rad=0.0) == expected
        )


def test_tiny_angles_are_full_turns_where_the_controller_says_so() -> None:
    """Grbl takes an arc of less than 5e-7 rad for a full circle (config.h)."""
    end = 1.0 + 4e-7j
    tiny = sweep_rad(start=1 + 0j, end=end, centre=0 + 0j, clockwise=False, full_rad=0.0)
    full = sweep_rad(start=1 + 0j, end=end, centre=0 + 0j, clockwise=False, full_rad=5e-7)

    assert tiny == pytest.approx(4e-7)
    assert full == pytest.approx(2 * pi)


@pytest.mark.parametrize("clockwise", [True, False])
@pytest.mark.parametrize("radius", [5.0, -5.0, 2.6, -2.6, 2.5, -2.5])
def test_radius_sign_chooses_the_arc(radius: float, clockwise: bool) -> None:
    """§3.5.3.1: positive is at most half a turn, negative the rest; the sense is the code's and the radius is kept."""
    start, end = 1.0 + 2.0j, 5.0 + 5.0j
    answer = radius_arc(start=start, end=end, radius_mm=radius, clockwise=clockwise, slack_mm=0.0)

    assert not isinstance(answer, str)
    centre, sweep = answer
    half_angle = 2.5 / abs(radius)
    short = 2 * (pi / 2 - acos(half_angle))
    assert abs(sweep) == pytest.approx(short if radius > 0 else 2 * pi - short)
    assert (sweep < 0) == clockwise
    for point in (start, end):
        assert abs(point - centre) == pytest.approx(abs(radius))


def test_no_arc_between_equal_points_or_too_far() -> None:
    """§3.5.3.1: a radius arc needs different ends, and a radius of at least half their distance."""
    same = radius_arc(start=1 + 1j, end=1 + 1j, radius_mm=2, clockwise=True, slack_mm=0.0)
    short = radius_arc(start=0 + 0j, end=10 + 0j, radius_mm=4.9999, clockwise=True, slack_mm=0.0)
    slack = radius_arc(start=0 + 0j, end=10 + 0j, radius_mm=4.9999, clockwise=True, slack_mm=0.00127)

    assert isinstance(same, str)
    assert isinstance(short, str)
    assert not isinstance(slack, str)
    assert slack[0] == pytest.approx(5 + 0j)
