"""In a process that works for the page: questions from standard input are answered one by one, and given up once not wanted.

It keeps the last program it has made, with the text and the state of the files that it was made from: what is taken away is not
planned again.
"""

from __future__ import annotations

import os
import pickle
import queue
import re
import sys
import tempfile
import threading
import time
import traceback
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, TypeVar
from unicodedata import normalize

from vcarve.coupon.strip import lay_strip, strip_of
from vcarve.drawing.read import read_drawing
from vcarve.drawn import draw
from vcarve.errors import InputError, InternalError, MizoError, Problem, RefusedError, grouped, refuses
from vcarve.files import kind_of
from vcarve.job.bench import load_machine
from vcarve.job.document import read_document, reading_only
from vcarve.job.panel import Panel, kind_in
from vcarve.job.record import record_from
from vcarve.job.records import Job
from vcarve.layout.findings import job_findings
from vcarve.layout.stages import Kept, Layout, file_state, lay_out
from vcarve.pattern.model import pattern
from vcarve.pipeline import air_program, plan_panel, plan_program, probe_program, trace_program, write_program
from vcarve.run import Made, PanelMade
from vcarve.serve.edit import edited, read
from vcarve.serve.look import job_of, looked, planned
from vcarve.serve.panels import packed, panel_planned
from vcarve.serve.work import AIR_MM, DRAWINGS, TAKEN, GivenUpError
from vcarve.solid.assembly import panel_parts, piece_parts
from vcarve.solid.files import solids_file
from vcarve.solid.model import Part
from vcarve.solid.piece import TOLERANCE_MM
from vcarve.view.coupon import coupon_sheet, table_yaml
from vcarve.view.page import json_of
from vcarve.view.panel import all_findings, bars_of

TOLD_EACH_S = 0.05
Result = TypeVar("Result")


def main() -> None:
    """Answer what is asked on standard input until nobody asks any more."""
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

    desk = Desk(folder, stopped, say)
    say(0, "at", ("ready", 0.0))
    with reading_only(folder, *named):
        while True:
            number, what, about = asked.get()
            desk.number = number
            try:
                if number in stopped:  # while it waited
                    raise GivenUpError
                answer = "done", getattr(desk, what)(*about)
            except (GivenUpError, MizoError) as error:
                answer = "raised", error
            except MemoryError:
                answer = "raised", InputError("the memory does not suffice for this; fewer lines need less")
            except Exception as error:
                traceback.print_exc()
                answer = "raised", InternalError(f"{type(error).__name__}: {error}")
            say(number, *answer)


class Desk:
    """What the process can do, and the last program it has made."""

    def __init__(self, folder: str, stopped: set[int], say: Callable[..., None]) -> None:
        self.folder, self.stopped, self.say = folder, stopped, say
        self.number, self.told_s = 0, 0.0
        self.kept = Kept()
        self.made: dict[object, Any] = {}

    def look(self, text: str, edits: list[dict[str, Any]], brief: bool = False) -> bytes:
        """Return, as JSON, what the page is told at once of a job's text after edits; ``brief``: of the text alone."""
        return json_of(looked(text, edits, folder=self.folder, kept=None if brief else self.kept)).encode()

    def plan(self, text: str, file: str | None) -> bytes:
        """Return, as JSON, what the page is told of the program of a job's text."""
        if kind_in(read(text).tree) == "panel":
            every = self._panel(text)
            name = f"{_stem(every.laid.panel.title, file, 'panel')}.zip"
            return json_of(panel_planned(every, name)).encode()
        made = self._made(text)
        return json_of(planned(made, f"{_stem(made.job.title, file)}.nc")).encode()

    def take(self, text: str, what: str, file: str | None) -> tuple[str, bytes]:
        """Return a file to take away, as the commands write it, and its name."""
        ending, _ = TAKEN[what]
        kind = f".{ending.rsplit('.', 1)[1]}"
        if kind_in(read(text).tree) == "panel":
            return self._of_panel(text, what, file, ending, kind)
        if what == "probe":
            text = edited(text, "surface", None)  # the top may be of any height as yet
        layout = lay_out(job_of(text, self.folder), self.kept)
        stem = _stem(layout.job.title, file)
        name = f"{stem}{ending}"
        match what:
            case "lines-svg" | "lines-dxf":
                return name, draw(layout, kind)
            case "trace" | "probe" | "air" | "cut-out" | "coupon" | "coupon-sheet" | "coupon-table":
                with _answered():
                    return name, self._for_the_bench(text, layout, what).encode()
            case "solid":
                return name, _solids(partial(piece_parts, layout), (layout,), layout.job.name)
        return name, draw(replace(self._made(text), file=f"{stem}.nc"), kind)

    def _of_panel(self, text: str, what: str, file: str | None, ending: str, kind: str) -> tuple[str, bytes]:
        """Return a file to take away of a panel: all of its folder, its picture or its sheet."""
        if what not in ("panel", "picture", "page", "solid"):
            raise InputError(Problem(value=what, want="a panel has no such file"))
        made = self._panel(text)
        laid = made.laid
        name = f"{_stem(made.laid.panel.title, file, 'panel')}{ending}"
        if what == "solid":
            return name, _solids(partial(panel_parts, laid, bars_of(laid)), laid.sorts, laid.panel.name)
        if what != "panel":
            return name, draw(made, kind)
        if made.refused:
            with _answered():
                raise RefusedError(all_findings(made))
        return name, packed(made)

    def _for_the_bench(self, text: str, layout: Layout, what: str) -> str:
        """Return what is run before the first cut."""
        match what:
            case "trace":
                return trace_program(layout)[0]
            case "probe":
                return probe_program(layout)[0]
            case "air":
                return air_program(self._made(text), AIR_MM)[0]
            case "cut-out":
                made = self._made(text)
                if made.refused:
                    raise RefusedError(made.told)
                if made.cut_out is None:
                    raise InputError("the job does not say how its piece is cut out ('cut-out')")
                return made.cut_out.text
        return _coupon(layout.job, what)

    def rest(self, text: str | None, name: str, data: bytes, told: str, where: str) -> bytes:
        """Return, as JSON, what the page is told of the rest of a program that broke off; ``text`` is the job on the page."""
        from vcarve.serve.returned import rested

        layout = None
        if text is not None:
            with suppress(InputError):
                layout = lay_out(job_of(text, self.folder), self.kept)
        with _answered():
            return json_of(rested(data, name, told, where, folder=self.folder, layout=layout)).encode()

    def fit(self, text: str | None, edits: list[dict[str, Any]], job: str) -> bytes:
        """Return, as JSON, what a table of widths says of the bit; without a text it is the empty one of the job's coupon."""
        from vcarve.serve.returned import fitted

        if text is None:
            with _answered():
                text = _coupon(job_of(job, self.folder), "coupon-table")
        return json_of(fitted(text, edits)).encode()

    def looked_through(self, name: str, data: bytes) -> str:
        """Return what kind of file was brought; raises ``InputError`` for one that cannot be read, or is of no use here."""
        with tempfile.TemporaryDirectory() as folder, reading_only(folder), _called(folder):
            path = os.path.join(folder, name)
            Path(path).write_bytes(data)
            if name.lower().endswith(DRAWINGS):
                read_drawing(path)
                return "drawing"
            kind = kind_of(path)
            if kind == "machine":
                load_machine(path)
            elif kind == "pattern":
                pattern(path)
            elif kind in ("job", "panel", "widths"):
                read_document(path)
            else:
                want = "neither a job, a panel, a machine, a pattern nor a table of widths: none of their keys stand in it"
                raise InputError(Problem(value=name, want=want))
        return kind

    def _made(self, text: str) -> Made:
        """Return the program of a job's text."""
        job = job_of(text, self.folder)
        return self._once(text, job.files, lambda: plan_program(lay_out(job, self.kept), progress=self._tell))

    def _panel(self, text: str) -> PanelMade:
        """Return the programs of a panel's text."""
        panel = record_from(replace(read(text), folder=self.folder), Panel)
        return self._once(text, panel.files, lambda: plan_panel(panel, self._tell))

    def _once(self, text: str, files: tuple[str, ...], make: Callable[[], Result]) -> Result:
        """Return what was made last, where neither the text nor a file that it names has changed; else what is made now."""
        known = (text, tuple(file_state(".", path) for path in files))
        if known not in self.made:
            self._tell("laying out", 0.0)
            self.made = {known: make()}
        made: Result = self.made[known]
        return made

    def _tell(self, stage: str, share: float) -> None:
        """Say how far the plan is, and give it up where it is not wanted any more."""
        if self.number in self.stopped:
            raise GivenUpError
        if (now := time.monotonic()) - self.told_s >= TOLD_EACH_S:
            self.told_s = now
            self.say(self.number, "at", (stage, share))


def _stem(title: str, file: str | None, usual: str = "tile") -> str:
    """Return what files of a job or a panel are called: after its own, or after its title."""
    if file:
        return Path(file).stem
    plain = normalize("NFKD", title).encode("ascii", "ignore").decode()  # letters without their accents
    return "-".join(re.findall(r"[a-z0-9]+", plain.lower()))[:60] or usual


def _coupon(job: Job, what: str) -> str:
    """Return the program of a coupon, its sheet or its table."""
    strip = strip_of(job)
    made = plan_program(lay_strip(job, strip))
    if what == "coupon":
        return write_program(made)
    return coupon_sheet(made, strip) if what == "coupon-sheet" else table_yaml(made, strip)


def _solids(put_together: Callable[..., list[Part]], layouts: Iterable[Layout], title: str) -> bytes:
    """Return a piece or a panel as a 3MF file."""
    with _answered():
        if refuses(found := tuple(one for layout in layouts for one in job_findings(layout))):
            raise RefusedError(found)
    return solids_file(put_together(tolerance_mm=TOLERANCE_MM), ".3mf", title)


@contextmanager
def _answered() -> Iterator[None]:
    """Tell of a job that must not be cut as of one that is written wrong: there is nothing to take away."""
    try:
        yield
    except RefusedError as error:
        refused = [one for one in error.findings if one.severity == "refuse"]
        raise InputError(Problem(want=group.first.sentence) for group in grouped(refused)) from None


@contextmanager
def _called(folder: str) -> Iterator[None]:
    """Tell problems of a file by its name alone: the folder it lies in is ours, and soon gone."""
    try:
        yield
    except InputError as error:
        told = [replace(one, file=one.file and os.path.basename(one.file)) for one in error.problems]
        raise InputError(told) from None
