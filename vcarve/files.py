"""Files that are written whole or not at all, all of several or none, and what kind of file one is."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import sys
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Literal

from vcarve.errors import InputError, Problem

Kind = Literal["panel", "job", "machine", "pattern", "widths", "program", "drawing", "picture"]

ENOUGH_BYTES = 65536
_KEYS: dict[Kind, set[str]] = {
    "panel": {"panel", "tile", "woods"},
    "job": {"piece", "groove", "bit"},
    "machine": {"travel", "rapid", "spindle"},
    "pattern": {"lattice", "group", "lines"},
    "widths": {"grooves", "bit", "read-to"},
}
_PIXELS = (b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"BM")  # how PNG, JPEG, GIF and BMP files begin
_WORDS = re.compile(r"\s*(?:[(;%]|/?\s*(?:N\s*\d+\s*)?[FGMSTXYZ]\s*[-+]?[.\d])", re.IGNORECASE)
Output = tuple[str, str | bytes]  # a path, "-" for standard output, and what is written there


def write_whole(outputs: Sequence[Output]) -> None:
    """Write every output, or none; standard output last.

    A link is followed, and the file it leads to replaced; what is no plain file (a pipe, a device) is written into, before any
    file is put in its place.  Raises InputError for a path that cannot be written; no file has changed then.
    """
    staged: list[tuple[str, Path, Path]] = []
    devices: list[tuple[str, bytes]] = []
    last: list[bytes] = []
    with contextlib.ExitStack() as leftovers, contextlib.ExitStack() as undo:
        for path, content in outputs:
            data = content.encode() if isinstance(content, str) else content
            if path == "-":
                last.append(data)
            elif os.path.exists(path) and not os.path.isfile(path) and not os.path.isdir(path):
                devices.append((path, data))
            else:
                staged.append((path, *_stage(path, data, leftovers)))
        for path, data in devices:
            with _worded(path):
                Path(path).write_bytes(data)
        for path, target, new in staged:
            with _worded(path):
                if len(staged) > 1:  # the way back comes first, so that a signal finds it
                    if target.exists():
                        undo.callback(os.replace, shutil.copy2(target, new.with_suffix(".former")), target)
                    else:
                        undo.callback(target.unlink, missing_ok=True)
                os.replace(new, target)
        undo.pop_all()
    for data in last:
        sys.stdout.flush()
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()


def write_folder(
    path: str, contents: Mapping[str, str | bytes], read: Iterable[str] = (), *, force: bool = False
) -> list[str]:
    """Write files into a folder, which is made with all of them or not at all; see :func:`claim_folder`.

    Return the names of programs that were there before and have not been written over.  Raises InputError for a path that
    cannot be written, and for a name there of a file that was ``read``; nothing has changed then.
    """
    claim_folder(path, force=force)
    target = Path(os.path.realpath(path))
    if target.exists():
        inputs = {os.path.realpath(one) for one in read}
        for name in contents:
            if os.path.realpath(target / name) in inputs:
                want = "is read by this command; write to another folder"
                raise InputError(Problem(value=str(Path(path, name)), want=want))
        write_whole([(str(Path(path, name)), content) for name, content in contents.items()])
        return sorted(one.name for one in target.glob("*.nc") if one.name not in contents)
    with (
        _worded(path),
        tempfile.TemporaryDirectory(prefix=f".{target.name[:40]}.", dir=target.parent) as beside,
    ):
        new = Path(beside, "new")
        new.mkdir()
        for name, content in contents.items():
            (new / name).write_bytes(content.encode() if isinstance(content, str) else content)
        os.rename(new, target)
    return []


def claim_folder(path: str, *, force: bool = False) -> None:
    """Raise InputError where a folder cannot be made, or where one with files is there already, unless ``force``."""
    target = Path(os.path.realpath(path))
    want = ""
    with _worded(path):
        if target.is_dir():
            if not force and any(target.iterdir()):
                want = "is there already; give another name, or --force to write over what this command writes in it"
            elif not os.access(target, os.W_OK):
                want = "cannot be written: permission denied"
        elif target.exists() or path == "-":
            want = "this is for a folder; give a name for one"
        elif not target.parent.is_dir():
            want = f"cannot be written: there is no folder {str(Path(path).parent)!r}"
    if want:
        raise InputError(Problem(value=path, want=want))


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
