"""Commands as they are typed: words with spaces in them, quoted as the shell of the system takes them."""

from __future__ import annotations

import subprocess
import sys

import pytest

from vcarve.cli.terminal import typed

WORDS = ["mizo", "program", "my tile.yaml", "--set", "title=a b"]


@pytest.mark.parametrize(
    ("system", "line"),
    [
        ("linux", "mizo program 'my tile.yaml' --set 'title=a b'"),
        ("darwin", "mizo program 'my tile.yaml' --set 'title=a b'"),
        ("win32", 'mizo program "my tile.yaml" --set "title=a b"'),
    ],
)
def test_quotes_are_those_of_the_shell(monkeypatch: pytest.MonkeyPatch, system: str, line: str) -> None:
    """Single quotes are letters like any other to the shells of Windows."""
    monkeypatch.setattr(sys, "platform", system)

    assert typed(WORDS) == line


def test_what_only_windows_needs_is_loaded_there_only() -> None:
    """Quoting for other systems loads nothing that starts processes."""
    code = "import sys; from vcarve.cli.terminal import typed; typed(['a b']); print('subprocess' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout == f"{sys.platform == 'win32'}\n"
