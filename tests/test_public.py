"""What ``import vcarve`` offers: loaded when it is used, documented by examples that work, the same as the commands."""

from __future__ import annotations

import doctest
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

import vcarve
from vcarve.job.starters import starter_text

OFFERED = sorted(name for name in dir(vcarve) if name in vcarve._HOME)
FUNCTIONS = [name for name in OFFERED if name.islower()]
# A job in the words of Python; its numbers mean millimetres.
JOB: dict[str, Any] = {
    "piece": {"width": 30, "height": "1 in", "thickness": np.float64(8.0), "wood": "cherry-black"},
    "pattern": {"name": "asanoha", "pitch": 15.0, "mirror": True},
    "groove": {"depth": 0.5},
    "bit": "v60-3.175",
    "machine": "small-desktop",
}


@pytest.fixture
def tile(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a folder that holds the job ``tile.yaml`` which ``mizo new`` writes."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tile.yaml").write_text(starter_text(), encoding="utf-8")
    return tmp_path


def test_the_package_loads_what_is_used() -> None:
    """Importing the package loads none of its rooms and no library, and an error's name only the errors."""
    code = """
import sys
before = set(sys.modules)
import vcarve
new = set(sys.modules) - before - {"vcarve"}
print(sorted(name for name in new if name.split(".")[0] not in sys.stdlib_module_names))
vcarve.InputError
print(sorted(name for name in sys.modules if name.startswith("vcarve.")))
vcarve.load_job
print("shapely" in sys.modules, "scipy" in sys.modules)
"""

    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout

    assert out.splitlines() == ["[]", "['vcarve.codes', 'vcarve.errors']", "False False"]


def test_what_is_offered() -> None:
    """Some ten functions and what they give and raise are named by ``dir``; another name is told to be none."""
    assert FUNCTIONS == [
        "carve_piece",
        "check_program",
        "draw",
        "lay_out",
        "load_job",
        "patterns",
        "plan_program",
        "read_program",
        "write_program",
    ]
    assert vcarve.__all__ == OFFERED
    assert all(issubclass(getattr(vcarve, name), Exception) for name in OFFERED if name.endswith("Error"))
    with pytest.raises(AttributeError, match="no attribute 'carve_soup'"):
        vcarve.carve_soup  # type: ignore[attr-defined]  # noqa: B018  # there is none


@pytest.mark.parametrize("name", FUNCTIONS)
def test_examples_work(name: str, tile: Path) -> None:
    """Each function's documentation has an example, and says what it raises where that is the maker's to mend."""
    function = getattr(vcarve, name)
    tests = doctest.DocTestFinder(recurse=False).find(function, name, globs={"vcarve": vcarve, "Path": Path})
    runner = doctest.DocTestRunner(optionflags=doctest.REPORT_NDIFF)
    results = [runner.run(test) for test in tests]

    assert results[0].attempted >= 2
    assert results[0].failed == 0
    assert "Raises" in function.__doc__ or name in ("patterns", "carve_piece")


def test_a_dict_is_a_job_as_a_file_is() -> None:
    """Numbers, fractions of a unit, true and null in a dict mean what they mean in a file."""
    job = vcarve.load_job(JOB)

    assert (job.piece.width_mm, job.piece.height_mm, job.piece.thickness_mm) == (30.0, 25.4, 8.0)
    assert job.pattern.mirror is True
    assert vcarve.load_job(JOB, ["groove.depth=0.7"]).depths_mm[0] == 0.7
    assert vcarve.load_job({**JOB, "zero": None}).zero == job.zero


@pytest.mark.parametrize(
    "change",
    [
        {"piece": {**JOB["piece"], "thickness": -8, "wood": "cherry"}},
        {"groove": {"depth": None}},
        {"groove": {"depth": 1e-9}, "bit": {"angle": float("nan"), "diameter": Fraction(1, 8), "shank": [3]}},
        {"clamps": [{"x": 1, "y": 2, "width": 3, "height": True, "above": 5}], "feeed": {}},
        {"title": "a\x07b"},
        {"pattern": {"name": "asanoha"}},
        {"machine": {"travel": 3}, 7: 8},
    ],
)
def test_a_dict_is_answered_as_a_file_is(change: dict[Any, Any], tmp_path: Path) -> None:
    """What is wrong in a dict is told in the words that a file with the same values gets, by its key, without a line."""
    wrong = {**JOB, "piece": {**JOB["piece"], "thickness": 8}, **change}
    with pytest.raises(vcarve.InputError) as of_dict:
        vcarve.load_job(wrong)
    plain = wrong | {
        key: {**wrong[key], "diameter": "1/8"} for key in ("bit",) if isinstance(wrong[key], dict)
    }
    file = tmp_path / "job.yaml"
    file.write_text(yaml.safe_dump(plain, default_style=None, allow_unicode=False), encoding="utf-8")
    with pytest.raises(vcarve.InputError) as of_file:
        vcarve.load_job(file)

    told = {(one.key, one.want) for one in of_dict.value.problems}
    assert told == {(one.key, one.want) for one in of_file.value.problems}
    assert all(key for key, _ in told)
    assert all(one.file is one.line is None for one in of_dict.value.problems)


@pytest.mark.parametrize("values", [{("a", "b"): 1}, {"piece": {("a", "b"): 1}}])
def test_keys_are_words(values: dict[Any, Any]) -> None:
    """A key that no file can have is refused as an input, and so is a dict without end."""
    endless: dict[str, Any] = {}
    endless["piece"] = endless

    with pytest.raises(vcarve.InputError, match="a key must be a plain word"):
        vcarve.load_job(values)
    with pytest.raises(vcarve.InputError, match="nested too deeply"):
        vcarve.load_job(endless)


def test_what_later_stages_find_has_its_line(tile: Path) -> None:
    """A key that is wrong only beside others is told with the file and line where it was written, in a dict by its path."""
    text = (
        Path("tile.yaml")
        .read_text(encoding="utf-8")
        .replace("pitch: 18 mm", "pitch: 18 mm\n  margin: 44.9 mm")
    )
    Path("tile.yaml").write_text(text, encoding="utf-8")
    line = 1 + text[: text.index("margin: 44.9")].count("\n")
    with pytest.raises(vcarve.InputError) as found:
        vcarve.lay_out(vcarve.load_job("tile.yaml"))
    with pytest.raises(vcarve.InputError) as of_dict:
        vcarve.lay_out(vcarve.load_job({**JOB, "pattern": {"name": "asanoha", "pitch": 9, "margin": 12.6}}))

    assert str(found.value).startswith(f"tile.yaml:{line}: pattern.margin: ")
    assert str(of_dict.value).startswith("pattern.margin: ")


def test_laid_out_before_is_the_same() -> None:
    """A layout given instead of its job makes the same program, which checked for either is clean."""
    job = vcarve.load_job(JOB)
    layout = vcarve.lay_out(job)
    made = vcarve.plan_program(layout)

    assert made.layout is layout
    assert made.text == vcarve.plan_program(job).text == vcarve.write_program(made)
    assert not vcarve.check_program(made.text, layout).refused
    assert vcarve.check_program(made.text, job).findings == vcarve.check_program(made.text, layout).findings


def test_a_machine_that_nobody_names_forbids_nothing() -> None:
    """Without a job and a machine a feed no machine has is a caution; for a machine of that name it is refused."""
    text = vcarve.plan_program(vcarve.load_job(JOB)).text.replace("F480", "F99999")
    machine = vcarve.load_job(JOB).machine

    def weight(run: vcarve.DryRun) -> set[str]:
        return {one.severity for one in run.findings if one.code == "feed-too-fast"}

    assert weight(vcarve.check_program(text)) == {"caution"}
    assert weight(vcarve.check_program(text, machine=machine)) == {"refuse"}
    assert weight(vcarve.check_program(text, machine=machine.name)) == {"refuse"}
    with pytest.raises(vcarve.InputError, match="unknown machine"):
        vcarve.check_program(text, machine="no-such-mill")


def test_everything_is_drawn() -> None:
    """Pattern, layout, program and dry run are drawn as files of the endings they have, and of no others."""
    made = vcarve.plan_program(vcarve.load_job(JOB))
    alone = vcarve.check_program(made.text)
    begins = {".svg": b"<svg", ".png": b"\x89PNG", ".dxf": b"0\nSECTION", ".html": b"<!doctype html>"}
    read = vcarve.check_program(made.text, made.layout)
    drawn: list[tuple[vcarve.Pattern | vcarve.Layout | vcarve.DryRun, set[str]]] = [
        (vcarve.patterns()[0], {".svg", ".png"}),
        (made.layout, {".svg", ".dxf"}),
        (made, {".svg", ".html", ".png"}),
        (read, {".html", ".png"}),
        (alone, {".html"}),
    ]

    for what, endings in drawn:
        for ending, start in begins.items():
            if ending in endings:
                assert start in vcarve.draw(what, ending)[:100].replace(b"DOCTYPE", b"doctype"), ending
            else:
                with pytest.raises(vcarve.InputError, match=f"'{ending}': .* is drawn as "):
                    vcarve.draw(what, ending)
