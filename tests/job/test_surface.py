"""Files of a board's heights: what is read of them, and what is refused with its line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from vcarve.errors import InputError
from vcarve.job.surface import Surface, load_surface, surface_from

LOG = """\
Grbl 1.1h ['$' for help]
>>> G38.2 Z-5 F60
[PRB:-210.000,-150.000,-40.000:1]
ok
<Idle|MPos:-210.000,-150.000,-40.000|FS:0,0|WCO:0.000,0.000,0.000>
[PRB:-200.000,-140.000,-40.100:1]
ok<Run|MPos:-200.000,-140.000,-38.000|FS:0,0>[PRB:-150.000,-140.000,-39.900:1]
12:31:02.114 > [PRB:-200.000,-100.000,-40.050:1]
ok
[PRB:-150.000,-100.000,-39.850:1]
ok
"""
POINTS = [(10, 10, -0.1), (60, 10, 0.1), (10, 50, -0.05), (60, 50, 0.15)]
NINE = "".join(
    f"{x} {y} {z} 0.0 0.0 0.0 0.0 0.0 0.0\n"
    for x, y, z in [(0, 0, 3), *((x, y, z + 3) for x, y, z in POINTS)]
)
TABLE = "x (mm), y (mm), height\n# the dial\n10, 10, -0.1\n60;10;.1\n10\t50  -0.05\n60., 50, +0.15\n"
INCHES = "inch\n" + "".join(f"{x / 25.4!r} {y / 25.4!r} {z / 25.4!r}\n" for x, y, z in POINTS)


@pytest.mark.parametrize(
    "text",
    [
        LOG,
        LOG.replace("\n", "\r\n"),
        # The answer to '$#' repeats the last probe, or says that there was none.
        f"$#\n[TLO:0.000]\n[PRB:0.000,0.000,0.000:0]\nok\n{LOG}[TLO:0.000]\n[PRB:-150.000,-100.000,-39.850:1]\nok\n",
        LOG.replace(":1]", ",0.000:1]").replace(",0.000,0.000,0.000>", ""),  # a fourth axis
        NINE,
        TABLE,
        INCHES,
        TABLE.replace("\n", "\r\n"),
    ],
)
def test_every_form_is_read_to_the_same_points(text: str) -> None:
    """Sender's logs with whatever else is in them, LinuxCNC's file and tables say the same of the same board."""
    assert np.allclose(surface_from(text).points_mm, POINTS, rtol=0.0, atol=1e-9)


def test_a_log_in_inches_is_told_by_the_controllers_own_setting() -> None:
    """After $13=1 Grbl reports in inches (Grbl 1.1, doc/markdown/settings.md)."""
    inches = "$13=1\n[PRB:0,0,0:1]\n[PRB:1,0,0.01:1]\n[PRB:0,1,0:1]\n[PRB:1,1,0:1]\n"

    assert np.allclose(surface_from(inches).points_mm[0], (25.4, 0.0, 0.254))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (LOG.replace("-39.900:1", "-39.900:0"), ":7: .*touched nothing; probe again"),
        (LOG.replace("-40.050:1]", "-40.0"), ":8: .*cut off or garbled"),
        (LOG.replace("-40.050:1]", "-40.0[PRB:1,2,3:1]"), ":8: .*cut off or garbled"),
        (f"{LOG}ALARM:5\n", ":12: 'ALARM:5': the controller broke off here"),
        (
            LOG[: LOG.index("[PRB:-150.000,-140")],
            "^heights.txt: it has 1 point; at least 3 besides the first touch",
        ),
        ("", "it has 0 points; at least 3 are wanted: lines"),
        (TABLE.replace(".1\n10\t", ",1\n10\t"), ":4: '60;10;,1': plain numbers are wanted"),
        (TABLE.replace("60., 50, +0.15", "60., 50"), ":6: '60., 50': 3 numbers are wanted here"),
        (TABLE.replace("-0.05", "1e-2"), ":5: .*plain numbers are wanted"),
        (TABLE.replace("-0.05", "nan"), ":5: .*plain numbers are wanted"),
        (TABLE.replace("+0.15", "1500000"), ":6: .*more than 100 m away"),
        (TABLE.replace("(mm)", "(in)"), ":1: .*Write a line 'inch' before the first point"),
        (f"{TABLE}inch\n", ":7: 'inch': the unit belongs before the first point"),
        (NINE.replace("60 50", "60 50 7"), ":5: .*9 numbers are wanted here"),
        ("0 0 0\n10 10 0.1\n20 20 0.3\n30 30 0\n", "^heights.txt: all points lie on one line"),
        ("0 0 0\n10 10 0.1\n20 0 0.3\n" * 400, "it has 1200 points; up to 1000 are taken"),
    ],
)
def test_what_is_not_understood_is_refused_with_its_line(text: str, said: str) -> None:
    """Failed, garbled and cut-off answers, other numbers than wanted and too few or too many points are named."""
    with pytest.raises(InputError, match=said):
        surface_from(text, "heights.txt")


def test_touches_of_one_place_are_one() -> None:
    """What was touched twice counts once, at the mean; whole columns and rows are a grid, other places are not."""
    surface = Surface(points_mm=(*POINTS, (10.01, 10, 0.1)))
    grid = surface.grid

    assert np.allclose(surface.places_mm[0], (10.005, 10, 0))
    assert grid is not None
    assert np.allclose(grid.height_mm, [[0, 0.1], [-0.05, 0.15]])
    assert Surface(points_mm=surface.points_mm[:3]).grid is None


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    """A file that is not there, and one that is too large, are told by their path."""
    with pytest.raises(InputError, match=r"none\.txt: cannot be read: there is no such file"):
        load_surface("none.txt", str(tmp_path))
    (tmp_path / "big.txt").write_bytes(b"#" * (9 << 20))
    with pytest.raises(InputError, match=r"big\.txt: too large; up to 8 MiB are taken"):
        load_surface("big.txt", str(tmp_path))
