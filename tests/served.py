"""The bench page's server, as the tests ask it: on a real socket, with requests as any program could send them."""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import uvicorn

from vcarve.job.starters import starter_text
from vcarve.serve.app import Bench
from vcarve.serve.app import served as configured
from vcarve.serve.folder import Folder

TOKEN = "right-token"
PATIENCE_S = 60.0  # with what has been asked to end
SMALL = """\
# a small piece
piece: {width: 40 mm, height: 40 mm, thickness: 9 mm, wood: beech}
title: small
pattern: {name: asanoha, pitch: 20 mm}
groove: {depth: 0.8 mm}
bit: v60-3.175
machine: small-desktop
"""


class Answer(NamedTuple):
    """What the server has answered: status, header fields in small letters, and the body."""

    status: int
    head: dict[str, str]
    body: bytes

    @property
    def told(self) -> Any:
        """The body, read as JSON."""
        return json.loads(self.body)

    @property
    def wants(self) -> str:
        """Every sentence of what is wrong."""
        return (
            self.told["want"]
            if "want" in self.told
            else " ".join(one["want"] for one in self.told["problems"])
        )


@dataclass
class Served:
    """A server that runs: where it listens, its token, its folder."""

    port: int
    token: str
    folder: Path
    process: subprocess.Popen[str] | None = field(default=None)

    @property
    def host(self) -> str:
        """The address as browsers name it."""
        return f"127.0.0.1:{self.port}"

    def ask(self, what: str, given: Any = None, **head: str | None) -> Answer:
        """Send a request as the page does: a POST of JSON or bytes, or a GET; ``head`` has other fields, ``None`` for none."""
        fields = {"Host": self.host} | ({} if given is None else {"Origin": f"http://{self.host}"})
        fields |= {name.replace("_", "-"): value for name, value in head.items() if value is not None}
        for name in [name.replace("_", "-") for name, value in head.items() if value is None]:
            fields.pop(name)
        body = given if given is None or isinstance(given, bytes) else json.dumps(given).encode()
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        line.putrequest(
            "GET" if given is None else "POST",
            f"/{self.token}/{what}",
            skip_host=True,
            skip_accept_encoding=True,
        )
        for name, value in fields.items():
            line.putheader(name, value)
        if body is not None:
            line.putheader("Content-Length", str(len(body)))
        line.endheaders(body)
        found = line.getresponse()
        answer = Answer(found.status, {k.lower(): v for k, v in found.getheaders()}, found.read())
        line.close()
        return answer

    def end(self, number: int = signal.SIGINT) -> str:
        """Ask the process to end, and return what it has said until it did; one that goes on is a failure, and killed."""
        assert self.process is not None
        assert self.process.stdout is not None
        late = threading.Timer(PATIENCE_S, self.process.kill)
        late.start()
        self.process.send_signal(number)
        said = self.process.stdout.read()  # what came with the address has been read ahead, and is in it
        self.process.wait()
        late.cancel()
        return said

    def raw(self, *parts: bytes, pause_s: float = 0.0) -> bytes:
        """Send bytes as they are, each part after a pause, and return all that comes back until the server closes."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=60) as line:
            try:
                for part in parts:
                    line.sendall(part)
                    time.sleep(pause_s)
            except OSError:
                pass  # it has closed already
            got = b""
            try:
                while more := line.recv(65536):
                    got += more
            except ConnectionResetError:
                pass
            return got


@contextmanager
def served(folder: Path, *, body_s: float = 10.0) -> Iterator[Served]:
    """Serve a folder from a thread."""
    folder = folder.resolve()
    listening = socket.create_server(("127.0.0.1", 0))
    port = listening.getsockname()[1]
    place = Folder(folder)
    bench = Bench(place, text=starter_text(), file=None, seen=None)
    server = uvicorn.Server(configured(bench.app(TOKEN, port, body_s=body_s)))
    thread = threading.Thread(target=server.run, args=([listening],), daemon=True)
    thread.start()
    try:
        yield Served(port, TOKEN, folder)
    finally:
        server.should_exit = True
        thread.join()
        bench.close()


@contextmanager
def command(folder: Path, *words: str) -> Iterator[Served]:
    """Run ``mizo bench`` in a folder until the block ends."""
    process = subprocess.Popen(
        [sys.executable, "-m", "vcarve", "bench", "--no-open", *words],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
    )
    assert process.stdout is not None
    said = ""
    while not (found := re.search(r"http://127\.0\.0\.1:(\d+)/([\w-]+)/", said)):
        line = process.stdout.readline()
        assert line, said
        said += line
    try:
        yield Served(int(found[1]), found[2], folder, process)
    finally:
        process.kill()
        process.wait()
        process.stdout.close()
