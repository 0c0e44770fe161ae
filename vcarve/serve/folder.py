"""The folder that the page works in: job files are read and saved by plain names in it, and what is dropped is kept there."""

from __future__ import annotations

import hashlib
import os
import threading
from pathlib import Path

from vcarve.errors import InputError, Problem
from vcarve.files import kind_of, write_whole
from vcarve.job.bench import machines_folder
from vcarve.job.document import LARGEST_BYTES, parse_document, read_bytes, reading_only
from vcarve.serve.edit import read

JOBS = (".yaml", ".yml")
LONGEST_NAME = 120
# Names that Windows takes for devices, with any ending (Microsoft, "Naming Files, Paths, and Namespaces").
_DEVICES = {
    "con",
    "prn",
    "aux",
    "nul",
    *(f"{port}{number}" for port in ("com", "lpt") for number in range(1, 10)),
}


class ChangedError(InputError):
    """The file on the disk is not the one that was seen."""


def seen_of(data: bytes) -> str:
    """Return by what a file's content is known again."""
    return hashlib.sha256(data).hexdigest()


class Folder:
    """A folder, and the files outside it that the user named.

    Beside them and what comes with Mizo nothing is read, and nothing outside the folder is written.
    """

    def __init__(self, path: str | Path, *named: str) -> None:
        self.path = os.path.realpath(path)
        self.named = (str(machines_folder()), *named)  # in a source checkout they lie beside the package
        self._saving = threading.Lock()

    def place(self, name: str, endings: tuple[str, ...] = JOBS) -> str:
        """Return the path of a file by its name; raises ``InputError`` for a name that is none, or leads out of the folder."""
        want = None
        if not name or name != name.strip() or not name.isprintable() or name.startswith((".", "-")):
            want = "a plain name is wanted, such as tile.yaml"
        elif set('/\\:*?"<>|') & set(name):
            want = "a name without signs such as / \\ : * ? is wanted: files lie in the one folder"
        elif len(name.encode()) > LONGEST_NAME:
            want = f"too long; at most {LONGEST_NAME} bytes are taken"
        elif not name.lower().endswith(endings):
            want = f"its name must end in {' or '.join(endings)}"
        elif name.partition(".")[0].rstrip().lower() in _DEVICES:
            want = "some systems take this name for a device; give another"
        path = os.path.join(self.path, name)
        if want is None and os.path.dirname(os.path.realpath(path)) != self.path:
            want = f"this is a link that leads out of {self.path}"
        if want is None and os.path.exists(path) and not os.path.isfile(path):
            want = "there is something of this name that is no file"
        if want is not None:
            raise InputError(Problem(value=name, want=want))
        return path

    def open(self, name: str) -> tuple[str, str]:
        """Return the text of a job file, and by what it is known again."""
        data = self._there(self.place(name))
        if data is None:
            raise InputError(Problem(value=name, want="there is no such file"))
        parse_document(data, file=name)
        return data.decode("utf-8"), seen_of(data)

    def save(self, text: str, name: str, seen: str | None, *, over: bool = False) -> str:
        """Write a job file whole, and return by what it is known again.

        Raises ``ChangedError`` where the file there is not the one that was ``seen`` (``None``: none), unless ``over`` says that
        it may be written over; ``InputError`` for what is no job file, or would take the place of another kind of file.
        """
        read(text)
        data, path = text.encode("utf-8"), self.place(name)
        with self._saving:
            there = self._there(path)
            if there is not None and there != data and kind_of(path) not in (None, "job", "panel"):
                raise InputError(
                    Problem(value=name, want=f"this is a {kind_of(path)} file; give another name")
                )
            if not over and (None if there is None else seen_of(there)) != seen and there != data:
                if there is None:
                    raise ChangedError(f"{name} is no longer there: it was taken away or got another name.")
                known = "has been changed since this page has seen it" if seen else "is there already"
                raise ChangedError(f"{name} {known}, by another page or program.")
            if there != data:
                write_whole([(path, data)])
        return seen_of(data)

    def keep(self, name: str, data: bytes, endings: tuple[str, ...]) -> str:
        """Write a file that was brought, beside others of its name where they say something else; return the name it has."""
        stem, ending = os.path.splitext(name)
        with self._saving:
            for number in range(1, 1000):
                called = name if number == 1 else f"{stem}-{number}{ending}"
                path = self.place(called, endings)
                if not os.path.exists(path):
                    write_whole([(path, data)])
                    return called
                if Path(path).read_bytes() == data:
                    return called
        raise InputError(Problem(value=name, want="there are too many files of this name"))

    def _there(self, path: str) -> bytes | None:
        if not os.path.exists(path):
            return None
        with reading_only(self.path):
            return read_bytes(path, LARGEST_BYTES)
