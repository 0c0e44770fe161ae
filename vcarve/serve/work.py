"""The one process that plans, so that the page stays quick: asked from a thread, given up at once, started anew where it hangs.

It keeps the last program it has made, with the text and the state of the files that it was made from: what is taken away is not
planned again.
"""

from __future__ import annotations

import json
import os
import pickle
import queue
import re
import subprocess
import sys
import tempfile
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from vcarve.errors import InputError, InternalError, MizoError, Problem

if TYPE_CHECKING:
    from vcarve.job.records import Job
    from vcarve.run import Made
    from vcarve.serve.folder import Folder

Tell = Callable[[str, float], None]

PATIENCE_S = 0.3  # for a plan to be given up, before its process is ended
LOOK_ROUND_S = 0.02
TOLD_EACH_S = 0.05
DRAWINGS = (".svg", ".dxf")
# What may be taken away -> the ending of its file, and its type.
TAKEN = {
    "page": (".html", "text/html; charset=utf-8"),
    "picture": (".svg", "image/svg+xml"),
    "carved": (".png", "image/png"),
    "lines-svg": (".svg", "image/svg+xml"),
    "lines-dxf": (".dxf", "image/vnd.dxf"),
}


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
        """Return what the process makes of a question: one of the functions of ``_Bench`` by its name.

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
            [sys.executable, "-P", "-c", "from vcarve.serve.work import main; main()", *self._where],
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


# --- in the process ---


def main() -> None:
    """Answer what is asked on standard input until nobody asks any more."""
    from vcarve.job.document import reading_only

    folder, *named = sys.argv[1:]
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # what anything else prints is no answer
    asked = queue.SimpleQueue[tuple[int, str, Any]]()
    stopped: set[int] = set()

    def listen() -> None:
        with suppress(EOFError, OSError, pickle.UnpicklingError):
            while True:
                message = pickle.load(sys.stdin.buffer)
                if message[1] == "stop":
                    stopped.add(message[0])
                else:
                    asked.put(message)
        os._exit(0)  # whoever asked has ended: whatever is being worked out is of no use

    threading.Thread(target=listen, daemon=True).start()

    def say(*message: Any) -> None:
        pickle.dump(message, answers)
        answers.flush()

    bench = _Bench(folder, stopped, say)
    say(0, "at", ("ready", 0.0))
    with reading_only(folder, *named):
        while True:
            number, what, about = asked.get()
            bench.number = number
            try:
                answer = "done", getattr(bench, what)(*about)
            except (GivenUpError, MizoError) as error:
                answer = "raised", error
            except MemoryError:
                answer = "raised", InputError("the memory does not suffice for this; fewer lines need less")
            except Exception as error:
                traceback.print_exc()
                answer = "raised", InternalError(f"{type(error).__name__}: {error}")
            say(number, *answer)


class _Bench:
    """What the process can do, and the last program it has made."""

    def __init__(self, folder: str, stopped: set[int], say: Callable[..., None]) -> None:
        from vcarve.layout.stages import Kept

        self.folder, self.stopped, self.say = folder, stopped, say
        self.number, self.told_s = 0, 0.0
        self.kept = Kept()
        self.made: dict[object, Made] = {}

    def plan(self, text: str, file: str | None) -> bytes:
        """Return, as JSON, what the page is told of the program of a job's text."""
        from vcarve.serve.look import planned

        made = self._made(text)
        return _json(planned(made, f"{_stem(made.job, file)}.nc"))

    def take(self, text: str, what: str, file: str | None) -> tuple[str, bytes]:
        """Return a file to take away, as the commands write it, and its name."""
        from vcarve.drawn import draw
        from vcarve.layout.stages import lay_out
        from vcarve.serve.look import job_of

        ending, _ = TAKEN[what]
        if what.startswith("lines"):
            layout = lay_out(job_of(text, self.folder), self.kept)
            return f"{_stem(layout.job, file)}-lines{ending}", draw(layout, ending)
        made = self._made(text)
        stem = _stem(made.job, file)
        return f"{stem}{ending}", draw(replace(made, file=f"{stem}.nc"), ending)

    def looked_through(self, name: str, data: bytes) -> str:
        """Return what kind of file was brought; raises ``InputError`` for one that cannot be read, or is of no use here."""
        from vcarve.files import kind_of
        from vcarve.job.bench import load_machine
        from vcarve.job.document import read_document, reading_only

        with tempfile.TemporaryDirectory() as folder, reading_only(folder), _called(folder):
            path = os.path.join(folder, name)
            Path(path).write_bytes(data)
            if name.lower().endswith(DRAWINGS):
                from vcarve.drawing.read import read_drawing

                read_drawing(path)
                return "drawing"
            kind = kind_of(path)
            if kind == "machine":
                load_machine(path)
            elif kind == "pattern":
                from vcarve.pattern.model import pattern

                pattern(path)
            elif kind == "job":
                read_document(path)
            else:
                want = "neither a job, a machine nor a pattern: none of their keys stand in it"
                raise InputError(Problem(value=name, want=want))
        return kind

    def _made(self, text: str) -> Made:
        """Return the program of a text; the last one where neither the text nor a file that it names has changed."""
        from vcarve.layout.stages import lay_out
        from vcarve.pipeline import plan_program
        from vcarve.serve.look import job_of

        job = job_of(text, self.folder)
        known = (text, tuple(_state(path) for path in job.files))
        if known not in self.made:
            self._tell("laying out", 0.0)
            made = plan_program(lay_out(job, self.kept), progress=self._tell)
            self.made = {known: made}
        return self.made[known]

    def _tell(self, stage: str, share: float) -> None:
        """Say how far the plan is, and give it up where it is not wanted any more."""
        if self.number in self.stopped:
            raise GivenUpError
        if (now := time.monotonic()) - self.told_s >= TOLD_EACH_S:
            self.told_s = now
            self.say(self.number, "at", (stage, share))


def _json(told: Any) -> bytes:
    return json.dumps(told, allow_nan=False, separators=(",", ":")).encode()


def _stem(job: Job, file: str | None) -> str:
    """Return what files of a job are called: after its own, or after its title."""
    if file:
        return Path(file).stem
    return "-".join(re.findall(r"[a-z0-9]+", job.title.lower()))[:60] or "tile"


def _state(path: str) -> tuple[int, ...]:
    with suppress(OSError):
        found = os.stat(path)
        return found.st_mtime_ns, found.st_size, found.st_ino
    return ()


@contextmanager
def _called(folder: str) -> Iterator[None]:
    """Tell problems of a file by its name alone: the folder it lies in is ours, and soon gone."""
    try:
        yield
    except InputError as error:
        told = [replace(one, file=one.file and os.path.basename(one.file)) for one in error.problems]
        raise InputError(told) from None
