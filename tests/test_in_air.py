"""Before the first cut: the trace and the rehearsal in the air never come down to the wood, and "
"show what will be cut."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from small_job import job_from, own_job
from vcarve.cli.main import cli
from vcarve.job.records import Job
from vcarve.layout.stages import lay_out
from vcarve.pipeline import air_program, plan_program, trace_program
from vcarve.program.moves import Motion
from vcarve.program.reader import read_program
from vcarve.proofing import check_program
from vcarve.run import Made

MACHINES = ("small-desktop", "gantry-router", "rs274-mill", "router-3018")
CLAMP = "{x: -12, y: 4, width: 5, height: 8, above: 3.2}"


@cache
def job(machine: str = "small-desktop", units: str = "mm", zero: str = "{}", clamps: str = CLAMP) -> Job:
    """Return a small job with a clamp, on a machine that writes in these units."""
    text = own_job("{name: seigaiha, pitch: 14 mm}", machine=machine)
    fields: dict[str, Any] = {"units": "inch", "decimals": 4} if units == "inch" else {}
    return job_from(
        f"{text}zero: {zero}\nclamps: [{clamps}]\n", "piece.outline={shape: rounded, radius: 5}", **fields
    )


@cache
def made(machine: str, units: str, zero: str) -> Made:
    """Return its program."""
    done = plan_program(job(machine, units, zero))
    assert not done.refused, done.findings
    return done


def heights_mm(text: str) -> list[float]:
    """Return every Z that a text says, comments left out, in mm: its moves are straight, or arcs at one height."""
    bare = re.sub(r"\([^)]*\)", "", text)
    assert not re.search(r"G1[89]|M[34]\b|G9[12](?![.]1)|G53|G10|S\d", bare)
    scale = 25.4 if "G20" in bare else 1.0
    return [float(word) * scale for word in re.findall(r"Z(-?[0-9.]+)", bare)]


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from(MACHINES),
    st.sampled_from(["mm", "inch"]),
    st.sampled_from(["{}", "{z: bed}", "{xy: centre, turn: -3.7 deg}", "{xy: back-right, z: bed, turn: 20}"]),
    st.floats(0.3, 20.0),
)
def test_never_below_the_surface(machine: str, units: str, zero: str, height: float) -> None:
    """In every dialect, unit and place of the zero both stay as high above the piece as is asked "
    "for; the spindle stays off."""
    done = made(machine, units, zero)
    top, step = (8.0 if "bed" in zero else 0.0), done.machine.last_decimal_mm
    low = min(heights_mm(air_program(done, height)[0])) - top

    assert height - 1e-9 <= low <= height + 2.0 * step
    over_clamp = max(height, 3.3)
    assert min(heights_mm(trace_program(done.layout, over_clamp)[0])) - top >= over_clamp - 0.5 * step - 1e-9


@pytest.mark.parametrize("machine", MACHINES)
def test_the_rehearsal_is_the_program_moved_up(machine: str, rs274: Any) -> None:
    """The rehearsal makes the very moves of the program, all higher by one and the same amount."""
    done = made(machine, "mm", "{z: bed}")
    text, run = air_program(done, 7.0)
    high, real = run.reading.moves, done.reading.moves

    assert np.array_equal(high.end("XY"), real.end("XY"))
    assert np.ptp(high.end("Z") - real.end("Z")) < 1e-9
    assert np.array_equal(high.feed_mm_min, real.feed_mm_min, equal_nan=True)
    assert "(In the air: every move stays 7 mm or more above the wood, spindle off." in text
    assert rs274(text).message == ""
    refused = check_program(text, done.layout)
    assert [one.sentence for one in refused.findings if one.severity == "refuse"] == [
        "The program cuts nothing: it stays 7 mm above the piece. A rehearsal in the air?"
    ]


@pytest.mark.parametrize("machine", MACHINES)
def test_what_a_trace_goes_round(machine: str, rs274: Any) -> None:
    """It pauses at the zero, and goes slowly round the outline, the clamp and the cuts."""
    text, run = trace_program(lay_out(job(machine, zero="{xy: centre}")), 6.0)
    moves, paused = run.reading.moves, [event for event in run.reading.moves.events if event.kind == "pause"]
    rounds = [(found[1], text[: found.start()].count("\n")) for found in re.finditer(r"\(Round (.*)\)", text)]
    ends = [*(line for _, line in rounds[1:]), moves.lines - 2]
    ways = {
        what: moves.end("XY")[(moves.line > line) & (moves.line <= end)]
        for (what, line), end in zip(rounds, ends, strict=True)
    }

    assert [moves.end_mm[event.before - 1].tolist() for event in paused] == [[0.0, 0.0, 6.0]]
    assert np.allclose(np.abs(ways["the outline of the piece"]).max(axis=0), (20.0, 15.0))
    assert np.allclose(ways["clamp 1"], [(-32, -11), (-27, -11), (-27, -3), (-32, -3), (-32, -11)])
    assert (np.abs(ways["all cuts"]) <= (20.001, 15.001)).all()
    slow = moves.motion == Motion.FEED
    assert slow[3:-2].all()
    assert moves.feed_mm_min[slow].max() <= 600.0
    assert rs274(text).message == ""


def test_extents_are_those_of_the_program() -> None:
    """The box of all cuts, of a turned piece as well, is that of the program's feed moves."""
    done = made("small-desktop", "mm", "{xy: centre, turn: -3.7 deg}")
    text, _ = trace_program(done.layout)
    box = read_program(text[text.index("G17") :]).moves.end("XY")[-6:-1]
    extents = done.extents_mm

    assert np.allclose(
        [*box.min(axis=0), *box.max(axis=0)], np.array([extents["x"], extents["y"]]).T.ravel(), atol=0.03
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            ("trace", "--height", "0"),
            "--height: '0 mm': a clamp stands 3.2 mm above the piece; give more than that",
        ),
        (
            ("trace", "--height", "3.2 mm"),
            "--height: '3.2 mm': a clamp stands 3.2 mm above the piece; give more than that",
        ),
        (
            ("trace", "--height", "-4 mm"),
            "--height: '-4 mm': a clamp stands 3.2 mm above the piece; give more than that",
        ),
        (
            ("trace", "--height", "80 mm"),
            "--height: '80 mm': the deepest groove and the moves above it take 80.5 mm in all; "
            "small-desktop travels 45 mm in Z",
        ),
        (
            ("trace", "--height", "high"),
            "--height: 'high': a length is wanted, such as 12 mm, 2.5 cm, 1/4 in or 1 1/4 in",
        ),
        (
            ("trace", "--height", "1e308 mm"),
            "--height: '1e308 mm': the exponent is beyond reason; a length is wanted, such as 12 mm, "
            "2.5 cm, 1/4 in or 1 1/4 in",
        ),
        (("program", "--air", "0 mm"), "--air: '0 mm': give how high above the wood, more than 0 mm"),
        (("program", "--air", "-5"), "--air: '-5': give how high above the wood, more than 0 mm"),
        (
            ("program", "--air", "9 s"),
            "--air: '9 s': 's' is a unit of time; a length is wanted, such as 12 mm, 2.5 cm, 1/4 in or 1 1/4 in",
        ),
        (
            ("program", "--air", "inf"),
            "--air: 'inf': a length is wanted, such as 12 mm, 2.5 cm, 1/4 in or 1 1/4 in",
        ),
        (
            ("program", "--air", "70 mm"),
            "--air: '70 mm': the deepest groove and the moves above it take 76 mm in all; "
            "small-desktop travels 45 mm in Z",
        ),
        (
            ("program", "--air", "9 mm", "--page", "a.html"),
            "--page: 'a.html': a page shows the program that cuts; make it without --air",
        ),
    ],
)
def test_wrong_input(
    words: tuple[str, ...], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What cannot be is told with its option, exit code 2, and nothing is written."""
    monkeypatch.chdir(tmp_path)
    Path("job.yaml").write_text(f"{own_job('{name: asanoha, pitch: 14 mm}')}clamps: [{CLAMP}]\n")
    done = CliRunner().invoke(cli, [*words, "job.yaml", "-o", "out.nc"])

    assert done.exit_code == 2
    assert done.stderr == f"wrong  {said}\nNothing was written.\n"
    assert not Path("out.nc").exists()


def test_both_are_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both commands write their programs and say what these do."""
    monkeypatch.chdir(tmp_path)
    Path("job.yaml").write_text(own_job("{name: asanoha, pitch: 14 mm}"))
    traced = CliRunner().invoke(cli, ["trace", "job.yaml", "-o", "trace.nc"])
    air = CliRunner().invoke(cli, ["program", "job.yaml", "--air", "10 mm", "-o", "air.nc"])

    assert traced.exit_code == air.exit_code == 0
    assert "spindle off; it pauses at the zero" in traced.stdout
    assert "caution" not in traced.stdout
    assert "in the air: it stays 10 mm or more above the wood, and rises to 15.5 mm" in air.stdout
    assert "Look at it before cutting" not in air.stdout
    assert CliRunner().invoke(cli, ["dry-run", "air.nc", "--job", "job.yaml"]).exit_code == 1
