"""``mizo probe``: what its program asks for, and what comes back from a controller as a surface."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from small_job import job_from
from vcarve.cli.main import cli
from vcarve.dryrun.check import check
from vcarve.dryrun.track import waiting_mm
from vcarve.errors import InputError, refuses
from vcarve.job.records import Job
from vcarve.job.surface import MOST_POINTS, surface_from
from vcarve.layout.probes import probe_places
from vcarve.layout.stages import lay_out
from vcarve.mount.flat import mount_of
from vcarve.pipeline import probe_program
from vcarve.program.moves import Motion, Moves
from vcarve.program.probing import probing
from vcarve.program.reader import read_program

TILE = """\
piece: {width: 80 mm, height: 50 mm, thickness: 10 mm, wood: maple-sugar}
pattern: {name: asanoha, pitch: 15 mm}
groove: {depth: 0.5 mm}
bit: v60-3.175
machine: small-desktop
"""
MACHINES: list[tuple[tuple[str, ...], dict[str, Any]]] = [
    ((), {}),
    (("zero.z=bed", "zero.xy=centre"), {"dialect": "linuxcnc"}),
    (("zero.turn=5 deg",), {"dialect": "rs274ngc", "units": "inch", "decimals": 4}),
    (("units=mm",), {"units": "inch", "decimals": 4}),
]
CLEAR_MM, LIMIT_MM = 2.0, 1.5


def moves_of(job: Job, text: str) -> Moves:
    """Return what the dry run reads of a program."""
    return read_program(text, dialect=job.machine.dialect, start_mm=waiting_mm(job.machine, job)).moves


def made(*sets: str, **machine: Any) -> tuple[Job, str, np.ndarray]:
    """Return a job, its probing program and the places it asks for."""
    job = job_from(TILE, *sets, **machine)
    places = probe_places(lay_out(job), 12.0, 3.0)
    return job, probing(job, places, CLEAR_MM, LIMIT_MM), places


@pytest.mark.parametrize(("sets", "machine"), MACHINES)
def test_it_asks_for_every_place_and_nothing_else(
    sets: tuple[str, ...], machine: dict[str, Any], rs274: Any
) -> None:
    """The interpreter's own probes and the dry run's are the zero, the places and the zero again, from the clear height to the
    limit; all else is at the clear height or above, and the spindle stays off."""
    job, text, places = made(*sets, **machine)
    moves, top = moves_of(job, text), mount_of(job).top_nm / 1e6
    probes = moves.motion == int(Motion.PROBE)
    ran = rs274(text)
    asked = np.array([move.end_mm for move in ran.moves if move.kind == "probe"])

    assert ran.accepted
    assert ran.message == ""
    wanted = np.vstack([[0.0, 0.0], places, [0.0, 0.0]])
    assert np.allclose(asked[:, :2], wanted, atol=2e-3, rtol=0.0)
    assert np.allclose(moves.end("XY")[probes], wanted, atol=2e-3, rtol=0.0)
    assert np.allclose(asked[:, 2], top - LIMIT_MM, atol=2e-3)
    assert np.allclose(moves.end("Z")[probes], top - LIMIT_MM, atol=2e-3)
    assert moves.end("Z")[~probes].min() >= top + CLEAR_MM - 2e-3
    assert (moves.end("XY") == moves.start("XY"))[probes].all()
    assert not moves.rpm.any()
    assert not {event.kind for event in moves.events} & {"spindle-cw", "spindle-ccw"}
    assert not refuses(check(read_program(text, dialect=job.machine.dialect), job.machine))


@pytest.mark.parametrize("form", ["grbl", "linuxcnc"])
def test_what_a_controller_answers_becomes_the_board(form: str) -> None:
    """A controller that runs the program on a bent board answers with that board's heights, counted "
    "from the first touch."""
    job, text, places = made(dialect="linuxcnc" if form == "linuxcnc" else "grbl-1.1")
    moves = moves_of(job, text)

    def board(x: Any, y: Any) -> Any:
        return 0.2 * np.sin(x / 40.0) - 0.1 * np.cos(y / 30.0)

    lines = []
    for x, y in moves.end("XY")[moves.motion == int(Motion.PROBE)].tolist():
        z = float(board(x, y))
        nine = f"{x:.6f} {y:.6f} {z:.6f} 0 0 0 0 0 0"
        # Grbl answers in machine coordinates.
        lines.append(
            nine if form == "linuxcnc" else f"[PRB:{x - 200:.3f},{y - 150:.3f},{z - 31.5:.3f}:1]\nok"
        )
    surface = surface_from("\n".join(lines))

    assert surface.grid is not None
    assert np.allclose(surface.places_mm[:, :2], places, atol=1e-3)
    height = board(*places.T) - board(0.0, 0.0)
    assert np.allclose(surface.places_mm[:, 2], height, atol=2e-3)
    assert surface.whole
    assert surface.drift_mm == 0.0


@pytest.mark.parametrize(
    "sets",
    [("piece.outline={shape: ellipse}", "zero.xy=centre"), ("zero.turn=-20 deg",), ("zero.xy=back-right",)],
)
def test_places_lie_on_the_piece_and_clear_of_clamps(sets: tuple[str, ...]) -> None:
    """Whatever the outline and however it lies, every place is 3 mm or more inside, and the bit "
    "goes down beside no clamp."""
    clamp = "clamps=[{x: 0, y: 20, width: 15, height: 10, above: 3}]"
    job = job_from(TILE, *sets, clamp)
    places = probe_places(lay_out(job), 12.0, 3.0)
    mount = mount_of(job)
    on = np.array([mount.piece_mm(*place) for place in places.tolist()])

    assert (np.abs(on) <= np.array([37.0, 22.0]) + 1e-6).all()
    beside = np.abs(on - [-32.5, 0.0]) - [7.5, 5.0]
    assert (np.hypot(*np.maximum(beside, 0.0).T) > 1.5875 + 1.9).all()
    assert len(places) > 10


def test_the_command_writes_the_program_and_says_what_comes_next(tmp_path: Path) -> None:
    """The file is written whole, and the next steps are told; a job that names its heights already "
    "needs none to be there."""
    (tmp_path / "tile.yaml").write_text(f"{TILE}surface: heights.txt\n")
    words = ["probe", str(tmp_path / "tile.yaml"), "-o", str(tmp_path / "probe.nc")]
    done, bed = (CliRunner().invoke(cli, [*words, *more]) for more in ((), ("--set", "zero.z=bed")))

    assert done.exit_code == bed.exit_code == 0
    assert "piece.thickness has to be how high the top stands at X0 Y0" in bed.output
    assert "40 places after X0 Y0" in done.output
    assert "caution" not in done.output
    assert "save all that the sender shows of the run as heights.txt beside the job" in done.output
    text = (tmp_path / "probe.nc").read_text()
    assert text.count("G38.2") == 42
    assert "(Caution: The spindle stays off." in text


def test_a_turned_piece_is_touched_along_its_own_edges() -> None:
    """However the piece lies, the same places of it are touched, up to its edges."""
    straight, turned = (made(*sets) for sets in ((), ("zero.turn=20 deg",)))
    here, there = (
        np.column_stack(mount_of(job).piece_mm(*places.T)) for job, _, places in (straight, turned)
    )

    assert np.allclose(here, there, rtol=0.0, atol=1e-9)


def test_linuxcnc_probes_in_millimetres() -> None:
    """Its file does not say in which unit it is: it has that of the program, whatever the machine's."""
    _, text, _ = made(dialect="linuxcnc", units="inch", decimals=4)

    assert "G21" in text
    assert "G20" not in text
    assert f"G38.2 Z-{LIMIT_MM} F60" in text


def test_a_thin_piece_needs_no_options() -> None:
    """What nobody has asked for is chosen so that it can be: no probe goes nearer to the bed than 1 mm."""
    job = job_from(TILE, "piece.thickness=2 mm")
    text, _, _ = probe_program(lay_out(job))

    assert "G38.2 Z-1 F60" in text


@pytest.mark.parametrize(("width", "height"), [(480, 320), (600, 380), (600, 60), (250, 250)])
def test_a_large_piece_needs_no_options(width: int, height: int) -> None:
    """Of what nobody has asked for the places are no more than a surface takes."""
    job = job_from(
        TILE.replace("small-desktop", "gantry-router"), f"piece.width={width}", f"piece.height={height}"
    )

    assert len(probe_program(lay_out(job))[2]) <= MOST_POINTS


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--limit", "9.5 mm"], "--limit: '9.5 mm': a length from 0.1 mm to 9 mm is wanted"),
        (
            ["--limit", "1e308 mm"],
            "--limit: '1e308 mm': the exponent is beyond reason; a length is wanted, such as 12 mm, "
            "2.5 cm, 1/4 in or 1 1/4 in",
        ),
        (["--limit", "nan"], "--limit: 'nan': a length is wanted, such as 12 mm, 2.5 cm, 1/4 in or 1 1/4 in"),
        (["--clear", "9 mm"], "--clear: '9 mm': a length from 0.5 mm to 5 mm is wanted"),
        (
            ["--spacing", "1 mm"],
            "--spacing: '1 mm': that is 3375 places, and up to 1000 are taken; give about 1.81 mm or more",
        ),
        (["--spacing", "0"], "--spacing: '0 mm': a length from 1 mm to 1000 mm is wanted"),
        (
            ["--spacing", "5 s"],
            "--spacing: '5 s': 's' is a unit of time; a length is wanted, such as 12 mm, 2.5 cm, 1/4 in or 1 1/4 in",
        ),
        (["--inset", "30 mm"], "--inset: '30 mm': nothing is left of the piece so far inside its outline"),
        (
            [
                "--inset",
                "24.9 mm",
                "--spacing",
                "900 mm",
                "--set",
                "clamps=[{x: 20, y: 20, width: 40, height: 10, above: 3}]",
            ],
            "--spacing: '900 mm': fewer than three places are left on the piece; give less",
        ),
        (
            ["--set", "piece.outline={shape: rounded, radius: 9}"],
            "zero.xy: 'front-left': the first touch is at X0 Y0, and there the piece has no top; set "
            "the zero on it, such as at its centre",
        ),
        (
            ["--set", "clamps=[{x: -12, y: -12, width: 10, height: 20, above: 3}]"],
            "--set clamps: the first touch is at X0 Y0, and a clamp is in the bit's way there; move "
            "it, or set the zero elsewhere",
        ),
        (["-o", "heights.txt"], "'heights.txt': is there already and is no program; give another name"),
        (["-o", "tile.yaml"], "'tile.yaml': is read by this command; write to another file"),
    ],
)
def test_what_cannot_be_probed_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], said: str
) -> None:
    """What cannot be is refused with what would do; nothing is written, least of all over heights "
    "that were probed before."""
    monkeypatch.chdir(tmp_path)
    Path("tile.yaml").write_text(f"{TILE}surface: heights.txt\n")
    Path("heights.txt").write_text("10 10 0.1\n70 10 0\n10 40 0\n")
    done = CliRunner().invoke(cli, ["probe", "tile.yaml", "-o", "p.nc", *words])

    assert done.exit_code == InputError.exit_code
    assert done.stderr == f"wrong  {said}\nNothing was written.\n"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["heights.txt", "tile.yaml"]
    assert "G38" not in Path("heights.txt").read_text()


def test_no_probing_below_the_top_of_a_clamp(tmp_path: Path) -> None:
    """The bit goes across at the safe height at most: a clamp as high as that forbids the run, as "
    "it forbids the program."""
    (tmp_path / "tile.yaml").write_text(TILE + "clamps: [{x: 0, y: 20, width: 15, height: 10, above: 5}]\n")
    done = CliRunner().invoke(cli, ["probe", str(tmp_path / "tile.yaml"), "-o", str(tmp_path / "p.nc")])

    assert done.exit_code == 1
    assert "the machine's safe height of 5 mm does not clear it" in done.output
    assert not (tmp_path / "p.nc").exists()
