"""What the page is told of a panel's text: the panel at once, its programs later, its folder to take away."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner

from form_nodes import every
from panel_files import CHECKER
from vcarve.cli.main import cli
from vcarve.errors import InputError
from vcarve.job.panel import Panel
from vcarve.layout.stages import Kept
from vcarve.serve.desk import Desk
from vcarve.serve.form import choices, form
from vcarve.serve.look import looked

QUICK = CHECKER.replace("name: kaku-asanoha, across: 2", "name: hishi, pitch: 40").replace(
    "depth: 2", "depth: 1"
)


def desk(folder: Path) -> Desk:
    """Return what plans, with nobody to tell."""
    return Desk(str(folder), set(), lambda *message: None)


def test_every_key_of_a_panel_has_a_field() -> None:
    """Woods of tiles are a grid of names, work offsets a list of words, and all names have a list to choose from."""
    nodes = {node["path"]: node for node in every(form(Panel))}

    assert {"panel.columns", "tile.sawn", "tiles", "moisture.now", "fixture.systems"} <= set(nodes)
    assert nodes["woods"] | {"meaning": ""} == {
        "key": "woods", "path": "woods", "meaning": "", "required": True, "default": None, "kind": "grid", "of": "woods",
    }  # fmt: skip
    assert nodes["fixture.systems"]["item"]["words"][:2] == ["G54", "G55"]
    assert {node["of"] for node in nodes.values() if "of" in node} <= set(choices())


def test_what_is_seen_of_a_panel() -> None:
    """Nine tiles that each name their place in the file, a picture, the cutting list, and the figures that matter."""
    told = looked(QUICK, [{"path": "woods.0.1", "value": "cherry-black"}], folder=".", kept=Kept())

    assert (told["kind"], told["problems"]) == ("panel", [])
    assert told["text"].count("cherry-black") == 1
    look = told["look"]
    assert [tile["path"] for tile in look["panel"]["tiles"]][:4] == [
        "woods.0.0",
        "woods.0.1",
        "woods.0.2",
        "woods.1.0",
    ]
    assert look["panel"]["tiles"][1]["wood"] == "cherry-black"
    assert look["panel"]["svg"].startswith("<svg")
    assert look["answers"][0] == ("Panel", "346 × 346 mm", "3 by 3 tiles")
    assert ("1 tile", "100 × 100 × 12 mm, Black cherry, grain along its width") in look["facts"]["panel"]
    assert look["used"]["zero.xy"] == "front-left"


def test_a_wrong_panel_is_told_at_its_key() -> None:
    """Problems have the path in the panel's file; the kind of the text is known all the same."""
    told = looked(QUICK, [{"path": "panel.gap", "value": "-1 mm"}], folder=".", kept=Kept())

    assert (told["kind"], told["look"]) == ("panel", None)
    assert [(one["path"], one["value"]) for one in told["problems"]] == [("panel.gap", "-1 mm")]


def test_the_folder_is_the_command_s(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is taken away as a ZIP file holds, byte for byte, what 'mizo panel' writes; twice the same bytes."""
    monkeypatch.chdir(tmp_path)
    Path("screen.yaml").write_text(QUICK, encoding="utf-8")
    assert CliRunner().invoke(cli, ["panel", "screen.yaml", "-o", "out"]).exit_code == 0

    name, data = desk(tmp_path).take(QUICK, "panel", "screen.yaml")
    assert name == "screen.zip"
    with zipfile.ZipFile(io.BytesIO(data)) as pack:
        assert {one: pack.read(one) for one in pack.namelist()} == {
            path.name: path.read_bytes() for path in Path("out").iterdir()
        }
    assert desk(tmp_path).take(QUICK, "panel", None)[1] == data


def test_what_a_panel_does_not_have(tmp_path: Path) -> None:
    """Files of a single piece are refused, and so is the folder of a panel that must not be cut."""
    with pytest.raises(InputError, match="a panel has no such file"):
        desk(tmp_path).take(QUICK, "trace", None)
    with pytest.raises(InputError, match="it would go through"):
        desk(tmp_path).take(QUICK.replace("thickness: 12", "thickness: 0.5"), "panel", None)
