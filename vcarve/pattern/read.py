"""Pattern files read from disk, every problem with its file and line."""

from __future__ import annotations

from pathlib import Path

from vcarve.job.document import Document, parse_document, placed, read_document
from vcarve.job.record import record_from
from vcarve.pattern.expand import expand
from vcarve.pattern.file import PatternFile
from vcarve.pattern.model import Pattern


def load_pattern_file(path: str | Path) -> Pattern:
    """Return the pattern a YAML file describes.

    Raises ``InputError`` with file, line, key path and value of everything that is wrong.
    """
    return _pattern(read_document(str(path)))


def read_pattern(data: bytes, file: str) -> Pattern:
    """Return the pattern that YAML text describes; ``file`` is the name to show in problems."""
    return _pattern(parse_document(data, file=file))


def _pattern(document: Document) -> Pattern:
    with placed(document):
        return expand(record_from(document, PatternFile))
