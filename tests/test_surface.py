"""A board that is not flat, end to end: followed, judged, carved, and told what it would have cost."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from small_job import job_from
from vcarve.codes import OF_JOBS
from vcarve.dryrun.check import check
from vcarve.job.records import load_job
from vcarve.job.surface import Surface
from vcarve.layout.findings import job_findings
from vcarve.layout.probes import probe_places
from vcarve.layout.stages import lay_out
from vcarve.layout.warp import warp_of
from vcarve.pipeline import air_program, plan_program, trace_program
from vcarve.plane.arcs import points
from vcarve.program.moves import Motion
from vcarve.program.reader import read_program
from vcarve.proofing import carve_piece, check_program, target_of
from vcarve.report import program_json, program_rows
from vcarve.resume import at_pass, rest_of
from vcarve.view.page import program_payload
from warped import BOARDS, grid, on, touched

TILE = """\
piece: {width: 100 mm, height: 100 mm, thickness: 12 mm, wood: maple-sugar}
pattern: {name: higaki, pitch: 22 mm, margin: 6 mm}
groove: {depth: 0.8 mm, step: 1 mm}
bit: {angle: 90, diameter: 6, shank: 3.175}
machine: small-desktop
"""
TRUE_MM = 2.0  # a board as it is, for the carving: touched so often that what lies between hardly counts
WITHIN_MM = 0.02


@pytest.mark.parametrize("kind", BOARDS)
def test_every_groove_is_as_wide_as_on_a_flat_board(kind: str) -> None:
    """Carved on the board as it is, every groove of the followed top is within 0.02 mm of the wanted width; without following it
    the widths are those that the summary tells."""
    job = job_from(TILE)
    probed, board = on(job, grid(BOARDS[kind], 10.0)), on(job, grid(BOARDS[kind], TRUE_MM))
    made = plan_program(probed)
    followed = carve_piece(check_program(made.text, board))
    ignored = carve_piece(check_program(plan_program(job).text, board))
    assert followed.measured is not None
    assert ignored.measured is not None

    assert not [one for one in made.findings if one.code != "pitch-unusual"]
    assert not followed.refused
    off = followed.measured.widths_mm - followed.measured.wanted_mm
    assert followed.measured.measured > 20
    assert np.nanmax(np.abs(off)) <= WITHIN_MM

    warp = warp_of(made.layout)
    assert warp is not None
    without = ignored.measured.widths_mm
    assert np.nanmin(without) >= warp.narrowest_mm - WITHIN_MM
    assert np.nanmax(without) <= warp.widest_mm + WITHIN_MM
    # The whole of what is told comes about, but for grooves that end before the board's outermost places.
    assert np.nanmax(without) - np.nanmin(without) > 0.7 * (warp.widest_mm - warp.narrowest_mm)
    assert {one.code for one in ignored.findings} >= {"wrong-depth"}


@pytest.mark.parametrize(
    ("sets", "machine"),
    [
        (("zero.turn=7 deg",), {}),
        (("zero.xy=centre", "zero.z=bed"), {}),
        (("pattern.name=shippo",), {"dialect": "linuxcnc"}),
        (("pattern.name=shippo",), {"arcs": False}),
        (("groove.step=0.3 mm",), {"units": "inch", "decimals": 4}),
        (("groove.taper=8 mm",), {"dialect": "grbl-1.1"}),
        (("piece.outline={shape: circle}", "zero.xy=front-left", "plan.recut=never"), {}),
        (("clamps=[{x: -12, y: 40, width: 10, height: 20, above: 4}]",), {}),
    ],
)
@pytest.mark.parametrize("whole", [True, False])
def test_a_followed_top_passes_every_check(
    sets: tuple[str, ...], machine: dict[str, Any], whole: bool
) -> None:
    """However the piece lies and whatever the controller, the program on a bent board is clean."""
    job = job_from(TILE, *sets, **machine)
    rng = np.random.default_rng(1)

    def board(x: Any, y: Any) -> Any:
        return 0.15 * np.sin(x / 30.0) + 0.1 * np.cos(y / 25.0)

    places = np.meshgrid(np.linspace(-60, 110, 18), np.linspace(-60, 130, 20))
    x, y = (axis.ravel() for axis in places) if whole else rng.uniform(-60, 120, (2, 150))
    height = board(x, y) - board(0.0, 0.0)
    made = plan_program(
        on(job, Surface(points_mm=tuple(zip(x.tolist(), y.tolist(), height.tolist(), strict=True))))
    )

    assert [str(one) for one in made.findings if one.code not in OF_JOBS] == []
    assert not made.refused
    assert made.passes == made.plan.passes


def test_a_rapid_over_a_hump_is_seen() -> None:
    """A way across that clears the top at both ends and not between them is told, as is a groove that does not follow it."""
    job = on(job_from(TILE), touched(lambda x, y: 2.0 * np.exp(-(((x - 50) / 15) ** 2)), *_places()))
    text = "G17 G21 G40 G49 G54 G80 G90 G94\nG61\nG0 Z5\nX10 Y50\nZ1\nX90\nZ5\nM2\n"
    flat = plan_program(job_from(TILE))

    assert _codes(text, job) >= {"rapid-in-wood"}
    assert _codes(flat.text, job) >= {"wrong-depth"}
    assert "rapid-in-wood" not in _codes(text.replace("Z1", "Z2.5"), job)


def _places() -> tuple[Any, Any]:
    x, y = np.meshgrid(np.arange(0.0, 101.0, 5.0), np.arange(0.0, 101.0, 20.0))
    return x.ravel(), y.ravel()


def _codes(text: str, job: Any) -> set[str]:
    reading = read_program(text, dialect=job.machine.dialect)
    return {one.code for one in check(reading, job.machine, target_of(plan_program(job).layout))}


def test_the_summary_says_how_bowed_and_what_it_would_have_cost() -> None:
    """Header and summary tell it in words, the figures as numbers, and of a flat board neither says anything."""
    job = job_from(TILE)
    made = plan_program(on(job, grid(BOARDS["bowed"], 10.0)))
    flat = plan_program(on(job, grid(lambda x, y: 0.0, 10.0)))
    said = dict(program_rows(made))["surface"]

    assert said == (
        "followed; along the lines it lies 0.3 mm below to 0.06 mm below its height at the zero; without it grooves of 1.6 mm "
        "would have been 1 to 1.47 mm wide"
    )
    assert "(Surface: followed, along the lines it lies" in made.text
    assert program_json(made)["surface"]["narrowest_mm"] == pytest.approx(1.0)
    assert flat.text == plan_program(job).text
    assert "surface" not in dict(program_rows(flat))


def test_the_summary_says_how_far_the_zero_drifted() -> None:
    """What the last touch at the zero told stands in the summary and among the figures; less than a hundredth is not said."""
    surface = grid(BOARDS["bowed"], 10.0)
    far, near = (
        plan_program(on(job_from(TILE), surface.model_copy(update={"drift_mm": mm})))
        for mm in (-0.031, 0.004)
    )

    assert dict(program_rows(far))["surface"].endswith("; the zero drifted by 0.03 mm while it was probed")
    assert "drifted" not in dict(program_rows(near))["surface"]
    assert program_json(far)["surface"]["drift_mm"] == -0.031


def test_a_slip_of_the_probe_is_refused() -> None:
    """One place far from where those round it lead would be cut so: it is refused; one a little off is a caution."""
    surface = grid(BOARDS["bowed"], 10.0)
    for off, severity in ((-1.0, "refuse"), (0.2, "caution")):
        points = [(x, y, z + off * (x == y == 50.0)) for x, y, z in surface.points_mm]
        found = job_findings(lay_out(on(job_from(TILE), Surface(points_mm=tuple(points)))))

        assert {(one.code, one.severity) for one in found if one.code == "surface-odd"} == {
            ("surface-odd", severity)
        }


def test_what_it_would_have_cost_is_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many plans are written and however often it is told, the top under the lines is looked at once."""
    looks = []

    def along(*args: Any) -> Any:
        looks.append(args)
        return points(*args)

    monkeypatch.setattr("vcarve.layout.warp.along", along)
    made = plan_program(on(job_from(TILE), grid(BOARDS["bowed"], 10.0)))

    assert "surface" in dict(program_rows(made))
    assert program_json(made)["surface"] is not None
    assert len(looks) == 1


def test_a_job_names_its_file_of_heights(tmp_path: Path) -> None:
    """The file is looked up beside the job, is one of the job's files, and what is wrong in it has its line."""
    from vcarve.errors import InputError

    (tmp_path / "tile.yaml").write_text(f"{TILE}surface: heights.txt\n")
    (tmp_path / "heights.txt").write_text("0 0 0\n90 0 0.1\n0 90 0.2\n90 90 0.3\n")
    job = load_job(tmp_path / "tile.yaml")

    assert job.surface is not None
    assert len(job.surface.points_mm) == 4
    assert str(tmp_path / "heights.txt") in job.files
    (tmp_path / "heights.txt").write_text("0 0 0\n90 0 0,1\n")
    with pytest.raises(InputError, match=r"heights\.txt:2: '90 0 0,1': 3 numbers are wanted here"):
        load_job(tmp_path / "tile.yaml")


def test_the_page_shows_depths_below_the_top_where_the_bit_is() -> None:
    """The page draws a flat piece: what it plays cuts as deep everywhere as the grooves are."""
    made = plan_program(on(job_from(TILE), grid(BOARDS["bowed"], 10.0)))
    data, moves = program_payload(made), made.reading.moves
    ends = np.frombuffer(base64.b64decode(data["end"]), dtype="<f4").reshape(-1, 3)
    cut = (moves.motion != int(Motion.RAPID)) & (moves.end("XY") != moves.start("XY")).any(axis=1)

    assert np.ptp(moves.end("Z")[cut]) > 0.2
    assert np.allclose(ends[cut, 2], -0.8, atol=1.1e-3)
    # What is read as Z is the program's.
    rise = np.frombuffer(base64.b64decode(data["rise"]), dtype="<f4")
    assert np.allclose(ends[:, 2] + rise, moves.end("Z"), atol=1e-5)
    assert "rise" not in program_payload(plan_program(job_from(TILE)))


def test_in_the_air_it_stays_above_the_top_wherever_that_is() -> None:
    """Rehearsal and trace keep their height above every place of a bent board, the highest as well."""
    job = on(job_from(TILE), grid(lambda x, y: 0.4 * np.sin(x / 20.0) * np.cos(y / 30.0), 5.0))
    made = plan_program(job)
    for run, height_mm in ((air_program(made, 10.0)[1], 10.0), (trace_program(made.layout)[1], 5.0)):
        above = run.setup.on_top(run.reading.moves.end_mm)[:, 2]

        assert above.min() >= height_mm - 1.5e-3
        assert not run.refused


def test_the_rest_of_a_program_that_follows_a_top_is_judged_with_what_was_cut_before() -> None:
    """After a break the rest is clean beside the whole, from every pass on."""
    job = on(job_from(TILE, "plan.recut=never"), grid(BOARDS["twisted"], 10.0))
    made = plan_program(job)
    data = made.text.encode()
    alone = check_program(data, machine=job.machine)

    assert made.passes > 3
    for number in (2, made.passes // 2, made.passes):
        rest = rest_of(alone, at_pass(alone, number), text=data, name="tile.nc")
        run = check_program(rest.text, job, rest_of=("tile.nc", data))

        assert [str(one) for one in run.findings if one.code not in OF_JOBS] == []
        assert run.passes_before == number - 1


def test_the_sample_on_a_bowed_board() -> None:
    """Its log is what a sender showed of its own probing program, and its program follows the board without a finding."""
    job = load_job(Path(__file__).parent.parent / "samples" / "bowed-board" / "tray.yaml")
    made = plan_program(job)
    assert job.surface is not None

    assert np.allclose(
        job.surface.places_mm[:, :2], probe_places(made.layout, 20.0, 4.0), rtol=0.0, atol=1e-3
    )
    assert job.surface.whole
    assert made.findings == ()
    assert dict(program_rows(made))["surface"].startswith("followed; along the lines it lies 0.23 mm below")
    assert str(Path("bowed-board") / "heights.txt") in " ".join(job.files)
