"""What comes back from the mill, as the page is told of it: the rest of a program that broke off, and measured widths."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

import vcarve
from served import SMALL, Served, served
from vcarve.cli.main import cli
from vcarve.serve.edit import edited
from vcarve.serve.returned import several

PROGRAMS = Path(__file__).parent.parent / "dryrun" / "programs"
CROSS, JOB = (PROGRAMS / "cross.nc").read_text(), (PROGRAMS / "cross.yaml").read_text()
MILL = (PROGRAMS / "mill.yaml").read_text()


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Return a server of a folder in which the machine of the cross lies."""
    folder = tmp_path_factory.mktemp("returned")
    for name in ("mill.yaml", "cross.svg"):
        (folder / name).write_text((PROGRAMS / name).read_text())
    with served(folder) as found:
        yield found


def rest(page: Served, lines: str = CROSS, **given: Any) -> Any:
    """Ask for the rest of a program from its second pass on, by the job it was made for."""
    asked = {"file": "cross.nc", "told": "--pass", "where": "2", "text": JOB}
    return page.ask("rest", asked | {"program": base64.b64encode(lines.encode()).decode()} | given)


def mizo(folder: Path, *words: str) -> str:
    """Run the command on files of a folder; return what it prints."""
    paths = [str(folder / word) if word.endswith((".nc", ".yaml")) else word for word in words]
    return CliRunner().invoke(cli, paths, catch_exceptions=False).stdout


@pytest.mark.parametrize(
    ("told", "where"), [("--pass", "2"), ("--pass", "3"), ("--line", "12"), ("--after", "0.2 min")]
)
def test_the_rest_is_that_of_the_command(page: Served, tmp_path: Path, told: str, where: str) -> None:
    """Bytes and words are those of ``mizo resume``; it is judged by the job and what was cut before, as ``mizo dry-run`` does."""
    (tmp_path / "cross.nc").write_text(CROSS)
    (tmp_path / "mill.yaml").write_text(MILL)
    said = mizo(tmp_path, "resume", "cross.nc", told, where, "-o", "own.nc", "--machine", "mill.yaml")
    got = rest(page, told=told, where=where).told
    own = (tmp_path / "own.nc").read_bytes()

    assert base64.b64decode(got["program"]) == own
    assert (got["name"], got["refused"], got["kind"], got["alone"]) == ("cross-rest.nc", False, "clean", "")
    assert all(words in said for label, words in got["facts"] if label != "machine")
    assert "earlier program count as cut" in dict(got["run"])["before"]
    again = rest(page, told="--line", where=got["places"]["--line"]).told
    assert again["program"] == got["program"]


def test_a_tampered_program_is_refused_by_its_job(page: Served) -> None:
    """A move that goes elsewhere than the job's lines is found in the rest, which then must not be cut."""
    got = rest(page, CROSS.replace("G1 Y10 F600", "G1 Y12 F600")).told

    assert (got["refused"], got["kind"]) == (True, "refuse")
    assert "stray-cut" in {one["code"] for one in got["findings"]}


@pytest.mark.parametrize(
    ("given", "path", "want"),
    [
        ({"where": "two"}, "--pass", "a whole number is wanted"),
        ({"where": "9"}, "--pass", "the program has 3 passes"),
        ({"told": "--after", "where": "7 mm"}, "--after", "is a unit of length"),
        ({"told": "--after", "where": "9 days"}, "--after", "unknown unit"),
        ({"told": "--line", "where": "0"}, "--line", "lines"),
        ({"where": "1"}, None, "run the program itself from its beginning"),
        ({"program": ""}, None, "the program is empty"),
        ({"program": "AAAA"}, None, "this is no text"),
        ({"program": "no base64!"}, None, "base64 is wanted"),
        ({"told": "--output"}, None, "one of --pass, --line, --after is wanted"),
    ],
)
def test_a_refusal_says_why(page: Served, given: dict[str, str], path: str | None, want: str) -> None:
    """What is wrong is told with the field it was typed in, or of the program."""
    got = rest(page, **given)

    assert got.status == 422
    assert want in got.wants
    assert [one["path"] for one in got.told["problems"]] == [path]


def test_a_program_that_changes_units_is_refused_with_its_line(page: Served) -> None:
    """A doubt is told with the line that it is about."""
    got = rest(page, CROSS.replace("M5\n", "G20\nM5\n", 1))

    assert got.status == 422
    assert "the units change on the way" in got.wants
    assert "cross.nc:" in got.wants


@pytest.mark.parametrize("job", [SMALL, None, "piece: {}"])
def test_without_its_job_a_rest_is_judged_alone_and_that_is_said(page: Served, job: str | None) -> None:
    """Where another job is on the page, or none that is right, the rest is still made, and what nobody looked at is told."""
    got = rest(page, text=job).told

    assert not got["refused"]
    assert "lines, depths, piece and clamps were not looked at" in got["alone"]
    assert ("does not fit the job on this page" in got["alone"]) == (job == SMALL)
    assert "--job" not in json.dumps(got["findings"])


def test_the_machine_is_the_headers_or_that_of_the_job(page: Served) -> None:
    """A header's name comes first; where there is none, the job on the page says it, and without that the usual one is taken."""
    header = "(Machine: small-desktop, grbl-1.1)\n"
    named = [dict(rest(page, text + CROSS).told["facts"])["machine"] for text in (header, "")]
    unknown = dict(rest(page, text="piece: {}").told["facts"])["machine"]

    assert named[0] == "small-desktop, which the program's header names"
    assert "the one of this page's job" in named[1]
    assert unknown == "rs274-mill, since no header names one"


def test_a_program_leads_out_of_no_folder(page: Served) -> None:
    """Neither its name nor the machine in its header reads or names a file elsewhere."""
    (page.folder.parent / "secret.yaml").write_text(MILL)
    got = rest(page, "(Machine: ../secret.yaml, linuxcnc)\n" + CROSS, file="../../x.nc", text=None).told

    assert "secret" in dict(got["facts"])["machine"]
    assert "is not here" in dict(got["facts"])["machine"]
    assert got["name"] == "program-rest.nc"


# --- widths ---


def fit(page: Served, text: str | None, *edits: tuple[str, Any], job: str = SMALL) -> Any:
    """Ask what a table says after edits."""
    return page.ask("fit", {"text": text, "edits": [{"path": p, "value": v} for p, v in edits], "job": job})


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("1.12, 1.10; 1.11 mm", ["1.12 mm", "1.10 mm", "1.11 mm"]),
        ("1.12 1.10 1.11", ["1.12", "1.10", "1.11"]),
        ("1.12,1.10", ["1.12", "1.10"]),
        ("1.12 mm 1.10 mm", ["1.12 mm", "1.10 mm"]),
        ("0.044, 0.045 in", ["0.044 in", "0.045 in"]),
        ("1/16 in", ["1/16 in"]),
        ("1 1/16, 1 1/8 in", ["1 1/16 in", "1 1/8 in"]),
        ("0.044 in, 1.1 mm", ["0.044 in", "1.1 mm"]),
        ("1½ in", ["1½ in"]),
        ("1,12", ["1,12"]),
        ("1,12; 1,10", ["1,12", "1,10"]),
        (" ", []),
    ],
)
def test_widths_in_a_line(typed: str, found: list[str]) -> None:
    """Several are read apart, a unit at the end is that of all, and a decimal comma is never taken for two widths."""
    assert several(typed) == found


def test_a_table_is_begun_filled_and_fitted(page: Served, tmp_path: Path) -> None:
    """From the empty table of the job's coupon to the very bit that ``mizo fit`` prints, which the job then takes."""
    begun = fit(page, None).told
    assert begun["fit"] is None
    assert "widths of 3 grooves or more" in begun["problems"][0]["want"]
    depths = {k: v for k, v in begun["written"].items() if k.endswith(".depth")}
    text = begun["text"]
    for number, (path, depth) in enumerate(depths.items()):
        wide = 0.05 + 1.2 * float(depth.split()[0]) + 0.004 * (-1) ** number
        text = fit(page, text, (path.replace("depth", "widths"), f"{wide:.3f}, {wide + 0.01:.3f} mm")).told[
            "text"
        ]
    got = fit(page, text).told
    (tmp_path / "widths.yaml").write_text(got["text"])
    said = mizo(tmp_path, "fit", "widths.yaml")

    assert got["problems"] == []
    assert got["fit"]["line"] in said
    assert all(words in said for _, words in got["fit"]["rows"])
    assert got["text"].splitlines()[0] == begun["text"].splitlines()[0]
    job = edited(SMALL, "bit", got["fit"]["bit"])
    assert got["fit"]["line"] in job
    (tmp_path / "job.yaml").write_text(job)
    assert vcarve.load_job(str(tmp_path / "job.yaml")).bit.uncertainty is not None


def test_what_is_wrong_in_a_table_is_told_by_its_key(page: Served) -> None:
    """A width in no length is told beside its groove, and what a coupon cannot be made for in words."""
    begun = fit(page, None).told["text"]
    got = fit(page, begun, ("grooves.1.widths", "1,12 mm; 1.1 mn"), ("read-to", "0.01 rpm")).told
    wants = {one["path"]: one["want"] for one in got["problems"]}

    assert "did you mean '1.12 mm'?" in wants["grooves.1.widths.0"]
    assert "did you mean 'm'?" in wants["grooves.1.widths.1"]
    assert "a unit of spindle speed" in wants["read-to"]
    assert fit(page, None, job="piece: {}").status == 422


def test_a_dropped_table_comes_back_as_text(page: Served) -> None:
    """A table of widths is known by its keys, and is not kept in the folder."""
    text = fit(page, None).told["text"]
    got = page.ask("drop?name=widths.yaml", text.encode())

    assert got.told == {"kind": "widths", "name": "widths.yaml", "text": text}
    assert not (page.folder / "widths.yaml").exists()


EVIL = "<script>alert(1)</script><img src=x onerror=alert(1)>"


def test_script_in_a_program_or_a_table_stays_text(page: Served) -> None:
    """Comments, names and titles come back in JSON, and escaped in the picture."""
    got = rest(
        page, f"(Machine: {EVIL}, grbl-1.1)\n".replace("(1)", "1") + CROSS, file=f"{EVIL}.nc".replace("/", "")
    )
    text = fit(page, None).told["text"]
    text = edited(text, "title", EVIL)
    for k in range(4):
        text = fit(page, text, (f"grooves.{k}.widths", f"{0.3 + 0.2 * k:.1f}, {0.31 + 0.2 * k:.2f}")).told[
            "text"
        ]
    told = fit(page, text)

    assert got.head["content-type"] == told.head["content-type"] == "application/json"
    picture = (told.told["fit"] or {"picture": ""})["picture"]
    assert "<script" not in picture
    assert "<img" not in picture


def test_on_the_page_of_a_panel_a_rest_is_judged_alone(page: Served) -> None:
    """A panel is many programs: of one that broke off the text alone is judged, and that is said."""
    text = (Path(vcarve.__file__).parent / "job" / "data" / "new" / "panel.yaml").read_text(encoding="utf-8")
    got = rest(page, text=text).told

    assert not got["refused"]
    assert "There is no job on this page" in got["alone"]
