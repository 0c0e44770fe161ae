"""The files of a call: which kind was given, and what may be written where."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

from vcarve.cli.terminal import typed
from vcarve.errors import InputError, Problem
from vcarve.files import Kind, kind_of

_SAID: dict[Kind, str] = {
    "panel": "this is a panel file; 'mizo panel {}' makes its programs",
    "job": "this is a job file; 'mizo program {}' makes its program",
    "machine": "this is a machine file; a job names it as 'machine', and 'mizo machines {}' checks it",
    "pattern": "this is a pattern file; a job names it as 'name' under 'pattern', and 'mizo patterns {}' checks it",
    "widths": "this is a table of measured widths; 'mizo fit {}' reads it",
    "program": "this is a program; 'mizo dry-run {}' reads it",
    "drawing": "this is a drawing; a job names it as 'drawing' under 'pattern', or as 'file' of its outline",
    "picture": "this is a picture, made of dots; a job can take drawings made of lines, in SVG or DXF files",
}
# What a command writes -> the endings its name may have; the first is taken for what goes to standard output or a device.
# Those of programs are what senders and controllers open (common practice, no source).
ENDINGS = {
    "a program": (".nc", ".ngc", ".gcode", ".gc", ".g", ".tap", ".cnc", ".txt"),
    "a picture of the plan": (".svg",),
    "a picture of the fit": (".svg",),
    "a picture of the carved piece": (".png",),
    "a picture of the piece": (".png",),
    "a picture of the pattern": (".svg", ".png"),
    "a page": (".html", ".htm"),
    "the carved heights": (".png", ".npy"),
    "a drawing of the lines": (".svg", ".dxf"),
    "a solid": (".3mf", ".stl"),
    "a YAML file": (".yaml", ".yml"),
}


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
    if target.suffix.lower() == ".txt" and target.is_file() and kind_of(str(target)) != "program":
        return "is there already and is no program; give another name"  # such as heights that were probed
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
