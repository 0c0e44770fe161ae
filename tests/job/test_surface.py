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
        (
            LOG.replace("-39.900:1", "-39.900:0"),
            "heights.txt:7: "
            "'ok<Run|MPos:-200.000,-140.000,-38.000|FS:0,0>[PRB:-150.000,-140.000,-39.900:0]': this "
            "probe touched nothing; probe again, or take the line out, if that place may be left out",
        ),
        (
            LOG.replace("-40.050:1]", "-40.0"),
            "heights.txt:8: '12:31:02.114 > [PRB:-200.000,-100.000,-40.0': this answer is cut off or "
            "garbled; probe again, or take the line out, if that place may be left out",
        ),
        (
            LOG.replace("-40.050:1]", "-40.0[PRB:1,2,3:1]"),
            "heights.txt:8: '12:31:02.114 > [PRB:-200.000,-100.000,-40.0[PRB:1,2,3:1]': this answer "
            "is cut off or garbled; probe again, or take the line out, if that place may be left out",
        ),
        (
            LOG.replace("-40.000:1]", "-40.000:0]"),
            "heights.txt:3: '[PRB:-210.000,-150.000,-40.000:0]': this probe touched nothing; probe "
            "again: all others count from this touch",
        ),
        (
            f"{LOG}ALARM:5\n",
            "heights.txt:12: 'ALARM:5': the controller broke off here; probe again, and give the log "
            "of one whole run",
        ),
        (
            LOG[: LOG.index("[PRB:-150.000,-140")],
            "heights.txt: it has 1 point; at least 3 besides the touches at X0 Y0, which say where "
            "zero is, are wanted: lines '[PRB:...]' of a sender's log, LinuxCNC's nine numbers, or "
            "'x, y, height'",
        ),
        (
            "",
            "heights.txt: it has 0 points; at least 3 are wanted: lines '[PRB:...]' of a sender's "
            "log, LinuxCNC's nine numbers, or 'x, y, height'",
        ),
        (
            TABLE.replace(".1\n10\t", ",1\n10\t"),
            "heights.txt:4: '60;10;,1': plain numbers are wanted, x, y and height, with a point for "
            "decimals; words go after #",
        ),
        (
            TABLE.replace("60., 50, +0.15", "60., 50"),
            "heights.txt:6: '60., 50': 3 numbers are wanted here, and decimals with a point; there are 2",
        ),
        (
            TABLE.replace("-0.05", "1e-2"),
            "heights.txt:5: '10\\t50  1e-2': plain numbers are wanted, x, y and height, with a point "
            "for decimals; words go after #",
        ),
        (
            TABLE.replace("-0.05", "nan"),
            "heights.txt:5: '10\\t50  nan': plain numbers are wanted, x, y and height, with a point "
            "for decimals; words go after #",
        ),
        (
            TABLE.replace("+0.15", "1500000"),
            "heights.txt:6: '60., 50, 1500000': more than 100 m away from zero; is a decimal point missing?",
        ),
        (
            TABLE.replace("(mm)", "(in)"),
            "heights.txt:1: 'x (in), y (in), height': is the table in inches? Write a line 'inch' "
            "before the first point, and words after #",
        ),
        (
            TABLE.replace("(mm)", "(inches)"),
            "heights.txt:1: 'x (inches), y (inches), height': is the table in inches? Write a line "
            "'inch' before the first point, and words after #",
        ),
        (
            TABLE.replace("(mm)", "(cm)"),
            "heights.txt:1: 'x (cm), y (cm), height': lengths are taken in mm, or in inches below a "
            "line 'inch'; words go after #",
        ),
        (
            TABLE.replace("x (mm), y (mm)", "y, x"),
            "heights.txt:1: 'y, x, height': the columns are taken as x, y, height: put them in this "
            "order; words go after #",
        ),
        (
            TABLE.replace("height", "depth"),
            "heights.txt:1: 'x (mm), y (mm), depth': heights are wanted, above the top at X0 Y0: "
            "what lies lower has a minus; words go after #",
        ),
        (f"{TABLE}inch\n", "heights.txt:7: 'inch': the unit belongs before the first point"),
        (
            NINE.replace("60 50", "60 50 7"),
            "heights.txt:5: '60 50 7 3.15 0.0 0.0 0.0 0.0 0.0 0.0': 9 numbers are wanted here, and "
            "decimals with a point; there are 10",
        ),
        (
            f"{LOG}[PRB:-210,-150,-40.051:1]\n",
            "heights.txt:12: X0 Y0 was found 0.051 mm lower than at first here; more than 0.05 mm is "
            "no slip of the probe: see what gave way, and probe again",
        ),
        (
            "0 0 0\n10 10 0.1\n20 20 0.3\n30 30 0\n",
            "heights.txt: all points lie on one line; the top needs places beside it as well",
        ),
        ("0 0 0\n10 10 0.1\n20 0 0.3\n" * 400, "heights.txt: it has 1200 points; up to 1000 are taken"),
    ],
)
def test_what_is_not_understood_is_refused_with_its_line(text: str, said: str) -> None:
    """Failed, garbled and cut-off answers, other numbers than wanted, other units and columns, and too few or too many points are
    named."""
    with pytest.raises(InputError) as refused:
        surface_from(text, "heights.txt")

    assert str(refused.value) == said


@pytest.mark.parametrize(
    "title", ["x y height", "X in mm, Y in mm, Höhe in mm", "places", "x, y, z (dial)", "x;y"]
)
def test_names_of_columns_say_nothing_else(title: str) -> None:
    """Names of the columns as they are taken, in whatever language, stand above the points."""
    assert np.allclose(surface_from(f"{title}\n{TABLE.partition('dial')[2]}").points_mm, POINTS)


@pytest.mark.parametrize(
    ("form", "ends"), [(LOG, "[PRB:-210.02,-150,-39.97:1]\n"), (NINE, "0 0.02 3.03" + " 0" * 6)]
)
def test_the_last_touch_tells_how_far_the_zero_has_drifted(form: str, ends: str) -> None:
    """It is at the zero again and no point of the top; touches that do not end so may be cut off."""
    whole, open_ = surface_from(form + ends), surface_from(form)

    assert np.allclose(whole.points_mm, POINTS, rtol=0.0, atol=1e-9)
    assert (whole.whole, open_.whole, surface_from(TABLE).whole) == (True, False, True)
    assert whole.drift_mm == pytest.approx(0.03)
    assert open_.drift_mm == 0.0


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
    (tmp_path / "wide.txt").write_text(
        TABLE, encoding="utf-16"
    )  # as one shell of Windows writes what it is told to
    with pytest.raises(InputError, match=r"wide\.txt: this is no plain text; save it as text in UTF-8$"):
        load_surface("wide.txt", str(tmp_path))
    (tmp_path / "big.txt").write_bytes(b"#" * (9 << 20))
    with pytest.raises(InputError, match=r"big\.txt: too large; up to 8 MiB are taken"):
        load_surface("big.txt", str(tmp_path))
