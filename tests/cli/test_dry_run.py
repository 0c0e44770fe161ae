"""The ``dry-run`` command: exit codes, messages, figures, and files that appear whole or not at all."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from vcarve.cli.main import cli
from vcarve.proofing import HEADER_BYTES
from vcarve.view.look import LIGHT, rgb

PROGRAMS = Path(__file__).parent.parent / "dryrun" / "programs"
CROSS = PROGRAMS / "cross.nc"
JOB = str(PROGRAMS / "cross.yaml")
MACHINE = str(PROGRAMS / "mill.yaml")


def ask(*words: str, text: bytes | None = None) -> Result:
    """Run the command; anything but a clean end or a wanted exit is raised."""
    return CliRunner().invoke(cli, ["dry-run", *words], input=text, catch_exceptions=False)


def test_a_clean_program() -> None:
    """Exit code 0, figures with units, and the word that every check passed."""
    result = ask(str(CROSS), "--job", JOB)

    assert result.exit_code == 0
    assert "19 lines, 14 moves, 3 passes" in result.stdout
    assert "deepest 1 mm" in result.stdout
    assert "as computed to within 0.001 mm" in result.stdout
    assert "every check passed" in result.stdout
    assert result.stderr == ""


def test_findings_end_with_one(tmp_path: Path) -> None:
    """Exit code 1, each finding with its line and code; the page asked for shows them and is written all the same."""
    program, page = tmp_path / "bad.nc", tmp_path / "bad.html"
    program.write_text(CROSS.read_text().replace("G1 X20 F600", "G0 X20"))
    result = ask(str(program), "--job", JOB, "--page", str(page))

    assert result.exit_code == 1
    assert "line 8: A rapid moves across below the surface. [rapid-in-wood]" in result.stdout
    assert "every check passed" not in result.stdout
    assert "rapid-in-wood" in page.read_text(encoding="utf-8")


def test_cautions_alone_are_clean(tmp_path: Path) -> None:
    """What is only worth a look is said, and the program may still be cut."""
    program = tmp_path / "habit.nc"
    program.write_text(CROSS.read_text().replace("G0 Z5\nM5\n", "G0 Z2\nG0 Z5 M5\n"))
    result = ask(str(program), "--job", JOB)

    assert result.exit_code == 0
    assert "caution" in result.stdout
    assert "[stop-with-motion]" in result.stdout
    assert "no check forbids cutting" in result.stdout


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "the program is empty"),
        (b" \n\r\n", "the program is empty"),
        (b"G21\n\x89PNG\0\0\0", ":2: this is no text"),
        (b"G21 G90 G94\nG1 X1 F\nM2\n", ":2: column"),
        ("G21\nG1 X1 F100 ä\nM2\n".encode(), ":2: column"),
    ],
)
def test_what_cannot_be_read_ends_with_two(content: bytes, said: str, tmp_path: Path) -> None:
    """Exit code 2 with the file, the line and what is wrong; nothing is printed as a result and nothing is written."""
    program, page = tmp_path / "odd.nc", tmp_path / "page.html"
    program.write_bytes(content)
    result = ask(str(program), "--job", JOB, "--page", str(page))

    assert result.exit_code == 2
    assert said in result.stderr
    assert result.stdout == ""
    assert [path.name for path in tmp_path.iterdir()] == ["odd.nc"]


def test_very_many_faults_are_counted(tmp_path: Path) -> None:
    """A text that is no program at all is told in a screenful."""
    program = tmp_path / "letter.nc"
    program.write_text("Dear neighbour\n" * 300)
    result = ask(str(program), "--job", JOB)

    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) < 30
    assert "and 2" in result.stderr
    assert "more" in result.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("missing.nc",), "missing.nc: cannot be read: there is no such file"),
        (("{folder}",), "it is a folder"),
        (("{program}", "--picture", "x.png"), "--job"),
        (("{program}", "--heights", "x.npy"), "--job"),
        (("{program}", "--step", "0.1 mm"), "--job"),
        (("{program}", "--set", "groove.depth=1"), "--job"),
        (("{program}", "--machine", "no-such-mill"), "no-such-mill"),
        (("{program}", "--job", "{job}", "--machine", "rs274-mill"), "the job names its machine"),
        (("{program}", "--job", "missing.yaml"), "missing.yaml"),
        (("{program}", "--job", "{job}", "--step", "wide"), "--step"),
        (("{program}", "--job", "{job}", "--step", "5 mm"), "between"),
        (("{program}", "--job", "{job}", "--set", "groove.deep=1"), "groove.deep"),
        (("-", "--job", "-"), "standard input"),
        (("{program}", "--page", "{program}"), "is read by this command"),
        (("{program}", "--page", "{folder}/none/page.html"), "page.html"),
        (("{program}", "--job", "{job}", "--page", "{folder}/a", "--picture", "{folder}/a"), "two outputs"),
        (("{program}", "--job", "{job}", "--heights", "{folder}/heights.txt"), "heights.txt"),
    ],
)
def test_wrong_words(words: tuple[str, ...], said: str, tmp_path: Path) -> None:
    """Each wrong option or path ends with exit code 2 and a sentence naming it; no file changes."""
    program = tmp_path / "copy.nc"
    program.write_bytes(CROSS.read_bytes())
    filled = [word.format(folder=tmp_path, program=program, job=JOB) for word in words]
    result = ask(*filled)

    assert result.exit_code == 2
    assert said in result.stderr
    assert result.stdout == ""
    assert [path.name for path in tmp_path.iterdir()] == ["copy.nc"]
    assert program.read_bytes() == CROSS.read_bytes()


def test_from_standard_input() -> None:
    """A minus reads the program from standard input."""
    result = ask("-", "--job", JOB, text=CROSS.read_bytes())

    assert result.exit_code == 0
    assert "19 lines" in result.stdout
    assert "standard input" in ask("-", "--job", JOB, text=b"G1 Q\n").stderr


def test_without_a_job(tmp_path: Path) -> None:
    """A program alone is judged against a machine, and its page opens without a piece."""
    page = tmp_path / "page.html"
    result = ask(str(CROSS), "--machine", MACHINE, "--page", str(page))

    assert result.exit_code == 0
    assert "carved" not in result.stdout
    assert "<html" in page.read_text(encoding="utf-8")


def test_figures_as_json() -> None:
    """One object; lengths are those of the program by hand: 40 and 20 mm of lines and half a circle of radius 5."""
    result = ask(str(CROSS), "--job", JOB, "--json")
    facts = json.loads(result.stdout)

    assert set(facts) == {
        "clean", "machine", "dialect", "lines", "moves", "passes", "passes_before", "time_s", "corners", "cut_time_s",
        "plunge_time_s", "rapid_time_s", "dwell_s", "pauses", "below_surface_mm", "rapid_mm", "extents_mm", "findings",
        "measured", "cut_out",
    }  # fmt: skip
    assert facts["clean"] is True
    assert facts["findings"] == []
    assert facts["machine"] == "mill.yaml"
    plunges = 1.0 + 2 * 2.0 + 1.0  # from 1 mm above to 1 mm deep, three times
    assert facts["below_surface_mm"] == pytest.approx(40.0 + 20.0 + 5.0 * 3.141592653589793 + plunges)
    assert facts["dwell_s"] == 3.0
    assert facts["extents_mm"]["z"] == [-1.0, 5.0]
    measured = facts["measured"]
    assert measured["edges"] + measured["edges_not_measured"] == 5
    assert measured["deepest_mm"] == pytest.approx(1.0, abs=0.05)
    assert measured["worst_width"]["computed_mm"] == pytest.approx(2.0)
    assert abs(measured["worst_width"]["error_mm"]) <= measured["step_mm"]
    assert measured["land_islands"] == 1  # nothing closes a cell
    assert measured["narrowest_land_mm"] > 10.0


def test_findings_as_json(tmp_path: Path) -> None:
    """Each finding has its code, weight, sentence, line and place."""
    program = tmp_path / "bad.nc"
    program.write_text(CROSS.read_text().replace("G1 X20 F600", "G1 X22 F600"))
    result = ask(str(program), "--job", JOB, "--json")
    facts = json.loads(result.stdout)

    assert result.exit_code == 1
    assert facts["clean"] is False
    assert [(one["code"], one["severity"], one["line"], one["at_mm"]) for one in facts["findings"]] == [
        ("stray-cut", "refuse", 8, [pytest.approx(20.0, abs=0.02), pytest.approx(0.0, abs=1e-9)])
    ]


def test_standard_output_belongs_to_the_file(tmp_path: Path) -> None:
    """Where a page goes to standard output nothing else does."""
    result = ask(str(CROSS), "--job", JOB, "--page", "-")

    assert result.stdout.lstrip().lower().startswith("<!doctype html")
    assert "every check passed" in result.stderr


def test_picture_and_heights(tmp_path: Path) -> None:
    """The picture is a PNG, and the heights are the carved surface on the grid asked for."""
    import numpy as np

    picture, heights = tmp_path / "piece.png", tmp_path / "piece.npy"
    result = ask(
        str(CROSS), "--job", JOB, "--picture", str(picture), "--heights", str(heights), "--step", "0.1 mm"
    )

    assert result.exit_code == 0
    assert picture.read_bytes().startswith(b"\x89PNG")
    surface = np.load(heights)
    assert surface.shape == (400, 600)
    assert float(surface.min()) == pytest.approx(-1.0, abs=0.1)


def test_another_jobs_program_is_told_shortly() -> None:
    """Checked against a job it was not made for, a program is refused in a screenful that begins with the reason."""
    job = Path(__file__).parent.parent.parent / "samples" / "coaster.yaml"
    result = ask(str(CROSS), "--job", str(job))
    said = [line for line in result.stdout.splitlines() if "must not be cut" in line]

    assert result.exit_code == 1
    assert "[other-job]" in said[0]
    assert len(said) < 25


def test_what_has_no_end_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A device that gives bytes for ever, or a pipe, is read up to the largest size taken and no further."""
    monkeypatch.setattr("vcarve.proofing.LARGEST_BYTES", 1000)
    for result in (ask("/dev/zero"), ask("-", text=b"G21\n" * 251)):
        assert result.exit_code == 2
        assert "too large" in result.stderr
    assert "too large" not in ask("-", text=b"G21\n" * 250).stderr


def test_a_grid_too_fine_for_the_piece_is_refused(tmp_path: Path) -> None:
    """A surface that would fill the memory is refused before anything is carved, and the finest that fits is named."""
    page = tmp_path / "page.html"
    wide = [word for size in ("width", "height") for word in ("--set", f"piece.{size}=3000")]
    result = ask(str(CROSS), "--job", JOB, *wide, "--step", "0.005", "--page", str(page))

    assert result.exit_code == 2
    assert "--step: '0.005': too fine for a piece of this size" in result.stderr
    assert not page.exists()


def test_the_picture_of_what_must_not_be_cut_is_marked(tmp_path: Path) -> None:
    """A band with words stands over the carved piece, and over no picture of a clean program."""
    bad = tmp_path / "bad.nc"
    bad.write_text(CROSS.read_text().replace("G1 X20 F600", "G1 X22 F600"))
    pictures = []
    for program in (CROSS, bad):
        ask(str(program), "--job", JOB, "--picture", str(tmp_path / "p.png"))
        with Image.open(tmp_path / "p.png") as image:
            pictures.append(np.asarray(image.convert("RGB"), dtype=int))
    clean, marked = pictures
    band = marked[: len(marked) - len(clean)]
    colours = {tuple(colour) for colour in band.reshape(-1, 3).tolist()}

    assert len(band) > 15
    assert {rgb(LIGHT.finding), rgb(LIGHT.on_finding)} <= colours
    assert marked.shape[1] == clean.shape[1]


@pytest.mark.parametrize(("lines", "named"), [(1, True), (HEADER_BYTES // 10, False)])
def test_the_machine_is_looked_for_at_the_start_only(tmp_path: Path, lines: int, named: bool) -> None:
    """A header that goes on and on is not searched to its end."""
    late = tmp_path / "late.nc"
    late.write_text("(no word)\n" * lines + "(Machine: small-desktop, grbl-1.1)\n" + CROSS.read_text())
    said = ask(str(late)).output

    assert ("small-desktop, which the program's header names" in said) == named
    assert ("no header names one" in said) != named


STRANGER = "G17 G21 G40 G49 G54 G61 G90 G94\nG0 Z5\nS10000 M3\nG4 P1\nG0 X5 Y5\nG1 Z-1 F200\nG1 X20 F900\nG0 Z5\nM5\nM30\n"


def test_a_copy_of_a_machine_is_not_the_machine_it_was_copied_from(tmp_path: Path) -> None:
    """A program for a machine of one's own is judged for that file where it lies beside it, and for none that comes with Mizo."""
    copied, job, program = tmp_path / "mill.yaml", tmp_path / "tile.yaml", tmp_path / "tile.nc"
    for words in (
        ("machines", "small-desktop", "-o", str(copied)),
        ("new", str(job)),
        ("program", str(job), "--set", "machine=mill.yaml", "-o", str(program)),
    ):
        assert CliRunner().invoke(cli, words).exit_code == 0

    text = program.read_text()
    beside = CliRunner().invoke(cli, ["dry-run", str(program)])
    copied.unlink()
    alone = CliRunner().invoke(cli, ["dry-run", str(program)])

    assert "(Machine: mill.yaml, grbl-1.1)" in text
    assert "machine  mill.yaml, which the program's header names" in beside.stdout
    assert "the header's 'mill.yaml' is not here" in alone.stdout
    assert (beside.exit_code, alone.exit_code) == (0, 0)


def test_a_machine_that_nobody_named_forbids_nothing(tmp_path: Path) -> None:
    """Feeds, travel and spin-up of an assumed machine are cautions; the same machine named refuses."""
    program = tmp_path / "other.nc"
    program.write_text(STRANGER.replace("X20", "X900"))

    assumed = CliRunner().invoke(cli, ["dry-run", str(program)])
    named = CliRunner().invoke(cli, ["dry-run", str(program), "--machine", "small-desktop"])

    assert assumed.exit_code == 0
    assert "caution" in assumed.stdout
    assert "[travel]" in assumed.stdout
    assert named.exit_code == 1


def test_what_needs_a_job_is_said_not_to_be_judged(tmp_path: Path) -> None:
    """Without its job a program is never told to have passed every check, in words or on the page."""
    program, page = tmp_path / "other.nc", tmp_path / "other.html"
    program.write_text(STRANGER)

    done = CliRunner().invoke(cli, ["dry-run", str(program), "--page", str(page)])

    assert "[no-job]" in done.stdout
    assert "every check passed" not in done.stdout
    assert "Every check passed" not in page.read_text(encoding="utf-8")


def test_a_program_of_another_job_is_told_in_our_words_only(tmp_path: Path) -> None:
    """No warning of a library stands among the findings, whatever the carved surface looks like."""
    program = tmp_path / "other.nc"
    program.write_text(STRANGER)

    done = CliRunner().invoke(cli, ["dry-run", str(program), "--job", str(PROGRAMS / "cross.yaml")])

    assert done.exit_code == 1
    assert "Warning" not in done.output
