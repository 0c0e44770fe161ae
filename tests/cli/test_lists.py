"""What there is, a job to start from, schemas and completion."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import jsonschema
import pytest
import yaml
from click.testing import CliRunner, Result

from vcarve.cli.main import cli
from vcarve.job.records import load_job

ROOT = Path(__file__).parent.parent.parent


def run(*words: str) -> Result:
    """Run the command line with words."""
    return CliRunner().invoke(cli, list(words))


@pytest.mark.parametrize(
    ("command", "name"),
    [("machines", "small-desktop"), ("bits", "v90-6.35"), ("woods", "maple-sugar"), ("patterns", "asanoha")],
)
def test_lists(command: str, name: str) -> None:
    """Each list has a head, a line for every entry, and the same names as JSON."""
    text, values = run(command), json.loads(run(command, "--json").stdout)
    names = [value.get("key") or value["name"] for value in values]

    assert text.exit_code == 0
    assert name in names
    assert [line.split()[0] for line in text.stdout.splitlines()] == ["name", *names]


def test_bits_are_of_two_kinds() -> None:
    """V-bits are told with their angle, end mills with how deep they cut; each says what it is."""
    values = {one["name"]: one for one in json.loads(run("bits", "--json").stdout)}
    rows = {line.split()[0]: line.split("  ") for line in run("bits").stdout.splitlines()}
    told = {name: [cell.strip() for cell in cells if cell.strip()] for name, cells in rows.items()}

    assert told["v90-6.35"] == ["v90-6.35", "V-bit", "90°", "6.35 mm", "0 mm", "3.175 mm", "2", "3.18 mm"]
    assert told["em-6"] == ["em-6", "end mill", "-", "6 mm", "-", "6 mm", "2", "22 mm"]
    assert (values["em-6"]["kind"], values["em-6"]["cutting_length_mm"]) == ("end mill", 22.0)
    assert values["v90-6.35"]["kind"] == "V-bit"
    assert values["v90-6.35"]["deepest_mm"] == pytest.approx(3.175)


def test_columns_stand_under_their_heads() -> None:
    """Kanji are two columns wide; what follows them still lines up."""
    import unicodedata

    def cells(line: str) -> str:
        return "".join(s * (2 if unicodedata.east_asian_width(s) in "WF" else 1) for s in line)

    lines = [cells(line) for line in run("patterns").stdout.splitlines()]
    column = lines[0].index("lattice")

    assert {line[column - 1] for line in lines} == {" "}
    assert all(line[column] != " " for line in lines)


def test_one_pattern() -> None:
    """One pattern is told about by name; a name that is not there gets the nearest one."""
    told = run("patterns", "asanoha").stdout

    assert "hemp leaf" in told
    assert "p6m" in told
    assert run("patterns", "asanoah").exit_code == 2
    assert "did you mean asanoha" in run("patterns", "asanoah").stderr.replace("'", "")


def test_pictures_of_patterns(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A picture by the ending of its name, all patterns on a page; other endings are refused."""
    monkeypatch.chdir(tmp_path)

    assert run("patterns", "asanoha", "--picture", "a.svg").exit_code == 0
    assert run("patterns", "asanoha", "--picture", "a.png").exit_code == 0
    assert Path("a.png").read_bytes().startswith(b"\x89PNG")
    assert "<svg" in Path("a.svg").read_text()
    for words in (["--picture", "a.svg"], ["asanoha", "--picture", "a.gif"]):
        assert run("patterns", *words).exit_code == 2
    assert not Path("a.gif").exists()


class TestNew:
    """``mizo new``."""

    def test_never_writes_over_a_file_silently(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """A file that is there stays as it is, unless --force is given."""
        monkeypatch.chdir(tmp_path)
        Path("tile.yaml").write_text("mine")
        refused = run("new", "tile.yaml")

        assert refused.exit_code == 2
        assert "'tile.yaml': is there already" in refused.stderr
        assert Path("tile.yaml").read_text() == "mine"
        assert run("new", "tile.yaml", "--force").exit_code == 0
        assert yaml.safe_load(Path("tile.yaml").read_text()) == yaml.safe_load(run("new").stdout)

    def test_is_a_job_that_can_be_made(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """The starter job is made as it stands by the command that the message names."""
        monkeypatch.chdir(tmp_path)
        told = run("new", "my tile.yaml")
        made = run("program", "my tile.yaml", "-o", "my tile.nc")

        assert "mizo program 'my tile.yaml' -o 'my tile.nc'" in told.stdout
        assert made.exit_code == 0, made.output

    @pytest.mark.parametrize(
        "name", ["my tile.yaml", "null.yaml", 'a"b: #1.yaml', "a\nb.yaml", "麻の葉.yaml"]
    )
    @pytest.mark.parametrize("kind", ["--machine", "--pattern", None])
    def test_carries_its_own_name(
        self, kind: str | None, name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """What is in the file is called as the file is, whatever that is; and it is read."""
        monkeypatch.chdir(tmp_path)
        assert run("new", *filter(None, [kind]), name).exit_code == 0
        text = Path(name).read_text()
        called = yaml.safe_load(text)["name" if kind else "title"]

        assert called == Path(name).stem.replace("\n", " ")
        if kind is None:
            assert load_job(name).title == called
        else:
            assert run(f"{kind.removeprefix('--')}s", name).stdout.endswith(text)

    def test_names_the_command_for_this_very_file(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """The first line of the file says what to type next, and so does the message."""
        monkeypatch.chdir(tmp_path)
        told = run("new", "round-lid.yaml").stdout
        command = "mizo program round-lid.yaml -o round-lid.nc"

        assert Path("round-lid.yaml").read_text().splitlines()[0].endswith(command)
        assert yaml.safe_load(Path("round-lid.yaml").read_text())["title"] == "round lid"
        assert told.endswith(f"{command}\n")

    def test_one_kind_at_a_time(self) -> None:
        """A machine and a pattern are files of their own."""
        assert run("new", "--machine", "--pattern").exit_code == 2


@pytest.mark.parametrize(
    ("command", "folder"), [("machines", "machines"), ("patterns", "vcarve/pattern/data")]
)
def test_one_s_file_is_printed_to_be_edited(command: str, folder: str, tmp_path: Path) -> None:
    """With a name the file is printed, as it is copied and edited; the copy is taken by its path."""
    for file in sorted((ROOT / folder).glob("*.yaml"))[:4]:
        told = run(command, file.stem).stdout
        copy = tmp_path / "own.yaml"
        copy.write_text(told)

        assert told.endswith(file.read_text())
        assert yaml.safe_load(told) == yaml.safe_load(file.read_text())
        assert run(command, str(copy)).stdout == told
        assert run(command, file.stem, "-o", str(tmp_path / "written.yaml"), "--force").exit_code == 0
        assert (tmp_path / "written.yaml").read_text() == told
    assert run(command, "-o", str(tmp_path / "none.yaml")).exit_code == 2
    assert run(command, str(copy), "-o", str(copy)).exit_code == 2
    assert run(command, "no-such-one").exit_code == 2


@pytest.mark.parametrize(
    ("command", "names"), [("machines", "machine: {}"), ("patterns", "pattern: {{name: {}}}")]
)
def test_a_file_of_one_s_own_is_said_to_be_right(command: str, names: str, tmp_path: Path) -> None:
    """Beside the file, so that a copy holds nothing else, with how a job names it; not of files that come with Mizo."""
    own = tmp_path / "own.yaml"
    assert run("new", f"--{command.removesuffix('s')}", str(own)).exit_code == 0
    right = run(command, str(own))

    assert right.stderr.splitlines() == [f"{own} is written right. In a job: {names.format(own)}"]
    assert right.stdout.endswith(own.read_text())
    assert run(command, str(own), "--json").stderr == ""
    assert run(command, {"machines": "small-desktop", "patterns": "asanoha"}[command]).stderr == ""


def test_what_is_doubtful_in_a_pattern_is_told_beside_its_picture(tmp_path: Path) -> None:
    """Lines of a pattern file that nearly meet are told when it is drawn, as they are when it is printed."""
    own = tmp_path / "own.yaml"
    text = run("new", "--pattern").stdout
    own.write_text(text.replace("[1/2, 1/5], [1, 0]", "[1/2, 1/5], [0.999, 0]"))
    drawn, printed = (
        run("patterns", str(own), *more) for more in (("--picture", str(tmp_path / "a.svg")), ())
    )

    assert own.read_text() != text
    assert drawn.exit_code == printed.exit_code == 0
    assert "caution  the line that ends at" in drawn.stderr
    assert "# caution: the line that ends at" in printed.stdout
    assert "caution  the line that ends at" in printed.stderr
    assert "is written right" not in drawn.stderr + printed.stderr


def test_a_copy_s_figures_are_those_of_its_lines(tmp_path: Path) -> None:
    """What was said above a pattern's file is said anew of a copy whose lines are others, and only once."""
    own = tmp_path / "own.yaml"
    assert run("patterns", "shippo", "-o", str(own)).exit_code == 0
    own.write_text(
        own.read_text().replace("lines:\n", "lines:\n  - {role: leaf, from: [0, 0], to: [1, 0]}\n")
    )
    told = run("patterns", str(own)).stdout
    plain = own.read_text().split("key:", 1)[1]

    assert told.endswith(f"key:{plain}")
    assert [line.split(":")[0] for line in told.split("key:", 1)[0].splitlines()] == [
        "# angles",
        "# odd",
        "# cut",
    ]
    assert "# cut: 6.443 x" in told  # 4.443 of arcs and the new line of 1, turned by quarters


class TestSchema:
    """``mizo schema``."""

    @pytest.mark.slow
    @pytest.mark.parametrize(
        ("kind", "folder"), [("job", "samples"), ("machine", "machines"), ("pattern", "vcarve/pattern/data")]
    )
    def test_takes_what_comes_with_mizo(self, kind: str, folder: str) -> None:
        """Every sample, machine and pattern is valid by its schema, read by a library that is not ours."""
        schema = json.loads(run("schema", kind).stdout)
        jsonschema.Draft202012Validator.check_schema(schema)
        files = sorted((ROOT / folder).glob("*.yaml"))

        assert files
        for file in files:
            jsonschema.validate(yaml.safe_load(file.read_text()), schema, jsonschema.Draft202012Validator)

    def test_refuses_what_the_loader_refuses(self) -> None:
        """A misspelt key is wrong by the schema too."""
        schema = json.loads(run("schema", "job").stdout)
        job = yaml.safe_load((ROOT / "samples" / "coaster.yaml").read_text())
        job["groove"] = {"deep": 1}
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(job, schema, jsonschema.Draft202012Validator)

    def test_needs_a_kind(self) -> None:
        """An unknown kind is bad input."""
        assert run("schema", "wood").exit_code == 2


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion(shell: str) -> None:
    """The script names the command, and the shell, where there is one, reads it without complaint."""
    script = run("completion", shell).stdout

    assert "_MIZO_COMPLETE" in script
    if shutil.which(shell):
        checked = subprocess.run([shell, "-n"], input=script, capture_output=True, text=True, check=False)
        assert checked.returncode == 0, checked.stderr
