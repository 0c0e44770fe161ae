"""What the README tells a maker to type works as it is written there."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from vcarve.cli.main import COMMANDS, cli

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")


def test_the_steps_work_in_their_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every command of the first tile, typed one after the other in an empty folder, is done."""
    monkeypatch.chdir(tmp_path)
    steps = README[README.index("## Your first tile") :]
    lines = re.findall(r"^ +mizo (.*)$", steps, re.MULTILINE)

    assert len(lines) >= 6
    for line in lines:
        done = CliRunner().invoke(cli, shlex.split(line))
        assert done.exit_code == 0, (line, done.output)
    for name in ("tile.yaml", "mill.yaml", "tile.nc", "tile.svg", "tile.html", "tile.png"):
        assert (tmp_path / name).stat().st_size


def test_the_command_is_called_in_one_way() -> None:
    """After the two lines that set it up, the command is written ``mizo``, and so are only commands that there are."""
    after = "".join(README.split("```")[4:])

    assert "bin/mizo" not in after
    assert set(re.findall(r"mizo ([a-z-]+)", after)) <= set(COMMANDS)


def test_the_script_works(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What the README has in Python runs as it stands in the folder of the first tile, and prints what it says it prints."""
    monkeypatch.chdir(tmp_path)
    assert CliRunner().invoke(cli, ["new", "tile.yaml"]).exit_code == 0
    (script,) = re.findall(r"```python\n(.*?)```", README, re.DOTALL)

    exec(script, {})

    assert capsys.readouterr().out.splitlines() == re.findall(r"^# (.*)$", script, re.MULTILINE)
    for name in ("tile.nc", "tile.svg", "tile.html", "tile.png"):
        assert (tmp_path / name).stat().st_size
