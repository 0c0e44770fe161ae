"""What the page is told of a job: the same as the commands say, wrong values in their place, and nothing laid out twice."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from vcarve.cli.main import cli
from vcarve.job.document import reading_only
from vcarve.job.starters import starter_text
from vcarve.layout.findings import job_findings
from vcarve.layout.stages import Kept, lay_out
from vcarve.pipeline import plan_program
from vcarve.report import program_rows
from vcarve.serve.look import job_of, looked, planned
from vcarve.view.page import program_payload, stage_payload

TILE = starter_text()


def test_an_edit_changes_the_text_and_what_is_told_of_it() -> None:
    """The new depth stands in the text, among what is written, and in width, land and what height changes."""
    before = looked(TILE, [], folder=".", kept=Kept())
    after = looked(TILE, [{"path": "groove.depth", "value": "1 mm"}], folder=".", kept=Kept())

    assert before["text"] == TILE
    assert before["problems"] == after["problems"] == []
    assert after["text"] == TILE.replace("depth: 0.8 mm", "depth: 1 mm")
    assert (before["written"]["groove.depth"], after["written"]["groove.depth"]) == ("0.8 mm", "1 mm")
    # 2 tan 30 deg = 1.1547 (from memory): so many mm of width for each mm of depth.
    groove, land, height = after["look"]["answers"]
    assert groove == ("Groove, ground and leaf", "1.155 mm wide", "1 mm deep")
    assert height == ("0.1 mm in height", "± 0.115 mm", "of width")
    assert land[0] == "Narrowest land"
    assert ("Land", f"narrowest {land[1]}; {land[2]}") in after["look"]["facts"]["groove"]
    assert land[1] != before["look"]["answers"][1][1]


def test_what_is_not_known_of_the_bit_stands_beside_the_width() -> None:
    """With an uncertainty in the job the answer has the width as summary and sheet tell it, and land as its least."""
    bit = {"angle": "60 deg", "diameter": "3.175 mm", "shank": "3.175 mm", "uncertainty": {"angle": "1 deg"}}
    look = looked(TILE, [{"path": "bit", "value": bit}], folder=".", kept=Kept())["look"]
    (_, width, _), (_, land, _), _ = look["answers"]

    assert " ± " in width
    assert width in dict(look["facts"]["groove"])["Groove, ground and leaf"]
    assert land.startswith("at least ")


def test_what_keys_come_to_that_are_left_out_is_told() -> None:
    """Speeds, step and hop that the file leaves out are those that the job works with."""
    used, job = looked(TILE, [], folder=".", kept=Kept())["look"]["used"], job_of(TILE, ".")

    assert used["feed.cut"] == f"{job.speeds.cut_mm_min:g} mm/min"
    assert used["groove.step"] == f"{job.step_mm:g} mm"
    assert used["plan.hop"] == "1 mm"
    assert used["zero.xy"] == "front-left"


def test_no_file_is_read_for_another_depth(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pattern and machine that come with Mizo are known from the look before; what is typed has no file to wait for."""
    kept = Kept()
    looked(TILE, [], folder=".", kept=kept)
    monkeypatch.setattr("vcarve.job.document.read_bytes", lambda path, most: pytest.fail(f"{path} is read"))
    told = looked(TILE, [{"path": "groove.depth", "value": "0.7 mm"}], folder=".", kept=kept)

    assert told["look"]["edges"] > 0


@pytest.mark.parametrize(
    ("path", "value", "want"),
    [
        ("groove.depth", "deep", "a length is wanted"),
        ("piece.width", "1/2", "a fraction without a unit"),
        ("bit", "v61", "unknown bit"),
        ("pattern.pitch", "-2 mm", "more than 0 mm"),
        ("pattern.margin", "60 mm", "half the shorter side"),
        ("zero.turn", "50 deg", "at most 45 degrees"),
    ],
)
def test_a_wrong_value_is_told_at_its_key_and_stays_in_the_text(path: str, value: str, want: str) -> None:
    """Each is answered with its path and line, as the command answers; the value is in the text, so that nothing is lost."""
    told = looked(TILE, [{"path": path, "value": value}], folder=".", kept=Kept())

    assert told["look"] is None
    (problem,) = told["problems"]
    assert (problem["path"], problem["value"]) == (path, value)
    assert want in problem["want"]
    assert value in told["text"].splitlines()[problem["line"] - 1]
    assert told["written"][path] == value


def test_a_text_that_is_no_yaml_is_told_by_its_line() -> None:
    """Typed by hand, the whole text may be wrong; it comes back as it was."""
    told = looked("piece: {width: 9\n", [], folder=".", kept=Kept())

    assert (told["text"], told["written"], told["look"]) == ("piece: {width: 9\n", {}, None)
    assert told["problems"][0]["line"] == 1


def test_the_lines_are_not_laid_out_again_for_another_depth() -> None:
    """Field, lines and network of the look before are used again; another pitch makes them anew."""
    kept = Kept()
    looked(TILE, [], folder=".", kept=kept)
    network = kept.stages["network"][1]
    looked(TILE, [{"path": "groove.depth", "value": 1}], folder=".", kept=kept)
    assert kept.stages["network"][1] is network
    looked(TILE, [{"path": "pattern.pitch", "value": 15}], folder=".", kept=kept)
    assert kept.stages["network"][1] is not network


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("machine", "../mill.yaml"),
        ("pattern.name", "/etc/own.yaml"),
        ("pattern.drawing", "../leaf.svg"),
        ("piece.outline", "{shape: drawing, file: /etc/passwd.svg}"),
    ],
)
def test_nothing_outside_the_folder_is_read(tmp_path: Path, path: str, name: str) -> None:
    """A job may name any file; of one outside the folder the page is told that it lies there, and nothing of what is in it."""
    edits: list[dict[str, object]] = [{"path": path, "value": name}]
    if path == "piece.outline":
        edits = [{"path": path, "value": {"shape": "drawing", "file": "/etc/passwd.svg"}}]
    if path == "pattern.drawing":
        edits += [{"path": "pattern.name", "value": None}, {"path": "pattern.pitch", "value": None}]
    (tmp_path / "in").mkdir()
    (tmp_path / "mill.yaml").write_text("secret: 1\n", encoding="utf-8")
    with reading_only(str(tmp_path / "in")):
        told = looked(TILE, edits, folder=str(tmp_path / "in"), kept=Kept())

    assert told["look"] is None
    assert any("lies outside" in one["want"] for one in told["problems"])
    assert "secret" not in json.dumps(told["problems"])


def test_a_program_is_told_as_the_command_tells_it() -> None:
    """Text, running time, passes, share above the least possible and findings are those of ``mizo program``."""
    made = plan_program(job_of(TILE, "."))
    told = planned(made, "tile.nc")

    assert told["program"] == made.text
    assert told["refused"] is False
    (_, time, share), (_, passes, lifts) = told["answers"]
    assert dict(program_rows(made))["passes"].startswith(f"{passes}, {lifts}")
    assert share == f"{100 * made.plan.proof.above_bound:.1f} % above the least possible"
    assert dict(told["facts"]["program"])["Running time"].replace("\u00a0", " ") == time
    assert told["stage"]["count"] == len(made.reading.moves)
    # What the look has told of the piece, by far the most of it, is not sent again.
    stage = looked(TILE, [], folder=".", kept=Kept())["look"]["stage"]
    assert stage | told["stage"] == stage_payload(made.layout, made.told) | program_payload(made)
    assert told["stage"].keys().isdisjoint({"still", "piece"})
    json.dumps(told, allow_nan=False)


def test_findings_are_those_of_the_job() -> None:
    """A groove through the piece is told at once, before any plan, with the verdict of the page."""
    told = looked(TILE, [{"path": "piece.thickness", "value": "0.5 mm"}], folder=".", kept=Kept())["look"]
    found = job_findings(lay_out(job_of(TILE.replace("thickness: 9 mm", "thickness: 0.5 mm"), ".")))

    assert [one["code"] for one in told["findings"]] == [one.code for one in found]
    assert told["kind"] == "refuse"
    assert told["verdict"].startswith("Must not be cut")


def test_speeds_are_told_beside_what_is_usual() -> None:
    """The page has the rows that 'mizo speeds' prints, and where they are from; none where the spindle stands still."""
    told = looked(TILE, [], folder=".", kept=Kept())["look"]["facts"]["speeds"]
    printed = CliRunner().invoke(cli, ["speeds", "-"], input=TILE).output

    assert [label for label, _ in told][:6] == ["spindle", "chip", "feed", "plunge", "step", "surface"]
    assert all(f"  {label:<9}{text}" in printed for label, text in told[:6])
    assert "starting points" in told[-1][1]
    still = looked(TILE, [{"path": "feed.spindle", "value": "0 rpm"}], folder=".", kept=Kept())["look"]
    assert still["facts"]["speeds"] == []
    assert "spindle-range" in [one["code"] for one in still["findings"]]
