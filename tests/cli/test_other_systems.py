"""Windows, as far as it can be shown elsewhere: nothing only POSIX has, line ends and byte-order marks, consoles, names."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

import vcarve
from small_job import own_job, own_pattern
from vcarve.cli.files import claim
from vcarve.cli.main import EXIT_UNREAD, cli
from vcarve.errors import InputError
from vcarve.job.bench import machines_folder
from vcarve.job.records import load_job

# Python's library reference marks these "Availability: Unix".
POSIX_MODULES = {"fcntl", "grp", "posix", "pty", "pwd", "readline", "resource", "syslog", "termios", "tty"}
WINDOWS_SIGNALS = {
    "SIGABRT",
    "SIGFPE",
    "SIGILL",
    "SIGINT",
    "SIGSEGV",
    "SIGTERM",
    "SIGBREAK",
    "SIG_DFL",
    "SIG_IGN",
}
POSIX_CALLS = {"chown", "fchown", "fork", "getegid", "geteuid", "getgid", "getpgid", "getuid", "killpg", "lchown", "mkfifo",
               "mknod", "nice", "openpty", "setsid", "setuid", "statvfs", "sync", "uname", "wait", "alarm", "pause"}  # fmt: skip


def test_nothing_that_only_posix_has() -> None:
    """No module, signal or call of the package is missing on Windows."""
    found = []
    for path in Path(vcarve.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import | ast.ImportFrom):
                names = (
                    [alias.name for alias in node.names]
                    if isinstance(node, ast.Import)
                    else [node.module or ""]
                )
                found += [(path.name, name) for name in names if name.split(".")[0] in POSIX_MODULES]
            elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                odd_signal = node.attr.startswith("SIG") and node.attr not in WINDOWS_SIGNALS
                odd_call = node.value.id in ("os", "signal") and node.attr in POSIX_CALLS
                found += [(path.name, node.attr)] if odd_signal or odd_call else []

    assert found == []


def test_files_are_read_and_written_as_bytes_or_in_utf_8() -> None:
    """Nothing is opened in the encoding of the system, which on Windows is not UTF-8."""
    bare = [
        (path.name, node.lineno)
        for path in Path(vcarve.__file__).parent.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in ("read_text", "write_text")
        and not any(word.arg == "encoding" for word in node.keywords)
    ]

    assert bare == []


@pytest.mark.parametrize("start", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
def test_byte_order_marks_and_line_ends(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, start: bytes, end: bytes
) -> None:
    """Jobs, patterns and machines saved by Windows editors are read as the same files saved elsewhere."""
    monkeypatch.chdir(tmp_path)
    machine = (machines_folder() / "small-desktop.yaml").read_bytes().replace(b"\r\n", b"\n")
    pattern = own_pattern(name="麻", more="note: |\n  one\n  two\n").encode()
    job = own_job(machine="mill.yaml").encode()
    for name, text in (("job.yaml", job), ("own.yaml", pattern), ("mill.yaml", machine)):
        Path(name).write_bytes(start + text.replace(b"\n", end))
    done = CliRunner().invoke(cli, ["program", "job.yaml", "-o", "job.nc"])
    told = CliRunner().invoke(cli, ["patterns", "own.yaml"])

    assert done.exit_code == 0, done.output
    assert load_job("job.yaml").machine.name == "mill.yaml"
    assert told.exit_code == 0, told.output
    assert b"\r" not in Path("job.nc").read_bytes()


@pytest.mark.slow
@pytest.mark.parametrize("encoding", ["cp1252", "cp437", "cp932", "utf-16"])
@pytest.mark.parametrize(
    "words", [["patterns"], ["patterns", "asanoha"], ["woods"], ["nonsense"], ["program", "麻.yaml"]]
)
def test_consoles_of_windows(words: list[str], encoding: str) -> None:
    """Whatever a console can show, tables and messages reach it, and none of them is a traceback."""
    env = {**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}
    code = "from vcarve.cli.start import main; main()"
    done = subprocess.run([sys.executable, "-c", code, *words], env=env, capture_output=True, check=False)
    said = (done.stdout + done.stderr).decode(encoding, errors="replace")

    assert done.returncode == (2 if words[0] in ("nonsense", "program") else 0), said
    assert len(said) > 20
    assert "Traceback" not in said
    assert "INTERNAL" not in said


@pytest.mark.parametrize("module", ["vcarve", "vcarve.cli.start"])
def test_where_no_command_is_on_the_path(module: str) -> None:
    """Python itself starts the command by the package's name, and by the module where it begins."""
    done = subprocess.run(
        [sys.executable, "-m", module, "--version"], capture_output=True, text=True, check=True
    )

    assert done.stdout == f"mizo, version {vcarve.__version__}\n"


def test_names_that_differ_by_their_case_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the system takes names in any case, so do the checks of what would be written over."""
    monkeypatch.setattr(os.path, "normcase", str.lower)
    with pytest.raises(InputError, match="is read by this command"):
        claim([("a program", str(tmp_path / "Job.NC"))], inputs=(str(tmp_path / "job.nc"),))
    with pytest.raises(InputError, match="is named for two outputs"):
        claim([("a picture of the plan", str(tmp_path / name)) for name in ("a.svg", "A.SVG")])


def test_a_pipe_nobody_reads_on_windows(monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows calls a closed pipe an invalid argument; that is no fault of ours either."""

    def closed(*_: object, **__: object) -> None:
        raise OSError(22, "Invalid argument")

    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setattr("vcarve.job.starters.starter_text", closed)
    done = CliRunner().invoke(cli, ["new"])

    assert "INTERNAL" not in done.stderr
    assert done.exit_code == EXIT_UNREAD
