"""The bench page as a maker starts it: the command itself, in a folder of its own."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from on_the_page import SIZES, Opener, planned

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


@pytest.fixture(scope="module")
def artefacts() -> Path:
    """Return where screenshots are kept: MIZO_ARTIFACTS, or a folder that is not under version control."""
    folder = Path(os.environ.get("MIZO_ARTIFACTS", Path(__file__).parents[2] / "artifacts"))
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@pytest.fixture
def visit(browser: Any, bench: Callable[..., str], tmp_path: Path) -> Iterator[Opener]:
    """Open the bench page of a job, or of the first tile; at the end no script has failed and nobody else was asked."""
    contexts, said, asked = [], [], []

    def open_page(
        text: str | None = None, size: str = "desk", scheme: str = "light", address: str = ""
    ) -> Any:
        if text is not None:
            (tmp_path / "lid.yaml").write_text(text, encoding="utf-8")
        address = address or bench(*(["lid.yaml"] if text is not None else []))
        wide, tall = SIZES[size]
        context = browser.new_context(
            viewport={"width": wide, "height": tall}, color_scheme=scheme, reduced_motion="reduce"
        )
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on(
            "console",
            lambda message: said.append(message.text) if "load resource" not in message.text else None,
        )
        page.on("request", lambda request: asked.append(request.url))
        page.goto(address)
        page.wait_for_selector("html[data-ready]")
        planned(page)
        return page

    yield open_page
    for context in contexts:
        context.close()

    assert said == []
    assert all(url.startswith(("http://127.0.0.1:", "blob:", "data:")) for url in asked)
