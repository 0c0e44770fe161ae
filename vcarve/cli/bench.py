"""``mizo bench``: a page on which a job is tried out, served to this machine alone."""

from __future__ import annotations

import errno
import os
import signal
import socket
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vcarve.cli.terminal import echo
from vcarve.errors import InputError, Problem

if TYPE_CHECKING:
    from vcarve.serve.guard import App

ADDRESS = "127.0.0.1"
USUAL_PORT = 8471  # always the same where it is free: a browser keeps what a page remembers by its address


@click.command("bench", epilog="Example: mizo bench trivet.yaml")
@click.argument("job", metavar="[JOB.yaml]", required=False)
@click.option("--no-open", is_flag=True, help="Print the address, but open no browser.")
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    help=f"The port to listen on.  [default: {USUAL_PORT}, or a free one]",
)
def bench(job: str | None, no_open: bool, port: int | None) -> None:
    """Open a page in the browser: try numbers, see the piece, or a panel of several, and take the programs away.

    It is served to this machine only. Without JOB.yaml it begins with a first tile; files are read and saved in the folder of the
    job, or else in this one. Ctrl-C ends it.
    """
    import secrets

    from vcarve.job.starters import starter_text
    from vcarve.serve.folder import Folder

    name, text, seen, folder = None, starter_text(), None, Folder(".")
    if job is not None:
        from vcarve.cli.files import taken_as
        from vcarve.files import kind_of

        name = Path(job).name
        named = _named(job)
        folder = Folder(Path(job).parent, *named)
        with taken_as("panel" if kind_of(job) == "panel" else "job", job):
            text, seen = folder.open(name)
    listening = _listening(port)
    from vcarve.serve.app import Bench

    serving = Bench(folder, text=text, file=name, seen=seen)
    try:
        token = secrets.token_urlsafe(32)
        at = int(listening.getsockname()[1])
        address = f"http://{ADDRESS}:{at}/{token}/"
        echo(f"The bench page{f' of {name}' if name else ''}: {address}")
        echo("It is there for this machine only. Ctrl-C ends it.")
        _serve(serving.app(token, at), listening, None if no_open else address)
    finally:
        serving.close()
    echo("The bench page has ended; what was saved is in its files.")


def _named(job: str) -> tuple[str, ...]:
    """Return the files that a job names: the user chose them with it, wherever they are."""
    from vcarve.job.panel import load_either

    with suppress(InputError):
        return load_either(job).files
    return ()


def _listening(port: int | None) -> socket.socket:
    """Return a socket that listens on this machine's own address."""
    found = socket.socket()
    if sys.platform == "win32":  # there the other option would let two programs share a port
        found.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
    else:
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        try:
            found.bind((ADDRESS, port or USUAL_PORT))
        except OSError:
            if port:
                raise
            found.bind((ADDRESS, 0))
        found.listen(128)
    except OSError as error:
        found.close()
        why = {
            errno.EADDRINUSE: "another program listens there",
            errno.EACCES: "not allowed to listen there",
        }.get(error.errno or 0, (error.strerror or str(error)).lower())
        want = f"{why}; give another port, or leave --port out to get a free one"
        raise InputError(Problem(key="--port", value=str(port), want=want)) from None
    return found


def _serve(app: App, listening: socket.socket, address: str | None) -> None:
    """Serve until Ctrl-C; open the address in a browser, if any."""
    import asyncio

    import uvicorn

    from vcarve.serve.app import served

    ended: list[int] = []

    class Server(uvicorn.Server):
        """A server that Ctrl-C, and whoever asks it to end, ends between answers: raised in one, an end would be lost."""

        @contextmanager
        def capture_signals(self) -> Iterator[None]:
            former = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
            for number, handler in former.items():
                if handler is not signal.SIG_IGN:  # else whoever started us wants none of it
                    signal.signal(number, self.end)
            try:
                yield
            finally:
                for number, handler in former.items():
                    signal.signal(number, handler)

        def end(self, number: int, frame: object) -> None:
            """End as soon as what is under way is answered; asked once more, at once."""
            self.force_exit = self.should_exit
            self.should_exit = True
            ended.append(number)

    if address is not None:
        threading.Thread(target=_opened, args=(address,), daemon=True).start()
    asyncio.run(Server(served(app)).serve([listening]))
    if signal.SIGTERM in ended:
        signal.raise_signal(signal.SIGTERM)


def _opened(address: str) -> None:
    """Open an address in the browser, or say that there is none."""
    import webbrowser

    # Without a screen a browser would take the terminal.
    screen = sys.platform in ("win32", "darwin") or any(
        os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER")
    )
    if not screen or not webbrowser.open(address):
        echo("No browser was found: open the address in one.")
