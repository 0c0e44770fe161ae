"""The files of a call: which kind was given; what is written appears whole or not at all, all of a command's or none."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import sys
import tempfile
from collections.abc import Iterable, Iterator, Sequence
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
# What a command writes -> the endings its name may have; the first is taken for what goes to standard output or a device.
# Those of programs are what senders and controllers open (common practice, no source).
ENDINGS = {
    "a program": (".nc", ".ngc", ".gcode", ".gc", ".g", ".tap", ".cnc", ".txt"),
    "a picture of the plan": (".svg",),
    "a picture of the carved piece": (".png",),
    "a picture of the pattern": (".svg", ".png"),
    "a page": (".html", ".htm"),
    "the carved heights": (".png", ".npy"),
    "a drawing of the lines": (".svg", ".dxf"),
    "a YAML file": (".yaml", ".yml"),
}
Output = tuple[str, str | bytes]  # a path, "-" for standard output, and what is written there


def ending(what: str, path: str) -> str:
    """Return the ending of a path that is to become ``what``, in lower case; the usual one where it has none of them."""
    return next((one for one in ENDINGS[what] if path.lower().endswith(one)), ENDINGS[what][0])


def claim(
    outputs: Iterable[tuple[str, str]], inputs: Iterable[str | None] = (), *, force: bool = False
) -> None:
    """Check what a command will write, as (what, path), before its work begins.

    Raises InputError where two outputs are the same file, where one is a file the command reads, a folder, lies in a
    folder that is not there, has the ending of something else, or is a YAML file that is there already: those are edited by
    hand, and written over with ``force`` only.
    """
    read = {name for path in inputs if path not in (None, "-") for name in _names(str(path))}
    taken: set[object] = set()
    problems = []
    for what, path in outputs:
        names = {path} if path == "-" else _names(path)
        if taken & names:
            want = "is named for two outputs; each needs a place of its own"
            problems.append(Problem(value=path, want=want))
        elif read & names:
            problems.append(Problem(value=path, want="is read by this command; write to another file"))
        elif path == "-" and sys.stdout is None:
            problems.append(Problem(want="standard output cannot be written: it is closed"))
        elif path != "-" and (refused := _refused(Path(path), what, force)):
            problems.append(Problem(value=path, want=refused))
        taken |= names
    if problems:
        raise InputError(problems)


def write_whole(outputs: Sequence[Output]) -> None:
    """Write every output, or none; standard output last.

    A link is followed, and the file it leads to replaced; what is no plain file (a pipe, a device) is written into.
    Raises InputError for a path that cannot be written; nothing has changed then.
    """
    staged: list[tuple[str, Path, Path]] = []
    streams: list[tuple[str, bytes]] = []
    with contextlib.ExitStack() as leftovers, contextlib.ExitStack() as undo:
        for path, content in outputs:
            data = content.encode() if isinstance(content, str) else content
            if path == "-" or (os.path.exists(path) and not os.path.isfile(path) and not os.path.isdir(path)):
                streams.append((path, data))
            else:
                staged.append((path, *_stage(path, data, leftovers)))
        for path, target, new in staged:
            with _worded(path):
                if len(staged) > 1:  # the way back comes first, so that a signal finds it
                    if target.exists():
                        undo.callback(os.replace, shutil.copy2(target, new.with_suffix(".former")), target)
                    else:
                        undo.callback(target.unlink, missing_ok=True)
                os.replace(new, target)
        undo.pop_all()
    for path, data in streams:
        if path == "-":
            sys.stdout.flush()
            sys.stdout.buffer.write(data)
            sys.stdout.buffer.flush()
        else:
            with _worded(path):
                Path(path).write_bytes(data)


def _stage(path: str, data: bytes, leftovers: contextlib.ExitStack) -> tuple[Path, Path]:
    """Write the content beside its target, in a folder that goes with the ``leftovers``; return target and file."""
    with _worded(path):
        target = Path(os.path.realpath(path))
        if target.exists() and not os.access(target, os.W_OK):
            raise PermissionError(13, "the file is write-protected")
        # The target's own name may be as long as names can be.
        beside = tempfile.TemporaryDirectory(prefix=f".{target.name[:40]}.", dir=target.parent)
        new = Path(leftovers.enter_context(beside), "new")
        new.write_bytes(data)
        if target.exists():
            shutil.copymode(target, new)
    return target, new


@contextlib.contextmanager
def _worded(path: str) -> Iterator[None]:
    """Turn an error of the operating system into a problem that names the path."""
    try:
        yield
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(Problem(value=path, want=f"cannot be written: {reason}")) from None


def _names(path: str) -> set[object]:
    """Return by what a file is known: its path without links, and what the disk calls it if it is there."""
    place = os.path.realpath(path)
    with contextlib.suppress(OSError, ValueError):
        there = os.stat(place)
        if there.st_ino:  # some network disks of Windows number no files
            return {os.path.normcase(place), (there.st_dev, there.st_ino)}
    return {os.path.normcase(place)}


def _refused(target: Path, what: str, force: bool) -> str | None:
    """Say why a path cannot become ``what``, as far as that can be told by looking."""
    try:
        if target.is_dir():
            return "this is a folder; name a file in it"
    except OSError as error:
        return f"cannot be written: {(error.strerror or str(error)).lower()}"
    folder = Path(os.path.realpath(target)).parent
    if not folder.is_dir():
        missing = folder if target.is_symlink() else target.parent
        return f"cannot be written: there is no folder {str(missing)!r}"
    endings = ENDINGS[what]
    if not target.name.lower().endswith(endings) and (target.is_file() or not target.exists()):
        *others, last = endings
        either = f"{', '.join(others)} or {last}" if others else last
        return f"this is for {what}; its name must end in {either}"
    if what == "a YAML file" and target.is_file() and not force:
        return "is there already; give another name, or --force to write over it"
    return None


class WrongKindError(InputError):
    """The file is of another kind than the one that is taken."""


@contextlib.contextmanager
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
