"""Text out of files reaches the terminal as text: nothing in it is obeyed, no line of it can be taken for one of ours."""

from __future__ import annotations

import ast
import json
import re
from pathlib import Path
from xml.dom import minidom

import click
import pytest
from click.testing import CliRunner, Result

import vcarve.cli
from small_job import own_job, own_pattern
from vcarve.cli.main import cli
from vcarve.cli.terminal import echo
from vcarve.errors import Finding, Problem, grouped, printable

# Clear the screen; the same with one C1 sign; write backwards; a line that looks like a verdict; a link.
HOSTILE = (
    "\x1b[2J",
    "\x9b2J",
    "\u202etxet",
    "a\nclean",
    "\u2028clean",
    "\x1b]8;;x\x07",
    "\r",
    "\x7f",
    "<b>&'\"",
)


def run(*words: str) -> Result:
    """Run the command line as on a terminal with colours, and see that it obeys nothing but our own colours."""
    done = CliRunner().invoke(cli, list(words), color=True)
    plain = re.sub(r"\x1b\[(\d{1,2})m", "", done.output)

    assert [line for line in plain.split("\n") if not line.isprintable()] == []
    return done


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return an empty working folder."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("text", HOSTILE)
def test_what_a_terminal_obeys_is_spelled_out(text: str) -> None:
    """A problem and a finding that carry the text are one printable line each; what can be seen stays as it is."""
    finding = Finding("clamp", text)
    for said in (Problem(file=text, key=text, want=text), finding, *grouped((finding, finding))):
        assert str(said).isprintable()
    assert printable(text).isprintable()
    assert printable("麻の葉 \u00a0 é") == "麻の葉 \\xa0 é"


@pytest.mark.parametrize("text", HOSTILE)
def test_pattern_files(folder: Path, text: str) -> None:
    """A pattern's name and notes are shown in one line, or refused with the line they stand in."""
    quoted = (
        '"'
        + "".join(sign if sign in "<b>&'" or sign.isalnum() else f"\\U{ord(sign):08x}" for sign in text)
        + '"'
    )
    (folder / "own.yaml").write_text(own_pattern(name=quoted, more=f"english: {quoted}\nnote: {quoted}\n"))
    told, listed = run("patterns", "own.yaml"), run("patterns", "own.yaml", "--picture", "own.svg")

    if printable(text) == text or text.split() == ["a", "clean"]:
        assert told.exit_code == listed.exit_code == 0
        assert not re.search(r"^clean", told.output, re.MULTILINE)
        minidom.parse("own.svg")
    else:
        assert told.exit_code == listed.exit_code == 2
        assert "own.yaml:2: name: a control character (U+" in told.output


def test_a_note_in_several_lines_is_one_text(folder: Path) -> None:
    """Line breaks and indents in a pattern's note are spaces between words."""
    (folder / "own.yaml").write_text(own_pattern(more="note: |\n  one\n    two\n\n  three\n"))

    assert json.loads(run("patterns", "own.yaml", "--json").output)[0]["note"] == "one two three"


@pytest.mark.slow
@pytest.mark.parametrize("text", HOSTILE)
def test_layer_names(folder: Path, text: str) -> None:
    """A layer's name is spelled out in what is said of it and in the files that carry it, and escaped there."""
    lines = [f"  0\nLINE\n  8\n{text.splitlines()[-1]}\n 10\n-5\n 20\n0\n 11\n5\n 21\n{y}\n" for y in (0, 4)]
    head = "  0\nSECTION\n  2\nENTITIES\n"
    (folder / "lines.DXF").write_text(head + "".join(lines) + "  0\nENDSEC\n  0\nEOF\n", newline="\n")
    (folder / "job.yaml").write_text(own_job("{drawing: lines.DXF, depths: {nowhere: 1 mm}}"))
    (folder / "lines.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30"><g id="'
        + "".join(f"&#{ord(sign)};" if sign not in "\x1b\x07" else "?" for sign in text)
        + '"><path d="M5 5 35 25M5 15 35 15" stroke="red"/></g></svg>'
    )
    refused = run("program", "job.yaml")
    for drawing in ("lines.DXF", "lines.svg"):
        words = ["job.yaml", "--set", "pattern.depths=", "--set", f"pattern.drawing={drawing}"]
        done = [
            run("program", *words, "--page", "a.html", "--picture", "a.svg"),
            run("lines", *words, "-o", "b.svg"),
        ]

        assert [one.exit_code for one in done] == [0, 0], done[0].output
        page = Path("a.html").read_bytes().decode()
        assert [sign for sign in text if sign in page and not sign.isprintable() and sign != "\n"] == []
        assert "<b>&'" not in page
        minidom.parse("a.svg")
        minidom.parse("b.svg")
    assert refused.exit_code == 2
    assert "layers and colours are" in refused.output


def test_own_colours_pass(capsys: pytest.CaptureFixture[str]) -> None:
    """What is printed keeps its colours and its line breaks, and nothing else a terminal would obey."""
    with click.Context(cli, color=True).scope():
        echo(f"{click.style('a', fg='red')}\n\x1b[2Jb\x9b1m")

    assert capsys.readouterr().out == "\x1b[31ma\x1b[0m\n\\x1b[2Jb\\x9b1m\n"


def test_there_is_one_way_to_the_terminal() -> None:
    """No command prints but through ``terminal.echo``; the progress bar draws nothing that comes from a file."""
    folder = Path(vcarve.cli.__file__).parent
    printing = {
        path.name
        for path in folder.glob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if (isinstance(node, ast.Attribute) and node.attr in ("echo", "secho"))
        or (isinstance(node, ast.Name) and node.id == "print")
    }

    assert printing == {"terminal.py", "start.py"}


def test_findings_that_differ_in_a_figure_are_one_line() -> None:
    """The first is told with the number of the others; figures that say where keep findings apart."""
    deep = [
        Finding(
            "bit-too-short",
            f"The bit goes {depth} mm deep; its cone ends at 2.75 mm.",
            line=line,
        )
        for line, depth in ((7, 2.8), (9, 3.1), (11, 3.4))
    ]
    clamps = [Finding("clamp", f"The bit runs into the clamp at X {x} mm, Y 5 mm.") for x in (-5, 33)]

    assert [str(group) for group in grouped((*deep, *clamps))] == [
        "from line 7: The bit goes 2.8 mm deep; its cone ends at 2.75 mm. (2 more like it) [bit-too-short]",
        "The bit runs into the clamp at X -5 mm, Y 5 mm. [clamp]",
        "The bit runs into the clamp at X 33 mm, Y 5 mm. [clamp]",
    ]
