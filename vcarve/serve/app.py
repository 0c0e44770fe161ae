"""What the page asks of the server, each request a function: it knows the folder and two processes, and no job."""

from __future__ import annotations

import asyncio
import base64
import json
import threading
import traceback
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import suppress
from functools import cache
from typing import Any
from urllib.parse import quote

import anyio
import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from vcarve import __version__
from vcarve.drawing.read import LARGEST_FILE
from vcarve.errors import InputError, InternalError, Problem
from vcarve.job.bench import names
from vcarve.job.document import LARGEST_BYTES
from vcarve.job.panel import Panel
from vcarve.pattern.model import pattern
from vcarve.resume import BREAKS
from vcarve.serve.folder import JOBS, ChangedError, Folder
from vcarve.serve.form import choices, form
from vcarve.serve.guard import LARGEST_BODY, App, Guard
from vcarve.serve.look import problem_told
from vcarve.serve.work import DRAWINGS, TAKEN, UNPLANNED, GivenUpError, Worker
from vcarve.view.bench import bench_css, bench_html, bench_js
from vcarve.view.page import json_of
from vcarve.view.pattern import pattern_picture

LARGEST_PROGRAM = (
    16 * 2**20
)  # that broke off; in base64, with a job beside it, it is less than half as much again
# A picture brings its own style.
PICTURE = "default-src 'none'; style-src 'unsafe-inline'"

Answer = Callable[[Request], Awaitable[Response]]


def served(app: App) -> uvicorn.Config:
    """Return how an application is served: nothing is said of requests, and nothing of what serves them."""
    return uvicorn.Config(
        app,
        http="h11",
        ws="none",
        lifespan="off",
        log_config=None,
        log_level="critical",
        access_log=False,
        server_header=False,
        date_header=False,
        proxy_headers=False,
        timeout_graceful_shutdown=1,
    )


class Bench:
    """The page's server: a folder, a process that plans, and one for all that does not wait for a plan."""

    def __init__(self, folder: Folder, *, text: str, file: str | None, seen: str | None) -> None:
        self.folder, self.looker, self.planner = folder, Worker(folder), Worker(folder)
        self.first = {"text": text, "file": file, "seen": seen}
        # While the browser opens, what it asks for first is made for the first time.
        threading.Thread(target=self._warm, daemon=True).start()

    def close(self) -> None:
        """End the processes."""
        for one in (self.looker, self.planner):
            one.close()

    def app(self, token: str, port: int, **patience: float) -> App:
        """Return the application, behind its guard."""
        routes = [
            Route("/", self.page),
            Route("/bench.css", self.style),
            Route("/bench.js", self.script),
            Route("/thumb/{name}.svg", _told(self.thumb)),
            Route("/start", _told(self.start)),
            *(
                Route(f"/{answer.__name__}", _told(answer), methods=["POST"])
                for answer in (
                    self.look,
                    self.plan,
                    self.take,
                    self.save,
                    self.open,
                    self.drop,
                    self.rest,
                    self.fit,
                )
            ),
        ]
        larger = {"/drop": LARGEST_FILE, "/rest": LARGEST_PROGRAM * 3 // 2 + LARGEST_BODY}
        return Guard(Starlette(routes=routes), token=token, port=port, larger=larger, **patience)

    async def page(self, request: Request) -> Response:
        """Return the page, which asks for all the rest."""
        return Response(bench_html(), media_type="text/html; charset=utf-8")

    async def style(self, request: Request) -> Response:
        """Return the page's style."""
        return Response(bench_css(), media_type="text/css")

    async def script(self, request: Request) -> Response:
        """Return the page's script."""
        return Response(bench_js(), media_type="text/javascript")

    async def thumb(self, request: Request) -> Response:
        """Return the picture of a pattern that comes with Mizo."""
        name = request.path_params["name"]
        if name not in names("pattern"):
            raise InputError(Problem(value=name, want="there is no such pattern"))
        drawn = await anyio.to_thread.run_sync(_thumb, name)
        headers = {"content-security-policy": PICTURE, "cache-control": "private, max-age=86400"}
        return Response(drawn, media_type="image/svg+xml", headers=headers)

    async def start(self, request: Request) -> Response:
        """Return the job to begin with, as it is on the disk now, and what can be said and chosen in a job."""
        first = self.first
        if (file := first["file"]) is not None:
            try:
                text, seen = await anyio.to_thread.run_sync(self.folder.open, file)
                first = first | {"text": text, "seen": seen}
            except InputError:  # taken away since, or spoiled: saving will ask
                first = first | {"seen": None}
        told = {
            "folder": self.folder.path,
            "forms": {"job": form(), "panel": form(Panel)},
            "choices": choices(),
            "version": __version__,
        }
        return JSONResponse(first | told | {"largest_program": LARGEST_PROGRAM})

    async def look(self, request: Request) -> Response:
        """Change keys of a job's text, and show what comes of it."""
        given = await _given(request, text=str, edits=list)
        about = given["text"], _edits(given), given.get("brief") is True
        told = await _asked(request, self.looker, "look", *about)
        return Response(told, media_type="application/json")

    def _warm(self) -> None:
        with suppress(Exception):  # it is told when it is asked for
            self.looker.ask("look", self.first["text"], [])
            choices()

    async def plan(self, request: Request) -> Response:
        """Return the stages of a plan as they are done, each in a line, and at last the program; given up when nobody listens."""
        given = await _given(request, text=str)
        loop, lines = asyncio.get_running_loop(), asyncio.Queue[bytes | None]()
        stop = threading.Event()

        def tell(line: bytes | None) -> None:
            with suppress(RuntimeError):  # the server has ended before the plan
                loop.call_soon_threadsafe(lines.put_nowait, line)

        def plan() -> None:
            try:
                done = self.planner.ask(
                    "plan",
                    given["text"],
                    _name(given),
                    tell=lambda stage, share: tell(_line({"stage": stage, "share": share})),
                    stop=stop,
                )
                tell(b'{"done":' + done + b"}\n")
            except InputError as error:
                tell(_line(_problems(error)))
            except GivenUpError:
                pass  # nobody listens
            except Exception as error:
                tell(_line({"want": _fault(error)}))
            finally:
                tell(None)

        async def told() -> AsyncIterator[bytes]:
            try:
                while (line := await lines.get()) is not None:
                    yield line
            finally:
                stop.set()

        threading.Thread(target=plan, daemon=True).start()
        return StreamingResponse(told(), media_type="application/x-ndjson")

    async def take(self, request: Request) -> Response:
        """Return a file to take away."""
        given = await _given(request, text=str, what=str)
        if given["what"] not in TAKEN:
            raise InputError(Problem(value=given["what"], want=f"one of {', '.join(TAKEN)} is wanted"))
        worker = self.looker if given["what"] in UNPLANNED else self.planner
        name, data = await _asked(request, worker, "take", given["text"], given["what"], _name(given))
        # As it is downloaded, what a page or a picture holds is not run here.
        headers = {
            "content-disposition": f"attachment; filename*=UTF-8''{quote(name)}",
            "content-security-policy": "sandbox; default-src 'none'",
        }
        return Response(data, media_type=TAKEN[given["what"]][1], headers=headers)

    async def save(self, request: Request) -> Response:
        """Write a job file, unless it has changed since it was seen."""
        given = await _given(request, text=str, name=str)
        seen, over = given.get("seen"), given.get("over") is True
        text, name = given["text"], given["name"]
        seen = await anyio.to_thread.run_sync(lambda: self.folder.save(text, name, seen, over=over))
        return JSONResponse({"name": name, "seen": seen})

    async def open(self, request: Request) -> Response:
        """Return a job file of the folder."""
        name = (await _given(request, name=str))["name"]
        text, seen = await anyio.to_thread.run_sync(self.folder.open, name)
        return JSONResponse({"text": text, "file": name, "seen": seen})

    async def drop(self, request: Request) -> Response:
        """Keep a file that was brought, once it has been read without fault; the text of a job is handed back instead."""
        name, data = request.query_params.get("name", ""), await request.body()
        endings = (*JOBS, *DRAWINGS)
        self.folder.place(name, endings)
        if not name.lower().endswith(DRAWINGS) and len(data) > LARGEST_BYTES:
            want = f"too large; files of up to {LARGEST_BYTES // 1024} KiB are taken"
            raise InputError(Problem(value=name, want=want))
        kind = await _asked(request, self.looker, "looked_through", name, data)
        if kind in ("job", "panel", "widths"):
            return JSONResponse({"kind": kind, "name": name, "text": data.decode("utf-8")})
        kept = await anyio.to_thread.run_sync(self.folder.keep, name, data, endings)
        return JSONResponse({"kind": kind, "name": kept})

    async def rest(self, request: Request) -> Response:
        """Return what there is to say of the rest of a program that broke off, and the rest itself."""
        given = await _given(request, program=str, told=str, where=str)
        if given["told"] not in BREAKS:
            raise InputError(Problem(value=given["told"], want=f"one of {', '.join(BREAKS)} is wanted"))
        try:
            data = base64.b64decode(given["program"], validate=True)
        except ValueError:
            raise InputError("a program in base64 is wanted") from None
        name = _name(given) or "program.nc"
        about = _text(given, "text"), name, data, given["told"], given["where"]
        told = await _asked(request, self.looker, "rest", *about)
        return Response(told, media_type="application/json")

    async def fit(self, request: Request) -> Response:
        """Change keys of a table of widths, and return what it says of the bit."""
        given = await _given(request, edits=list, job=str)
        about = _text(given, "text"), _edits(given), given["job"]
        return Response(await _asked(request, self.looker, "fit", *about), media_type="application/json")


async def _asked(request: Request, worker: Worker, what: str, *about: Any) -> Any:
    """Return what a process makes of a request; given up when nobody listens to it any more."""
    stop = threading.Event()

    async def gone() -> None:
        while (await request.receive())["type"] != "http.disconnect":
            pass
        stop.set()

    listening = asyncio.create_task(gone())
    try:
        return await anyio.to_thread.run_sync(lambda: worker.ask(what, *about, stop=stop))
    finally:
        listening.cancel()


@cache
def _thumb(name: str) -> str | bytes:
    return pattern_picture(pattern(name), ".svg")


def _told(answer: Answer) -> Answer:
    """Return an answer that says what is wrong, where something is."""

    async def answered(request: Request) -> Response:
        try:
            return await answer(request)
        except ChangedError as error:
            return JSONResponse({"want": error.problems[0].want}, 409)
        except InputError as error:
            return JSONResponse(_problems(error), 422)
        except GivenUpError:
            return Response(status_code=503)  # nobody listens
        except Exception as error:
            return JSONResponse({"want": _fault(error)}, 500)

    return answered


def _fault(error: Exception) -> str:
    """Tell of a fault of our own; where it failed goes to the terminal."""
    traceback.print_exception(error)
    said = str(error) if isinstance(error, InternalError) else f"{type(error).__name__}: {error}"
    return f"The fault is in Mizo, not in what you wrote; the terminal says where. {said}"


def _problems(error: InputError) -> dict[str, Any]:
    return {"problems": [problem_told(one) for one in error.problems]}


def _line(told: dict[str, Any]) -> bytes:
    return json_of(told).encode() + b"\n"


async def _given(request: Request, **wanted: type) -> dict[str, Any]:
    """Return what a request brings, a JSON object with these keys of these types; raises ``InputError`` for any other."""
    try:
        given = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise InputError("JSON is wanted") from None
    if not isinstance(given, dict):
        raise InputError("a JSON object is wanted")
    for key, kind in wanted.items():
        if not isinstance(given.get(key), kind):
            raise InputError(Problem(key=key, want=f"a {kind.__name__} is wanted"))
    return given


def _edits(given: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the keys that a request changes."""
    edits: list[dict[str, Any]] = given["edits"]
    if not all(isinstance(one, dict) and {"path", "value"} <= one.keys() and one["path"] for one in edits):
        raise InputError("an edit is a path and a value")
    return edits


def _text(given: dict[str, Any], key: str) -> str | None:
    """Return a text that may be left out."""
    return given[key] if isinstance(given.get(key), str) else None


def _name(given: dict[str, Any]) -> str | None:
    """Return the name of the job's file, where it has one."""
    name = given.get("file")
    plain = isinstance(name, str) and name.isprintable() and not set("/\\") & set(name)
    return name or None if plain else None
