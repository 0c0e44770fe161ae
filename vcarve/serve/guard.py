"""What stands before every request: only this machine's own page, by the token in its address, and only so much, so soon.

A page of another site that the same browser shows can send requests here, and another name can be made to lead here; neither
knows the token, and neither comes with this address as ``Host`` and ``Origin``.
"""

from __future__ import annotations

import asyncio
import hmac
import json
import time
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

LARGEST_BODY = 2**20
BODY_S = 10.0  # within which a body has to be there
METHODS = ("GET", "HEAD", "POST")
# Scripts and styles come from here alone, and nothing on the page may go elsewhere; pictures may also be made by the page.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "cache-control": "no-store",
}


class _Refused(Exception):
    """A request that goes no further: the status it is answered with, and a sentence."""

    def __init__(self, status: int, want: str) -> None:
        super().__init__(want)
        self.status = status


class Guard:
    """An application behind the guard: it sees paths without the token, and bodies whole.

    ``port`` is the one it is reached by, ``larger`` has the largest body in bytes of those paths that take more than usual.
    """

    def __init__(
        self, app: App, *, token: str, port: int, larger: dict[str, int], body_s: float = BODY_S
    ) -> None:
        self.app, self.token, self.larger, self.body_s = app, token.encode(), larger, body_s
        self.hosts = {f"{name}:{port}".encode() for name in ("127.0.0.1", "localhost")}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] != "http":
            return  # nothing else is offered: a web socket is closed by the server

        async def headed(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                given = {name.lower() for name, _ in message["headers"]}
                own = ((name.encode(), value.encode()) for name, value in HEADERS.items())
                missing = [(name, value) for name, value in own if name not in given]
                message = {**message, "headers": [*message["headers"], *missing]}
            await send(message)

        try:
            path = self._path(scope)
            body = await self._body(scope, receive, self.larger.get(path, LARGEST_BODY))
        except _Refused as refused:
            await _answer(headed, refused.status, str(refused))
            return
        told = False

        async def whole() -> MutableMapping[str, Any]:
            nonlocal told
            if told:
                return await receive()  # that the browser has gone
            told = True
            return {"type": "http.request", "body": body, "more_body": False}

        inner = {**scope, "path": path, "raw_path": path.encode(), "root_path": ""}
        await self.app(inner, whole, headed)

    def _path(self, scope: Scope) -> str:
        """Return the path behind the token of a request that comes from the page; raises ``_Refused`` for any other."""
        named = [value.lower() for name, value in scope["headers"] if name == b"host"]
        if len(named) != 1 or named[0] not in self.hosts:
            raise _Refused(403, "This address is not the one that mizo bench has printed.")
        origins = [value.lower() for name, value in scope["headers"] if name == b"origin"]
        ours = [b"http://" + named[0]]
        if origins != ours and (origins or scope["method"] not in ("GET", "HEAD")):
            raise _Refused(403, "Only the page that mizo bench has opened may ask for this.")
        token, slash, rest = scope["path"].removeprefix("/").partition("/")
        if not slash or not hmac.compare_digest(token.encode("utf-8", "replace"), self.token):
            raise _Refused(403, "The address is not whole: open the one that mizo bench has printed.")
        if scope["method"] not in METHODS:
            raise _Refused(405, f"{scope['method']} is not taken.")
        return f"/{rest}"

    async def _body(self, scope: Scope, receive: Receive, most: int) -> bytes:
        """Return a body that is no larger than ``most`` and there in time; raises ``_Refused`` for any other."""
        want = f"Too large: {most:,} bytes are the most."
        told = next((value for name, value in scope["headers"] if name == b"content-length"), b"0")
        if not told.isdigit() or int(told[:20]) > most:
            raise _Refused(413, want)
        end = time.monotonic() + self.body_s
        parts, size, more = list[bytes](), 0, True
        while more:
            try:
                message = await asyncio.wait_for(receive(), end - time.monotonic())
            except TimeoutError:
                raise _Refused(408, "What was sent did not come to its end in time.") from None
            if message["type"] == "http.disconnect":
                raise _Refused(400, "What was sent is not whole.")
            parts.append(message.get("body", b""))
            size, more = size + len(parts[-1]), message.get("more_body", False)
            if size > most:
                raise _Refused(413, want)
        return b"".join(parts)


async def _answer(send: Send, status: int, want: str) -> None:
    """Refuse a request in a sentence, and have the connection closed: what else it brings is not read."""
    body = json.dumps({"want": want}).encode()
    headers = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
