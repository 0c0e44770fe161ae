"""Outputs appear whole or not at all, all of a command's or none, and never over what the command reads."""

from __future__ import annotations

import os
import stat
import threading
from pathlib import Path

import pytest
from click.testing import CliRunner

from vcarve.cli.files import claim
from vcarve.cli.main import cli
from vcarve.errors import InputError
from vcarve.files import write_whole


def listing(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder with its bytes."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_all_files_are_written(tmp_path: Path) -> None:
    """Texts are written in UTF-8 with the line feeds they have, bytes as they are; nothing is left beside them."""
    write_whole([(str(tmp_path / "a.nc"), "G0\n麻\n"), (str(tmp_path / "b.png"), b"\x00\r\n")])

    assert listing(tmp_path) == {"a.nc": "G0\n麻\n".encode(), "b.png": b"\x00\r\n"}


@pytest.mark.parametrize("bad", ["missing/b.svg", "folder", "n" * 300])
def test_one_wrong_path_and_nothing_changes(tmp_path: Path, bad: str) -> None:
    """If one path cannot be written, the others keep their former bytes and no new file appears."""
    (tmp_path / "folder").mkdir()
    (tmp_path / "a.nc").write_bytes(b"former\r\n")
    before = listing(tmp_path)

    for order in (1, -1):
        outputs = [(str(tmp_path / name), "new") for name in ("a.nc", "c.nc", bad)][::order]
        with pytest.raises(InputError, match=bad[:20]):
            write_whole(outputs)

        assert listing(tmp_path) == before


def test_a_failure_half_way_is_undone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the second replacement fails, the first is put back and a new file removed again."""
    first, second, third = (tmp_path / name for name in ("a", "b", "c"))
    first.write_bytes(b"one")
    third.write_bytes(b"three")
    replace = os.replace

    def failing(source: str, target: str | Path) -> None:
        if Path(target).name == "c" and not str(source).endswith(".former"):
            raise OSError(28, "No space left on device")
        replace(source, target)

    monkeypatch.setattr(os, "replace", failing)
    with pytest.raises(InputError, match="no space left"):
        write_whole([(str(first), "1"), (str(second), "2"), (str(third), "3")])

    assert listing(tmp_path) == {"a": b"one", "c": b"three"}


def test_modes_are_kept_and_new_files_follow_the_umask(tmp_path: Path) -> None:
    """A replaced file keeps its permissions; a new one gets the usual ones."""
    kept = tmp_path / "kept"
    kept.write_text("old")
    kept.chmod(0o640)
    before = os.umask(0o027)
    try:
        write_whole([(str(kept), "new"), (str(tmp_path / "fresh"), "new")])
    finally:
        os.umask(before)

    assert stat.S_IMODE(kept.stat().st_mode) == 0o640
    assert stat.S_IMODE((tmp_path / "fresh").stat().st_mode) == 0o640


def test_links_are_followed(tmp_path: Path) -> None:
    """Writing to a link replaces the file it leads to; the link stays one, also when its file is yet to come."""
    (tmp_path / "real").write_text("old")
    (tmp_path / "link").symlink_to("real")
    (tmp_path / "early").symlink_to("later")
    write_whole([(str(tmp_path / "link"), "new"), (str(tmp_path / "early"), "first")])

    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "early").is_symlink()
    assert (tmp_path / "real").read_text() == "new"
    assert (tmp_path / "later").read_text() == "first"


def test_a_pipe_is_written_into(tmp_path: Path) -> None:
    """What is no plain file is not replaced by one."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    got: list[bytes] = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_bytes()))
    reader.start()
    write_whole([(str(pipe), "G0\n")])
    reader.join(timeout=10)

    assert got == [b"G0\n"]
    assert stat.S_ISFIFO(pipe.stat().st_mode)


def test_a_file_the_command_reads_is_never_written_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The job is refused as an output under any spelling of its path."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "job.yaml").write_text("piece:")
    (tmp_path / "link.nc").symlink_to("job.yaml")
    for name in ("job.yaml", "./job.yaml", str(tmp_path / "job.yaml"), "link.nc"):
        with pytest.raises(InputError, match="is read by this command"):
            claim([("a program", name)], ("job.yaml", None, "-"))

    assert (tmp_path / "job.yaml").read_text() == "piece:"


def test_a_link_into_a_missing_folder_names_that_folder(tmp_path: Path) -> None:
    """What is missing is where the link leads, not where it lies."""
    (tmp_path / "link.nc").symlink_to("gone/a.nc")
    with pytest.raises(InputError, match=r"there is no folder '.*gone'"):
        claim([("a program", str(tmp_path / "link.nc"))])


def test_two_outputs_need_two_places(tmp_path: Path) -> None:
    """The same file, or standard output, for two outputs is refused; every problem is named at once."""
    same = str(tmp_path / "a.nc")
    with pytest.raises(InputError) as caught:
        claim(("a program", path) for path in (same, f"{tmp_path}/./a.nc", "-", "-", f"{tmp_path}/no/b"))

    assert len(caught.value.problems) == 3
    assert [p.value for p in caught.value.problems] == [f"{tmp_path}/./a.nc", "-", f"{tmp_path}/no/b"]


@pytest.mark.parametrize(
    ("words", "right"),
    [
        (("program", "JOB", "-o", "s.pdf"), "this is for a program; its name must end in .nc, .ngc, "),
        (("program", "JOB", "-o", "s"), "this is for a program"),
        (("program", "JOB", "--picture", "s.xyz"), "its name must end in .svg"),
        (("program", "JOB", "--page", "s.txt"), "this is for a page; its name must end in .html or .htm"),
        (("dry-run", "NC", "--page", "s.svg"), ".html or .htm"),
        (("dry-run", "NC", "--job", "JOB", "--picture", "s.jpg"), "its name must end in .png"),
        (("dry-run", "NC", "--job", "JOB", "--heights", "s.stl"), ".png or .npy"),
        (("lines", "JOB", "-o", "s.nc"), ".svg or .dxf"),
        (("patterns", "asanoha", "--picture", "s.gif"), ".svg or .png"),
        (("patterns", "--page", "s.pdf"), ".html or .htm"),
        (("new", "s.json"), ".yaml or .yml"),
    ],
)
def test_a_name_ends_as_what_is_written(
    words: tuple[str, ...], right: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every command refuses the ending of something else, says which are right, and writes nothing."""
    monkeypatch.chdir(tmp_path)
    programs = Path(__file__).parent.parent / "dryrun" / "programs"
    given = {"JOB": str(programs / "cross.yaml"), "NC": str(programs / "cross.nc")}
    done = CliRunner().invoke(cli, [given.get(word, word) for word in words])

    assert done.exit_code == 2
    assert f"'{words[-1]}': " in done.stderr
    assert right in done.stderr
    assert listing(tmp_path) == {}


@pytest.mark.parametrize(
    "words",
    [("patterns", "asanoha", "-o"), ("machines", "small-desktop", "-o"), ("new",)],
    ids=lambda words: words[0],
)
def test_a_file_to_be_edited_is_written_over_with_force_only(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a maker may have edited stays as it is, whichever command would write there, unless --force is given."""
    monkeypatch.chdir(tmp_path)
    Path("own.yaml").write_text("mine")
    refused = CliRunner().invoke(cli, [*words, "own.yaml"])

    assert refused.exit_code == 2
    assert "'own.yaml': is there already; give another name, or --force to write over it" in refused.stderr
    assert Path("own.yaml").read_text() == "mine"
    assert CliRunner().invoke(cli, [*words, "own.yaml", "--force"]).exit_code == 0
    assert Path("own.yaml").read_text() != "mine"


def test_devices_and_any_case_are_taken(tmp_path: Path) -> None:
    """An ending in capitals is as good, and what is no plain file has no ending to keep to."""
    claim([("a program", str(tmp_path / "A.NC")), ("a page", os.devnull)])


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="/dev/full is POSIX's")
def test_a_device_without_room_leaves_the_files_beside_it_unwritten(tmp_path: Path) -> None:
    """What is written into a device comes before files are put in their places: where it fails, nothing has changed."""
    (tmp_path / "kept").write_text("as it was")

    with pytest.raises(InputError, match="'/dev/full': cannot be written: no space left on device"):
        write_whole([("/dev/full", "x"), (str(tmp_path / "kept"), "new"), (str(tmp_path / "fresh"), "new")])

    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {"kept": "as it was"}
