"""Whoever is not the page gets nothing, and the page nothing but its folder: each attack against a server on a real socket."""

from __future__ import annotations

import asyncio
import json
import os
import re
import socket
from collections.abc import Iterator, MutableMapping
from pathlib import Path
from typing import Any

import pytest

from served import SMALL, TOKEN, Served, served
from vcarve.serve.app import LARGEST_PROGRAM
from vcarve.serve.guard import LARGEST_BODY, Guard

ASKED = ("look", "plan", "take", "save", "open", "drop?name=a.svg", "rest", "fit")
EVIL = "<script>alert(1)</script><img src=x onerror=alert(1)>'\"&"
LINES = '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="40mm" viewBox="0 0 40 40">{}<path d="M5 5H35"/></svg>'


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Return a server of a folder beside which lies what nobody may read."""
    around = tmp_path_factory.mktemp("around")
    (around / "secret.yaml").write_text(SMALL.replace("small", "secret"))
    (around / "secret.svg").write_text(LINES.format(""))
    (around / "folder").mkdir()
    with served(around / "folder", body_s=1.0) as found:
        yield found


def untouched(page: Served) -> list[str]:
    """Return what lies in the folder and around it."""
    return sorted(str(path.relative_to(page.folder.parent)) for path in page.folder.parent.rglob("*"))


@pytest.mark.parametrize("what", [None, *ASKED])
@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:{}", "127.0.0.1", "127.0.0.1:1", "localhost", "localhost.evil.example:{}", "[::1]:{}",
     "0.0.0.0:{}"],
)  # fmt: skip
def test_another_host_is_refused(page: Served, what: str | None, host: str) -> None:
    """A name that was made to lead here (DNS rebinding) comes as Host, and as Origin too: nothing is answered to it."""
    named = host.format(page.port)
    got = page.ask(what or "", None if what is None else {}, Host=named, Origin=f"http://{named}")

    assert got.status == 403
    assert "mizo bench" in got.wants


@pytest.mark.parametrize("what", ASKED)
@pytest.mark.parametrize(
    "origin",
    [None, "null", "https://evil.example", "http://127.0.0.1", "http://127.0.0.1:1", "https://{}", "http://{}.evil.example",
     "http://localhost:{1}"],
)  # fmt: skip
def test_another_origin_is_refused(page: Served, what: str, origin: str | None) -> None:
    """What a page of another site sends carries its origin, or none: it is refused before it is read."""
    got = page.ask(what, {"text": SMALL}, Origin=origin and origin.format(page.host, page.port))

    assert got.status == 403


def test_a_page_of_another_site_may_not_even_read(page: Served) -> None:
    """A GET with the origin of another site is refused; one without any, as a browser opens a page, is answered."""
    assert page.ask("", Origin="https://evil.example").status == 403
    assert page.ask("").status == 200
    assert page.ask("", Host=f"localhost:{page.port}").status == 200


@pytest.mark.parametrize("what", ["", "bench.js", "start", "look", "save"])
@pytest.mark.parametrize(
    "token", ["", "wrong", TOKEN.upper(), TOKEN[:-1], f"{TOKEN}x", f"x/{TOKEN}", "%00", "é".encode().hex()]
)
def test_without_the_token_nothing_is_answered(page: Served, what: str, token: str) -> None:
    """A wrong token, or none, is refused, whatever is asked for."""
    got = Served(page.port, token, page.folder).ask(
        what, {"text": SMALL, "edits": []} if what in ("look", "save") else None
    )

    assert got.status == 403
    assert b"<script" not in got.body


@pytest.mark.parametrize(
    "line", [b"/", b"//", b"/?token=" + TOKEN.encode(), b"/" + TOKEN.encode(), b"http://evil.example/", b"*"]
)
def test_odd_addresses_are_refused(page: Served, line: bytes) -> None:
    """The token counts as the first part of the path alone, and with the slash behind it."""
    got = page.raw(
        b"GET " + line + b" HTTP/1.1\r\nHost: " + page.host.encode() + b"\r\nConnection: close\r\n\r\n"
    )

    assert got.split()[1] in (b"400", b"403")


@pytest.mark.parametrize(
    "hosts", [b"", b"Host: {0}\r\nHost: {0}\r\n", b"Host: {0}\r\nHost: evil.example\r\n"]
)
def test_no_host_and_two_hosts_are_refused(page: Served, hosts: bytes) -> None:
    """A request without a host, or with several, is none."""
    got = page.raw(
        b"GET /"
        + TOKEN.encode()
        + b"/ HTTP/1.1\r\n"
        + hosts.replace(b"{0}", page.host.encode())
        + b"Connection: close\r\n\r\n"
    )

    assert got.split()[1] in (b"400", b"403")


@pytest.mark.parametrize(
    "hosts", [[], [b"127.0.0.1:80", b"127.0.0.1:80"], [b"127.0.0.1:80", b"evil.example"]]
)
def test_the_guard_takes_one_host_whatever_the_server_lets_through(hosts: list[bytes]) -> None:
    """The guard refuses such a request by itself, before the application sees it."""
    said: list[MutableMapping[str, Any]] = []

    async def send(message: MutableMapping[str, Any]) -> None:
        said.append(message)

    async def never(*given: object) -> Any:
        raise AssertionError("the request goes on")

    scope = {
        "type": "http",
        "method": "GET",
        "path": f"/{TOKEN}/",
        "headers": [(b"host", one) for one in hosts],
    }
    asyncio.run(Guard(never, token=TOKEN, port=80, larger={})(scope, never, send))

    assert said[0]["status"] == 403


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "TRACE", "PATCH"])
def test_other_methods_are_refused(page: Served, method: str) -> None:
    """No more is offered than the page asks for; a preflight gets no leave."""
    head = f"{method} /{TOKEN}/save HTTP/1.1\r\nHost: {page.host}\r\nOrigin: http://{page.host}\r\nConnection: close\r\n\r\n"
    got = page.raw(head.encode())

    assert got.split()[1] == b"405"
    assert b"access-control" not in got.lower()


def test_a_web_socket_is_not_opened(page: Served) -> None:
    """Nothing but plain requests is answered: browsers let any page open a web socket to anywhere."""
    got = page.raw(
        f"GET /{TOKEN}/ HTTP/1.1\r\nHost: {page.host}\r\nOrigin: https://evil.example\r\nConnection: Upgrade\r\n"
        "Upgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n".encode()
    )

    assert got.split()[1] == b"403"


def test_every_answer_carries_the_policy(page: Served) -> None:
    """Answers and refusals alike forbid scripts from elsewhere, frames, guessing of types, and keeping."""
    for got in (
        page.ask(""),
        page.ask("start"),
        page.ask("nothing"),
        page.ask("save", {}),
        page.ask("", Host="x"),
    ):
        policy = got.head["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert got.head["x-content-type-options"] == "nosniff"
        assert got.head["referrer-policy"] == "no-referrer"
        assert got.head["cache-control"] == "no-store"
        assert (
            got.head["cross-origin-resource-policy"]
            == got.head["cross-origin-opener-policy"]
            == "same-origin"
        )
        assert not any(name.startswith("access-control") for name in got.head)
        assert "server" not in got.head


# --- paths ---

OUT = (
    "../secret.yaml", "..\\secret.yaml", "sub/x.yaml", "/etc/passwd", "/tmp/x.yaml", "C:\\x.yaml", "C:x.yaml", "..", ".", "",
    ".hidden.yaml", "x.yaml/", "x.yaml\0.yaml", "x\n.yaml", " x.yaml", "x.yaml ", "x.nc", "x.py", "con.yaml", "-rf.yaml",
    "a" * 300 + ".yaml", "file:///x.yaml", "..%2fsecret.yaml/../x.yaml", "\u202exe.yaml",
)  # fmt: skip


@pytest.mark.parametrize("name", OUT)
def test_a_path_out_of_the_folder_is_refused(page: Served, name: str) -> None:
    """Files are read, saved and brought by plain names in the folder: anything else is refused, and nothing changes."""
    before = untouched(page)
    for got in (
        page.ask("open", {"name": name}),
        page.ask("save", {"text": SMALL, "name": name, "seen": None, "over": True}),
        page.ask(f"drop?name={quoted(name)}", SMALL.encode()),
    ):
        assert got.status == 422
        assert got.wants
    assert untouched(page) == before


def quoted(name: str) -> str:
    """Return a name as it stands in an address."""
    return "".join(f"%{byte:02x}" for byte in name.encode())


WAYS = "../bench.js ..%2f..%2fsecret.yaml thumb/..%2f..%2fbench.html.svg thumb/../../secret.svg thumb/%2e%2e.svg page.html"


@pytest.mark.parametrize("way", [*WAYS.split(), "secret.yaml", "folder/", "thumb/nothing.svg"])
def test_nothing_is_served_by_its_path(page: Served, way: str) -> None:
    """There are a few addresses, and none of them is a path on the disk."""
    got = page.ask(way)

    assert got.status in (403, 404, 422)
    assert b"piece" not in got.body


def test_a_link_out_of_the_folder_is_not_followed(page: Served) -> None:
    """A link in the folder to a file outside it is neither read nor written through."""
    link = page.folder / "link.yaml"
    link.symlink_to(page.folder.parent / "secret.yaml")
    try:
        for got in (
            page.ask("open", {"name": "link.yaml"}),
            page.ask("save", {"text": SMALL, "name": "link.yaml", "over": True}),
            page.ask("drop?name=link.yaml", SMALL.replace("piece", "travel").encode()),
        ):
            assert got.status == 422
        assert "secret" in (page.folder.parent / "secret.yaml").read_text()
    finally:
        link.unlink()


def test_what_is_no_plain_file_is_not_read(page: Served) -> None:
    """A pipe in the folder, which would never end, is refused at once, and so is a folder."""
    pipe, inner = page.folder / "pipe.yaml", page.folder / "inner.yaml"
    os.mkfifo(pipe)
    inner.mkdir()
    try:
        for name in ("pipe.yaml", "inner.yaml"):
            assert page.ask("open", {"name": name}).status == 422
            assert page.ask("save", {"text": SMALL, "name": name, "over": True}).status == 422
        job = SMALL.replace("small-desktop", "pipe.yaml")
        assert page.ask("look", {"text": job, "edits": []}).told["look"] is None
    finally:
        pipe.unlink()
        inner.rmdir()


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("machine", "../secret.yaml"), ("machine", "/etc/hosts.yaml"), ("pattern.name", "../secret.yaml"),
        ("piece.outline", {"shape": "drawing", "file": "../secret.svg"}), ("pattern", {"drawing": "../secret.svg"}),
        ("pattern", {"drawing": "/proc/self/environ.svg"}), ("pattern", {"drawing": "link.svg"}),
    ],
)  # fmt: skip
def test_a_job_cannot_read_outside_the_folder(page: Served, key: str, value: object) -> None:
    """A job that names a file outside the folder, or a link there, is answered with that, as to look at, plan and take."""
    link = page.folder / "link.svg"
    link.symlink_to(page.folder.parent / "secret.svg")
    try:
        got = page.ask("look", {"text": SMALL, "edits": [{"path": key, "value": value}]}).told
        planned = page.ask("plan", {"text": got["text"]}).body.splitlines()[-1]
        taken = page.ask("take", {"text": got["text"], "what": "lines-svg"})
    finally:
        link.unlink()

    assert got["look"] is None
    assert "outside" in " ".join(one["want"] for one in got["problems"])
    assert "outside" in " ".join(one["want"] for one in json.loads(planned)["problems"])
    assert (taken.status, "outside" in taken.wants) == (422, True)


# --- bodies ---


def posted(page: Served, what: str, fields: str, body: bytes = b"") -> list[bytes]:
    """Return the head and the body of a POST with further header fields."""
    head = f"POST /{TOKEN}/{what} HTTP/1.1\r\nHost: {page.host}\r\nOrigin: http://{page.host}\r\n{fields}\r\n\r\n"
    return [head.encode(), body]


@pytest.mark.parametrize(
    ("what", "fields", "body"),
    [
        ("look", f"Content-Length: {LARGEST_BODY + 1}", b""),
        ("look", "Content-Length: 99999999999999999999999999", b""),
        ("look", f"Content-Length: {LARGEST_BODY + 1}", b"x" * (LARGEST_BODY + 1)),
        ("look", "Transfer-Encoding: chunked", b"100000\r\n" + b"x" * 0x100000 + b"\r\n1\r\nx\r\n0\r\n\r\n"),
        ("drop?name=a.svg", "Content-Length: 20000001", b""),
        ("save", f"Content-Length: {LARGEST_BODY + 1}", b""),
        ("fit", f"Content-Length: {LARGEST_BODY + 1}", b""),
        ("rest", f"Content-Length: {2 * LARGEST_PROGRAM}", b""),
        (
            "rest",
            "Transfer-Encoding: chunked",
            b"2000000\r\n" + b"x" * 0x2000000 + b"\r\n1\r\nx\r\n0\r\n\r\n",
        ),
    ],
)
def test_a_huge_body_is_refused(page: Served, what: str, fields: str, body: bytes) -> None:
    """A body too large is refused by its announced length, unread, or as soon as it is too long; then the line closes."""
    got = page.raw(*posted(page, what, fields, body))

    assert got.split()[1] in (b"413", b"400")
    assert b"connection: close" in got.lower()


@pytest.mark.parametrize(
    "fields", ["Content-Length: -1", "Content-Length: 1e3", "Content-Length: 3\r\nContent-Length: 4"]
)
def test_a_length_that_is_none_is_refused(page: Served, fields: str) -> None:
    """A length that is no number, or two of them, end the request."""
    assert page.raw(*posted(page, "look", fields, b"{}")).split()[1] in (b"400", b"413")


@pytest.mark.parametrize("fields", ["Content-Length: 1000", "Transfer-Encoding: chunked"])
def test_a_slow_body_is_given_up(page: Served, fields: str) -> None:
    """A body that comes in drops is answered as late and the line closed; others are served in the meantime."""
    drops = [b"1\r\n{\r\n" if "chunked" in fields else b"{"] * 3
    got = page.raw(*posted(page, "look", fields)[:1], *drops, pause_s=0.01)

    assert got.split()[1] == b"408"


def test_a_body_that_breaks_off_changes_nothing(page: Served) -> None:
    """A save whose body ends too early is no save."""
    before = untouched(page)
    whole = json.dumps({"text": SMALL, "name": "broken.yaml", "seen": None}).encode()
    with socket.create_connection(("127.0.0.1", page.port)) as line:
        line.sendall(posted(page, "save", f"Content-Length: {len(whole)}")[0] + whole[:-1])
    page.ask("start")

    assert untouched(page) == before


@pytest.mark.parametrize(
    "given",
    [b"", b"nothing", b"[]", b"1", b"null", b'"text"', b"{}", b"[" * 100_000, b'{"text": 1, "edits": []}', b"\xff\xfe",
     b'{"text": "a: 1", "edits": [1]}', b'{"text": "a: 1", "edits": [{}]}', b'{"text": "a: 1", "edits": {"path": "a"}}',
     b'{"text": "a: 1", "edits": [{"path": {"a": 1}, "value": "1"}]}', b'{"text": "\\ud800", "edits": []}',
     b'{"text": "a: 1", "edits": [{"path": [[]], "value": "1"}]}', b'{"text": null}',
     b'{"text": "a: 1", "edits": [{"path": "a", "value": "\\ud800"}]}'],
)  # fmt: skip
@pytest.mark.parametrize("what", ["look", "plan", "take", "save", "open", "rest", "fit"])
def test_what_is_no_request_is_answered_in_words(page: Served, what: str, given: bytes) -> None:
    """Anything that is not what the page sends is refused with a sentence, never as a fault of ours."""
    got = page.ask(what, given)
    said = got.body.splitlines()[-1].decode()

    assert got.status in (200, 422)
    assert '"want"' in said or '"look":null' in said
    assert "INTERNAL" not in said


# --- scripts ---


def test_script_in_a_title_stays_text(page: Served) -> None:
    """A title and names that are markup come back as JSON, and as text in what is drawn and taken away."""
    text = page.ask("look", {"text": SMALL, "edits": [{"path": "title", "value": EVIL}]}).told
    assert text["problems"] == []
    svgs = [text["look"]["section"], text["look"].get("zero", "")]
    taken = [
        page.ask("take", {"text": text["text"], "what": what})
        for what in ("page", "picture", "lines-svg", "lines-dxf")
    ]

    assert text["look"]["title"] == EVIL
    for svg in svgs:
        assert "<script" not in svg
        assert "onerror=" not in re.sub(r"&[^;]*;", "", svg) or "<img" not in svg
    for got in taken:
        assert got.status == 200
        assert EVIL.encode() not in got.body
        assert b"<img" not in got.body
        assert got.head["content-disposition"].startswith("attachment")
        assert "sandbox" in got.head["content-security-policy"]
        assert re.fullmatch(r"attachment; filename\*=UTF-8''[a-z0-9.-]+", got.head["content-disposition"])


def test_script_in_names_is_told_as_text(page: Served) -> None:
    """A name that is markup is told in JSON, which no browser shows as a page."""
    for key in ("piece.wood", "bit", "machine", "pattern.name"):
        got = page.ask("look", {"text": SMALL, "edits": [{"path": key, "value": EVIL}]})
        assert got.head["content-type"] == "application/json"
        assert got.told["look"] is None
    for what, given in (("open", {"name": EVIL}), ("save", {"name": EVIL, "text": SMALL})):
        got = page.ask(what, given)
        assert (got.status, got.head["content-type"]) == (422, "application/json")


@pytest.mark.parametrize(
    "evil",
    ["<script>alert(1)</script>", '<a href="javascript:alert(1)"><path d="M1 1H9"/></a>', '<image href="http://evil.example/x.png"/>',
     '<foreignObject><iframe src="http://evil.example"/></foreignObject>', '<path d="M1 1H9" onload="alert(1)"/>'],
)  # fmt: skip
def test_script_in_a_drawing_is_never_served(page: Served, evil: str) -> None:
    """A drawing with a script is read for its lines alone, or refused; no address hands it to a browser."""
    got = page.ask("drop?name=evil.svg", LINES.format(evil).encode())

    assert got.status in (200, 422)
    for way in ("evil.svg", "thumb/evil.svg", "evil-2.svg"):
        assert page.ask(way).status in (404, 422)
    if got.status == 200:
        edit = {"path": "pattern", "value": {"drawing": got.told["name"]}}
        shown = page.ask("look", {"text": SMALL, "edits": [edit]}).body
        assert b"alert" not in shown
        assert b"evil.example" not in shown
    for path in page.folder.glob("evil*"):
        path.unlink()


@pytest.mark.parametrize(
    "evil",
    ['<!DOCTYPE svg [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;">]><svg>&b;</svg>', '<!DOCTYPE svg SYSTEM "file:///etc/passwd"><svg/>',
     "<svg" + "<g>" * 5000, "no drawing at all", '<?xml version="1.0"?><?xml-stylesheet href="http://evil.example/x.css"?><svg/>'],
)  # fmt: skip
def test_a_hostile_drawing_is_refused(page: Served, evil: str) -> None:
    """Entities, files of the system and endless nesting are refused by the reader of drawings, and nothing is kept."""
    before = untouched(page)
    got = page.ask("drop?name=evil.svg", evil.encode())

    assert got.status == 422
    assert untouched(page) == before
    assert str(Path("/tmp")) not in got.wants


def test_a_fault_of_ours_is_told_and_kept_from_nobody(
    page: Served, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """What fails in us is answered as our fault, and the terminal says where."""

    def failing(*given: object, **more: object) -> None:
        raise ZeroDivisionError("of ours")

    monkeypatch.setattr("vcarve.serve.app.Worker.ask", failing)
    got = page.ask("look", {"text": SMALL, "edits": []})

    assert (got.status, "The fault is in Mizo" in got.wants) == (500, True)
    assert "ZeroDivisionError: of ours" in capfd.readouterr().err


@pytest.mark.parametrize(
    "name", ["../../x.yaml", "a\r\nSet-Cookie: a=b.yaml", "\ud800.yaml", "", 7, ["x"], '麻".yaml']
)
def test_a_name_cannot_break_the_head_of_an_answer(page: Served, name: object) -> None:
    """What a file to take away is called is spelled so that it is a plain name, and nothing but that."""
    got = page.ask("take", {"text": SMALL, "what": "lines-svg", "file": name})

    assert got.status == 200
    assert re.fullmatch(r"attachment; filename\*=UTF-8''[\w.%-]+-lines\.svg", got.head["content-disposition"])
    assert "set-cookie" not in got.head
