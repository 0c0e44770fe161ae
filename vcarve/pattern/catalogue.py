"""The catalogue of traditional patterns, and patterns of the user's own by path.

Only the file asked for is read.
"""

from __future__ import annotations

from functools import cache

from vcarve.job.bench import file_of, is_file, names
from vcarve.job.document import read_document
from vcarve.job.record import record_from
from vcarve.pattern.model import Pattern


def pattern(name_or_path: str, folder: str = ".") -> Pattern:
    """Return a catalogued pattern by its key, or the one that the file at a path, looked up in ``folder``, describes.

    Raises ``InputError`` for a name that is not in the catalogue and for everything that is wrong in the file.
    """
    path = file_of("pattern", name_or_path, folder)
    return _read(path) if is_file(name_or_path) else _catalogued(path)


def patterns() -> tuple[Pattern, ...]:
    """Return every catalogued pattern, sorted by key; lines and lattice are in its unit, sensible lengths of which are in mm.

    >>> star = next(one for one in vcarve.patterns() if one.key == "asanoha")
    >>> star.english, star.pitch_mm
    ('hemp leaf', (14.0, 80.0))
    """
    return tuple(pattern(key) for key in names("pattern"))


def _read(path: str) -> Pattern:
    return record_from(read_document(path), Pattern)


_catalogued = cache(_read)
