"""The catalogue of traditional patterns, and patterns of the user's own by path.

Only the file asked for is read.
"""

from __future__ import annotations

import difflib
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from vcarve.errors import InputError, Problem
from vcarve.pattern.model import Pattern

_SUFFIXES = (".yaml", ".yml")


def names() -> tuple[str, ...]:
    """Return the keys of all catalogued patterns, sorted."""
    folder = files("vcarve.pattern") / "data"
    return tuple(
        sorted(entry.name.removesuffix(".yaml") for entry in folder.iterdir() if entry.name.endswith(".yaml"))
    )


def pattern(name_or_path: str, folder: str | Path = ".") -> Pattern:
    """Return a catalogued pattern by its key, or the one a pattern file describes.

    A name that ends in ``.yaml`` or ``.yml`` is a path, looked up in ``folder``.  Raises ``InputError`` for a name
    that is not in the catalogue (with the nearest ones) and for whatever is wrong in the file.
    """
    if name_or_path.lower().endswith(_SUFFIXES):
        from vcarve.pattern.read import load_pattern_file

        return load_pattern_file(Path(folder) / name_or_path)
    key = _key(name_or_path)
    if key not in names():
        near = difflib.get_close_matches(key, names(), n=3, cutoff=0.5)
        hint = f"did you mean {' or '.join(near)}?" if near else "the names are: " + ", ".join(names())
        raise InputError(
            Problem(key="pattern.name", value=name_or_path, want=f"there is no pattern of this name; {hint}")
        )
    return _catalogued(key)


def pattern_text(name_or_path: str) -> str:
    """Return the text of the file of a pattern that ``pattern`` finds."""
    if name_or_path.lower().endswith(_SUFFIXES):
        return Path(name_or_path).read_text(encoding="utf-8")
    return _entry(_key(name_or_path)).read_text(encoding="utf-8")


def patterns() -> tuple[Pattern, ...]:
    """Return every catalogued pattern, sorted by key; lines and lattice are in its unit, sensible lengths of which are in mm.

    >>> star = next(one for one in vcarve.patterns() if one.key == "asanoha")
    >>> star.english, star.pitch_mm
    ('hemp leaf', (14.0, 80.0))
    """
    return tuple(_catalogued(key) for key in names())


def _key(name: str) -> str:
    return "-".join(name.lower().replace("_", " ").replace("-", " ").split())


def _entry(key: str) -> Traversable:
    return files("vcarve.pattern") / "data" / f"{key}.yaml"


@cache
def _catalogued(key: str) -> Pattern:
    from vcarve.pattern.read import read_pattern

    entry = _entry(key)
    return read_pattern(entry.read_bytes(), entry.name)
