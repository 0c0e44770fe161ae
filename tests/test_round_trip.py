"""A job's lines out as a drawing and in again as another job's pattern, through the command line; bad drawings refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from small_job import make_program
from vcarve.cli.main import cli
from vcarve.job.records import load_job
from vcarve.network.model import Network

REST = """
bit: v60-3.175
machine: small-desktop
plan: {recut: never}
"""
PIECES = {
    "asanoha": "width: 100, height: 80, thickness: 9, wood: maple-sugar",
    "shippo": "width: 80, height: 80, thickness: 9, wood: maple-sugar, outline: {shape: circle}",
    "seigaiha": "width: 90, height: 70, thickness: 9, wood: maple-sugar, outline: {shape: rounded, radius: 9}",
    "masu-tsunagi": "width: 100, height: 80, thickness: 9, wood: maple-sugar",
}


def edges(network: Network) -> np.ndarray:
    """Return every edge to cut as both ends and its middle in micrometres, whichever way it is walked, in order."""
    xy = network.xy_mm
    a, b = xy[network.tail[network.cut]], xy[network.head[network.cut]]
    chord = b - a
    middle = (a + b) / 2.0 + 0.5 * network.bulge[network.cut][:, None] * np.column_stack(
        [chord[:, 1], -chord[:, 0]]
    )
    turned = (a[:, 0] > b[:, 0] + 1e-6) | ((np.abs(a[:, 0] - b[:, 0]) <= 1e-6) & (a[:, 1] > b[:, 1]))
    low, high = np.where(turned[:, None], b, a), np.where(turned[:, None], a, b)
    rows = np.hstack([low, high, middle])
    return rows[np.lexsort(np.round(rows, 2).T[::-1])]


@pytest.mark.parametrize("name", sorted(PIECES))
@pytest.mark.parametrize("kind", ["svg", "dxf"])
def test_lines_out_and_in_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, kind: str
) -> None:
    """The network, both depths, the land and the length of the program are the same after the round trip."""
    monkeypatch.chdir(tmp_path)
    piece = f"piece: {{{PIECES[name]}}}\n"
    depths = "{ground: 1.0, leaf: 0.6}" if name != "shippo" else "{depth: 1.0}"
    layers = "{ground: 1.0}" if name == "shippo" else depths
    Path("first.yaml").write_text(f"{piece}pattern: {{name: {name}, pitch: 17}}\ngroove: {depths}{REST}")
    Path("again.yaml").write_text(
        f"{piece}pattern: {{drawing: x.{kind}, depths: {layers}}}\ngroove: {{depth: 1.0}}{REST}"
    )
    for words in (["lines", "first.yaml", "-o", f"x.{kind}"], ["program", "again.yaml", "-o", "again.nc"]):
        done = CliRunner().invoke(cli, words)
        assert done.exit_code == 0, done.output

    first, again = make_program(load_job("first.yaml")), make_program(load_job("again.yaml"))
    one, other = edges(first.network), edges(again.network)
    assert one.shape == other.shape
    assert np.abs(one - other).max() < 1e-4
    assert again.network.cells == first.network.cells
    for depth in (1.0, 0.6):
        assert again.network.length_mm[again.layout.grooves.depth_mm == depth].sum() == pytest.approx(
            first.network.length_mm[first.layout.grooves.depth_mm == depth].sum(), abs=1e-3
        )
    assert again.layout.grooves.land_area_mm2.sum() == pytest.approx(
        first.layout.grooves.land_area_mm2.sum(), abs=0.01
    )
    assert again.plan.cut_mm == pytest.approx(first.plan.cut_mm, abs=1e-3)
    assert again.text == Path("again.nc").read_text()


HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="90mm" height="60mm">'
LAUGHS = "".join(f'<!ENTITY e{k} "{f"&e{k - 1};" * 10}">' for k in range(1, 10))
HOSTILE = {
    "billion laughs": f'<!DOCTYPE svg [<!ENTITY e0 "ha">{LAUGHS}]>{HEAD}<desc>&e9;</desc></svg>',
    "entity from a file": f'<!DOCTYPE svg [<!ENTITY x SYSTEM "other.txt">]>{HEAD}<desc>&x;</desc></svg>',
    "document type elsewhere": f'<!DOCTYPE svg SYSTEM "other.dtd" [<!ENTITY % p SYSTEM "other.dtd"> %p;]>{HEAD}</svg>',
    "use of another file": f'{HEAD}<use xlink:href="other.svg#a"/><path d="M0 0 L9 9"/></svg>',
    "picture of another file": f'{HEAD}<image href="http://localhost/x.png"/><path d="M0 0 L9 9"/></svg>',
}


@pytest.mark.parametrize("trouble", sorted(HOSTILE))
def test_hostile_drawings_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, trouble: str) -> None:
    """Entities and references out of the file end with exit code 2, the file's name, and nothing written."""
    monkeypatch.chdir(tmp_path)
    Path("bad.svg").write_text(HOSTILE[trouble])
    Path("job.yaml").write_text(
        f"piece: {{{PIECES['asanoha']}}}\npattern: {{drawing: bad.svg}}\ngroove: {{depth: 1.0}}{REST}"
    )
    done = CliRunner().invoke(cli, ["program", "job.yaml", "-o", "job.nc"])

    assert done.exit_code == 2
    assert "bad.svg" in done.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bad.svg", "job.yaml"]
