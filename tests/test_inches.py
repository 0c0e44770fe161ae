"""A job in inches: whatever a person reads speaks inches; the program and the figures for scripts are as before."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from small_job import own_pattern
from vcarve.cli.main import cli
from vcarve.job.bench import load_machine, machines_folder
from vcarve.job.records import load_job

JOB = """\
piece: {width: 4 in, height: 3 in, thickness: 1/2 in, wood: maple-sugar}
units: inch
pattern: {name: kaku-asanoha, pitch: about 1 in}
groove: {ground: 1/16 in, leaf: 1/32 in}
bit: v60-3.175
machine: small-desktop
feed: {cut: 24 in/min, plunge: 6 in/min, spindle: 10000}
clamps: [{x: -1/2 in, y: 1 in, width: 3/8 in, height: 1/2 in, above: 1/8 in}]
"""
MILLIMETRES = re.compile(r"[0-9–] ?(mm|cm)\b", re.IGNORECASE)


def run(*words: str) -> Result:
    """Run the command line with words."""
    return CliRunner().invoke(cli, list(words))


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a job in inches in a folder of its own, which is the working folder."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "lid.yaml"
    path.write_text(JOB)
    return path


def shown(html: str) -> str:
    """Return what a page shows: its text without styles, scripts and tags, spaces as plain ones."""
    bare = re.sub(r"(?s)<(style|script)\b.*?</\1>|<!--.*?-->", "", html)
    labels = " ".join(re.findall(r'aria-label="([^"]*)"', bare))
    text = f"{re.sub(r'<[^>]*>', ' ', bare)} {labels}".replace("\u00a0", " ")
    return text.replace(load_machine("small-desktop").title, "")  # its owner's words


def test_summary_page_and_picture_speak_inches(job: Path) -> None:
    """No length or feed is left in millimetres: not in the summary, the header, the page, the sheet or the picture."""
    made = run("program", job.name, "-o", "lid.nc", "--page", "plan.html", "--picture", "lid.svg")
    checked = run("dry-run", "lid.nc", "--job", job.name, "--page", "lid.html")

    assert made.exit_code == checked.exit_code == 0, made.output + checked.output
    pages = [shown(Path(name).read_text()) for name in ("plan.html", "lid.html", "lid.svg")]
    header = "\n".join(line for line in Path("lid.nc").read_text().splitlines() if line.startswith("("))
    for text in (made.output, checked.output, header, *pages):
        assert not MILLIMETRES.findall(text), text
    assert "cut 24, plunge 6 in/min" in made.output
    assert "0.0625 in deep" in made.output
    assert "4 × 3 × 0.5 in" in pages[0]
    assert "cut 24, plunge 6 in/min" in pages[1]
    assert "at most 0 in" not in checked.output
    assert "Piece: 4 x 3 x 0.5 in" in header


def test_a_figure_has_the_same_decimals_everywhere(job: Path) -> None:
    """Depth, land and feed read the same in summary, picture, section, list and sheet."""
    words = ("--set", "feed.cut=360 mm/min", "--set", "feed.plunge=108 mm/min")
    made = run("program", job.name, "--page", "plan.html", "--picture", "lid.svg", *words).output
    page, picture = (" ".join(shown(Path(name).read_text()).split()) for name in ("plan.html", "lid.svg"))
    land = re.search(r"narrowest (\S+ in)", made)

    assert land is not None
    assert page.count(f"Land narrowest {land[1]}") == 2  # on the page and on its sheet
    assert f"land: narrowest {land[1]}" in picture
    assert "cut 14.17, plunge 4.25 in/min" in made
    assert page.count("Speeds cut 14.17, plunge 4.25 in/min") == 2
    assert "0.062 in" not in page
    assert page.count("0.0625 in") >= 4  # drawn and listed, on the page and on its sheet


def test_inches_over_a_program_in_millimetres(job: Path) -> None:
    """The header says so where its figures and the moves below it are in different units, and only there."""
    said = "(Moves below are in millimetres)"
    texts = []
    for words in ((), ("--set", "units=mm")):
        run("program", job.name, "-o", "lid.nc", *words)
        texts.append(Path("lid.nc").read_text())

    assert said in texts[0].splitlines()
    assert "illimetres" not in texts[1]


def test_width_answers_in_inches_what_is_asked_in_inches() -> None:
    """Both units, the one asked in first; asked in millimetres the answer is in millimetres alone."""
    deep = run("width", "--angle", "90", "--width", "1/8in").stdout
    plain = run("width", "--angle", "90", "--width", "3.175").stdout

    assert "width 0.1250 in (3.175 mm)  needs  depth 0.0625 in (1.587 mm)" in deep
    assert "width 3.175 mm  needs  depth 1.587 mm" in plain
    assert " in)" not in plain
    assert "0.0039 in (0.1 mm) in height changes the width by 0.0079 in (0.200 mm)" in deep


def test_findings_speak_inches(job: Path) -> None:
    """What forbids cutting is said in inches too, of the job and of its program."""
    run("program", job.name, "-o", "lid.nc")
    text = Path("lid.nc").read_text()
    Path("deep.nc").write_text(text.replace("Z-0.794", "Z-1.2", 1).replace("F609.6", "F900", 1))

    refused = run("program", job.name, "--set", "groove.ground=0.6 in", "--set", "feed.cut=50 in/min")
    judged = run("dry-run", "deep.nc", "--job", job.name)

    assert refused.exit_code == judged.exit_code == 1
    assert "0.6 in deep in a piece 0.5 in thick" in refused.output
    assert "The cutting feed is 50 in/min" in refused.output
    assert not MILLIMETRES.findall(refused.output + judged.output)
    assert "in deep" in judged.output


def test_the_program_and_the_figures_stay(job: Path) -> None:
    """The key changes words only: the same moves, and the same figures in millimetres for scripts."""
    spoken = json.loads(run("program", job.name, "-o", "inch.nc", "--json").stdout)
    plain = json.loads(run("program", job.name, "--set", "units=mm", "-o", "mm.nc", "--json").stdout)

    said = {"pattern", "sentences", "program_lines"}
    assert spoken["program_lines"] == plain["program_lines"] + 1  # that the moves are in millimetres
    assert {k: v for k, v in spoken.items() if k not in said} == {
        k: v for k, v in plain.items() if k not in said
    }
    inch, mm = (Path(name).read_text().splitlines() for name in ("inch.nc", "mm.nc"))
    assert inch != mm
    assert [line for line in inch if not line.startswith("(")] == [
        line for line in mm if not line.startswith("(")
    ]


def test_an_inch_machine_speaks_inches(job: Path) -> None:
    """Without the key the units are the machine's, also for a dry run that has only the machine."""
    text = (machines_folder() / "small-desktop.yaml").read_text()
    Path("mill.yaml").write_text(text.replace("decimals: 3", "decimals: 4\nunits: inch"))
    job.write_text(JOB.replace("units: inch\n", "").replace("machine: small-desktop", "machine: mill.yaml"))

    done = run("program", job.name, "-o", "lid.nc")

    assert load_job(str(job)).figures.unit == "in"
    assert load_job(str(job), ["units=mm"]).figures.unit == "mm"
    assert "0.0625 in deep" in done.output, done.output
    Path("fast.nc").write_text(Path("lid.nc").read_text().replace("F24", "F99", 1))
    assert "99 in/min" in run("dry-run", "fast.nc", "--machine", "mill.yaml").output


def test_cautions_of_drawings_and_own_patterns_speak_inches(job: Path) -> None:
    """What was closed in a drawing, and ends that do not meet in a pattern of one's own, are told in inches as well."""
    Path("lines.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="4in" height="3in" viewBox="0 0 101.6 76.2">'
        '<path d="M20 20H60M60.03 20V60H20Z" fill="none" stroke="black"/></svg>'
    )
    Path("own.yaml").write_text(own_pattern("{from: [0, 0], to: [1, 0]}, {from: [0, 0], to: [0, 0.9995]}"))
    drawn = run("program", job.name, "--set", "pattern={drawing: lines.svg}")
    own = run("program", job.name, "--set", "pattern.name=own.yaml")

    assert "Gaps of up to 0.0012 in were closed: at X 2.3634, Y 2.2126 in." in drawn.output, drawn.output
    assert "0.0002 to 0.00039 in on the piece" in own.output, own.output
    assert not MILLIMETRES.findall(drawn.output + own.output)


@pytest.mark.parametrize(
    ("margin", "high", "shape"),
    [("1.498 in", "3 in", "shape: rectangle"), ("1.3 in", "87.988 mm", "shape: polygon, sides: 3")],
)
def test_too_far_inside_the_outline_is_told_in_inches(job: Path, margin: str, high: str, shape: str) -> None:
    """What is left inside a margin, and the margin itself, are told in the units of the job."""
    job.write_text(JOB.replace("height: 3 in", f"height: {high}, outline: {{{shape}}}"))
    said = run("program", job.name, "--set", f"pattern.margin={margin}")

    assert said.exit_code == 2
    assert " in " in said.stderr
    assert not MILLIMETRES.findall(said.stderr), said.stderr
