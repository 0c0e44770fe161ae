"""Fixtures for every room's tests: the RS-274 interpreter of Debian's ``linuxcnc-uspace``, as an outside judge, and a browser."""

from __future__ import annotations

import fcntl
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from own_font import with_a_font

_CALL = re.compile(r"^\s*\d+ N[0-9.]*\s*([A-Z][A-Z0-9_]*)\((.*)\)\s*$")
_MM_PER_INCH = 25.4
_KINDS = {"STRAIGHT_TRAVERSE": "rapid", "STRAIGHT_FEED": "feed", "STRAIGHT_PROBE": "probe", "ARC_FEED": "arc"}
# Plane -> index among X, Y, Z of the first, second and third figure of ARC_FEED.
_ARC_AXES = {"XY": (0, 1, 2), "XZ": (2, 0, 1), "YZ": (1, 2, 0)}


# Laws tried on hundreds of cases, and jobs made from end to end: with ``@pytest.mark.slow`` on single tests, the slow half.
SLOW = (
    "tests/property/",
    "tests/layout/",
    "tests/test_",
    "tests/serve/test_work.py",
    "tests/serve/test_command.py",
    "tests/serve/test_saving.py",
    "tests/view/test_page_browser.py",
    "tests/view/test_still_browser.py",
    "tests/view/test_gallery.py",
    "tests/serve/test_bench_browser.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark the tests of slow folders and files."""
    for item in items:
        if item.nodeid.startswith(SLOW):
            item.add_marker("slow")


@dataclass(frozen=True, slots=True, kw_only=True)
class CanonicalMove:
    """One motion as the interpreter reports it, in millimetres.

    ``kind`` is ``rapid``, ``feed``, ``probe`` or ``arc``; ``end_mm`` is in work coordinates and ``end_mm`` plus ``offset_mm`` in
    machine coordinates.  ``centre_mm`` has the arc's centre (``None`` along the plane's normal), ``turns`` is
    negative for clockwise arcs.  ``step_mm`` is the resolution of the printed figures.
    """

    kind: str
    end_mm: tuple[float, float, float]
    offset_mm: tuple[float, float, float]
    step_mm: float
    feed_mm_min: float
    centre_mm: tuple[float | None, float | None, float | None] | None = None
    plane: str = "XY"
    turns: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class CanonicalRun:
    """What became of one program: accepted or not, the message, the motions, and every canonical call as printed."""

    accepted: bool
    message: str
    moves: list[CanonicalMove] = field(default_factory=list)
    calls: list[tuple[str, str]] = field(default_factory=list)


def _floats(arguments: str) -> list[float]:
    return [float(part) for part in arguments.replace(",", " ").split()]


def parse_canonical(output: str, accepted: bool) -> CanonicalRun:
    """Turn the interpreter's printed calls into motions."""
    scale, plane, feed = 1.0, "XY", 0.0
    end = [0.0, 0.0, 0.0]
    system, shift, length = [0.0] * 3, [0.0] * 3, [0.0] * 3
    moves: list[CanonicalMove] = []
    calls: list[tuple[str, str]] = []
    rest: list[str] = []
    for line in output.splitlines():
        found = _CALL.match(line)
        if found is None:
            rest.append(line)
            continue
        name, arguments = found.groups()
        calls.append((name, arguments))
        if name == "USE_LENGTH_UNITS":
            scale = {"CANON_UNITS_MM": 1.0, "CANON_UNITS_INCHES": _MM_PER_INCH, "CANON_UNITS_CM": 10.0}[
                arguments
            ]
        elif name == "SELECT_PLANE":
            plane = arguments.removeprefix("CANON_PLANE_")
        elif name == "SET_FEED_RATE":
            feed = float(arguments) * scale
        elif name == "SET_G5X_OFFSET":
            system = [value * scale for value in _floats(arguments)[1:4]]
        elif name == "SET_G92_OFFSET":
            shift = [value * scale for value in _floats(arguments)[:3]]
        elif name == "USE_TOOL_LENGTH_OFFSET":
            length = [value * scale for value in _floats(arguments)[:3]]
        elif name in ("STRAIGHT_TRAVERSE", "STRAIGHT_FEED", "STRAIGHT_PROBE", "ARC_FEED"):
            figures = _floats(arguments)
            centre = None
            turns = 0
            if name == "ARC_FEED":
                first, second, normal = _ARC_AXES[plane]
                end[first], end[second], end[normal] = (figures[i] * scale for i in (0, 1, 5))
                middle: list[float | None] = [None, None, None]
                middle[first], middle[second] = figures[2] * scale, figures[3] * scale
                centre = (middle[0], middle[1], middle[2])
                turns = round(figures[4])
            else:
                end = [value * scale for value in figures[:3]]
            moves.append(
                CanonicalMove(
                    kind=_KINDS[name],
                    end_mm=(end[0], end[1], end[2]),
                    offset_mm=(
                        system[0] + shift[0] + length[0],
                        system[1] + shift[1] + length[1],
                        system[2] + shift[2] + length[2],
                    ),
                    step_mm=1e-4 * scale,
                    feed_mm_min=feed,
                    centre_mm=centre,
                    plane=plane,
                    turns=turns,
                )
            )
    message = "\n".join(line for line in rest if line.strip() and line.strip() != "executing")
    return CanonicalRun(accepted=accepted, message=message, moves=moves, calls=calls)


Interpreter = Callable[[str], CanonicalRun]


@pytest.fixture(scope="session")
def rs274(tmp_path_factory: pytest.TempPathFactory) -> Interpreter:
    """Run a program through ``rs274 -g``; skipped where it is missing, unless MIZO_REQUIRE_RS274=1 makes that a failure."""
    program = shutil.which("rs274")
    if program is None:
        reason = "the RS-274 interpreter (Debian package linuxcnc-uspace) is not installed"
        if os.environ.get("MIZO_REQUIRE_RS274") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    folder: Path = tmp_path_factory.mktemp("rs274")

    def run(text: str) -> CanonicalRun:
        path = folder / "program.ngc"
        path.write_bytes(text.encode("utf-8"))
        # The interpreter keeps shared memory under one fixed name: two at a time kill each other with a bus error.
        with open(Path(tempfile.gettempdir()) / "mizo-tests-rs274.lock", "w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            done = subprocess.run(
                [program, "-b", "-g", path.name], cwd=folder, capture_output=True, timeout=120, check=False
            )
        assert done.returncode >= 0, f"the interpreter was killed by signal {-done.returncode}"
        output = done.stdout.decode("utf-8", "replace") + done.stderr.decode("utf-8", "replace")
        return parse_canonical(output, done.returncode == 0)

    return run


BROWSER = "/usr/bin/chromium"
SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """Yield Debian's Chromium; skipped where it is missing, unless MIZO_REQUIRE_BROWSER=1 makes that a failure."""
    missing = None if Path(BROWSER).exists() or shutil.which("chromium") else f"{BROWSER} is not installed"
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing = "playwright is not installed"
    if missing:
        if os.environ.get("MIZO_REQUIRE_BROWSER") == "1":
            pytest.fail(missing)
        pytest.skip(missing)
    path = BROWSER if Path(BROWSER).exists() else shutil.which("chromium")
    with sync_playwright() as driver:
        program = driver.chromium.launch(
            executable_path=path, args=SWITCHES, env=with_a_font(tmp_path_factory.mktemp("fonts"))
        )
        yield program
        program.close()
