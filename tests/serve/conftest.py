"""The bench page as a maker starts it: the command itself, in a folder of its own."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

Served = Callable[..., str]


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Served]:
    """Start ``mizo bench`` in the test's folder, with the job file named, and return the page's address; ended with the test."""
    running: list[subprocess.Popen[str]] = []

    def start(*job: str) -> str:
        command = [sys.executable, "-m", "vcarve", "bench", "--no-open", *job]
        env = os.environ | {"PYTHONUNBUFFERED": "1"}
        process = subprocess.Popen(
            command, cwd=tmp_path, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        running.append(process)
        assert process.stdout is not None
        said = ""
        for line in process.stdout:
            said += line
            if found := re.search(r"http://127\.0\.0\.1:\d+/\S+/", line):
                return found.group()
        raise AssertionError(f"no address was printed: {said}")

    def end() -> None:
        while running:
            process = running.pop()
            process.send_signal(signal.SIGINT)
            process.communicate(timeout=20)

    start.end = end  # type: ignore[attr-defined]
    yield start
    end()
