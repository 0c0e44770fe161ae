"""What kind of file was given, where a command cannot read it as the kind that it takes."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal

from vcarve.cli.terminal import typed
from vcarve.errors import InputError, Problem

Kind = Literal["job", "machine", "pattern", "program", "drawing", "picture"]

ENOUGH_BYTES = 65536
_KEYS: dict[Kind, set[str]] = {
    "job": {"piece", "groove", "bit"},
    "machine": {"travel", "rapid", "spindle"},
    "pattern": {"lattice", "group", "lines"},
}
_SAID: dict[Kind, str] = {
    "job": "this is a job file; 'mizo program {}' makes its program",
    "machine": "this is a machine file; a job names it as 'machine', and 'mizo machines {}' checks it",
    "pattern": "this is a pattern file; a job names it as 'name' under 'pattern', and 'mizo patterns {}' checks it",
    "program": "this is a program; 'mizo dry-run {}' reads it",
    "drawing": "this is a drawing; a job names it as 'drawing' under 'pattern', or as 'file' of its outline",
    "picture": "this is a picture, made of dots; a job can take drawings made of lines, in SVG or DXF files",
}
_PIXELS = (b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"BM")  # how PNG, JPEG, GIF and BMP files begin
_WORDS = re.compile(r"\s*(?:[(;%]|/?\s*(?:N\s*\d+\s*)?[FGMSTXYZ]\s*[-+]?[.\d])", re.IGNORECASE)


class WrongKindError(InputError):
    """The file is of another kind than the one that is taken."""


@contextmanager
def taken_as(kind: Kind, path: str) -> Iterator[None]:
    """Say, where reading a file fails and it is of another kind, that instead, and which command takes it."""
    try:
        yield
    except InputError:
        found = None if path == "-" else kind_of(path)
        if found is None or found == kind:
            raise
        raise WrongKindError(Problem(value=path, want=_SAID[found].format(typed([path])))) from None


def kind_of(path: str) -> Kind | None:
    """Return what kind of file a path leads to, as far as its first lines tell; ``None`` where they do not."""
    try:
        if not Path(path).is_file():
            return None  # a pipe is read once
        with Path(path).open("rb") as stream:
            head = stream.read(ENOUGH_BYTES)
    except (OSError, ValueError):
        return None
    if head.startswith(_PIXELS):
        return "picture"
    text = head.decode("utf-8", errors="replace")
    lines = [line for line in text.splitlines() if line.strip()]
    if "<svg" in text or [line.strip() for line in lines[:2]] == ["0", "SECTION"]:
        return "drawing"
    keys = set(re.findall(r"^([a-z-]+):", text, re.MULTILINE))
    for kind, known in _KEYS.items():
        if len(keys & known) > 1:
            return kind
    if lines and sum(bool(_WORDS.match(line)) for line in lines) > 0.8 * len(lines):
        return "program"
    return None
