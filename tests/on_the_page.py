"""The bench page in a browser, as the tests drive it: what is waited for, pressed, dropped and taken away."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

SIZES = {"desk": (1440, 900), "small": (1024, 768), "hand": (390, 844)}
JOB = """\
# The lid of a small box.
piece: {width: 60 mm, height: 40 mm, thickness: 9 mm, wood: cherry-black}   # planed on Monday
title: lid

pattern: {name: asanoha, pitch: 20 mm, edge: plain}
groove:
  depth: 0.8 mm   # try 0.9
bit: v60-3.175
machine: small-desktop
"""

Opener = Callable[..., Any]


def planned(page: Any) -> None:
    """Wait until the plan is that of the numbers."""
    page.wait_for_selector("html[data-look=shown][data-plan=done]", timeout=30_000)


def field(page: Any, path: str) -> Any:
    """Return the control of a key."""
    return page.locator(f"[data-path='{path}'] >> input, select, button.choice").first


def answer(page: Any, label: str, row: str = "dd:not(.kept)") -> str:
    """Return one of the answers under the piece, by the beginning of its label."""
    return str(page.locator(f"#answers [data-label^='{label}'] {row} .told").inner_text()).replace(
        "\u00a0", " "
    )


def download(page: Any, button: str) -> tuple[str, bytes]:
    """Press a button that hands a file over; return its name and what is in it."""
    with page.expect_download() as caught:
        page.click(button)
    return caught.value.suggested_filename, Path(caught.value.path()).read_bytes()


def drop(page: Any, name: str, content: str) -> None:
    """Let a file go over the page."""
    page.evaluate(
        """([name, content]) => {
            const data = new DataTransfer();
            data.items.add(new File([content], name));
            const about = { dataTransfer: data, bubbles: true, cancelable: true };
            for (const kind of ["dragover", "drop"]) document.body.dispatchEvent(new DragEvent(kind, about));
        }""",
        [name, content],
    )


def mizo(folder: Path, *arguments: str) -> subprocess.CompletedProcess[bytes]:
    """Run the command in a folder."""
    return subprocess.run(
        [sys.executable, "-m", "vcarve", *arguments], cwd=folder, capture_output=True, check=False
    )


def until(page: Any, script: str, about: object = None) -> None:
    """Wait until a script says yes; the page's policy keeps the browser from doing so by itself."""
    for _ in range(400):
        if page.evaluate(script, about):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"{about}: {page.locator('dialog[open]').all_inner_texts()}")
