"""Files appear whole or not at all."""

from __future__ import annotations

import contextlib
import os
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from vcarve.errors import InputError, Problem


def write_whole(outputs: Sequence[tuple[str, str | bytes]]) -> None:
    """Write every (path, content), or none; ``-`` is standard output, written last.

    Raises InputError for a path that cannot be written; nothing has changed then.
    """
    staged: list[tuple[Path, Path]] = []
    try:
        for path, content in outputs:
            if path != "-":
                staged.append((_stage(Path(path), content), Path(path)))
        for temporary, target in staged:
            os.replace(temporary, target)
    finally:
        for temporary, _ in staged:
            with contextlib.suppress(FileNotFoundError):
                temporary.unlink()
    for path, content in outputs:
        if path == "-":
            data = content.encode() if isinstance(content, str) else content
            sys.stdout.buffer.write(data)
            sys.stdout.buffer.flush()


def _stage(target: Path, content: str | bytes) -> Path:
    """Write the content beside its target under another name."""
    if target.is_dir():
        raise InputError(Problem(value=str(target), want="this is a folder; name a file in it"))
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(content.encode() if isinstance(content, str) else content)
        mode = target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask()
        os.chmod(name, mode)
    except OSError as error:
        raise InputError(
            Problem(value=str(target), want=f"cannot be written: {(error.strerror or str(error)).lower()}")
        ) from None
    return Path(name)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
