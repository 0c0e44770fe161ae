"""A process that works for the page, so that it stays quick: asked from a thread, given up at once, started anew where it hangs.

What it does is in ``serve.desk``.
"""

from __future__ import annotations

import os
import pickle
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from vcarve.errors import InputError
from vcarve.serve.folder import Folder

Tell = Callable[[str, float], None]

PATIENCE_S = 0.3  # for work to be given up, before its process is ended
LOOK_ROUND_S = 0.02
DRAWINGS = (".svg", ".dxf")
# What may be taken away -> how its file's name ends, and its type.
PLAIN = "text/plain; charset=utf-8"
TAKEN = {
    "page": (".html", "text/html; charset=utf-8"),
    "picture": (".svg", "image/svg+xml"),
    "carved": (".png", "image/png"),
    "lines-svg": ("-lines.svg", "image/svg+xml"),
    "lines-dxf": ("-lines.dxf", "image/vnd.dxf"),
    "trace": ("-trace.nc", PLAIN),
    "air": ("-in-the-air.nc", PLAIN),
    "probe": ("-probe.nc", PLAIN),
    "coupon": ("-coupon.nc", PLAIN),
    "coupon-sheet": ("-coupon.html", "text/html; charset=utf-8"),
    "panel": (".zip", "application/zip"),
    "coupon-table": ("-widths.yaml", PLAIN),
    "cut-out": ("-cut-out.nc", PLAIN),
    "solid": (".3mf", "model/3mf"),
}
# What is taken away without the job's own plan.
UNPLANNED = {what for what in TAKEN if what.startswith(("lines", "trace", "probe", "coupon"))}
AIR_MM = 10.0  # how high above the wood the whole program is shown


class GivenUpError(Exception):
    """What was asked for is not wanted any more."""


class Worker:
    """The process, as it is asked: one thing at a time, from any thread."""

    def __init__(self, folder: Folder) -> None:
        self._where = (folder.path, *folder.named)
        self._asking = threading.Lock()
        self._number = 0
        self._closed = self._ready = False
        self._said: queue.SimpleQueue[tuple[int, str, Any] | None]
        self._start()

    def ask(
        self, what: str, *about: Any, tell: Tell | None = None, stop: threading.Event | None = None
    ) -> Any:
        """Return what the process makes of a question: one of the functions of ``desk.Desk`` by its name.

        ``tell`` is told each stage and share.  Raises what the function raises, and ``GivenUpError`` soon after ``stop`` is set.
        """
        stopped = stop or threading.Event()
        while not self._asking.acquire(timeout=LOOK_ROUND_S):
            if stopped.is_set():
                raise GivenUpError
        try:
            self._number += 1
            self._send(self._number, what, about)
            return self._answer(self._number, tell, stopped)
        except (EOFError, OSError):
            if self._closed:
                raise GivenUpError from None
            self._anew()
            want = "working this out has ended before its time, as where the memory does not suffice; try fewer lines"
            raise InputError(want) from None
        finally:
            self._asking.release()

    def close(self) -> None:
        """End the process."""
        self._closed = True
        self._end()

    def _end(self) -> None:
        self._process.kill()
        self._listening.join()
        with suppress(OSError):  # what it was still to be told
            self._process.communicate()

    def _send(self, *message: Any) -> None:
        assert self._process.stdin is not None
        pickle.dump(message, self._process.stdin)
        self._process.stdin.flush()

    def _answer(self, number: int, tell: Tell | None, stop: threading.Event) -> Any:
        while True:
            if stop.is_set():
                self._give_up(number)
                raise GivenUpError
            of, kind, told = self._heard(LOOK_ROUND_S)
            if of != number:
                continue  # nothing yet, or of what was given up
            if kind == "done":
                return told
            if kind == "raised":
                raise told
            if tell is not None:
                tell(*told)

    def _heard(self, patience_s: float) -> tuple[int, str, Any]:
        """Return what the process says next; a word of nothing where it says nothing in time."""
        try:
            message = self._said.get(timeout=patience_s)
        except queue.Empty:
            return 0, "", None
        if message is None:
            raise EOFError
        self._ready = True
        return message

    def _give_up(self, number: int) -> None:
        """Have the process give up; what does not answer is ended, unless it is only just starting."""
        self._send(number, "stop", ())
        end = time.monotonic() + PATIENCE_S
        while self._ready:
            of, kind, _ = self._heard(max(end - time.monotonic(), LOOK_ROUND_S))
            if of == number and kind != "at":
                return
            if time.monotonic() >= end:
                self._anew()

    def _anew(self) -> None:
        self._end()
        if not self._closed:
            self._start()

    def _start(self) -> None:
        # In a group of its own it does not hear the terminal's Ctrl-C: it ends with this process.  Modules are taken from where
        # this one has them, and never from the folder that is worked in.
        apart: dict[str, Any] = {"start_new_session": True}
        if sys.platform == "win32":
            apart = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
        self._ready = False
        self._process = process = subprocess.Popen(
            [sys.executable, "-P", "-c", "from vcarve.serve.desk import main; main()", *self._where],
            env=os.environ | {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            **apart,
        )
        said: queue.SimpleQueue[tuple[int, str, Any] | None] = queue.SimpleQueue()
        self._said = said

        def listen() -> None:
            assert process.stdout is not None
            with suppress(EOFError, OSError, ValueError, pickle.UnpicklingError):
                while True:
                    said.put(pickle.load(process.stdout))
            said.put(None)

        self._listening = threading.Thread(target=listen, daemon=True)
        self._listening.start()
