"""What is saved is whole, and nobody's work is written over unseen; what is brought is read first, then kept."""

from __future__ import annotations

import hashlib
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from served import PATIENCE_S, SMALL, Served, command, served
from vcarve.errors import InputError
from vcarve.job.bench import machines_folder
from vcarve.serve.folder import ChangedError, Folder

OTHER = SMALL.replace("title: small", "title: other")
LINES = b'<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="40mm" viewBox="0 0 40 40"><path d="M5 5H35"/></svg>'


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Return a server that several tests share."""
    with served(tmp_path_factory.mktemp("shared")) as found:
        yield found


@pytest.fixture
def page(server: Served) -> Iterator[Served]:
    """Return the server, its folder empty."""
    yield server
    for path in server.folder.iterdir():
        path.unlink()


def digest(text: str | bytes) -> str:
    """Return the SHA-256 of a file with this content."""
    return hashlib.sha256(text.encode() if isinstance(text, str) else text).hexdigest()


def test_a_job_is_saved_and_opened_as_it_is(page: Served) -> None:
    """Every byte of the text is on the disk and comes back, line ends and the mark at its head as well."""
    text = "\ufeff# é 麻\r\n" + SMALL
    saved = page.ask("save", {"text": text, "name": "a.yaml", "seen": None})

    assert (page.folder / "a.yaml").read_bytes() == text.encode()
    assert saved.told == {"name": "a.yaml", "seen": digest(text)}
    assert page.ask("open", {"name": "a.yaml"}).told == {"text": text, "file": "a.yaml", "seen": digest(text)}
    assert [path.name for path in page.folder.iterdir()] == ["a.yaml"]


def test_of_two_pages_that_save_the_second_is_told(page: Served) -> None:
    """It has not seen what the first has written: nothing is written over, until its user says so."""
    seen = page.ask("save", {"text": SMALL, "name": "a.yaml", "seen": None}).told["seen"]
    first = page.ask("save", {"text": OTHER, "name": "a.yaml", "seen": seen})
    second = page.ask("save", {"text": SMALL + "# mine\n", "name": "a.yaml", "seen": seen})

    assert (first.status, second.status) == (200, 409)
    assert "a.yaml has been changed" in second.wants
    assert (page.folder / "a.yaml").read_text() == OTHER
    over = page.ask("save", {"text": SMALL + "# mine\n", "name": "a.yaml", "seen": seen, "over": True})
    assert over.status == 200
    assert (page.folder / "a.yaml").read_text() == SMALL + "# mine\n"


@pytest.mark.parametrize("seen", [None, digest("another"), 7, ["x"]])
def test_a_file_that_was_not_seen_is_not_written_over(page: Served, seen: object) -> None:
    """A name that is taken already is told, and so is a file that an editor has changed."""
    (page.folder / "a.yaml").write_text(OTHER)
    got = page.ask("save", {"text": SMALL, "name": "a.yaml", "seen": seen})

    assert got.status == 409
    assert (page.folder / "a.yaml").read_text() == OTHER


def test_a_file_that_has_gone_is_told(page: Served) -> None:
    """A file that was taken away since is not made again without a word."""
    got = page.ask("save", {"text": SMALL, "name": "a.yaml", "seen": digest(SMALL)})

    assert (got.status, list(page.folder.iterdir())) == (409, [])
    assert "no longer there" in got.wants


def test_the_same_content_is_no_conflict(page: Served) -> None:
    """Where the file says already what is to be saved, there is nothing to be asked."""
    (page.folder / "a.yaml").write_text(SMALL)
    before = (page.folder / "a.yaml").stat().st_ino

    assert page.ask("save", {"text": SMALL, "name": "a.yaml", "seen": None}).status == 200
    assert (page.folder / "a.yaml").stat().st_ino == before


def test_a_job_takes_the_place_of_no_other_file(page: Served) -> None:
    """A machine's file is not written over with a job, whatever the user says, nor is a text saved that is no YAML."""
    mill = (machines_folder() / "small-desktop.yaml").read_bytes()
    (page.folder / "mill.yaml").write_bytes(mill)
    got = page.ask("save", {"text": SMALL, "name": "mill.yaml", "seen": digest(mill), "over": True})
    spoiled = page.ask("save", {"text": "piece: [", "name": "a.yaml", "seen": None})

    assert (got.status, spoiled.status) == (422, 422)
    assert "machine file" in got.wants
    assert [path.name for path in page.folder.iterdir()] == ["mill.yaml"]
    assert (page.folder / "mill.yaml").read_bytes() == mill


def test_a_folder_that_may_not_be_written_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An error of the disk is told in words, and leaves what was there."""
    (tmp_path / "a.yaml").write_text(OTHER)

    def full(*paths: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(InputError, match="no space left"):
        Folder(tmp_path).save(SMALL, "a.yaml", digest(OTHER))

    assert (tmp_path / "a.yaml").read_text() == OTHER
    assert [path.name for path in tmp_path.iterdir()] == ["a.yaml"]


def test_two_at_once_never_both_win(tmp_path: Path) -> None:
    """Of many that save at the same time what they have seen at the same time, one saves and the others are told."""
    import threading

    folder = Folder(tmp_path)
    seen = folder.save(SMALL, "a.yaml", None)
    told: list[str] = []

    def save(number: int) -> None:
        try:
            folder.save(f"{SMALL}# {number}\n", "a.yaml", seen)
            told.append(f"{SMALL}# {number}\n")
        except ChangedError:
            pass

    threads = [threading.Thread(target=save, args=(number,)) for number in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert [(tmp_path / "a.yaml").read_text()] == told


# --- ended at any moment ---

SAVING = """
import os, signal, sys
from vcarve.serve.folder import Folder
at, name, text, seen = sys.argv[1:]
calls = 0
def halting(event, args):
    global calls
    if event in ("open", "os.rename", "os.mkdir", "os.remove", "os.rmdir", "os.chmod", "shutil.copymode", "os.scandir"):
        calls += 1
        if calls == int(at):
            os.kill(os.getpid(), signal.SIGKILL)
folder = Folder(".")
folder.save("warm: up", "warm.yaml", None)
sys.addaudithook(halting)
folder.save(text, name, seen)
print(calls)
"""


def test_killed_before_any_step_of_a_save_the_file_is_old_or_new(tmp_path: Path) -> None:
    """Whatever the system was asked for last, the file has all of the old text or all of the new one."""
    steps = 0
    found = set()
    while True:
        steps += 1
        path = tmp_path / f"{steps}.yaml"
        path.write_text(OTHER)
        words = [sys.executable, "-c", SAVING, str(steps), path.name, SMALL, digest(OTHER)]
        env = os.environ | {"PYTHONPATH": os.pathsep.join(one for one in sys.path if one)}
        done = subprocess.run(words, cwd=tmp_path, env=env, capture_output=True, text=True, check=False)
        found.add(path.read_text())
        if done.returncode != -signal.SIGKILL:
            break

    assert done.returncode == 0, done.stderr
    assert found == {OTHER, SMALL}
    assert steps > 4  # each of them a moment to be killed at


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGINT, signal.SIGTERM])
def test_ended_while_pages_save_the_file_is_whole(tmp_path: Path, number: signal.Signals) -> None:
    """A server that is killed or stopped while it saves leaves a text as it was sent, and nothing of itself goes on."""
    import http.client
    import threading

    long = [f"{SMALL}# {'x' * 200_000} {number}\n" for number in range(2)]
    with command(tmp_path) as page:
        assert page.process is not None
        page.ask("save", {"text": long[0], "name": "a.yaml", "seen": None})
        ended = threading.Event()

        def saving() -> None:
            count = 0
            while not ended.is_set():
                count += 1
                try:
                    page.ask("save", {"text": long[count % 2], "name": "a.yaml", "over": True})
                except (OSError, http.client.HTTPException):
                    return

        threads = [threading.Thread(target=saving) for _ in range(3)]
        for thread in threads:
            thread.start()
        children = children_of(page.process.pid)
        page.end(number)
        ended.set()
        for thread in threads:
            thread.join()

        assert (tmp_path / "a.yaml").read_text() in long
        assert page.process.returncode == {signal.SIGKILL: -9, signal.SIGINT: 0, signal.SIGTERM: 143}[number]
        for child in children:
            wait_for_end(child)


def children_of(pid: int) -> list[int]:
    """Return the processes that a process has started."""
    found = subprocess.run(
        ["ps", "-o", "pid=", "--ppid", str(pid)], capture_output=True, text=True, check=False
    ).stdout
    return [int(word) for word in found.split()]


def wait_for_end(pid: int) -> None:
    """Wait until a process has ended; one that goes on is a failure, and killed."""
    import time

    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        state = subprocess.run(
            ["ps", "-o", "stat=", "-p", str(pid)], capture_output=True, text=True, check=False
        ).stdout
        if not state.strip() or state.startswith("Z"):
            return
        time.sleep(0.05)
    os.kill(pid, signal.SIGKILL)
    raise AssertionError(f"process {pid} goes on")


# --- what is brought ---


def test_a_drawing_is_kept_under_its_name(page: Served) -> None:
    """Brought again it is the same file; another drawing of that name gets a number, and a job can name it."""
    first = LINES
    names = [page.ask("drop?name=leaf.svg", data).told for data in (first, first, first + b"\n", first)]

    assert names == [
        {"kind": "drawing", "name": name} for name in ("leaf.svg", "leaf.svg", "leaf-2.svg", "leaf.svg")
    ]
    assert sorted(path.name for path in page.folder.iterdir()) == ["leaf-2.svg", "leaf.svg"]
    edits = [{"path": "pattern", "value": {"drawing": "leaf.svg"}}]
    assert page.ask("look", {"text": SMALL, "edits": edits}).told["problems"] == []


def test_a_machine_a_pattern_and_a_job_are_told_apart(page: Served) -> None:
    """A machine's and a pattern's file are read and kept; the text of a job is handed back, and not kept."""
    from vcarve.job.starters import starter_text

    mill = page.ask("drop?name=mill.yaml", starter_text("machine").encode())
    star = page.ask("drop?name=star.yaml", starter_text("pattern").encode())
    job = page.ask("drop?name=job.yaml", SMALL.encode())

    assert (mill.told, star.told) == (
        {"kind": "machine", "name": "mill.yaml"},
        {"kind": "pattern", "name": "star.yaml"},
    )
    assert job.told == {"kind": "job", "name": "job.yaml", "text": SMALL}
    assert sorted(path.name for path in page.folder.iterdir()) == ["mill.yaml", "star.yaml"]
    edits = [{"path": "machine", "value": "mill.yaml"}, {"path": "pattern.name", "value": "star.yaml"}]
    assert page.ask("look", {"text": SMALL, "edits": edits}).told["problems"] == []


@pytest.mark.parametrize(
    ("name", "data", "want"),
    [
        ("a.yaml", b"x: 1\n", "neither a job"),
        ("a.yaml", b"\xff\xfe", "neither a job"),
        ("a.yaml", b"travel: 1\nrapid: 2\nspindle: 3\n", "a.yaml"),
        ("a.yaml", b"piece: 1\ngroove: 2\nbit: [\n", "YAML"),
        ("a.yaml", b"#" * 300_000, "too large"),
        ("a.svg", b"", ""),
        ("a.dxf", b"0\nSECTION\n", ""),
        ("a.png", b"\x89PNG", "must end in"),
        ("a.html", b"<script>", "must end in"),
    ],
)
def test_what_is_of_no_use_is_told_and_not_kept(page: Served, name: str, data: bytes, want: str) -> None:
    """A file that cannot be read, or is none of those that jobs name, is refused with the reason."""
    got = page.ask(f"drop?name={name}", data)

    assert got.status == 422
    assert want in got.wants
    assert list(page.folder.iterdir()) == []
