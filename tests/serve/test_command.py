"""``mizo bench`` itself: what it says, which files it takes, how it opens the page and how it ends."""

from __future__ import annotations

import http.client
import json
import os
import socket
import subprocess
import sys
import webbrowser
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from served import SMALL, command
from vcarve.cli import bench as command_line
from vcarve.cli.main import cli
from vcarve.job.bench import machines_folder
from vcarve.job.starters import starter_text


def run(*words: str) -> Result:
    """Run a command in this process."""
    return CliRunner().invoke(cli, list(words))


def test_a_first_tile_without_a_job(tmp_path: Path) -> None:
    """It begins with the file that ``mizo new`` writes, under no name, in this folder; Ctrl-C ends it with a sentence and 0."""
    with command(tmp_path) as page:
        assert page.process is not None
        told = page.ask("start").told
        said = page.end()

        assert (told["text"], told["file"], told["seen"]) == (starter_text(), None, None)
        assert told["folder"] == str(tmp_path)
        assert page.process.returncode == 0
        assert said.splitlines()[-1] == "The bench page has ended; what was saved is in its files."
        assert "Traceback" not in said
    assert list(tmp_path.iterdir()) == []


def test_it_ends_while_it_plans(tmp_path: Path) -> None:
    """Ctrl-C does not wait for a plan that nobody will see, and says the same."""
    large = SMALL.replace("40 mm", "300 mm").replace("pitch: 20 mm", "pitch: 9 mm")
    with command(tmp_path) as page:
        assert page.process is not None
        line = http.client.HTTPConnection("127.0.0.1", page.port, timeout=60)
        line.request(
            "POST", f"/{page.token}/plan", json.dumps({"text": large}), {"Origin": f"http://{page.host}"}
        )
        first = line.getresponse().readline()
        said = page.end()
        line.close()

    assert b'"stage"' in first
    assert (page.process.returncode, said.count("\n")) == (0, 2)
    assert said.endswith("The bench page has ended; what was saved is in its files.\n")


AT_WORK = """
import signal, sys, threading
from vcarve.cli import main, start

def run():
    threading.Thread(target=threading.Event().wait).start()
    sys.stdout.write("all that was said")
    {end}

main.main = run
start.main()
"""


@pytest.mark.parametrize(
    ("end", "code"), [("return", 0), ("sys.exit(3)", 3), ("signal.raise_signal(signal.SIGTERM)", 143)]
)
def test_a_thread_at_work_does_not_keep_a_command_from_its_end(end: str, code: int) -> None:
    """It ends with the exit code that it has, and what it has said is there."""
    words = [sys.executable, "-c", AT_WORK.format(end=end)]
    env = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    done = subprocess.run(words, env=env, capture_output=True, text=True, check=False, timeout=60)

    assert (done.returncode, done.stdout) == (code, "all that was said")


def test_the_token_is_long_and_new_each_time(tmp_path: Path) -> None:
    """Nobody guesses it, and an old address opens nothing."""
    with command(tmp_path) as one, command(tmp_path) as two:
        assert len(one.token) >= 43  # 32 bytes
        assert one.token != two.token
        assert one.port != two.port


def test_the_port_is_the_usual_one_where_it_is_free(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a browser keeps of a page it keeps by its address: the same next time; a second page beside it gets another."""
    with socket.socket() as any_free:
        any_free.bind((command_line.ADDRESS, 0))
        usual = any_free.getsockname()[1]
    monkeypatch.setattr(command_line, "USUAL_PORT", usual)
    with command_line._listening(None) as first, command_line._listening(None) as second:
        assert first.getsockname()[1] == usual
        assert second.getsockname()[1] != usual


def test_it_listens_on_the_loopback_address_only(tmp_path: Path) -> None:
    """From any other address of this machine, as from another machine, nothing answers."""
    with command(tmp_path) as page, socket.socket() as other, pytest.raises(ConnectionRefusedError):
        # The whole of 127/8 is this machine on Linux, and stands for another address of it.
        other.connect(("127.0.0.2", page.port))


def test_a_job_and_its_folder(tmp_path: Path) -> None:
    """With a job the page is its file's, in its folder, and may read what it names elsewhere, since the user named it."""
    mill = (machines_folder() / "small-desktop.yaml").read_text(encoding="utf-8")
    (tmp_path / "mill.yaml").write_text(mill)
    (tmp_path / "secret.yaml").write_text(mill)
    (tmp_path / "jobs").mkdir()
    (tmp_path / "jobs" / "a.yaml").write_text(SMALL.replace("small-desktop", "../mill.yaml"))
    with command(tmp_path, "jobs/a.yaml") as page:
        told = page.ask("start").told
        look = page.ask("look", {"text": told["text"], "edits": []}).told
        other = page.ask(
            "look", {"text": told["text"], "edits": [{"path": "machine", "value": "../secret.yaml"}]}
        ).told

    assert (told["file"], told["folder"]) == ("a.yaml", str(tmp_path / "jobs"))
    assert look["problems"] == []
    assert "outside" in other["problems"][0]["want"]


def test_a_page_that_is_loaded_again_is_told_what_is_on_the_disk(tmp_path: Path) -> None:
    """What was saved since is what it begins with; where the file has gone, the text it began with, as not saved."""
    path = tmp_path / "a.yaml"
    path.write_text(SMALL)
    with command(tmp_path, "a.yaml") as page:
        first = page.ask("start").told
        saved = page.ask("save", {"text": SMALL + "# more\n", "name": "a.yaml", "seen": first["seen"]}).told
        second = page.ask("start").told
        path.unlink()
        third = page.ask("start").told

    assert (second["text"], second["seen"]) == (SMALL + "# more\n", saved["seen"])
    assert (third["text"], third["file"], third["seen"]) == (SMALL, "a.yaml", None)


def test_a_port_that_is_taken_is_told() -> None:
    """It says what to do, and ends with 2."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        done = run("bench", "--no-open", "--port", port)

    assert done.exit_code == 2
    assert port in done.output
    assert "another program listens there; give another port, or leave --port out" in done.output


@pytest.mark.parametrize(
    ("content", "want"),
    [
        (None, "no such file"),
        (b"\xff", "not UTF-8"),
        (b"piece: [\n", "YAML"),
        (b"travel: 1\nrapid: 1\nspindle: 1\nx: [\n", "this is a machine file"),
        (b"#" * 300_000, "too large"),
    ],
)
def test_a_job_that_cannot_be_read_is_told(tmp_path: Path, content: bytes | None, want: str) -> None:
    """Nothing is served of a file that is no job; it ends with 2."""
    path = tmp_path / "a.yaml"
    if content is not None:
        path.write_bytes(content)
    done = run("bench", "--no-open", str(path))

    assert done.exit_code == 2
    assert want in done.output


@pytest.mark.parametrize("name", ["-", "a.txt", "folder"])
def test_a_name_that_cannot_be_saved_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """Standard input, a folder and files of other endings are refused before anything is served."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.txt").write_text(SMALL)
    (tmp_path / "folder").mkdir()
    done = run("bench", "--no-open", name)

    assert done.exit_code == 2


def test_a_job_with_a_wrong_number_opens_all_the_same(tmp_path: Path) -> None:
    """The page is where it is put right: the problem is told there, with its line."""
    (tmp_path / "a.yaml").write_text(SMALL.replace("0.8 mm", "deep"))
    with command(tmp_path, "a.yaml") as page:
        told = page.ask("look", {"text": page.ask("start").told["text"], "edits": []}).told

    assert [(one["path"], one["line"]) for one in told["problems"]] == [("groove.depth", 5)]


@pytest.mark.parametrize(("screen", "there"), [(True, True), (True, False), (False, True)])
def test_the_browser_is_asked_to_open_the_page(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], screen: bool, there: bool
) -> None:
    """Where there is a screen, the browser opens the address; where there is none, or no browser, the maker is told to."""
    opened: list[str] = []

    def opens(address: str) -> bool:
        opened.append(address)
        return there

    monkeypatch.setattr(sys, "platform", "linux")
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER"):
        monkeypatch.delenv(name, raising=False)
    if screen:
        monkeypatch.setenv("DISPLAY", ":0")
    monkeypatch.setattr(webbrowser, "open", opens)
    command_line._opened("http://127.0.0.1:1/x/")

    assert opened == ["http://127.0.0.1:1/x/"] * screen
    assert ("open the address" in capsys.readouterr().out) == (not (screen and there))


def test_mizo_alone_says_how_to_open_the_page() -> None:
    """A maker who types the one word is told the next."""
    assert "mizo bench" in run().output


def test_mizo_loads_no_server_for_other_commands() -> None:
    """Other commands start without what serves."""
    code = (
        "import sys\nfrom vcarve.cli.main import cli\ncli(['bench', '--help'], standalone_mode=False)\n"
        "print(sorted(set(sys.modules) & {'starlette', 'uvicorn', 'anyio', 'numpy', 'yaml'}))"
    )
    env = os.environ | {"PYTHONPATH": os.pathsep.join(one for one in sys.path if one)}
    out = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=env
    ).stdout

    assert out.splitlines()[-1] == "[]"
