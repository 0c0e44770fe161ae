"""Files appear whole or not at all, all of a command's or none."""

from __future__ import annotations

import contextlib
import os
import shutil
import stat
import sys
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from vcarve.cli.terminal import echo
from vcarve.errors import InputError, Problem

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


def ending(what: str, path: str) -> str:
    """Return the ending of a path that is to become ``what``, in lower case; the usual one where it has none of them."""
    return next((one for one in ENDINGS[what] if path.lower().endswith(one)), ENDINGS[what][0])


def claim(outputs: Iterable[tuple[str, str | None]], inputs: Iterable[str | None] = ()) -> None:
    """Check what a command will write, as (what, path), before its work begins; None stands for one not asked for.

    Raises InputError where two outputs are the same file, where one is a file the command reads, a folder, lies in a
    folder that is not there, or has the ending of something else.
    """
    _check(((path, ENDINGS[what], what) for what, path in outputs if path is not None), inputs)


def _check(outputs: Iterable[tuple[str, tuple[str, ...], str]], inputs: Iterable[str | None]) -> None:
    read = {name for path in inputs if path not in (None, "-") for name in _names(str(path))}
    taken: set[object] = set()
    problems = []
    for path, endings, what in outputs:
        names = {path} if path == "-" else _names(path)
        if taken & names:
            want = "is named for two outputs; each needs a place of its own"
            problems.append(Problem(value=path, want=want))
        elif read & names:
            problems.append(Problem(value=path, want="is read by this command; write to another file"))
        elif path != "-" and (refused := _refused(Path(path), endings, what)):
            problems.append(Problem(value=path, want=refused))
        taken |= names
    if problems:
        raise InputError(problems)


def write_whole(outputs: Sequence[tuple[str, str | bytes]], inputs: Iterable[str | None] = ()) -> None:
    """Write every (path, content), or none; ``-`` is standard output, written last.

    A link is followed, and the file it leads to replaced; what is no plain file (a pipe, a device) is written into.
    ``inputs`` are files that must not be written over.  Raises InputError for a path that cannot be written; nothing has
    changed then.
    """
    _check(((path, ("",), "") for path, _ in outputs), inputs)
    staged: list[_Staged] = []
    streams: list[tuple[str, bytes]] = []
    try:
        for path, content in outputs:
            data = content.encode() if isinstance(content, str) else content
            if path == "-" or (Path(path).exists() and not Path(path).is_file()):
                streams.append((path, data))
            else:
                staged.append(_stage(path, data))
        _replace(staged)
    finally:
        for one in staged:
            for leftover in (one.temporary, one.former):
                with contextlib.suppress(FileNotFoundError):
                    leftover.unlink()
    for path, data in streams:
        if path == "-":
            sys.stdout.flush()
            sys.stdout.buffer.write(data)
            sys.stdout.buffer.flush()
        else:
            with _worded(path):
                Path(path).write_bytes(data)


def write_and_tell(outputs: Sequence[tuple[str, str | bytes]], inputs: Iterable[str | None] = ()) -> None:
    """Write as ``write_whole`` does, and say what was written."""
    write_whole(outputs, inputs)
    tell_written(outputs)


def tell_written(outputs: Sequence[tuple[str, str | bytes]]) -> None:
    """Name the files that were written; standard output, where it is one of them, holds nothing else."""
    for path, _ in outputs:
        if path != "-":
            echo(f"wrote {path}", err=any(other == "-" for other, _ in outputs))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Staged:
    """A file written under another name beside its target, and the name under which the target's former self is kept."""

    path: str
    target: Path
    temporary: Path
    former: Path


def _stage(path: str, data: bytes) -> _Staged:
    """Write the content beside its target under another name."""
    with _worded(path):
        target = Path(os.path.realpath(path))
        mode = stat.S_IMODE(target.stat().st_mode) if target.exists() else 0o666 & ~_umask()
        if target.exists() and not os.access(target, os.W_OK):
            raise PermissionError(13, "the file is write-protected")
        # The target's own name may be as long as names can be.
        handle, name = tempfile.mkstemp(prefix=f".{target.name[:40]}.", dir=target.parent)
        temporary = Path(name)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
            temporary.chmod(mode)
        except BaseException:
            temporary.unlink()
            raise
    return _Staged(path=path, target=target, temporary=temporary, former=Path(f"{name}.former"))


def _replace(staged: Sequence[_Staged]) -> None:
    """Put every staged file in its target's place; if one cannot be, those done are put back."""
    done: list[_Staged] = []
    try:
        for one in staged:
            with _worded(one.path):
                if len(staged) > 1 and one.target.exists():
                    shutil.copy2(one.target, one.former)
                os.replace(one.temporary, one.target)
            done.append(one)
    except BaseException:
        for one in done:
            if one.former.exists():
                os.replace(one.former, one.target)
            else:
                one.target.unlink()
        raise


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


def _refused(target: Path, endings: tuple[str, ...], what: str) -> str | None:
    """Say why a path cannot become a file with one of the endings, as far as that can be told by looking."""
    try:
        if target.is_dir():
            return "this is a folder; name a file in it"
    except OSError as error:
        return f"cannot be written: {(error.strerror or str(error)).lower()}"
    folder = Path(os.path.realpath(target)).parent
    if not folder.is_dir():
        return f"cannot be written: there is no folder {str(target.parent)!r}"
    if not target.name.lower().endswith(endings) and (target.is_file() or not target.exists()):
        return f"this is for {what}; its name must end in {either(endings)}"
    return None


def either(words: Sequence[str]) -> str:
    """Return words as a choice: ``a``, ``a or b``, ``a, b or c``."""
    return " or ".join(part for part in (", ".join(words[:-1]), words[-1]) if part)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
